"""The command `import` as the owner runs it: told first, written once, nothing lost, nothing half done."""

import csv
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from shop_tables import messy_files

from pricing.command_line import BAD_CALL, DONE, PROBLEMS, main
from pricing.shop_tables import read_shop
from pricing.shop_tables.incoming import read_incoming
from pricing.shop_tables.reading import read_sheets
from pricing.spreadsheet.appending import append_to_workbook

ROOT = Path(__file__).parent.parent

CLEAN = "Datum;Artikel;Preis;Bestellnummer\n13.4.2023;=EL84 pair NOS;32,50;1001\n14.4.2023;600000;7;1002\n"


@pytest.fixture
def book(tmp_path):
    """A new workbook, as `new` makes it."""
    main(["new", str(tmp_path / "shop.xlsx")])
    return tmp_path / "shop.xlsx"


@pytest.fixture
def sold(tmp_path):
    """A file of sales."""
    path = tmp_path / "verkauf.csv"
    path.write_text(CLEAN, encoding="utf-8")
    return path


def files(folder):
    """Names in a folder."""
    return sorted(path.name for path in folder.iterdir())


def test_dry_run_tells_and_writes_nothing(book, sold, capsys):
    """Table, headings, dates, currency, counts, doubts, samples; the folder stays as it was."""
    before, bytes_before = files(book.parent), book.read_bytes()
    assert main(["import", str(sold), "--into", str(book), "--dry-run"]) == PROBLEMS
    said = capsys.readouterr().out
    for words in ("Rows for Sales, told by its name", "Datum = sold_on; Artikel = title", "day first, because 2 dates",
                  "UTF-8; cells separated by semicolons", "2 rows = 2 new + 0 already there + 0 on Problems",
                  "a type into a number; it was", "Row 2 becomes: sold_on 2023-04-13 · type EL84", "Titles read: 2",
                  "Nothing was written (--dry-run)"):
        assert words in said, words
    assert files(book.parent) == before and book.read_bytes() == bytes_before


def test_what_is_written_is_read_again(book, sold, capsys):
    """Dates, numbers and text that looks like a formula stand in the sheet; a second run brings nothing."""
    assert main(["import", str(sold), "--into", str(book)]) == PROBLEMS
    assert "2 rows to Sales" in capsys.readouterr().out
    assert files(book.parent) == ["shop backups", "shop import problems.csv", "shop.xlsx", "verkauf.csv"]
    sales = read_shop(book).sales
    assert sales[["type", "price", "set_size", "grade"]].values.tolist() == [
        ["EL84", 32.5, 2, "new old stock"], ["6E5", 7, 1, "unknown"]]
    sheet = openpyxl.load_workbook(book)["Sales"]
    notes = [cell.value for cell in next(column for column in sheet.columns if column[0].value == "note")]
    assert notes[1:3] == ["title: =EL84 pair NOS; order 1001", "title: 600000; order 1002"]
    once = book.read_bytes()
    main(["import", str(sold), "--into", str(book)])
    said = capsys.readouterr().out
    assert "0 new, 2 already there" in said and "nothing new" in said and book.read_bytes() == once


def test_problems_carry_the_whole_row(book, sold, capsys):
    """What is refused stands in a CSV of its own, with file, sheet, row, cell, the text of the row and a remedy."""
    sold.write_text(CLEAN + "soon;EL34;=1+1;1003\n", encoding="utf-8")
    assert main(["import", str(sold), "--into", str(book)]) == PROBLEMS
    rows = list(csv.DictReader((book.parent / "shop import problems.csv").open(encoding="utf-8-sig", newline="")))
    met = next(row for row in rows if row["column"] == "price")
    assert (met["file"], met["sheet"], met["row"], met["heading"]) == ("verkauf.csv", "verkauf", "4", "Preis")
    assert met["value"] == "'=1+1" and met["remedy"] and met["effect"] == "row left out"
    assert met["whole_row"] == "Datum: soon | Artikel: EL34 | Preis: =1+1 | Bestellnummer: 1003"


@pytest.mark.parametrize("words, said", [
    (["verkauf.csv", "--into", "none.xlsx"], "pricing new"), (["none.csv", "--into", "shop.xlsx"], "no such file"),
    (["shop.xlsx", "--into", "shop.xlsx"], "BOOK itself"), (["alike.csv", "--into", "shop.xlsx"], "--table"),
    (["verkauf.csv", "alike.csv", "--into", "shop.xlsx"], "fit Sales, Stock and Offers alike"),
    (["verkauf.csv", "--into", "shop.xlsx", "--out", "verkauf.csv"], "ends in .xlsx")])
def test_bad_calls_write_nothing(book, sold, capsys, monkeypatch, words, said):
    """Each with its reason and status 2; of several files none is taken when one cannot be read."""
    monkeypatch.chdir(book.parent)
    (book.parent / "alike.csv").write_text("id,title,price,date\n1,EL84,3,2024-05-06\n")
    before = {path.name: path.read_bytes() for path in book.parent.iterdir()}
    assert main(["import", *words]) == BAD_CALL
    assert said in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in book.parent.iterdir()} == before


def test_a_book_that_is_open_is_left_alone(book, sold, capsys):
    """The reason is told, and no list of problems is left behind for rows that are not in."""
    (book.parent / ".~lock.shop.xlsx#").write_text("")
    before = files(book.parent)
    assert main(["import", str(sold), "--into", str(book)]) == BAD_CALL
    assert "Nothing was written" in capsys.readouterr().err and files(book.parent) == before


def test_options(book, tmp_path, capsys):
    """--dates and --table say what a file does not; --out writes a copy; a clean import has status 0."""
    sold = tmp_path / "a.csv"
    sold.write_text("id,type,price,date,cur\n1,EL84,3,04/05/2023,EUR\n")
    book_as_it_was = book.read_bytes()
    call = ["import", str(sold), "--into", str(book), "--table", "sales"]
    assert main([*call, "--dry-run"]) == PROBLEMS and "cannot be read without --dates" in capsys.readouterr().out
    main([*call, "--dates", "month-first", "--out", str(tmp_path / "copy.xlsx")])
    assert book.read_bytes() == book_as_it_was
    assert f"{read_shop(tmp_path / 'copy.xlsx').sales['sold_on'].iloc[0]:%d %B}" == "05 April"
    assert main([*call[:3], str(tmp_path / "copy.xlsx"), "--table", "Sales", "--dates", "month-first"]) == DONE


def test_every_messy_file_at_once(book, tmp_path, capsys):
    """All of them taken over, each line in one place; read again, nothing is new."""
    paths = [str(messy_files.write(file, tmp_path)) for file in messy_files.FILES]
    call = ["import", *paths, "--into", str(book), "--dates", "day-first"]
    assert main(call) == PROBLEMS
    first = capsys.readouterr().out.splitlines()
    assert "In all 528 rows: " in "\n".join(first)
    assert main(call) == PROBLEMS
    assert "In all 528 rows: 0 new, 480 already there, 48 on Problems." in capsys.readouterr().out


def test_a_whole_shop_moves_into_an_empty_workbook(tmp_path):
    """The demo shop's workbook taken over: every clean cell of every table as before but for the spelling of types and
    what went into notes; taken over again, nothing is new.
    """
    demo, new = ROOT / "workbooks" / "demo shop.xlsx", tmp_path / "new.xlsx"
    main(["new", str(new)])
    made = openpyxl.load_workbook(new)
    for sheet in read_sheets(demo):
        if sheet.name in ("Settings", "Types"):
            for row, cells in enumerate(sheet.rows, 1):
                for column, cell in enumerate(cells, 1):
                    made[sheet.name].cell(row, column).value = None if cell == "" else cell
    made.save(new)
    incoming = read_incoming(demo, new)
    append_to_workbook(new, incoming.rows)
    old, moved = read_shop(demo), read_shop(new)
    for table in ("sales", "stock", "asks", "readings", "offers", "listening", "circuits", "lots"):
        before, after = getattr(old, table), getattr(moved, table)
        columns = [name for name in before.columns if name not in ("sheet", "row", "type", "note")]
        pd.testing.assert_frame_equal(before[columns].reset_index(drop=True), after[columns].reset_index(drop=True))
    assert read_incoming(demo, new).count("new") == 0


@pytest.mark.parametrize("begins", ["=", "+", "-", "@", "\t="])
def test_text_never_becomes_a_formula(book, tmp_path, begins):
    """Whatever a text begins with, in every column of text: no cell of the workbook or of the CSV of problems runs."""
    names = ["maker", "brand", "variant", "grade", "tester", "channel", "country", "lot", "return_reason", "sku",
             "note", "title", "order", "type", "era"]
    rows = [["sold_on", "price", *names], ["2024-05-06", "30", *[f"{begins}HYPERLINK(1+1)"] * len(names)],
            ["soon", f"{begins}1+1", *[""] * len(names)]]
    with (tmp_path / "sold.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    main(["import", str(tmp_path / "sold.csv"), "--into", str(book)])
    made = openpyxl.load_workbook(book)["Sales"]
    typed = [cell for cell in made[2] if cell.value is not None]
    assert len(typed) > 10 and not [cell for cell in typed if cell.data_type == "f"]
    told = (tmp_path / "shop import problems.csv").read_text(encoding="utf-8-sig")
    assert not [cell for row in csv.reader(told.splitlines()) for cell in row if cell[:1] in ("=", "+", "-", "@", "\t")]
