"""Files to import: what table they are of, what becomes of every row, dates, currencies, rows seen before."""

import datetime as dt
from itertools import zip_longest
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from pricing.shop_tables import ShopFileError
from pricing.shop_tables.book_so_far import read_book_so_far
from pricing.shop_tables.columns import TABLES
from pricing.shop_tables.incoming import read_incoming
from pricing.shop_tables.placing import NotPlaced

TODAY = dt.date(2026, 3, 1)


def book(path, **tables):
    """A workbook with every table, headings as a new one has them, and these rows (dicts by column)."""
    made = openpyxl.Workbook()
    made.remove(made.active)
    for table in TABLES.values():
        sheet = made.create_sheet(table.name)
        names = [column.name for column in table.columns if column.in_workbook]
        sheet.append(names)
        for row in tables.get(table.name, ()):
            sheet.append([row.get(name) for name in names])
    made.save(path)
    return path


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A workbook whose currency is the euro, with one sale, read."""
    path = tmp_path_factory.mktemp("shop") / "shop.xlsx"
    return read_book_so_far(book(path, Settings=[{"key": "currency", "value": "EUR"}], Sales=[
        {"sold_on": dt.datetime(2023, 5, 6), "type": "EL84", "maker": "Varnoseth", "price": 30}]), today=TODAY)


def read(shop, text, name="list.csv", encoding="utf-8", **asked):
    """A text written to a file beside the workbook and read for it; every row has one outcome and its problem."""
    path = (shop if isinstance(shop, Path) else shop.path).with_name(name)
    path.write_bytes(text.encode(encoding))
    return lawful(read_incoming(path, shop, today=TODAY, **asked))


def lawful(incoming):
    """The law: rows in are rows new, already there or on Problems, and each of the last has a problem with its text."""
    outcomes = incoming.outcomes
    new = sum(len(rows) for rows in incoming.rows.values())
    assert new == incoming.count("new")
    assert new + incoming.count("already there") + incoming.count("on Problems") == len(outcomes)
    assert not outcomes.duplicated(["file", "sheet", "row"]).any()
    refused = incoming.problems[incoming.problems["effect"] == "row left out"]
    told = {(one.file, one.sheet, one.row) for one in refused.itertuples() if one.whole_row or one.code == "row_blank"}
    left = outcomes[outcomes["outcome"] == "on Problems"]
    assert {(one.file, one.sheet, one.row) for one in left.itertuples()} == told
    assert (incoming.problems[["message", "remedy"]] != "").all().all()
    return incoming


def codes(incoming):
    """(row, code) of every problem."""
    return [(row if row == row else None, code) for row, code in incoming.problems[["row", "code"]].values.tolist()]


def test_a_plain_list(shop):
    """Headings in German, semicolons, decimal commas: clean cells, the shop's spelling of a maker, its currency."""
    rows = read(shop, "Datum;Röhre;Hersteller;Preis\n13.4.2023;ECC83;VARNOSETH;1.250,50\n", "verkauf.csv").rows["Sales"]
    assert rows.to_dict("records") == [{"sold_on": pd.Timestamp(2023, 4, 13), "type": "ECC83", "maker": "Varnoseth",
                                        "set_size": 1, "qty": 1, "price": 1250.5, "currency": "EUR"}]


def test_a_row_is_not_taken_twice(shop):
    """One of two equal rows stands in the workbook: the one least like it is new; read again after that, none is."""
    text = "date,type,price,maker\n2023-05-06,EL84,30,\n2023-05-06,EL84,30,VARNOSETH\n2023-05-06,EL84,31,\n"
    met = read(shop, text)
    assert met.outcomes["outcome"].tolist() == ["new", "already there", "new"]
    assert met.outcomes["repeats"].tolist()[1] == "shop.xlsx, row 2"


def test_twice_the_same_file(shop, tmp_path):
    """What a file brought, written into the workbook, is there already when the file comes again: titles, sets, foreign
    currencies, orders, numbers that were types.
    """
    text = ("date,title,price,order no,cur\n2023-05-07,Matched pair 12AX7 long plate 1957 NOS (2),€32.00,1001,\n"
            "2023-05-07,EL84 quad,90,1001,USD\n2023-05-07,EL84 quad,90,1002,USD\n2023-05-08,600000,$45 ea,1003,\n"
            "2023-05-08,2x EL84,$45 ea,1003,\n2023-05-08,XYZ-nothing,5,,\n2023-05-08,6Н8С lot of 10,5,,\n")
    first = read(shop, text)
    assert first.count("new") == 6 and first.count("on Problems") == 1
    rows = first.rows["Sales"].astype(object).where(first.rows["Sales"].notna(), None).to_dict("records")
    own = [{"sold_on": dt.datetime(2023, 5, 6), "type": "EL84", "price": 30, "currency": "EUR"}]
    again = read(book(tmp_path / "shop.xlsx", Sales=own + rows), text)
    assert (again.count("new"), again.count("already there")) == (0, 6)


def test_orders_tell_equal_sales_apart(shop, tmp_path):
    """Two orders for the same thing on one day are two sales; an order that stands in a note is known."""
    sold = {"sold_on": dt.datetime(2023, 5, 6), "type": "EL84", "price": 30, "currency": "EUR", "note": "blue; order 7"}
    met = read(book(tmp_path / "shop.xlsx", Sales=[sold]), "order id,date,type,price\n8,2023-05-06,EL84,30\n"
               "7,2023-05-06,EL84,30\n")
    assert met.outcomes["outcome"].tolist() == ["new", "already there"]
    assert met.rows["Sales"]["note"].tolist() == ["order 8"]


def test_equal_rows_of_one_file(shop):
    """Both are taken and told; of two files that overlap the second brings only what the first had not."""
    text = "date,type,price\n2023-05-07,EL84,30\n2023-05-07,EL84,30\n"
    met = read(shop, text)
    assert met.count("new") == 2 and codes(met) == [(3, "repeated_row")]
    second = shop.path.with_name("second.csv")
    second.write_text(text + "2023-05-07,EL84,30\n")
    both = lawful(read_incoming([shop.path.with_name("list.csv"), second], shop, today=TODAY))
    assert both.outcomes["outcome"].tolist() == ["new", "new", "already there", "already there", "new"]
    assert both.outcomes["repeats"].tolist()[2] == "list.csv, row 2"


def test_hundreds_of_equal_rows(shop):
    """A multiset is one however large."""
    text = "date,type,price\n" + "2023-05-06,EL84,30\n" * 300
    assert read(shop, text).count("new") == 299


@pytest.mark.parametrize("dates, order, asked, first", [
    (["03/04/2023", "25/04/2023"], "day first", "", dt.date(2023, 4, 3)),
    (["03/04/2023", "04/25/2023"], "month first", "", dt.date(2023, 3, 4)),
    (["03.04.2023", "05.06.2023"], "day first", "", dt.date(2023, 4, 3)),
    (["03/04/2023", "05/06/2023"], "as you said", "month", dt.date(2023, 3, 4)),
    (["03/04/2023", "05/06/2023"], "as you said", "day", dt.date(2023, 4, 3)),
    (["03/04/2023", "25/04/2023"], "day first", "month", dt.date(2023, 4, 3)),
    (["03/04/2023", "25/04/2023", "04/26/2023"], "as you said", "month", dt.date(2023, 3, 4)),
    (["5 Apr 2023", "2023-04-06"], "one way only", "", dt.date(2023, 4, 5)),
    (["04/04/2023", "2023-04-06"], "same number", "", dt.date(2023, 4, 4)),
])
def test_the_order_of_day_and_month(shop, dates, order, asked, first):
    """Told by the column, else by the owner; what the column says plainly no word of the owner's overrules."""
    met = read(shop, "date,type,price\n" + "".join(f"{date},EL84,3{place}\n" for place, date in enumerate(dates)),
               date_order=asked)
    assert met.rows["Sales"]["sold_on"].iloc[0].date() == first and met.count("new") == len(dates)
    assert [line for line in met.words if "Dates in" in line and order in line]


@pytest.mark.parametrize("dates", [["03/04/2023", "05/06/2023"], ["03/04/2023", "25/04/2023", "04/26/2023"],
                                   ["03/04/2023", "5.6.2023"], ["03/04/2023", "5.6.2023", "04/26/2023"]])
def test_an_order_nothing_tells_is_asked_for(shop, dates):
    """Rows it matters for are refused, with the option that would mend it; the rest of the column is taken."""
    text = "date,type,price\n" + "".join(f"{date},EL84,3{place}\n" for place, date in enumerate([*dates, "7.7.2023"]))
    met = read(shop, text.replace("7.7.2023", "07/07/2023"))
    refused = met.problems[met.problems["code"] == "date_order_open"]
    assert refused["value"].tolist() == [date for date in dates if date[:2] != "25" and date[3:5] != "26"]
    assert "--dates day-first" in refused["remedy"].iloc[0] and refused["heading"].iloc[0] == "date"
    assert met.count("new") == len(dates) + 1 - len(refused)


def test_settings_and_the_other_dates_tell_the_order(shop, tmp_path):
    """A column that tells nothing follows the sheet's other dates, then Settings."""
    text = "date,listed,type,price\n03/04/2023,03/25/2023,EL84,30\n"
    assert read(shop, text).rows["Sales"]["sold_on"].tolist() == [pd.Timestamp(2023, 3, 4)]
    settled = book(tmp_path / "shop.xlsx", Settings=[{"key": "date order", "value": "month first"}])
    met = read(settled, "date,type,price\n03/04/2023,EL84,30\n")
    assert met.rows["Sales"]["sold_on"].tolist() == [pd.Timestamp(2023, 3, 4)]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_letters_and_separators(shop, encoding, separator):
    """Every code and separator gives the same row."""
    rows = [["Datum", "Röhre", "Käuferland", "Preis", "Zustand"], ["13.4.2023", "ECC83", "", "€ 12", "geprüft"],
            ["14.4.2023", "EL84", "", "9", "ungeprüft"]]
    met = read(shop, "\r\n".join(separator.join(row) for row in rows), encoding=encoding)
    assert met.rows["Sales"]["price"].tolist() == [12, 9] and met.rows["Sales"]["currency"].tolist() == ["EUR", "EUR"]
    assert met.rows["Sales"]["grade"].tolist() == ["used, good", "pulled or untested"]
    assert any("a guess: it gives" in line for line in met.words) == (encoding == "cp1252")


def test_cyrillic(shop):
    """Windows-1251 and look-alike letters: the type is the register's, what was written is kept."""
    met = read(shop, "date;title;price;note\n2023-04-13;6Н8С пара;12;коробка цела\n2023-04-13;6H8C;13;\n",
               encoding="cp1251")
    rows = met.rows["Sales"]
    assert rows["type"].tolist() == ["6N8S", "6N8S"] and rows["set_size"].tolist() == [2, 1]
    assert rows["note"].tolist() == ["коробка цела; title: 6Н8С пара", "title: 6H8C"]


def workbook(path, **sheets):
    """A workbook or .ods of these sheets (name -> rows of cells)."""
    if path.suffix == ".ods":
        with pd.ExcelWriter(path, engine="odf") as writer:
            for name, rows in sheets.items():
                even = pd.DataFrame(list(zip(*zip_longest(*rows))))
                even.to_excel(writer, sheet_name=name, header=False, index=False)
        return path
    made = openpyxl.Workbook()
    made.remove(made.active)
    for name, rows in sheets.items():
        sheet = made.create_sheet(name)
        for row in rows:
            sheet.append(row)
    made.save(path)
    return path


SOLD = [["Export of 2026-02-01"], ["date", "type", "price"], [dt.datetime(2023, 4, 3), "EL84", 30.5],
        ["4 Apr 2023", 600000, "€ 31"], [dt.datetime(2023, 4, 5), dt.datetime(2053, 6, 1), 32]]


@pytest.mark.parametrize("ending", [".xlsx", ".xlsm", ".ods"])
def test_workbooks(shop, tmp_path, ending):
    """Sheets of any name by their headings; real dates; what a spreadsheet made of 6E5 and 6-53; a title line told."""
    met = lawful(read_incoming(workbook(tmp_path / f"a{ending}", Sheet1=SOLD, Empty=[]), shop, today=TODAY))
    rows = met.rows["Sales"]
    assert rows["type"].tolist() == ["EL84", "6E5", "6-53"] and rows["price"].tolist() == [30.5, 31, 32]
    assert rows["sold_on"].dt.strftime("%d %b").tolist() == ["03 Apr", "04 Apr", "05 Apr"]
    assert rows["note"].tolist()[1:] == ["type: 600000", "type: 2053-06-01"]
    assert codes(met)[:3] == [(1, "above_headings"), (4, "number_for_type"), (5, "date_for_type")]


def test_sheets_named_after_tables(shop, tmp_path):
    """Each goes to its table, two of one table together; others are left alone and told."""
    stock = [["sku", "type", "ask"], ["A1", "EL84", 30]]
    path = workbook(tmp_path / "a.xlsx", **{"Verkäufe": SOLD[1:3], "sold 2024": [SOLD[1], ["2024-04-03", "EL34", 9]],
                                            "Lager": stock, "Price list": stock, "Settings": [["key", "value"]]})
    met = lawful(read_incoming(path, shop, today=TODAY))
    assert {name: len(rows) for name, rows in met.rows.items()} == {"Sales": 2, "Stock": 1}
    alone = met.problems[met.problems["code"] == "sheet_left_alone"]["value"].tolist()
    assert alone == ["Price list", "Settings"] and "left alone" in "\n".join(met.words)
    only = lawful(read_incoming(path, shop, table="Stock", today=TODAY))
    assert list(only.rows) == ["Stock"]


def test_a_sheet_that_cannot_be_placed_beside_one_that_can(shop, tmp_path):
    """Its rows are on Problems, each with its text."""
    path = workbook(tmp_path / "a.xlsx", One=SOLD[1:], Two=[["to do"], ["call"]])
    met = lawful(read_incoming(path, shop, today=TODAY))
    lost = met.problems[met.problems["code"] == "sheet_not_placed"]
    assert met.count("on Problems") == 2 and lost["whole_row"].tolist() == ["to do", "call"]


@pytest.mark.parametrize("name, text, table, why", [
    ("a.csv", "date,type,price\n", "Sales", "headings, which fit no other"),
    ("Bestand.csv", "sku,type\n", "Stock", "its name"),
    ("my inventory 2024.csv", "code,tube,price\n", "Stock", "its name"),
    ("a.csv", "offer,title,asking price,seen\n", "Offers", "headings"),
    ("a.csv", "lot,bought on,paid\n", "Lots", "headings"),
    ("a.csv", "sku,test,value\n", "Readings", "headings"),
    ("a.csv", "type,amp,heard by,warmth\n", "Listening", "headings"),
    ("a.csv", "sku,price,since\n", "Asks", "headings"),
    ("a.csv", "circuit,fitted_type,plate_v\n", "Circuits", "headings")])
def test_the_table_is_told(shop, name, text, table, why):
    """By the file's name, else by the headings; the summary says by which."""
    words = read(shop, text, name).words
    assert words[1].startswith(f"  Rows for {table}, told by") and why in words[1]


@pytest.mark.parametrize("name, text, asked, said", [
    ("a.csv", "id,title,price,date\n1,EL84,3,2024-05-06\n", "", "fit Sales, Stock and Offers alike; say which"),
    ("a.csv", "what,when\nEL84,x\n", "", "fit no table"),
    ("stock.csv", "date,type,price\n1.5.2024,EL84,3\n", "", "for Stock no heading means sku .*fit Sales, which --"),
    ("a.csv", "date,type,price\n1.5.2024,EL84,3\n", "Lots", "for Lots no heading means lot"),
    ("settings.csv", "key,value\na,b\n", "", "Settings is not imported")])
def test_a_table_that_cannot_be_told_is_asked_for(shop, name, text, asked, said):
    """With the tables that fit, or what is missing; nothing is read."""
    with pytest.raises(NotPlaced, match=said):
        read(shop, text, name, table=asked)
    if "alike" in said:
        assert list(read(shop, text, name, table="Stock").rows) == ["Stock"]


@pytest.mark.parametrize("data, said", [
    (b"", "empty"), (b'date,type,price\n2024-05-06,"EL84,3\n2024-05-07,EL34,4\n', "row that begins in line 2"),
    (b"PK\x03\x04rest", "holds a workbook")])
def test_files_whose_cells_cannot_be_told_apart(shop, data, said):
    """Refused as a whole, with the line where it begins."""
    path = shop.path.with_name("a.csv")
    path.write_bytes(data)
    with pytest.raises(ShopFileError, match=said):
        read_incoming(path, shop, today=TODAY)


def test_a_comma_that_is_no_separator(shop):
    """A row with more cells than headings is refused with its text; a quoted one is read."""
    met = read(shop, 'date,title,price\n2024-05-06,EL84, NOS,30\n2024-05-06,"EL84, NOS","30,50"\n')
    assert met.rows["Sales"]["price"].tolist() == [30.5] and codes(met) == [(2, "row_too_wide")]
    assert met.problems["whole_row"].tolist() == ["date: 2024-05-06 | title: EL84 | price: NOS | 30"]


def test_titles_in_the_type_column_and_disagreement(shop):
    """A long text under Type is a title; what a cell states comes before the title, and the difference is told."""
    met = read(shop, "date,tube,title,brand,cond,price\n2024-05-06,Matched pair 12AX7 long plate 1957 NOS (2),,,,30\n"
               "2024-05-06,EL34,EL84 pair 1957 used,,NOS,31\n")
    one, two = met.rows["Sales"].to_dict("records")
    assert (one["type"], one["era"], one["set_size"], one["grade"]) == ("12AX7", "1950s", 2, "new old stock")
    assert one["note"] == "title: Matched pair 12AX7 long plate 1957 NOS (2)"
    assert (two["type"], two["set_size"], two["grade"]) == ("EL34", 2, "new old stock")
    told = met.problems[met.problems["code"] == "title_disagrees"]
    assert told["column"].tolist() == ["type", "grade"]
    assert "says 'used, good', the column 'grade' says 'new old stock'" in told["message"].iloc[1]


def test_what_the_sheet_has_no_column_for(shop, tmp_path):
    """Goes into the note; without a note it is told; a foreign price without a currency column is refused."""
    text = "date,type,price,era,cond,box\n2024-05-06,EL84/6BQ5,30,1957,minty,white box\n2024-05-06,EL84,$30,,,\n"
    lean = [["sold_on", "type", "price", "note"]]
    settings = [["key", "value"], ["currency", "EUR"]]
    met = read(workbook(tmp_path / "a.xlsx", Sales=lean, Settings=settings), text)
    assert met.rows["Sales"]["note"].tolist() == [
        "era 1950s; boxed white box; type: EL84/6BQ5; era: 1957; grade: minty"]
    assert (3, "price_needs_column") in codes(met)
    counted = read(workbook(tmp_path / "c.xlsx", Sales=lean), "date,type,price,qty\n2024-05-06,EL84,30,2\n")
    assert codes(counted) == [(2, "price_needs_column")]
    met = read(workbook(tmp_path / "b.xlsx", Sales=[lean[0][:3]], Settings=settings), text)
    told = met.problems[met.problems["code"] == "no_column_for"]
    assert told["value"].tolist() == ["era 1950s", "boxed white box", "type: EL84/6BQ5", "era: 1957", "grade: minty"]
    with pytest.raises(ShopFileError, match="no sheet Stock"):
        read(tmp_path / "b.xlsx", "sku,type\nA1,EL84\n", "stock.csv")


def test_a_stock_code_that_is_taken(shop, tmp_path):
    """The same piece is there already; another under its code is refused, with both."""
    stock = [{"sku": "A1", "type": "EL84", "ask": 30}, {"sku": "A2", "type": "EL34"}]
    text = "sku,type,ask\nA1,EL84,30\nA2,KT88,\nA1,EL84,35\nA3,EL34,\nA3,EL34,9\n"
    met = read(book(tmp_path / "shop.xlsx", Stock=stock), text, "stock.csv")
    assert met.outcomes["outcome"].tolist() == ["already there", "on Problems", "on Problems", "new", "on Problems"]
    assert "'A2' is taken already, for 1 x EL34; this row says 1 x KT88" in met.problems["message"].iloc[0]


def test_scores_of_listening(shop, tmp_path):
    """The owner's own aspects go under her own headings; one she does not have into the note."""
    sheet = [["heard_on", "type", "system", "listener", "Warmth", "note"]]
    path = workbook(tmp_path / "a.xlsx", Sales=[["sold_on", "type", "price"]], Listening=sheet)
    met = read(path, "date,type,amp,who,warmth,punch\n2024-05-06,EL84,small one,ab,7,3\n", "listening.csv")
    assert met.rows["Listening"][["Warmth", "note"]].values.tolist() == [[7, "punch 3"]]


def test_aspects_called_as_columns_of_other_tables(shop):
    """A score may be called qty or title; blank scores are blank."""
    met = read(shop, "type,amp,who,qty,title\nEL84,small one,ab,7,\nEL34,small one,ab,,3\n", "listening.csv")
    assert met.rows["Listening"]["note"].tolist() == ["qty 7", "title 3"]


def test_a_cell_of_nothing_but_zero_width_is_blank(shop):
    """A type nobody can see is none."""
    assert (2, "type_missing") in codes(read(shop, "date,type,price\n2024-05-06,\u200b,30\n"))


def test_a_currency_without_a_rate_is_taken_and_told(shop):
    """The row is clean; that it cannot be priced yet is said once."""
    met = read(shop, "date,type,price,cur\n2024-05-06,EL84,30,USD\n2024-05-07,EL84,30,USD\n")
    assert met.count("new") == 2 and codes(met) == [(None, "rate_missing")]
    assert "rate: USD 2024-05" in met.problems["remedy"].iloc[0]


def test_codes_tell_sales_apart_only_where_both_rows_have_one(shop, tmp_path):
    """A sale without a stock code may be the one that has it; of two with codes of their own neither is."""
    sold = {"sold_on": dt.datetime(2023, 5, 6), "type": "EL84", "price": 30, "currency": "EUR", "sku": "A1"}
    there = book(tmp_path / "shop.xlsx", Sales=[sold])
    assert read(there, "sold,type,price,sku\n2023-05-06,EL84,30,\n").count("already there") == 1
    met = read(there, "sold,type,price,sku\n2023-05-06,EL84,30,A2\n2023-05-06,EL84,30,\n2023-05-06,EL84,30,A1\n")
    assert met.outcomes["outcome"].tolist() == ["new", "new", "already there"]


def test_a_type_that_is_no_type_gives_way_to_the_title(shop):
    """A column of categories headed Type does not hide the types in the titles; it stays in the note, and is told."""
    met = read(shop, "date,type,title,price\n2024-05-06,Vacuum tube,EL84 pair NOS,30\n2024-05-06,EL34,EL34,31\n")
    assert met.rows["Sales"]["type"].tolist() == ["EL84", "EL34"] and codes(met) == [(2, "type_from_title")]
    assert met.rows["Sales"]["note"].tolist()[0] == "title: EL84 pair NOS; type: Vacuum tube"


def test_files_of_one_name(shop, tmp_path):
    """Two folders, one name: the rows of each can still be told apart."""
    paths = [tmp_path / folder / "list.csv" for folder in ("one", "two")]
    for price, path in enumerate(paths, 30):
        path.parent.mkdir()
        path.write_text(f"date,type,price\n2024-05-06,EL84,{price}\n")
    met = lawful(read_incoming(paths, shop, today=TODAY))
    assert met.outcomes["file"].tolist() == [str(path) for path in paths]


def test_a_column_called_as_one_of_ours_that_is_worked_out(shop):
    """Headings such as row, sheet and canonical_type mean nothing here."""
    met = read(shop, "date,type,price,row,sheet,canonical_type\n2024-05-06,nosuch1,30,7,x,EL84\n")
    assert met.outcomes["row"].tolist() == [2] and met.rows["Sales"]["type"].tolist() == ["nosuch1"]


@pytest.mark.parametrize("heading", ["Price (USD)", "Price $", "price USD", "Price in USD", "Preis in USD"])
def test_a_currency_named_by_the_heading_of_prices(shop, heading):
    """Rows that name none are in it; a column of currencies and a sign in the cell come first."""
    met = read(shop, f"date,type,{heading},Cost (GBP)\n2024-05-06,EL84,30,9\n2024-05-06,EL34,€31,\n")
    assert met.rows["Sales"]["currency"].tolist() == ["USD", "EUR"]
    assert (None, "foreign_sign") in codes(met)
    met = read(shop, f"date,type,{heading},cur\n2024-05-06,EL84,30,EUR\n2024-05-06,EL34,31,\n")
    assert met.rows["Sales"]["currency"].tolist() == ["EUR", "EUR"]


@pytest.mark.parametrize("first", ["sep=;", '"sep=;"'])
def test_a_first_line_that_states_the_separator(shop, first):
    """Is followed and is no row."""
    met = read(shop, f"{first}\r\ndate;type;price\r\n2024-05-06;EL84;3,50\r\n")
    assert met.rows["Sales"]["price"].tolist() == [3.5] and met.outcomes["row"].tolist() == [3]


def test_a_total_with_the_postage_in_it_is_not_the_price(shop):
    """Where the total is the sum of two other columns the goods are priced by the one; else the total is the line's."""
    head = "date,title,Sold for,Carriage,Total\n"
    met = read(shop, head + "2024-05-06,EL84,£30.00,£4.50,£34.50\n2024-05-07,EL84,30,0,30\n")
    assert met.rows["Sales"][["price", "postage_charged"]].values.tolist() == [[30, 4.5], [30, 0]]
    assert codes(met)[0] == (1, "price_with_postage")
    met = read(shop, head + "2024-05-06,EL84,30,4.50,34.50\n2024-05-07,EL84 pair,30,4,60\n")
    assert met.rows["Sales"]["price"].tolist() == [34.5, 60] and codes(met)[0] == (1, "double_heading")


def test_a_count_put_into_the_note_is_not_read_as_one(shop, tmp_path):
    """What stood in a cell of counts that could not be read stays words when the workbook is read again."""
    text = "date,type,price,matched,qty\n2024-05-06,EL84,30,2x,\n2024-05-06,EL34,30,,1 pair?\n"
    met = read(shop, text)
    assert met.rows["Sales"]["note"].tolist()[0] == "written matched: 2x"
    rows = met.rows["Sales"].astype(object).where(met.rows["Sales"].notna(), None).to_dict("records")
    assert read(book(tmp_path / "shop.xlsx", Sales=rows), text).count("new") == 0


def test_dates_a_spreadsheet_has_likely_turned(shop, tmp_path):
    """25/04/2023 left as text beside real dates with no day above 12: taken, and told; one real 25th and it is not."""
    texts = [["25/04/2023", "EL84", 30], ["26/04/2023", "EL84", 31]]
    rows = [[dt.datetime(2023, month, 4), "EL34", month] for month in (1, 2, 3, 5, 6)]
    met = lawful(read_incoming(workbook(tmp_path / "a.xlsx", Sales=[SOLD[1], *texts, *rows]), shop, today=TODAY))
    assert met.count("new") == 7 and codes(met) == [(None, "dates_turned")]
    assert "2023-01-04 may be 2023-04-01" in met.problems["message"].iloc[0]
    rows.append([dt.datetime(2023, 6, 25), "EL34", 9])
    met = lawful(read_incoming(workbook(tmp_path / "a.xlsx", Sales=[SOLD[1], *texts, *rows]), shop, today=TODAY))
    assert codes(met) == []
