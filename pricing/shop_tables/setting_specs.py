"""Every setting: its key in the sheet, attribute, default, unit, reader of the cell, and what it does."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pricing.shop_tables import vocabularies
from pricing.shop_tables.cells import read_flag, read_number, tidy
from pricing.shop_tables.columns import TABLES


@dataclass(frozen=True)
class Spec:
    """One row of the Settings sheet. `parted`: the key goes on after a colon; `read` returns None for a wrong
    value.
    """

    key: str
    attribute: str
    default: str
    unit: str
    help: str
    read: Callable[[Any], Any]
    wanted: str
    parted: bool = False


def _number(low: float, high: float) -> tuple[Callable[[Any], float | None], str]:
    def read(value: Any) -> float | None:
        number = read_number(value).value
        return number if number is not None and low <= number <= high else None

    return read, f"a number from {low:g} to {high:g}"


def _percent_cell(low: float, high: float) -> tuple[Callable[[Any], float | None], str]:
    number, _ = _number(low, high)
    return (lambda value: number(value.replace("%", "") if isinstance(value, str) else value),
            f"a percentage from {low:g} to {high:g}")


def _flag(value: Any) -> bool | None:
    read = read_flag(value)
    return None if read.code else read.value


def _aim(value: Any) -> str | None:
    text = tidy(value).casefold()
    return text if text in ("fair price", "most earned") else None


def _date_order(value: Any) -> str | None:
    text = tidy(value).casefold()
    return "day" if text.startswith(("day", "d/", "dd", "dmy")) else (
        "month" if text.startswith(("month", "m/", "mm", "mdy")) else None)


def _tax_scheme(value: Any) -> str | None:
    text = tidy(value).casefold()
    if text in ("none", "no", "no tax", "keine"):
        return "none"
    if "margin" in text:
        return "margin scheme"
    return "on the price" if "price" in text else None


def _endings(value: Any) -> tuple[str, ...] | None:
    if isinstance(value, float):
        value = f"{value:.2f}".lstrip("0") if value < 1 else f"{value:g}"
    words = tidy(value).replace(";", " ").split()
    good = [word for word in words if re.fullmatch(r"\d{1,3}(?:[.,]\d{1,2})?|[.,]\d{1,2}", word, re.ASCII)]
    return tuple(word.replace(",", ".") for word in good) if good and len(good) == len(words) else None


def _currency(value: Any) -> str | None:
    code = vocabularies.read_currency(value)
    return code if re.fullmatch(r"[A-Z]{3}", code) else None


def _grade(value: Any) -> str | None:
    read = vocabularies.read_grade(value)
    return None if read.code else read.grade


def _era(value: Any) -> str | None:
    read = vocabularies.read_era(value)
    return None if read.code else read.value


def _makers(value: Any) -> dict[str, float] | None:
    """"Varnoseth 70; Luskarn 30" -> shares by maker; a maker without a number takes what the others leave, evenly."""
    met: dict[str, float | None] = {}
    for part in re.split(r"[;,](?!\d)", tidy(value)):
        found = re.fullmatch(r"(.*?)(?:[\s:]+(\d+(?:[.,]\d+)?)\s*%?)?", part.strip())
        name = found.group(1).strip()
        if not name or name.casefold() in {one.casefold() for one in met}:
            return None
        met[name] = float(found.group(2).replace(",", ".")) if found.group(2) else None
    stated = [share for share in met.values() if share is not None]
    open_ones = len(met) - len(stated)
    if sum(stated) > 100 + 1e-9 or (open_ones and sum(stated) >= 100) or (not open_ones and not sum(stated)):
        return None
    left = (100 - sum(stated)) / max(open_ones, 1)
    shares = {name: left if share is None else share for name, share in met.items()}
    return {name: share / sum(shares.values()) for name, share in shares.items()}


def _scale(value: Any) -> tuple[float, float] | None:
    """"1 to 10" -> (1, 10)."""
    number = r"(-?\d+(?:[.,]\d+)?)"
    found = re.fullmatch(rf"{number}\s*(?:to|bis|-|–|\.\.+)\s*{number}", tidy(value), re.IGNORECASE)
    if not found:
        return None
    low, high = (float(part.replace(",", ".")) for part in found.groups())
    return (low, high) if low < high else None


def _channel(value: Any) -> str:
    return vocabularies.read_channel(value).value


_NAMES = frozenset(column.name for table in TABLES.values() for column in table.columns)


def _column(value: Any) -> str | None:
    name = tidy(value).casefold().replace(" ", "_")
    return name if name in _NAMES else None


_PCT = _percent_cell(0, 100)
_WIDE_PCT = _percent_cell(0, 1000)
_MONEY = _number(0, 1e6)
_YES_NO = (_flag, "yes or no")

SPECS: tuple[Spec, ...] = (
    Spec(
        "currency", "currency", "", "ISO code", "The shop's currency. Blank: the one most sales are in.",
        _currency, "a code of three letters such as EUR"),
    Spec("date order", "date_order", "", "day first or month first",
         "How to read 03/04/2023 when nothing else in the column tells. Blank: day first.", _date_order,
         "day first or month first"),
    Spec("sales tax scheme", "tax_scheme", "none", "none, on the price, margin scheme",
         "How sales tax falls due: none, on the whole price, or on price less cost as for second-hand goods.",
         _tax_scheme, "none, on the price or margin scheme"),
    Spec("sales tax rate", "tax_rate_pct", "0", "%", "Rate of the sales tax.", *_PCT),
    Spec("prices include tax", "prices_include_tax", "yes", "yes or no",
         "Whether the prices in Sales and Stock include the sales tax.", *_YES_NO),
    Spec(
        "postage included", "postage_included_by", "", "yes or no",
        "Whether prices include postage; 'postage included: marketplace' for one channel.", *_YES_NO,
        parted=True),
    Spec("fee", "fees_pct", "0", "% of the price",
         "Selling fee. 'fee' is for every channel, 'fee: marketplace' for one.", *_PCT, parted=True),
    Spec("fixed fee", "fees_fixed", "0", "money per order",
         "Fixed part of the selling fee; 'fixed fee: marketplace' for one channel.", *_MONEY, parted=True),
    Spec("payment fee", "payment_fee_pct", "2.9", "% of the price",
         "What the card or payment service takes. From memory; put your own.", *_PCT),
    Spec("fixed payment fee", "payment_fee_fixed", "0.30", "money per order",
         "Fixed part of the payment fee. From memory; put your own.", *_MONEY),
    Spec(
        "packing cost", "packing_cost", "1.20", "money per order", "Box, wrap and label of one order.",
        *_MONEY),
    Spec("return rate", "return_rate_pct", "4", "% of sales",
         "Share of sales that come back; 3 to 6 is common practice.", *_PCT),
    Spec("count returned sales", "count_returned_sales", "no", "yes or no",
         "Whether sales that came back still teach the price model.", *_YES_NO),
    Spec("target return", "target_return_pct", "60", "% of the purchase",
         "What a purchase shall earn on its cost before you bid.", *_WIDE_PCT),
    Spec(
        "holding cost", "holding_cost_pct_year", "12", "% of cost a year",
        "What a piece on the shelf costs a year: money tied up, room, loss. Common practice, no source.",
        *_PCT),
    Spec("most false finds", "most_false_finds_pct", "10", "% of those marked",
         "Most that may turn out not to pay among the offers marked as under-priced.", *_PCT),
    Spec(
        "price endings", "price_endings", ".00 .50", "list",
        "Endings list prices may have: .50 is cents, 9 the last whole digit, 9.95 both; several with spaces "
        "between.",
        _endings, "endings such as .00 .50 or 5 9"),
    Spec("minimum margin", "minimum_margin_pct", "30", "% of the net price",
         "No list price leaves less than this after cost and fees.", *_PCT),
    Spec("lowest mark-up", "lowest_markup", "1.3", "times cost", "List price at least this many times cost.",
         *_number(0, 1000)),
    Spec("highest mark-up", "highest_markup", "12", "times cost",
         "List price at most this many times cost, unless past sales carry it.", *_number(0, 100000)),
    Spec("largest raise", "largest_raise_pct", "25", "% of the ask", "Most a list price is raised in one go.",
         *_WIDE_PCT),
    Spec(
        "largest cut", "largest_cut_pct", "20", "% of the ask", "Most a list price is cut in one go.", *_PCT),
    Spec("list price aim", "list_price_aim", "most earned", "most earned or fair price",
         "Where list prices aim: at the ask that earns most by how soon your pieces sell at their asks, or at the fair "
         "price. With too few dated asks always at the fair price.", _aim, "fair price or most earned"),
    Spec("mark-up without listings", "markup_without_listings_pct", "0", "% of the fair price",
         "How far above the fair price list prices aim while your dated asks are too few to tell how soon pieces sell.",
         *_WIDE_PCT),
    Spec("reject limit", "reject_below_pct", "65", "% of nominal",
         "Readings below this are rejects. Common practice, no source.", *_PCT),
    Spec("match plate current", "match_plate_current_pct", "5", "% of the mean",
         "Widest spread of plate current inside a matched set.", *_PCT),
    Spec(
        "match gm", "match_gm_pct", "10", "% of the mean", "Widest spread of gm inside a matched set.",
        *_PCT),
    Spec("section balance", "section_balance_pct", "10", "% of the mean",
         "Widest difference of the two sections of one tube. Common practice, no source.", *_PCT),
    Spec("range coverage", "range_coverage_pct", "80", "% of sales",
         "Share of sales that the estimated price range shall hold.", *_percent_cell(1, 99.9)),
    Spec("manual fitting", "manual_fitting", "no", "yes or no",
         "Whether the price model is fitted only on request.", *_YES_NO),
    Spec(
        "rate", "rates", "", "shop's currency for one",
        "Exchange rate of a month: 'rate: USD 2024-03', or 'rate: USD' for every month.",
        *_number(1e-9, 1e9), parted=True),
    Spec("nominal", "nominals", "", "as the tester shows",
         "Nominal reading of a type on a tester: 'nominal: bench EL84', or of one test: 'nominal: bench EL84 "
         "plate current'.", *_number(1e-9, 1e9), parted=True),
    Spec("quality weight", "quality_weights", "", "weight",
         "How much a listening aspect counts: 'quality weight: warmth'. Blank: every aspect counts 1.",
         *_number(0, 1000), parted=True),
    Spec("quality scale", "quality_scales", "", "lowest to highest score",
         "Scale of the listening scores, such as 1 to 10; 'quality scale: warmth' for one aspect. Scores outside are "
         "listed and not used. Blank: told from the scores.",
         _scale, "a lowest and a highest score, such as 1 to 10", parted=True),
    Spec("quality base", "quality_base", "", "score",
         "Cost per quality point counts the points above this score: the best you would not pay for. Blank: the lowest "
         "mean of a type heard.",
         *_number(-1e6, 1e6)),
    Spec(
        "grade", "own_grades", "", "grade",
        "A spelling of your own: 'grade: minty' with the grade it means.", _grade, "one of the grades",
        parted=True),
    Spec(
        "era", "own_eras", "", "decade",
        "A spelling of your own: 'era: black glass' with the decade it means.", _era,
        "a decade such as 1940s", parted=True),
    Spec(
        "channel", "own_channels", "", "channel",
        "A spelling of your own: 'channel: web' with the channel it means.", _channel, "a channel",
        parted=True),
    Spec("brand", "brand_makers", "", "shares of makers, %",
         "Who made what a brand sold, as far as you know: 'brand: NAME' with makers and shares such as 'A 70; B "
         "30'. Counts like ten of your own sales.",
         _makers, "makers and their shares in percent, such as A 70; B 30", parted=True),
    Spec("listing template", "listing_template", "", "text with places such as {grade}",
         "Words of a piece's facts for your page, as many lines as you like in the cell. Blank: ours.",
         lambda value: str(value).strip() or None, "a text"),
    Spec("listing template is HTML", "listing_is_html", "no", "yes or no",
         "Whether that template is HTML, so that < and & of your own words must be escaped.", *_YES_NO),
    Spec("heading", "own_headings", "", "column",
         "A heading of your own: 'heading: Preis' with the column it means.", _column, "the name of a column",
         parted=True),
)

BY_KEY: dict[str, Spec] = {vocabularies.plain(spec.key): spec for spec in SPECS}
_OTHER_KEYS = {
    "home currency": "currency", "tax scheme": "sales tax scheme", "tax rate": "sales tax rate",
    "fee percentage": "fee", "fee pct": "fee", "fee fixed": "fixed fee", "exchange rate": "rate",
    "returns": "return rate", "tester nominal": "nominal", "mark up lowest": "lowest mark-up",
    "mark up highest": "highest mark-up",
}
for _other, _key in _OTHER_KEYS.items():
    BY_KEY.setdefault(_other, BY_KEY[vocabularies.plain(_key)])
