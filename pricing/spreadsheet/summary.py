"""What a refresh found, in the owner's words: for the top of a sheet and the end of a command."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pricing.problems import counted

HABIT = (
    "Fair prices are learnt from the shop's own asks that sold and can teach back a habit; days listed and unsold asks "
    "stand beside them. An auction's price is the market's, not an ask."
)


@dataclass(frozen=True)
class PlanSummary:
    """Counts and money of a price plan. `biggest` are the five raises and cuts with most money at stake."""

    counts: dict[str, int]
    raise_by: float
    lower_by: float
    currency: str
    biggest: pd.DataFrame

    @property
    def headline(self) -> str:
        """One line: how many to raise, lower, keep, look at and list, and the money at stake."""
        count = self.counts
        parts = [
            f"{count.get('raise', 0):,} to raise ({self.raise_by:+,.2f})",
            f"{count.get('lower', 0):,} to lower ({self.lower_by:+,.2f})",
            f"{count.get('keep', 0):,} to keep",
            f"{count.get('look', 0):,} to look at yourself",
        ]
        if count.get("hold for a set"):
            parts.append(f"{count['hold for a set']:,} to hold for a set")
        if count.get("list"):
            parts.append(f"{count['list']:,} without an ask yet")
        if count.get("sold out"):
            parts.append(f"{count['sold out']:,} sold out")
        return f"{'; '.join(parts)}. All prices in {self.currency or 'the currency of the shop'}."


def summarise_plan(plan: pd.DataFrame, currency: str) -> PlanSummary:
    """Summary of a plan_list_prices frame."""
    by_action = plan.groupby("action")["difference"].sum()
    moves = plan[plan["action"].isin(["raise", "lower"])]
    biggest = moves.loc[moves["difference"].abs().sort_values(ascending=False, kind="stable").index[:5]]
    return PlanSummary(
        plan["action"].value_counts().to_dict(),
        float(by_action.get("raise", 0.0)),
        float(by_action.get("lower", 0.0)),
        currency,
        biggest,
    )


@dataclass(frozen=True)
class SalesUsed:
    """Sale rows used and left out; `causes` counts rows left out by cause, in words."""

    rows_in: int
    used: int
    causes: dict[str, int]
    returned: int
    sheet_rows_left_out: dict[str, int]

    @property
    def sentence(self) -> str:
        """For example: 6,012 sales read: 5,950 used, 62 left out (30 with no readable date, 32 with no
        price).
        """
        left_out = self.rows_in - self.used
        text = f"{self.rows_in:,} sales read: {self.used:,} used, {left_out:,} left out"
        if left_out:
            text += f" ({', '.join(f'{count:,} {cause}' for cause, count in self.causes.items())})"
        return text + "."

    @property
    def returned_sentence(self) -> str:
        """What became of sales that came back; "" when there are none."""
        return f"{self.returned:,} of them came back and do not teach the prices." if self.returned else ""


_CAUSES = {
    "date_missing": "without a date",
    "date_unreadable": "with no readable date",
    "date_in_future": "dated in the future",
    "type_missing": "without a type",
    "price_missing": "without a price",
    "price_unreadable": "with no readable price",
    "price_not_positive": "with a price not above zero",
    "no_rate": "in a currency without a rate",
    "row_blank": "blank",
}


def sales_used(shop: Any) -> SalesUsed:
    """How many sale rows were used and why the others were not; a row with two causes counts under its
    first.
    """
    problems = shop.problems
    left_out = problems[problems["effect"] == "row left out"].drop_duplicates(["sheet", "row"])
    by_sheet = left_out.groupby("sheet").size().to_dict()
    of_sales = left_out[left_out["sheet"] == sales_sheet(shop)]
    causes: dict[str, int] = {}
    for code, count in of_sales["code"].value_counts().items():
        words = _CAUSES.get(code, code.replace("_", " "))
        causes[words] = causes.get(words, 0) + int(count)
    returned = 0 if shop.settings.count_returned_sales else int(shop.sales["returned_on"].notna().sum())
    return SalesUsed(len(shop.sales) + len(of_sales), len(shop.sales), causes, returned, by_sheet)


def sales_sheet(shop: Any) -> str:
    """Name of the sheet the sales stand on, as the owner spells it."""
    return str(shop.sales["sheet"].iloc[0]) if len(shop.sales) and "sheet" in shop.sales else "Sales"


def sells_at_own_asks(sales: pd.DataFrame) -> bool:
    """Whether most sales were at asking prices (not by auction), so that prices may teach back a habit."""
    return len(sales) > 0 and (sales["channel"] != "auction").mean() > 0.5


def plan_in_words(plan: pd.DataFrame, shop: Any) -> str:
    """What matters after a refresh, for the end of a command: counts, money, the five biggest, sales used."""
    summary = summarise_plan(plan, shop.settings.currency)
    lines = [summary.headline]
    if len(summary.biggest):
        lines.append("Most money at stake:")
        for row in summary.biggest.to_dict("records"):
            sets = f" x {row['on_hand']}" if row["on_hand"] > 1 else ""
            lines.append(
                f"  {row['action']} {row['sku']} {row['type']} ({row['piece']}): {row['ask']:,.2f} -> "
                f"{row['list_price']:,.2f}{sets}, {row['difference']:+,.2f}"
            )
    used = sales_used(shop)
    lines.append(f"{used.sentence} {used.returned_sentence}".strip())
    others = {sheet: count for sheet, count in used.sheet_rows_left_out.items() if sheet != sales_sheet(shop)}
    if others:
        lines.append(
            f"Rows left out elsewhere: {', '.join(f'{name} {count:,}' for name, count in others.items())}."
        )
    if len(shop.problems):
        lines.append(
            f"{counted(len(shop.problems), 'problem is', 'problems are')} listed on the Problems sheet, each with what "
            "would mend it."
        )
    if sells_at_own_asks(shop.sales):
        lines += [HABIT, *filter(None, [plan.attrs.get("unsold_asks")])]
    return "\n".join(lines)


def quote_in_words(
    quote: Any, reasons: pd.DataFrame, comparables: pd.DataFrame, currency: str, notes: Sequence[str] = ()
) -> str:
    """Price, range, build-up and past sales of one piece, and `notes` after them, for the command line."""
    lines = [
        f"Fair price {quote['fair_price']:,.2f} {currency}; one sale in five falls outside "
        f"{quote['low']:,.2f} to {quote['high']:,.2f}.",
        f"Sales behind it: {_sales_behind(quote['n_sales'])}. {quote['basis']}",
        "",
        "How the price builds up:",
    ]
    for row in reasons.to_dict("records"):
        lines.append(
            f"  {row['factor']:<24} {str(row['level']):<42} x {row['multiplier']:8.3f}  "
            f"{row['price_after']:10,.2f}"
        )
    if len(comparables):
        lines += ["", "Past sales that weigh most:", _indented(comparables)]
    return "\n".join([*lines, "", *notes, "An estimate from this shop's own history, not an appraisal."])


def _indented(frame: pd.DataFrame) -> str:
    shown = frame.copy()
    for name in shown.select_dtypes("datetime"):
        shown[name] = shown[name].dt.strftime("%Y-%m-%d")
    text = shown.to_string(index=False, float_format=lambda value: f"{value:,.2f}")
    return "\n".join(f"  {line}" for line in text.splitlines())


def _sales_behind(n_sales: float) -> str:
    """Effective sales with one decimal; "none" where that would read 0.0."""
    return f"{n_sales:,.1f}" if n_sales >= 0.05 else "none"
