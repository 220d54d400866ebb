"""The sheet Quality: words first, a native scatter chart with the front named, and every item in a table."""

import re
import zipfile

import pandas as pd
import pytest
from benchmarks.listening import KnownPrices
from openpyxl import Workbook, load_workbook
from simulator.listening import simulate_listening

import pricing
from pricing.spreadsheet.quality_sheet import COLUMNS, write_quality
from pricing.spreadsheet.tables import add_styles


@pytest.fixture(scope="module")
def ranking():
    """Twenty items heard in a simulated shop."""
    heard = simulate_listening(200, 4, n_items=20)
    return pricing.rank_quality(heard.notes, KnownPrices(heard.items), base=4.0)


def saved(ranking, path):
    """The sheet alone in a file, read again."""
    book = Workbook()
    book.remove(book.active)
    add_styles(book)
    write_quality(book, ranking)
    book.save(path)
    return load_workbook(path)["Quality"]


def table_of(sheet, name):
    """A named table of the sheet as a frame."""
    rows = [[cell.value for cell in row] for row in sheet[sheet.tables[name].ref]]
    return pd.DataFrame(rows[1:], columns=rows[0])


def test_every_item_stands_in_the_table(ranking, tmp_path):
    """A row an item, the best first, figures as ranked, chances in percent, the front said in words."""
    table = table_of(saved(ranking, tmp_path / "q.xlsx"), "QualityRanking")
    assert list(table) == [column.heading for column in COLUMNS] and len(set(table)) == len(COLUMNS)
    assert table["item"].tolist() == ranking.items["item"].tolist() and table["quality"].is_monotonic_decreasing
    assert (table["front"] == "all").tolist() == ranking.items["on_front"].tolist()
    assert table["chance %, front of all"].tolist() == pytest.approx((100 * ranking.items["front_chance"]).tolist())
    assert (table["lowest in family"] == "lowest").sum() == ranking.items["family"].nunique()


def test_words_say_what_it_is_and_what_it_cannot(ranking, tmp_path):
    """The front by name in the first line; the base, the chances, what is not told."""
    sheet = saved(ranking, tmp_path / "q.xlsx")
    words = [sheet.cell(row, 1).value for row in range(2, 2 + len(ranking.words))]
    assert words == ranking.words
    assert all(name in words[0] for name in ranking.items.loc[ranking.items["on_front"], "item"])
    text = " ".join(words)
    assert all(part in text for part in ("points above 4.00", "no true zero", "What this cannot say", "technician"))
    for banned in ("safe", "compatible", "drop-in", "true value", "steal"):
        assert banned not in text.casefold()


def test_the_chart_names_the_front(ranking, tmp_path):
    """A scatter chart whose every item of the front is a series that shows its name, from cells of their own."""
    sheet = saved(ranking, tmp_path / "q.xlsx")
    with zipfile.ZipFile(tmp_path / "q.xlsx") as file:
        xml = file.read("xl/charts/chart1.xml").decode()
    assert "<scatterChart>" in xml and '<scatterStyle val="lineMarker"' in xml
    front = ranking.items[ranking.items["on_front"]].sort_values("fair_price")
    assert xml.count('<showSerName val="1"') == len(front) and xml.count("<ser>") == len(front) + 2
    cells = re.findall(r"<tx><strRef><f>'Quality'!\$(\w+)\$(\d+)</f>", xml)
    assert [sheet[f"{column}{row}"].value for column, row in cells] == front["item"].tolist()
    assert xml.count('<delete val="0"') == 2 and '<smooth val="1"' not in xml
    points = table_of(sheet, "QualityChart")
    assert points["price"].tolist()[: len(front)] == pytest.approx(front["fair_price"].tolist())
    assert len(points) == len(ranking.items)


def test_without_prices_or_notes(tmp_path):
    """Quality alone has no chart; too few notes leave words and an empty table."""
    heard = simulate_listening(60, 4, n_items=6)
    sheet = saved(pricing.rank_quality(heard.notes), tmp_path / "plain.xlsx")
    assert not sheet._charts and len(table_of(sheet, "QualityRanking")) == heard.items["quality"].size
    few = saved(pricing.rank_quality(heard.notes.head(2)), tmp_path / "few.xlsx")
    assert "too few" in few["A2"].value and len(table_of(few, "QualityRanking")) == 1
