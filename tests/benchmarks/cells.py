"""How quick the cell functions are in LibreOffice Calc, beside built-in formulas and a function that does nothing.

Run: PYTHONPATH=tests python tests/benchmarks/cells.py (needs LibreOffice; about a minute). Each figure is the time of
one `calculateAll` of a document that holds nothing else that is slow, all in one LibreOffice on one machine; the ratios
are what counts. The model is that of the demo shop, the 10,000 pieces are drawn from the words of its sales.
"""

import json
import random
import tempfile
import time
from pathlib import Path
from statistics import median

import pandas as pd
from spreadsheet.cells import real_calc

N, ROUNDS = 10_000, 8
DEMO = Path(__file__).parents[2] / "demo_data"
WORDS = ("type", "maker", "era", "grade")

NOTHING_WORKER = """
from pricing.spreadsheet.calc import worker
from pricing.spreadsheet.cell_functions import registry
registry.BY_METHOD["nothing"] = registry.BY_METHOD["nothingmuch"] = lambda *_: 1.0
worker.main()
"""


def with_nothing(folder):
    """The extension's parts with two functions more that do nothing, of one and of ten arguments."""
    parts = real_calc.extension_parts()
    (folder / "nothing_worker.py").write_text(NOTHING_WORKER)
    settings = json.loads(parts["worker.json"])
    settings |= {"module": "nothing_worker", "path": f"{settings['path']}:{folder}"}
    functions = json.loads(parts["functions.json"])
    fair = next(one for one in functions if one["method"] == "fair")
    functions += [{**fair, "method": "nothing"}, {**fair, "method": "nothingmuch", "kinds": fair["kinds"][:1]}]
    fair_type = next(line for line in parts["types.idl"].splitlines() if " fair(" in line)
    more = fair_type.replace(" fair(", " nothing(") + "\n    any nothingmuch([in] any one);\n  };"
    nodes = "".join(f'<node oor:name="{name}" oor:op="replace"/>' for name in ("nothing", "nothingmuch"))
    return parts | {
        "worker.json": json.dumps(settings), "functions.json": json.dumps(functions),
        "types.idl": parts["types.idl"].replace("  };", more, 1),
        "CalcAddIns.xcu": parts["CalcAddIns.xcu"].replace("</node></node></node>", f"{nodes}</node></node></node>"),
    }


def pieces():
    """N rows of type, maker, era, grade, reading and set size, drawn from the demo shop's words."""
    sales = pd.read_csv(DEMO / "sales.csv", dtype=str)
    words = [sales[name].dropna().unique().tolist() for name in WORDS]
    words[0] = [one for one in sales["type"].value_counts().index[:120] if " " not in one]
    draw = random.Random(7)
    return [[*(draw.choice(kinds) for kinds in words[:3]), draw.choice(("NOS", "used, good", "used, strong", "weak")),
             draw.choice((None, *range(60, 111))), draw.choice((1, 1, 2, 4))] for _ in range(N)]


def timed(document, repeat=3):
    """Best seconds of a full calculation, and of the first."""
    taken = []
    for _ in range(repeat):
        started = time.perf_counter()
        document.calculateAll()
        taken.append(time.perf_counter() - started)
    return min(taken), taken[0]


def main():
    """Measure and print."""
    folder = Path(tempfile.mkdtemp())
    parts = with_nothing(folder)
    real_calc.extension_parts = lambda: parts
    calc = real_calc.RealCalc(folder, {"TUBE_PRICE_PATIENCE_S": "50"})
    try:
        rows = pieces()
        model = demo_handle(calc)
        lookup = calc.new()
        sheet = lookup.Sheets.getByIndex(0)
        real_calc.fill(sheet, [[float(n), n / 7] for n in range(N)])
        real_calc.fill(sheet, [[float(n)] for n in random.Random(3).choices(range(N), k=N)], column=3)
        fill_down(sheet, "E", 0, "=VLOOKUP(D1;$A$1:$B$10000;2;0)")
        vlookup, _ = timed(lookup)
        fill_down(sheet, "E", 0, "=VLOOKUP(D1;$A$1:$B$10000;2;1)")
        sorted_lookup, _ = timed(lookup)

        table = with_pieces(calc, rows, model)
        area = table.Sheets.getByIndex(0).getCellRangeByName(f"J1:N{N + 1}")
        area.setArrayFormula(f"=TUBE.FAIRTABLE(H1;A1:F{N + 1})")
        kept_table, first_table = timed(table)
        assert area.getDataArray()[1][0] > 0, area.getDataArray()[1]

        print(f"{N:,} VLOOKUP cells, exact match of a number in {N:,} rows: {vlookup:.3f} s; in sorted rows "
              f"{sorted_lookup:.3f} s")
        print(f"one FAIRTABLE of {N:,} rows: first {first_table:.3f} s ({first_table / vlookup:.1f} and "
              f"{first_table / sorted_lookup:.0f} times), unchanged {kept_table:.3f} s ({kept_table / vlookup:.1f} and "
              f"{kept_table / sorted_lookup:.0f} times)")
        spelt = {"nothing, one argument": "=TUBE.NOTHINGMUCH(A2)",
                 "nothing, the same arguments": "=TUBE.NOTHING($H$1;A2;B2;C2;D2;E2;F2)",
                 "FAIR": "=TUBE.FAIR($H$1;A2;B2;C2;D2;E2;F2)"}
        documents = {name: with_pieces(calc, rows, model) for name in spelt}
        for name, document in documents.items():
            fill_down(document.Sheets.getByIndex(0), "I", 1, spelt[name])
        taken = {name: [] for name in spelt}
        for _ in range(ROUNDS):
            for name, document in documents.items():
                taken[name].append(timed(document, 1)[0])
        for name, seconds in taken.items():
            assert documents[name].Sheets.getByIndex(0).getCellRangeByName(f"I{N}").Value > 0
            ratios = [one / nothing for one, nothing in zip(seconds, taken["nothing, the same arguments"])]
            between = f"{min(ratios[1:]):.2f} to {max(ratios[1:]):.2f}"
            print(f"{N:,} cells of {name}: first {seconds[0]:.3f} s ({ratios[0]:.2f} times), then "
                  f"{median(seconds[1:]):.3f} s ({median(ratios[1:]):.2f} times, {between})")
    finally:
        calc.close()


def demo_handle(calc):
    """Handle of the demo shop's model."""
    sales = pd.read_csv(DEMO / "sales.csv", dtype=str)
    document = calc.new()
    sheet = document.Sheets.getByIndex(0)
    real_calc.fill(sheet, [list(sales.columns), *sales.where(sales.notna(), None).to_numpy(object).tolist()])
    document.Sheets.insertNewByName("Model", 1)
    cell = document.Sheets.getByIndex(1).getCellRangeByName("A1")
    cell.Formula = f"=TUBE.MODEL($Sheet1.A1:Z{len(sales) + 1})"
    assert " key " in cell.String, cell.String
    kept, _ = timed(document)
    print(f"MODEL of {len(sales):,} rows by {len(sales.columns)} columns, known already: {kept:.3f} s")
    return cell.String


def with_pieces(calc, rows, model):
    """A document with the pieces in A:F below headings and the model's handle in H1."""
    document = calc.new()
    document.enableAutomaticCalculation(False)
    sheet = document.Sheets.getByIndex(0)
    real_calc.fill(sheet, [[*WORDS, "reading_pct", "set_size"], *rows])
    sheet.getCellRangeByName("H1").String = model
    return document


def fill_down(sheet, column, row, formula):
    """The formula in N rows from `row`."""
    at = ord(column) - 65
    sheet.getCellByPosition(at, row).Formula = formula
    sheet.getCellRangeByPosition(at, row, at, row + N - 1).fillAuto(0, 1)


if __name__ == "__main__":
    main()
