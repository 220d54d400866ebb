"""Every command, run as the owner would: words, files, exit status, and nothing written where it should not
be.
"""

import csv
import os
import subprocess
import sys
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from spreadsheet.small_shop import SALES_HEADINGS, sales_rows, write_small_shop
from spreadsheet.stand_in import StandInModel

import pricing.price_model
from pricing.command_line import BAD_CALL, DONE, PROBLEMS, command_parser, demo_data_folder, main

ROOT = Path(__file__).parent.parent


@pytest.fixture
def quick(monkeypatch):
    """The stand-in of medians in place of the fit, so that these tests are about the commands."""
    monkeypatch.setattr(
        pricing.price_model,
        "fit_price_model",
        lambda sales, settings=None, register=None: StandInModel(sales),
        raising=False,
    )
    monkeypatch.setattr(
        "pricing.decisions.time_to_sale.learn_from_asks", lambda model, spells: "a stand-in learns from sales only"
    )
    monkeypatch.setattr("pricing.spreadsheet.record_section.record_for_refresh", lambda shop, folds=None: None)


@pytest.fixture
def book(tmp_path):
    """A small dirty shop workbook."""
    return write_small_shop(tmp_path / "shop.xlsx")


def files(folder):
    """Names in a folder."""
    return sorted(path.name for path in folder.iterdir())


def test_refresh_in_place_says_what_matters(quick, book, capsys):
    """BOOK has the result sheets, BOOK as it was is in the folder of backups, and the counts, the money, the biggest
    and the rows left out are told.
    """
    before = book.read_bytes()
    assert main(["refresh", str(book)]) == DONE
    assert files(book.parent) == ["shop backups", "shop.xlsx"]
    assert [path.read_bytes() for path in (book.parent / "shop backups").iterdir()] == [before]
    assert {"Price list", "My notes"} <= set(openpyxl.load_workbook(book, read_only=True).sheetnames)
    said = capsys.readouterr().out
    for words in (
        "1 to raise",
        "1 to lower",
        "1 to look at yourself",
        "1 without an ask yet",
        "1 sold out",
        "Most money at stake:",
        "S2 12AX7",
        "60 sales read: 58 used, 2 left out",
        "with no readable price",
        "everything else in it is as it was",
        "shop backups",
        "teach back a habit",
    ):
        assert words in said


def test_every_refresh_leaves_a_backup(quick, book):
    """A second refresh keeps what the first had written; no backup replaces another."""
    assert main(["refresh", str(book)]) == DONE
    first = book.read_bytes()
    assert main(["refresh", str(book)]) == DONE
    kept = [path.read_bytes() for path in (book.parent / "shop backups").iterdir()]
    assert len(kept) == 2 and first in kept


def test_a_book_that_is_open_is_left_alone(quick, book, capsys):
    """Open in a spreadsheet program: the results go to a new workbook, and the reason is told."""
    before = book.read_bytes()
    (book.parent / ".~lock.shop.xlsx#").write_text("")
    assert main(["refresh", str(book)]) == PROBLEMS
    assert book.read_bytes() == before and "shop (refreshed 2025-12-24).xlsx" in files(book.parent)
    said = capsys.readouterr().out
    assert "open in LibreOffice" in said and "Close it there" in said


def test_out_is_never_replaced_unasked(quick, book, tmp_path, capsys):
    """--out on a file that is there: message and status 2; with --overwrite it is replaced; BOOK itself
    never is.
    """
    target = tmp_path / "other.xlsx"
    target.write_text("mine")
    before = book.read_bytes()
    assert main(["refresh", str(book), "--out", str(target)]) == BAD_CALL
    assert target.read_text() == "mine" and "--overwrite" in capsys.readouterr().err
    assert main(["refresh", str(book), "--out", str(book), "--overwrite"]) == BAD_CALL
    assert "leave --out away" in capsys.readouterr().err
    assert main(["refresh", str(book), "--out", str(tmp_path / "other.csv")]) == BAD_CALL
    assert main(["refresh", str(book), "--out", str(target), "--overwrite"]) == DONE
    assert {"Price list", "My notes"} <= set(openpyxl.load_workbook(target).sheetnames)
    assert book.read_bytes() == before


def test_new(tmp_path, capsys):
    """An empty workbook, once; then only with --overwrite; and only under a workbook's name."""
    path = tmp_path / "mine.xlsx"
    assert main(["new", str(path)]) == DONE and "refresh" in capsys.readouterr().out
    assert main(["new", str(path)]) == BAD_CALL and "is there already" in capsys.readouterr().err
    assert main(["new", str(path), "--overwrite"]) == DONE
    assert main(["new", str(tmp_path / "mine.txt")]) == BAD_CALL and files(tmp_path) == ["mine.xlsx"]
    assert main(["new", str(tmp_path / "nowhere" / "mine.xlsx")]) == BAD_CALL
    assert "there is no folder" in capsys.readouterr().err


def test_refreshing_an_empty_workbook(tmp_path, capsys):
    """A workbook nobody has typed in has nothing to price: said so, status 2, nothing written."""
    path = tmp_path / "mine.xlsx"
    main(["new", str(path)])
    assert main(["refresh", str(path)]) == BAD_CALL
    assert "no sales" in capsys.readouterr().err and files(tmp_path) == ["mine.xlsx"]


def test_check_lists_problems_beside(book, capsys):
    """Status 1, the report, and every problem in a CSV; then again only over it when asked."""
    assert main(["check", str(book)]) == PROBLEMS
    said = capsys.readouterr().out
    assert "60 rows read, 58 used, 2 left out" in said and "shop problems.csv" in said
    rows = list(csv.DictReader((book.parent / "shop problems.csv").open(encoding="utf-8-sig", newline="")))
    assert {"14", "15"} <= {row["row"] for row in rows if row["effect"] == "row left out"}
    assert main(["check", str(book)]) == BAD_CALL
    assert main(["check", str(book), "--overwrite"]) == PROBLEMS


def test_check_of_a_clean_shop(tmp_path, capsys):
    """No problems: status 0 and no file."""
    sales = [[row[0].date().isoformat(), *row[1:11]] for row in sales_rows()[17:40]]
    path = write_small_shop(
        tmp_path / "clean.xlsx", sales=sales, sales_headings=SALES_HEADINGS[:11], stock=False
    )
    assert main(["check", str(path)]) == DONE
    assert "No problems met" in capsys.readouterr().out and files(tmp_path) == ["clean.xlsx"]


def test_quote(quick, book, capsys):
    """Price, range, build-up, sales behind and the caution."""
    status = main(
        ["quote", str(book), "--type", "EL84", "--grade", "NOS", "--maker", "Tivenshaw", "--set-size", "2"]
    )
    said = capsys.readouterr().out
    assert status == DONE
    for words in (
        "Fair price",
        "one sale in five falls outside",
        "Sales behind it",
        "How the price builds up",
        "not an appraisal",
    ):
        assert words in said


def test_quote_of_an_unknown_type(quick, book, capsys):
    """Priced with what there is, status 1, and the near spellings are named."""
    assert main(["quote", str(book), "--type", "QQ99ZZ"]) == PROBLEMS
    assert "does not know the type 'QQ99ZZ'" in capsys.readouterr().err


def test_quote_on_a_date_that_is_none(quick, book, capsys):
    """A date that cannot be read is a bad call."""
    assert main(["quote", str(book), "--type", "EL84", "--on", "soon"]) == BAD_CALL
    assert "write it as" in capsys.readouterr().err


def test_backtest(book, capsys):
    """Words first, then tables whose numbers end in one column; few sales claim nothing; status 0."""
    assert main(["backtest", str(book), "--folds", "2"]) == DONE
    said = capsys.readouterr().out
    assert "58 usable sales are too few to tell" in said and "2 stretches of time" in said
    table = said.split("How far prices named lay from prices paid\n")[1].split("\n\n")[0].splitlines()
    assert len(table) == 5 and len({len(line) for line in table}) == 1
    assert table[0].split("  ")[1] == "price named by" and table[1].split()[:2] == ["price", "model"]
    assert not any(line.lstrip().startswith("%") for line in said.splitlines())


def test_backtest_of_too_few_sales(tmp_path, capsys):
    """No sale could be priced from earlier ones: said so, status 1; no stretch asked for: status 2."""
    path = write_small_shop(tmp_path / "shop.xlsx", sales=sales_rows()[17:40], stock=False)
    assert main(["backtest", str(path)]) == PROBLEMS
    assert "None of the 23 usable sales could be priced" in capsys.readouterr().out
    assert main(["backtest", str(path), "--folds", "0"]) == BAD_CALL
    assert "at least one stretch" in capsys.readouterr().err


def test_refresh_shows_the_record(book, capsys):
    """Past sales are priced again unless --folds 0; the Model sheet and the summary say how close."""
    copies = [book.with_name("with.xlsx"), book.with_name("without.xlsx")]
    assert main(["refresh", str(book), "--out", str(copies[0])]) == DONE
    assert main(["refresh", str(book), "--out", str(copies[1]), "--folds", "0"]) == DONE
    assert capsys.readouterr().out.count("Record: half of") == 1
    with_record, without = (
        {cell.value for row in openpyxl.load_workbook(path)["Model"].iter_rows() for cell in row}
        for path in copies
    )
    assert "least squares on type, maker, era and grade" in with_record
    assert any("were not tried on past sales" in str(value) for value in without)


def test_export_holds_formulas_down(quick, tmp_path, capsys):
    """Changed asks only; a stock code that begins with = is written as text a spreadsheet does not run."""
    book = write_small_shop(tmp_path / "shop.xlsx")
    opened = openpyxl.load_workbook(book)
    opened["Stock"]["A3"].value, opened["Stock"]["A3"].data_type = "=S2", "s"
    opened.save(book)
    assert main(["export", str(book)]) == DONE
    rows = list(csv.DictReader((tmp_path / "shop asks.csv").open(encoding="utf-8-sig", newline="")))
    assert [row["sku"] for row in rows] == ["'=S2", "S3"] and "apostrophe" in capsys.readouterr().out
    assert list(rows[0]) == ["sku", "type", "old ask", "new ask", "reason"]
    assert rows[0]["old ask"] == "14.00" and float(rows[0]["new ask"]) > 14
    assert main(["export", str(book)]) == BAD_CALL


def _broken_books(folder):
    """(path, words of the message) of files that cannot be read."""
    (folder / "text.xlsx").write_text("sold_on,type,price\n2025-01-01,EL84,20\n")
    (folder / "empty.xlsx").write_bytes(b"")
    (folder / "words.doc").write_text("hello")
    write_small_shop(folder / "no sales sheet.xlsx", sales_title="Verschiedenes")
    write_small_shop(
        folder / "no price.xlsx",
        sales_headings=["sold_on", "type", "maker"],
        sales=[row[:3] for row in sales_rows()],
    )
    write_small_shop(folder / "no rows.xlsx", sales=[])
    whole = write_small_shop(folder / "whole.xlsx").read_bytes()
    (folder / "half.xlsx").write_bytes(whole[: len(whole) // 2])
    (folder / "whole.xlsx").unlink()
    return {
        "missing.xlsx": "no such file",
        "text.xlsx": "is not a workbook",
        "empty.xlsx": "is empty",
        "words.doc": "not a kind of file",
        "no sales sheet.xlsx": "no sheet named Sales",
        "no price.xlsx": "no heading for price",
        "no rows.xlsx": "no sales below them",
        "half.xlsx": "damaged",
    }


@pytest.mark.parametrize("command", [["check"], ["refresh"], ["quote", "--type", "EL84"], ["export"], ["backtest"]])
def test_files_that_cannot_be_read(quick, command, tmp_path, capsys):
    """Each says what is wrong and what would mend it, status 2, nothing written, no traceback."""
    for name, words in _broken_books(tmp_path).items():
        before = files(tmp_path)
        assert main([command[0], str(tmp_path / name), *command[1:]]) == BAD_CALL, name
        said = capsys.readouterr().err
        assert words in said and "Traceback" not in said, (name, said)
        assert files(tmp_path) == before


@pytest.mark.parametrize("command", [["refresh"], ["quote", "--type", "EL84"], ["export"], ["backtest"]])
def test_all_sales_rows_bad(quick, command, tmp_path, capsys):
    """Nothing to learn from: how many rows, why, how to see them; status 1, nothing written."""
    rows = [[f"day {number}", "EL84", "", "", "", None, 1, 1, "ask"] for number in range(3)]
    path = write_small_shop(tmp_path / "bad.xlsx", sales=rows, sales_headings=SALES_HEADINGS[:9])
    assert main([command[0], str(path), *command[1:]]) == PROBLEMS
    said = capsys.readouterr().err
    assert "no usable row in Sales" in said and "3 left out" in said and files(tmp_path) == ["bad.xlsx"]


def test_no_stock_sheet(quick, tmp_path, capsys):
    """Without Stock the workbook is still built, with an empty price list, and says so."""
    path = write_small_shop(tmp_path / "shop.xlsx", stock=False)
    assert main(["refresh", str(path)]) == DONE
    assert "no usable row in Stock" in capsys.readouterr().err


@pytest.mark.parametrize(
    "call",
    [[], ["polish"], ["quote", "shop.xlsx"], ["new"], ["refresh", "a", "--fast"], ["backtest", "a", "--folds", "-1"]],
)
def test_wrong_words(call, capsys):
    """Words that are no command, or lack something: usage and status 2."""
    with pytest.raises(SystemExit) as stop:
        main(call)
    assert stop.value.code == BAD_CALL and "usage" in capsys.readouterr().err


def test_demo_into_a_folder(quick, tmp_path, capsys):
    """The demo shop's workbook under a free name, in a folder made for it; it says that the shop is
    invented.
    """
    assert (
        main(["demo", "--out", str(tmp_path / "here")])
        == main(["demo", "--out", str(tmp_path / "here")])
        == DONE
    )
    assert files(tmp_path / "here") == ["demo shop 2.xlsx", "demo shop.xlsx"]
    said = capsys.readouterr().out
    assert "invented shop" in said and "to raise" in said
    rows = pd.read_csv(demo_data_folder() / "sales.csv", dtype=str).shape[0]
    sheet = openpyxl.load_workbook(tmp_path / "here" / "demo shop.xlsx", read_only=True)["Sales"]
    assert sheet.max_row == rows + 1


def test_every_command_has_help_and_the_readme_names_it():
    """Each command explains itself; when there is a README it shows each one."""
    commands = next(
        action for action in command_parser()._actions if action.dest == "COMMAND" or action.choices
    ).choices
    assert set(commands) == {"demo", "new", "import", "check", "refresh", "quote", "export", "backtest", "fit",
                             "alternatives", "deals", "lots", "sets", "margins", "describe", "connect"}
    readme = ROOT / "README.md"
    for name, parser in commands.items():
        assert parser.description and parser.format_help()
        if readme.is_file():
            assert f"pricing {name}" in readme.read_text(encoding="utf-8"), name


def test_as_a_module():
    """`python -m pricing --help` starts in a process of its own, without loading the heavy packages."""
    code = (
        "import sys, runpy; sys.argv = ['pricing', '--help']\ntry: runpy.run_module('pricing', "
        "run_name='__main__')\nexcept SystemExit as stop: print('status', stop.code, 'statsmodels' in "
        "sys.modules, 'pandas' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert "status 0 False False" in done.stdout and "refresh" in done.stdout


def test_a_console_without_cyrillic_is_no_reason_to_stop(tmp_path):
    """What the console cannot show comes as a question mark."""
    (tmp_path / "sales.csv").write_text(
        "sold_on,type,price\n2025-01-01,6Н2П,ждать\n2025-01-02,6Н2П,9\n", encoding="utf-8"
    )
    done = subprocess.run(
        [sys.executable, "-m", "pricing", "check", str(tmp_path), "--out", str(tmp_path / "out.csv")],
        cwd=ROOT,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        text=True,
    )
    assert done.returncode == PROBLEMS and "?" in done.stdout and not done.stderr
