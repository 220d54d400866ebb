"""Writes Sales and Stock: ordinary rows, the owner's spellings, gross errors and rows nobody can use."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd

from generator.catalogue import ALL_KINDS, FAMILIES
from generator.handwriting import (
    GRADE_SPELLINGS,
    Sheet,
    Spelled,
    one_of,
    spell_date,
    spell_era,
    spell_grade,
    spell_loose,
    spell_maker,
    spell_price,
    spell_reading,
    spell_set,
    spell_type,
    spell_type_with_set,
)
from generator.trade import Holding, Sale, draw_country
from generator.truth import LAST_DAY, TESTERS, generator

SALES_COLUMNS = """
    sold_on type maker brand era variant grade reading_pct tester set_size matched qty price currency channel
    country cost fee postage_charged postage_paid listed_on lot returned_on return_reason sku note
""".split()
STOCK_COLUMNS = (
    "sku type maker brand era variant grade reading_pct tester set_size qty cost lot acquired_on listed_on "
    "ask note"
).split()
DIRT = {
    "sold_on": 0.08,
    "type": 0.11,
    "maker": 0.06,
    "era": 0.09,
    "grade": 0.17,
    "reading_pct": 0.09,
    "set_size": 0.30,
    "price": 0.09,
}
NOTES = (
    "box torn",
    "getter a little thin",
    "tall bottle",
    "print half gone",
    'customer asked for "low noise"',
    "same buyer as last month",
    "bent pin, straightened",
    "Röhre mit Originalkarton",
    "microphonic on one side",
    "sent tracked, insured",
    "old radio shop find",
    "wrong box",
)
RETURNS = (
    "noisy",
    "broken in the post",
    "sections differ",
    "not as expected",
    "wrong type ordered",
    "low reading",
)
GROSS_SHARE = 0.02


def draw_rates() -> pd.DataFrame:
    """Invented month rates: EUR paid for one unit of the currency. Columns month, USD, GBP."""
    rng = generator("rates")
    months = pd.period_range("2020-11", "2026-10", freq="M")
    walk = np.cumsum(rng.normal(0, 0.012, (len(months), 2)), axis=0)
    rates = np.array([0.88, 1.15]) * np.exp(0.7 * walk)
    return pd.DataFrame(
        {"month": [str(m) for m in months], "USD": rates[:, 0].round(4), "GBP": rates[:, 1].round(4)}
    )


def _describe(piece) -> dict:
    return {
        "type": piece.printed,
        "maker": piece.maker,
        "brand": piece.brand,
        "era": piece.era,
        "variant": piece.variant,
        "grade": piece.grade,
        "reading_pct": piece.reading_pct,
        "set_size": piece.set_size if piece.set_size > 1 else None,
    }


def _spell_piece(rng, piece, dirt: dict[str, float], shown: float | None, qty: int = 1) -> dict[str, Spelled]:
    """Spellings of the describing cells; at most one of them moves a meaning into another cell. `shown`: the reading
    as its tester gave it.
    """
    cells: dict[str, Spelled] = {}
    sets = piece.set_size > 1 and rng.random() < dirt["set_size"]
    if piece.set_size == 1 and qty in (3, 10) and rng.random() < 2 * dirt["set_size"]:
        cells["set_size"] = spell_loose(qty)
    if sets:
        if rng.random() < 0.3:
            cells["type"] = spell_type_with_set(rng, piece.printed, piece.set_size, piece.matched)
        else:
            cells["set_size"] = spell_set(rng, piece.set_size, piece.matched)
    often = 4 if ALL_KINDS[piece.canonical].east or piece.printed == "0A2" else 1
    if "type" not in cells and rng.random() < often * dirt["type"]:
        cells["type"] = spell_type(rng, piece.printed)
    if piece.maker != "unknown" and rng.random() < dirt["maker"]:
        cells["maker"] = spell_maker(rng, piece.maker)
    if piece.era != "unknown" and rng.random() < dirt["era"]:
        cells["era"] = spell_era(rng, piece.era)
    if piece.grade in GRADE_SPELLINGS and rng.random() < dirt["grade"]:
        cells["grade"] = spell_grade(rng, piece.grade, piece.reading_pct, shown)
    if (
        piece.reading_pct is not None
        and "reading_pct" not in cells.get("grade", Spelled("")).blank
        and rng.random() < dirt["reading_pct"]
    ):
        cells["reading_pct"] = spell_reading(rng, shown)
    return cells


def _shown(reading_pct: float | None, tester: str | None) -> float | None:
    """What the tester shows of a piece's true percent of nominal; a tester nobody named reads true."""
    return None if reading_pct is None else float(np.round(reading_pct * TESTERS.get(tester, 1.0)))


def write_sales(sales: list[Sale], rates: pd.DataFrame) -> tuple[Sheet, pd.DataFrame]:
    """The Sales sheet and its truth, one row a sheet row.

    `error` names a gross error ("set booked as one", "decimal slip", "wrong type") or why the row cannot be
    used.
    """
    rng = generator("sales sheet")
    thousands = itertools.cycle((True, False))  # both marks are met, however few prices are so high
    sheet = Sheet("Sales", SALES_COLUMNS)
    by_month = rates.set_index("month")
    truth = []
    for sale in sorted(sales, key=lambda s: s.sold_on):
        row, currency, price_eur = _sale_row(rng, sale, by_month)
        error = _gross_error(rng, sale, row) if rng.random() < GROSS_SHARE else ""
        cells = {} if error else _spell_piece(rng, sale.piece, DIRT, row["reading_pct"], sale.qty)
        if not error and rng.random() < (1.0 if row["price"] >= 1000 else DIRT["price"]):
            continental = row["price"] < 1000 or next(thousands)
            cells["price"] = spell_price(
                rng, row["price"], currency, sale.piece.set_size, sale.qty, continental
            )
        if rng.random() < DIRT["sold_on"]:
            cells["sold_on"] = spell_date(rng, sale.sold_on)
        if (
            cells.get("price", Spelled("")).kind.startswith("price ")
            and cells["price"].kind != "price spelling"
        ):
            for column in ("type", "set_size"):  # "ea" and "/pr" stand beside plain set cells
                if "words" in cells.get(column, Spelled("")).kind:
                    del cells[column]
        number = sheet.write(row, cells)
        truth.append(_sale_truth(number, sale, price_eur, error))
        if number % 900 == 450:  # the same sale typed twice
            sheet.write(sheet.rows[-1])
            truth.append(_sale_truth(number + 1, sale, price_eur, "duplicate"))
        if number % 620 == 0:
            spoiled, why = _spoil(number // 620, dict(sheet.rows[-1]))
            truth.append(_sale_truth(sheet.write(spoiled), sale, price_eur, why))
    return sheet, pd.DataFrame(truth)


def _sale_row(rng, sale: Sale, by_month: pd.DataFrame) -> tuple[dict, str, float]:
    country = draw_country(rng, sale.channel)
    abroad = {"US": "USD", "GB": "GBP"}.get(country) if sale.channel in ("marketplace", "auction") else None
    currency = abroad or "EUR"
    price, rate = sale.price_eur, 1.0
    if abroad:
        rate = float(by_month.loc[f"{sale.sold_on:%Y-%m}", abroad])
        price = round(price / rate * 2) / 2 if price > 10 else round(price / rate, 2)
    posted = sale.channel not in ("fair",)
    postage = {"DE": 5.5}.get(country, 16.0 if country in ("US", "JP", "AU") else 11.0)
    fee = None
    if sale.channel == "marketplace":
        fee = round(0.1325 * (sale.price_eur + postage) + 0.40, 2)
    elif sale.channel == "own site":
        fee = round(0.029 * (sale.price_eur + postage) + 0.30, 2)
    cost = (
        sale.holding.cost * sale.qty
        if sale.holding and sale.holding.cost
        else sale.price_eur * float(np.exp(rng.normal(-1.2, 0.4)))
    )
    returned = sale.channel != "fair" and rng.random() < 0.042
    tester = one_of(rng, tuple(TESTERS)) if sale.piece.reading_pct and rng.random() < 0.8 else None
    row = _describe(sale.piece) | {
        "sold_on": sale.sold_on,
        "tester": tester,
        "reading_pct": _shown(sale.piece.reading_pct, tester),
        "matched": sale.piece.matched,
        "qty": sale.qty if sale.qty > 1 or rng.random() < 0.4 else None,
        "price": price,
        "currency": currency if abroad or rng.random() < 0.5 else None,
        "channel": sale.channel,
        "country": country,
        "cost": cost if rng.random() < 0.72 else None,
        "fee": fee if rng.random() < 0.8 else None,
        "postage_charged": postage if posted and rng.random() < 0.75 else None,
        "postage_paid": round(postage * rng.uniform(0.75, 1.15), 2)
        if posted and rng.random() < 0.6
        else None,
        "listed_on": sale.listed_on,
        "lot": sale.holding.lot if sale.holding else None,
        "sku": sale.holding.sku if sale.holding else None,
        "note": one_of(rng, NOTES) if rng.random() < 0.05 else None,
    }
    if returned:
        row["returned_on"] = min(LAST_DAY, sale.sold_on + pd.Timedelta(days=int(rng.integers(6, 40))))
        row["return_reason"] = one_of(rng, RETURNS) if rng.random() < 0.8 else None
    return row, currency, price * rate


def _gross_error(rng, sale: Sale, row: dict) -> str:
    """Spoils the row in one of three ways and names it."""
    if sale.piece.set_size in (2, 4) and rng.random() < 0.75:
        row["set_size"], row["matched"] = None, False
        return "set booked as one"
    if rng.random() < 0.55:
        row["price"] = round(row["price"] * float(rng.choice([10, 0.1, 100], p=[0.55, 0.40, 0.05])), 2)
        return "decimal slip"
    price = ALL_KINDS[sale.piece.canonical].price
    others = [
        kind
        for kind in ALL_KINDS.values()
        if abs(np.log(kind.price / price)) > 0.9 and not kind.east and kind.weight > 0.6
    ]
    row["type"] = one_of(rng, [kind.printed[0][0] for kind in others])
    return "wrong type"


def _spoil(turn: int, row: dict) -> tuple[dict, str]:
    """A row nobody can use, and why."""
    row |= {"sku": "", "returned_on": "", "return_reason": ""}
    column, value, why = (
        ("price", "", "no price"),
        ("sold_on", "32.13.2023", "unreadable date"),
        ("sold_on", "2062-04-11", "future date"),
        ("type", "", "no type"),
        ("price", "ask Tuesday", "unreadable price"),
        ("sold_on", "2036-02-01", "future date"),
        ("price", "0", "price not above zero"),
        ("sold_on", "spring?", "unreadable date"),
        ("sold_on", "", "no date"),
    )[(turn - 1) % 9]
    return row | {column: value}, why


def _sale_truth(number: int, sale: Sale, price_eur: float, error: str) -> dict:
    piece = sale.piece
    return {
        "row": number,
        "canonical_type": piece.canonical,
        "maker": piece.maker,
        "grade": piece.grade,
        "set_size": piece.set_size,
        "qty": sale.qty,
        "price_eur": round(price_eur, 2),
        "log_fair": round(sale.log_fair, 4),
        "error": error,
    }


def write_stock(holdings: list[Holding]) -> tuple[Sheet, pd.DataFrame]:
    """The Stock sheet and its truth: log fair price of one set on the own site at the last day."""
    rng = generator("stock sheet")
    sheet = Sheet("Stock", STOCK_COLUMNS)
    truth = []
    for holding in holdings:
        tester = one_of(rng, tuple(TESTERS)) if holding.piece.reading_pct else None
        row = _describe(holding.piece) | {
            "sku": holding.sku,
            "tester": tester,
            "reading_pct": _shown(holding.piece.reading_pct, tester),
            "qty": holding.qty,
            "cost": holding.cost,
            "lot": holding.lot,
            "acquired_on": holding.acquired_on,
            "listed_on": holding.listed_on,
            "ask": holding.ask,
            "note": holding.note or (one_of(rng, NOTES) if rng.random() < 0.06 else None),
        }
        if holding.piece.matched:
            row["note"] = "matched"  # the Stock sheet has no matched column
        dirt = {column: share / 3 for column, share in DIRT.items()}
        cells = _spell_piece(rng, holding.piece, dirt, row["reading_pct"])
        number = sheet.write(row, cells)
        family = holding.piece.family
        truth.append(
            {
                "row": number,
                "sku": holding.sku,
                "canonical_type": holding.piece.canonical,
                "family": family,
                "log_fair": round(holding.log_fair, 4),
                "log_ask_over_fair": round(np.log(holding.ask) - holding.log_fair, 4)
                if holding.ask
                else None,
                "daily_hazard_at_fair": round(FAMILIES[family].daily_hazard, 5),
            }
        )
    return sheet, pd.DataFrame(truth)
