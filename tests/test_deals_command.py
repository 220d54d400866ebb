"""The command deals, and the line on deals after a refresh."""

import pytest
from spreadsheet.stand_in import StandInModel

import pricing.price_model
from pricing.command_line import BAD_CALL, DONE, main

SALES = "sold_on,type,maker,grade,price\n" + "".join(
    f"{2023 + n % 3}-{1 + n % 12:02d}-11,EL84,Tivenshaw,used good,{20 + n % 7}\n" for n in range(240))
OFFERS = "offer,type,ask,postage,currency\nO1,EL84,3,1,\nO2,EL84,40,1,\nO3,EL84,,1,\nO4,EL84,9,1,XXX\n"
SETTINGS = "key,value\ncurrency,EUR\n"
STOCK = "sku,type,maker,grade,qty,ask\nT1,EL84,Tivenshaw,used good,1,6\nT2,EL84,Tivenshaw,used good,1,60\n"


@pytest.fixture
def book(tmp_path, monkeypatch):
    """A folder of tables, priced by medians."""
    monkeypatch.setattr(pricing.price_model, "fit_price_model",
                        lambda sales, settings=None, register=None: StandInModel(sales))
    for name, text in (("sales", SALES), ("offers", OFFERS), ("stock", STOCK), ("settings", SETTINGS)):
        (tmp_path / f"{name}.csv").write_text(text)
    return tmp_path


def test_deals_are_ranked(book, capsys):
    """Offers with an ask in a known currency, one's own low asks, and why the marked stand there."""
    assert main(["deals", str(book)]) == DONE
    said = capsys.readouterr().out
    assert "1 of 2 offers marked as likely to pay" in said and "1 of 2 pieces on hand marked" in said
    assert said.index("O1") < said.index("O2") and "O3" not in said
    assert "O1: costs 4.00" in said and "T1: asked at 6.00" in said and "(1 on hand at or above it left out)" in said


def test_nothing_to_compare_is_said(book, capsys):
    """Neither offers nor stock."""
    (book / "offers.csv").unlink()
    (book / "stock.csv").unlink()
    assert main(["deals", str(book)]) == BAD_CALL
    assert "no ask to compare" in capsys.readouterr().err


def test_a_refresh_has_a_line_on_deals(book, capsys, tmp_path):
    """How many are marked, and the gain at stake."""
    main(["refresh", str(book), "--out", str(tmp_path / "out.xlsx")])
    assert "1 of 2 offers marked as likely to pay the margin you require: expected gain" in capsys.readouterr().out
