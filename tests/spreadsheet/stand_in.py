"""A price model of medians with the shape of the real one, for tests that need a workbook and not a good
price.
"""

from types import SimpleNamespace

import numpy as np
import pandas as pd

from pricing.shop_tables import clean_items


class StandInModel:
    """Fair price = median price per tube of the pricing type, times the set size."""

    def __init__(self, sales):
        tubes = sales["set_size"] * sales["qty"]
        self._each = (sales["price_home"] / tubes).groupby(sales["canonical_type"]).median()
        self._count = sales["canonical_type"].value_counts()
        self.as_of = sales["sold_on"].max().normalize()
        self.n_sales = len(sales)
        self.history = SimpleNamespace(sales=sales)
        self.notes = ["A stand-in of medians: for tests only."]
        self.problems = []
        months = pd.date_range(self.as_of - pd.DateOffset(years=5), self.as_of, freq="MS")
        index = 100 * np.exp(np.linspace(-0.1, 0, len(months)) + 0.03 * np.sin(np.arange(len(months))))
        self.time_index = pd.DataFrame(
            {"month": months, "index": index, "low": index * 0.97, "high": index * 1.03}
        )
        families = pd.concat([self.time_index.assign(family=name) for name in sales["family"].unique()])
        self.family_index = families[["family", "month", "index", "low", "high"]]
        worst = sales.head(3)
        self.outliers = pd.DataFrame(
            {
                "sheet": worst["sheet"],
                "row": worst["row"],
                "type": worst["type"],
                "price": worst["price_home"],
                "expected": worst["price_home"] / 10,
                "z": [9.0, -7.0, 6.0][: len(worst)],
                "story": "decimal point slipped?",
            }
        )
        told = self.outliers.assign(column="price", would_be="price 2.00 instead of 20.00", z_then=0.1, probability=0.9)
        honest = told.assign(story="unusual, but booked as meant?", would_be="as booked", probability=0.08)
        self.booking_errors = pd.concat([told, honest]).sort_values("row", kind="stable", ignore_index=True)

    def estimate(self, items, on=None, coverage=0.80):
        """Medians by type, a wide range, and the count of sales."""
        fair = items["canonical_type"].map(self._each).astype(float).fillna(20.0) * items["set_size"]
        n_sales = items["canonical_type"].map(self._count).fillna(0).astype(float)
        return pd.DataFrame(
            {
                "fair_price": fair,
                "low": fair * 0.7,
                "high": fair * 1.4,
                "fair_low": fair * 0.9,
                "fair_high": fair * 1.1,
                "n_sales": n_sales,
                "basis": "own type",
                "oldest_sale": self.as_of,
            },
            index=items.index,
        )

    def summary(self):
        """Made-up components and effects, in the shape the Model sheet reads."""
        return pd.DataFrame(
            [
                ("noise", "noise", "", 0.18, None, None, 0, None),
                ("component", "maker", "", 0.3, None, None, 0, None),
                ("component", "type", "", 0.8, None, None, 0, None),
                ("effect", "grade", "new old stock", 0.4, 0.3, 0.5, 100, None),
                ("effect", "maker", "Dravelko", -0.3, -0.4, -0.2, 50, 0.9),
                ("effect", "maker", "Tivenshaw", 0.2, 0.1, 0.3, 50, 0.9),
            ],
            columns=["part", "factor", "level", "value", "low", "high", "n_sales", "learnt"],
        )

    def describe(self, items):
        """The items made clean."""
        return clean_items(pd.DataFrame(items))[0]

    def heaviest_sales(self, items, count=5):
        """The first sales of each item's type."""
        sales = self.history.sales
        return [sales.loc[sales["canonical_type"] == one, "row"].head(count).tolist()
                for one in items["canonical_type"]]

    def explain(self, item, on=None):
        """One factor."""
        return pd.DataFrame(
            [("type", "EL84", 20.0, 20.0)], columns=["factor", "level", "multiplier", "price_after"]
        )

    def comparables(self, item, count=8, on=None):
        """None."""
        return pd.DataFrame(columns=["row", "sold_on", "type", "price", "price_today", "weight"])
