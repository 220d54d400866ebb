"""The cell functions through xlwings' own Windows code under stand-ins: registration, VBA, and calls."""

import datetime as dt
import re
from pathlib import Path

import pytest
from spreadsheet.cells.wrong_inputs import CASES, RANGES
from spreadsheet.excel.windows_stand_ins import BLOCKED, DIV0, MISSING, NA, REF, SPILL, Cells, Windows, odd_results

from pricing.spreadsheet.cell_functions import price_functions
from pricing.spreadsheet.cell_functions.example_workbook import (
    example_arguments,
    example_items,
    example_sales,
    example_sheets,
)
from pricing.spreadsheet.cell_functions.model_store import ModelStore
from pricing.spreadsheet.cell_functions.registry import BY_METHOD, BY_NAME, FUNCTIONS
from pricing.spreadsheet.cell_functions.spec import Argument, CellFunction
from pricing.spreadsheet.excel.connect import MODULE, python_module
from pricing.spreadsheet.excel.vba import RESERVED, vba_module, vba_name

HERE = Path(__file__).parent
GOLDEN = (HERE / "xlwings_udfs.bas").read_text(encoding="ascii")
README = (HERE.parents[2] / "README.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def cache(tmp_path_factory):
    """Folder of kept models, the same for Excel's server and for the plain calls."""
    return tmp_path_factory.mktemp("models")


@pytest.fixture(scope="module")
def windows(tmp_path_factory, cache):
    """Excel's server with the generated module."""
    folder = tmp_path_factory.mktemp("excel")
    (folder / f"{MODULE}.py").write_text(python_module(), encoding="utf-8")
    one = Windows(folder, {"TUBE_PRICE_CACHE": str(cache), "OPENBLAS_NUM_THREADS": "1"})
    yield one
    one.close()


@pytest.fixture(scope="module")
def model(cache):
    """Handle of the example's model by the plain call, all other plain calls using the same store."""
    kept, own = price_functions.store, ModelStore(cache, patience_s=60)
    price_functions.store = lambda: own
    yield BY_NAME["MODEL"](*example_arguments(BY_NAME["MODEL"]))
    price_functions.store = kept


def handed(value):
    """A value of the examples as Excel hands it over: dates as day numbers, numbers floats, errors integers."""
    if isinstance(value, list):
        return Cells([[None if one is None else handed(one) for one in row] for row in value])
    if isinstance(value, dt.date):
        return float((value - dt.date(1899, 12, 30)).days)
    if value is None:
        return MISSING
    return float(value) if isinstance(value, int) and value not in (NA, DIV0) else value


def as_table(result):
    """What VBA gets, as rows: a single row or value comes bare."""
    rows = result if isinstance(result, list | tuple) else [result]
    return [list(row) for row in rows] if isinstance(rows[0], list | tuple) else [list(rows)]


def test_every_function_is_registered_as_the_registry_says(windows):
    """Names, arguments, help within 255 characters, category; never volatile, not called by the wizard, no thread."""
    met = windows.metadata()
    assert set(met) == {one.excel_name for one in FUNCTIONS}
    for one in FUNCTIONS:
        assert met[one.excel_name] == {
            "name": one.excel_name, "sub": False, "category": "Tube prices", "volatile": False, "call_in_wizard": False,
            "async_mode": None, "doc": one.help,
            "arguments": [(vba_name(each.name), each.help, each.optional) for each in one.arguments]}


def test_help_is_cut_at_255_characters(windows):
    """Longer help ends in dots at a word, where Excel would cut it or refuse it."""
    windows.replaced(CellFunction("LONG", odd_results, "Sentence after sentence. " * 30,
                                  (Argument("which", "word " * 99),), '"dates"'))
    met = windows.metadata()["TUBE_LONG"]
    windows.removed("TUBE_LONG")
    for text in (met["doc"], met["arguments"][0][1]):
        assert 240 < len(text) <= 255 and re.search(r"\w\.?\.\.\.$", text)


def test_vba_is_what_xlwings_writes(windows):
    """xlwings' own wrappers are the stored ones (windows_stand_ins.py says how they were made), ours the same."""
    assert windows.vba() == GOLDEN
    ours = vba_module(MODULE, FUNCTIONS)
    assert ours.count("\r\n") == ours.count("\n") and ours.isascii()
    head, _, rest = ours.replace("\r\n", "\n").partition("Function ")
    functions, mark, _ = ("Function " + rest).partition("Sub DescribeTubeFunctions()\n")
    assert functions == GOLDEN and mark
    assert head.startswith('Attribute VB_Name = "xlwings_udfs"\n')


def test_vba_keeps_within_the_editors_limits():
    """Lines of at most 1,023 characters, at most 24 continued ones (Microsoft, VBA reference), quotes doubled."""
    lines = vba_module(MODULE, FUNCTIONS).split("\r\n")
    assert max(map(len, lines)) <= 1023
    runs = "".join("_" if line.endswith(" _") else "." for line in lines)
    assert max(map(len, runs.split("."))) <= 24
    spiky = CellFunction("SAY", odd_results, 'Says "so".', (Argument("text", "t"),), '"dates"')
    assert '"Says ""so""."' in vba_module(MODULE, [spiky])


def test_no_argument_is_a_reserved_word_of_vba():
    """Names go into VBA as they are; a reserved one gets an underscore (VBA is blind to capitals)."""
    names = [vba_name(each.name) for one in FUNCTIONS for each in one.arguments]
    assert all(re.fullmatch(r"[A-Za-z]\w*", name) and name.casefold() not in RESERVED for name in names)
    assert [vba_name(name) for name in ("Date", "variant", "grade", "next", "type")] == [
        "Date_", "variant_", "grade", "next_", "type_"]
    for one in FUNCTIONS:
        assert len({vba_name(each.name).casefold() for each in one.arguments} - {one.excel_name.casefold()}) == len(
            one.arguments)


def test_import_functions_describes_them_as_our_file_does(windows):
    """What xlwings tells Excel on Import Functions is what DescribeTubeFunctions tells it after an import by hand."""
    (text,), said = windows.imported()
    assert text.endswith(GOLDEN)
    assert said == {f"'{MODULE}.xlsm'!{one.excel_name}": {
        "Description": one.help, "Category": one.category,
        "ArgumentDescriptions": [each.help for each in one.arguments]} for one in FUNCTIONS}
    described = vba_module(MODULE, FUNCTIONS).partition("Sub DescribeTubeFunctions()")[2].partition("End Sub")[0]
    texts = [text.replace('""', '"') for text in re.findall(r'"((?:[^"\r]|"")*)"', described)]
    assert texts == [text for one in sorted(FUNCTIONS, key=lambda each: each.excel_name) for text in (
        one.excel_name, one.category, one.help, *(each.help for each in one.arguments))]


@pytest.mark.parametrize("one", FUNCTIONS, ids=lambda one: one.name)
def test_every_example_gives_the_python_value(windows, model, one):
    """Through xlwings' converters each example gives the plain call's value to the last digit; none lacks one."""
    assert one.example.strip() and f"**`{one.excel_name}`**" in README
    expected = one(*example_arguments(one, model))
    got = windows.call(one.excel_name, *map(handed, example_arguments(one, model)))
    assert as_table(got) == as_table(expected)
    assert "could not be computed" not in str(got)


def test_every_example_is_one_of_a_value(model):
    """No example shows a complaint: tables have rows, single values are numbers or handles."""
    for one in FUNCTIONS:
        value = one(*example_arguments(one, model))
        assert isinstance(value, list) and len(value) > 1 if one.gives == "table" else value, one.name
    assert isinstance(BY_NAME["FAIR"](*example_arguments(BY_NAME["FAIR"], model)), float)


def test_a_model_is_fitted_in_the_server(windows):
    """Sales nobody has seen: fitted there, or the text that says so and asks for a recalculation, then the key."""
    sales = handed([*example_sales()[:-1]])
    said = windows.call("TUBE_MODEL", sales, MISSING)
    for _ in range(20):
        if not said.startswith("fitting"):
            break
        assert said == "fitting 299 sales: recalculate (Ctrl+Shift+F9 in Calc, Ctrl+Alt+F9 in Excel)"
        said = windows.call("TUBE_MODEL", sales, MISSING)
    assert re.fullmatch(r"299 sales to 2025-08-26, key [0-9a-f]{16}", said)
    assert windows.call("TUBE_FAIR", said, "EL84", *[MISSING] * 8) > 0


def test_blanks_and_one_cell_ranges_are_what_they_hold(windows, model):
    """A reference to a cell is its value, to an empty one a blank; "" and an argument left out are blanks too."""
    plain = BY_NAME["FAIR"](model, "EL84", None, None, None, 90.0)
    for blank in (MISSING, None, "", Cells([[None]]), Cells([[""]])):
        assert windows.call("TUBE_FAIR", Cells([[model]]), Cells([["EL84"]]), blank, blank, blank, Cells([[90.0]]),
                            blank, blank, blank, blank) == plain
    assert windows.call("TUBE_FAIR", model, Cells([[None]]), *[MISSING] * 8).startswith("'tube' is blank")
    settings = Cells([["currency", "EUR"]])  # one row is a table, not a list
    assert "key" in windows.call("TUBE_MODEL", handed(example_sales()), settings)


@pytest.mark.parametrize("number, name", [
    (NA, "#N/A"), (DIV0, "#DIV/0!"), (REF, "#REF!"), (SPILL, "#SPILL!"), (BLOCKED, "#VALUE!")])
def test_errors_are_told_by_name(windows, model, number, name):
    """An error as an argument, in a cell, and inside a range, also one that has no old name."""
    items = Cells([["type", "grade"], ["EL84", "used"], ["EL84", number]])
    assert windows.call("TUBE_FAIR_TABLE", model, items) == (
        f"'items', row 3, column grade holds the error {name}: mend or empty it.")
    for argument in (number, Cells([[number]])):
        assert windows.call("TUBE_RATING", argument, "mu", MISSING) == (
            f"'tube' holds the error {name}: mend that cell first.")


def test_words_beyond_ascii_come_through(windows, model):
    """Cyrillic, accents and characters outside the 16-bit plane, in and out."""
    items = [["type", "maker", "grade"], ["EL84", "Тивен", None], ["Лампа 🎸", None, None], ["EL84", None, "schön"]]
    got = windows.call("TUBE_FAIR_TABLE", model, Cells(items))
    assert got == BY_NAME["FAIR_TABLE"](model, items)
    assert "Лампа 🎸" in got[2][4] and "schön" in got[3][4]


def test_ten_thousand_rows(windows, model):
    """10,000 rows give the plain call's table; xlwings' converters take under three seconds of it."""
    items = [example_items()[0], *(example_items()[1 + number % 6] for number in range(10_000))]
    expected = BY_NAME["FAIR_TABLE"](model, items)
    first = windows.call("TUBE_FAIR_TABLE", model, handed(items))
    seconds, again = windows.timed("TUBE_FAIR_TABLE", model, handed(items))
    assert len(first) == 10_001 and first == again == expected
    assert seconds < 3


def test_of_whole_columns_only_the_used_part_is_read(windows, model):
    """A:I of a sheet with 301 used rows is one read of 301 rows, and the same model."""
    sales = handed(example_sales())
    settings = handed(example_sheets()["Settings"])
    assert windows.call("TUBE_MODEL", Cells(sales.rows, (1_048_576, 9)), settings) == model


@pytest.mark.parametrize("which, shown", [
    ("booleans", [[1.0, 0.0, 1.0]]),
    ("numbers", [[2.0**70, 3.0, 0.1, "", ""]]),  # an int beyond 32 bits would not fit a VARIANT's Long
    ("nothing", [["", "", ""]]),
    ("dates", [["2026-01-31", "2026-01-31", "2026-01-31"]]),
    ("ragged", [[1.0, 2.0], [3.0, ""]]),
])
def test_results_are_what_excel_can_show(windows, which, shown):
    """numpy's own kinds, NaN, None, dates, rows of unequal length: plain floats and texts only."""
    windows.replaced(CellFunction("ODD", odd_results, "Odd.", (Argument("which", "Which."),), '"dates"', "table"))
    got = as_table(windows.call("TUBE_ODD", which))
    windows.removed("TUBE_ODD")
    assert got == shown and {type(one) for row in got for one in row} <= {float, str}


def test_texts_fit_into_255_units(windows):
    """A longer text from a function shows as #VALUE! in Excel, which counts in UTF-16; a text's own class goes too."""
    windows.replaced(CellFunction("ODD", odd_results, "Odd.", (Argument("which", "Which."),), '"long"', "table"))
    (plain, wide, own), = as_table(windows.call("TUBE_ODD", "long"))
    windows.removed("TUBE_ODD")
    for text in (plain, wide):
        assert 240 < len(text.encode("utf-16-le")) // 2 <= 255 and text.endswith("...")
    assert type(own) is str


def test_a_fault_of_ours_is_words_in_the_cell(windows):
    """An exception nobody thought of names itself, and the next call works."""
    windows.replaced(CellFunction("ODD", odd_results, "Odd.", (Argument("which", "Which."),), '"fault"', "table"))
    said = windows.call("TUBE_ODD", "fault")
    windows.removed("TUBE_ODD")
    assert said.startswith("This could not be computed (ZeroDivisionError")
    assert windows.call("TUBE_RATING", "EL84", "mu", MISSING) == BY_NAME["RATING"]("EL84", "mu")


def test_wrong_input_says_in_excel_what_it_says_in_calc(windows, model):
    """The wrong inputs that LibreOffice is shown give the same words here."""
    sheets = {**example_sheets(), "M": [[model]]}
    failed, tried = [], 0
    for formula, expected in CASES:
        name, parts, place = taken_apart(formula)
        one = BY_METHOD[name]
        arguments = [argument(part, sheets) for part in parts]
        if len(arguments) < sum(not each.optional for each in one.arguments):
            continue  # Excel takes no formula that lacks a needed argument
        tried += 1
        got = windows.call(one.excel_name, *arguments, *[MISSING] * (len(one.arguments) - len(arguments)))
        said = got[place[0] - 1][place[1] - 1] if place else got
        if formula == "TUBE.COMPARABLES(M;0;I)":
            expected = "'count' is '0"  # Calc hands over an empty cell as 0, Excel does not
        if not isinstance(said, str) or expected not in said or len(said) > 255:
            failed.append((formula, said))
    assert not failed and tried >= 100


def taken_apart(formula):
    """(method, arguments as written, (row, column) that INDEX asks for or None) of a formula in Calc's spelling."""
    index = re.fullmatch(r"INDEX\((.*);(\d+);(\d+)\)", formula)
    inner, place = (index.group(1), tuple(map(int, index.group(2, 3)))) if index else (formula, None)
    name, inside = re.fullmatch(r"TUBE\.(\w+)\((.*)\)", inner).groups()
    return name.lower(), inside.split(";"), place


def argument(part, sheets):
    """An argument as Excel hands it over."""
    from openpyxl.utils.cell import range_boundaries

    short = {"M": "M!A1:A1", "S": "Sales!A1:I301", "I": "Items!A1:H7", "G": "Settings!A1:B6"}
    if part in RANGES:
        rows = RANGES[part]
        width = max(map(len, rows))
        return handed([[{"=NA()": NA, "=1/0": DIV0}.get(one, one) for one in [*row, *[None] * (width - len(row))]]
                       for row in rows])
    if part in short or part.startswith("$"):
        sheet, _, cells = short.get(part, part.lstrip("$").replace(".", "!")).partition("!")
        left, top, right, bottom = range_boundaries(cells)
        return handed([row[left - 1:right] for row in sheets[sheet][top - 1:bottom]])
    return MISSING if not part else part.strip('"') if part.startswith('"') else float(part)
