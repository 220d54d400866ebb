"""Commands that tell of lots, sets, margins and pieces, and change nothing."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from textwrap import fill
from typing import Any

from pricing.command_line.steps import (
    DONE,
    PROBLEMS,
    BadCall,
    NothingToPrice,
    date_of,
    deals_of,
    fit_model,
    may_write,
    must_have_sales,
    on_one_scale,
    read,
    step,
    write_csv,
)
from pricing.command_line.text_table import text_table
from pricing.problems import counted


def lots(call: argparse.Namespace) -> int:
    from pricing.decisions.shop_lots import review_lots
    from pricing.spreadsheet.lots_sheet import BIDS, LOTS

    shop = on_one_scale(read(call.book))
    if shop.lots.empty and shop.offers.empty:
        raise BadCall("There is no usable row in Lots or Offers, so there is nothing to tell of lots.")
    review = review_lots(shop, fit_model(shop))
    print(*review.words, _amounts(shop), sep="\n")
    _part("What each lot has brought back, newest first:", review.lots, LOTS,
          "lot bought_on tubes paid_in_all brought back_pct left left_value fallout_pct words")
    _part("Offers of four tubes or more:", review.bids, BIDS, "offer seller tubes asked low bid high words")
    return DONE


def deals(call: argparse.Namespace) -> int:
    from pricing.spreadsheet.deals_sheet import COLUMNS, tables_of

    shop = on_one_scale(read(call.book))
    if shop.offers.empty and shop.stock.empty:
        raise BadCall("There is no usable row in Offers or Stock, so there is no ask to compare.")
    found = deals_of(shop, fit_model(shop))
    offers, own, hidden = tables_of(found)
    print(*found.words, _amounts(shop), sep="\n")
    shown = "mark chance_pct code type piece sets cost fair_price needed gain doubts"
    _part("Offers, the likeliest to pay first:", offers, COLUMNS, shown)
    _part(f"Your own asks below the fair price ({hidden:,} on hand at or above it left out):", own, COLUMNS, shown)
    for one in (*offers[offers["marked"]].itertuples(), *own[own["marked"]].itertuples()):
        print(fill(f"{one.code}: {one.why}.", 110, initial_indent="  - ", subsequent_indent="    "))
    return DONE


def sets(call: argparse.Namespace) -> int:
    from pricing.decisions.matched_sets import match_stock
    from pricing.spreadsheet.sets_sheet import LEFT_OUT, SETS

    shop = on_one_scale(read(call.book))
    for name in ("Stock", "Readings"):
        if getattr(shop, name.lower()).empty:
            raise BadCall(f"There is no usable row in {name}, so there is no tube to match.")
    model = fit_model(shop)
    with step("sorting tubes into sets"):
        matched = match_stock(shop, model)
    settings = shop.settings
    print(matched.words, f"Plate currents of a set lie within {settings.match_plate_current_pct:g} % of their mean, gm "
          f"within {settings.match_gm_pct:g} % (Settings), read on one tester at one plate voltage.", _amounts(shop),
          "It says nothing of bias or of an amplifier.", sep="\n")
    made = matched.sets[matched.sets["size"] > 1]
    _part("Sets to make (every other measured tube is sold as a single):", made, SETS,
          "type maker grade conditions kind price plate_current_low plate_current_high plate_current_spread_pct "
          "gm_spread_pct skus")
    _part("Measured, and in no set:", matched.left_out, LEFT_OUT, "sku row reason")
    return DONE


def margins(call: argparse.Namespace) -> int:
    from pricing.decisions.margins import review_shop
    from pricing.spreadsheet.margins_sheet import BRIDGE, COLUMNS

    dates = {f"date_{side}": date_of(f"--{side}", getattr(call, f"date_{side}")) for side in ("from", "to")}
    shop = read(call.book)
    must_have_sales(shop)
    try:
        review = review_shop(shop, by=call.by, **dates)
    except ValueError as error:  # the period ends before it begins, or has no sale
        raise BadCall(f"{str(error)[:1].upper()}{str(error)[1:]}.") from error
    print(*review.words, _amounts(shop), sep="\n")
    named = [_named(call.by, column) for column in COLUMNS]
    table = review.table.rename_axis("group").reset_index()
    _part(f"By {call.by}, {review.date_from:%Y-%m-%d} to {review.date_to:%Y-%m-%d}:", table, named,
          "group tubes sales gross gross_pct net net_pct net_pct_low net_pct_high on_hand on_hand_cost months_of_cover "
          "gmroi action")
    _part(f"Sales against {review.before_from:%Y-%m-%d} to {review.before_to:%Y-%m-%d}:",
          review.bridge.rename_axis("group").reset_index(), [_named(call.by, column) for column in BRIDGE],
          "group sales_before sales_after quantity mix price change")
    return DONE


def describe(call: argparse.Namespace) -> int:
    from pricing.decisions.listing_facts import listing_facts

    if bool(call.sku) == bool(call.all):
        raise BadCall("Name either the codes of the pieces to describe, or --all FILE for every piece of the stock.")
    template, html, name = None, None, "Settings"
    if call.template:
        template, name = _text(call.template), call.template.name
        html = call.template.suffix.lower() in (".html", ".htm")
        if not template.strip():
            raise BadCall(f"{call.template} is empty; write words with places such as {{grade}} into it.")
    if call.all:
        may_write(call.all, call.overwrite)
    shop = read(call.book)
    if shop.stock.empty:
        raise NothingToPrice("There is no usable row in Stock, so there is no piece to describe.")
    with step("gathering what the books say"):
        facts = listing_facts(shop, None if call.all else call.sku, template, html=html, name=name)
    for problem in facts.problems.itertuples():
        print(f"{problem.sheet}: {problem.message} {problem.remedy}", file=sys.stderr)
    if call.all:
        guarded = write_csv(call.all, facts.table[["sku", "type", "facts"]], call.overwrite)
        print(f"Wrote {call.all}: {counted(len(facts.table), 'piece')}.")
        if guarded:
            print(f"{counted(guarded, 'text')} began with = + - or @ and got an apostrophe in front, so that a "
                  "spreadsheet does not run it as a formula.")
    else:
        print("\n\n".join(facts.table["facts"]))
    return PROBLEMS if len(facts.problems) else DONE


def _part(title: str, frame: Any, columns: Any, sources: str) -> None:
    by_source = {column.source: column for column in columns}
    print(f"\n{title}\n{text_table(frame, [by_source[source] for source in sources.split()])}")


def _named(by: str, column: Any) -> Any:
    """The column, the group's under its own name."""
    from dataclasses import replace

    return replace(column, heading=by) if column.source == "group" else column


def _amounts(shop: Any) -> str:
    return f"Amounts in {shop.settings.currency or 'the currency of the shop'}."


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadCall(f"{path} is no text in UTF-8; save the template as plain text.") from error
