"""What only shows when tables are laid side by side: lots against Stock and Sales, readings against Stock."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from pricing.problems import Problem, problem


def check_across(tables: Mapping[str, pd.DataFrame]) -> list[Problem]:
    """Problems of clean tables (by lower-case name: sales, stock, readings, lots) that no table shows by itself.

    Nothing is left out for them: a lot that is not listed still names its pieces, a reading of several tubes still
    counts as their grade. Of many rows with one fault the first is named, with their number.
    """
    return [*_lots(tables["lots"]), *_lot_names(tables), *_lot_counts(tables), *_matching(tables), *_dates(tables)]


def _at(row: Any, code: str, column: str, value: Any, **details: Any) -> Problem:
    return problem(code, sheet=row["sheet"], row=int(row["row"]), column=column, value=value, **details)


def _lots(lots: pd.DataFrame) -> list[Problem]:
    found = []
    first = lots.drop_duplicates("lot").set_index("lot")["row"]
    for _, row in lots[lots["lot"].duplicated()].iterrows():
        found.append(_at(row, "lot_twice", "lot", row["lot"], first=int(first[row["lot"]])))
    for _, row in lots[lots["rejects"] > lots["tubes"]].iterrows():
        found.append(_at(row, "lot_rejects", "rejects", f"{row['rejects']:g}", tubes=f"{row['tubes']:g}"))
    for name in ("tubes", "rejects"):
        for _, row in lots[(lots[name] < 0) | (lots[name] % 1 > 0)].iterrows():
            found.append(_at(row, "lot_count", name, f"{row[name]:g}"))
    return found


def _lot_names(tables: Mapping[str, pd.DataFrame]) -> list[Problem]:
    """Lots named in Stock or Sales that Lots does not list, where the shop keeps Lots."""
    if tables["lots"].empty:
        return []
    known, found = set(tables["lots"]["lot"]), []
    for name in ("stock", "sales"):
        rows = tables[name]
        for lot, unknown in rows[(rows["lot"] != "") & ~rows["lot"].isin(known)].groupby("lot", sort=False):
            found.append(_at(unknown.iloc[0], "lot_not_listed", "lot", lot, count=len(unknown)))
    return found


def _lot_counts(tables: Mapping[str, pd.DataFrame]) -> list[Problem]:
    """Lots whose Stock rows hold more tubes than passed."""
    stock, found = tables["stock"], []
    entered = (stock["set_size"] * stock["qty"]).groupby(stock["lot"]).sum()
    for _, row in tables["lots"].drop_duplicates("lot").iterrows():
        passed = row["tubes"] - (row["rejects"] if row["rejects"] == row["rejects"] else 0)
        if 0 <= passed < entered.get(row["lot"], 0):
            found.append(_at(row, "lot_overdrawn", "tubes", f"{row['tubes']:g}", passed=f"{passed:g}",
                             entered=int(entered[row["lot"]])))
    return found


def _matching(tables: Mapping[str, pd.DataFrame]) -> list[Problem]:
    """Plate currents that cannot be matched: of unknown codes, of codes of several tubes, without test volts."""
    readings, found = tables["readings"], []
    current = readings[(readings["test"] == "plate current") & (readings["value"] > 0)]
    stock = tables["stock"].drop_duplicates("sku").set_index("sku")
    tubes = current["sku"].map(stock["set_size"] * stock["qty"])
    sold = set(tables["sales"]["sku"])
    for code, rows in current[tubes.isna() & ~current["sku"].isin(sold)].groupby("sku", sort=False):
        found.append(_at(rows.iloc[0], "reading_without_piece", "sku", code))
    for code, rows in current[tubes > 1].groupby("sku", sort=False):
        found.append(_at(rows.iloc[0], "reading_of_many", "sku", code, count=int(tubes[rows.index[0]])))
    bare = current[current["volts"].isna()]
    if len(bare):
        found.append(_at(bare.iloc[0], "test_volts_missing", "volts", "", count=len(bare)))
    return found


def _dates(tables: Mapping[str, pd.DataFrame]) -> list[Problem]:
    """Pieces sold before they were acquired: their time on the shelf cannot be right."""
    stock, sales = tables["stock"].drop_duplicates("sku").set_index("sku"), tables["sales"]
    sales = sales[sales["sku"] != ""]
    first = sales.groupby("sku")["sold_on"].min().reindex(stock.index)
    wrong = stock[first < stock["acquired_on"]]
    return [_at(row, "sold_before_bought", "acquired_on", f"{row['acquired_on']:%Y-%m-%d}",
                sold=f"{first[sku]:%Y-%m-%d}") for sku, row in wrong.iterrows()]
