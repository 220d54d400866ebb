"""The known truth behind every price of the demo: effects drawn once from the seed, and log_fair() that adds
them up.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from generator.catalogue import (
    ALL_KINDS,
    BRANDS,
    CHANNELS,
    FAMILIES,
    GRADES,
    MAKERS,
    MAKERS_EAST,
)

SEED = 20261031
FIRST_DAY = pd.Timestamp("2020-11-01")
LAST_DAY = pd.Timestamp("2026-10-31")
# standard deviations in log; types carry their own base price in the catalogue
SD_MAKER, SD_MAKER_ERA, SD_TYPE_MAKER, SD_CELL, SD_VARIANT, SD_PRINTED, SD_BRAND = (
    0.30,
    0.16,
    0.20,
    0.13,
    0.15,
    0.05,
    0.10,
)
DRIFT_A_YEAR, HYPE_A_YEAR, HYPED_SHARE = 0.06, 0.15, 1 / 17
NOISE_SCALE, NOISE_DF = 0.18, 4
ERA_EFFECT = {
    "1930s": 0.25,
    "1940s": 0.14,
    "1950s": 0.22,
    "1960s": 0.06,
    "1970s": -0.10,
    "1980s": -0.22,
    "1990s": -0.34,
    "2000s": -0.40,
    "2010s": -0.36,
    "2020s": -0.30,
    "unknown": -0.06,
}
TESTERS = {"bench A": 1.0, "bench B": 1.09, "bench C": 1.05}  # what each shows where 1.0 would be true
READING_DEPTH, READING_MIDDLE_PCT, READING_WIDTH_PCT = 0.45, 76.0, 6.0


def generator(part: str) -> np.random.Generator:
    """A stream of its own for each part, so that a change in one does not ripple through the others."""
    return np.random.default_rng([SEED, *part.encode()])


def noise(rng: np.random.Generator, size: int | None = None):
    """Log noise of one sale: Student t with 4 degrees of freedom, scale 0.18."""
    return NOISE_SCALE * rng.standard_t(NOISE_DF, size)


@dataclass(frozen=True)
class Piece:
    """What a listing says of a tube; "unknown" where it says nothing."""

    canonical: str
    printed: str
    maker: str
    brand: str
    era: str
    variant: str
    grade: str
    reading_pct: float | None
    set_size: int
    matched: bool

    @property
    def family(self) -> str:
        return ALL_KINDS[self.canonical].family


@dataclass
class Truth:
    """All effects. `drift` holds a log level a day for each type, `market` one for the whole shop; both end
    at 0.
    """

    maker: dict[str, float] = field(default_factory=dict)
    brand: dict[str, float] = field(default_factory=dict)
    effects: dict[tuple, float] = field(
        default_factory=dict
    )  # two- and three-way cells, drawn when first asked for
    makes: dict[tuple[str, str], float] = field(default_factory=dict)  # how much of a type a maker made
    market: np.ndarray | None = None
    drift: dict[str, np.ndarray] = field(default_factory=dict)
    hyped: tuple[str, ...] = ()

    def effect(self, sd: float, *key: str) -> float:
        """The effect of one cell, drawn from a stream named after the cell: the order of asking does not
        matter.

        A cell is drawn mildly heavy-tailed (t with 8 degrees of freedom, scaled to `sd`). Cells of an unknown
        maker or era have none.
        """
        if "unknown" in key:
            return 0.0
        if key not in self.effects:
            self.effects[key] = float(sd * generator("|".join(key)).standard_t(8) / np.sqrt(8 / 6))
        return self.effects[key]


def draw_truth() -> Truth:
    """The shop's world, the same on every call."""
    rng = generator("truth")
    truth = Truth()
    spread = rng.permutation(np.linspace(-1.7, 1.7, len(MAKERS))) * SD_MAKER
    truth.maker = {name: float(value) for name, value in zip(MAKERS, spread)} | {"unknown": -0.12}
    for name in MAKERS_EAST:
        truth.maker[name] -= 0.15
    truth.brand = {name: float(rng.normal(0, SD_BRAND)) for name in BRANDS}
    for canonical, kind in ALL_KINDS.items():
        for maker in MAKERS:
            local = (maker in MAKERS_EAST) == kind.east
            modern = maker in MAKERS_EAST and kind.canonical in (
                "12AX7",
                "EL34",
                "EL84",
                "6L6GC",
                "KT88",
                "300B",
                "6SN7GTB",
            )
            share = rng.gamma(0.6)
            truth.makes[canonical, maker] = float(share if local else 0.3 * share if modern else 0.0)
    days = (LAST_DAY - FIRST_DAY).days + 1
    years = np.arange(days) / 365.25
    market = 0.035 * years + 0.06 * np.exp(-(((years - 1.4) / 0.7) ** 2)) + 0.02 * np.sin(years * 1.9)
    truth.market = market - market[-1]
    hyped = rng.choice(
        [k.canonical for k in ALL_KINDS.values() if k.weight >= 1.5],
        max(3, round(len(ALL_KINDS) * HYPED_SHARE)),
        replace=False,
    )
    truth.hyped = tuple(sorted(hyped))
    for canonical in ALL_KINDS:
        steps = rng.normal(0, DRIFT_A_YEAR / np.sqrt(365.25), days)
        if canonical in truth.hyped:
            steps[int(rng.integers(days // 6, days // 2)) :] += HYPE_A_YEAR / 365.25
        level = np.cumsum(steps)
        truth.drift[canonical] = level - level[-1]
    return truth


def grade_effect(grade: str, family: str, level: float) -> float:
    """Log gap of a grade: wider in dear types and in families where the grade counts. `level` is the log base
    price.
    """
    return (
        GRADES[grade][1] * FAMILIES[family].grade_slope * (1 + 0.12 * np.clip(level - np.log(25), -1.5, 2.5))
    )


def reading_effect(reading_pct: float | None) -> float:
    """Sigmoid in the percent of nominal, near flat above 100; nothing when no reading is stated."""
    if reading_pct is None:
        return 0.0
    rise = 1 / (1 + np.exp(-(reading_pct - READING_MIDDLE_PCT) / READING_WIDTH_PCT))
    return READING_DEPTH * (rise - 0.93)


def set_effect(family: str, set_size: int, matched: bool) -> float:
    """Log of the set's price over the price of one tube."""
    if set_size == 1:
        return 0.0
    habits = FAMILIES[family]
    premium = habits.quad if set_size >= 4 else habits.pair
    return float(np.log(set_size) + premium + (0.5 * habits.pair if matched else 0.0))


def log_standing(truth: Truth, piece: Piece) -> float:
    """Log fair price in EUR of one set on the shop's own site at the last day: everything but date and
    channel.
    """
    level = np.log(ALL_KINDS[piece.canonical].price)
    return float(
        level
        + truth.maker[piece.maker]
        + ERA_EFFECT[piece.era]
        + truth.brand.get(piece.brand, 0.0)
        + truth.effect(SD_PRINTED, "printed", piece.printed)
        + truth.effect(SD_MAKER_ERA, "maker era", piece.maker, piece.era)
        + truth.effect(SD_TYPE_MAKER, "type maker", piece.canonical, piece.maker)
        + truth.effect(SD_CELL, "cell", piece.canonical, piece.maker, piece.era)
        + truth.effect(SD_VARIANT, "variant", piece.canonical, piece.variant)
        + grade_effect(piece.grade, piece.family, level)
        + reading_effect(piece.reading_pct)
        + set_effect(piece.family, piece.set_size, piece.matched)
    )


def log_time(truth: Truth, canonical: str, date: pd.Timestamp) -> float:
    """Market, drift of the type and season at a date, against the last day (season: dear in December)."""
    day = int(np.clip((date - FIRST_DAY).days, 0, len(truth.market) - 1))
    season = 0.03 * np.cos(2 * np.pi * (date.dayofyear - 350) / 365.25)
    return float(truth.market[day] + truth.drift[canonical][day] + season)


def log_fair(truth: Truth, piece: Piece, date: pd.Timestamp, channel: str = "own site") -> float:
    """Log fair price in EUR of one set as described, sold through `channel` at `date`: the median sale,
    without noise.
    """
    return log_standing(truth, piece) + log_time(truth, piece.canonical, date) + CHANNELS[channel][1]


def draw_piece(
    truth: Truth, rng: np.random.Generator, kind, makers: list[str], single: bool = False
) -> Piece:
    """A piece of the given type as the shop describes it, from one of `makers` that made it."""
    habits = FAMILIES[kind.family]
    shares = np.array([truth.makes[kind.canonical, maker] for maker in makers])
    maker = str(rng.choice(makers, p=shares / shares.sum())) if shares.sum() > 0 else "unknown"
    printed = str(
        rng.choice([name for name, _ in kind.printed], p=_share([share for _, share in kind.printed]))
    )
    era = "unknown"
    if maker != "unknown":
        decades = [d for d in range(max(MAKERS[maker][0], kind.first_decade), MAKERS[maker][1] + 1, 10)]
        if decades and rng.random() > 0.16:
            weights = [
                3.0 if d in (1950, 1960) else 1.6 if d == 1970 else 1.0 if d in (1940, 1980) else 0.5
                for d in decades
            ]
            era = f"{rng.choice(decades, p=_share(weights))}s"
    brand = "unknown"
    if rng.random() < 0.09:
        brand = str(rng.choice(BRANDS))
        maker = maker if rng.random() < 0.5 else "unknown"
    elif rng.random() < 0.05:
        maker = "unknown"
    elif rng.random() < 0.2:
        brand = maker  # the owner repeats the maker as the printed brand
    variant = str(rng.choice(habits.variants)) if rng.random() < 0.33 else "unknown"
    grade = str(rng.choice(list(GRADES), p=_share([share for share, _ in GRADES.values()])))
    reading = _draw_reading(rng, grade)
    set_size = 1 if single else int(rng.choice([1, 2, 4], p=habits.set_share))
    matched = set_size in (2, 4) and habits.pair > 0 and rng.random() < 0.6
    return Piece(kind.canonical, printed, maker, brand, era, variant, grade, reading, set_size, matched)


def _draw_reading(rng: np.random.Generator, grade: str) -> float | None:
    middle, spread, share = {
        "new old stock, boxed": (104, 7, 0.3),
        "new old stock": (103, 7, 0.45),
        "used, strong": (95, 6, 0.7),
        "used, good": (82, 6, 0.7),
        "used, weak": (64, 6, 0.8),
        "unknown": (88, 12, 0.3),
    }.get(grade, (0, 0, 0))
    value = float(np.round(rng.normal(middle, spread))) if middle else 0.0
    return value if rng.random() < share else None


def _share(weights) -> np.ndarray:
    weights = np.asarray(weights, float)
    return weights / weights.sum()


def effects_frame(truth: Truth) -> pd.DataFrame:
    """Every effect in log: columns kind, level, log_effect. Cells are those the shop's pieces asked for."""
    rows = [("maker", name, value) for name, value in truth.maker.items()]
    rows += [("brand", name, value) for name, value in truth.brand.items()]
    rows += [("era", name, value) for name, value in ERA_EFFECT.items()]
    rows += [("grade", name, gap) for name, (_, gap) in GRADES.items()]
    rows += [("channel", name, gap) for name, (_, gap) in CHANNELS.items()]
    rows += [("type", name, float(np.log(kind.price))) for name, kind in ALL_KINDS.items()]
    for name, family in FAMILIES.items():
        rows += [
            ("pair premium", name, family.pair),
            ("quad premium", name, family.quad),
            ("grade slope", name, family.grade_slope),
        ]
    rows += [("rose since", name, float(-truth.drift[name][0])) for name in truth.hyped]
    rows += [
        (key[0], " | ".join(key[1:]), value)
        for key, value in sorted(truth.effects.items())
        if key[0] != "cell"
    ]
    return pd.DataFrame(rows, columns=["kind", "level", "log_effect"]).round(4)


def market_frame(truth: Truth) -> pd.DataFrame:
    """The market's log level at the first day of each month, the last day being 0."""
    months = pd.date_range(FIRST_DAY, LAST_DAY, freq="MS")
    return pd.DataFrame(
        {"month": months.strftime("%Y-%m"), "log_level": [truth.market[(m - FIRST_DAY).days] for m in months]}
    ).round(4)
