"""What was read and what was wrong with it, in plain words for the command line."""

from __future__ import annotations

from typing import Any

from pricing.problems import CHECK, IGNORED, LEFT_OUT, counted
from pricing.shop_tables.shop import Shop

SHOWN = 3
_TITLES = {LEFT_OUT: "Rows left out", IGNORED: "Cells ignored", CHECK: "Please check"}


def check_report(shop: Shop) -> str:
    """Rows read, used and left out by table; then the problems by effect and kind, the first few of each in
    full.
    """
    lines = [f"{shop.path}"]
    for count in shop.row_counts().itertuples():
        lines.append(
            f"  {count.table}: {counted(count.rows_in, 'row')} read, {count.used:,} used, {count.left_out:,} left out"
        )
    if shop.problems.empty:
        lines.append("No problems met.")
        return "\n".join(lines)
    for effect, title in _TITLES.items():
        part = shop.problems[shop.problems["effect"] == effect]
        if part.empty:
            continue
        lines.append(f"\n{title} ({len(part):,}):")
        kinds = part.groupby("code", sort=False)
        for _, kind in sorted(kinds, key=lambda item: -len(item[1])):
            lines += [_line(row) for row in kind.head(SHOWN).to_dict("records")]
            if len(kind) > SHOWN:
                lines.append(
                    f"    ... and {len(kind) - SHOWN:,} more of this kind, listed on the Problems sheet"
                )
    return "\n".join(lines)


def _line(row: dict[str, Any]) -> str:
    where = row["sheet"]
    if row["row"] is not None and row["row"] == row["row"]:
        where += f" row {int(row['row'])}"
    if row["column"]:
        where += f", {row['column']}"
    return f"  {where}: {row['message']} {row['remedy']}"
