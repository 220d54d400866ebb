"""Price cuts and withdrawals as the Asks table remembers them."""

import numpy as np
import pandas as pd

from pricing.decisions.past_asks import past_asks

STOCK = pd.DataFrame({"sku": ["A", "B", "C", "D"], "ask": [30.0, 20.0, np.nan, 15.0]}, index=[7, 8, 9, 10])
ASKS = pd.DataFrame(
    [("A", 40.0, "2024-01-01", "lowered"), ("A", 36.0, "2024-06-01", ""), ("B", 20.0, "2024-01-01", ""),
     ("C", 50.0, "2024-01-01", "withdrawn"), ("C", 45.0, "2024-05-01", "Withdrawn"), ("A", 99.0, "2027-01-01", "")],
    columns=["sku", "ask", "from_date", "outcome"]).assign(from_date=lambda rows: pd.to_datetime(rows["from_date"]))


def test_cuts_and_withdrawals():
    """A: 40 to 36 to the 30 of Stock, two cuts; B none; C: 50 to 45, one, last withdrawn at 45; D is not in Asks."""
    found = past_asks(STOCK, ASKS, "2026-01-01")
    assert found["cuts"].tolist()[:3] == [2.0, 0.0, 1.0] and np.isnan(found.loc[10, "cuts"])
    assert found["withdrawn_ask"].tolist()[2] == 45.0 and found["withdrawn_ask"].notna().sum() == 1


def test_a_shop_without_asks():
    """Blank columns on the stock's index, whether the table is missing or empty."""
    for asks in (None, ASKS.iloc[:0]):
        found = past_asks(STOCK, asks, "2026-01-01")
        assert found.isna().all().all() and list(found.index) == [7, 8, 9, 10]
