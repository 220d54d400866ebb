"""Settings: typed, documented, with defaults, and never stopped by a bad row."""

import datetime as dt

import pandas as pd
import pytest

from pricing.decisions.net_proceeds import price_with_ending
from pricing.shop_tables import Settings
from pricing.shop_tables.setting_specs import SPECS


def test_default_rows_read_back_to_the_defaults():
    """The rows of a new workbook say what happens without them: reading them changes no value and reports
    nothing.
    """
    rows = Settings.default_rows()
    met, plain = Settings.from_rows(rows), Settings()
    assert not met.problems
    for spec in SPECS:
        if not spec.parted:
            assert getattr(met, spec.attribute) == getattr(plain, spec.attribute), spec.key
    assert met.fee("marketplace") == plain.fee("marketplace") == (0, 0)


def test_every_setting_is_documented():
    """Every row has a unit and a sentence, keys are unique, and every attribute exists."""
    rows = Settings.default_rows()
    assert all(row["unit"] and row["what it does"].endswith(".") for row in rows)
    assert len({row["key"] for row in rows}) == len(rows)
    assert all(hasattr(Settings(), spec.attribute) for spec in SPECS)


@pytest.mark.parametrize("rows", [
    [{"key": "return rate", "value": "5 %"}], [("return rate", 5)], {"return rate": "5"},
    pd.DataFrame({"key": ["Return Rate"], "value": [5.0]}), [("return_rate", 5), ("", ""), (None, None)],
])
def test_forms_of_rows(rows):
    """Dicts, pairs, a mapping and a frame say the same."""
    met = Settings.from_rows(rows)
    assert met.return_rate_pct == 5 and met.stated == {"return_rate_pct"} and not met.problems


@pytest.mark.parametrize("key, value, attribute, read", [
    ("currency", "€", "currency", "EUR"), ("currency", "gbp", "currency", "GBP"),
    ("date order", "M/D/Y", "date_order", "month"),
    ("sales tax scheme", "Margin scheme for second-hand goods", "tax_scheme", "margin scheme"),
    ("sales tax scheme", "on the price", "tax_scheme", "on the price"),
    ("sales tax rate", "19 %", "tax_rate_pct", 19),
    ("prices include tax", "nein", "prices_include_tax", False),
    ("price endings", "5 9", "price_endings", ("5", "9")),
    ("price endings", 0.5, "price_endings", (".50",)), ("largest cut", "12,5", "largest_cut_pct", 12.5),
    ("Lowest mark-up", 1.5, "lowest_markup", 1.5),
])
def test_values_are_read(key, value, attribute, read):
    """Values in the owner's writing become typed ones."""
    met = Settings.from_rows([(key, value)])
    assert getattr(met, attribute) == read and not met.problems


@pytest.mark.parametrize("key, value, code", [
    ("return rate", "many", "bad_setting"), ("return rate", 400, "bad_setting"),
    ("currency", "shells", "bad_setting"),
    ("rate: USD 2024-13", 0.9, "bad_setting"), ("rate", 0.9, "bad_setting"),
    ("grade: minty", "shiny", "bad_setting"),
    ("price endings", "x", "bad_setting"), ("retrun rate", 4, "unknown_setting"),
    ("heading: Preis", "prize", "bad_setting"),
    ("packing cost: EU", 3, "unknown_setting"),
])
def test_bad_rows_are_reported(key, value, code):
    """A row that cannot be used is one problem that names its row; the default stays."""
    met = Settings.from_rows([{"key": key, "value": value, "row": 7}])
    assert [(p.code, p.row, p.effect) for p in met.problems] == [(code, 7, "cell ignored")]
    assert met == Settings()


def test_exact_words_of_a_bad_setting():
    """The message names the value, the setting, what is wanted and what is used instead."""
    met = Settings.from_rows([("return rate", "many"), ("retrun rate", 4)])
    assert (
        met.problems[0].message
        == "'many' does not fit the setting 'return rate' (a percentage from 0 to 100); 4 is used."
    )
    assert (
        met.problems[1].message
        == "There is no setting 'retrun rate' (near: 'return rate'); the row was not used."
    )


def test_fees_by_channel():
    """A channel's own row comes before the row for all."""
    met = Settings.from_rows(
        [
            ("fee", 5),
            ("fee: Marketplace", "13.25 %"),
            ("fixed fee: marketplace", "0,40"),
            ("postage included: fair", "yes"),
            ("payment fee", 0),
            ("fixed payment fee", 0),
        ]
    )
    assert met.fee("marketplace") == (13.25, 0.40) and met.fee("fair") == (5, 0)
    assert met.postage_included("fair") and not met.postage_included("auction")


def test_rates_by_month():
    """The month's own rate, else the nearest earlier, else the nearest later, else the one without a month.
    """
    met = Settings.from_rows(
        [("currency", "EUR"), ("rate: USD 2024-3", 0.9), ("rate: $ 2024-05", 0.8), ("rate: GBP", 1.2)]
    )
    assert met.rate("USD", "2024-03") == (0.9, "2024-03", True)
    assert met.rate("USD", dt.date(2024, 4, 9)) == (0.9, "2024-03", False)
    assert met.rate("USD", "2024-01") == (0.9, "2024-03", False)
    assert met.rate("USD", "2025-01") == (0.8, "2024-05", False)
    assert met.rate("GBP", "2020-01") == (1.2, "", True)
    assert met.rate("EUR", "2024-01").value == 1 and met.rate("CHF", "2024-01") is None


@pytest.mark.parametrize("endings, price, nearest, up", [
    (".00 .50", 31.2, 31, 31.5), ("5 9", 31.2, 29, 35), ("9.95", 31.2, 29.95, 39.95), (".99", 31, 30.99, 31.99),
    ("99", 60, 99, 99), (".00 .50", 0.2, 0.5, 0.5), ("9", 9, 9, 9), (".50", 31.0, 31.5, 31.5),
])
def test_price_endings(endings, price, nearest, up):
    """Prices move to an ending as Settings reads it: nearest (ties up), and not below a floor."""
    met = Settings.from_rows([("price endings", endings)]).price_endings
    assert float(price_with_ending(price, met)) == nearest
    assert float(price_with_ending(price, met, at_least=price)) == up


def test_nominals_weights_and_words():
    """Tester nominals by tester and type, weights of aspects, and the owner's words."""
    met = Settings.from_rows(
        [("nominal: bench EL84", 11.3), ("quality weight: Warmth", 2), ("era: black glass", "40s")]
    )
    assert met.nominal("Bench", "EL84") == 11.3 and met.nominal("bench", "EL34") is None
    assert met.quality_weight("warmth") == 2 and met.quality_weight("clarity") == 1
    assert met.own_eras == {"black glass": "1940s"}
