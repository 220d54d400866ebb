"""The fitted price model: estimates, reasons, and the sales behind them."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats
from threadpoolctl import threadpool_limits

from pricing.price_model import booking_errors, facts, market_index
from pricing.price_model.attribution import Attribution, learn_attribution
from pricing.price_model.build_up import GROUPS, WALKS, contribution, group_level, only
from pricing.price_model.calibration import Calibration
from pricing.price_model.fit import History
from pricing.price_model.fixed_effects import fixed_columns
from pricing.price_model.maker_mixture import MakerMixture, share_by_maker
from pricing.price_model.observations import Rows
from pricing.price_model.robust import INFORMATION, RobustFit
from pricing.problems import Problem
from pricing.shop_tables import Settings, clean_items
from pricing.shop_tables.vocabularies import plain

NAME_COLUMNS = ("maker", "brand", "variant")
ESTIMATE_COLUMNS = ("fair_price", "low", "high", "fair_low", "fair_high", "n_sales", "basis", "oldest_sale",
                    "attributed")
_ITEMS_AT_ONCE = 200  # items whose weights on all sales are held in memory together


@dataclass(frozen=True)
class PriceModel:
    """What a shop's sales say a piece sells for.

    The fair price is the price at which a piece of this description typically (median) sells in this shop, through
    the given channel, at the given date. In a fixed-price shop it is learnt from the owner's own asks that sold.
    """

    history: History
    fit: RobustFit
    calibration: Calibration
    as_of: pd.Timestamp
    settings: Settings
    register: Any = None
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    n_rows_given: int = 0

    @property
    def n_sales(self) -> int:
        """Sales the fit used."""
        return len(self.history.y)

    @property
    def usual_channel(self) -> str:
        """The channel most sales went through; "unknown" where most do not say."""
        return self.history.sales["channel"].mode().iloc[0]

    @cached_property
    def type_families(self) -> dict[str, str]:
        """Family of every type sold, as the fit has it."""
        sales = self.history.sales
        return dict(zip(sales["canonical_type"], sales["family"]))

    @cached_property
    def own_spellings(self) -> dict[str, dict[str, str]]:
        """The history's own_spellings."""
        return own_spellings(self.history.sales)

    @cached_property
    def attribution(self) -> Attribution:
        """Makers of brands, from the sales that state both and the owner's Settings."""
        return learn_attribution(self.history.sales, self.settings.brand_table())

    @cached_property
    def share_by_maker(self) -> tuple[float, int]:
        """(how far past sales of brand alone followed their attributed makers' prices, number of those looked at)."""
        return share_by_maker(self, self.attribution)

    def estimate(self, items: pd.DataFrame, on: Any = None, coverage: float = 0.80) -> pd.DataFrame:
        """Fair price and ranges of each item, a row an item on the same index, per set in the shop's currency.

        `items` has the descriptive Sales columns, raw or clean; what is missing is unknown, the channel the shop's
        most used. `on`: a date or one date per item, by default the newest plausible sale's. Columns: fair_price
        (median), low and high (range that holds one sale with probability `coverage`), fair_low and fair_high (the
        same for the fair price itself), n_sales (how many plain sales of this very piece would tell as much), basis
        (words), oldest_sale, attributed (words where the maker is unknown and the brand tells of it: the price is then
        the median over its likely makers). Raises ValueError for a coverage outside (0, 1) or an unreadable date.
        """
        if not 0 < coverage < 1:
            raise ValueError(f"coverage is a share between 0 and 1, not {coverage}")
        clean = self.describe(items, on)
        if not len(clean):
            return pd.DataFrame({name: pd.Series(dtype=float) for name in ESTIMATE_COLUMNS}, index=clean.index)
        mixture = self.mixture_of(clean)
        rows, unmet = self.rows(mixture.pieces)
        posterior = self.fit.posterior
        s2 = posterior.noise_variance
        mean = posterior.mean(rows) + np.log(mixture.pieces["set_size"].to_numpy(float))
        with threadpool_limits(1):
            relative = self.fit.relative_variance(rows) + unmet
        sale_sd = np.sqrt(s2 * (1 + relative)) * self.calibration.sale_multiplier(relative, coverage)
        fair_sd = np.sqrt(s2 * relative) * self.calibration.inflation * stats.norm.ppf((1 + coverage) / 2)
        words = mixture.words()
        basis, oldest = facts.basis_of(self.history.sales, clean.assign(maker=mixture.likely_maker()))
        basis = ["; ".join(filter(None, pair)) for pair in zip(basis, words)]
        # A range that leaves floating point behind says no more than one that stays inside it.
        mean, sale_sd, fair_sd = (np.clip(v, -50, 50) for v in (mean, sale_sd, fair_sd))
        log_fair = mixture.median(mean, np.sqrt(s2))
        fair_low, fair_high = mixture.range(mean, fair_sd, coverage)
        fair_low, fair_high = np.minimum(fair_low, log_fair), np.maximum(fair_high, log_fair)
        low, high = mixture.range(mean, np.maximum(sale_sd, fair_sd), coverage)
        relative = mixture.variance(mean, s2 * relative) / s2
        return pd.DataFrame({
            "fair_price": np.exp(log_fair),
            "low": np.exp(np.minimum(low, fair_low)), "high": np.exp(np.maximum(high, fair_high)),
            "fair_low": np.exp(fair_low), "fair_high": np.exp(fair_high),
            "n_sales": np.minimum(1 / (INFORMATION * np.maximum(relative, 1e-9)), self.n_sales),
            "basis": basis, "oldest_sale": oldest, "attributed": words,
        }, index=clean.index)

    def explain(self, item: Any, on: Any = None) -> pd.DataFrame:
        """The price as a product: factor, level, multiplier, low, high (80 % range of the step), price_after.

        `item`: a mapping, a Series or a one-row frame. The multipliers' product is the fair price exactly; the first
        is the price of an ordinary piece over the history, in the shop's currency.
        """
        clean = self.describe(_one_row(item), on)
        mixture = self.mixture_of(clean)
        of_makers, _ = self.rows(mixture.pieces)
        posterior, one = self.fit.posterior, clean.iloc[0]
        rows, means = mixture.rows(of_makers), posterior.mean(of_makers)
        average = self._average_walks(one)
        z = stats.norm.ppf(0.9) * self.calibration.inflation
        out, log_price = [], 0.0
        for group in GROUPS:
            (log,), (sd,) = contribution(self.fit, rows, group)
            level = group_level(group.factor, one, self.as_of, self.settings.currency)
            if group.factor == "set":
                log += np.log(one["set_size"])
            if group.factor == "maker":
                # Every factor is averaged over the likely makers; the maker's takes what the median adds to the mean.
                log += (mixture.median(means, np.sqrt(posterior.noise_variance)) - mixture.mean(means))[0]
                sd = np.sqrt(sd**2 + mixture.variance(means, np.zeros(len(means)))[0])
                level = "; ".join(filter(None, (level, mixture.words()[0])))
            for walk, factor in zip(WALKS, ("shop", "family", "type")):
                if group.factor == factor:
                    log += average[walk]
            if group.factor == "market today":
                log -= sum(average.values())
            log_price += log
            out.append({
                "factor": group.factor, "level": level,
                "multiplier": np.exp(log), "low": np.exp(log - z * sd), "high": np.exp(log + z * sd),
                "price_after": np.exp(log_price),
            })
        return pd.DataFrame(out)

    def comparables(self, item: Any, count: int = 8, on: Any = None) -> pd.DataFrame:
        """The past sales that weigh most in this item's fair price, heaviest first.

        Columns: sheet, row, sold_on, type, maker, era, grade, set_size, price (line, home currency), price_today
        (per set, moved to the asked date by the fitted market), weight (derivative of the log fair price by the log
        price of that sale).
        """
        clean = self.describe(_one_row(item), on)
        weights = self.sale_weights(self.price_rows(clean))[0]
        top = np.argsort(-np.abs(weights), kind="stable")[:count]
        sales = self.history.sales.iloc[top]
        posterior, layout = self.fit.posterior, self.fit.posterior.layout
        then = posterior.mean(only(layout, self.history.observations.take(top).rows(), WALKS))
        moved, _ = self.rows(sales.assign(sold_on=clean["sold_on"].iloc[0]))
        now = posterior.mean(only(layout, moved, WALKS))
        return pd.DataFrame({
            "sheet": sales["sheet"], "row": sales["row"], "sold_on": sales["sold_on"],
            "type": sales["designation"], "maker": sales["maker"], "era": sales["era"], "grade": sales["grade"],
            "set_size": sales["set_size"], "price": sales["price_home"],
            "price_today": sales["price_home"] / sales["qty"] * np.exp(now - then), "weight": weights[top],
        }).reset_index(drop=True)

    def sale_weights(self, rows: Rows) -> np.ndarray:
        """items by sales: weight of each sale's log price in each log fair price (the smoother's own; before the
        order of grades is enforced)."""
        influence = self.history.observations.times(self.fit.posterior.solve(rows))
        return (influence * self.fit.weights[:, None]).T

    def heaviest_sales(self, items: pd.DataFrame, count: int = 5) -> list[list[int]]:
        """Rows of the Sales sheet that weigh most in each item's fair price, heaviest first."""
        rows_of_sales = self.history.sales["row"].to_numpy()
        heaviest: list[list[int]] = []
        for start in range(0, len(items), _ITEMS_AT_ONCE):
            rows = self.price_rows(self.describe(items.iloc[start : start + _ITEMS_AT_ONCE]))
            weights = -np.abs(self.sale_weights(rows))
            heaviest += [rows_of_sales[np.argsort(one, kind="stable")[:count]].tolist() for one in weights]
        return heaviest

    @cached_property
    def leverage(self) -> np.ndarray:
        """Variance of every sale's own fitted log price, in units of the noise variance."""
        with threadpool_limits(1):
            return self.fit.posterior.leverage(self.history.observations)

    def summary(self) -> pd.DataFrame:
        """What the fit found: a row a number, columns part, factor, level, value, low, high, n_sales, learnt.

        Parts: "noise" and "component" (standard deviations of the log price; walks over a year), "effect" (added to
        the log price, with 80 % range; of a maker, a channel or an era also the share of its value that its own sales
        decided, the rest being drawn towards the average).
        """
        return facts.summary(self)

    @cached_property
    def booking_errors(self) -> pd.DataFrame:
        """What may have happened to each suspected sale (see `outliers`), a row a sale and story, the farthest off and
        the likeliest first: sheet, row, type, price, z, story, column (what to change), would_be (words such as
        "set_size 2 instead of 1"), expected (line price, home currency) and z_then under that reading, probability
        (over the stories of the sale; "unusual, but booked as meant?" is one of them)."""
        return booking_errors.booking_errors(self)

    @cached_property
    def outliers(self) -> pd.DataFrame:
        """Sales far from what everything else says (|z| > 5 with the sale itself left out), the farthest off first:
        sheet, row, type, price, expected (line prices, home currency), z, and of `booking_errors` the likeliest story,
        would_be and probability."""
        return booking_errors.outliers(self)

    @cached_property
    def time_index(self) -> pd.DataFrame:
        """Market index by month, 100 at the model's date: month, index, low, high (80 % range). Time-dummy hedonic
        method (Eurostat, Handbook on Residential Property Prices Indices, 2013, chapter 5; ILO, Consumer Price Index
        Manual), the months' coefficients a random walk."""
        return market_index.time_index(self)

    @cached_property
    def family_index(self) -> pd.DataFrame:
        """The same by family: family, month, index, low, high. A family's index is the market's walk and its own
        together, its band from their joint posterior."""
        return market_index.family_index(self)

    def diagnostics(self) -> pd.DataFrame:
        """How well the model's assumptions hold on its own sales: name, value, p_value, words."""
        from pricing.price_model.diagnostics import diagnostics

        return diagnostics(self)

    @property
    def record(self) -> list[str]:
        """The model's record on later sales it had not seen, in words."""
        return facts.record(self)

    def with_sales(self, sales: pd.DataFrame) -> PriceModel:
        """The model with more sales, raw or clean, without a new search for its variances.

        Effects, weights, market and date are found anew, better grades held at no lower a price; variances and the
        calibration of the ranges stay as fitted, so fit again once the sales have grown by a fifth or so.
        """
        from pricing.price_model.fitting import add_sales

        return add_sales(self, sales)

    def save(self, path: Path | str) -> None:
        """Write the model to one file, without pickle."""
        from pricing.price_model.storage import save_model

        save_model(self, Path(path))

    def describe(self, items: pd.DataFrame, on: Any = None) -> pd.DataFrame:
        """Items made clean and complete: every descriptive column, `sold_on` the date asked for, quantity 1."""
        clean, _ = clean_items(pd.DataFrame(items), self.register, self.settings)
        dates = self.as_of if on is None else on
        dates = pd.to_datetime(dates if np.isscalar(dates) or isinstance(dates, pd.Timestamp) else list(dates))
        family = clean["canonical_type"].map(self.type_families)
        channel = clean["channel"].where(clean["channel"] != "unknown", self.usual_channel)
        return self.in_own_spelling(clean).assign(
            family=family.where(family.notna(), clean["family"]), channel=channel, sold_on=dates, qty=1,
        )

    def in_own_spelling(self, clean: pd.DataFrame) -> pd.DataFrame:
        """Clean pieces, makers, brands and variants spelt as the history spells them."""
        return clean.assign(**{
            column: clean[column].map({name: known.get(plain(name), name) for name in clean[column].unique()})
            for column, known in self.own_spellings.items()
        })

    def mixture_of(self, clean: pd.DataFrame) -> MakerMixture:
        """Described items, those of unknown maker and known brand as a mixture of their likely makers."""
        if not ((clean["maker"] == "unknown") & (clean["brand"] != "unknown")).any():
            return MakerMixture.plain(clean)
        attributed = self.attribution.attributed(clean).any()
        return MakerMixture.of(clean, self.attribution, self.share_by_maker[0] if attributed else 1.0)

    def price_rows(self, clean: pd.DataFrame) -> Rows:
        """Rows of the design behind each fair price, averaged over the likely makers where one is attributed."""
        mixture = self.mixture_of(clean)
        return mixture.rows(self.rows(mixture.pieces)[0])

    def rows(self, clean: pd.DataFrame) -> tuple[Rows, np.ndarray]:
        """(rows of the design, relative variance for what the fit never met) of described items."""
        design, layout = self.history.design, self.fit.posterior.layout
        terms = design.terms(clean)
        unmet = design.missing(clean, terms) @ self.fit.posterior.theta**2
        return Rows.of(layout, terms, fixed_columns(clean)), unmet

    def _average_walks(self, one: pd.Series) -> dict[str, float]:
        """Mean of each walk over the history's sales it speaks for: everything, the family's, the type's."""
        posterior, sales = self.fit.posterior, self.history.sales
        everything = np.ones(self.n_sales, bool)
        chosen = (everything, (sales["family"] == one["family"]).to_numpy(),
                  (sales["canonical_type"] == one["canonical_type"]).to_numpy())
        out = {}
        for walk, mask in zip(WALKS, chosen):
            rows = self.history.observations.take(np.flatnonzero(mask)).rows()
            out[walk] = float(posterior.mean(only(posterior.layout, rows, (walk,))).mean()) if mask.any() else 0.0
        return out


def own_spellings(sales: pd.DataFrame) -> dict[str, dict[str, str]]:
    """By column of names: the spelling used most of each name, under its plain form, capitals and punctuation aside."""
    return {column: {plain(name): name for name in sales[column].value_counts(ascending=True).index}
            for column in NAME_COLUMNS}


def _one_row(item: Any) -> pd.DataFrame:
    """A one-row frame of a mapping, Series or frame. Raises ValueError for a frame of another length."""
    frame = item if isinstance(item, pd.DataFrame) else pd.DataFrame([dict(item)])
    if len(frame) != 1:
        raise ValueError(f"one item is explained at a time; {len(frame)} rows were given")
    return frame
