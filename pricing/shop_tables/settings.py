"""How the shop works: one row a setting, typed attributes, documented defaults.

Keys with a colon repeat: "fee: marketplace", "rate: USD 2024-03", "grade: minty", "heading: Preis". A key
without its part after the colon ("fee") speaks for every channel that has no row of its own.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import pandas as pd

from pricing.problems import Problem, problem
from pricing.shop_tables import vocabularies
from pricing.shop_tables.cells import is_blank, tidy
from pricing.shop_tables.setting_specs import BY_KEY, SPECS, Spec


class Rate(NamedTuple):
    """Home currency paid for one unit of another, the month it was noted for ("" for a rate without a month).
    """

    value: float
    month: str
    exact: bool


@dataclass(frozen=True)
class Settings:
    """The shop's settings. Percentages are in percent, money in the shop's currency, times in the unit of the
    name.
    """

    currency: str = ""
    date_order: str = ""
    tax_scheme: str = "none"
    tax_rate_pct: float = 0.0
    prices_include_tax: bool = True
    fees_pct: Mapping[str, float] = field(default_factory=dict)
    fees_fixed: Mapping[str, float] = field(default_factory=dict)
    payment_fee_pct: float = 2.9
    payment_fee_fixed: float = 0.30
    packing_cost: float = 1.20
    return_rate_pct: float = 4.0
    count_returned_sales: bool = False
    target_return_pct: float = 60.0
    most_false_finds_pct: float = 10.0
    list_price_aim: str = "most earned"
    markup_without_listings_pct: float = 0.0
    holding_cost_pct_year: float = 12.0
    price_endings: tuple[str, ...] = (".00", ".50")
    minimum_margin_pct: float = 30.0
    lowest_markup: float = 1.3
    highest_markup: float = 12.0
    largest_raise_pct: float = 25.0
    largest_cut_pct: float = 20.0
    reject_below_pct: float = 65.0
    match_plate_current_pct: float = 5.0
    match_gm_pct: float = 10.0
    section_balance_pct: float = 10.0
    range_coverage_pct: float = 80.0
    manual_fitting: bool = False
    postage_included_by: Mapping[str, bool] = field(default_factory=dict)
    rates: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    nominals: Mapping[str, float] = field(default_factory=dict)
    quality_weights: Mapping[str, float] = field(default_factory=dict)
    quality_scales: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    quality_base: float | None = None
    listing_template: str = ""
    listing_is_html: bool = False
    own_grades: Mapping[str, str] = field(default_factory=dict)
    own_eras: Mapping[str, str] = field(default_factory=dict)
    own_channels: Mapping[str, str] = field(default_factory=dict)
    own_headings: Mapping[str, str] = field(default_factory=dict)
    brand_makers: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    stated: frozenset[str] = frozenset()
    problems: tuple[Problem, ...] = field(default=(), repr=False, compare=False)

    @classmethod
    def from_rows(cls, rows: Any, sheet: str = "Settings") -> Settings:
        """Settings from a DataFrame, dicts with `key` and `value` (and `row`), or (key, value) pairs.

        Never raises on content: rows that cannot be used stand in `.problems`, the default stays. Of a key
        given twice the later row counts.
        """
        values: dict[str, Any] = {}
        parts: dict[str, dict[str, Any]] = {}
        stated: set[str] = set()
        problems: list[Problem] = []
        for number, key, value in _key_values(rows):
            if is_blank(key):
                continue
            spec, part = _find(tidy(key))
            if spec is None:
                problems.append(_unknown(tidy(key), sheet, number))
                continue
            if is_blank(value):
                continue
            read = spec.read(value) if not spec.parted or _part_fits(spec, part) else None
            if read is None:
                default = "the default" if spec.parted else tidy(spec.default)
                problems.append(
                    problem(
                        "bad_setting",
                        sheet=sheet,
                        row=number,
                        column=tidy(key),
                        value=tidy(value),
                        wanted=spec.wanted,
                        default=default,
                    )
                )
                continue
            stated.add(spec.attribute)
            if spec.parted:
                _store(parts, spec, part, read)
            else:
                values[spec.attribute] = read
        return cls(**values, **parts, stated=frozenset(stated), problems=tuple(problems))

    @staticmethod
    def default_rows() -> list[dict[str, str]]:
        """Rows of the Settings sheet of a new workbook: key, value, unit, what it does. Reading them back
        changes nothing that matters: example rows (rates, spellings) have a blank value.
        """
        return [{"key": spec.key, "value": spec.default, "unit": spec.unit, "what it does": spec.help}
                for spec in SPECS]

    def fee(self, channel: str) -> tuple[float, float]:
        """(percent of the price, fixed part) that selling through a channel costs, without the payment fee.
        """
        return _by_channel(self.fees_pct, channel), _by_channel(self.fees_fixed, channel)

    def postage_included(self, channel: str) -> bool:
        """True when prices in this channel include postage."""
        return bool(_by_channel(self.postage_included_by, channel))

    def rate(self, currency: str, month: Any) -> Rate | None:
        """Home currency for one unit of `currency` in a month ("2024-03" or a date); None when no rate is
        known at all.

        A month without a rate of its own takes the nearest earlier one, failing that the nearest later one,
        failing that the rate without a month; `exact` is False then, except for a rate without a month that
        stands alone.
        """
        if not currency or currency == self.currency:
            return Rate(1.0, "", True)
        by_month = self.rates.get(currency)
        if not by_month:
            return None
        wanted = month if isinstance(month, str) else f"{month.year:04d}-{month.month:02d}"
        if wanted in by_month:
            return Rate(by_month[wanted], wanted, True)
        months = sorted(name for name in by_month if name)
        if not months:
            return Rate(by_month[""], "", True)
        earlier = [name for name in months if name < wanted]
        used = earlier[-1] if earlier else months[0]
        return Rate(by_month[used], used, False)

    def nominal(self, tester: str, type_name: str, test: str = "") -> float | None:
        """Nominal reading of a type on a tester, None when Settings has none.

        A row may name the test ("nominal: bench EL84 emission"); for plate current, which a tester shows beside its
        own scale, it must.
        """
        parts = [f"{tester} {type_name} {test}", f"{type_name} {test}"] if test else []
        if test != "plate current":
            parts += [f"{tester} {type_name}", type_name]
        for part in parts:
            if vocabularies.plain(part) in self.nominals:
                return self.nominals[vocabularies.plain(part)]
        return None

    def brand_table(self) -> pd.DataFrame:
        """Makers that the owner knows a brand to have sold: brand, maker, share (of the brand's pieces)."""
        rows = [(brand, maker, share) for brand, makers in self.brand_makers.items() for maker, share in makers.items()]
        return pd.DataFrame(rows, columns=["brand", "maker", "share"])

    def quality_weight(self, aspect: str) -> float:
        """Weight of a listening aspect, 1 unless Settings says otherwise."""
        return self.quality_weights.get(vocabularies.plain(aspect), 1.0)

    def quality_scale(self, aspect: str) -> tuple[float, float] | None:
        """(lowest, highest) score of a listening aspect, None where Settings states none."""
        return self.quality_scales.get(vocabularies.plain(aspect), self.quality_scales.get(""))

    def with_currency(self, currency: str) -> Settings:
        """The same settings with the home currency filled in."""
        return replace(self, currency=currency)


def _by_channel(entries: Mapping[str, Any], channel: str) -> Any:
    for name in (channel, ""):
        if name in entries:
            return entries[name]
    return 0.0


def _key_values(rows: Any) -> Iterable[tuple[int | None, Any, Any]]:
    """(row number, key, value) of every form of rows."""
    if hasattr(rows, "to_dict"):
        rows = rows.to_dict("records")
    if isinstance(rows, Mapping):
        rows = list(rows.items())
    for position, row in enumerate(rows or (), 2):
        if isinstance(row, Mapping):
            number = row.get("row")
            yield (int(number) if isinstance(number, int | float) and number == number else position,
                   row.get("key"), row.get("value"))
        else:
            cells = list(row)
            yield position, cells[0] if cells else None, cells[1] if len(cells) > 1 else None


def _find(key: str) -> tuple[Spec | None, str]:
    """The setting a key names and the part after its colon."""
    name, colon, part = key.partition(":")
    words = vocabularies.plain(name)
    spec = BY_KEY.get(words)
    if spec is None or (colon and not spec.parted):
        return None, ""
    return spec, tidy(part)


def _unknown(key: str, sheet: str, row: int | None) -> Problem:
    near = difflib.get_close_matches(vocabularies.plain(key.partition(":")[0]), BY_KEY, n=1, cutoff=0.7)
    return problem("unknown_setting", sheet=sheet, row=row, column="key", value=key,
                   near=f" (near: '{BY_KEY[near[0]].key}')" if near else "")


_RATE_PART = re.compile(r"(?i)(?P<currency>[^\d\s]+)(?:\s+(?P<month>\d{4}\s?-\s?\d{1,2}))?")


def _part_fits(spec: Spec, part: str) -> bool:
    if spec.attribute == "rates":
        met = _RATE_PART.fullmatch(part)
        return bool(met) and (not met["month"] or 1 <= int(met["month"].split("-")[1]) <= 12)
    return bool(part) or spec.attribute in ("fees_pct", "fees_fixed", "postage_included_by", "quality_scales")


def _store(parts: dict[str, dict[str, Any]], spec: Spec, part: str, value: Any) -> None:
    entries = parts.setdefault(spec.attribute, {})
    if spec.attribute == "rates":
        met = _RATE_PART.fullmatch(part)
        year, _, month = (met["month"] or "").replace(" ", "").partition("-")
        by_month = entries.setdefault(vocabularies.read_currency(met["currency"]), {})
        by_month[f"{year}-{int(month):02d}" if month else ""] = value
    elif spec.attribute in ("fees_pct", "fees_fixed", "postage_included_by"):
        entries[vocabularies.read_channel(part).value if part else ""] = value
    elif spec.attribute == "brand_makers":
        entries[part] = value  # a name, as it stands in the brand column
    else:
        entries[vocabularies.plain(part)] = value
