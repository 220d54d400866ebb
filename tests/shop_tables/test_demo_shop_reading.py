"""The demo shop's dirty cells, whose meaning its generator wrote down, read as meant."""

from pathlib import Path

import pandas as pd
import pytest

from pricing.shop_tables import read_shop

DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.mark.skipif(
    not (DEMO / "truth" / "dirty_cells.csv").exists(), reason="the demo data is not in this tree"
)
def test_dirty_cells_mean_what_was_meant():
    """Every planted cell, in every table, comes out as the value its writer had in mind."""
    shop = read_shop(DEMO)
    frames = {
        name: getattr(shop, name.lower()).set_index("row")
        for name in shop.tables_present
        if name != "Settings"
    }
    planted = pd.read_csv(DEMO / "truth" / "dirty_cells.csv", dtype=str, keep_default_na=False)
    wrong = []
    for cell in planted.itertuples():
        frame = frames[cell.sheet]
        if int(cell.row) not in frame.index:
            continue
        column = "designation" if cell.column == "type" else cell.column
        met = frame.at[int(cell.row), column]
        if not _same(met, cell.meant):
            wrong.append((cell.sheet, cell.row, cell.typed, cell.column, cell.meant, met))
    assert len(planted) > 1000 and not wrong, wrong[:10]


def _same(met, meant):
    if isinstance(met, pd.Timestamp):
        return met.strftime("%Y-%m-%d").startswith(meant)
    if meant in ("yes", "no"):
        return bool(met) == (meant == "yes")
    if meant == "":
        return pd.isna(met) or met in ("", "unknown")
    return str(met) == meant or (not isinstance(met, str) and float(met) == pytest.approx(float(meant)))
