"""What a margin review says: restock, mark down, look or keep, each with its reason, and the period in sentences."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pricing.decisions.margin_lines import ESTIMATED
from pricing.decisions.markdown import markdown
from pricing.decisions.net_proceeds import money
from pricing.decisions.price_bridge import TOTAL
from pricing.problems import counted

ACTIONS = ("restock", "mark down", "look", "keep")
# Common practice, no source: what is short, what is too much, how much of it must be old, sales that show a pace.
RESTOCK_MONTHS, MARK_DOWN_MONTHS, AGED_PCT, FEWEST_TUBES = 6.0, 24.0, 33.0, 6


def action_of(name: str, row: dict[str, Any], settings: Any, months: float) -> tuple[str, str]:
    """(one of ACTIONS, its reason) for one group of a review; blank for the row of all."""
    if name == TOTAL:
        return "", ""
    cover, sold, on_hand = row["months_of_cover"], row["tubes"], row["on_hand"]
    net, known = row["net"], row["net"] == row["net"]
    if known and net < 0 and sold:
        return "look", f"its sales lost {-net:,.2f} after cost, fees, postage and packing"
    if known and net < 0:
        return "look", f"nothing sold for good, and what came back lost {-net:,.2f} in fees, postage and packing"
    if cover != cover:
        return "keep", ""
    stands = cover_in_words(cover, on_hand, sold, months)
    if cover > MARK_DOWN_MONTHS and row["aged_pct"] >= AGED_PCT:
        return "mark down", f"{stands}; {row['aged_pct']:.0f} % of it over 2 years old"
    sure = row["net_pct_low"]
    if cover < RESTOCK_MONTHS and sold >= FEWEST_TUBES and (sure > 0 if sure == sure else known and net > 0):
        kept = f"its sales left {row['net_pct']:.0f} % net"
        return "restock", f"{stands}; {kept}" if known else stands
    return "keep", stands


def cut_in_words(held: pd.DataFrame, terms: Any, cut_pct: float) -> str:
    """For example: 25 % off 48.00 a tube leaves 10.83 of 21.24: pays from 1.96 times the sales. Mean of what is on hand
    and asked for, at the terms of the usual channel; "" without asks."""
    asked = held[held["ask"] > 0]
    if asked.empty or not cut_pct:
        return ""
    price = money((asked["ask"] / asked["set_size"] * asked["tubes"]).sum() / asked["tubes"].sum())
    cost = money(asked["cost"].sum() / asked["tubes"].sum()) if asked["cost"].notna().all() else money(0)
    found = markdown(price, money(price * (100 - money(cut_pct)) / 100), cost, terms)
    off = f"{cut_pct:g} % off {price:,.2f} a tube leaves {found.after:,.2f} of {found.before:,.2f}"
    if found.volume_times is None or found.before <= 0:
        return off
    return f"{off}: pays from {found.volume_times:.2f} times the sales"


def cover_in_words(cover: float, on_hand: float, sold: float, months: float) -> str:
    """For example: 12 left: 48 months at the pace of 3 in 12 months."""
    period = counted(round(months), "month")
    if on_hand <= 0:
        return f"none left, {sold:,.0f} sold in {period}"
    if not np.isfinite(cover):
        return f"{on_hand:,.0f} left, none sold in {period}"
    return f"{on_hand:,.0f} left: {counted(round(cover), 'month')} at the pace of {sold:,.0f} in {period}"


def review_words(table: pd.DataFrame, lines: pd.DataFrame, start: Any, end: Any, settings: Any, bridge: str
                 ) -> tuple[str, ...]:
    """The period in a few sentences: the result, what changed, and what the figures rest on."""
    total = table.loc[TOTAL]
    unit = f" {settings.currency}" if settings.currency else ""
    words = []
    if total["gross"] == total["gross"] and total["gross_pct"] != total["gross_pct"]:
        words.append(f"{start:%Y-%m-%d} to {end:%Y-%m-%d}: nothing sold for good; what came back lost "
                     f"{-total['net']:,.2f}{unit} in fees, postage and packing.")
    elif total["gross"] == total["gross"]:
        net_range = "" if total["net_pct_low"] != total["net_pct_low"] else (
            f" ({total['net_pct_low']:.0f}-{total['net_pct_high']:.0f})")
        words.append(
            f"{start:%Y-%m-%d} to {end:%Y-%m-%d}: sales {total['sales']:,.2f}{unit}, gross margin "
            f"{total['gross']:,.2f} ({total['gross_pct']:.0f} % of sales net of tax), after fees, postage and packing "
            f"{total['net']:,.2f}, {total['net_pct']:.0f} %{net_range}.")
    else:
        words.append(f"{start:%Y-%m-%d} to {end:%Y-%m-%d}: sales {total['sales']:,.2f}{unit}; no cost of them "
                     "is noted in Sales or, under their sku, in Stock, so no margin can be told.")
    words.append(bridge)
    notes = []
    estimated = lines.loc[(lines["cost_basis"] == ESTIMATED) & ~lines["returned"], "sales"].sum()
    if estimated > 0:
        notes.append(f"costs of {100 * estimated / total['sales']:.0f} % of sales are not noted and were estimated at "
                     "the family's usual share of the price")
    bare = lines.loc[~lines["fees_known"] & ~lines["returned"], "sales"].sum()
    if bare > 0:
        notes.append(f"fees of {100 * bare / total['sales']:.0f} % of sales are by Settings")
    drew = lines.loc[lines["from_stock"] & ~lines["returned"], "sales"].sum()
    if 0 < drew < 0.995 * total["sales"]:
        share = 100 * drew / total["sales"]
        notes.append(f"GMROI and turnover are of the {share:.0f} % of sales whose sku Stock lists")
    if lines["returned"].any():
        notes.append(f"not counted as sales: {counted(int(lines['returned'].sum()), 'returned line')} "
                     f"({total['refunded']:,.2f}); the fees, postage and packing lost on them are in the net margin")
    if notes:
        text = "; ".join(notes)
        words.append(f"{text[0].upper()}{text[1:]}.")
    return tuple(words)
