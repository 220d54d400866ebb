"""One column read after the other, each by its kind: raw cells in, clean values out, problems into the
ledger.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

from pricing.problems import CHECK, IGNORED, LEFT_OUT
from pricing.shop_tables import cells, sets, vocabularies
from pricing.shop_tables.columns import Column
from pricing.shop_tables.dates import read_dates
from pricing.shop_tables.ledger import Ledger
from pricing.shop_tables.settings import Settings
from pricing.shop_tables.vocabularies import UNKNOWN

_OPEN_DATES = ("from_date", "until_date")
_UNKNOWN_WHEN_BLANK = ("maker", "brand", "variant")


def each(values: Sequence[Any], read: Callable[[Any], Any]) -> list[Any]:
    """`read` of every cell, called once per distinct cell."""
    memory: dict[Any, Any] = {}
    out = []
    for value in values:
        key = (type(value), value)
        try:
            if key not in memory:
                memory[key] = read(value)
            out.append(memory[key])
        except TypeError:  # a cell that cannot be hashed: a list out of a hand-made frame
            out.append(read(str(value)))
    return out


def read_date_column(column: Column, values: Sequence[Any], ledger: Ledger, settings: Settings, sheet: str,
                     today: dt.date) -> list[dt.date | None]:
    """Dates of a column; a required one that is missing, unreadable or (sold_on) in the future leaves its row
    out.
    """
    met = read_dates(values, settings.date_order, today)
    if not met.decided and not settings.date_order:
        from pricing.problems import problem

        other = "month" if met.order == "day" else "day"
        ledger.table_problems.append(problem("date_order_assumed", sheet=sheet, row=None, column=column.name,
                                             value=met.open_example, order=met.order, other=other))
    effect = LEFT_OUT if column.required else IGNORED
    out: list[dt.date | None] = []
    for position, (value, reading) in enumerate(zip(values, met.readings)):
        date = reading.value
        if reading.code:
            ledger.cell(position, column.name, reading.code, value, effect if date is None else None,
                        **reading.details)
        elif date is None and column.required:
            ledger.cell(position, column.name, "date_missing", value)
        if date is not None and date > today and column.name not in _OPEN_DATES:
            ledger.cell(position, column.name, "date_in_future", value,
                        LEFT_OUT if column.name == "sold_on" else CHECK, date=date.isoformat())
        elif date is not None and date.year < 1990:
            ledger.cell(position, column.name, "date_very_old", value, date=date.isoformat())
        out.append(date)
    return out


def read_label_column(column: Column, values: Sequence[Any], ledger: Ledger) -> list[str]:
    """Names tidied; spellings that differ in capitals or punctuation take the most used one, a ? at the end
    is reported.
    """
    blank = UNKNOWN if column.name in _UNKNOWN_WHEN_BLANK else ""
    texts = each(values, lambda value: "" if cells.is_blank(value) else cells.tidy(value))
    counts = Counter(text for text in texts if text)
    chosen: dict[str, str] = {}
    for text, _ in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
        chosen.setdefault(_group(text), text)
    spelt = {text: UNKNOWN if text.casefold() == UNKNOWN else chosen[_group(text)].rstrip("? ") or text
             for text in counts}
    out = [spelt.get(text, blank) for text in texts]
    doubtful = {text for text in counts if text.endswith("?") and spelt[text] != text}
    for position, text in enumerate(texts if doubtful else ()):
        if text in doubtful:
            ledger.cell(position, column.name, "label_doubtful", values[position], taken=spelt[text])
    if column.required:
        _need(column, values, out, ledger)
    return out


def _group(text: str) -> str:
    return vocabularies.plain(text.rstrip("? ")) or text.casefold()


def read_text_column(column: Column, values: Sequence[Any], ledger: Ledger) -> list[str]:
    """Text of a column, "" where blank."""
    out = each(values, lambda value: "" if cells.is_blank(value) else cells.tidy(value))
    if column.required:
        _need(column, values, out, ledger)
    return out


def _need(column: Column, values: Sequence[Any], out: Sequence[str], ledger: Ledger) -> None:
    for position, text in enumerate(out):
        if not text:
            ledger.cell(position, column.name, "required_missing", values[position])


def read_number_column(column: Column, values: Sequence[Any], ledger: Ledger) -> list[float]:
    """Plain numbers, NaN where blank or not a number."""
    return _readings(column, values, ledger, cells.read_number, float("nan"))


def read_percent_column(column: Column, values: Sequence[Any], ledger: Ledger) -> list[float]:
    """Percent of nominal, NaN where blank or not one."""
    return _readings(column, values, ledger, cells.read_percent, float("nan"))


def read_test_column(column: Column, values: Sequence[Any], ledger: Ledger) -> list[str]:
    """Tests by their names in the list, "" where blank or not known."""
    return _readings(column, values, ledger, vocabularies.read_test, "")


def read_flag_column(column: Column, values: Sequence[Any], ledger: Ledger) -> list[bool]:
    """Yes and no; blank is no."""
    return _readings(column, values, ledger, cells.read_flag, False)


def read_era_column(column: Column, values: Sequence[Any], ledger: Ledger, settings: Settings) -> list[str]:
    """Decades, "unknown" where blank or outside 1930 to today."""
    return _readings(
        column, values, ledger, lambda value: vocabularies.read_era(value, settings.own_eras), UNKNOWN
    )


def read_channel_column(
    column: Column, values: Sequence[Any], ledger: Ledger, settings: Settings
) -> list[str]:
    """Channels; the owner's own ones take their most used spelling."""
    met = _readings(
        column, values, ledger, lambda value: vocabularies.read_channel(value, settings.own_channels), UNKNOWN
    )
    return read_label_column(column, met, ledger)


def read_currency_column(values: Sequence[Any]) -> list[str]:
    """Codes of a currency column, "" where blank."""
    return each(values, vocabularies.read_currency)


def read_count_column(column: Column, values: Sequence[Any], ledger: Ledger) -> list[sets.Pieces | None]:
    """What set_size or qty cells say, None where blank or unreadable."""
    return _readings(column, values, ledger, lambda value: sets.read_count(value, column.name), None)


def read_money_column(
    column: Column, values: Sequence[Any], ledger: Ledger, home: str
) -> list[cells.Money | None]:
    """Optional money: costs, fees, postage, asks. A minus is dropped, another currency's sign reported."""
    def read(value: Any) -> cells.Reading:
        met = cells.read_money(value, vocabularies.read_currency)
        if met.value is None:
            return cells.Reading(None, "amount_unreadable" if met.code else None)
        amount = abs(met.value.amount)
        money = met.value._replace(amount=amount)
        if met.value.amount < 0:
            return cells.Reading(money, "amount_negative", {"taken": f"{amount:.2f}"})
        if met.value.currency and home and met.value.currency != home:
            return cells.Reading(money, "foreign_sign", {"sign": met.value.currency, "home": home})
        return cells.Reading(money, met.code, met.details)

    return _readings(column, values, ledger, read, None)


def read_price_column(column: Column, values: Sequence[Any], ledger: Ledger) -> list[cells.Money | None]:
    """Required money: what is missing, unreadable or not above zero leaves its row out. A lot may have cost nothing."""
    lot = column.name == "paid"

    def read(value: Any) -> cells.Reading:
        met = cells.read_money(value, vocabularies.read_currency)
        if met.value is None:
            missing = "paid_missing" if lot else "price_missing"
            return cells.Reading(None, "price_unreadable" if met.code else missing)
        if met.value.amount < 0 and lot:
            return cells.Reading(None, "paid_negative")
        if met.value.amount <= 0 and not lot:
            return cells.Reading(None, "price_not_positive")
        return met

    return _readings(column, values, ledger, read, None)


def _readings(column: Column, values: Sequence[Any], ledger: Ledger, read: Callable[[Any], cells.Reading],
              blank: Any) -> list[Any]:
    out = []
    for position, reading in enumerate(each(values, read)):
        if reading.code:
            ledger.cell(position, column.name, reading.code, values[position], **reading.details)
        out.append(blank if reading.value is None else reading.value)
    return out
