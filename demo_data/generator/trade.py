"""Six years of trade: lots bought, stock listed, asks that sold or stayed, and the sales that were written
down.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from generator.catalogue import (
    ALL_KINDS,
    CHANNELS,
    COUNTRIES,
    FAMILIES,
    KINDS,
    MAKERS_EAST,
    MAKERS_NEVER_SOLD,
    MAKERS_WEST,
    NOWHERE_KINDS,
    OWNER_KINDS,
)
from generator.truth import (
    FIRST_DAY,
    LAST_DAY,
    Piece,
    Truth,
    draw_piece,
    generator,
    log_fair,
    log_standing,
    log_time,
    noise,
)

N_SALES, N_STOCK, N_LOTS = 6000, 900, 80
STOCK_BEGUN = pd.Timestamp("2022-03-01")  # the day the owner began to keep a stock sheet
ELASTICITY = 6.0  # hazard of a sale falls as (ask / fair) ** -6
STEP_DAYS = 5
SOLD_MAKERS = [*MAKERS_WEST, *MAKERS_EAST]
LOG_QTY_DISCOUNT = -0.04


@dataclass(frozen=True)
class Holding:
    """One stock row with its truth."""

    sku: str
    piece: Piece
    qty: int
    acquired_on: pd.Timestamp
    listed_on: pd.Timestamp | None
    ask: float | None
    cost: float | None
    lot: str
    log_fair: float  # at the last day
    note: str = ""


@dataclass(frozen=True)
class Sale:
    """One sale line as it happened."""

    sold_on: pd.Timestamp
    piece: Piece
    qty: int
    price_eur: float
    channel: str
    log_fair: float  # of one set
    holding: Holding | None
    listed_on: pd.Timestamp | None


def like_an_owner(price: float) -> float:
    """A price as an owner would round it."""
    if price < 20:
        return max(0.5, round(price * 2) / 2)
    if price < 120:
        return float(round(price))
    return float(round(price / 5) * 5)


def draw_lots() -> pd.DataFrame:
    """About 80 purchases; `tubes` counted, `rejects` 3-40 % of them."""
    rng = generator("lots")
    days = np.sort(rng.integers(0, (LAST_DAY - FIRST_DAY).days - 20, N_LOTS))
    rows, seen = [], {}
    for day in days:
        bought = FIRST_DAY + pd.Timedelta(days=int(day))
        seen[bought.year] = seen.get(bought.year, 0) + 1
        boxed = rng.random() < 0.3
        tubes = int(np.clip(rng.lognormal(4.3, 0.8), 8, 900))
        each = rng.lognormal(2.1 if boxed else 1.5, 0.45)
        rows.append(
            {
                "lot": f"L{bought:%y}-{seen[bought.year]:02d}",
                "bought_on": bought,
                "seller": str(
                    rng.choice(
                        ["estate", "workshop clearance", "radio club", "collector", "market table", "dealer"]
                    )
                ),
                "paid": like_an_owner(tubes * each),
                "freight": float(round(rng.choice([0, 12, 18, 25, 40, 85]) * (1 + tubes / 300))),
                "tubes": tubes,
                "rejects": int(
                    rng.binomial(tubes, rng.uniform(0.03, 0.08) if boxed else rng.uniform(0.2, 0.4))
                ),
                "testing_cost": float(round(tubes * rng.choice([0, 0.5, 1.0]))),
                "note": "boxed, unused" if boxed else "",
            }
        )
    rows[2] |= {
        "seller": "estate",
        "paid": 645.0,
        "freight": 0.0,
        "tubes": 60,
        "rejects": 20,
        "testing_cost": 0.0,
        "note": "40 kept",
    }
    return pd.DataFrame(rows)


def draw_holdings(truth: Truth, lots: pd.DataFrame) -> list[Holding]:
    """900 stock rows without asks: mostly ordinary kinds, some the register does not know, some makers never
    sold.
    """
    rng = generator("holdings")
    weights = np.array([kind.weight for kind in KINDS]) ** 0.8
    holdings = []
    for number in range(1, N_STOCK + 1):
        kind = KINDS[rng.choice(len(KINDS), p=weights / weights.sum())]
        makers = list(MAKERS_NEVER_SOLD) if rng.random() < 0.02 and not kind.east else SOLD_MAKERS
        if number % 45 == 7:
            kind, makers = OWNER_KINDS[number // 45 % len(OWNER_KINDS)], SOLD_MAKERS
        if number in (311, 702, 803):
            kind, makers = NOWHERE_KINDS[number % 2], SOLD_MAKERS
        piece = draw_piece(truth, rng, kind, makers)
        qty = int(rng.choice([1, 2, 3, 5, 8, 12, 20, 40], p=[0.34, 0.16, 0.12, 0.14, 0.10, 0.07, 0.05, 0.02]))
        begun = (STOCK_BEGUN - FIRST_DAY).days - 200
        acquired = FIRST_DAY + pd.Timedelta(
            days=int(begun + ((LAST_DAY - FIRST_DAY).days - begun) * rng.random() ** 0.8)
        )
        listed = max(STOCK_BEGUN, acquired + pd.Timedelta(days=int(rng.integers(3, 90))))
        if makers != SOLD_MAKERS:
            acquired = LAST_DAY - pd.Timedelta(days=int(rng.integers(5, 60)))
            listed = LAST_DAY - pd.Timedelta(days=int(rng.integers(1, 4)))
        if listed > LAST_DAY or rng.random() < 0.03:
            listed = None
        holdings.append(Holding(f"R{number:04d}", piece, qty, acquired, listed, None, None, "", 0.0))
    room = dict(zip(lots.lot, lots.tubes - lots.rejects))  # tubes of each lot that passed and stand in no row yet
    return [_bought(truth, rng, lots, room, holding) for holding in holdings[:-MATCHING_PIECES]] + [
        _bought(truth, rng, lots, room, holding)
        for holding in _for_matching(truth, rng, holdings[-MATCHING_PIECES:])
    ]


MATCHING_GROUPS = (
    ("EL84", "6BQ5", "Tivenshaw", "1960s", 8),
    ("EL84", "EL84", "Luskarn", "1960s", 14),
    ("6L6GC", "6L6GC", "Ostrelk", "1960s", 12),
    ("6V6GT", "6V6GT", "Haldrune", "1950s", 6),
)
MATCHING_PIECES = sum(group[-1] for group in MATCHING_GROUPS)


def _for_matching(truth: Truth, rng: np.random.Generator, holdings: list[Holding]) -> list[Holding]:
    """The last stock rows become groups of single tubes with a stock code each, measured for matching."""
    out = iter(holdings)
    rows = []
    for canonical, printed, maker, era, count in MATCHING_GROUPS:
        piece = Piece(
            canonical,
            printed,
            maker,
            "unknown",
            era,
            "grey plates" if canonical != "6V6GT" else "smoked glass",
            "used, strong",
            None,
            1,
            False,
        )
        acquired = LAST_DAY - pd.Timedelta(days=int(rng.integers(30, 120)))
        for _ in range(count):
            rows.append(
                replace(
                    next(out), piece=piece, qty=1, acquired_on=acquired, listed_on=None, note="to be matched"
                )
            )
    return rows


def _bought(
    truth: Truth, rng: np.random.Generator, lots: pd.DataFrame, room: dict[str, int], holding: Holding
) -> Holding:
    """The holding with its cost and, where one of the three newest lots of its day has room for it, its lot."""
    fair = log_fair(truth, holding.piece, LAST_DAY)
    earlier = lots[lots.bought_on <= holding.acquired_on]
    tubes, lot = holding.qty * holding.piece.set_size, ""
    if len(earlier) and rng.random() < 0.7:
        lot = next((one for one in reversed(earlier.lot.tolist()[-3:]) if room[one] >= tubes), "")
    if lot:
        room[lot] -= tubes
    paid = np.exp(log_fair(truth, holding.piece, holding.acquired_on)) * np.exp(rng.normal(-1.2, 0.4))
    return replace(
        holding, log_fair=fair, lot=lot, cost=round(float(paid), 2) if rng.random() < 0.85 else None
    )


def list_and_sell(truth: Truth, holdings: list[Holding]) -> tuple[list[Holding], list[Sale], pd.DataFrame]:
    """Runs every listing day by day. Returns the holdings with their present ask, the sales, and every ask.

    An ask is one spell of one listing at one price: it ends when a set is sold, when the price is lowered or
    when the listing is withdrawn, and a new spell begins while sets are left. Hazard = family rate * exp(-6
    log(ask / fair)).
    """
    rng = generator("asks")
    listed, sales, asks = [], [], []
    for holding in holdings:
        if holding.listed_on is None:
            listed.append(holding)
            continue
        piece, kind = holding.piece, ALL_KINDS[holding.piece.canonical]
        standing = log_standing(truth, piece)
        mood = rng.choice(["usual", "optimistic", "low"], p=[0.84, 0.10, 0.06])
        lean = {
            "usual": noise(rng) + 0.26,
            "optimistic": rng.normal(0.55, 0.12),
            "low": rng.normal(-0.35, 0.10),
        }[mood]
        date = holding.listed_on
        ask = like_an_owner(float(np.exp(standing + log_time(truth, kind.canonical, date) + lean)))
        from_date, left, reviewed = date, holding.qty, date
        never_sold = piece.maker in MAKERS_NEVER_SOLD  # listed in the last days
        while date <= LAST_DAY and left > 0 and ask is not None and not never_sold:
            fair = standing + log_time(truth, kind.canonical, date)
            rho = np.log(ask) - fair
            hazard = FAMILIES[kind.family].daily_hazard * np.exp(-ELASTICITY * rho)
            waited = rng.exponential(1 / hazard)
            if waited < STEP_DAYS:
                sold_on = date + pd.Timedelta(days=int(waited))
                if sold_on > LAST_DAY:
                    break
                qty = min(left, int(rng.choice([1, 2, 3, 5], p=[0.84, 0.10, 0.04, 0.02]))) if ask < 60 else 1
                sales.append(_sale_from_stock(truth, rng, holding, ask, qty, sold_on))
                left -= qty
                asks.append((holding.sku, ask, from_date, sold_on, "sold", holding.piece))
                if left and rng.random() < 0.12:
                    ask = like_an_owner(ask * rng.uniform(1.04, 1.12))
                date = from_date = min(sold_on + pd.Timedelta(days=1), LAST_DAY)
                continue
            date += pd.Timedelta(days=STEP_DAYS)
            if (date - reviewed).days > 180 and date <= LAST_DAY:
                reviewed = date
                if (date - from_date).days > 150 and rng.random() < 0.35:
                    asks.append((holding.sku, ask, from_date, date, "lowered", holding.piece))
                    ask, from_date = like_an_owner(ask * rng.uniform(0.84, 0.94)), date
                elif rng.random() < 0.02:
                    asks.append((holding.sku, ask, from_date, date, "withdrawn", holding.piece))
                    ask = None
        if left and ask is not None:
            asks.append((holding.sku, ask, from_date, pd.NaT, "", holding.piece))
        # a withdrawn listing keeps the price it last had off the sheet: blank
        listed.append(replace(holding, ask=ask))
    frame = pd.DataFrame(asks, columns=["sku", "ask", "from_date", "until_date", "outcome", "piece"])
    frame["log_fair_at_start"] = [log_fair(truth, p, d) for p, d in zip(frame.piece, frame.from_date)]
    return listed, sales, frame.drop(columns="piece")


def _sale_from_stock(truth, rng, holding: Holding, ask: float, qty: int, sold_on: pd.Timestamp) -> Sale:
    channel = str(rng.choice(["own site", "marketplace", "direct", "fair"], p=[0.55, 0.33, 0.07, 0.05]))
    each = ask if channel == "own site" else like_an_owner(ask * np.exp(CHANNELS[channel][1]))
    price = each * qty if qty == 1 else like_an_owner(each * qty * qty**LOG_QTY_DISCOUNT)
    return Sale(
        sold_on,
        holding.piece,
        qty,
        price,
        channel,
        log_fair(truth, holding.piece, sold_on, channel),
        holding,
        holding.listed_on,
    )


def sell_without_record(truth: Truth, count: int) -> list[Sale]:
    """Sales whose stock row the owner never kept: price = fair * exp(noise), rounded as an owner would."""
    rng = generator("unrecorded")
    weights = np.array([kind.weight for kind in KINDS])
    late = (STOCK_BEGUN - FIRST_DAY).days
    span = (LAST_DAY - FIRST_DAY).days
    sales = []
    for _ in range(count):
        kind = KINDS[rng.choice(len(KINDS), p=weights / weights.sum())]
        piece = draw_piece(truth, rng, kind, SOLD_MAKERS)
        # before the stock sheet every sale is of this sort, after it fewer than half
        day = int(rng.integers(0, late)) if rng.random() < 0.33 else int(rng.integers(late, span + 1))
        sold_on = FIRST_DAY + pd.Timedelta(days=day)
        channel = str(rng.choice(list(CHANNELS), p=[share for share, _ in CHANNELS.values()]))
        if channel == "wholesale" and kind.price > 45:
            channel = "own site"  # dear tubes are not sold by the box
        fair = log_fair(truth, piece, sold_on, channel)
        qty = (
            int(rng.choice([1, 2, 3, 4, 6, 10], p=[0.87, 0.06, 0.03, 0.015, 0.01, 0.015]))
            if fair < np.log(60)
            else 1
        )
        if channel == "wholesale":
            qty = int(rng.choice([10, 20, 40], p=[0.6, 0.33, 0.07]))
        price = float(np.exp(fair + noise(rng))) * qty * qty**LOG_QTY_DISCOUNT
        listed = sold_on - pd.Timedelta(days=int(rng.exponential(150)) + 1) if rng.random() < 0.3 else None
        sales.append(Sale(sold_on, piece, qty, like_an_owner(price), channel, fair, None, listed))
    return sales


def draw_country(rng: np.random.Generator, channel: str) -> str:
    if channel in ("fair", "direct"):
        return "DE"
    return str(rng.choice(list(COUNTRIES), p=list(COUNTRIES.values())))
