"""The words of every command."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from pricing.command_line import choices, commands, importing, reviews

_TABLES = ("Sales", "Stock", "Asks", "Readings", "Offers", "Listening", "Circuits", "Lots")
_MOST_FOLDS = 50


def command_parser() -> argparse.ArgumentParser:
    """Every command with its arguments; `run` of the parsed call is the function that does it."""
    parser = argparse.ArgumentParser(
        prog="python -m pricing",
        description="Prices for a small shop of vintage electron tubes, from its own sales.",
        epilog="Exit status: 0 done, 1 problems found, 2 bad call.",
    )
    subcommands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    def command(name: str, run: Any, help: str) -> argparse.ArgumentParser:
        one = subcommands.add_parser(name, help=help, description=help)
        one.set_defaults(run=run)
        return one

    demo = command("demo", commands.demo, "Build a finished workbook for an invented shop.")
    demo.add_argument(
        "--out", metavar="FOLDER", type=Path, default=Path("."), help="where to put it (default: here)"
    )
    demo.add_argument("--live-cells", action="store_true",
                      help="with a sheet of cell functions, for LibreOffice Calc after: connect calc")
    new = command("new", commands.new, "Build an empty shop workbook to fill in.")
    new.add_argument("file", metavar="FILE", type=Path, help="name of the workbook, ending in .xlsx")
    new.add_argument("--overwrite", action="store_true", help="replace FILE if it is there")
    bring = command(
        "import", importing.import_files,
        "Take rows of the shop's real files (CSV, .xlsx, .xlsm, .ods) over into BOOK; rows it has are not taken twice.",
    )
    bring.add_argument("files", metavar="FILE", nargs="+", type=Path, help="files with sales, stock, offers and so on")
    bring.add_argument("--into", dest="book", metavar="BOOK", type=_named, required=True, help="the shop workbook")
    bring.add_argument("--dry-run", action="store_true", help="tell what is understood, write nothing")
    bring.add_argument("--table", type=str.capitalize, metavar="NAME", choices=_TABLES,
                       help=f"the table the rows belong to, where names and headings do not tell: {', '.join(_TABLES)}")
    bring.add_argument("--dates", choices=["day-first", "month-first"],
                       help="how dates such as 03/04/2024 are meant, where the rest of their column does not tell")
    bring.add_argument("--out", metavar="FILE", type=Path, help="write a copy with the rows there; BOOK stays")
    bring.add_argument("--overwrite", action="store_true", help="replace the file named by --out if it is there")
    check = command(
        "check", commands.check, "Tell what is wrong in a shop workbook and list it in a CSV file beside it."
    )
    _book(check)
    check.add_argument(
        "--out", metavar="FILE", type=Path, help="name of the CSV file (default: BOOK problems.csv)"
    )
    check.add_argument("--overwrite", action="store_true", help="replace the CSV file if it is there")
    refresh = command(
        "refresh", commands.refresh,
        "Price the stock: renew the result sheets in BOOK and nothing else; a copy of BOOK as it was is kept beside.",
    )
    _book(refresh)
    refresh.add_argument("--out", metavar="FILE", type=Path, help="write a refreshed copy there; BOOK stays")
    refresh.add_argument(
        "--restore-sheets", action="store_true", help="bring back result sheets that were deleted in BOOK"
    )
    refresh.add_argument(
        "--overwrite", action="store_true", help="replace the file named by --out if it is there"
    )
    refresh.add_argument(
        "--folds", metavar="N", type=_few, help="stretches of past sales to price again for the record on "
        "the Model sheet, 0 for none (default: 2, and none from 10,001 sales on)"
    )
    quote = command("quote", commands.quote, "Price one piece, with its range, its reasons and the sales behind it.")
    _book(quote)
    quote.add_argument("--type", required=True, help="type as printed, such as 12AX7")
    for name, help in (
        ("maker", "who made it"),
        ("brand", "brand printed on it"),
        ("era", "decade or year of making"),
        ("variant", "plates, getter, base"),
        ("grade", 'stated grade, such as "new old stock"'),
        ("channel", "where it would be sold (default: the shop's most used)"),
    ):
        quote.add_argument(f"--{name}", help=help)
    quote.add_argument("--reading", metavar="PERCENT", help="reading in percent of nominal")
    quote.add_argument("--matched", action="store_const", const="yes", help="the set is matched")
    quote.add_argument("--set-size", metavar="N", help="tubes in the set: 1, 2 (pair), 4 (quad)")
    quote.add_argument("--on", metavar="DATE", help="date of the price (default: the newest sale's)")
    fit = command("fit", commands.fit, "Hold a tube type's ratings against a circuit of the Circuits sheet.")
    _book(fit)
    fit.add_argument("--circuit", required=True, help="name of the circuit, as on the Circuits sheet")
    fit.add_argument("--type", default="", help="type to try there (default: the one fitted)")
    fit.add_argument("--position", default="", help="position, such as V2 (default: wherever the type may be meant)")
    alternatives = command("alternatives", choices.alternatives,
                           "Find what costs less than a wanted tube and sounds close, with what to answer a customer.")
    _book(alternatives)
    alternatives.add_argument("--type", help="type wanted (default: the one fitted in --circuit)")
    for name, help in (("maker", "who made it"), ("era", "decade or year of making"), ("grade", "stated grade")):
        alternatives.add_argument(f"--{name}", help=help)
    alternatives.add_argument("--set-size", metavar="N", help="tubes in the set: 1, 2 (pair), 4 (quad)")
    alternatives.add_argument("--price", type=_amount, help="what the wanted set costs (default: its fair price)")
    alternatives.add_argument("--circuit", help='circuit on the Circuits sheet it goes into; "NAME, V2" for a position')
    alternatives.add_argument("--count", metavar="N", type=_whole_number, default=8, help="rows to show (default: 8)")
    backtest = command(
        "backtest", commands.backtest,
        "Price past sales again from what came before them: how close, beside a shop's habits.",
    )
    _book(backtest)
    backtest.add_argument(
        "--folds", metavar="N", type=_few, default=4, help="stretches of time to price again (default: 4)"
    )
    export = command("export", commands.export, "Write the asks to change as a CSV file.")
    _book(export)
    export.add_argument(
        "--out", metavar="FILE", type=Path, help="name of the CSV file (default: BOOK asks.csv)"
    )
    export.add_argument("--overwrite", action="store_true", help="replace the CSV file if it is there")
    deals = command("deals", reviews.deals, "Rank offers, and your own asks, by the chance that they are under-priced.")
    _book(deals)
    lots = command("lots", reviews.lots, "Tell what each lot has brought back, and what to bid for offers.")
    _book(lots)
    sets = command("sets", reviews.sets, "Tell which measured tubes to sell together as quads and pairs.")
    _book(sets)
    margins = command("margins", reviews.margins, "Tell where the money was made in a period, and why sales changed.")
    _book(margins)
    margins.add_argument("--by", default="family", choices=["family", "type", "maker", "channel", "lot"],
                         help="what a row is: family (default), type, maker, channel or lot")
    margins.add_argument("--from", dest="date_from", metavar="DATE", help="first day (default: a year before the last)")
    margins.add_argument("--to", dest="date_to", metavar="DATE", help="last day (default: that of the newest sale)")
    describe = command("describe", reviews.describe, "Write what the books say of pieces, for their listings.")
    _book(describe)
    describe.add_argument("sku", metavar="SKU", nargs="*", help="codes of pieces in Stock")
    describe.add_argument("--all", metavar="FILE", type=Path, help="every piece of the stock, into a CSV file")
    describe.add_argument("--template", metavar="FILE", type=Path, help="text with places such as {grade}; .html is "
                          "filled in as HTML (default: Settings, else ours)")
    describe.add_argument("--overwrite", action="store_true", help="replace the CSV file if it is there")
    connect = command("connect", commands.connect, "Make the cell functions known to a spreadsheet program.")
    connect.add_argument("program", choices=["calc", "excel"], help="calc: LibreOffice Calc; excel: Microsoft Excel")
    connect.add_argument("folder", metavar="FOLDER", nargs="?", type=Path,
                         help="excel: the folder to write (default: tube prices in Excel)")
    connect.add_argument("--remove", action="store_true", help="take the cell functions and the kept models away")
    connect.add_argument("--example", metavar="FILE", type=Path,
                         help="also write a workbook with every function at work, ending in .xlsx or .ods")
    return parser


def _book(command: argparse.ArgumentParser) -> None:
    command.add_argument("book", metavar="BOOK", type=_named, help="the shop workbook")


def _named(text: str) -> Path:
    """The path, with a name others can be made of: "." is the folder it stands for."""
    path = Path(text)
    path = path.resolve() if path.name in ("", "..") else path
    if not text or not path.name:
        raise argparse.ArgumentTypeError(f"{text!r} names no file")
    return path


def _whole_number(text: str) -> int:
    if not text.isdecimal() or len(text) > 9:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 0 on")
    return int(text)


def _few(text: str) -> int:
    if _whole_number(text) > _MOST_FOLDS:
        raise argparse.ArgumentTypeError(f"{text!r} is more than {_MOST_FOLDS}; every one takes a fit")
    return int(text)


def _amount(text: str) -> float:
    from pricing.shop_tables.cells import plain_number

    amount = plain_number(text)
    if amount is None or amount <= 0:
        raise argparse.ArgumentTypeError(f"{text!r} is not an amount above zero")
    return amount
