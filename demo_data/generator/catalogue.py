"""What exists in the world of Thrandlewick Tubes, an invented shop: types, makers, brands, vocabularies.

Type numbers are real designations. Every maker and brand is a coined word: no maker of tubes, electronics
brand or shop is meant, and none was known to the author by these names.
"""

from __future__ import annotations

from dataclasses import dataclass

# makers whose works were in the west (first decade, last decade) and in the east
MAKERS_WEST = {
    "Quorvane": (1930, 1980),
    "Haldrune": (1930, 1970),
    "Tivenshaw": (1930, 1970),
    "Ostrelk": (1940, 1980),
    "Marrowell": (1940, 1980),
    "Luskarn": (1950, 1980),
    "Orvandel": (1940, 1970),
    "Fenwhistle": (1930, 1960),
    "Skarnholt": (1950, 1980),
    "Varnoseth": (1950, 1970),
    "Yelvertine": (1940, 1980),
    "Nimbrade": (1950, 1980),
    "Wexmarrow": (1930, 1960),
    "Torbelane": (1950, 1980),
    "Ibranze": (1950, 1970),
    "Umbrelka": (1950, 1980),
}
MAKERS_EAST = {
    "Zembrusk": (1950, 2010),
    "Dravelko": (1950, 1990),
    "Kostrevik": (1960, 2020),
    "Shanqir": (1960, 2020),
}
# makers the shop owns pieces of and has never sold: they appear in stock and offers only
MAKERS_NEVER_SOLD = {"Pommerick": (1940, 1960), "Elgravane": (1950, 1960)}
MAKERS = {**MAKERS_WEST, **MAKERS_EAST, **MAKERS_NEVER_SOLD}

# names printed on tubes made by others
BRANDS = ("Gralloon", "Ruddipole", "Cloverdun", "Ondrigo", "Halcyard")

GRADES = {  # the vocabulary, with the share of sales and the log gap to the best grade at a middling price
    "new old stock, boxed": (0.21, 0.0),
    "new old stock": (0.20, -0.12),
    "used, strong": (0.27, -0.45),
    "used, good": (0.13, -0.68),
    "used, weak": (0.03, -1.00),
    "pulled or untested": (0.05, -0.85),
    "for parts": (0.01, -1.80),
    "unknown": (0.10, -0.38),
}
CHANNELS = {  # share of sales, log gap to the shop's own site
    "own site": (0.46, 0.0),
    "marketplace": (0.35, 0.04),
    "auction": (0.06, -0.12),
    "direct": (0.06, -0.06),
    "fair": (0.05, -0.10),
    "wholesale": (0.02, -0.35),
}
COUNTRIES = {
    "DE": 0.24,
    "FR": 0.12,
    "IT": 0.10,
    "NL": 0.08,
    "BE": 0.05,
    "ES": 0.05,
    "AT": 0.04,
    "SE": 0.04,
    "PL": 0.03,
    "GB": 0.09,
    "US": 0.12,
    "JP": 0.02,
    "AU": 0.02,
}


@dataclass(frozen=True)
class Family:
    """Pricing habits that the types of a family share."""

    start: int  # first decade of production
    pair: float  # log premium of a tube in a matched pair, and in a matched quad
    quad: float
    set_share: tuple[float, float, float]  # singles, pairs, quads
    grade_slope: float  # how strongly grades pull the price in this family
    sections: int
    daily_hazard: float  # sales a day of one listing at its fair price
    variants: tuple[str, ...]


FAMILIES = {
    "12AX7 kin": Family(
        1950,
        0.03,
        0.05,
        (0.72, 0.24, 0.04),
        1.10,
        2,
        1 / 80,
        ("long plates", "short plates", "grey plates", "square getter", "disc getter"),
    ),
    "12AU7 kin": Family(
        1950, 0.03, 0.04, (0.72, 0.24, 0.04), 1.00, 2, 1 / 130, ("long plates", "grey plates", "black plates")
    ),
    "12AT7 kin": Family(
        1950, 0.02, 0.02, (0.75, 0.22, 0.03), 0.85, 2, 1 / 180, ("grey plates", "black plates")
    ),
    "ECC88 kin": Family(
        1950, 0.08, 0.10, (0.62, 0.33, 0.05), 1.10, 2, 1 / 110, ("gold pins", "A-frame", "O getter")
    ),
    "EL84 kin": Family(
        1950, 0.12, 0.22, (0.50, 0.33, 0.17), 1.00, 1, 1 / 90, ("grey plates", "black plates", "D getter")
    ),
    "6V6 kin": Family(
        1930,
        0.12,
        0.20,
        (0.56, 0.36, 0.08),
        0.90,
        1,
        1 / 100,
        ("smoked glass", "clear glass", "black plates"),
    ),
    "6L6 kin": Family(
        1930,
        0.14,
        0.25,
        (0.50, 0.36, 0.14),
        0.95,
        1,
        1 / 100,
        ("black plates", "grey plates", "smoked glass", "brown base"),
    ),
    "EL34 kin": Family(
        1950,
        0.15,
        0.28,
        (0.42, 0.38, 0.20),
        1.05,
        1,
        1 / 100,
        ("metal base", "brown base", "double D getter"),
    ),
    "KT88 kin": Family(
        1950, 0.15, 0.30, (0.40, 0.40, 0.20), 1.05, 1, 1 / 130, ("black plates", "solid base")
    ),
    "rectifiers": Family(
        1930,
        0.00,
        0.00,
        (0.93, 0.07, 0.0),
        0.80,
        2,
        1 / 110,
        ("black plates", "metal base", "bottom getter", "hanging filament"),
    ),
    "directly heated triodes": Family(
        1930, 0.18, 0.30, (0.45, 0.50, 0.05), 1.15, 1, 1 / 150, ("black plates", "spring top")
    ),
    "octal dual triodes": Family(
        1940, 0.06, 0.08, (0.68, 0.28, 0.04), 1.00, 2, 1 / 120, ("black glass", "T plates", "bottom getter")
    ),
    "other": Family(1950, 0.02, 0.02, (0.82, 0.16, 0.02), 0.85, 1, 1 / 220, ("mesh plate", "grey plates")),
}


@dataclass(frozen=True)
class TubeKind:
    """One canonical electrical type as the shop trades it."""

    canonical: str
    family: str
    price: float  # EUR, one tube, about the middle of makers, eras and grades
    weight: float  # how often it is sold
    printed: tuple[tuple[str, float], ...]  # designations on the glass with their shares
    east: bool = False
    start: int = 0

    @property
    def first_decade(self) -> int:
        return self.start or FAMILIES[self.family].start


def _kinds(family: str, text: str, east: bool = False) -> list[TubeKind]:
    """`12AX7 34 10 12AX7:5 ECC83:4; ...`: canonical, price, weight, printed designations; @1960 sets the
    first decade.
    """
    kinds = []
    for entry in text.split(";"):
        canonical, price, weight, *rest = entry.split()
        start = next((int(word[1:]) for word in rest if word.startswith("@")), 0)
        printed = [word.split(":") for word in rest if not word.startswith("@")]
        shares = tuple((name, float(share)) for name, share in printed) or ((canonical, 1.0),)
        kinds.append(TubeKind(canonical, family, float(price), float(weight), shares, east, start))
    return kinds


KINDS = [
    *_kinds(
        "12AX7 kin",
        "12AX7 38 10 12AX7:5 ECC83:4 CV4004:.6; 12AX7A 27 4.5 @1960; 7025 31 2 @1960; 5751 37 2.2;"
        "6681 24 .6; E83CC 80 .7",
    ),
    *_kinds("12AX7 kin", "6N2P 6 1.0", east=True),
    *_kinds(
        "12AU7 kin",
        "12AU7 19 4 12AU7:3 ECC82:3 CV4003:.5; 12AU7A 15 2 @1960; 5814A 13 1.5; 6189 17 .8; E82CC 52 .3",
    ),
    *_kinds("12AT7 kin", "12AT7 10 3 12AT7:2 ECC81:2; 6201 17 1.2"),
    *_kinds("ECC88 kin", "6DJ8 22 3 6DJ8:1 ECC88:2; 6922 44 2 6922:1 E88CC:2; 7308 65 .5"),
    *_kinds("ECC88 kin", "6N1P 6 .9; 6N23P 12 .8", east=True),
    *_kinds("EL84 kin", "EL84 24 9 EL84:5 6BQ5:4; 7189 44 1.2; 7189A 36 .7 @1960"),
    *_kinds("EL84 kin", "6P14P 9 1.4", east=True),
    *_kinds("6V6 kin", "6V6GT 28 7; 6V6GTA 22 2 @1950; 7408 34 .5 @1960"),
    *_kinds("6V6 kin", "6P6S 7 1.1", east=True),
    *_kinds(
        "6L6 kin",
        "6L6G 31 1.8; 6L6GA 27 .7 @1940; 6L6GB 29 1 @1950; 6L6GC 46 4.5 @1950; 6L6WGB 40 2 @1950;"
        "5881 56 2.5 @1950; 5932 36 .3 @1950; KT66 125 .8 @1940",
    ),
    *_kinds("6L6 kin", "6P3S 10 1.0; 6P3S-E 14 .8", east=True),
    *_kinds("EL34 kin", "EL34 58 4 EL34:4 6CA7:1.2"),
    *_kinds("KT88 kin", "KT88 140 1.1; 6550 78 1.1; 6550A 72 .5 @1970"),
    *_kinds(
        "rectifiers",
        "5U4G 24 2; 5U4GB 18 3 @1950; 5Y3GT 14 4; 5AR4 72 3.5 5AR4:1 GZ34:2 @1950; 5R4GY 19 1 @1940;"
        "5V4G 14 1; EZ81 19 2.5 EZ81:2 6CA4:1.3 @1950; EZ80 7 1 @1950; GZ32 24 .7 @1940; GZ37 40 .5 @1940;"
        "6X4 5 1 6X4:2 EZ90:1 @1940; 6X5GT 8 .8; 274B 190 .12; 80 20 .7",
    ),
    *_kinds("rectifiers", "5Z4P 7 .4", east=True),
    *_kinds("directly heated triodes", "300B 300 .35; 2A3 150 .7; 45 95 .4"),
    *_kinds(
        "octal dual triodes",
        "6SN7GT 31 2.0; 6SN7GTA 20 .7 @1950; 6SN7GTB 20 1.4 @1950; 6SL7GT 20 1; 12SN7GT 9 .5;"
        "5692 70 .2 @1940",
    ),
    *_kinds("octal dual triodes", "6N8S 9 .9", east=True),
    *_kinds(
        "other",
        "EF86 36 1.2 EF86:2 6267:.6; 12BH7A 23 1; 6CG7 20 .9; 6U8A 5 .6; ECL82 11 .7; ECL86 23 .6;"
        "12AY7 32 .6; 6AQ5 5 .7 6AQ5:2 EL90:1 @1940; 5687 14 .5; 0A2 4 .4 @1940",
    ),
]
# types no register of audio tubes need know: the first four stand on the owner's Types sheet, the last two
# nowhere
OWNER_KINDS = [
    TubeKind("12B4A", "other", 7, 0.45, (("12B4A", 1.0),)),
    TubeKind("6EM7", "octal dual triodes", 9, 0.35, (("6EM7", 1.0),), start=1950),
    TubeKind("E80CC", "12AU7 kin", 42, 0.30, (("E80CC", 1.0),)),
    TubeKind("5842", "other", 24, 0.40, (("5842", 1.0),)),
]
NOWHERE_KINDS = [
    TubeKind("6GH8A", "other", 5, 0.30, (("6GH8A", 1.0),), start=1960),
    TubeKind("6V3A", "rectifiers", 6, 0.15, (("6V3A", 1.0),), start=1950),
]
ALL_KINDS = {kind.canonical: kind for kind in [*KINDS, *OWNER_KINDS, *NOWHERE_KINDS]}
