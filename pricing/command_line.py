"""`python -m pricing ...`: make a workbook, check it, price the stock, quote one piece, hand out changed
asks.

Exit status: 0 done; 1 problems found (`check` found some, or nothing could be priced); 2 bad call (wrong
words, a file that is missing or is no shop workbook, a file that would be overwritten).
"""

from __future__ import annotations

import argparse
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

DONE, PROBLEMS, BAD_CALL = 0, 1, 2
_SLOW_S = 2.0


class BadCall(Exception):
    """What the owner asked for cannot be done as asked; the message says what would help."""


class NothingToPrice(Exception):
    """There is no usable sale to learn from."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; its exit status."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a console without Cyrillic shows "?" instead of stopping
            stream.reconfigure(errors="replace")
    call = _parser().parse_args(arguments)
    from pricing.shop_tables import ShopFileError

    try:
        return call.run(call)
    except NothingToPrice as error:
        print(error, file=sys.stderr)
        return PROBLEMS
    except (BadCall, ShopFileError) as error:
        print(error, file=sys.stderr)
    except FileExistsError as error:
        print(
            f"{error.filename or error} is there already. Choose another name, or add --overwrite.",
            file=sys.stderr,
        )
    except OSError as error:
        print(f"{error.filename or 'The file'}: {error.strerror or error}.", file=sys.stderr)
    except KeyboardInterrupt:
        print("Stopped; nothing half-written was left.", file=sys.stderr)
    return BAD_CALL


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m pricing",
        description="Prices for a small shop of vintage electron tubes, from its own sales.",
        epilog="Exit status: 0 done, 1 problems found, 2 bad call.",
    )
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    def command(name: str, run: Any, help: str) -> argparse.ArgumentParser:
        one = commands.add_parser(name, help=help, description=help)
        one.set_defaults(run=run)
        return one

    demo = command("demo", _demo, "Build a finished workbook for an invented shop.")
    demo.add_argument(
        "--out", metavar="FOLDER", type=Path, default=Path("."), help="where to put it (default: here)"
    )
    new = command("new", _new, "Build an empty shop workbook to fill in.")
    new.add_argument("file", metavar="FILE", type=Path, help="name of the workbook, ending in .xlsx")
    new.add_argument("--overwrite", action="store_true", help="replace FILE if it is there")
    check = command(
        "check", _check, "Tell what is wrong in a shop workbook and list it in a CSV file beside it."
    )
    _book(check)
    check.add_argument(
        "--out", metavar="FILE", type=Path, help="name of the CSV file (default: BOOK problems.csv)"
    )
    check.add_argument("--overwrite", action="store_true", help="replace the CSV file if it is there")
    refresh = command(
        "refresh", _refresh, "Price the stock: write a new workbook beside BOOK, which stays as it is."
    )
    _book(refresh)
    refresh.add_argument("--out", metavar="FILE", type=Path, help="name of the new workbook")
    refresh.add_argument(
        "--overwrite", action="store_true", help="replace the file named by --out if it is there"
    )
    refresh.add_argument(
        "--folds", metavar="N", type=_whole_number, help="stretches of past sales to price again for the record on "
        "the Model sheet, 0 for none (default: 2, and none from 10,001 sales on)"
    )
    quote = command("quote", _quote, "Price one piece, with its range, its reasons and the sales behind it.")
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
    fit = command("fit", _fit_circuit, "Hold a tube type's ratings against a circuit of the Circuits sheet.")
    _book(fit)
    fit.add_argument("--circuit", required=True, help="name of the circuit, as on the Circuits sheet")
    fit.add_argument("--type", default="", help="type to try there (default: the one fitted)")
    fit.add_argument("--position", default="", help="position, such as V2 (default: wherever the type may be meant)")
    backtest = command(
        "backtest", _backtest, "Price past sales again from what came before them: how close, beside a shop's habits."
    )
    _book(backtest)
    backtest.add_argument(
        "--folds", metavar="N", type=_whole_number, default=4, help="stretches of time to price again (default: 4)"
    )
    export = command("export", _export, "Write the asks to change as a CSV file.")
    _book(export)
    export.add_argument(
        "--out", metavar="FILE", type=Path, help="name of the CSV file (default: BOOK asks.csv)"
    )
    export.add_argument("--overwrite", action="store_true", help="replace the CSV file if it is there")
    connect = command("connect", _connect, "Make the cell functions known to a spreadsheet program.")
    connect.add_argument("program", choices=["calc"], help="calc: LibreOffice Calc")
    connect.add_argument("--remove", action="store_true", help="take the cell functions and the kept models away")
    connect.add_argument("--example", metavar="FILE", type=Path,
                         help="also write a workbook with every function at work, ending in .xlsx or .ods")
    return parser


def _book(command: argparse.ArgumentParser) -> None:
    command.add_argument("book", metavar="BOOK", type=Path, help="the shop workbook")


def _demo(call: argparse.Namespace) -> int:
    from pricing.spreadsheet import build_workbook
    from pricing.spreadsheet.workbook import free_name

    shop, model, plan = _priced(demo_data_folder())
    record = _record(shop)
    call.out.mkdir(parents=True, exist_ok=True)
    path = free_name(call.out / "demo shop.xlsx")
    with _step(f"writing {path.name}"):
        build_workbook(path, shop, model, plan=plan, record=record, invented=True)
    print(f"Wrote {path} (an invented shop: every sale, maker and buyer in it is made up).")
    _tell(plan, shop, record)
    return DONE


def _new(call: argparse.Namespace) -> int:
    from pricing.spreadsheet import build_workbook

    build_workbook(_xlsx(call.file), overwrite=call.overwrite)
    print(
        f"Wrote {call.file}. Fill in Sales (date, type, price are needed) and Stock, then run\n"
        f'  python -m pricing refresh "{call.file}"'
    )
    return DONE


def _check(call: argparse.Namespace) -> int:
    from pricing.shop_tables import check_report

    shop = _read(call.book)
    print(check_report(shop))
    if shop.problems.empty:
        return DONE
    path = _output(call, f"{call.book.stem} problems.csv")
    _write_csv(path, shop.problems, call.overwrite)
    print(f"All {len(shop.problems):,} problems are listed in {path}.")
    return PROBLEMS


def _refresh(call: argparse.Namespace) -> int:
    from pricing.spreadsheet import refresh_workbook
    from pricing.spreadsheet.workbook import refreshed_name

    if call.out:
        _xlsx(call.out)
    _must_be_free(call)
    shop, model, plan = _priced(call.book)
    record = _record(shop, call.folds)
    path = call.out or refreshed_name(call.book, model.as_of)
    with _step(f"writing {path.name}"):
        refresh_workbook(
            call.book, path, shop=shop, model=model, plan=plan, record=record, overwrite=call.overwrite
        )
    print(
        f"Wrote {path}. {call.book} is unchanged.\nThe new file carries what stands on the input sheets; "
        "charts, formulas, colours and sheets added by hand are only in the old one."
    )
    _tell(plan, shop, record)
    return DONE


def _quote(call: argparse.Namespace) -> int:
    import pandas as pd

    shop = _on_one_scale(_read(call.book))
    model = _fit(shop)
    given = {
        "type": call.type,
        "maker": call.maker,
        "brand": call.brand,
        "era": call.era,
        "variant": call.variant,
        "grade": call.grade,
        "reading_pct": call.reading,
        "set_size": call.set_size,
        "matched": call.matched,
        "channel": call.channel,
    }
    item = pd.DataFrame([{name: value for name, value in given.items() if value is not None}])
    from pricing.shop_tables import clean_items

    clean, problems = clean_items(item, shop.register, shop.settings, sheet="quote")
    for problem in problems:
        print(f"{problem.column or 'type'}: {problem.message} {problem.remedy}", file=sys.stderr)
    on = None
    if call.on is not None:
        on = pd.to_datetime(call.on, errors="coerce", format="ISO8601")
        if pd.isna(on):
            raise BadCall(f"--on {call.on}: not a date; write it as 2026-03-01.")
    quote = model.estimate(clean, on=on).iloc[0]
    from pricing.decisions.listing_history import kin_in_words
    from pricing.spreadsheet.summary import HABIT, quote_in_words, sells_at_own_asks

    notes = [kin_in_words(clean, shop, model.as_of), HABIT] if sells_at_own_asks(shop.sales) else []
    print(
        quote_in_words(
            quote, model.explain(clean, on), model.comparables(clean, 8, on), shop.settings.currency, notes
        )
    )
    return PROBLEMS if problems else DONE


def _fit_circuit(call: argparse.Namespace) -> int:
    from pricing.decisions.fit_report import fit_report, fits_of

    shop = _read(call.book)
    if shop.circuits.empty:
        raise BadCall("There is no usable row in Circuits, so there is nothing to hold a type against.")
    try:
        fits = fits_of(shop.circuits, shop.register, call.circuit, call.type, call.position)
    except KeyError as error:
        raise BadCall(error.args[0]) from error
    own = [problem for problem in shop.problems.itertuples(index=False)
           if problem.sheet in set(shop.circuits["sheet"])]
    own += [problem for fit in fits for problem in fit.problems.itertuples(index=False)]
    own = list(dict.fromkeys((f" row {problem.row:g}" if problem.row == problem.row and problem.row else "",
                              problem.column, problem.message, problem.remedy) for problem in own))
    for row, column, message, remedy in own:
        print(f"Circuits{row}, {column}: {message} {remedy}", file=sys.stderr)
    print(fit_report(fits))
    return PROBLEMS if own else DONE


def _backtest(call: argparse.Namespace) -> int:
    from pricing.price_model.record_report import record_report

    if call.folds < 1:
        raise BadCall("--folds 0: at least one stretch of time is needed.")
    shop = _on_one_scale(_read(call.book))
    _must_have_sales(shop)
    record = _record(shop, call.folds)
    print(record_report(record))
    return PROBLEMS if record.scored.empty else DONE


def _export(call: argparse.Namespace) -> int:
    path = _output(call, f"{call.book.stem} asks.csv")
    if path.exists() and not call.overwrite:
        raise FileExistsError(17, "exists", str(path))
    shop, _, plan = _priced(call.book)
    changed = plan[plan["action"].isin(["raise", "lower"])]
    table = changed[["sku", "type", "ask", "list_price", "reason"]].set_axis(
        ["sku", "type", "old ask", "new ask", "reason"], axis=1
    )
    guarded = _write_csv(path, table, call.overwrite)
    print(
        f"Wrote {path}: {len(table):,} asks to change, prices in "
        f"{shop.settings.currency or 'the shop’s currency'}."
    )
    if guarded:
        print(
            f"{guarded:,} texts began with = + - or @ and were given an apostrophe in front, so that a "
            "spreadsheet does not run them as formulas."
        )
    return DONE


def _connect(call: argparse.Namespace) -> int:
    from pricing.spreadsheet.calc.connect import NotConnected, connect_calc, disconnect_calc
    from pricing.spreadsheet.cell_functions.example_workbook import write_example_workbook

    try:
        print(disconnect_calc() if call.remove else connect_calc())
    except NotConnected as error:
        raise BadCall(str(error)) from error
    if call.example and not call.remove:
        try:
            print(f"Wrote {write_example_workbook(call.example)}: open it in LibreOffice Calc.")
        except ValueError as error:
            raise BadCall(str(error)) from error
    return DONE


def _priced(path: Path) -> tuple[Any, Any, Any]:
    """Shop, fitted model and price plan of the workbook or folder at `path`."""
    from pricing.decisions.list_price import plan_list_prices

    shop = _on_one_scale(_read(path))
    model = _fit(shop)
    if shop.stock.empty:
        print("There is no usable row in Stock, so the price list stays empty.", file=sys.stderr)
    with _step(f"pricing {len(shop.stock):,} stock rows"):
        plan = plan_list_prices(model, shop.stock, shop)
    return shop, model, plan


def _read(path: Path) -> Any:
    from pricing.shop_tables import read_shop

    with _step(f"reading {path.name}"):
        return read_shop(path)


def _on_one_scale(shop: Any) -> Any:
    """The shop with every reading on its main tester's scale."""
    from pricing.price_model import with_readings

    return with_readings(shop)


def _fit(shop: Any) -> Any:
    from pricing.price_model import fit_price_model

    _must_have_sales(shop)
    with _step(f"learning prices from {len(shop.sales):,} sales"):
        return fit_price_model(shop.sales, settings=shop.settings, register=shop.register)


def _must_have_sales(shop: Any) -> None:
    if shop.sales.empty:
        from pricing.spreadsheet.summary import sales_used

        raise NothingToPrice(
            f"There is no usable row in Sales, so nothing can be priced. {sales_used(shop).sentence} "
            f'Run: python -m pricing check "{shop.path}"'
        )


def _record(shop: Any, folds: int | None = None) -> Any:
    """How close the prices came on past sales; None where that was not asked for and would take long."""
    from pricing.spreadsheet.record_section import record_for_refresh

    with _step("pricing past sales again, to see how close the prices come"):
        try:
            return record_for_refresh(shop, folds)
        except ValueError as error:  # all of them came back
            raise NothingToPrice(str(error)) from error


def _tell(plan: Any, shop: Any, record: Any) -> None:
    from pricing.spreadsheet.summary import plan_in_words

    print(plan_in_words(plan, shop))
    if record is not None:
        print(record.headline)


def _whole_number(text: str) -> int:
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 0 on")
    return int(text)


def demo_data_folder() -> Path:
    """The demo shop's tables: inside the installed package, or beside it in a clone. BadCall when neither
    is there.
    """
    package = Path(__file__).parent
    for folder in (package / "demo_data", package.parent / "demo_data"):
        if (folder / "sales.csv").is_file():
            return folder
    raise BadCall("The demo data is missing from this installation; install the package again.")


def _xlsx(path: Path) -> Path:
    if path.suffix.lower() != ".xlsx":
        raise BadCall(f"{path}: a workbook's name ends in .xlsx.")
    return path


def _output(call: argparse.Namespace, name: str) -> Path:
    if call.out is not None:
        return call.out
    return call.book.with_name(name)


def _must_be_free(call: argparse.Namespace) -> None:
    if call.out is None or not call.out.exists():
        return
    if call.book.exists() and call.out.samefile(call.book):
        raise BadCall("The new workbook cannot have the name of BOOK itself: a refresh leaves BOOK as it is.")
    if not call.overwrite:
        raise FileExistsError(17, "exists", str(call.out))


def _write_csv(path: Path, table: Any, overwrite: bool) -> int:
    """Write `table` as CSV with text that could run as a formula held down by an apostrophe; how many cells
    were.
    """
    guarded = 0

    def guard(value: Any) -> Any:
        nonlocal guarded
        if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
            guarded += 1
            return "'" + value
        return value

    if path.exists() and not overwrite:
        raise FileExistsError(17, "exists", str(path))
    safe = table.apply(lambda column: column.map(guard))
    safe.to_csv(path, index=False, encoding="utf-8-sig", float_format="%.2f")
    return guarded


@contextmanager
def _step(words: str) -> Iterator[None]:
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
