"""Meter readings as typed: tests by name, percent of nominal, the balance of sections, and what cannot be right."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pricing.shop_tables import Settings, clean_readings, percent_of_nominal, read_shop, section_balance
from pricing.shop_tables.meter_readings import tests_of_pieces as by_piece

PIECES = pd.DataFrame({"sku": ["A", "B"], "designation": ["EL84", "12AX7A"], "canonical_type": ["EL84", "12AX7"],
                       "family": ["EL84 kin", "12AX7 kin"]})


def cleaned(*rows: tuple, settings: list | None = None) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(readings with their percent, problems by row and code) of rows sku, tester, test, section, value, nominal."""
    frame = pd.DataFrame(rows, columns=["sku", "tester", "test", "section", "value", "nominal"], dtype=object)
    own = Settings.from_rows(settings or [])
    clean, first = clean_readings(frame, settings=own)
    out, second = percent_of_nominal(clean, own, PIECES)
    met = pd.DataFrame([(p.row, p.column, p.code, p.message, p.remedy) for p in first + second],
                       columns=["row", "column", "code", "message", "remedy"])
    return out, met


@pytest.mark.parametrize("typed, test", [
    ("gm", "gm"), ("Gm", "gm"), ("Steilheit", "gm"), ("mutual conductance", "gm"), ("Emission", "emission"),
    ("Ia", "plate current"), ("anode current", "plate current"), ("plate mA", "plate current"), ("GAS", "gas"),
    ("H-K leakage", "leakage"), ("microphonics", "noise"), ("bruit", "noise"),
])
def test_tests_by_their_names(typed, test):
    """A test is known by the trade's words for it (common practice, no source), in some languages."""
    out, problems = cleaned(("A", "bench", typed, "", 5, 5))
    assert out["test"].tolist() == [test] and problems.empty


def test_percent_of_nominal_by_row_and_by_settings():
    """10.17 of 11.3 is 90 %; without a nominal beside it the tester's, then the type's own in Settings counts."""
    rows = [("A", "bench A", "gm", "", 10.17, 11.3), ("A", "bench A", "gm", "", "10,17", None),
            ("A", "bench B", "gm", "", 55, None), ("B", "bench B", "emission", "", 30, None),
            ("A", "bench A", "plate current", "", 48, None), ("A", "bench A", "gas", "", 2, None)]
    out, problems = cleaned(*rows, settings=[
        ("nominal: EL84", 11.3), ("nominal: bench B EL84", 50), ("nominal: bench B 12AX7 emission", 60),
        ("nominal: EL84 plate current", 48)])
    assert out["percent_of_nominal"].tolist() == pytest.approx([90, 90, 110, 50, 100, np.nan], nan_ok=True)
    assert problems.empty


@pytest.mark.parametrize("row, code, column, remedy", [
    (("A", "bench", "gm", "", 0, 11.3), "reading_not_positive", "value", "a dead piece is said by its grade"),
    (("A", "bench", "emission", "", -3, 100), "reading_not_positive", "value", "what the meter showed"),
    (("A", "bench", "gm", "", None, 11.3), "required_missing", "value", "Fill in"),
    (("A", "bench", "gm", "", "strong", 11.3), "number_unreadable", "value", "plain number"),
    (("A", "bench", "gm", "", 11.3, 0), "nominal_not_positive", "nominal", "bogey"),
    (("A", "bench", "gm", "", 11.3, None), "nominal_missing", "nominal", "'nominal: bench EL84 gm'"),
    (("Z", "bench", "gm", "", 11.3, None), "nominal_missing", "nominal", "'nominal: bench TYPE gm'"),
    (("A", "bench", "gm", "", 95, 11.3), "percent_out_of_range", "value", "write 100 in 'nominal'"),
    (("A", "bench", "wobble", "", 5, 5), "unknown_test", "test", "gm, emission"),
    (("A", "bench", None, "", 5, 5), "test_missing", "test", "gm, emission"),
])
def test_what_cannot_be_is_said_with_its_remedy(row, code, column, remedy):
    """Each bad cell has its problem, no percent is made of it, and the row beside it is read."""
    out, problems = cleaned(row, ("A", "bench", "gm", "", 11.3, 11.3))
    first = problems.iloc[0]
    assert (first["row"], first["code"], first["column"]) == (2, code, column) and remedy in first["remedy"]
    assert np.isnan(out["percent_of_nominal"].iloc[0]) and out["percent_of_nominal"].iloc[1] == 100


def test_percentage_typed_into_value():
    """'95%' beside a nominal of 11.3 is 95 % of nominal, and said so; no problem is echoed for the nominal."""
    out, problems = cleaned(("A", "bench", "gm", "", "95%", 11.3), ("A", "bench", "gm", "", "95 %", None))
    assert out["percent_of_nominal"].tolist() == [95, 95]
    assert problems["code"].tolist() == ["percent_in_value"] * 2


def test_zero_gas_is_a_reading():
    """No gas is a good result and no problem; nor is a missing nominal where a test has none."""
    out, problems = cleaned(("A", "bench", "gas", "", 0, None), ("A", "bench", "noise", "", 0, None))
    assert problems.empty and out["percent_of_nominal"].isna().all()


def test_one_missing_nominal_is_one_problem():
    """Forty readings of one type on one tester without a nominal make one problem that counts them."""
    _, problems = cleaned(*[("A", "bench", "gm", "", 10 + i / 10, None) for i in range(40)])
    assert problems["code"].tolist() == ["nominal_missing"] and "40 of its readings" in problems["message"].iloc[0]


def test_cleaning_a_clean_frame_changes_nothing():
    """Readings cleaned twice are the same, the percentage included."""
    frame = pd.DataFrame({"sku": ["A", "A"], "test": ["Steilheit", "gas"], "value": ["95%", 0], "nominal": None})
    once, _ = clean_readings(frame)
    pd.testing.assert_frame_equal(once, clean_readings(once)[0])


def test_section_balance():
    """Weaker over stronger: 8.1 of 9 is 90 %; dissimilar sections compare in percent of their own nominals."""
    out, _ = cleaned(
        ("A", "b", "gm", 1, 9.0, 10), ("A", "b", "gm", 2, 8.1, 10),
        ("B", "b", "gm", 1, 2.0, 2.0), ("B", "b", "gm", 2, 6.0, 8.0), ("C", "b", "gm", 1, 5.0, 5.0))
    met = section_balance(out)
    assert met["balance_pct"].to_dict() == pytest.approx({"A": 90.0, "B": 75.0})
    assert met.loc["A", ["weaker", "test", "tester"]].tolist() == ["2", "gm", "b"]


def test_section_balance_takes_the_newest_and_never_two_testers():
    """A later test replaces an earlier one; section 1 on one tester and 2 on another are not compared."""
    frame = pd.DataFrame({
        "sku": ["A"] * 4 + ["D"] * 2, "tested_on": ["2024-01-01"] * 2 + ["2025-01-01"] * 2 + ["2025-01-01"] * 2,
        "tester": ["a"] * 4 + ["a", "b"], "test": "gm", "section": [1, 2] * 3, "value": [9, 9, 9, 8.1, 9, 9],
        "nominal": 10})
    met = section_balance(percent_of_nominal(clean_readings(frame)[0], Settings())[0])
    assert met["balance_pct"].to_dict() == pytest.approx({"A": 90.0})


def test_newest_test_of_a_piece_stands_last():
    """By sku: plate current first, an undated test before a dated one, the newest last; sections are averaged."""
    frame = pd.DataFrame({
        "sku": "A", "tested_on": ["2026-01-01", None, "2025-01-01", "2025-01-01"],
        "test": ["plate current", "gm", "gm", "gm"], "section": ["", "", 1, 2], "value": [40, 9, 8, 9],
        "nominal": [40, 10, 10, 10]})
    met = by_piece(percent_of_nominal(clean_readings(frame)[0], Settings())[0])
    assert met["percent"].tolist() == [100, 90, 85] and met["lowest"].iloc[-1] == 80 and met["sections"].iloc[-1] == 2


def test_shop_carries_percent_and_balance(tmp_path):
    """A shop as read: readings have their percentage by the type of their sku in Stock, stock its balance."""
    (tmp_path / "sales.csv").write_text("sold_on,type,price\n2024-04-03,EL84,30\n")
    (tmp_path / "stock.csv").write_text("sku,type\nS1,12AX7A\nS2,EL84\n")
    (tmp_path / "settings.csv").write_text("key,value\nnominal: bench 12AX7A,1.6\n")
    (tmp_path / "readings.csv").write_text(
        "sku,tester,test,section,value\nS1,bench,gm,1,1.60\nS1,bench,gm,2,1.44\nS2,bench,gm,,11\n")
    shop = read_shop(tmp_path)
    assert shop.readings["percent_of_nominal"].tolist() == pytest.approx([100, 90, np.nan], nan_ok=True)
    assert shop.stock["balance_pct"].tolist() == pytest.approx([90, np.nan], nan_ok=True)
    assert shop.problems["code"].tolist().count("nominal_missing") == 1
    assert "nominal: bench EL84 gm" in shop.problems.set_index("code").loc["nominal_missing", "remedy"]
