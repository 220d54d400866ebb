"""The cell functions about lots, matched sets and margins, and what their examples need.

`FUNCTIONS` goes into the registry, `example_sheets()` and `SIZES` into the example workbook.
"""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace
from typing import Any

import pandas as pd

from pricing.decisions.list_price import policy_of
from pricing.decisions.lot_bid import bid_for_lot
from pricing.decisions.lots import cost_lot
from pricing.decisions.margins import review_margins
from pricing.decisions.markdown import discount_code
from pricing.decisions.matched_sets import match_sets
from pricing.decisions.price_bridge import BRIDGE_COLUMNS
from pricing.register import load_register
from pricing.shop_tables import Settings, clean_items, clean_sales
from pricing.shop_tables.cells import read_number
from pricing.shop_tables.columns import ITEMS, SALES, Column, Table
from pricing.shop_tables.dates import read_dates
from pricing.spreadsheet.cell_functions import price_functions
from pricing.spreadsheet.cell_functions.cell_values import Cell, CellProblem, cells_of, one_cell
from pricing.spreadsheet.cell_functions.ranges import settings_of, table_of
from pricing.spreadsheet.cell_functions.spec import Argument, CellFunction

MOST_TUBES, MOST_LINES = 300, 2_000
SETS_SECONDS = 5.0  # a cell that takes longer seems to hang
_LINE_NUMBERS = ("qty", "sales_value", "rejects")
LOT_LINES = Table("lines", "Pieces of a lot.", tuple(Column(name, "number", "") for name in _LINE_NUMBERS))
_BID_NUMBERS = ("price", "pass_pct", "sell_pct", "months")
BID_LINES = Table("lines", "Pieces of a lot on offer.", (
    *ITEMS.columns, *(Column(name, "number", "") for name in _BID_NUMBERS)))
_TUBE_NUMBERS = ("plate_current", "gm", "balance_pct")
TUBES = Table("readings", "Tubes read alike.", (
    Column("sku", "text", "", True), *(Column(name, "number", "") for name in _TUBE_NUMBERS)))


def tube_lot_cost(lines: Any, paid: Any) -> list[list[Any]]:
    """Cost of every line of a lot by relative sales value, and by count."""
    frame = table_of(cells_of(lines), LOT_LINES, "lines", ("qty", "sales_value"))
    frame = _numbers(frame, LOT_LINES, _LINE_NUMBERS, "lines")
    try:
        costed = cost_lot(frame, _number(one_cell(paid, "paid"), "paid"))
    except ValueError as error:
        raise CellProblem(f"'lines': {error}.") from error
    columns = ["unit_cost", "units_a_cent_dearer", "line_cost", "unit_cost_by_count"]
    return [["cost each", "pieces a cent dearer", "cost of the line", "each by count"],
            *costed[columns].to_numpy(object).tolist()]


def tube_lot_bid(model: Any, lines: Any, settings: Any = None) -> list[list[Any]]:
    """The most to bid for a lot, its range, and what each line carries."""
    known = price_functions.store().known(one_cell(model, "model"))
    chosen = settings_of(cells_of(settings)) or known.model.settings
    raw = table_of(cells_of(lines), BID_LINES, "lines", ("type",), chosen.own_headings)
    if len(raw) > MOST_LINES:
        raise CellProblem(f"'lines' has {len(raw):,} rows; up to {MOST_LINES:,} are read: give fewer.")
    numbers = _numbers(raw, BID_LINES, _BID_NUMBERS, "lines")
    items, _ = clean_items(raw, known.model.register or load_register(), chosen, "lines")
    fair = known.model.estimate(items)["fair_price"] / items["set_size"]
    table = numbers.assign(
        price=numbers["price"].fillna(fair) if "price" in numbers else fair, grade=items["grade"], type=items["type"],
        qty=items["qty"] * items["set_size"])
    terms = policy_of(SimpleNamespace(settings=chosen, sales=known.model.history.sales)).terms
    try:
        bid = bid_for_lot(table, terms, target_return_pct=chosen.target_return_pct,
                          holding_pct_year=chosen.holding_cost_pct_year)
    except ValueError as error:
        raise CellProblem(f"'lines': {error}.") from error
    carried = bid.lines[["type", "price", "sold", "share_pct", "bid_without"]].round(2).to_numpy(object).tolist()
    return [["bid up to", "low", "middle", "high", "words"],
            [float(bid.bid), float(bid.low), float(bid.middle), float(bid.high), bid.words],
            ["line", "price each", "expected sold", "carries %", "bid without it"], *carried]


def tube_sets(readings: Any, tolerance: Any, prices: Any) -> list[list[Any]]:
    """The sets to make of measured tubes, dearest kinds first."""
    frame = table_of(cells_of(readings), TUBES, "readings", ("sku", "plate_current"))
    if len(frame) > MOST_TUBES:
        raise CellProblem(f"'readings' has {len(frame):,} rows; up to {MOST_TUBES} are matched: give fewer.")
    tubes = _numbers(frame, TUBES, _TUBE_NUMBERS, "readings")
    limits = [_number(cell, "tolerance") for row in cells_of(tolerance) for cell in row]
    if not 1 <= len(limits) <= 2:
        raise CellProblem("'tolerance' takes one or two cells: percent of plate current, and of gm.")
    by_size = {int(_number(row[0], "prices")): _number(row[1] if len(row) > 1 else None, "prices")
               for row in cells_of(prices) if read_number(row[0]).value is not None}
    if not by_size:
        raise CellProblem("'prices' has no row of a size and its price: give two columns, such as 1 and 32, 2 and 80.")
    try:
        found = match_sets(tubes, by_size, plate_current_pct=limits[0],
                           gm_pct=limits[1] if len(limits) > 1 else Settings().match_gm_pct, seconds=SETS_SECONDS)
    except ValueError as error:
        raise CellProblem(f"'readings': {error}.") from error
    columns = ["kind", "skus", "price", "plate_current_low", "plate_current_high", "plate_current_spread_pct"]
    return [["set", "codes", "price", "mA, lowest", "mA, highest", "spread %"],
            *found.sets[columns].to_numpy(object).tolist(), ["all", found.words, found.value]]


def tube_discount(price: Any, percent: Any, cost: Any, settings: Any = None) -> list[list[Any]]:
    """What a discount code does to one sale, and the list price it may stand on."""
    chosen = settings_of(cells_of(settings)) or Settings()
    policy = policy_of(SimpleNamespace(settings=chosen, sales=pd.DataFrame({"channel": [], "postage_paid": []})))
    given = [_number(one_cell(cell, name), name) for cell, name in ((price, "price"), (percent, "percent"),
                                                                    (cost, "cost"))]
    try:
        code = discount_code(*given, policy.terms, minimum_margin_pct=policy.minimum_margin_pct)
    except ValueError as error:
        raise CellProblem(f"'price' and 'percent': {error}.") from error
    more = code.effect.volume_times
    return [["price with it", "leaves now", "leaves with it", "margin % with it", "times the sales", "lowest list"],
            [float(code.price), float(code.effect.before), float(code.effect.after), code.margin_pct,
             "no number of sales makes up for it" if more is None else more,
             "no price leaves the margin" if code.lowest_list is None else float(code.lowest_list)]]


def tube_margin(sales: Any, date_from: Any = None, date_to: Any = None) -> list[list[Any]]:
    """Margin by family of a period, with its range."""
    review = _review(sales, date_from=_date(date_from, "date_from"), date_to=_date(date_to, "date_to"))
    columns = ["tubes", "sales", "cost", "gross", "gross_pct", "gross_pct_low", "gross_pct_high"]
    rows = review.table[columns].reset_index().to_numpy(object).tolist()
    return [["family", "tubes", "sales", "cost", "gross margin", "gross %", "low", "high"], *rows]


def tube_bridge(sales: Any, from_1: Any, to_1: Any, from_2: Any, to_2: Any) -> list[list[Any]]:
    """Quantity, mix and price by family, from the first period to the second."""
    dates = {name: _date(cell, name) for name, cell in (
        ("from_1", from_1), ("to_1", to_1), ("from_2", from_2), ("to_2", to_2))}
    missing = [name for name, date in dates.items() if date is None]
    if missing:
        raise CellProblem(f"'{missing[0]}' is blank: give the first and last day of both periods.")
    review = _review(sales, before_from=dates["from_1"], before_to=dates["to_1"], date_from=dates["from_2"],
                     date_to=dates["to_2"])
    rows = review.bridge[list(BRIDGE_COLUMNS)].reset_index().to_numpy(object).tolist()
    return [["family", "tubes before", "tubes now", "sales before", "sales now", "quantity", "mix", "price", "change"],
            *rows]


def _review(sales: Any, **period: Any) -> Any:
    raw = table_of(cells_of(sales), SALES, "sales", ("sold_on", "type", "price"))
    clean, problems = clean_sales(raw, load_register(), Settings(), "sales")
    if clean.empty:
        raise CellProblem(f"none of the {len(raw):,} sales can be used: {problems[0].message} {problems[0].remedy}")
    try:
        return review_margins(clean, settings=Settings(), **period)
    except ValueError as error:
        raise CellProblem(f"'sales': {error}.") from error


def _numbers(frame: pd.DataFrame, table: Table, names: tuple[str, ...], argument: str) -> pd.DataFrame:
    """The frame with these columns under their own names, as numbers; CellProblem for a cell that is none."""
    from pricing.shop_tables.headings import read_headings

    met = {name: place for place, name in read_headings(list(frame.columns), table).columns.items()}
    out = {}
    for name in (column.name for column in table.columns):
        if name not in met:
            continue
        cells = frame.iloc[:, met[name]]
        if name in names:
            read = [read_number(cell) for cell in cells]
            wrong = [(row, cell) for row, cell, one in zip(frame["row"], cells, read) if one.code]
            if wrong:
                row, cell = wrong[0]
                raise CellProblem(f"'{argument}', row {row}, column {name}: '{cell}' is not a number: write one.")
            out[name] = [float("nan") if one.value is None else one.value for one in read]
        else:
            out[name] = cells.to_numpy()
    return pd.DataFrame(out, index=frame.index)


def _number(cell: Cell, name: str) -> float:
    read = read_number(cell)
    if read.value is None:
        said = "blank" if cell is None else f"'{cell}', not a number"
        raise CellProblem(f"'{name}' is {said}: give a plain number.")
    return read.value


def _date(value: Any, name: str) -> dt.date | None:
    cell = one_cell(value, name)
    if cell is None:
        return None
    read = read_dates([cell]).readings[0]
    if read.value is None:
        raise CellProblem(f"'{name}' holds '{cell}', which is not a date: give one such as 2025-01-31.")
    return read.value


_SALES = Argument("sales", "Range of past sales, headings in its first row: sold_on, type and price are needed; cost, "
                  "qty and set_size help.", "table")
FUNCTIONS: tuple[CellFunction, ...] = (
    CellFunction(
        "LOT_COST", tube_lot_cost,
        "What the pieces of a lot cost: the sum paid, shared to the cent by what each piece is expected to sell for; "
        "rejects carry nothing.",
        (Argument("lines", "Range with headings: qty, sales_value (of one piece) and, if any, rejects.", "table"),
         Argument("paid", "Everything paid for the lot, freight and testing included.", "number")),
        "Lot!A1:C5, 645", "table",
    ),
    CellFunction(
        "LOT_BID", tube_lot_bid,
        "The most to bid for a lot by expected sales, fallout, sell-through, fees and the return wanted, with low, "
        "middle and high; then what each line carries.",
        (Argument("model", "The cell that holds the model function."),
         Argument("lines", "Range with headings: type and qty, the descriptive columns of Sales, and if known price, "
                  "pass_pct, sell_pct and months.", "table"),
         Argument("settings", "Range of two columns, setting and value, as on the Settings sheet.", optional=True)),
        "Functions!B4, Offered!A1:F4, Settings!A1:B6", "table",
    ),
    CellFunction(
        "SETS", tube_sets,
        "Sorts measured tubes into quads, pairs and singles that earn most within the tolerance. Says nothing of an "
        "amplifier.",
        (Argument("readings", "Range with headings: sku, plate_current and if measured gm, all on one tester at one "
                  "voltage.", "table"),
         Argument("tolerance", "Widest spread of plate current in percent of the mean; a second cell for gm."),
         Argument("prices", "Two columns: tubes in the set, and its price.", "table")),
        "Tubes!A1:B9, 5, Tubes!D1:E3", "table",
    ),
    CellFunction(
        "DISCOUNT", tube_discount,
        "What a discount code leaves of one sale after fees and cost, how many times the sales it needs to pay, and "
        "the lowest list price that still leaves your minimum margin with it.",
        (Argument("price", "List price of the set.", "number"),
         Argument("percent", "Percent the code takes off.", "number"),
         Argument("cost", "What the set cost, or costs to have again.", "number"),
         Argument("settings", "Range of two columns, setting and value, as on the Settings sheet.", optional=True)),
        "48, 25, 20, Settings!A1:B6", "table",
    ),
    CellFunction(
        "MARGIN", tube_margin,
        "Sales, cost and gross margin by family in a period, with the range chance leaves.",
        (_SALES, Argument("date_from", "First day. Blank: a year before the last.", optional=True),
         Argument("date_to", "Last day. Blank: that of the newest sale.", optional=True)),
        "Books!A1:E25", "table",
    ),
    CellFunction(
        "BRIDGE", tube_bridge,
        "Why sales changed between two periods: number of tubes, mix of kinds, prices. Adds up to the cent.",
        (_SALES, Argument("from_1", "First day of the first period."), Argument("to_1", "Its last day."),
         Argument("from_2", "First day of the second period."), Argument("to_2", "Its last day.")),
        'Books!A1:E25, "2024-01-01", "2024-12-31", "2025-01-01", "2025-12-31"', "table",
    ),
)
SIZES = {"LOT_COST": (5, 4), "LOT_BID": (6, 5), "SETS": (6, 6), "DISCOUNT": (2, 6), "MARGIN": (5, 8), "BRIDGE": (5, 9)}


def example_sheets() -> dict[str, list[list[Any]]]:
    """The sheets that the examples speak of: a lot, an offer, eight tubes and two years of sales, all invented."""
    books: list[list[Any]] = [["sold_on", "type", "qty", "price", "cost"]]
    for number in range(24):
        kind, price = (("EL84", 30), ("12AX7", 25), ("6V6GT", 36))[number % 3]
        qty, later = 1 + number % 2, 3 * (number // 12)
        books.append([dt.date(2024 + number // 12, 1 + number % 12, 15), kind, qty, qty * (price + later), qty * 9.5])
    return {
        "Books": books,
        "Lot": [["qty", "sales_value", "rejects"], [10, 60, 0], [15, 25, 0], [8, 70, 0], [27, 15, 20]],
        "Offered": [["type", "grade", "qty", "price", "pass_pct", "sell_pct"], ["EL84", "used", 40, None, 70, 65],
                    ["6V6GT", None, 12, 24, 60, 65], ["EL34", "NOS", 4, None, 95, 80]],
        "Tubes": [["sku", "plate_current", None, 1, 32], ["A", 44.0, None, 2, 80], ["B", 45.1, None, 4, 175],
                  *[[sku, value] for sku, value in zip("CDEFGH", (46.0, 46.3, 47.9, 48.2, 48.4, 51.0))]],
    }
