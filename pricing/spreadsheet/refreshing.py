"""Refreshing a shop's workbook: new results in the file its owner works in, everything of his as it was."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
from openpyxl import Workbook

from pricing.shop_tables.headings import table_of_sheet
from pricing.spreadsheet.input_sheets import write_lists
from pricing.spreadsheet.package.book import NotKept
from pricing.spreadsheet.package.graft import grafted, sheets_of
from pricing.spreadsheet.package.marks import add_marks
from pricing.spreadsheet.package.safe_write import must_be_closed, put_file
from pricing.spreadsheet.record_section import record_for_refresh
from pricing.spreadsheet.result_sheets import write_heading
from pricing.spreadsheet.tables import add_styles
from pricing.spreadsheet.workbook import build_workbook, is_invented, lists_of, refreshed_name, saved, write_results

_KEPT_WHOLE = (".xlsx", ".xlsm")


def refresh_workbook(
    path: Path | str,
    out: Path | str | None = None,
    *,
    shop: Any | None = None,
    model: Any | None = None,
    plan: pd.DataFrame | None = None,
    deals: Any = None,
    record: Any = None,
    overwrite: bool = False,
    restore: bool = False,
    tell: Callable[[str], None] = lambda words: None,
) -> Path:
    """Price the stock of the shop's file at `path` and put the results into it; the path of the file that has them.

    An .xlsx or .xlsm is changed in place: its result sheets, known by their marks, get new cells, table sizes and chart
    ranges, and every other part keeps its bytes; the file as it was is kept in the folder "NAME backups". With `out`
    the result goes there and `path` stays. Where something of the owner's would be lost, where the file is open
    elsewhere or of another kind (.ods, .csv), a new workbook with the input tables and the results is written beside
    it, or at `out`. `restore` brings back result sheets the owner deleted; `tell` is given every sentence the owner
    should read, the place of the backup among them.

    ShopFileError when `path` cannot be read; ValueError when it has no usable sale or `out` is `path` itself;
    FileExistsError when `out` is there and `overwrite` is not set; OSError when nothing could be written, `path` being
    as it was.
    """
    from pricing.shop_tables import read_shop

    path = Path(path)
    if out is not None and Path(out).resolve() == path.resolve():
        raise ValueError(f"{out} is the workbook being read; leave `out` away to refresh it in place")
    if out is not None and Path(out).suffix.casefold() not in (".xlsx", path.suffix.casefold()):
        raise ValueError(f"{out}: the new workbook's name ends in .xlsx, or like that of the one being read")
    if out is not None and Path(out).exists() and not overwrite:
        raise FileExistsError(17, "exists", str(out))
    owner = path.read_bytes() if path.suffix.casefold() in _KEPT_WHOLE and path.is_file() else None
    shop = shop or read_shop(path)
    if model is None:
        from pricing.price_model import fit_price_model, with_readings

        shop = with_readings(shop)
        if shop.sales.empty:
            raise ValueError(f"{path}: no usable row in Sales, so nothing can be priced")
        model = fit_price_model(shop.sales, settings=shop.settings, register=shop.register)
        record = record or record_for_refresh(shop)
    if owner is not None:
        try:
            if out is not None and Path(out).suffix.casefold() != path.suffix.casefold():
                raise NotKept(f"a copy with everything in it has to end in {path.suffix}, too.")
            results = fresh_results(owner, shop, model, plan=plan, record=record, deals=deals,
                                    invented=is_invented(path))
            return put_results(path, owner, results, None if out is None else Path(out), restore=restore, tell=tell)
        except NotKept as reason:
            tell(f"{path} was left as it is: {reason} The results are in a new workbook instead.")
    elif path.suffix.casefold() == ".ods":
        tell(f"{path} was left as it is: only in .xlsx and .xlsm can a refresh keep everything. The results are in a "
             "new workbook instead.")
    goal = refreshed_name(path, model.as_of) if out is None else Path(out).with_suffix(".xlsx")
    return build_workbook(goal, shop, model, plan=plan, record=record, deals=deals, invented=is_invented(path),
                          overwrite=overwrite)


def fresh_results(owner: bytes, shop: Any, model: Any, *, plan: pd.DataFrame | None = None, record: Any = None,
                  deals: Any = None, invented: bool = False) -> bytes:
    """A workbook file with the marked result sheets alone, for the owner's file; NotKept when that cannot be kept
    whole."""
    sheets, had = sheets_of(owner)
    book = Workbook()
    book.remove(book.active)
    add_styles(book)
    for name in sheets:  # so that results can refer to them
        if table_of_sheet(name):
            book.create_sheet(name)
    inputs = set(book.sheetnames)
    write_results(book, shop, model, plan=plan, record=record, deals=deals, invented=invented,
                  live_cells="Live cells" in had)
    offers = [str(offer.formula1) for sheet in book for offer in sheet.data_validations.dataValidation]
    if "Lists" in had or "Lists" not in sheets and any(offer.startswith("list_") for offer in offers):
        write_lists(book, lists_of(shop))
    for title in had:
        if title not in book.sheetnames:
            words = f"Nothing to show for {model.as_of:%Y-%m-%d}: the workbook had no rows for this sheet."
            write_heading(book.create_sheet(title), title, [words])
    add_marks(book, [name for name in book.sheetnames if name not in inputs])
    if not inputs:
        book.create_sheet("Sales")
    book.properties.created = model.as_of.to_pydatetime()
    return saved(book)


def put_results(path: Path, owner: bytes, results: bytes, out: Path | None = None, *, restore: bool = False,
                tell: Callable[[str], None] = lambda words: None) -> Path:
    """Put result sheets into the file at `path`, which holds `owner`, or into a copy of it at `out`; the path written.

    NotKept when the file would lose something or is open elsewhere; OSError when it cannot be written."""
    if out is None:
        must_be_closed(path)
    content, told = grafted(owner, results, restore=restore)
    for words in [*told, *put_file(path, content, owner, out)]:
        tell(words)
    return out or path
