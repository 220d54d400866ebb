"""Every cell function: one entry here, one plain Python function. Everything else is generated from this list."""

from __future__ import annotations

from pricing.spreadsheet.cell_functions import (
    choice_functions,
    circuit_functions,
    deal_functions,
    price_functions,
    register_functions,
    stock_functions,
)
from pricing.spreadsheet.cell_functions.spec import Argument, CellFunction

_MODEL = Argument("model", "The cell that holds the model function.")
_ITEMS = Argument("items", "Range of pieces, headings in its first row: type (needed), maker, era, grade, reading_pct, "
                  "set_size and the other descriptive columns of Sales.", "table")
_SETTINGS = Argument("settings", "Range of two columns, setting and value, as on the Settings sheet.", optional=True)

FUNCTIONS: tuple[CellFunction, ...] = (
    CellFunction(
        "MODEL", price_functions.tube_model,
        "Learns prices from your sales. Gives a key for the other functions, with the number of sales and the last "
        "date.",
        (Argument("sales", "Range of past sales, headings in its first row: sold_on, type and price are needed.",
                  "table"),
         _SETTINGS),
        "Sales!A1:I301, Settings!A1:B6",
    ),
    CellFunction(
        "FAIR", price_functions.tube_fair,
        "Fair price of one piece: what such a piece typically sells for in this shop, at the date of its last sale, "
        "per set.",
        (_MODEL, Argument("tube", "Type as printed, such as EL84."), Argument("maker", "Who made it.", optional=True),
         Argument("era", "Decade or year of making.", optional=True),
         Argument("grade", "Stated grade.", optional=True),
         Argument("reading", "Tester reading in percent of nominal.", optional=True),
         Argument("set_size", "Tubes in the set: 1, 2 (pair), 4 (quad).", optional=True),
         Argument("channel", "Where it would be sold. Blank: the shop's most used.", optional=True),
         Argument("variant", "Construction: plates, getter, base.", optional=True),
         Argument("brand", "Brand printed on it.", optional=True)),
        'Functions!B4, "EL84", "Tivenshaw", "1960s", "new old stock", , 2',
    ),
    CellFunction(
        "FAIR_TABLE", price_functions.tube_fair_table,
        "Fair price of every piece of a range: price, low and high (four sales in five fall between), sales behind it, "
        "basis. A row an item, below a row of headings.",
        (_MODEL, _ITEMS), "Functions!B4, Items!A1:H7", "table",
    ),
    CellFunction(
        "WHY", price_functions.tube_why,
        "The price of each piece as a product of factors: type, maker, era, grade and so on.",
        (_MODEL, _ITEMS), "Functions!B4, Items!A1:H2", "table",
    ),
    CellFunction(
        "COMPARABLES", price_functions.tube_comparables,
        "The past sales that weigh most in the price of each piece, heaviest first, with their rows in the sales "
        "range.",
        (_MODEL, Argument("count", "How many sales a piece, 1 to 200."), _ITEMS),
        "Functions!B4, 5, Items!A1:H2", "table",
    ),
    CellFunction(
        "LIST_PRICE", price_functions.tube_list_price,
        "What to ask for each piece by your own policy in the settings: list price, floor, days to sale of such "
        "pieces, margin, action, reason. Items may have sku, cost, ask and qty as well.",
        (_MODEL, _ITEMS, _SETTINGS), "Functions!B4, Items!A1:J7, Settings!A1:B6", "table",
    ),
    CellFunction(
        "RATING", register_functions.tube_rating,
        "One value of the register of types, by the name of its column; unknown where nobody knows. No instruction to "
        "open or change equipment: the data sheet and its maker's word come first.",
        (Argument("tube", "Type as printed, such as EL84."),
         Argument("rating", "Name of the rating: va_max_v, pa_max_w_section, heater_v, mu, base and so on."),
         Argument("section", "Section of a bottle with two different units: triode or pentode.", optional=True)),
        '"EL84", "pa_max_w_section"',
    ),
    CellFunction(
        "CIRCUIT_FIT", circuit_functions.tube_circuit_fit,
        "Holds a position of a circuit against the ratings of a type: limit, value, headroom, verdict, reason. Lethal "
        "voltages: the equipment maker's word comes first, and work inside belongs to a qualified technician.",
        (Argument("tube", "Type to be held against the position, such as EL84."),
         Argument("circuit", "Two rows: headings as on the Circuits sheet (fitted_type, plate_v, plate_ma, heater_v "
                  "and so on) and one position.", "table")),
        '"6BQ5", Circuits!A1:I2', "table",
    ),
    *deal_functions.FUNCTIONS,
    *choice_functions.FUNCTIONS,
    *stock_functions.FUNCTIONS,
)

BY_NAME: dict[str, CellFunction] = {one.name: one for one in FUNCTIONS}
BY_METHOD: dict[str, CellFunction] = {one.method: one for one in FUNCTIONS}
