"""The demo shop read by shop_tables: dirty cells mean what was meant, and no row is lost unexplained.

The meanings are the generator's own record (truth/dirty_cells.csv), written before any reader saw the cells.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest

shop_tables = pytest.importorskip("pricing.shop_tables")
if not hasattr(shop_tables, "read_shop"):
    pytest.skip("shop_tables cannot read a shop yet", allow_module_level=True)

from pricing.register import load_register  # noqa: E402

DEMO = Path(__file__).parents[2] / "demo_data"
NUMBERS = {"price", "ask", "reading_pct", "set_size", "qty", "value", "warmth", "clarity", "quiet"}
CELLS = pd.read_csv(DEMO / "truth/dirty_cells.csv", dtype=str, keep_default_na=False).astype({"row": int})
KINDS = sorted(CELLS.kind.unique())


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """The demo folder without its truth, read."""
    folder = tmp_path_factory.mktemp("shop")
    for path in DEMO.glob("*.csv"):
        shutil.copy(path, folder)
    return shop_tables.read_shop(folder)


@pytest.fixture(scope="module")
def sales(shop) -> pd.DataFrame:
    return shop.sales.set_index(shop.sales.row.astype(int))


@pytest.fixture(scope="module")
def truth() -> pd.DataFrame:
    return pd.read_csv(DEMO / "truth/sales.csv", keep_default_na=False).set_index("row")


def means(column: str, meant: str, got) -> bool:
    """Whether a clean value is the meant one; months are held to the month, readings to half a percent."""
    if column == "sold_on":
        return f"{got:%Y-%m-%d}"[: len(meant)] == meant
    if column == "matched":
        return bool(got) == (meant == "yes")
    if column in NUMBERS:
        return abs(float(got) - float(meant)) <= (0.5 if column == "reading_pct" else 0.005)
    return str(got) == meant


@pytest.mark.parametrize("kind", KINDS)
def test_dirty_cells_are_read_as_meant(shop, kind):
    """Every cell of one kind of dirt, on every sheet, is read as its writer meant it."""
    wrong = []
    for sheet, cells in CELLS[CELLS.kind == kind].groupby("sheet"):
        table = getattr(shop, sheet.lower())
        table = table.set_index(table.row.astype(int))
        for cell in cells[cells.row.isin(table.index)].itertuples():
            column = "designation" if cell.column == "type" else cell.column
            got, meant = table.at[cell.row, column], cell.meant
            if kind == "loose tubes in words":  # ten sets of one, or one set of ten: the pieces must be right
                column, meant = "qty", "3" if "pr" in cell.typed else "10"
                got = table.at[cell.row, "set_size"] * table.at[cell.row, "qty"]
            if not means(column.replace("designation", "type"), meant, got):
                wrong.append(
                    f"{sheet} row {cell.row}, {cell.typed_in} {cell.typed!r}: {got!r}, not {meant!r}"
                )
    assert not wrong, f"{len(wrong)} of {(CELLS.kind == kind).sum()}: " + "; ".join(wrong[:5])


def test_rows_in_are_rows_used_and_rows_explained(shop):
    """On every sheet each row is in the clean table or has one Problem that says it was left out."""
    left_out = shop.problems[shop.problems.effect == "row left out"]
    for name in ("sales", "stock", "asks", "readings", "offers", "listening", "circuits", "lots"):
        rows_in = set(range(2, len(pd.read_csv(DEMO / f"{name}.csv", dtype=str)) + 2))
        used = set(getattr(shop, name).row.astype(int))
        explained = left_out.row[left_out.sheet.str.lower() == name].astype(int)
        assert explained.is_unique, name
        assert not used & set(explained) and used | set(explained) == rows_in, name


def test_rows_nobody_can_use_are_the_ones_left_out(shop, truth):
    """Exactly the rows the generator spoiled are left out of Sales."""
    left_out = shop.problems[shop.problems.effect == "row left out"]
    left_out = left_out[left_out.sheet.str.lower() == "sales"]
    spoiled = truth.index[truth.error.str.contains("^no |unreadable|future|not above zero")]
    assert set(left_out.row.astype(int)) == set(spoiled)


def test_prices_come_home_at_the_month_s_rate(sales, truth):
    """Line prices in the shop's currency agree with the truth to a cent in the euro, outside gross errors."""
    fine = truth.index[truth.error == ""].intersection(sales.index)
    # dates that name the month only still fix the rate; a price is typed to the cent
    off = (sales.price_home[fine] / truth.price_eur[fine] - 1).abs()
    assert off.max() < 0.01, sales.loc[off.nlargest(3).index, ["price", "currency", "price_home"]]


def test_types_are_pooled_as_meant(sales, truth):
    """Canonical types of all sales but those with a wrong type typed."""
    fine = truth.index[truth.error != "wrong type"].intersection(sales.index)
    wrong = sales.canonical_type[fine] != truth.canonical_type[fine]
    assert not wrong.any(), sales.loc[wrong[wrong].index, ["type", "canonical_type"]].drop_duplicates().head()


def test_owner_s_types_are_new_to_the_register(shop):
    """The register alone knows none of the Types sheet's types, with the sheet all; two stay unknown."""
    register = load_register()
    own = pd.read_csv(DEMO / "types.csv", dtype=str).designation
    assert {register.find(name).status for name in own} == {"unknown"}
    assert {shop.register.find(name).status for name in own} == {"found"}
    unknown = set(shop.problems[shop.problems.code == "unknown_type"].value.str.strip().str.upper())
    assert unknown == {"6GH8A", "6V3A"}


def test_settings_are_all_understood(shop):
    """No row of Settings is wrong (a sale dated 2062 may miss its rate); fees and rates arrive."""
    wrong = shop.problems[(shop.problems.sheet == "Settings") & (shop.problems.code != "rate_of_other_month")]
    assert wrong.empty, wrong.message.tolist()
    assert shop.settings.fee("marketplace") == (13.25, 0.40)
    assert shop.settings.currency == "EUR"
