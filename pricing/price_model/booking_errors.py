"""Suspected booking errors: sales far from what all others say, and what may have happened to each.

Every story is a corrected reading of the row. Its weight is Bayes' rule over the stories: a stated prior frequency
times the density of the price under the corrected reading, with the sale itself left out. Words ask, never accuse.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import special, stats
from threadpoolctl import threadpool_limits

from pricing.price_model.facts import SUSPECT_Z, left_out_scores
from pricing.price_model.robust import DEGREES_OF_FREEDOM

if TYPE_CHECKING:
    from pricing.price_model.model import PriceModel

HONEST = "unusual, but booked as meant?"
# Share of all sale lines that each story befalls: common practice, no source.
PRIORS = {
    "set price booked as one piece?": 0.006,
    "piece price booked as a set?": 0.001,
    "several pieces booked as one?": 0.001,
    "price of one booked for several?": 0.001,
    "decimal point slipped?": 0.006,
    "booked in another currency?": 0.001,
    "another type?": 0.005,
    "another grade?": 0.002,
    HONEST: 0.977,
}
SET_AS_ONE, ONE_AS_SET, COUNT_AS_ONE, EACH_AS_ALL, DECIMAL, CURRENCY, TYPE, GRADE = list(PRIORS)[:-1]
# Which slip of the decimal point, by what it does to the price: common practice, no source.
DECIMAL_SHARES = {10.0: 0.40, 0.1: 0.30, 100.0: 0.20, 0.01: 0.10}
LOOK_ALIKE_SHARE = 0.5  # of wrong types, those that are a slip of one sign; the rest may be any type sold
SALES_LENT_TO_MAKERS = 5.0  # how many sales of its own a type needs before its makers count more than the shop's
MOST_TYPES = 60  # candidates looked at for one sale, the likeliest beforehand
TYPES_NAMED = 3
SUSPECTS_AT_ONCE = 100
COLUMNS = ("sheet", "row", "type", "price", "z", "story", "column", "would_be", "expected", "z_then", "probability")


def outliers(model: PriceModel) -> pd.DataFrame:
    """See PriceModel.outliers."""
    error, z = left_out_scores(model)
    at = _suspects(z)
    best = model.booking_errors.drop_duplicates(["sheet", "row"])
    sales = model.history.sales.iloc[at]
    price = sales["price_home"].to_numpy(float)
    return pd.DataFrame({
        "sheet": sales["sheet"].to_numpy(), "row": sales["row"].to_numpy(), "type": sales["designation"].to_numpy(),
        "price": price, "expected": price * np.exp(-error[at]), "z": z[at], "story": best["story"].to_numpy(),
        "would_be": best["would_be"].to_numpy(), "probability": best["probability"].to_numpy(),
    })


def booking_errors(model: PriceModel) -> pd.DataFrame:
    """See PriceModel.booking_errors."""
    _, z = left_out_scores(model)
    at = _suspects(z)
    parts = [_weighed(model, at[start:start + SUSPECTS_AT_ONCE]) for start in range(0, len(at), SUSPECTS_AT_ONCE)]
    out = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=["sale", *COLUMNS])
    out["z"] = z[out["sale"].to_numpy(int)]
    return out[list(COLUMNS)]


def _suspects(z: np.ndarray) -> np.ndarray:
    """Places of the suspected sales, the farthest off first."""
    at = np.flatnonzero(np.abs(z) > SUSPECT_Z)
    return at[np.argsort(-np.abs(z[at]), kind="stable")]


def _weighed(model: PriceModel, at: np.ndarray) -> pd.DataFrame:
    """The stories of the sales at these places, sale by sale, the likeliest first."""
    readings = Readings(model, at).all()
    density, expected_log, z_then = _under(model, at, readings)
    readings = readings.assign(
        log_weight=readings["log_prior"] + density, z_then=z_then,
        expected=np.exp(expected_log) * readings["set_size"].to_numpy(float) * readings["qty"].to_numpy(float),
    )
    readings["weight"] = np.exp(readings["log_weight"] - readings.groupby("sale")["log_weight"].transform("max"))
    readings["weight"] /= readings.groupby("sale")["weight"].transform("sum")
    readings = readings.sort_values("weight", ascending=False, kind="stable")
    by_story = readings.groupby(["sale", "story"], sort=False)
    best = readings[by_story.cumcount() == 0].assign(probability=by_story["weight"].sum().to_numpy())
    # A price alone fits many types: the next ones are named too.
    types = readings[readings["story"] == TYPE].groupby("sale")["canonical_type"].agg(list)
    others = [types[sale][1:TYPES_NAMED] if story == TYPE else [] for sale, story in zip(best["sale"], best["story"])]
    words = [f"{first} (or {', '.join(more)})" if more else first for first, more in zip(best["would_be"], others)]
    place = pd.Series(np.arange(len(at)), index=at)[best["sale"]].to_numpy()
    best = best.assign(would_be=words, place=place, type=best["booked_type"], price=best["price_home"])
    best = best.sort_values(["place", "probability"], ascending=[True, False], kind="stable")
    return best[["sale", *(name for name in COLUMNS if name != "z")]]


def _under(model: PriceModel, at: np.ndarray, readings: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(log density of the price, expected log price per tube, z) of every reading, its own sale left out.

    Leaving sale i out moves the coefficients by J^-1 x w r / (1 - w v) and the inverse by its rank-one update
    (Sherman-Morrison), so any reading's prediction follows from one solve a sale.
    """
    fit, posterior = model.fit, model.fit.posterior
    rows, unmet = model.rows(readings)
    own = model.history.observations.take(at).rows()
    with threadpool_limits(1):
        place = pd.Series(np.arange(len(at)), index=at)[readings["sale"]].to_numpy()
        tie = rows.times(posterior.solve(own))[np.arange(len(readings)), place]  # covariance with the sale's own mean
        relative = posterior.relative_variance(rows) + unmet
    sale = readings["sale"].to_numpy()
    kept = np.clip(1 - fit.weights[sale] * model.leverage[sale], 1e-6, None)
    pull = fit.weights[sale] / kept
    expected = posterior.mean(rows) - tie * pull * fit.residuals[sale]
    relative = relative + tie**2 * pull
    tubes = readings["set_size"].to_numpy(float) * readings["qty"].to_numpy(float)
    meant = np.log(readings["price_home"].to_numpy(float) / tubes) + readings["log_factor"].to_numpy()
    # In units of the noise. A factor on the price or on the count only shifts the log price: no Jacobian is needed.
    error = (meant - expected) / np.sqrt(posterior.noise_variance)
    return log_density(error, relative), expected, error / np.sqrt(1 + relative)


def log_density(error: np.ndarray, relative: np.ndarray) -> np.ndarray:
    """Log density of t noise plus a normal error of variance `relative`, both in units of the noise.

    The t is a normal with variance 1 / g, g of Gamma(nu / 2, nu / 2): a sum of normals over a grid of log g
    (trapezoidal rule).
    """
    half, grid = DEGREES_OF_FREEDOM / 2, np.linspace(np.log(1e-7), np.log(30.0), 160)
    log_share = stats.gamma.logpdf(np.exp(grid), half, scale=1 / half) + grid + np.log(grid[1] - grid[0])
    sd = np.sqrt(relative[:, None] + np.exp(-grid))
    return special.logsumexp(stats.norm.logpdf(error[:, None], scale=sd) + log_share, axis=1)


@dataclass(frozen=True)
class Readings:
    """Corrected readings of suspected sales: frames of described sales with sale (place in the history), story,
    log_prior, log_factor (on the price), column (to change) and would_be (words)."""

    model: PriceModel
    at: np.ndarray

    @cached_property
    def booked(self) -> pd.DataFrame:
        """The suspected sales as booked."""
        sales = self.model.history.sales.iloc[self.at]
        return sales.assign(sale=self.at, booked_type=sales["designation"], log_factor=0.0).reset_index(drop=True)

    def all(self) -> pd.DataFrame:
        """Every reading of every suspected sale."""
        parts = [
            self._reading(self.booked, HONEST, 1.0, "", "as booked"), *self._sets(), *self._counts(), *self._decimals(),
            *self._currencies(), *self._grades(), *self._types(),
        ]
        return pd.concat([part for part in parts if len(part)], ignore_index=True)

    def _reading(self, rows: pd.DataFrame, story: str, share: np.ndarray | float, column: str,
                 words: list[str] | str, **changes) -> pd.DataFrame:
        with np.errstate(divide="ignore"):
            log_prior = np.log(PRIORS[story]) + np.log(share)
        out = rows.assign(story=story, log_prior=log_prior, column=column, would_be=words, **changes)
        return out[np.isfinite(out["log_prior"])]

    def _sets(self) -> list[pd.DataFrame]:
        """A set booked as less than it is, in the proportion of the shop's sets; a single piece booked as a set."""
        sold, out = self.model.history.sales, []
        counts = {size: (sold["set_size"] == size).sum() + 1.0 for size in (2, 4)}
        for size, count in counts.items():
            rows = self.booked[self.booked["set_size"] < size]
            of = sum(counts.values()) if size == 2 else np.where(rows["set_size"] == 1, sum(counts.values()), count)
            matched = sold.loc[sold["set_size"] == size, "matched"].mean() > 0.5
            words = [f"set_size {size} instead of {booked}" for booked in rows["set_size"]]
            out.append(self._reading(rows, SET_AS_ONE, count / of, "set_size", words, set_size=size, matched=matched))
        rows = self.booked[self.booked["set_size"] > 1]
        words = [f"set_size 1 instead of {size}, or price {_price(row, size)} for the set"
                 for row, size in zip(rows.to_dict("records"), rows["set_size"])]
        out.append(self._reading(rows, ONE_AS_SET, 1.0, "set_size", words, set_size=1, matched=False))
        return out

    def _counts(self) -> list[pd.DataFrame]:
        """Several sets booked as one, in the proportion of the shop's quantities; one price booked for several."""
        met = self.model.history.sales["qty"].value_counts()
        met = met[(met.index > 1) & (met.index <= 100)]
        one, several = self.booked[self.booked["qty"] == 1], self.booked[self.booked["qty"] > 1]
        out = [self._reading(one, COUNT_AS_ONE, count / met.sum(), "qty", f"qty {qty} instead of 1", qty=qty)
               for qty, count in met.items()]
        words = [f"price {_price(row, row['qty'])} instead of {_price(row)} for {row['qty']}"
                 for row in several.to_dict("records")]
        factor = np.log(several["qty"].to_numpy(float))
        return [*out, self._reading(several, EACH_AS_ALL, 1.0, "price", words, log_factor=factor)]

    def _decimals(self) -> list[pd.DataFrame]:
        return [
            self._reading(
                self.booked, DECIMAL, share, "price",
                [f"price {_price(row, 1 / slip)} instead of {_price(row)}" for row in self.booked.to_dict("records")],
                log_factor=-np.log(slip),
            )
            for slip, share in DECIMAL_SHARES.items()
        ]

    def _currencies(self) -> list[pd.DataFrame]:
        """The same figure in another currency of the shop's sales, by how often each is met."""
        sales, settings = self.model.history.sales, self.model.settings
        if "currency" not in sales or sales["currency"].nunique() < 2:
            return []
        met, out = sales["currency"].value_counts(), []
        for other, count in met.items():
            rows = self.booked[self.booked["currency"] != other]
            rates = [(settings.rate(other, date), settings.rate(booked, date))
                     for date, booked in zip(rows["sold_on"], rows["currency"])]
            known = np.array([None not in pair for pair in rates], bool)
            rows, rates = rows[known], [pair for pair in rates if None not in pair]
            factor = np.array([np.log(new.value / old.value) for new, old in rates])
            words = [f"currency {other} instead of {booked}" for booked in rows["currency"]]
            share = count / (met.sum() - met[rows["currency"]].to_numpy(float))
            out.append(self._reading(rows, CURRENCY, share, "currency", words, log_factor=factor))
        return out

    def _grades(self) -> list[pd.DataFrame]:
        """Any other grade, by how often the shop states it."""
        met, out = self.model.history.sales["grade"].value_counts(), []
        for grade, count in met.items():
            rows = self.booked[self.booked["grade"] != grade]
            words = [f"grade “{grade}” instead of “{booked}”" for booked in rows["grade"]]
            share = count / (met.sum() - met[rows["grade"]].to_numpy(float))
            out.append(self._reading(rows, GRADE, share, "grade", words, grade=grade))
        return out

    def _types(self) -> list[pd.DataFrame]:
        """Other types sold: p(type) p(maker | type) p(booked type | type) over the same of the type as booked.

        A wrong type is a slip of one sign of the number, or any type in the proportion of its sales.
        """
        sold, families = self.model.history.sales, self.model.type_families
        types = sold["canonical_type"].value_counts()
        if len(types) < 2:
            return []
        usual = sold.groupby(["canonical_type", "designation"]).size().sort_values(kind="stable").reset_index()
        usual = usual.drop_duplicates("canonical_type", keep="last").set_index("canonical_type")["designation"]
        of_maker = sold.groupby(["maker", "canonical_type"]).size()
        alike, makers = look_alikes(list(types.index)), sold["maker"].value_counts(normalize=True)
        has_alike = np.array([bool(alike[name]) for name in types.index])
        counts, names = types.to_numpy(float), types.index.to_numpy(object)
        count = min(MOST_TYPES, len(types) - 1)
        tops, priors = np.empty((len(self.booked), count), int), np.empty((len(self.booked), count))
        for at, (booked, maker) in enumerate(zip(self.booked["canonical_type"], self.booked["maker"])):
            own = (names == booked).astype(float)  # the sale itself is no evidence for its type
            n, here = counts - own, int(np.flatnonzero(own)[0])
            with_maker = of_maker[maker].reindex(types.index).fillna(0).to_numpy(float) - own
            share = (n + 0.5) / (n + 0.5).sum()
            joint = share * (with_maker + SALES_LENT_TO_MAKERS * makers[maker]) / (n + SALES_LENT_TO_MAKERS)
            slips = np.array([(booked in alike[name]) / max(len(alike[name]), 1) for name in names])
            strays = share[here] * (1 - LOOK_ALIKE_SHARE * has_alike)
            prior = joint * (LOOK_ALIKE_SHARE * slips + strays) / joint[here]
            prior[here] = 0.0
            tops[at] = np.argsort(-prior, kind="stable")[:count]
            # What lies beyond the candidates is shared out among them.
            priors[at] = prior[tops[at]] * prior.sum() / prior[tops[at]].sum()
        chosen = names[tops.ravel()]
        rows = self.booked.iloc[np.repeat(np.arange(len(self.booked)), count)]
        printed = usual[chosen].to_numpy(object)
        words = [f"type {new} instead of {booked}" for new, booked in zip(printed, rows["designation"])]
        return [self._reading(rows, TYPE, priors.ravel(), "type", words, canonical_type=chosen, designation=printed,
                              family=[families[name] for name in chosen])]


def look_alikes(names: list[str]) -> dict[str, set[str]]:
    """For every name those that one slip turns it into: a sign changed, left out or added, or two neighbours swapped.

    12AX7 and 12AU7, EL84 and EL34. Names are compared by their letters and figures.
    """
    keys = {name: re.sub(r"\W", "", name.upper()) for name in names}
    holes: dict[tuple, set[str]] = {}
    for name, key in keys.items():
        marks = [("change", at, key[:at] + key[at + 1:]) for at in range(len(key))]
        marks += [("swap", at, key[:at] + "".join(sorted(key[at:at + 2])) + key[at + 2:]) for at in range(len(key) - 1)]
        marks += [("left out", key)] + [("left out", key[:at] + key[at + 1:]) for at in range(len(key))]
        for mark in marks:
            holes.setdefault(mark, set()).add(name)
    out: dict[str, set[str]] = {name: set() for name in names}
    for mark, met in holes.items():
        for name in met:
            out[name] |= {other for other in met if other != name and (
                mark[0] != "left out" or len(keys[name]) != len(keys[other]))}
    return out


def _price(row: dict, factor: float = 1.0) -> str:
    """The line price as typed, times a factor, with its currency where that is not plain."""
    price = row.get("price", np.nan)
    if not isinstance(price, (int, float)) or not np.isfinite(price):
        price, row = row["price_home"], {}
    currency = str(row.get("currency") or "")
    return f"{price * factor:,.2f} {currency}".strip()
