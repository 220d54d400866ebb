"""Line prices in the shop's currency, at the rate of the month."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from typing import Any

from pricing.problems import problem
from pricing.shop_tables.cells import Money, is_blank
from pricing.shop_tables.ledger import Ledger
from pricing.shop_tables.settings import Settings


def home_currency(settings: Settings, currencies: Sequence[str], money: Sequence[Money | None]) -> str:
    """The shop's currency: as Settings say, else the one most lines are in, "" when no line names any."""
    if settings.currency:
        return settings.currency
    signs = [one.currency if one else "" for one in money] or [""] * len(currencies)
    met = Counter(stated or sign for stated, sign in zip(currencies, signs) if stated or sign)
    return met.most_common(1)[0][0] if met else ""


def convert(
    money: Sequence[Money | None],
    prices: Sequence[float],
    stated: Sequence[str],
    raw_stated: Sequence[Any],
    raw_prices: Sequence[Any],
    dates: Sequence[dt.date | None],
    column: str,
    home: str,
    settings: Settings,
    ledger: Ledger,
    today: dt.date,
) -> tuple[list[str], list[float]]:
    """Currency and price in the shop's currency of every line.

    The sign in the price fills a blank currency cell; where the two differ the sign counts and the price is
    reported ("$" beside CAD, AUD or NZD is no difference). A line whose currency has no rate at all is left
    out.
    """
    rated = settings.with_currency(home)
    currencies: list[str] = []
    converted: list[float] = []
    borrowed: Counter[tuple[str, str, str]] = Counter()
    for position, (one, price, name) in enumerate(zip(money, prices, stated)):
        sign = one.currency if one else ""
        if sign and name and sign != name and not (sign == "USD" and name.endswith("D") and name != "USD"):
            ledger.cell(position, column, "currency_conflict", raw_prices[position], sign=sign, stated=name)
            name = sign
        currency = name or sign or home
        currencies.append(currency)
        if price != price or currency == home:
            converted.append(price)
            continue
        date = dates[position] or today
        month = f"{date.year:04d}-{date.month:02d}"
        rate = rated.rate(currency, month)
        if rate is None:
            shown = raw_stated[position] if not is_blank(raw_stated[position]) else raw_prices[position]
            where = "currency" if not is_blank(raw_stated[position]) else column
            ledger.cell(position, where, "no_rate", shown, currency=currency, month=month,
                        home=home or "shop's currency")
            converted.append(float("nan"))
            continue
        if not rate.exact and position not in ledger.left_out:
            borrowed[currency, month, rate.month] += 1
        converted.append(round(price * rate.value, 4))
    for (currency, month, used), count in borrowed.items():
        ledger.table_problems.append(
            problem(
                "rate_of_other_month",
                sheet="Settings",
                row=None,
                column=f"rate: {currency} {month}",
                value=currency,
                currency=currency,
                month=month,
                used=used,
                count=count,
            )
        )
    return currencies, converted
