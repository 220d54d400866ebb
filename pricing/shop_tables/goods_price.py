"""Which of several columns of sums is the price of the goods, where one of them has the postage in it."""

from __future__ import annotations

from pricing.problems import Problem, problem
from pricing.shop_tables.cells import is_blank, read_money, tidy
from pricing.shop_tables.found_table import FoundTable
from pricing.shop_tables.headings import column_of
from pricing.shop_tables.vocabularies import read_currency


def without_postage(found: FoundTable) -> tuple[FoundTable, list[Problem]]:
    """Sales whose price is that of the goods: where every "Total" is a "Sold for" and a third column together, the
    second is the price and the third what the buyer paid for postage. Else the table as it is.
    """
    places = {column: at for at, column in found.headings.columns.items()}
    total = places.get("price")
    if found.table.name != "Sales" or total is None:
        return found, []
    means = [column_of(title, found.table) for title in found.titles]
    prices = [at for at, met in enumerate(means) if met and met[0] == "price" and at != total]
    extras = [at for at, met in enumerate(means) if met is None or met[0] in ("postage_charged", "postage_paid")]
    for goods in prices:
        for extra in extras:
            if not is_blank(found.titles[extra]) and _adds_up(found, total, goods, extra):
                columns = {at: column for at, column in found.headings.columns.items() if at not in (total, extra)}
                columns = {at: column for at, column in columns.items() if column != "postage_charged"}
                columns |= {goods: "price", extra: "postage_charged"}
                told = problem("price_with_postage", sheet=found.sheet, row=found.headings.row, column="price",
                               value=tidy(found.titles[total]), goods=tidy(found.titles[goods]),
                               extra=tidy(found.titles[extra]))
                headings = found.headings._replace(
                    columns=columns, problems=[one for one in found.headings.problems if one.column != "price"])
                return FoundTable(found.sheet, found.table, headings, found.rows, found.titles), [told]
    return found, []


def _adds_up(found: FoundTable, total: int, goods: int, extra: int) -> bool:
    """Whether a column is the sum of two others in every row that has all three, and not by their being nought."""
    more = 0
    for _, row in found.rows:
        cells = [row[at] if at < len(row) else None for at in (total, goods, extra)]
        sums = [read_money(cell, read_currency).value for cell in cells]
        if None not in sums:
            whole, part, rest = (one.amount for one in sums)
            if abs(whole - part - rest) > 0.005:
                return False
            more += rest > 0
    return more > 0
