"""The true effects behind a simulated shop: what exists, how often it is asked for, and what each thing adds
to a price.

All effects are in log price of one tube. Standard deviations follow the measured study the price model is
built on; the vocabularies of grades, eras and channels are the shop's. Every name of a type, maker or brand
is invented.
"""

from dataclasses import dataclass, field

import numpy as np

GRADES = ("new old stock, boxed", "new old stock", "used, strong", "used, good", "used, weak",
          "pulled or untested", "for parts", "unknown")
ERAS = ("1930s", "1940s", "1950s", "1960s", "1970s", "1980s", "unknown")
CHANNELS = ("own site", "marketplace", "auction", "direct", "fair", "wholesale")
SET_SIZES = (1, 2, 4)
FAMILIES = ("small-signal triodes", "dual triodes", "power triodes", "power pentodes", "beam tubes",
            "signal pentodes", "rectifiers", "detectors and diodes", "mixers and converters",
            "transmitting tubes", "regulators", "indicators")
VARIANTS = ("black plates", "grey plates", "ribbed plates", "halo getter", "square getter", "side getter")
DESIGNATIONS = ("", "A", "WA")       # what is printed after the type's own name
N_BRANDS = 25
UNKNOWN_ERA = ERAS.index("unknown")
MONTHS_AHEAD = 5                     # drift paths run this many months beyond the history

STANDARD_DEVIATIONS = {
    "family": 0.45, "type": 0.85,    # the whole of a type's spread, its family's share included
    "maker": 0.32, "maker_era": 0.18, "type_maker": 0.22, "cell": 0.14, "variant": 0.15,
    "designation": 0.05, "brand": 0.06, "family_grade": 0.06, "family_set": 0.06,
    "type_drift": 0.06,              # a random walk's step over one year
    "market": 0.04,                  # likewise, on top of the market's trend
    "noise": 0.18,                   # standard deviation of a clean sale, not the scale of its t distribution
}
HYPE_A_YEAR = 0.15
HYPED_SHARE = 1 / 17
MARKET_TREND_A_YEAR = 0.03
SEASON_AMPLITUDE = 0.03
CELL_DEGREES_OF_FREEDOM = 6
NOISE_DEGREES_OF_FREEDOM = 4

GRADE_GAP = np.array([0.62, 0.52, 0.18, 0.0, -0.45, -0.35, -1.30, -0.12])
# A dear tube gains more from a good grade than a cheap one: the level of family + type + maker counts (1 +
# slope) times.
GRADE_LEVEL_SLOPE = np.array([0.09, 0.07, 0.02, 0.0, -0.06, -0.04, -0.15, -0.02])
CHANNEL_EFFECT = np.array([0.0, -0.08, -0.20, -0.12, -0.25, -0.45])
ERA_EFFECT = np.array([0.10, 0.12, 0.08, 0.0, -0.10, -0.20, -0.04])
SET_PREMIUM = np.array([0.0, 0.08, 0.16])       # a tube, in a pair, in a quad
MATCHED_EFFECT = 0.10
LOG_QTY_EFFECT = -0.06
READING_DEPTH, READING_MIDDLE_PCT, READING_WIDTH_PCT = 0.55, 66.0, 8.0
NO_READING_EFFECT = -0.07
BASE_LOG_PRICE = 3.2


@dataclass(frozen=True)
class World:
    """Every true effect of one simulated shop, in log price, and what is available how often.

    Effects are indexed by the position of a level: `type_effect` (types,), `maker_era_effect` (makers, eras),
    `type_maker_effect` (types, makers), `cell_effect` (cells,), `variant_effect` (types, makers, 3),
    `designation_effect` (types, 3), `family_grade_effect` (families, grades), `family_set_effect` (families,
    3). `type_effect` leaves the family out. `drift_path` (months, types) and `market_path` (months,) start at
    zero at the beginning of the history, monthly; the season comes on top. Cells are type x maker x era;
    `cell_weight` sums to one. The last maker and the last era are "unknown", levels like any other.
    """

    hard: bool
    years: float
    sd: dict[str, float]
    type_names: np.ndarray
    maker_names: np.ndarray
    brand_names: np.ndarray
    type_family: np.ndarray
    family_effect: np.ndarray
    type_effect: np.ndarray
    maker_effect: np.ndarray
    maker_era_effect: np.ndarray
    type_maker_effect: np.ndarray
    cell_effect: np.ndarray
    variant_effect: np.ndarray
    designation_effect: np.ndarray
    brand_effect: np.ndarray
    family_grade_effect: np.ndarray
    family_set_effect: np.ndarray
    drift_path: np.ndarray
    market_path: np.ndarray
    hyped: np.ndarray
    cell_type: np.ndarray
    cell_maker: np.ndarray
    cell_era: np.ndarray
    cell_weight: np.ndarray
    n_variants: np.ndarray
    n_designations: np.ndarray
    set_share: np.ndarray
    grade_level_slope: np.ndarray = field(repr=False)

    def type_drift(self, years: np.ndarray, type_code: np.ndarray) -> np.ndarray:
        """Drift of each row's type, `years` (rows,) after the beginning of the history; linear between
        months."""
        month, weight = _month(years, len(self.drift_path))
        before, after = self.drift_path[month, type_code], self.drift_path[month + 1, type_code]
        return (1 - weight) * before + weight * after

    def market(self, years: np.ndarray) -> np.ndarray:
        """Market index without the season, `years` (rows,) after the beginning of the history."""
        month, weight = _month(years, len(self.market_path))
        return (1 - weight) * self.market_path[month] + weight * self.market_path[month + 1]


def season(day_of_year: np.ndarray) -> np.ndarray:
    """Seasonal part of log price: dearest in the middle of December, cheapest in June."""
    return SEASON_AMPLITUDE * np.cos(2 * np.pi * (np.asarray(day_of_year) - 350) / 365.25)


def reading_shape(reading_pct: np.ndarray) -> np.ndarray:
    """Shape of the reading's effect: 0 from 100 % upwards, a sigmoid falling towards -1 below; NaN stays
    NaN."""
    def sigmoid(pct):
        return 1 / (1 + np.exp(-(pct - READING_MIDDLE_PCT) / READING_WIDTH_PCT))
    return (sigmoid(np.minimum(reading_pct, 100.0)) - sigmoid(100.0)) / sigmoid(100.0)


def heavy_tailed(rng: np.random.Generator, degrees_of_freedom: float, sd: float, size: int,
                 hard: bool) -> np.ndarray:
    """Student-t draws scaled to standard deviation `sd`; normal ones where the shop is not a hard one."""
    if not hard:
        return sd * rng.standard_normal(size)
    scale = sd * np.sqrt((degrees_of_freedom - 2) / degrees_of_freedom)
    return scale * rng.standard_t(degrees_of_freedom, size)


def draw_world(seed, *, years: float, n_types: int, n_makers: int, hard: bool, designations: bool,
               sd: dict[str, float] | None = None) -> World:
    """Draw the true effects of a shop. The number of sales plays no part: more sales, same shop."""
    rng = np.random.default_rng(seed)
    sd = STANDARD_DEVIATIONS | (sd or {})
    if unknown := sorted(set(sd) - set(STANDARD_DEVIATIONS)):
        raise ValueError(f"no such standard deviation: {unknown}; there are {sorted(STANDARD_DEVIATIONS)}")
    if sd["type"] < sd["family"]:
        raise ValueError(f"sd of types ({sd['type']}) holds that of families ({sd['family']}): "
                         "it cannot be smaller")

    def normal(name, *shape):
        return sd[name] * rng.standard_normal(shape)

    makers, eras, families = n_makers + 1, len(ERAS), len(FAMILIES)
    cell_type, cell_maker, cell_era, cell_weight, type_weight = _availability(rng, n_types, n_makers)
    months = int(np.ceil(years * 12)) + MONTHS_AHEAD
    hyped = rng.random(n_types) < (HYPED_SHARE if hard else 0.0)
    monthly_hype = np.where(hyped, HYPE_A_YEAR / 12, 0.0)
    steps = normal("type_drift", months, n_types) / np.sqrt(12) + monthly_hype
    market_steps = normal("market", months) / np.sqrt(12) + MARKET_TREND_A_YEAR / 12
    maker_effect = normal("maker", makers)
    maker_effect[-1] = -0.2                     # a piece nobody can ascribe sells below the average maker's
    family_set = normal("family_set", families, len(SET_SIZES))
    family_set[:, 0] = 0.0
    # Popular types were printed in more ways and built in more variants.
    rank = np.argsort(np.argsort(-type_weight))
    n_designations = np.where(rank < n_types // 5, 3, np.where(rank < n_types // 2, 2, 1)) if designations \
        else np.ones(n_types, int)
    return World(
        hard=hard, years=years, sd=sd, hyped=hyped,
        type_names=np.array([f"T{i:04d}" for i in range(1, n_types + 1)], dtype=object),
        maker_names=np.array([f"Maker {i:02d}" for i in range(1, makers)] + ["unknown"], dtype=object),
        brand_names=np.array([f"Brand {i:02d}" for i in range(1, N_BRANDS + 1)] + ["unknown"], dtype=object),
        type_family=_families(rng, n_types),
        family_effect=normal("family", families),
        type_effect=np.sqrt(sd["type"] ** 2 - sd["family"] ** 2) * rng.standard_normal(n_types),
        maker_effect=maker_effect,
        maker_era_effect=normal("maker_era", makers, eras),
        type_maker_effect=normal("type_maker", n_types, makers),
        cell_effect=heavy_tailed(rng, CELL_DEGREES_OF_FREEDOM, sd["cell"], len(cell_type), hard),
        variant_effect=normal("variant", n_types, makers, 3),
        designation_effect=normal("designation", n_types, len(DESIGNATIONS)) * (1 if designations else 0),
        brand_effect=np.append(normal("brand", N_BRANDS), 0.0),
        family_grade_effect=normal("family_grade", families, len(GRADES)),
        family_set_effect=family_set,
        drift_path=np.vstack([np.zeros(n_types), np.cumsum(steps, axis=0)]),
        market_path=np.append(0.0, np.cumsum(market_steps)),
        cell_type=cell_type, cell_maker=cell_maker, cell_era=cell_era, cell_weight=cell_weight,
        n_variants=rng.choice(4, size=(n_types, makers), p=[0.4, 0.25, 0.2, 0.15]),
        n_designations=n_designations,
        set_share=rng.uniform(0.08, 0.40, families),
        grade_level_slope=GRADE_LEVEL_SLOPE if hard else np.zeros(len(GRADES)),
    )


def _families(rng: np.random.Generator, n_types: int) -> np.ndarray:
    """Family of each type: a few large families, some small ones."""
    share = 1 / np.arange(2, len(FAMILIES) + 2)
    return rng.choice(len(FAMILIES), size=n_types, p=rng.permutation(share / share.sum()))


def _availability(rng: np.random.Generator, n_types: int, n_makers: int):
    """Cells type x maker x era that exist, with the share of sales each takes.

    A type was made for some decades by some makers, a maker worked for some decades; popular types had more
    makers. Popularity of types and of makers falls off like Zipf's law. At 500 types and 40 makers: about
    15,000 cells.
    """
    dated = UNKNOWN_ERA
    type_first = rng.integers(0, 4, n_types)
    type_last = np.minimum(type_first + rng.integers(1, 5, n_types), dated - 1)
    maker_first = rng.integers(0, 3, n_makers)
    maker_last = np.minimum(maker_first + rng.integers(2, 6, n_makers), dated - 1)
    type_weight = 1 / (rng.permutation(n_types) + 3.0) ** 1.0
    maker_weight = 1 / (rng.permutation(n_makers) + 2.0)
    rank_share = type_weight / type_weight.max()
    wanted = np.clip(np.round(4 + 26 * rank_share ** 0.45 * rng.uniform(0.6, 1.6, n_types)), 2, n_makers)

    type_eras = _between(type_first, type_last, dated)
    maker_eras = _between(maker_first, maker_last, dated)
    overlap = type_eras[:, None, :] & maker_eras[None, :, :]
    key = np.where(overlap.any(axis=2), np.log(maker_weight) + rng.gumbel(size=(n_types, n_makers)), -np.inf)
    position = np.argsort(np.argsort(-key, axis=1), axis=1)
    makes = (position < wanted[:, None]) & np.isfinite(key)

    made = overlap & makes[:, :, None] & (rng.random(overlap.shape) < 0.8)
    exists = np.zeros((n_types, n_makers + 1, dated + 1), bool)
    exists[:, :-1, :-1] = made
    exists[:, :, -1] = True                     # "era unknown" exists wherever the maker made the type
    exists[:, :-1, -1] &= makes
    type_of, maker_of, era_of = np.nonzero(exists)
    in_type = np.append(maker_weight, maker_weight.mean())[maker_of] \
        * np.exp(0.7 * rng.standard_normal((n_types, n_makers + 1)))[type_of, maker_of] \
        * np.where(era_of == dated, 0.4, 1.0) * np.exp(0.5 * rng.standard_normal(len(type_of)))
    total = np.bincount(type_of, in_type, minlength=n_types)
    weight = type_weight[type_of] * in_type / total[type_of]
    return type_of, maker_of, era_of, weight / weight.sum(), type_weight


def _between(first: np.ndarray, last: np.ndarray, n: int) -> np.ndarray:
    """Truth table (len(first), n) of first <= position <= last."""
    position = np.arange(n)
    return (position >= first[:, None]) & (position <= last[:, None])


def _month(years: np.ndarray, n_months: int) -> tuple[np.ndarray, np.ndarray]:
    """Month a date falls in and how far through it."""
    at = np.asarray(years) * 12
    month = np.clip(np.floor(at).astype(int), 0, n_months - 2)
    return month, at - month
