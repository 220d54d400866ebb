"""What the workbook's button does, on Windows and on macOS: refresh the shop workbook that is open beside it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from pricing.shop_tables import ShopFileError

START, SAID_AT = "Start", "A12"
_NEEDED = ("Sales", "Stock")


class NoShopOpen(Exception):
    """There is no open workbook to refresh, or more than one; the message says what to do."""


def refresh_open_workbook(home: Any = None) -> None:
    """Save the open shop workbook, write its refreshed copy beside it, open that, and say so in `home`.

    `home` is the xlwings Book of the button, by default the one whose button was pressed. What goes wrong stands in the
    same cell; nothing is raised.
    """
    import xlwings

    home = xlwings.Book.caller() if home is None else home
    cell = home.sheets[START][SAID_AT]
    cell.value = "Refreshing; this takes a while ..."
    try:
        book = shop_book(home)
        book.save()
        new = _refreshed(Path(book.fullname))
        cell.value = f"Wrote {new}. {book.name} is as it was."
        home.app.books.open(str(new))
    except (NoShopOpen, ShopFileError, ValueError) as problem:
        cell.value = f"{problem}"
    except Exception as error:  # the owner sees a cell, no console
        cell.value = f"The refresh failed ({type(error).__name__}: {error}). Nothing was changed."


def shop_book(home: Any) -> Any:
    """The open workbook with the sheets Sales and Stock; `home` itself only where no other has them."""
    shops = [book for book in home.app.books if set(_NEEDED) <= {sheet.name for sheet in book.sheets}]
    others = [book for book in shops if book.name != home.name] or shops
    if len(others) == 1:
        return others[0]
    if others:
        names = ", ".join(book.name for book in others)
        raise NoShopOpen(f"Several shop workbooks are open ({names}): close all but the one to refresh, press again.")
    raise NoShopOpen("No open workbook has the sheets Sales and Stock: open yours beside this one and press again. "
                     "python -m pricing new makes an empty one.")


def _refreshed(path: Path) -> Path:
    from pricing.spreadsheet.refreshing import refresh_workbook
    from pricing.spreadsheet.workbook import refreshed_name

    return refresh_workbook(path, refreshed_name(path, dt.date.today(), path.suffix))
