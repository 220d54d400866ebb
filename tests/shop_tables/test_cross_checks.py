"""What only shows across tables: lots against Stock, plate currents against Stock, dates of purchase and sale."""

import datetime as dt

import pandas as pd
import pytest

from pricing.shop_tables import clean_sales, clean_stock
from pricing.shop_tables.cleaning import clean_lots, clean_readings
from pricing.shop_tables.cross_checks import check_across

TODAY = dt.date(2026, 1, 1)
SALE = {"sold_on": "2025-05-01", "type": "EL84", "price": 20}


def tables(**rows):
    """Clean tables of a shop that is in order, with the rows of some replaced."""
    raw = {
        "sales": [SALE | {"sku": "S1", "lot": "L1"}],
        "stock": [{"sku": "S1", "type": "EL84", "qty": 1, "lot": "L1", "acquired_on": "2025-01-01"},
                  {"sku": "S2", "type": "EL84", "qty": 1}],
        "lots": [{"lot": "L1", "bought_on": "2025-01-01", "paid": 50, "tubes": 10, "rejects": 2}],
        "readings": [{"sku": "S2", "test": "plate current", "value": 48, "volts": 250}],
    } | rows
    clean = {"sales": clean_sales, "stock": clean_stock, "lots": clean_lots, "readings": clean_readings}
    return {name: clean[name](pd.DataFrame(part), today=TODAY)[0] for name, part in raw.items()}


def test_a_shop_in_order():
    """Nothing to say of tables that agree, nor of a shop without lots."""
    assert check_across(tables()) == []
    assert check_across(tables(lots=[{"lot": None, "paid": None}])) == []


@pytest.mark.parametrize("change, code, row, value, remedy", [
    ({"lots": [{"lot": "L1", "paid": 5}, {"lot": "L1", "paid": 6}]}, "lot_twice", 3, "L1", "row 2 and delete it"),
    ({"lots": [{"lot": "L1", "paid": 5, "tubes": 4, "rejects": 5}]}, "lot_rejects", 2, "5", "Correct one of the two"),
    ({"lots": [{"lot": "L1", "paid": 5, "tubes": 4.5}]}, "lot_count", 2, "4.5", "whole number"),
    ({"lots": [{"lot": "L9", "paid": 5}], "sales": [SALE]}, "lot_not_listed", 2, "L1", "enter it in Lots"),
    ({"stock": [{"sku": "S2", "type": "EL84", "qty": 9, "lot": "L1"}]}, "lot_overdrawn", 2, "10",
     "'qty' and 'set_size'"),
    ({"readings": [{"sku": "S7", "test": "plate current", "value": 48, "volts": 250}]}, "reading_without_piece", 2,
     "S7", "enter the piece in Stock"),
    ({"stock": [{"sku": "S2", "type": "EL84", "qty": 8}]}, "reading_of_many", 2, "S2", "of its own"),
    ({"readings": [{"sku": "S2", "test": "plate current", "value": 48}]}, "test_volts_missing", 2, "", "plate volts"),
    ({"stock": [{"sku": "S1", "type": "EL84", "acquired_on": "2025-06-01"}, {"sku": "S2", "type": "EL84"}]},
     "sold_before_bought", 2, "2025-06-01", "one of the two dates"),
])
def test_each_fault_is_named(change, code, row, value, remedy):
    """One problem, with its row, the value met and what would mend it; the row stays in use."""
    met = [one for one in check_across(tables(**change)) if one.code == code]
    assert len(met) == 1 and (met[0].row, met[0].value, met[0].effect) == (row, value, "please check")
    assert remedy in met[0].remedy


def test_a_lot_may_be_a_gift():
    """A lot that cost nothing is kept; one without an amount, or below nothing, is left out with its remedy."""
    lots, problems = clean_lots(pd.DataFrame({"lot": ["A", "B", "C"], "paid": [0, None, -5]}), today=TODAY)
    assert lots["paid"].tolist() == [0.0]
    assert [(one.code, one.effect) for one in problems] == [("paid_missing", "row left out"),
                                                            ("paid_negative", "row left out")]
    assert all("0 for a gift" in one.remedy for one in problems)
