"""Commands that help to choose a piece, and change nothing."""

from __future__ import annotations

import argparse
import sys
from textwrap import fill

from pricing.command_line.steps import DONE, PROBLEMS, BadCall, fit_model, on_one_scale, read, step
from pricing.command_line.text_table import text_table

_WIDTH = 110


def alternatives(call: argparse.Namespace) -> int:
    from pricing.decisions.alternatives import find_alternatives
    from pricing.spreadsheet.tables import ResultColumn

    shop = on_one_scale(read(call.book))
    if call.type is None and call.circuit is None:
        raise BadCall("Name the type that is wanted with --type, or a position of Circuits with --circuit.")
    given = {"type": call.type, "maker": call.maker, "era": call.era, "grade": call.grade, "set_size": call.set_size,
             "ask": call.price}
    item = {name: value for name, value in given.items() if value is not None}
    model = fit_model(shop)
    with step("looking for something cheaper"):
        found = find_alternatives(model, item if call.type else None, shop, call.circuit)
    for problem in found.problems.itertuples():
        print(f"{problem.column}: {problem.message} {problem.remedy}", file=sys.stderr)
    print("\n".join(found.words))
    shown = found.candidates.head(call.count)
    columns = [ResultColumn(*one) for one in (
        ("type", "type"), ("piece", "piece"), ("code", "code"), ("where", "where"), ("each", "a tube", "money"),
        ("saving_pct", "less", "percent"), ("kind", "how it goes in"), ("electrically", "electrically"),
        ("verdict", "in the circuit"))]
    print(f"\n{text_table(shown, columns)}")
    if len(found.candidates) > len(shown):
        print(f"  ... and {len(found.candidates) - len(shown):,} more; --count shows them")
    print("\nWhat to answer:")
    for answer in shown["answer"]:
        print(fill(answer, _WIDTH, initial_indent="  - ", subsequent_indent="    "))
    print()
    for caution in found.cautions:
        print(fill(caution, _WIDTH))
    return PROBLEMS if len(found.problems) else DONE
