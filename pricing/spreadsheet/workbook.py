"""Building a shop's workbook: the owner's sheets first, then what the tool found, lists and About."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from pathlib import Path
from typing import Any

import pandas as pd
from openpyxl import Workbook

from pricing.decisions.quality import rank_quality
from pricing.decisions.stock_alternatives import stock_alternatives
from pricing.decisions.underpriced import find_underpriced
from pricing.price_model.model import PriceModel
from pricing.shop_tables import CHANNELS, ERAS, GRADES, TABLES, Settings
from pricing.spreadsheet.about import about_sections
from pricing.spreadsheet.alternatives_sheet import write_alternatives
from pricing.spreadsheet.book_writer import written
from pricing.spreadsheet.check_prices import write_check_prices
from pricing.spreadsheet.circuit_fit_sheet import write_circuit_fit
from pricing.spreadsheet.deals_sheet import write_deals
from pricing.spreadsheet.input_sheets import empty_rows, write_input_sheet, write_lists
from pricing.spreadsheet.live_cells_sheet import write_live_cells
from pricing.spreadsheet.model_sheet import write_model
from pricing.spreadsheet.owner_cells import read_owner_sheets
from pricing.spreadsheet.package.graft import finished
from pricing.spreadsheet.package.marks import add_marks
from pricing.spreadsheet.package.safe_write import write_new
from pricing.spreadsheet.quality_sheet import write_quality
from pricing.spreadsheet.quote_sheet import write_quote
from pricing.spreadsheet.result_sheets import write_about, write_price_list, write_problems
from pricing.spreadsheet.stock_reviews import write_stock_reviews
from pricing.spreadsheet.tables import add_styles

INVENTED = "invented demo shop"
_UNDATED = dt.datetime(2026, 1, 1)
_ASPECTS = ("warmth", "clarity", "quiet")  # examples for an empty Listening sheet; owners rename them


def build_workbook(
    path: Path | str,
    shop: Any | None = None,
    model: Any | None = None,
    *,
    plan: pd.DataFrame | None = None,
    record: Any = None,
    deals: Any = None,
    invented: bool = False,
    live_cells: bool = False,
    overwrite: bool = False,
) -> Path:
    """Write a shop's workbook and return its path.

    Without `shop` the input sheets are empty but for Settings. With it they hold the owner's cells as they
    stand in `shop.path`, and a Problems sheet follows; with a fitted `model` too, Price list, Deals, Check prices and
    Model (`plan`, `deals`: the results of plan_list_prices and find_underpriced, made here when not given; `record`:
    that of backtest, shown on Model, not made here, as it takes several fits). `invented` says on About that the
    shop does not exist; `live_cells` adds a sheet of cell functions for LibreOffice Calc. The file is written
    whole or not at all. FileExistsError when `path` is there and `overwrite` is not set.
    """
    path = Path(path)
    if path.exists() and not overwrite:
        raise FileExistsError(17, "exists", str(path))
    book = Workbook()
    book.remove(book.active)
    add_styles(book)
    _write_inputs(book, shop)
    inputs = set(book.sheetnames)
    write_results(book, shop, model, plan=plan, record=record, deals=deals, invented=invented,
                  live_cells=live_cells)
    add_marks(book, [name for name in book.sheetnames if name not in inputs])
    write_lists(book, lists_of(shop))
    _open_at(book, "Price list" if "Price list" in book.sheetnames else "Sales")
    properties = book.properties
    properties.creator, properties.title = "pricing", "Shop workbook"
    properties.keywords = INVENTED if invented else None
    properties.created = _UNDATED if model is None else model.as_of.to_pydatetime()
    write_new(path, saved(book))
    return path


def write_results(
    book: Workbook,
    shop: Any | None,
    model: Any | None,
    *,
    plan: pd.DataFrame | None = None,
    record: Any = None,
    deals: Any = None,
    invented: bool = False,
    live_cells: bool = False,
) -> None:
    """Add every result sheet there is something for to `book`; arguments as of build_workbook."""
    if shop is not None and model is not None:
        if plan is None:
            from pricing.decisions.list_price import plan_list_prices

            plan = plan_list_prices(model, shop.stock, shop)
        write_price_list(book, plan, shop)
    problems = None if shop is None else shop.problems
    quality = None
    if shop is not None and model is not None and len(shop.listening):
        quality = rank_quality(shop.listening, model, shop)
    if shop is not None and model is not None:
        write_deals(book, find_underpriced(model, None, shop) if deals is None else deals)
        write_alternatives(book, stock_alternatives(model, shop, quality), shop.settings.currency)
    if quality is not None:
        write_quality(book, quality)
        problems = pd.concat([problems, quality.problems], ignore_index=True)
    if shop is not None and model is not None:
        write_stock_reviews(book, shop, model, plan.attrs.get("matched"))
    if shop is not None and len(shop.circuits):
        write_circuit_fit(book, shop)
    if shop is not None:
        write_problems(book, problems, shop)
    if shop is not None and model is not None:
        write_check_prices(book, model, shop)
        write_model(book, model, shop, record)
        if isinstance(model, PriceModel):
            write_quote(book, model)
    if shop is not None and live_cells:
        write_live_cells(book, shop.stock.to_dict("records"))
    write_about(book, about_sections(shop, model, invented=invented))


def refreshed_name(book: Path, as_of: Any, ending: str = ".xlsx") -> Path:
    """A free name beside `book`: "shop (refreshed 2026-11-25).xlsx", numbered when that is taken."""
    stem = re.sub(r" \(refreshed \d{4}-\d\d-\d\d\)( \d+)?$", "", book.stem)
    return free_name(book.with_name(f"{stem} (refreshed {as_of:%Y-%m-%d}){ending}"))


def free_name(path: Path) -> Path:
    """`path`, or the first of "name 2", "name 3" ... that no file has."""
    number, free = 1, path
    while free.exists():
        number += 1
        free = path.with_name(f"{path.stem} {number}{path.suffix}")
    return free


def is_invented(path: Path) -> bool:
    """Whether the workbook at `path` says that its shop is the invented one."""
    try:
        with zipfile.ZipFile(path) as file:
            return INVENTED.encode() in file.read("docProps/core.xml")
    except (OSError, KeyError, zipfile.BadZipFile):
        return False


def lists_of(shop: Any | None) -> dict[str, list[str]]:
    """Words for the drop-downs: our vocabularies, the register's types, and the shop's own channels."""
    if shop is None:
        from pricing.register import load_register

        designations, own_channels = load_register().designations, []
    else:
        designations = shop.register.designations
        own_channels = sorted(set(shop.sales["channel"]) - {*CHANNELS, "unknown"})
    return {
        "list_types": sorted(designations, key=str.casefold),
        "list_grades": list(GRADES),
        "list_eras": list(ERAS),
        "list_channels": [*CHANNELS, *own_channels],
        "list_yes_no": ["yes", "no"],
        "list_outcomes": ["sold", "lowered", "withdrawn"],
        "list_tests": ["gm", "emission", "plate current", "gas", "leakage", "noise"],
        "list_bias": ["fixed", "cathode"],
        "list_heater_strings": ["parallel", "series"],
        "list_rating_systems": ["design-centre", "design-maximum", "absolute-maximum"],
    }


def _write_inputs(book: Workbook, shop: Any | None) -> None:
    met = [] if shop is None else read_owner_sheets(shop.path, shop.settings)
    for name, table in TABLES.items():
        own = [sheet for sheet in met if sheet.table.name == name]
        for sheet in own:
            write_input_sheet(book, table, sheet.rows, sheet.columns, sheet.head_row, sheet.name)
        if own:
            continue
        if name == "Settings":
            rows = [
                list(table.names),
                *[
                    [_number_or_text(row[column]) for column in table.names]
                    for row in Settings.default_rows()
                ],
            ]
            write_input_sheet(book, table, rows, dict(enumerate(table.names)), 1)
        else:
            rows, columns, head_row = empty_rows(table, _ASPECTS if name == "Listening" else ())
            write_input_sheet(book, table, rows, columns, head_row)


def _number_or_text(text: str) -> Any:
    return float(text) if re.fullmatch(r"\d+(\.\d+)?", text) else text


def _open_at(book: Workbook, name: str) -> None:
    book.active = book.sheetnames.index(name)
    for sheet in book.worksheets:
        sheet.sheet_view.tabSelected = sheet.title == name


def saved(book: Workbook) -> bytes:
    """The workbook's file with its own date for every time in it: the same data gives the same bytes any day."""
    whole, dated = io.BytesIO(written(book)), io.BytesIO()
    date = book.properties.created
    stamp = date.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(dated, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            content = old.read(part)
            if part.filename == "docProps/core.xml":
                content = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + stamp, content)
            entry = zipfile.ZipInfo(part.filename, date.timetuple()[:6])
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, part.external_attr
            new.writestr(entry, content)
    return finished(dated.getvalue())
