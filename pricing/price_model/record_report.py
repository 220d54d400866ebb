"""The price model's record as text for the command line."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from pricing.price_model.record import METHODS, RANGES

if TYPE_CHECKING:
    from pricing.price_model.backtest import Backtest

WIDTH = 100
SHORT = dict(zip(METHODS, ("model", "last sale", "median", "least squares")))


def record_report(record: Backtest) -> str:
    """Words first, then the figures: by method, by kind of piece, of the ranges, of the stretches."""
    lines = [record.headline, ""]
    for words in record.words:
        kept = words.replace(" %", "\xa0%")  # no line begins with a per cent sign
        lines += [line.replace("\xa0", " ")
                  for line in textwrap.wrap(kept, WIDTH, initial_indent="- ", subsequent_indent="  ")]
    if record.scored.empty:
        return "\n".join(lines)
    for part in (_methods(record), _kinds(record), _ranges(record), _stretches(record)):
        lines += ["", *part]
    return "\n".join(lines)


def _methods(record: Backtest) -> list[str]:
    return ["How far prices named lay from prices paid", *_table(
        ("price named by", "sales", "half within", "9 in 10 within", "mostly by"),
        ((row.method, f"{row.n:,}", _percent(row.median_off_pct), _percent(row.p90_off_pct), f"{row.bias_pct:+.0f} %")
         for row in record.by_method.itertuples()),
    )]


def _kinds(record: Backtest) -> list[str]:
    typical = record.by_richness.pivot(index="richness", columns="method", values="median_off_pct")
    counts = record.by_richness.drop_duplicates("richness").set_index("richness")["n"]
    return ["Half within, by what the shop had sold before", *_table(
        ("sold before", "sales", *(SHORT[method] for method in METHODS)),
        ((kind, f"{counts[kind]:,}", *(_percent(typical.at[kind, method]) for method in METHODS))
         for kind in counts.index),
    )]


def _ranges(record: Backtest) -> list[str]:
    by_kind = record.coverage.set_index(["richness", "coverage"])
    figures = [(coverage, figure) for coverage in RANGES for figure in ("inside_pct", "median_width_pct")]
    return ["The model's ranges: share of the sales inside, and middle width in percent of the price", *_table(
        ("sold before", "sales", *(f"{100 * coverage:.0f} % {word}" for coverage in RANGES
                                   for word in ("inside", "width"))),
        ((kind, f"{by_kind.at[(kind, RANGES[0]), 'n']:,}",
          *(_percent(by_kind.at[(kind, coverage), figure]) for coverage, figure in figures))
         for kind in by_kind.index.unique("richness")),
    )]


def _stretches(record: Backtest) -> list[str]:
    return ["Stretches of time", *_table(
        ("stretch", "sales before", "priced again"),
        ((f"{row.first_day:%Y-%m-%d} to {row.last_day:%Y-%m-%d}", f"{row.n_past:,}", f"{row.n_scored:,}")
         for row in record.folds.itertuples()),
    )]


def _percent(value: float) -> str:
    return f"{value:.0f} %"


def _table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Lines of a table: the first column to the left, the others to the right."""
    table = [headings, *rows]
    widths = [max(len(row[place]) for row in table) for place in range(len(headings))]
    return [
        "  " + "  ".join([row[0].ljust(widths[0]), *(text.rjust(width) for text, width in zip(row[1:], widths[1:]))])
        for row in table
    ]
