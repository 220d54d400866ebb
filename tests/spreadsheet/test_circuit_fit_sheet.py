"""The sheet Circuit fit and the command fit: every finding with its system and basis, cautions at the top."""

import openpyxl
import pandas as pd
import pytest
from openpyxl.utils import range_boundaries
from spreadsheet.small_shop import write_small_shop

import pricing
from pricing.command_line import BAD_CALL, DONE, PROBLEMS, main
from pricing.spreadsheet.circuit_fit_sheet import ALL, COLUMNS
from pricing.spreadsheet.workbook import build_workbook

CIRCUITS = [
    dict(circuit="Blenkett Nine", fitted_type="7189", position="V2", base="noval", plate_v=340, screen_v=320,
         sections_used=1, heater_v=6.3, heater_a=0.8),
    dict(circuit="Blenkett Nine", fitted_type="5Y3GT", position="V4", base="octal", heater_v=5, heater_a=2,
         winding_v=320, dc_ma=125, first_cap_uf=20, plate_supply_ohm=150, mains_variation_pct=5),
    dict(circuit="Blenkett Nine", fitted_type="QQ99", position="V5", plate_v=100),
    dict(circuit="Blenkett Nine", fitted_type="6V6GT", position="V3", base="octal", plate_v=-305, grid_leak_ohm=470,
         bias="wobbly", heater_v=6.3),
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder of CSV tables: a few sales, and four positions, two of them with impossible cells."""
    folder = tmp_path_factory.mktemp("fit") / "shop"
    folder.mkdir()
    sales = [{"sold_on": f"2025-0{n}-01", "type": "EL84", "price": 20 + n, "currency": "EUR"} for n in range(1, 6)]
    pd.DataFrame(sales).to_csv(folder / "sales.csv", index=False)
    pd.DataFrame(CIRCUITS).to_csv(folder / "circuits.csv", index=False)
    return folder


@pytest.fixture(scope="module")
def sheet(folder):
    """The sheet Circuit fit of that shop's workbook."""
    book = openpyxl.load_workbook(build_workbook(folder.parent / "out.xlsx", pricing.read_shop(folder)))
    return book["Circuit fit"]


def rows_of(sheet):
    """Rows of the table by heading."""
    left, top, right, bottom = range_boundaries(sheet.tables["CircuitFit"].ref)
    rows = [[cell.value for cell in row] for row in sheet.iter_rows(top, bottom, left, right)]
    return [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]


def test_one_row_a_finding_after_one_that_sums_up(sheet):
    """Every position has its summary row, then its findings, worst first; the Circuits row is named."""
    rows = rows_of(sheet)
    assert [row["position"] for row in rows if row["rating"] == ALL] == ["V2", "V4", "V5", "V3"]
    first = rows[0]
    assert first["verdict"] == "exceeds" and first["why"].startswith("Within on 5, exceeds 1 (screen volts), cannot")
    found = next(row for row in rows if row["rating"] == "screen volts" and row["position"] == "V2")
    assert (found["in the circuit"], found["limit"], found["unit"], found["rating system"]) == (
        320, 300, "V", "design-centre")
    assert found["how the limit is known"] == "memory" and found["Circuits row"] == 2
    order = [row["verdict"] for row in rows if row["position"] == "V2"][1:]
    assert order == sorted(order, key=("exceeds", "cannot check", "at the edge", "within").index)


def test_cautions_and_counts_stand_at_the_top(sheet):
    """Before the table: what exceeds in words, what waits for the owner's figures, and the cautions."""
    top = range_boundaries(sheet.tables["CircuitFit"].ref)[1]
    words = " ".join(str(sheet.cell(row, 1).value or "") for row in range(1, top))
    for part in ("4 positions of 1 circuit,", "Blenkett Nine V2 7189 (screen volts)",
                 "for want of a figure on Circuits", "Lethal voltages", "equipment maker", "Not checked, ever"):
        assert part in words
    assert len(COLUMNS) == sheet.max_column


def test_bad_cells_leave_the_rest_checked(folder, sheet):
    """Unknown type: one finding; impossible cells: cannot check, and a Problems row each; all else checked."""
    rows = {(row["position"], row["rating"]): row["verdict"] for row in rows_of(sheet)}
    assert rows["V5", "type"] == rows["V3", "plate volts"] == rows["V3", "grid resistor"] == "cannot check"
    assert rows["V3", "heater volts"] == "within"
    problems = pricing.read_shop(folder).problems
    assert {("unknown_type", 4), ("circuit_value_impossible", 5), ("circuit_word_unknown", 5)} <= set(
        zip(problems["code"], problems["row"], strict=True))


def test_no_sheet_without_circuits(tmp_path):
    """A shop that keeps no circuits gets no such sheet."""
    shop = pricing.read_shop(write_small_shop(tmp_path / "shop.xlsx"))
    book = openpyxl.load_workbook(build_workbook(tmp_path / "new.xlsx", shop))
    assert "Circuit fit" not in book.sheetnames


def test_command_finds_the_position_a_type_is_meant_for(folder, capsys):
    """EL84 is tried in V2, where its kin is fitted; systems, bases and cautions are printed."""
    assert main(["fit", str(folder), "--circuit", "blenkett nine", "--type", "EL84"]) == PROBLEMS
    said = capsys.readouterr()
    assert "Blenkett Nine V2, built for 7189: EL84" in said.out and "V4" not in said.out
    assert "exceeds: within on 4, exceeds 2 (plate volts, screen volts)" in said.out
    assert "340 V against a limit of 300 V; 13 % over. [design-centre; secondary" in said.out
    assert "Lethal voltages" in said.out and "Circuits row 5, bias: 'wobbly' means nothing" in said.err


def test_command_says_what_a_rectifier_lifts(folder, capsys):
    """5AR4 for 5Y3GT: the rise in volts, and what waits for figures."""
    main(["fit", str(folder), "--circuit", "Blenkett Nine", "--type", "5AR4", "--position", "V4"])
    said = capsys.readouterr().out
    assert "drops 49 V less than 5Y3GT" in said and "V2 7189: screen volts 365.7 V of 300" in said


def test_command_without_problems_ends_well(tmp_path, folder, capsys):
    """Exit status 0 where no cell is bad, whatever the verdict."""
    (tmp_path / "sales.csv").write_bytes((folder / "sales.csv").read_bytes())
    pd.DataFrame(CIRCUITS[:2]).to_csv(tmp_path / "circuits.csv", index=False)
    assert main(["fit", str(tmp_path), "--circuit", "Blenkett Nine"]) == DONE
    assert capsys.readouterr().out.count("built for") == 2


@pytest.mark.parametrize("arguments, words", [
    (["--circuit", "nope"], "there are Blenkett Nine"),
    (["--circuit", "Blenkett Nine", "--position", "V9"], "there are V2, V4, V5, V3")])
def test_command_names_what_there_is(folder, capsys, arguments, words):
    """A circuit or position that is not there: a bad call with the names that are."""
    assert main(["fit", str(folder), *arguments]) == BAD_CALL
    assert words in capsys.readouterr().err
