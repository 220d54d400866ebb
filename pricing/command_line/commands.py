"""What every command does; each returns its exit status."""

from __future__ import annotations

import argparse
import sys

from pricing.command_line.steps import (
    DONE,
    PROBLEMS,
    BadCall,
    date_of,
    deals_of,
    demo_data_folder,
    fit_model,
    may_write,
    must_be_free,
    must_have_sales,
    on_one_scale,
    output_file,
    priced,
    read,
    record_of,
    step,
    tell,
    with_problems_of_notes,
    workbook_name,
    write_csv,
)
from pricing.problems import counted


def demo(call: argparse.Namespace) -> int:
    from pricing.spreadsheet import build_workbook
    from pricing.spreadsheet.workbook import free_name

    if call.out.exists() and not call.out.is_dir():
        raise BadCall(f"{call.out} is a file; --out names a folder.")
    call.out.mkdir(parents=True, exist_ok=True)
    shop, model, plan = priced(demo_data_folder())
    record, deals = record_of(shop), deals_of(shop, model)
    path = free_name(call.out / "demo shop.xlsx")
    with step(f"writing {path.name}"):
        build_workbook(path, shop, model, plan=plan, record=record, deals=deals, invented=True,
                       live_cells=call.live_cells)
    print(f"Wrote {path} (an invented shop: every sale, maker and buyer in it is made up).")
    tell(plan, shop, record, deals)
    return DONE


def new(call: argparse.Namespace) -> int:
    from pricing.spreadsheet import build_workbook

    may_write(workbook_name(call.file), call.overwrite)
    build_workbook(call.file, overwrite=call.overwrite)
    print(
        f"Wrote {call.file}. Fill in Sales (date, type, price are needed) and Stock, then run\n"
        f'  python -m pricing refresh "{call.file}"'
    )
    return DONE


def check(call: argparse.Namespace) -> int:
    from pricing.shop_tables import check_report

    if call.out is not None:
        may_write(call.out, call.overwrite)
    shop = with_problems_of_notes(read(call.book))
    print(check_report(shop))
    if shop.problems.empty:
        return DONE
    path = output_file(call, f"{call.book.stem} problems.csv")
    write_csv(path, shop.problems, call.overwrite)
    print(f"{counted(len(shop.problems), 'problem is', 'problems are')} listed in {path}.")
    return PROBLEMS


def refresh(call: argparse.Namespace) -> int:
    from pricing.spreadsheet import refresh_workbook

    must_be_free(call)
    shop, model, plan = priced(call.book)
    record, deals = record_of(shop, call.folds), deals_of(shop, model)
    said: list[str] = []
    with step(f"writing {(call.out or call.book).name}"):
        try:
            path = refresh_workbook(
                call.book, call.out, shop=shop, model=model, plan=plan, record=record, deals=deals,
                overwrite=call.overwrite, restore=call.restore_sheets, tell=said.append,
            )
        except OSError as error:
            where = f" ({error.filename})" if error.filename else ""
            raise BadCall(f"The results could not be written: {error.strerror or error}{where}. {call.book} is as it "
                          "was. Free some space, or choose a folder you may write to with --out.") from error
    if path == call.book:
        print(f"Refreshed {path}: its result sheets are new, everything else in it is as it was.")
    else:
        print(f"Wrote {path}. {call.book} is unchanged.")
    print(*said, sep="\n")
    tell(plan, shop, record, deals)
    return DONE if path in (call.book, call.out) or call.book.suffix.casefold() not in (".xlsx", ".xlsm") else PROBLEMS


def quote(call: argparse.Namespace) -> int:
    import pandas as pd

    shop = on_one_scale(read(call.book))
    model = fit_model(shop)
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
    on = date_of("--on", call.on)
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


def fit(call: argparse.Namespace) -> int:
    from pricing.decisions.fit_report import fit_report, fits_of

    shop = read(call.book)
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


def backtest(call: argparse.Namespace) -> int:
    from pricing.price_model.record_report import record_report

    if call.folds < 1:
        raise BadCall("--folds 0: at least one stretch of time is needed.")
    shop = on_one_scale(read(call.book))
    must_have_sales(shop)
    record = record_of(shop, call.folds)
    print(record_report(record))
    return PROBLEMS if record.scored.empty else DONE


def export(call: argparse.Namespace) -> int:
    path = output_file(call, f"{call.book.stem} asks.csv")
    may_write(path, call.overwrite)
    shop, _, plan = priced(call.book)
    changed = plan[plan["action"].isin(["raise", "lower"])]
    table = changed[["sku", "type", "ask", "list_price", "reason"]].set_axis(
        ["sku", "type", "old ask", "new ask", "reason"], axis=1
    )
    guarded = write_csv(path, table, call.overwrite)
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


def connect(call: argparse.Namespace) -> int:
    if call.program == "excel":
        return _connect_excel(call)
    if call.folder is not None:
        raise BadCall(f"{call.folder}: connect calc installs for you and writes no folder; leave the name out.")
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


def _connect_excel(call: argparse.Namespace) -> int:
    from pricing.spreadsheet.excel.connect import connect_excel

    if call.remove or call.example:
        raise BadCall("connect excel installs nothing (delete its folder to take it away), and its workbook has the "
                      "examples: --remove and --example go with connect calc.")
    try:
        print(connect_excel(call.folder or "tube prices in Excel"))
    except ValueError as error:
        raise BadCall(str(error)) from error
    return DONE
