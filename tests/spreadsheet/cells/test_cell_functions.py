"""The cell functions as plain Python: values against the model's own, the cache, handles, fitting in the background."""

import datetime as dt
import os
import stat
import threading
import time
import zipfile

import numpy as np
import pandas as pd
import pytest

from pricing.price_model import fit_price_model
from pricing.price_model.quick_price import QuickPrice
from pricing.register import load_register
from pricing.shop_tables import clean_items
from pricing.shop_tables.one_item import clean_item
from pricing.spreadsheet.cell_functions import model_store, price_functions
from pricing.spreadsheet.cell_functions.cell_values import CellProblem, cell_of, cells_of, result_cell
from pricing.spreadsheet.cell_functions.example_workbook import example_arguments, example_items, example_sales
from pricing.spreadsheet.cell_functions.model_store import ModelStore, Pending, key_of
from pricing.spreadsheet.cell_functions.ranges import settings_of
from pricing.spreadsheet.cell_functions.registry import BY_NAME, FUNCTIONS

SALES, SETTINGS = example_arguments(BY_NAME["MODEL"])
HOME = settings_of(cells_of(SETTINGS))


@pytest.fixture(scope="module")
def fitted():
    """The model of the example's sales, fitted once."""
    return fit_price_model(frame(SALES), HOME, load_register())


@pytest.fixture
def store(fitted, tmp_path, monkeypatch):
    """A store of its own that need not fit anew."""
    own = ModelStore(tmp_path / "models", patience_s=30, fit=lambda *_: fitted)
    monkeypatch.setattr(price_functions, "store", lambda: own)
    return own


def frame(rows):
    """Rows below headings as a frame."""
    return pd.DataFrame(rows[1:], columns=rows[0])


def model_of(store):
    """Handle of the example's model."""
    return BY_NAME["MODEL"](SALES, SETTINGS)


def test_table_gives_what_the_model_estimates(fitted, store):
    """FAIR_TABLE is `PriceModel.estimate` to the last digit, headings above."""
    head, *rows = BY_NAME["FAIR_TABLE"](model_of(store), example_items())
    quote = fitted.estimate(frame(example_items()))
    assert head == ["fair price", "low", "high", "sales behind it", "basis"]
    assert [row[:4] for row in rows] == quote[["fair_price", "low", "high", "n_sales"]].to_numpy().tolist()
    assert [row[4] for row in rows] == quote["basis"].tolist()


def test_single_price_is_the_estimate(fitted, store):
    """FAIR by look-up equals the estimate of the same piece to 1e-12, also with a brand alone."""
    for piece in example_items()[1:]:
        one = dict(zip(example_items()[0], piece))
        got = BY_NAME["FAIR"](model_of(store), one["type"], one["maker"], one["era"], one["grade"], one["reading_pct"],
                              one["set_size"], None, one["variant"], one["brand"])
        assert got == pytest.approx(fitted.estimate(pd.DataFrame([one]))["fair_price"].iloc[0], rel=1e-12)


def test_quick_price_is_the_estimate_over_all_words(fitted):
    """Every grade, set, reading, channel and unknown word: look-up and estimate agree to 1e-12."""
    draw = np.random.default_rng(5)
    words = {
        "type": ["EL84", "6BQ5", "ECC83", "KT88", "QQ99ZZ", "EL84 pair", None], "era": ["1960s", "1938", None],
        "maker": ["Tivenshaw", "Nobody", None], "brand": ["Halcyard", None, "Tivenshaw"], "variant": ["D getter", None],
        "grade": ["NOS", "NIB", "used, 88/91", "used", "weak", "for parts", "pulled or untested", None],
        "reading_pct": [None, 20, 61.5, 100, 130, "0.95"], "set_size": [1, 2, "quad", 3, None],
        "matched": ["yes", None], "channel": ["auction", "own site", None],
    }
    pieces = [{name: draw.choice(np.array(kinds, object)) for name, kinds in words.items()} for _ in range(60)]
    quick, register = QuickPrice.of(fitted), load_register()
    for piece in pieces:
        clean, _ = clean_item(piece, register, HOME)
        expected = fitted.estimate(pd.DataFrame([piece]))["fair_price"].iloc[0]
        assert quick.fair_price(clean) == pytest.approx(expected, rel=1e-12)


def test_one_item_is_cleaned_as_a_frame_of_one():
    """clean_item gives the values and problems of clean_items for the same cells."""
    texts = ["EL84", "12AX7 x2", "6E5", 600000.0, "matched pair EL34", "nonsense", None, "NOS?"]
    register = load_register()
    for number, text in enumerate(texts):
        cells = {"type": text, "grade": texts[-1 - number], "reading_pct": "88/91" if number % 2 else "much",
                 "set_size": number or None, "era": "late 50s?", "maker": "Tivenshaw?", "channel": "web"}
        clean, problems = clean_item(cells, register, HOME)
        expected, expected_problems = clean_items(pd.DataFrame([cells], dtype=object), register, HOME)
        for name, value in clean.items():
            met = expected[name].iloc[0]
            assert value == met or (value != value and met != met), (cells, name)
        assert [(one.column, one.code) for one in problems] == [(one.column, one.code) for one in expected_problems]


def test_why_multiplies_to_the_price_and_comparables_name_rows(store):
    """The factors' product is the fair price; each comparable's row holds the sale it names."""
    model, one = model_of(store), example_items()[:2]
    price = BY_NAME["FAIR_TABLE"](model, one)[1][0]
    steps = BY_NAME["WHY"](model, one)[1:]
    assert np.prod([step[3] for step in steps]) == pytest.approx(price) == steps[-1][4]
    for _, row, sold_on, kind, *_, price, _, _ in BY_NAME["COMPARABLES"](model, 4, one)[1:]:
        sale = SALES[int(row) - 1]
        assert (f"{sale[0]}", sale[1], sale[7]) == (sold_on, kind, price)


def test_rows_stay_beside_their_items(store):
    """Blank and unreadable rows keep their places; the others are priced as without them."""
    items = [["type", "grade"], ["EL84", "used"], [None, None], ["EL84", "minty"], ["EL34", "used"]]
    rows = BY_NAME["FAIR_TABLE"](model_of(store), items)
    alone = BY_NAME["FAIR_TABLE"](model_of(store), [items[0], items[1], items[4]])
    assert [rows[1], rows[4]] == alone[1:] and rows[2] == [""] * 5 and "minty" in rows[3][4] and rows[3][0] == ""


def test_same_data_same_handle(store):
    """Dates, whole numbers, spaces and blank rows as any spreadsheet gives them lead to one handle."""
    days = [[(one - dt.date(1899, 12, 30)).days if isinstance(one, dt.date) else one for one in row] for row in SALES]
    stamps = [[dt.datetime(one.year, one.month, one.day) if isinstance(one, dt.date) else one for one in row]
              for row in SALES]
    padded = [[*(float(one) if isinstance(one, int) else one for one in row), ""] for row in SALES] + [[" "] * 10]
    handles = {BY_NAME["MODEL"](rows, SETTINGS) for rows in (SALES, days, stamps, padded, tuple(map(tuple, SALES)))}
    assert len(handles) == 1 and handles.pop().startswith("300 sales to 2025-08-28, key ")
    dearer = [*SALES[:-1], [*SALES[-1][:7], SALES[-1][7] + 1, SALES[-1][8]]]
    assert key_of(cells_of(SALES), HOME) != key_of(cells_of(dearer), HOME) != key_of(cells_of(dearer), None)


def test_cache_is_private_whole_and_bounded(store, fitted, monkeypatch):
    """Files of their user only, plain arrays and JSON, no more than MOST_FILES; halves left by a crash go."""
    model_of(store)
    (path,) = store.folder.iterdir()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600 and stat.S_IMODE(store.folder.stat().st_mode) == 0o700
    with zipfile.ZipFile(path) as file:
        assert {name.rpartition(".")[2] for name in file.namelist()} == {"npy", "json"}
        assert not any(b"pickle" in file.read(name) for name in file.namelist())
    old = store.folder / "0123456789abcdef.77.part"
    old.write_bytes(b"half")
    os.utime(old, (1, 1))
    monkeypatch.setattr(model_store, "MOST_FILES", 2)
    for number in range(4):
        store._to_disk(model_store.Known(f"{number:016x}", fitted, [["type"]]))
        os.utime(store._path(f"{number:016x}"), (number + 10, number + 10))
    assert len(list(store.folder.iterdir())) == 2 and not old.exists()


def test_another_process_knows_the_handle_and_a_damaged_file_is_fitted_again(store, fitted, monkeypatch):
    """A new store finds the model on disk with equal prices; cut short, the file goes and the handle is unknown."""
    handle = model_of(store)
    price = BY_NAME["LIST_PRICE"](handle, example_items())
    again = ModelStore(store.folder, fit=lambda *_: pytest.fail("fitted although known"))
    known = again.known(handle)
    assert known.handle == handle and known.model.estimate(frame(example_items())).equals(
        fitted.estimate(frame(example_items())))
    monkeypatch.setattr(price_functions, "store", lambda: again)
    assert BY_NAME["LIST_PRICE"](handle, example_items()) == price
    (path,) = store.folder.iterdir()
    path.write_bytes(path.read_bytes()[:5000])
    with pytest.raises(CellProblem, match="No model is known under this handle: recalculate"):
        ModelStore(store.folder).known(handle)
    assert not path.exists()


def test_list_prices_of_a_kept_model_know_listings_as_a_fresh_one_does(tmp_path, monkeypatch):
    """Sales with sku and day of listing, and pieces that stand unsold: read back from disk, the plan is the same."""
    stood = [dt.timedelta(days=10 + number % 90) for number in range(300)]
    sales = [[*SALES[0], "sku", "listed_on"],
             *([*row, f"S{number}", row[0] - stood[number]] for number, row in enumerate(SALES[1:]))]
    items = [["sku", "type", "maker", "grade", "ask", "listed_on"],
             *([f"S{number}", row[1], row[2], row[4], row[7], row[0] - stood[number]]
               for number, row in enumerate(SALES[1:101])),
             *([f"U{number}", row[1], row[2], row[4], 1.6 * row[7], row[0]] for number, row in enumerate(SALES[1:101]))]
    plans = []
    for _ in range(2):
        own = ModelStore(tmp_path, patience_s=60)
        monkeypatch.setattr(price_functions, "store", lambda own=own: own)
        plans.append(BY_NAME["LIST_PRICE"](BY_NAME["MODEL"](sales, SETTINGS), items))
    assert plans[0] == plans[1] and len(plans[0]) == 201 and plans[0][1][2] > 0


def test_a_disk_that_cannot_be_written_leaves_the_model_in_memory(fitted, tmp_path):
    """A file stands where the folder should be: the model serves all the same."""
    (tmp_path / "models").write_text("in the way")
    store = ModelStore(tmp_path / "models", patience_s=30, fit=lambda *_: fitted)
    assert store.known(store.handle(cells_of(SALES), HOME)).model is fitted


def test_a_long_fit_is_pending_and_nobody_waits(fitted, tmp_path, monkeypatch):
    """While one model is fitted, others answer; the same call later gives the handle; stale requests are dropped."""
    gate = threading.Event()

    def slow(*_):
        gate.wait(20)
        return fitted

    store = ModelStore(tmp_path, patience_s=0.05, fit=slow)
    monkeypatch.setattr(price_functions, "store", lambda: store)
    said = BY_NAME["MODEL"](SALES, SETTINGS)
    assert isinstance(said, Pending) and said.startswith("fitting 300 sales: recalculate")
    assert store.state(said.key) is None
    assert "still being fitted" in BY_NAME["FAIR"](said, "EL84") and BY_NAME["RATING"]("EL84", "mu")
    edits = [BY_NAME["MODEL"](SALES[: 200 + number], SETTINGS).key for number in range(8)]
    with pytest.raises(CellProblem, match="broken off: recalculate"):
        store.state(edits[0])
    gate.set()
    for _ in range(100):
        if store.state(said.key):
            break
        time.sleep(0.05)
    assert BY_NAME["MODEL"](SALES, SETTINGS) == store.state(said.key)


@pytest.mark.parametrize("fault, said", [
    (ValueError("none of the 300 sales can be used"), "No model can be fitted: none of the 300 sales can be used."),
    (RuntimeError("odd"), "The fit failed (RuntimeError: odd): recalculate"),
])
def test_a_fit_that_fails_is_a_text_and_may_be_tried_again(tmp_path, fault, said):
    """Whatever a fit raises reaches the cell as words; the next call fits anew."""
    calls = []

    def failing(*_):
        calls.append(1)
        raise fault

    store = ModelStore(tmp_path, patience_s=20, fit=failing)
    for number in (1, 2):
        with pytest.raises(CellProblem) as met:
            store.handle(cells_of(SALES), HOME)
        assert str(met.value).startswith(said) and len(calls) == number


def test_manual_fitting_fits_nothing_new_and_knows_what_is_fitted(store):
    """With manual fitting new sales get a text, known ones their handle: the setting is no part of the key."""
    handle = model_of(store)
    manual = [*SETTINGS, ["manual fitting", "yes"]]
    assert BY_NAME["MODEL"](SALES, manual) == handle
    assert "manual fitting: set 'manual fitting' to no" in BY_NAME["MODEL"](SALES[:200], manual)


def test_what_goes_wrong_inside_is_a_text(store, monkeypatch):
    """A fault of our own becomes a short text, never an exception; results are numbers and texts only."""
    monkeypatch.setattr(ModelStore, "known", lambda *_: 1 / 0)
    assert BY_NAME["FAIR"]("x", "EL84").startswith("This could not be computed (ZeroDivisionError")
    assert len(result_cell("long " * 100)) <= 255
    assert result_cell(float("nan")) == result_cell(None) == "" and result_cell(np.int64(3)) == 3.0
    assert type(cell_of(np.float64(2.5))) is float and cell_of(True) == 1.0


def test_registry_is_fit_for_every_spreadsheet():
    """Names and helps within the limits of Excel (255 characters) and of UNO, VBA and Python (no reserved words)."""
    reserved = {"type", "date", "end", "next", "any", "string", "in", "out", "is", "for", "if", "and", "or", "not"}
    for one in FUNCTIONS:
        assert len(one.help) <= 255 and one.excel_name.startswith("TUBE_") and one.help.endswith(".")
        for argument in one.arguments:
            assert len(argument.help) <= 255 and argument.name not in reserved and argument.name.isidentifier()
        optional = [argument.optional for argument in one.arguments]
        assert optional == sorted(optional)


def test_example_sales_hold():
    """The example's shop is the same on every run: 300 sales, the first and last as written here once."""
    rows = example_sales()
    assert len(rows) == 301 and rows[1][0] == dt.date(2024, 1, 8) and rows[300][0] == dt.date(2025, 8, 28)
