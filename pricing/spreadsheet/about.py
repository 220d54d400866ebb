"""The words of the About sheet."""

from __future__ import annotations

from typing import Any

from pricing.decisions.listing_history import FEWEST_SOLD, LONG_DAYS, SOON_DAYS
from pricing.spreadsheet.summary import HABIT, sales_used, sells_at_own_asks

CAUTIONS = [
    "Lethal voltages remain in tube equipment after it is switched off and unplugged. Work inside "
    "belongs to a qualified technician who follows the equipment maker's instructions and local rules.",
    "Which tube may be fitted is for the equipment maker to say, then for the tube's data sheet with "
    "its rating system. Design-centre, design-maximum and absolute-maximum figures differ and are never "
    "compared unconverted. A value that is missing cannot be checked.",
    "Prices are estimates from this shop's own history: not an appraisal, not an offer, and no promise "
    "of a sale. A range is where four sales in five fell in trials, so one in five falls outside.",
    "A grade is what the seller stated. A reading is one tester's view on one day; readings of "
    "different testers are not comparable.",
]


def about_sections(shop: Any | None, model: Any | None, *, invented: bool) -> list[tuple[str, list[str]]]:
    """(title, paragraphs) of the About sheet; without a shop, what an empty workbook needs to say."""
    sections = [("Caution", CAUTIONS)]
    if invented:
        sections.insert(
            0,
            (
                "An invented shop",
                [
                    "This shop does not exist. Every sale, maker, brand, amplifier, listener, buyer and "
                    "exchange rate in it is made up; only the type numbers are real. Nothing here says "
                    "what a real tube is worth or how it sounds."
                ],
            ),
        )
    if shop is None:
        sections.append(
            (
                "How to begin",
                [
                    "Fill in Sales: the date, the type and the line price are needed, everything else "
                    "helps. Blank means unknown. Then fill in Stock. Notes on the headings say what "
                    "belongs where; the drop-downs offer words and accept yours.",
                    "Settings holds fees, tax, margins and price endings. Values marked “from memory” "
                    "or “common practice” are placeholders: put your own.",
                    "Then run: python -m pricing refresh with the name of this file. It adds the Price list, "
                    "Problems and what the sales teach to this workbook.",
                ],
            )
        )
    if model is not None:
        sections.append(("Date and counts", _counts(shop, model)))
        sections.append(("How the prices are made", _method(shop)))
    sections.append(("Sources", _sources(shop)))
    sections.append(
        (
            "What this workbook was tested with",
            [
                "Files like this one are opened in LibreOffice by the tests. Excel was not available "
                "and not used in testing.",
                "Refreshing renews the cells, table sizes and chart ranges of the result sheets in this file and "
                "nothing else; the file as it was is kept in a folder of backups beside it, and no backup is ever "
                "deleted. Result sheets may be renamed, moved, restyled or deleted. What is typed right beside "
                "a table that lists skus, codes, offers, lots or families goes with its row; formulas stay in their "
                "row, and anything else typed outside our cells stays where it is; what is typed over a cell of ours "
                "is overwritten. Where there is no room, the results go to a new workbook and the message says why.",
            ],
        )
    )
    return sections


def _counts(shop: Any, model: Any) -> list[str]:
    used = sales_used(shop)
    lines = [
        f"Prices are for {model.as_of:%Y-%m-%d}, the date of the newest plausible sale, in "
        f"{shop.settings.currency or 'the currency of the shop'}.",
        f"{used.sentence} {used.returned_sentence}".strip(),
    ]
    others = [
        f"{count.table} {count.used:,} of {count.rows_in:,}"
        for count in shop.row_counts().itertuples()
        if count.table != "Sales"
    ]
    if others:
        lines.append(f"Rows used of rows read: {', '.join(others)}.")
    return lines


def _method(shop: Any) -> list[str]:
    lines = [
        "One model of the logarithm of the price learns from all sales at once: type, maker, era, "
        "construction, grade, reading, set, channel and the drift of the market each have their share. "
        "Where a piece has few sales of its own, it leans on its kin, the more the fewer there are; "
        "“sales behind” says how much is its own.",
        "The list price is the fair price moved to a permitted ending, within the largest raise and cut "
        "of Settings and never below the floor. The floor leaves the minimum margin after cost, fees, "
        "packing, returns and sales tax, each rounded to the cent, half up. Postage charged on top of "
        "the price is taken to cover itself.",
        "An ask is kept while it is within 10 % of the fair price or inside the range of the fair price "
        "itself. “look” marks pieces where the sales cannot decide: the reason says why. These limits "
        "are common practice, no source.",
    ]
    if sells_at_own_asks(shop.sales):
        lines.append(
            f"{HABIT} A piece that sold within days may have been asked too low, one unsold for a year too high: the "
            f"reason says so up to {SOON_DAYS} days (the median of at least {FEWEST_SOLD} such pieces) and from "
            f"{LONG_DAYS} days on; these limits are common practice, no source. Where enough dated asks are kept, "
            "“asks suggest” tells how far the fair price would move if asks and days listed were counted too."
        )
    return lines


def _sources(shop: Any | None) -> list[str]:
    lines = [
        "Prices: the Sales sheet of this workbook, nothing else.",
        "Types, families and ratings: the register that comes with the program, gathered from public "
        "text; each value there says whether it was read in a published or secondary source or is from "
        "memory. No maker's data sheet of a vintage tube was seen.",
    ]
    if shop is not None and len(shop.types):
        lines.append(f"Types sheet: {len(shop.types):,} types or corrections of the shop's own.")
    return lines
