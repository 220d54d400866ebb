"""Readings joined to the pieces that were sold or are in stock, all on one tester's scale."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from pricing.price_model.testers import TesterCalibration, calibrate_testers
from pricing.shop_tables import Shop
from pricing.shop_tables.cells import HIGH_PCT, LOW_PCT
from pricing.shop_tables.meter_readings import tests_of_pieces

STATED, BASIS = "reading_stated_pct", "reading_basis"


def calibration_of(shop: Shop) -> TesterCalibration:
    """The shop's testers against each other, those named only in Sales and Stock listed too."""
    named = pd.concat([shop.sales["tester"], shop.stock["tester"]]).unique()
    return calibrate_testers(shop.readings, shop.settings, named)


def with_readings(shop: Shop, calibration: TesterCalibration | None = None) -> Shop:
    """The shop with `reading_pct` of Sales and Stock on the main tester's scale, for fit and estimates alike.

    A blank reading is taken from Readings by sku: the newest (for a sale: not after it), mean of the sections. Adds
    `reading_stated_pct` (as the row had it) and `reading_basis` (words, "" where the row's own reading stands). A shop
    that has been through here is returned as it is.
    """
    if STATED in shop.stock:
        return shop
    calibration = calibration or calibration_of(shop)
    tests = tests_of_pieces(shop.readings)
    return replace(
        shop, sales=_joined(shop.sales, shop.sales["sold_on"], tests, calibration),
        stock=_joined(shop.stock, None, tests, calibration),
    )


def _joined(
    items: pd.DataFrame, until: pd.Series | None, tests: pd.DataFrame, calibration: TesterCalibration
) -> pd.DataFrame:
    stated = items["reading_pct"].to_numpy(float)
    reading, basis = stated.copy(), np.full(len(items), "", object)
    scale = list(zip(items["tester"], [""] * len(items), items["family"]))
    bare = pd.DataFrame({"sku": items["sku"], "at": np.arange(len(items))})[np.isnan(stated) & (items["sku"] != "")]
    met = bare.merge(tests, on="sku")
    if until is not None:
        met = met[~(met["tested_on"] > until.to_numpy()[met["at"]])]
    for one in met.groupby("at").tail(1).itertuples():
        reading[one.at], basis[one.at] = one.percent, _found_words(one)
        scale[one.at] = (one.tester, one.test, one.family)
    factors = {key: calibration.factor(*key) for key in set(scale)}
    factor = np.array([factors[key] for key in scale], float)
    for at in np.flatnonzero((factor != 1) & np.isfinite(reading)):
        words = f"reading restated from {reading[at]:.0f} % on {scale[at][0]}"
        basis[at] = f"{basis[at]}; {words}" if basis[at] else words
    restated = np.where(factor == 1, reading, np.clip(reading / factor, LOW_PCT, HIGH_PCT))
    return items.assign(reading_pct=restated, **{STATED: stated, BASIS: pd.Series(basis, items.index, dtype="str")})


def _found_words(test) -> str:
    """Where a reading taken from Readings comes from."""
    day = "" if pd.isna(test.tested_on) else f" of {test.tested_on:%Y-%m-%d}"
    tester = f" on {test.tester}" if test.tester else ""
    sections = f", mean of {test.sections} sections, the lowest {test.lowest:.0f} %" if test.sections > 1 else ""
    return f"reading from Readings: {test.test}{day}{tester}{sections}"
