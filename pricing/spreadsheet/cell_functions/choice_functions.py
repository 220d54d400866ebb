"""The cell functions about choosing: cheaper pieces that sound close, and quality by the listening notes.

`FUNCTIONS` goes into the registry, `example_sheets()` and `SIZES` into the example workbook.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pandas as pd

from pricing.decisions.alternatives import NO_CIRCUIT, find_alternatives
from pricing.decisions.quality import QualityRanking, rank_quality
from pricing.register import load_register
from pricing.shop_tables import clean_listening, clean_stock
from pricing.shop_tables.columns import LISTENING, STOCK, TABLES
from pricing.spreadsheet.cell_functions import price_functions
from pricing.spreadsheet.cell_functions.cell_values import CellProblem, cells_of, one_cell
from pricing.spreadsheet.cell_functions.model_store import Known
from pricing.spreadsheet.cell_functions.ranges import table_of
from pricing.spreadsheet.cell_functions.register_functions import type_of
from pricing.spreadsheet.cell_functions.spec import Argument, CellFunction

ALTERNATIVE_HEADINGS = ("type", "piece", "code", "price a tube", "less %", "how it goes in", "electrically",
                        "in the circuit", "why")


def tube_alternatives(model: Any, tube: Any, stock: Any, circuit: Any = None) -> list[list[Any]]:
    """What of the stock costs less than a wanted type's fair price, the closest first; the cautions below."""
    known = price_functions.store().known(one_cell(model, "model"))
    wanted = type_of(one_cell(tube, "tube")).designation
    shop = _shop(known, stock)
    place = None
    if cells_of(circuit):
        places = table_of(cells_of(circuit), TABLES["Circuits"], "circuit", ("fitted_type",))
        if len(places) > 1:
            raise CellProblem(f"'circuit' has {len(places):,} rows below its headings; one position is checked at a "
                              "time: give the headings and one row.")
        place = places.iloc[0].to_dict()
    found = find_alternatives(known.model, wanted, shop, place)
    columns = ["type", "piece", "code", "each", "saving_pct", "kind", "electrically", "verdict"]
    rows = [[*(row[name] for name in columns), _why(row)]
            for row in found.candidates.replace({"verdict": {NO_CIRCUIT: "not compared"}}).to_dict("records")]
    words = [["", "", "", "", "", "", "", "", said] for said in (*found.words, *found.cautions)]
    return [list(ALTERNATIVE_HEADINGS), *rows, *words]


def _why(row: dict[str, Any]) -> str:
    """What the ratings and the notes say, as short as a cell needs it."""
    return "; ".join(filter(None, (row["reason"], row["lower"] and f"lower: {row['lower']}", row["summary"],
                                   row["quality_words"])))


def tube_quality(listening: Any) -> list[list[Any]]:
    """Quality of every item heard, the best first; what it rests on below."""
    ranking = rank_quality(_notes(listening, None))
    columns = ["item", "quality", "low", "high", "notes", "basis"]
    return [["item", "quality", "low", "high", "notes", "basis"], *ranking.items[columns].to_numpy(object).tolist(),
            *_said(ranking, 6)]


def tube_quality_cost(model: Any, listening: Any, stock: Any) -> list[list[Any]]:
    """Quality against the fair price, the lowest cost per point first; what it rests on below."""
    known = price_functions.store().known(one_cell(model, "model"))
    ranking = rank_quality(_notes(listening, known), known.model, _shop(known, stock))
    headings = ["item", "quality", "fair price", "cost per point", "low", "high", "on the front, chance", "on hand",
                "lowest ask"]
    if not ranking.priced:
        return [headings, *_said(ranking, 9)]
    columns = ["item", "quality", "fair_price", "cost_per_point", "cost_low", "cost_high", "front_chance", "on_hand",
               "lowest_ask"]
    items = ranking.items.sort_values("cost_per_point", kind="stable", na_position="last")
    return [headings, *items[columns].to_numpy(object).tolist(), *_said(ranking, 9)]


def _said(ranking: QualityRanking, width: int) -> list[list[Any]]:
    """What the ranking says, in the last column: its words, then what was wrong with the notes."""
    wrong = [f"{one.message} {one.remedy}" for one in ranking.problems.itertuples()]
    return [[*[""] * (width - 1), words] for words in dict.fromkeys([*ranking.words, *wrong])]


def _notes(listening: Any, known: Known | None) -> pd.DataFrame:
    """Clean listening notes of a range."""
    settings = known.model.settings if known else None
    raw = table_of(cells_of(listening), LISTENING, "listening", ("type", "system", "listener"),
                   settings.own_headings if settings else None)
    register = (known.model.register if known else None) or load_register()
    return clean_listening(raw, register, settings, "listening")[0]


def _shop(known: Known, stock: Any) -> Any:
    """The pieces of a Stock range as a shop: every row counts as on hand, and one without a sku goes by its row."""
    settings, register = known.model.settings, known.model.register or load_register()
    raw = table_of(cells_of(stock), STOCK, "stock", ("type", "ask"), settings.own_headings)
    if "sku" not in {str(name).casefold() for name in raw.columns}:
        raw["sku"] = [f"row {row}" for row in raw["row"]]
    none = pd.DataFrame(columns=["sku", "set_size", "qty", "returned_on"])
    return SimpleNamespace(
        stock=clean_stock(raw, register, settings, "stock")[0], sales=none, offers=pd.DataFrame(),
        circuits=pd.DataFrame(), listening=pd.DataFrame(), settings=settings, register=register)


_STOCK = Argument("stock", "Range of pieces with headings: type and ask are needed; maker, era, grade, set_size, sku "
                  "and the other columns of Stock help.", "table")
_LISTENING = Argument("listening", "Range of listening notes with headings: type, system, listener, and a column of "
                      "scores for every aspect.", "table")
_MODEL = Argument("model", "The cell that holds the model function.")
FUNCTIONS: tuple[CellFunction, ...] = (
    CellFunction(
        "ALTERNATIVES", tube_alternatives,
        "What of the stock costs less than a wanted type and may stand in for it, the closest first, and why. "
        "Lethal voltages: the equipment maker's word comes first, work inside belongs to a technician.",
        (_MODEL, Argument("tube", "Type wanted, such as EL84."), _STOCK,
         Argument("circuit", "Two rows: headings as on the Circuits sheet and one position.", optional=True)),
        'Functions!B4, "EL84", Shelf!A1:E7, Circuits!A1:I2', "table",
    ),
    CellFunction(
        "QUALITY", tube_quality,
        "Quality of every type and maker heard, by the listening notes, with the range chance leaves; listeners' and "
        "amplifiers' own levels are taken out.",
        (_LISTENING,), "Heard!A1:F25", "table",
    ),
    CellFunction(
        "QUALITY_COST", tube_quality_cost,
        "Fair price per point of quality above the lowest type heard, with its range; who is on the front where "
        "nothing is both cheaper and better.",
        (_MODEL, _LISTENING, _STOCK), "Functions!B4, Heard!A1:F25, Shelf!A1:E7", "table",
    ),
)
SIZES = {"ALTERNATIVES": (9, 9), "QUALITY": (10, 6), "QUALITY_COST": (13, 9)}


def example_sheets() -> dict[str, list[list[Any]]]:
    """The sheets that the examples speak of: six pieces with asks, and 24 listening notes, all invented."""
    heard: list[list[Any]] = [["type", "maker", "system", "listener", "warmth", "clarity"]]
    for number in range(24):
        kind, maker = ("EL84", "6V6GT", "EL34")[number % 3], ("Tivenshaw", "Luskarn")[number // 3 % 2]
        score = 6.0 + (maker == "Tivenshaw") + 0.5 * (kind == "EL34") + (number * 7 % 5 - 2) / 5
        heard.append([kind, maker, ("Murgle", "Brindle")[number // 6 % 2], ("A.", "B.")[number // 12], score,
                      score - 0.5 + (number * 3 % 4) / 4])
    return {
        "Heard": heard,
        "Shelf": [["type", "maker", "grade", "ask", "set_size"], ["EL84", "Luskarn", "used, good", 15, 1],
                  ["6BQ5", "Varnoseth", "used, strong", 30, 2], ["7189", "Varnoseth", "used, good", 14, 1],
                  ["6V6GT", "Tivenshaw", "used, good", 20, 1], ["EL34", "Luskarn", "NOS", 110, 2],
                  ["EL84", "Tivenshaw", "NOS", 44, 1]],
    }
