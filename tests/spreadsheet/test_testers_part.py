"""The Model sheet's part on testers."""

import pytest

import pricing
from pricing.price_model import with_readings
from pricing.spreadsheet.testers_part import testers_of as part_of
from pricing.spreadsheet.testers_part import testers_words as words_of


@pytest.fixture
def shop(tmp_path):
    """Twenty pieces on two testers, B a fifth higher; one sale and two stock rows."""
    (tmp_path / "sales.csv").write_text("sold_on,type,price,reading_pct,tester\n2024-04-03,EL84,30,108,B\n")
    (tmp_path / "stock.csv").write_text("sku,type,reading_pct,tester\nS2,EL84,90,A\nP1,EL84,,\nS3,EL84,90,C\n")
    rows = [f"P{i},{tester},gm,{value},100" for i in range(20) for tester, value in (("A", 100), ("B", 120))]
    (tmp_path / "readings.csv").write_text("sku,tester,test,value,nominal\n" + "\n".join(rows) + "\n")
    return pricing.read_shop(tmp_path)


def test_rows_say_how_each_tester_reads(shop):
    """Percent against the main tester with its range, pieces, and the tester nobody can compare in words."""
    part = part_of(shop)
    assert part["reads"].round().tolist()[:2] == [0, 20] and part["n_pieces"].tolist() == [20, 20, 0]
    assert part["low"].iloc[1] < part["reads"].iloc[1] < part["high"].iloc[1]
    assert part["what"].iloc[1] == "B, gm: reads 20 % higher than A, from 20 pieces tested here and elsewhere"
    assert part["what"].iloc[2].startswith("C is named in Sales or Stock") and part["reads"].isna().iloc[2]


def test_words_count_what_was_done(shop):
    """How many readings were restated and how many were found; a shop as read says that they stand as written."""
    assert words_of(shop) == "Readings stand as written."
    assert words_of(with_readings(shop)) == "Readings restated: 1 of Sales; taken from Readings: 1 of Stock."
