"""The command that takes the shop's real files over into its workbook."""

from __future__ import annotations

import argparse
from textwrap import fill
from typing import Any

from pricing.command_line.steps import DONE, PROBLEMS, BadCall, must_be_free, step, write_csv
from pricing.problems import counted

_WIDTH = 110


def import_files(call: argparse.Namespace) -> int:
    """Tell what is understood of the files; then, but for --dry-run, append what is new and list the problems."""
    from pricing.shop_tables.incoming import read_incoming
    from pricing.shop_tables.placing import NotPlaced

    if not call.book.exists():
        raise BadCall(f'{call.book}: there is no such workbook. Make one first: python -m pricing new "{call.book}"')
    for path in call.files:
        if path.exists() and path.samefile(call.book):
            raise BadCall(f"{path} is BOOK itself, so all of it is there already.")
    must_be_free(call)
    with step(f"reading {', '.join(path.name for path in call.files)}"):
        try:
            incoming = read_incoming(call.files, call.book, table=call.table or "",
                                     date_order=(call.dates or "").partition("-")[0])
        except NotPlaced as error:
            raise BadCall(str(error)) from error
    print(*map(_folded, incoming.words), sep="\n")
    print(_totals(incoming))
    if call.dry_run:
        print("Nothing was written (--dry-run).")
    else:
        _write(call, incoming)
    return DONE if incoming.problems.empty else PROBLEMS


def _folded(line: str) -> str:
    """A long line of the summary, folded under its own indent."""
    indent = " " * (len(line) - len(line.lstrip()))
    return fill(line.strip(), _WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  ")


def _totals(incoming: Any) -> str:
    from pricing.shop_tables.incoming_words import ALREADY, NEW, ON_PROBLEMS

    new, already, left = map(incoming.count, (NEW, ALREADY, ON_PROBLEMS))
    return (f"In all {counted(len(incoming.outcomes), 'row')}: {new:,} new, {already:,} already there, "
            f"{left:,} on Problems.")


def _write(call: argparse.Namespace, incoming: Any) -> None:
    """The problems first, so that no row is taken over without them; they go again when the rows cannot be written."""
    from pricing.shop_tables import ShopFileError
    from pricing.spreadsheet.appending import append_to_workbook
    from pricing.spreadsheet.package.book import NotKept
    from pricing.spreadsheet.workbook import free_name

    listed = None
    if not incoming.problems.empty:
        listed = free_name(call.book.with_name(f"{call.book.stem} import problems.csv"))
        write_csv(listed, incoming.problems, overwrite=False)
    said: list[str] = []
    if incoming.rows:
        try:
            with step(f"writing {(call.out or call.book).name}"):
                path = append_to_workbook(call.book, incoming.rows, out=call.out, tell=said.append)
        except (NotKept, ValueError, ShopFileError, OSError) as error:
            if listed:
                listed.unlink()
            raise BadCall(f"Nothing was written, {call.book} is as it was: {_reason(error)}") from error
        added = ", ".join(f"{counted(len(rows), 'row')} to {name}" for name, rows in incoming.rows.items())
        print(f"Wrote {path}: {added}. Everything else in it is as it was.", *said, sep="\n")
    else:
        print(f"There is nothing new for {call.book}, so it was not written.")
    if listed:
        print(f"{counted(len(incoming.problems), 'problem is', 'problems are')} listed in {listed}, with the text of "
              "every row.")


def _reason(error: Exception) -> str:
    if isinstance(error, OSError):
        return f"{error.strerror or error}{f' ({error.filename})' if error.filename else ''}."
    return str(error)
