"""What commands have in common: reading, fitting, pricing, and files that may not be written over."""

from __future__ import annotations

import argparse
import re
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

DONE, PROBLEMS, BAD_CALL = 0, 1, 2
_SLOW_S = 2.0
_NUMBER = re.compile(r"[+-]?\d[\d.,]*\s?%?")


class BadCall(Exception):
    """What the owner asked for cannot be done as asked; the message says what would help."""


class NothingToPrice(Exception):
    """There is no usable sale to learn from."""


def priced(path: Path) -> tuple[Any, Any, Any]:
    """Shop, fitted model and price plan of the workbook or folder at `path`."""
    from pricing.decisions.list_price import plan_list_prices

    shop = on_one_scale(read(path))
    model = fit_model(shop)
    if shop.stock.empty:
        print("There is no usable row in Stock, so the price list stays empty.", file=sys.stderr)
    with step(f"pricing {len(shop.stock):,} stock rows"):
        plan = plan_list_prices(model, shop.stock, shop)
    return shop, model, plan


def read(path: Path) -> Any:
    from pricing.shop_tables import read_shop

    if path.exists() and not (path.is_file() or path.is_dir()):
        raise BadCall(f"{path} is a pipe or a device, not a file; save the workbook as a file.")
    with step(f"reading {path.name}"):
        return read_shop(path)


def on_one_scale(shop: Any) -> Any:
    """The shop with every reading on its main tester's scale."""
    from pricing.price_model import with_readings

    return with_readings(shop)


def fit_model(shop: Any) -> Any:
    from pricing.price_model import fit_price_model

    must_have_sales(shop)
    with step(f"learning prices from {len(shop.sales):,} sales"):
        try:
            return fit_price_model(shop.sales, settings=shop.settings, register=shop.register)
        except ValueError as error:  # all of them came back
            raise NothingToPrice(str(error)) from error


def with_problems_of_notes(shop: Any) -> Any:
    """The shop with what shows only once all listening notes are compared: scores out of scale, a single listener."""
    from dataclasses import replace

    import pandas as pd

    from pricing.decisions.quality import rank_quality

    if shop.listening.empty:
        return shop
    more = rank_quality(shop.listening, None, shop).problems
    return replace(shop, problems=pd.concat([shop.problems, more], ignore_index=True)) if len(more) else shop


def date_of(option: str, text: str | None) -> Any:
    """The date given with an option, None where it was not given."""
    import pandas as pd

    if text is None:
        return None
    date = pd.to_datetime(text, errors="coerce", format="ISO8601")
    if pd.isna(date) or not 1900 <= date.year <= 2200:
        raise BadCall(f"{option} {text}: not a date; write it as 2026-03-01.")
    return date


def must_have_sales(shop: Any) -> None:
    if shop.sales.empty:
        from pricing.spreadsheet.summary import sales_used

        raise NothingToPrice(
            f"There is no usable row in Sales, so nothing can be priced. {sales_used(shop).sentence} "
            f'Run: python -m pricing check "{shop.path}"'
        )


def deals_of(shop: Any, model: Any) -> Any:
    """What find_underpriced finds among offers and stock."""
    from pricing.decisions.underpriced import find_underpriced

    with step("comparing offers and asks with fair prices"):
        return find_underpriced(model, None, shop)


def record_of(shop: Any, folds: int | None = None) -> Any:
    """How close the prices came on past sales; None where that was not asked for and would take long."""
    from pricing.spreadsheet.record_section import record_for_refresh

    with step("pricing past sales again, to see how close the prices come"):
        try:
            return record_for_refresh(shop, folds)
        except ValueError as error:  # all of them came back
            raise NothingToPrice(str(error)) from error


def tell(plan: Any, shop: Any, record: Any, deals: Any) -> None:
    from pricing.spreadsheet.deals_sheet import deals_in_words
    from pricing.spreadsheet.summary import plan_in_words

    print(plan_in_words(plan, shop))
    for words in deals_in_words(deals):
        print(words)
    if record is not None:
        print(record.headline)


def demo_data_folder() -> Path:
    """The demo shop's tables: inside the installed package, or beside it in a clone. BadCall when neither
    is there.
    """
    package = Path(__file__).parent.parent
    for folder in (package / "demo_data", package.parent / "demo_data"):
        if (folder / "sales.csv").is_file():
            return folder
    raise BadCall("The demo data is missing from this installation; install the package again.")


def workbook_name(path: Path) -> Path:
    if path.suffix.lower() != ".xlsx":
        raise BadCall(f"{path}: a workbook's name ends in .xlsx.")
    return path


def output_file(call: argparse.Namespace, name: str) -> Path:
    if call.out is not None:
        return call.out
    return call.book.with_name(name)


def must_be_free(call: argparse.Namespace) -> None:
    if call.out is None:
        return
    if call.out.suffix.lower() not in (".xlsx", call.book.suffix.lower()):
        raise BadCall(f"{call.out}: a workbook's name ends in .xlsx, or like that of BOOK.")
    if call.out.exists() and call.book.exists() and call.out.samefile(call.book):
        raise BadCall("--out names BOOK itself: leave --out away to refresh BOOK in place.")
    may_write(call.out, call.overwrite)


def may_write(path: Path, overwrite: bool) -> None:
    """Asked before work is done for it: BadCall where no file can be at `path`, FileExistsError where one is that may
    not be replaced."""
    if path.exists() and not path.is_file():
        raise BadCall(f"{path} is a folder or a device; name a file.")
    if not path.parent.is_dir():
        raise BadCall(f"{path}: there is no folder {path.parent}. Make it first, or name another.")
    if path.exists() and not overwrite:
        raise FileExistsError(17, "exists", str(path))


def write_csv(path: Path, table: Any, overwrite: bool) -> int:
    """Write `table` as CSV, whole or not at all, with text that could run as a formula held down by an apostrophe; how
    many cells were. Numbers stay numbers, those below zero and those typed as text too.
    """
    from pricing.shop_tables.cells import RUNS
    from pricing.spreadsheet.package.safe_write import write_new

    guarded = 0

    def guard(value: Any) -> Any:
        nonlocal guarded
        if isinstance(value, str) and RUNS.match(value) and not _NUMBER.fullmatch(value):
            guarded += 1
            return "'" + value
        return value

    may_write(path, overwrite)
    safe = table.apply(lambda column: column.map(guard))
    write_new(path, safe.to_csv(index=False, float_format="%.2f").encode("utf-8-sig", "replace"))
    return guarded


@contextmanager
def step(words: str) -> Iterator[None]:
    """Says on stderr what is being done once it has taken two seconds, and how long it took."""
    started, said = time.monotonic(), threading.Event()

    def say() -> None:
        said.set()
        print(f"{words} ...", file=sys.stderr, flush=True)

    timer = threading.Timer(_SLOW_S, say)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
        if said.is_set():
            print(f"{words}: {time.monotonic() - started:.0f} s", file=sys.stderr, flush=True)
