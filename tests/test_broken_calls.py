"""Every command with broken files, odd names and wrong words: status 0, 1 or 2, a sentence, nothing half-written."""

import io
import os
import random
import time
import zipfile

import pytest
from spreadsheet.small_shop import write_small_shop

from pricing.command_line import BAD_CALL, DONE, PROBLEMS, main

MOST_S = 5.0
FUZZED, FUZZED_IN_FULL = 40, 300
COMMANDS = {  # words before and after BOOK
    "check": ([], []), "refresh": ([], []), "export": ([], []), "backtest": ([], []), "deals": ([], []),
    "lots": ([], []), "sets": ([], []), "margins": ([], []), "quote": ([], ["--type", "EL84"]),
    "alternatives": ([], ["--type", "EL84"]), "fit": ([], ["--circuit", "Murgle Ten"]),
    "describe": ([], ["--all", "facts.csv"]), "import": (["more.csv", "--into"], []),
}


def call_of(command, book):
    """The words of `command` on `book`."""
    before, after = COMMANDS[command]
    return [command, *before, str(book), *after]


def contents(folder):
    """Every file below a folder with its bytes."""
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def met(words, capsys):
    """(exit status, what was said, seconds) of a call in this process; an exception is a failure of the test."""
    started = time.perf_counter()
    try:
        status = main(words)
    except SystemExit as left:  # argparse on words it does not know
        status = left.code
    said = capsys.readouterr()
    assert status in (DONE, PROBLEMS, BAD_CALL), (words, status)
    assert "Traceback" not in said.out + said.err
    return status, said, time.perf_counter() - started


def must_refuse(words, capsys, folder):
    """Exit status 2 with one sentence, and nothing written."""
    before = contents(folder)
    status, said, seconds = met(words, capsys)
    lines = [line for line in said.err.splitlines() if not line.endswith(("...", " s"))]  # aside from progress
    assert status == BAD_CALL and lines and lines[-1].endswith((".", ")")), (words, status, said)
    assert contents(folder) == before and seconds < MOST_S
    return lines[-1]


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder to work in, with one good file to import."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "more.csv").write_text("sold_on,type,price\n2025-01-02,EL84,20\n")
    return tmp_path


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Bytes of a small shop workbook."""
    return write_small_shop(tmp_path_factory.mktemp("whole") / "shop.xlsx").read_bytes()


def with_a_damaged_part(content, draw):
    """The workbook with one part cut, emptied, dropped or with bytes changed, and its checksums right."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new:
        hit, how = draw.choice(old.namelist()), draw.choice(("cut", "empty", "drop", "change", "change"))
        for name in old.namelist():
            part = bytearray(old.read(name))
            if name == hit:
                if how == "drop":
                    continue
                if how == "empty":
                    part.clear()
                elif how == "cut":
                    del part[draw.randrange(len(part)):]
                else:
                    for _ in range(draw.randrange(1, 30)):
                        part[draw.randrange(len(part))] = draw.randrange(32, 127)
            new.writestr(name, bytes(part))
    return buffer.getvalue()


def damaged(content, draw):
    """The workbook cut short, with bits turned, or with a damaged part."""
    how = draw.choice(("cut", "bits", "part", "part"))
    if how == "part":
        return with_a_damaged_part(content, draw)
    data = bytearray(content)
    if how == "cut":
        del data[draw.randrange(len(data)):]
    else:
        for _ in range(draw.randrange(1, 9)):
            data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
    return bytes(data)


@pytest.mark.parametrize("count", [FUZZED, pytest.param(FUZZED_IN_FULL, marks=pytest.mark.slow)])
def test_damaged_workbooks(here, whole, capsys, count):
    """Each seed a damaged workbook and a command: read or refused, and where refused nothing is written."""
    for seed in range(count):
        draw = random.Random(seed)
        book = here / f"{seed}" / "shop.xlsx"
        book.parent.mkdir()
        book.write_bytes(damaged(whole, draw))
        before = contents(here)
        command = list(COMMANDS)[seed % len(COMMANDS)]
        try:
            status, said, seconds = met(call_of(command, book), capsys)
        except Exception as error:
            raise AssertionError(f"seed {seed}, {command}") from error
        assert seconds < MOST_S, (seed, command, seconds)
        if status == BAD_CALL:
            assert contents(here) == before, (seed, command)
            assert said.err.strip().endswith((".", ")")), (seed, command, said)
        for name in ("facts.csv",):
            (here / name).unlink(missing_ok=True)


ODD = {
    "missing": "missing.xlsx", "long": "x" * 300 + ".xlsx", "zero": "no\0thing.xlsx", "no letters": "\udcff\udcfe.xlsx",
    "circle": "circle.xlsx", "below a file": "more.csv/inner.xlsx", "here": ".", "folder": "folder.xlsx",
    "device": "/dev/null", "pipe": "pipe.xlsx", "kind": "picture.png", "home": "~/shop.xlsx", "net":
    "http://localhost/shop.xlsx", "letters": "магазин 💡 \u202e.xlsx", "lines": "two\nlines.xlsx",
}


@pytest.fixture
def oddities(here):
    """The folder with a folder named like a workbook, a link to itself, a pipe and a picture."""
    (here / "folder.xlsx").mkdir()
    (here / "circle.xlsx").symlink_to("circle.xlsx")
    (here / "picture.png").write_bytes(b"\x89PNG")
    os.mkfifo(here / "pipe.xlsx")
    return here


def test_a_shop_in_the_folder_one_stands_in(here, capsys):
    """“.” is a folder of CSV files like any other; what is written of it is named after the folder."""
    (here / "more.csv").rename(here / "sales.csv")
    (here / "stock.csv").write_text("sku,type,ask\nA1,EL84,20\nA2,EL99,x\n")
    assert met(["check", "."], capsys)[0] == PROBLEMS
    assert (here.parent / f"{here.name} problems.csv").exists()


@pytest.mark.parametrize("odd", ODD)
def test_books_that_are_none(oddities, capsys, odd):
    """No such file, no file at all, no workbook: a sentence with its name, whatever the command."""
    for command in COMMANDS:
        if command != "import":
            must_refuse(call_of(command, ODD[odd]), capsys, oddities)


@pytest.mark.parametrize("words", [
    [], ["price"], ["check"], ["check", ""], ["check", "{book}", "more"], ["check", "{book}", "--out", "no/where.csv"],
    ["check", "{book}", "--out", ""], ["check", "{book}", "--out", "folder.xlsx", "--overwrite"],
    ["refresh", "{book}", "--out", "no/where.xlsx"], ["refresh", "{book}", "--out", "x.csv"],
    ["refresh", "{book}", "--out", "{book}"], ["refresh", "{book}", "--out", "folder.xlsx", "--overwrite"],
    ["refresh", "{book}", "--folds", "-1"], ["refresh", "{book}", "--folds", "9" * 20],
    ["backtest", "{book}", "--folds", "0"], ["backtest", "{book}", "--folds", "51"], ["quote", "{book}"],
    ["quote", "{book}", "--type", "EL84", "--on", "yesterday"],
    ["quote", "{book}", "--type", "EL84", "--on", "0001-01-01"],
    ["alternatives", "{book}"], ["alternatives", "{book}", "--type", "EL84", "--price", "nan"],
    ["alternatives", "{book}", "--type", "EL84", "--price", "-5"], ["margins", "{book}", "--by", "moon"],
    ["margins", "{book}", "--from", "2030-01-01"], ["margins", "{book}", "--from", "0001-01-01"],
    ["margins", "{book}", "--to", "99999-12-31"], ["describe", "{book}"],
    ["describe", "{book}", "S1", "--all", "f.csv"],
    ["describe", "{book}", "S1", "--template", "{book}"], ["describe", "{book}", "S1", "--template", "folder.xlsx"],
    ["describe", "{book}", "--all", "no/where.csv"], ["export", "{book}", "--out", "no/where.csv"],
    ["demo", "--out", "{book}"], ["demo", "--out", "\0"], ["new", "no/where.xlsx"], ["new", "folder.xlsx"],
    ["new", "folder.xlsx", "--overwrite"], ["new", "shop.pdf"], ["new", "{book}"], ["connect", "spreadsheet"],
])
def test_wrong_words(oddities, whole, capsys, words):
    """Words, dates, numbers and places no command can do anything with: refused before any work, nothing written."""
    (oddities / "shop.xlsx").write_bytes(whole)
    before = contents(oddities)
    status, said, seconds = met([word.format(book="shop.xlsx") for word in words], capsys)
    assert status == BAD_CALL and said.err.strip() and seconds < MOST_S, said
    assert contents(oddities) == before


def test_words_the_system_could_not_read(here, whole, capsys):
    """Letters of another code page in a type or a code: read as what is left of them, no failure."""
    (here / "shop.xlsx").write_bytes(whole)
    for words in (["quote", "shop.xlsx", "--type", "EL\udcff84"], ["describe", "shop.xlsx", "\udcff"],
                  ["alternatives", "shop.xlsx", "--type", "\udcff"]):
        assert met(words, capsys)[0] in (DONE, PROBLEMS)


@pytest.mark.parametrize("name", [
    "100 %s %(x)d $HOME ~ {1}.xlsx", "-rf it's \"ours\" [1]!c#d.xlsx", "two\nlines магазин 💡 *&;|.xlsx",
])
def test_names_are_taken_literally(here, whole, capsys, name):
    """check, refresh and export of a book of any name: that very file, its backup and its CSV files, no other."""
    book = here / name
    book.write_bytes(whole)
    assert met(["check", f"./{name}"], capsys)[0] == PROBLEMS
    assert met(["refresh", f"./{name}", "--folds", "0"], capsys)[0] == DONE
    assert met(["export", f"./{name}", "--out", f"./{name}.csv"], capsys)[0] == DONE
    assert {path.name for path in here.iterdir()} == {
        name, "more.csv", f"{book.stem} problems.csv", f"{book.stem} backups", f"{name}.csv"}
    assert [path.read_bytes() for path in (here / f"{book.stem} backups").iterdir()] == [whole]


def test_a_folder_that_may_not_be_written(here, whole, capsys, monkeypatch):
    """Status 2, the reason, the book as it was; a full disk likewise."""
    (here / "shop.xlsx").write_bytes(whole)
    for trouble in (PermissionError(13, "Permission denied"), OSError(28, "No space left on device")):
        def refuse(*args, trouble=trouble, **kwargs):
            raise trouble
        monkeypatch.setattr("pricing.spreadsheet.package.safe_write.tempfile.mkstemp", refuse)
        for words in (["check", "shop.xlsx"], ["describe", "shop.xlsx", "--all", "f.csv"], ["export", "shop.xlsx"]):
            assert trouble.strerror in must_refuse(words, capsys, here)
    assert trouble.strerror in must_refuse(["refresh", "shop.xlsx", "--folds", "0"], capsys, here)
