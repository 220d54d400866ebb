"""The cell functions about prices: cells in, cells out. CellProblem carries what a cell says instead of a value."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd

from pricing.decisions.list_price import plan_list_prices
from pricing.problems import IGNORED, LEFT_OUT
from pricing.register import load_register
from pricing.shop_tables import Shop, clean_asks, clean_items, clean_sales, clean_stock
from pricing.shop_tables.columns import ITEMS, SALES, STOCK
from pricing.spreadsheet.cell_functions.cell_values import (
    Cell,
    CellProblem,
    cells_of,
    one_cell,
    result_cell,
    result_table,
)
from pricing.spreadsheet.cell_functions.model_store import Known, ModelStore
from pricing.spreadsheet.cell_functions.ranges import settings_of, table_of

MOST_EXPLAINED, MOST_COMPARABLES = 50, 200
NO_PRICE_ROW = "no price"
_PIECE = ("type", "maker", "era", "grade", "reading_pct", "set_size", "channel", "variant", "brand")


@cache
def store() -> ModelStore:
    """The models of this process."""
    return ModelStore()


def tube_model(sales: Any, settings: Any = None) -> str:
    """Handle of the price model of a Sales range."""
    return store().handle(cells_of(sales), settings_of(cells_of(settings)))


def tube_fair(model: Any, tube: Any, maker: Any = None, era: Any = None, grade: Any = None, reading: Any = None,
              set_size: Any = None, channel: Any = None, variant: Any = None, brand: Any = None) -> float:
    """Fair price of one piece, at the model's date."""
    known = store().known(one_cell(model, "model"))
    piece = (tube, maker, era, grade, reading, set_size, channel, variant, brand)
    try:
        return known.prices[piece]
    except (KeyError, TypeError):  # TypeError: a range among the arguments
        pass
    cells = {column: one_cell(value, name) for column, name, value in zip(_PIECE, _ARGUMENTS, piece)
             if value is not None}
    if cells.get("type") is None:
        raise CellProblem("'tube' is blank: give the type printed on the tube, such as EL84.")
    price = known.quick.fair_price(known.pieces.read(cells))
    if not any(isinstance(value, list | tuple) for value in piece):
        known.keep_price(piece, price)
    return price


_ARGUMENTS = ("tube", "maker", "era", "grade", "reading", "set_size", "channel", "variant", "brand")


def tube_fair_table(model: Any, items: Any) -> list[list[float | str]]:
    """Fair price, range, sales behind it and its basis, a row an item below a row of headings."""
    known = store().known(one_cell(model, "model"))
    cells = cells_of(items)
    return known.remembered(("fair table", _digest(cells)), lambda: _fair_table(known, cells))


def _fair_table(known: Known, cells: list[list[Cell]]) -> list[list[float | str]]:
    clean, said = _items(known, cells)
    quote = known.model.estimate(clean)
    columns = ["fair_price", "low", "high", "n_sales", "basis"]
    rows: dict[int, list[Any]] = dict(zip(clean.index, quote[columns].to_numpy(object).tolist()))
    rows |= {place: ["", "", "", "", words] for place, words in said.items()}
    return result_table([["fair price", "low", "high", "sales behind it", "basis"], *(rows[at] for at in sorted(rows))])


def tube_why(model: Any, items: Any) -> list[list[float | str]]:
    """The price of each item as a product of factors."""
    known = store().known(one_cell(model, "model"))
    clean, said = _items(known, cells_of(items))
    rows: list[list[Any]] = [["item", "factor", "level", "times", "price after"]]
    for number, one in _one_by_one(clean, said):
        if isinstance(one, str):
            rows.append([number, NO_PRICE_ROW, one, "", ""])
        else:
            steps = known.model.explain(one)[["factor", "level", "multiplier", "price_after"]]
            rows += [[number, *step] for step in steps.to_numpy(object).tolist()]
    return result_table(rows)


def tube_comparables(model: Any, count: Any, items: Any) -> list[list[float | str]]:
    """The past sales that weigh most in each item's price, heaviest first."""
    known = store().known(one_cell(model, "model"))
    most = _count(one_cell(count, "count"))
    clean, said = _items(known, cells_of(items))
    rows: list[list[Any]] = [["item", "row in sales", "sold on", "type", "maker", "era", "grade", "set size", "price",
                              "price today", "weight"]]
    columns = ["row", "sold_on", "type", "maker", "era", "grade", "set_size", "price", "price_today", "weight"]
    for number, one in _one_by_one(clean, said):
        if isinstance(one, str):
            rows.append([number, "", NO_PRICE_ROW, one])
        else:
            sales = known.model.comparables(one, most)[columns]
            rows += [[number, *sale] for sale in sales.to_numpy(object).tolist()]
    return result_table(rows)


def tube_list_price(model: Any, items: Any, settings: Any = None) -> list[list[float | str]]:
    """List price, floor, days to sale, margin, action and reason, a row an item below a row of headings."""
    known = store().known(one_cell(model, "model"))
    cells, own = cells_of(items), cells_of(settings)
    return known.remembered(("list price", _digest(cells), _digest(own)), lambda: _list_prices(known, cells, own))


def _list_prices(known: Known, cells: list[list[Cell]], own: list[list[Cell]]) -> list[list[float | str]]:
    settings = settings_of(own) or known.model.settings
    if not settings.currency:
        settings = settings.with_currency(known.model.settings.currency)
    frame = table_of(cells, ITEMS, "items", ("type",), settings.own_headings)
    filled = frame.drop(columns=["sheet", "row"]).notna().any(axis=1)
    raw = table_of(cells, STOCK, "items", ("type",), settings.own_headings)
    if "sku" not in {str(name).casefold() for name in raw.columns}:
        raw["sku"] = [f"row {row}" for row in raw["row"]]
    _, said = _items(known, cells)
    register = known.model.register or load_register()
    stock, problems = clean_stock(raw[filled], register, settings, "items")
    wrong = {one.row: f"{one.column}: {one.message} {one.remedy}" for one in reversed(problems)
             if one.effect in (IGNORED, LEFT_OUT)}
    shop = _shop(known, stock, settings)
    plan = plan_list_prices(known.model, stock, shop)
    columns = ["list_price", "floor", "days_to_sale", "margin", "action", "reason"]
    rows = dict(zip(stock.index, plan[columns].to_numpy(object).tolist()))
    out: list[Any] = [["list price", "floor", "days to sale", "margin", "action", "reason"]]
    for place, number in zip(frame.index, frame["row"]):
        words = said.get(place) or wrong.get(number)
        out.append(["", "", "", "", "", words] if words else rows.get(place, [""] * 6))
    return result_table(out)


def _shop(known: Known, stock: pd.DataFrame, settings: Any) -> Shop:
    """What the model's sales and these pieces make up, as far as a price plan asks."""
    register = known.model.register or load_register()

    def sales() -> pd.DataFrame:
        raw = table_of(known.cells, SALES, "sales", ("sold_on", "type", "price"), settings.own_headings)
        return clean_sales(raw, register, known.model.settings, "sales")[0]

    none = pd.DataFrame()
    return Shop(
        sales=known.remembered("sales", sales), stock=stock, asks=clean_asks(none, register, settings)[0],
        readings=none, offers=none, listening=none, circuits=none, lots=none, types=none, settings=settings,
        problems=none, register=register, path=Path("cells"), tables_present=("Sales", "Stock"),
    )


def _items(known: Known, cells: list[list[Cell]]) -> tuple[pd.DataFrame, dict[int, str]]:
    """(clean items that can be priced; what is wrong with each other row, "" for a blank one), by place."""
    model = known.model
    raw = table_of(cells, ITEMS, "items", ("type",), model.settings.own_headings)
    clean, problems = clean_items(raw, model.register, model.settings, "items")
    place = dict(zip(clean["row"], clean.index))
    said = {}
    for one in problems:
        at = place.get(one.row)
        words = "" if at is None else known.pieces.in_the_way(one, clean.loc[at])
        if words:
            said.setdefault(at, words)
    blank = raw.drop(columns=["sheet", "row"]).isna().all(axis=1)
    said |= {at: "" for at in raw.index[blank]}
    return clean.drop(index=list(said)), said


def _one_by_one(clean: pd.DataFrame, said: dict[int, str]) -> list[tuple[int, Any]]:
    """(number from 1, one-row frame or what is wrong) of every row that is not blank. CellProblem for too many."""
    if len(clean) > MOST_EXPLAINED:
        raise CellProblem(f"'items' has {len(clean):,} rows; {MOST_EXPLAINED} at most are explained at a time: "
                          "give fewer.")
    places = sorted([*clean.index, *(at for at, words in said.items() if words)])
    return [(at + 1, said.get(at) or clean.loc[[at]]) for at in places]


def _count(cell: Cell) -> int:
    number = float(cell) if isinstance(cell, str) and cell.strip().isdecimal() else cell
    if not isinstance(number, float) or number != int(number) or not 1 <= number <= MOST_COMPARABLES:
        said = "blank" if cell is None else f"'{result_cell(cell)}'"
        raise CellProblem(f"'count' is {said}: give a whole number from 1 to {MOST_COMPARABLES}.")
    return int(number)


def _digest(cells: list[list[Cell]]) -> str:
    return json.dumps(cells)
