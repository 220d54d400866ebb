"""The Model sheet's part on testers: how each reads against the main one, and what was done with that."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pricing.price_model.piece_readings import STATED, calibration_of
from pricing.spreadsheet.tables import ResultColumn

_RANGE = "Four times in five the true difference lies between low and high."
TESTERS = (
    ResultColumn("what", "tester and test", "words", 66),
    ResultColumn("reads", "reads by", "change_percent", 11, "Against the main tester."),
    ResultColumn("low", "low", "change_percent", 9, _RANGE),
    ResultColumn("high", "high", "change_percent", 9, _RANGE),
    ResultColumn("n_pieces", "pieces", "count", 9, "Pieces tested here and on another tester."),
)


def testers_of(shop: Any) -> pd.DataFrame:
    """A row a tester and test, columns of TESTERS; empty where no tester is named. Differences in percent."""
    scales = calibration_of(shop).frame()
    percent = {name: 100 * (scales[name] - 1) for name in ("low", "high")}
    calibrated = scales["low"].notna()
    return pd.DataFrame({
        "what": [f"{row.tester}, {row.test}: {row.words}" if row.test else row.words
                 for row in scales.itertuples()],
        "reads": (100 * (scales["factor"] - 1)).where(calibrated), **percent, "n_pieces": scales["n_pieces"],
    })


def testers_words(shop: Any) -> str:
    """How many readings were restated or found."""
    if STATED not in shop.stock:
        return "Readings stand as written."
    moved, found = [], []
    for table, rows in (("Sales", shop.sales), ("Stock", shop.stock)):
        stated, reading = rows[STATED], rows["reading_pct"]
        moved.append((int((stated.notna() & (stated != reading)).sum()), table))
        found.append((int((stated.isna() & reading.notna()).sum()), table))
    said = []
    for words, counts in (("restated", moved), ("taken from Readings", found)):
        part = " and ".join(f"{count:,} of {table}" for count, table in counts if count)
        said += [f"{words}: {part}"] if part else []
    return f"Readings {'; '.join(said)}." if said else "No reading had to be restated."
