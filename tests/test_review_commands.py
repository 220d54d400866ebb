"""The commands lots, sets, margins and describe: tables in columns, missing tables in words, exit statuses."""

import pandas as pd
import pytest
from spreadsheet.stand_in import StandInModel

import pricing.price_model
from pricing.command_line import BAD_CALL, DONE, PROBLEMS, main
from pricing.command_line.text_table import _FORMATS, text_table
from pricing.spreadsheet.style import NUMERIC_KINDS
from pricing.spreadsheet.tables import ResultColumn

TABLES = {
    "stock": "sku,type,maker,grade,qty,set_size,lot,cost,ask,note\n" + "".join(
        f"T{n},EL84,Tivenshaw,used good,1,1,L1,4,25,=1+1\n" for n in range(4)),
    "readings": "sku,tested_on,tester,test,value,nominal,volts\n" + "".join(
        f"T{n},2025-01-02,bench A,plate current,{48 + n / 10},,250\n" for n in range(4)),
    "lots": "lot,bought_on,seller,paid,tubes,rejects\nL1,2024-05-01,estate,30,6,2\n",
    "offers": "offer,type,qty,ask\nO1,EL84,8,40\n",
}


class DearerSets(StandInModel):
    """Medians in place of a fit, a set dearer than its tubes."""

    def estimate(self, items, **choices):
        return super().estimate(items, **choices).assign(
            fair_price=lambda quote: quote["fair_price"] * items["set_size"].to_numpy() ** 1.2)


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """No fit: these tests are about the commands."""
    monkeypatch.setattr(pricing.price_model, "fit_price_model",
                        lambda sales, settings=None, register=None: DearerSets(sales))


@pytest.fixture
def book(tmp_path):
    """A folder of tables: 40 sales of EL84 in two years, and TABLES."""
    sales = "sold_on,type,maker,grade,price,cost,sku\n" + "".join(
        f"{2024 + n % 2}-{1 + n % 12:02d}-11,EL84,Tivenshaw,used good,{20 + n % 7},6,\n" for n in range(40))
    for name, text in {"sales": sales, **TABLES}.items():
        (tmp_path / f"{name}.csv").write_text(text)
    return tmp_path


def test_numbers_stand_right_and_words_left():
    """Columns line up, missing values are blank, line breaks do not break the table, no row is "none"."""
    columns = (ResultColumn("a", "name"), ResultColumn("b", "sum", "money"), ResultColumn("c", "share", "percent"))
    frame = pd.DataFrame({"a": ["x", "two\nlines"], "b": [5.0, 1234.5], "c": [None, 12.34]})
    assert text_table(frame, columns).splitlines() == [
        "  name            sum   share", "  x              5.00", "  two lines  1,234.50  12.3 %"]
    assert text_table(frame.head(0), columns) == "  none"
    assert set(_FORMATS) == NUMERIC_KINDS


@pytest.mark.parametrize(("words", "expected"), [
    (["lots"], ("L1", "30.00", "33.3 %", "Offers of four tubes or more:", "O1", "Amounts in")),
    (["sets"], ("1 quad", "T0, T1, T2, T3", "bench A at 250 V", "nothing of bias")),
    (["margins"], ("By family, ", "EL84 kin", "all", "Sales against ", "quantity")),
    (["margins", "--by", "maker", "--from", "2025-01-01", "--to", "2025-06-30"],
     ("By maker, 2025-01-01 to 2025-06-30:", "Tivenshaw", "Sales against 2024-07-04 to 2024-12-31:")),
    (["alternatives", "--type", "6BQ5", "--price", "60"],
     ("6BQ5: 60.00", "5 cheaper: 5 of the same type", "58.3 %", "25.00", "in place of 60.00", "Lethal voltages")),
    (["alternatives", "--type", "EL84", "--price", "1"], ("Nothing that could stand in", "none")),
    (["describe", "T1", "t2"], ("EL84\n", "Grade, as we state it: used, good", "plate current 48.1 mA at 250 V")),
])
def test_what_is_told(book, capsys, words, expected):
    """Each command tells its tables and ends with 0; nothing is written."""
    before = sorted(book.iterdir())
    assert main([words[0], str(book), *words[1:]]) == DONE
    said = capsys.readouterr().out
    assert all(word in said for word in expected), said
    assert sorted(book.iterdir()) == before


@pytest.mark.parametrize(("words", "drop", "status", "expected"), [
    (["lots"], ("lots", "offers"), BAD_CALL, "no usable row in Lots or Offers"),
    (["sets"], ("readings",), BAD_CALL, "no usable row in Readings"),
    (["sets"], ("stock",), BAD_CALL, "no usable row in Stock"),
    (["margins", "--from", "soon"], (), BAD_CALL, "--from soon: not a date"),
    (["margins", "--from", "2025-06-01", "--to", "2025-01-01"], (), BAD_CALL, "ends before it begins"),
    (["margins", "--to", "1999-01-01"], (), BAD_CALL, "No sale from"),
    (["alternatives"], (), BAD_CALL, "Name the type that is wanted with --type"),
    (["alternatives", "--type", "EL8444"], (), PROBLEMS, "does not know the type 'EL8444'"),
    (["alternatives", "--type", "EL84", "--circuit", "Nowhere"], (), PROBLEMS, "no circuit or position 'Nowhere'"),
    (["describe"], (), BAD_CALL, "Name either the codes of the pieces"),
    (["describe", "T1", "--all", "x.csv"], (), BAD_CALL, "or --all FILE"),
    (["describe", "T1"], ("stock",), PROBLEMS, "no usable row in Stock"),
    (["describe", "T9"], (), PROBLEMS, "Stock has no piece 'T9'"),
    (["describe", "T1", "--template", "nowhere.txt"], (), BAD_CALL, "nowhere.txt: No such file"),
])
def test_what_is_missing_is_said(book, capsys, words, drop, status, expected):
    """A missing table, a bad date, an unknown code: what is wrong in words, and the exit status."""
    for name in drop:
        (book / f"{name}.csv").unlink()
    assert main([words[0], str(book), *words[1:]]) == status
    assert expected in capsys.readouterr().err


def test_describe_all_by_a_template(book, tmp_path, capsys):
    """A file of every piece, HTML escaped, formulas held down, never over a file unasked; a bad template is told of."""
    template, out = tmp_path / "page.html", tmp_path / "out.csv"
    template.write_text("={sku} {note} {nope}", encoding="utf-8")
    call = ["describe", str(book), "--all", str(out), "--template", str(template)]
    assert main(call) == PROBLEMS
    told = capsys.readouterr()
    assert "page.html: Line 1 of the template: '{nope}' is no place" in told.err and "4 texts began with" in told.out
    assert pd.read_csv(out)["facts"].iloc[0] == "'=T0 =1+1 {nope}"
    assert main(call) == BAD_CALL and "--overwrite" in capsys.readouterr().err
    template.write_bytes(b"\xff\xfe\x00{sku}")
    assert main([*call, "--overwrite"]) == BAD_CALL and "no text in UTF-8" in capsys.readouterr().err
    template.write_text(" \n")
    assert main([*call, "--overwrite"]) == BAD_CALL and "is empty" in capsys.readouterr().err
