# ruff: noqa: E501 (markup is easier to read unbroken)
"""Workbooks of an invented owner, with everything a spreadsheet can hold that a library would lose.

Each maker writes one file: by XlsxWriter, by openpyxl, or by XlsxWriter with parts put in by hand where no library writes
them (pivots, slicers, threaded notes, custom parts and the like; their content follows ISO/IEC 29500-1 and what Microsoft
published [MS-XLSX], written from memory and as small as it goes). `by_libreoffice` has LibreOffice save them again.
"""

import re
import shutil
import struct
import subprocess
import zipfile
import zlib
from pathlib import Path

import openpyxl
import xlsxwriter
import xlwings
from openpyxl.chart import BarChart, LineChart, Reference
from openpyxl.comments import Comment
from openpyxl.drawing.image import Image
from openpyxl.formatting.rule import ColorScaleRule, DataBarRule, FormulaRule, IconSetRule
from openpyxl.styles import Font, PatternFill
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.table import Table

TYPES = ["EL84", "12AX7", "6V6GT", "5Y3GT"]
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def picture(path):
    """A picture of four by four red dots."""
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = b"".join(b"\x00" + b"\xc0\x30\x20" * 4 for _ in range(4))
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", 4, 4, 8, 2, 0, 0, 0))
                     + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b""))
    return path


def _sales():
    return [[f"2025-{1 + n % 12:02d}-{1 + n % 28:02d}", TYPES[n % 4], 20 + 3 * (n % 4) + n % 5] for n in range(24)]


# ---- XlsxWriter: a maker gets the book, the Sales sheet, a sheet of the owner's own and a picture

def _written(path, fill, **options):
    book = xlsxwriter.Workbook(path, options)
    sales, stock, own = (book.add_worksheet(name) for name in ("Sales", "Stock", "My sheet"))
    for at, row in enumerate([["sold_on", "type", "price"], *_sales()]):
        sales.write_row(at, 0, row)
    for at, row in enumerate([["sku", "type"], ["S1", "EL84"], ["S2", "12AX7"]]):
        stock.write_row(at, 0, row)
    for at in range(12):
        own.write_row(at, 0, [f"item {at % 3}", at * 1.5, at])
    fill(book, sales, own, picture(Path(path).with_suffix(".png")))
    book.close()
    Path(path).with_suffix(".png").unlink()


def _chart(kind, sub=None):
    def fill(book, sales, own, png):
        chart = book.add_chart({"type": kind, **({"subtype": sub} if sub else {})})
        for column in (1, 2):
            chart.add_series({"categories": ["My sheet", 0, 0, 11, 0], "values": ["My sheet", 0, column, 11, column],
                              "trendline": {"type": "linear"} if kind in ("line", "scatter") else None})
        own.insert_chart("E2", chart)
    return fill


def _stock_chart(book, sales, own, png):
    chart = book.add_chart({"type": "stock"})
    for _ in range(3):
        chart.add_series({"categories": ["My sheet", 0, 1, 11, 1], "values": ["My sheet", 0, 2, 11, 2]})
    own.insert_chart("E2", chart)


def _combined(book, sales, own, png):
    one, other = book.add_chart({"type": "column"}), book.add_chart({"type": "line"})
    one.add_series({"values": "='My sheet'!$B$1:$B$12"})
    other.add_series({"values": "='My sheet'!$C$1:$C$12", "y2_axis": True})
    one.combine(other)
    own.insert_chart("E2", one)


def _chartsheet(book, sales, own, png):
    chart = book.add_chart({"type": "bar"})
    chart.add_series({"values": "='My sheet'!$B$1:$B$12"})
    book.add_chartsheet("Poster").set_chart(chart)


def _pictures(book, sales, own, png):
    own.insert_image("E2", png, {"description": "a red square", "url": "https://example.org/"})
    sales.insert_image("H2", png, {"object_position": 3})


def _picture_cell(book, sales, own, png):
    own.embed_image("E2", png)


def _backdrop(book, sales, own, png):
    own.set_background(png)
    own.set_header("&L&G", {"image_left": png})


def _shapes(book, sales, own, png):
    own.insert_textbox("E2", "Ask before lowering", {"fill": {"color": "#FFEECC"}})
    own.insert_shape("E9", {"type": "rect", "text": "x"}) if hasattr(own, "insert_shape") else None


def _sparklines(book, sales, own, png):
    for at, kind in enumerate(("line", "column", "win_loss")):
        own.add_sparkline(at, 5, {"range": "'My sheet'!A1:C1", "type": kind, "markers": kind == "line"})


def _bars_and_icons(book, sales, own, png):
    own.conditional_format("B1:B12", {"type": "data_bar", "data_bar_2010": True, "bar_negative_color": "#FF0000"})
    own.conditional_format("C1:C12", {"type": "icon_set", "icon_style": "5_arrows"})
    sales.conditional_format("C2:C25", {"type": "3_color_scale"})


def _rules(book, sales, own, png):
    red = book.add_format({"font_color": "red", "bg_color": "#FFEEEE", "num_format": "0.000 \"x\""})
    own.conditional_format("B1:B12", {"type": "cell", "criteria": ">", "value": 5, "format": red})
    sales.conditional_format("A2:C25", {"type": "formula", "criteria": "=$C2>25", "format": red})
    sales.conditional_format("B2:B25", {"type": "duplicate", "format": book.add_format({"bold": True})})


def _lists(book, sales, own, png):
    own.data_validation("D1:D9", {"validate": "list", "source": ["yes", "no"], "input_message": "say"})
    sales.data_validation("C2:C99", {"validate": "decimal", "criteria": "between", "minimum": 0, "maximum": 999})


def _notes(book, sales, own, png):
    for place in ("A1", "B3", "C5"):
        own.write_comment(place, f"a note on {place} <&>", {"author": "owner", "visible": place == "A1"})
    sales.write_comment("C2", "haggled")


def _names(book, sales, own, png):
    book.define_name("Rent", "=850")
    book.define_name("'My sheet'!Local", "='My sheet'!$B$1:$B$3")
    book.define_name("Total", "=SUM(Sales!$C$2:$C$25)")
    own.write_formula("E1", "=Total+Rent", None, 1400.5)
    own.print_area("A1:C12")
    own.repeat_rows(0)


def _tables(book, sales, own, png):
    sales.add_table("A1:C25", {"name": "Sold", "total_row": False, "style": "Table Style Medium 9",
                               "columns": [{"header": "sold_on"}, {"header": "type"}, {"header": "price"}]})
    own.add_table("E1:G6", {"name": "Mine", "total_row": True, "columns": [
        {"header": "a"}, {"header": "b", "total_function": "sum"}, {"header": "c", "formula": "=[@b]*2"}]})


def _links(book, sales, own, png):
    own.write_url("E1", "https://example.org/?a=1&b=2", string="page")
    own.write_url("E2", "internal:Sales!A2", string="row")
    own.write_url("E3", "external:other.xlsx#Sheet1!A1")


def _rich(book, sales, own, png):
    own.write_rich_string("E1", "plain ", book.add_format({"bold": True}), "bold ", "and <plain>")
    own.write_string("E2", " two\nlines, блюз, _x0041_ ")
    own.merge_range("E4:G6", "merged", book.add_format({"align": "center", "rotation": 30}))


def _formulas(book, sales, own, png):
    own.write_formula("E1", "=SUM(B1:B12)*2", None, 198)
    own.write_array_formula("F1:F3", "{=B1:B3*C1:C3}", None, 0)
    own.write_dynamic_array_formula("G1:G3", "=_xlfn.UNIQUE(A1:A12)", None, "item 0")
    own.write_formula("E2", '=IFERROR(VLOOKUP("item 1",A1:C12,2,FALSE),"none")', None, 1.5)
    own.write_boolean("E3", True)
    own.write_formula("E4", "=NA()", None, "#N/A")


def _protected(book, sales, own, png):
    own.protect("secret", {"sort": True})
    own.write("E1", "typed", book.add_format({"locked": False}))


def _hidden(book, sales, own, png):
    own.very_hidden()
    sales.set_column("F:H", None, None, {"hidden": True})
    sales.set_row(5, 30, None, {"level": 1, "collapsed": True})
    sales.activate()


def _filtered(book, sales, own, png):
    sales.autofilter("A1:C25")
    sales.filter_column("B", "x == EL84")
    for at in range(24):
        if at % 4:
            sales.set_row(at + 1, options={"hidden": True})
    sales.freeze_panes(1, 2)
    own.split_panes(15, 8)
    own.set_selection("B2")


def _page(book, sales, own, png):
    own.set_landscape()
    own.set_paper(9)
    own.set_header("&CPrices &D")
    own.set_h_pagebreaks([5])
    own.set_margins(1, 1, 1, 1)
    own.fit_to_pages(1, 0)
    own.set_tab_color("green")


def _properties(book, sales, own, png):
    book.set_properties({"title": "mine", "author": "owner", "keywords": "tubes; <ours>"})
    book.set_custom_property("Checked", True)
    book.set_custom_property("Rate", 1.25)


def _buttons(book, sales, own, png):
    own.insert_button("E1", {"macro": "Go", "caption": "Press"})
    own.insert_checkbox("E5", True) if hasattr(own, "insert_checkbox") else None


def _many_styles(book, sales, own, png):
    for at in range(300):
        own.write(20 + at // 20, 5 + at % 20, at, book.add_format(
            {"font_size": 6 + at % 20, "font_color": f"#{at * 999 % 0xFFFFFF:06X}", "num_format": f'0.{"0" * (at % 9)} "{at}"'}))


def _macro(book, sales, own, png):
    folder = png.parent / "vba"
    folder.mkdir(exist_ok=True)
    with zipfile.ZipFile(Path(xlwings.__file__).parent / "quickstart_standalone.xlsm") as file:
        (folder / "vbaProject.bin").write_bytes(file.read("xl/vbaProject.bin"))
    book.add_vba_project(folder / "vbaProject.bin")
    own.insert_button("E1", {"macro": "SampleCall", "caption": "Press"})


def _plain(book, sales, own, png):
    """Nothing more."""


WRITER = {
    **{f"chart {kind}": _chart(kind) for kind in ("column", "line", "pie", "doughnut", "area", "radar", "scatter")},
    "chart stacked": _chart("bar", "percent_stacked"), "chart stock": _stock_chart, "chart combined": _combined,
    "chart sheet": _chartsheet, "pictures": _pictures, "picture in a cell": _picture_cell, "backdrop": _backdrop,
    "shapes": _shapes, "sparklines": _sparklines, "bars and icons": _bars_and_icons, "rules": _rules, "lists": _lists,
    "notes": _notes, "names": _names, "tables": _tables, "links": _links, "rich text": _rich, "formulas": _formulas,
    "protected": _protected, "hidden": _hidden, "filtered": _filtered, "page": _page, "properties": _properties,
    "buttons": _buttons, "many styles": _many_styles, "plain": _plain,
}


# ---- openpyxl

def _opened(path, fill):
    book = openpyxl.Workbook()
    sales = book.active
    sales.title = "Sales"
    for row in [["sold_on", "type", "price"], *_sales()]:
        sales.append(row)
    own = book.create_sheet("My sheet")
    for at in range(12):
        own.append([f"item {at % 3}", at * 1.5, at])
    png = picture(Path(path).with_suffix(".png"))
    fill(book, sales, own, png)
    book.save(path)
    png.unlink()


def _o_charts(book, sales, own, png):
    for at, kind in enumerate((BarChart, LineChart)):
        chart = kind()
        chart.add_data(Reference(own, min_col=2, max_col=3, min_row=1, max_row=12))
        own.add_chart(chart, f"E{2 + 16 * at}")


def _o_picture(book, sales, own, png):
    own.add_image(Image(png), "E2")


def _o_notes(book, sales, own, png):
    own["A1"].comment = Comment("by hand", "owner")
    sales["B2"].comment = Comment("two\nlines", "other")


def _o_rules(book, sales, own, png):
    own.conditional_formatting.add("B1:B12", ColorScaleRule("min", None, "FFFFFF", "max", None, "FF0000"))
    own.conditional_formatting.add("C1:C12", DataBarRule("min", None, "max", None, "638EC6"))
    own.conditional_formatting.add("A1:A12", IconSetRule("3Arrows", "percent", [0, 33, 67]))
    sales.conditional_formatting.add("A2:C25", FormulaRule(["$C2>25"], font=Font(bold=True), fill=PatternFill(
        bgColor="FFFF00")))


def _o_lists(book, sales, own, png):
    book.defined_names["Kinds"] = DefinedName("Kinds", attr_text="'My sheet'!$A$1:$A$3")
    offer = DataValidation("list", formula1="Kinds", showErrorMessage=True)
    offer.add("D1:D12")
    own.add_data_validation(offer)


def _o_table(book, sales, own, png):
    sales.add_table(Table(displayName="Sold", ref="A1:C25"))


def _o_page(book, sales, own, png):
    own.print_title_rows, own.print_area = "1:1", "A1:C12"
    own.merge_cells("E1:F3")
    own.row_dimensions.group(3, 6, hidden=True)
    own.protection.sheet = True
    own.sheet_view.zoomScale = 80


OPENED = {"charts": _o_charts, "picture": _o_picture, "notes": _o_notes, "rules": _o_rules, "lists": _o_lists,
          "table": _o_table, "page": _o_page}


# ---- parts by hand

def put_parts(path, parts, relations, types=(), edit=None):
    """Rewrite the file with `parts` (name -> content, type), `relations` (part, kind, target) and `types` (ending, type);
    `edit(name, content)` may change the others. `{id}` in an edit's text cannot be: relation ids are "own1", "own2" ..."""
    with zipfile.ZipFile(path) as file:
        content = {info.filename: file.read(info) for info in file.infolist()}
    stated = "".join(f'<Override PartName="/{name}" ContentType="{kind}"/>' for name, (_, kind) in parts.items() if kind)
    stated = "".join(f'<Default Extension="{ending}" ContentType="{kind}"/>' for ending, kind in types) + stated
    content["[Content_Types].xml"] = content["[Content_Types].xml"].replace(b"</Types>", stated.encode() + b"</Types>")
    for number, (part, kind, target) in enumerate(relations, start=1):
        rels = str(Path(part).parent / "_rels" / f"{Path(part).name}.rels") if part else "_rels/.rels"
        empty = (b'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n<Relationships xmlns="http://schemas.openxmlformats'
                 b'.org/package/2006/relationships"></Relationships>')
        kind = kind if kind.startswith("http") else f"{OFFICE}/{kind}"
        one = f'<Relationship Id="own{number}" Type="{kind}" Target="/{target}"/>'.encode()
        content[rels] = content.get(rels, empty).replace(b"</Relationships>", one + b"</Relationships>")
    for name in list(content):
        content[name] = edit(name, content[name]) if edit else content[name]
    content |= {name: text.encode() if isinstance(text, str) else text for name, (text, _) in parts.items()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        for name, text in content.items():
            entry = zipfile.ZipInfo(name, (2024, 2, 3, 4, 5, 6))
            entry.compress_type = zipfile.ZIP_STORED if name.endswith((".png", ".bin")) else zipfile.ZIP_DEFLATED
            file.writestr(entry, text)


def before(name, tag, text):
    """An edit that puts `text` before `tag` in the part `name`."""
    def edit(part, content):
        return content.replace(tag.encode(), text.encode() + tag.encode(), 1) if part == name else content
    return edit


SPREADSHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml"
MICROSOFT = "http://schemas.microsoft.com/office"


def _custom_xml(path):
    _written(path, _plain)
    put_parts(path, {
        "customXml/item1.xml": ("<shelves><shelf>A1</shelf></shelves>", None),
        "customXml/itemProps1.xml": (
            '<ds:datastoreItem ds:itemID="{7D2B9E0A-1111-4C3B-9A55-222233334444}" xmlns:ds="http://schemas.openxmlformats.'
            'org/officeDocument/2006/customXml"><ds:schemaRefs/></ds:datastoreItem>',
            "application/vnd.openxmlformats-officedocument.customXmlProperties+xml")},
        [("xl/workbook.xml", "customXml", "customXml/item1.xml"),
         ("customXml/item1.xml", "customXmlProps", "customXml/itemProps1.xml")])


def _unknown_part(path):
    _written(path, _plain)
    put_parts(path, {"xl/future/thing.dat": (bytes(range(256)) * 40, "application/x-unknown"),
                     "xl/python.xml": ("<python xmlns='urn:example'>1</python>", "application/xml")},
              [("xl/workbook.xml", "urn:example:future", "xl/future/thing.dat"),
               ("xl/workbook.xml", "urn:example:python", "xl/python.xml")])


def _pivot(path, slicer=False):
    _written(path, _plain)
    fields = ('<cacheFields count="2"><cacheField name="type" numFmtId="0"><sharedItems count="2"><s v="EL84"/><s v="12AX7"/>'
              '</sharedItems></cacheField><cacheField name="price" numFmtId="0"><sharedItems containsNumber="1" '
              'containsString="0" containsSemiMixedTypes="0" minValue="1" maxValue="9"/></cacheField></cacheFields>')
    parts = {
        "xl/pivotCache/pivotCacheDefinition1.xml": (
            f'<pivotCacheDefinition xmlns="{MAIN}" xmlns:r="{OFFICE}" r:id="own2" refreshedBy="owner" recordCount="1">'
            f'<cacheSource type="worksheet"><worksheetSource ref="B1:C25" sheet="Sales"/></cacheSource>{fields}'
            "</pivotCacheDefinition>", f"{SPREADSHEET}.pivotCacheDefinition+xml"),
        "xl/pivotCache/pivotCacheRecords1.xml": (
            f'<pivotCacheRecords xmlns="{MAIN}" count="1"><r><x v="0"/><n v="5"/></r></pivotCacheRecords>',
            f"{SPREADSHEET}.pivotCacheRecords+xml"),
        "xl/pivotTables/pivotTable1.xml": (
            f'<pivotTableDefinition xmlns="{MAIN}" name="ByType" cacheId="7" dataCaption="Values"><location ref="H3:I6" '
            'firstHeaderRow="1" firstDataRow="1" firstDataCol="1"/><pivotFields count="2"><pivotField axis="axisRow" '
            'showAll="0"><items count="3"><item x="0"/><item x="1"/><item t="default"/></items></pivotField><pivotField '
            'dataField="1" showAll="0"/></pivotFields><rowFields count="1"><field x="0"/></rowFields><rowItems count="3">'
            '<i><x/></i><i><x v="1"/></i><i t="grand"><x/></i></rowItems><colItems count="1"><i/></colItems><dataFields '
            'count="1"><dataField name="Sum of price" fld="1"/></dataFields></pivotTableDefinition>',
            f"{SPREADSHEET}.pivotTable+xml")}
    relations = [
        ("xl/workbook.xml", "pivotCacheDefinition", "xl/pivotCache/pivotCacheDefinition1.xml"),
        ("xl/pivotCache/pivotCacheDefinition1.xml", "pivotCacheRecords", "xl/pivotCache/pivotCacheRecords1.xml"),
        ("xl/worksheets/sheet3.xml", "pivotTable", "xl/pivotTables/pivotTable1.xml"),
        ("xl/pivotTables/pivotTable1.xml", "pivotCacheDefinition", "xl/pivotCache/pivotCacheDefinition1.xml")]
    extra = ""
    if slicer:
        x14 = f"{MICROSOFT}/spreadsheetml/2009/9/main"
        parts["xl/slicerCaches/slicerCache1.xml"] = (
            f'<slicerCacheDefinition xmlns="{x14}" name="Slicer_type" sourceName="type"><pivotTables><pivotTable tabId="3" '
            'name="ByType"/></pivotTables><data><tabular pivotCacheId="7"><items count="2"><i x="0" s="1"/><i x="1" s="1"/>'
            "</items></tabular></data></slicerCacheDefinition>", "application/vnd.ms-excel.slicerCache+xml")
        parts["xl/slicers/slicer1.xml"] = (
            f'<slicers xmlns="{x14}"><slicer name="type" cache="Slicer_type" caption="type" rowHeight="241300"/></slicers>',
            "application/vnd.ms-excel.slicer+xml")
        relations += [("xl/workbook.xml", f"{MICROSOFT}/2007/relationships/slicerCache", "xl/slicerCaches/slicerCache1.xml"),
                      ("xl/worksheets/sheet3.xml", f"{MICROSOFT}/2007/relationships/slicer", "xl/slicers/slicer1.xml")]
        extra = (f'<extLst><ext uri="{{BBE1A952-AA13-448e-AADC-164F8A28A991}}" xmlns:x14="{x14}"><x14:slicerCaches>'
                 '<x14:slicerCache r:id="own5"/></x14:slicerCaches></ext></extLst>')
        sheet = (f'<extLst><ext uri="{{A8765BA9-456A-4dab-B4F3-ACF838C121DE}}" xmlns:x14="{x14}"><x14:slicerList>'
                 '<x14:slicer r:id="own6"/></x14:slicerList></ext></extLst>')

    def edit(part, content):
        if part == "xl/workbook.xml":
            return content.replace(b"</workbook>", (f'<pivotCaches><pivotCache cacheId="7" r:id="own1"/></pivotCaches>{extra}'
                                                    "</workbook>").encode())
        if slicer and part == "xl/worksheets/sheet3.xml":
            return content.replace(b"</worksheet>", sheet.encode() + b"</worksheet>")
        return content

    put_parts(path, parts, relations, edit=edit)


def _slicer(path):
    _pivot(path, slicer=True)


def _threaded(path):
    _written(path, _notes)
    people = f"{MICROSOFT}/spreadsheetml/2018/threadedcomments"
    put_parts(path, {
        "xl/threadedComments/threadedComment1.xml": (
            f'<ThreadedComments xmlns="{people}"><threadedComment ref="A1" dT="2025-01-01T10:00:00" personId="{{1}}" id="{{2}}">'
            "<text>Why so low?</text></threadedComment></ThreadedComments>", "application/vnd.ms-excel.threadedcomments+xml"),
        "xl/persons/person.xml": (
            f'<personList xmlns="{people}"><person displayName="owner" id="{{1}}" userId="owner" providerId="None"/>'
            "</personList>", "application/vnd.ms-excel.person+xml")},
        [("xl/worksheets/sheet3.xml", f"{MICROSOFT}/2017/10/relationships/threadedComment",
          "xl/threadedComments/threadedComment1.xml"),
         ("xl/workbook.xml", f"{MICROSOFT}/2017/10/relationships/person", "xl/persons/person.xml")])


def _extended_lists(path):
    _written(path, _bars_and_icons)
    x14 = f"{MICROSOFT}/spreadsheetml/2009/9/main"
    ext = (f'<ext xmlns:x14="{x14}" uri="{{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}}"><x14:dataValidations xmlns:xm="{MICROSOFT}/'
           'excel/2006/main" count="1"><x14:dataValidation type="list" allowBlank="1"><x14:formula1><xm:f>Sales!$B$2:$B$5</xm:f>'
           "</x14:formula1><xm:sqref>D1:D9</xm:sqref></x14:dataValidation></x14:dataValidations></ext>")
    put_parts(path, {}, [], edit=before("xl/worksheets/sheet3.xml", "</extLst>", ext))


def _connections(path):
    _written(path, _tables)
    put_parts(path, {
        "xl/connections.xml": (f'<connections xmlns="{MAIN}"><connection id="1" name="feed" type="4" refreshedVersion="6">'
                               '<webPr url="https://example.org/"/></connection></connections>',
                               f"{SPREADSHEET}.connections+xml"),
        "xl/queryTables/queryTable1.xml": (f'<queryTable xmlns="{MAIN}" name="feed" connectionId="1"/>',
                                           f"{SPREADSHEET}.queryTable+xml")},
        [("xl/workbook.xml", "connections", "xl/connections.xml"),
         ("xl/worksheets/sheet3.xml", "queryTable", "xl/queryTables/queryTable1.xml")])


def _printer(path):
    _written(path, _page)

    def edit(part, content):
        if part == "xl/worksheets/sheet3.xml":
            return content.replace(b"<pageSetup ", b'<pageSetup r:id="own1" ')
        return content

    put_parts(path, {"xl/printerSettings/printerSettings1.bin": (b"\x00P\x00R" * 300, None)},
              [("xl/worksheets/sheet3.xml", "printerSettings", "xl/printerSettings/printerSettings1.bin")],
              [("bin", "application/vnd.openxmlformats-officedocument.spreadsheetml.printerSettings")], edit)


def _external(path):
    _written(path, _plain)
    put_parts(path, {"xl/externalLinks/externalLink1.xml": (
        f'<externalLink xmlns="{MAIN}"><externalBook xmlns:r="{OFFICE}" r:id="own2"><sheetNames><sheetName val="Rates"/>'
        "</sheetNames></externalBook></externalLink>", f"{SPREADSHEET}.externalLink+xml")},
        [("xl/workbook.xml", "externalLink", "xl/externalLinks/externalLink1.xml"),
         ("xl/externalLinks/externalLink1.xml", "externalLinkPath", "docProps/core.xml")],
        edit=before("xl/workbook.xml", "<calcPr", '<externalReferences><externalReference r:id="own1"/></externalReferences>'))


def _chain(path):
    _written(path, _formulas)
    put_parts(path, {"xl/calcChain.xml": (f'<calcChain xmlns="{MAIN}"><c r="E1" i="3"/><c r="E2"/><c r="E4"/><c r="F1" a="1"/>'
                                          "</calcChain>", f"{SPREADSHEET}.calcChain+xml")},
              [("xl/workbook.xml", "calcChain", "xl/calcChain.xml")])


def _locked_view(path):
    """As Excel writes it: a revision of its own, views of others, compatibility blocks."""
    _written(path, _names)
    x15 = f"{MICROSOFT}/spreadsheetml/2010/11/main"
    block = ('<mc:AlternateContent xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006"><mc:Choice '
             f'Requires="x15"><x15ac:absPath url="C:\\shop\\" xmlns:x15ac="{MICROSOFT}/spreadsheetml/2010/11/ac"/></mc:Choice>'
             "</mc:AlternateContent>")
    ext = (f'<extLst><ext uri="{{140A7094-0E35-4892-8432-C4D2E57EDEB5}}" xmlns:x15="{x15}"><x15:workbookPr chartTrackingRef'
           'Base="1"/></ext></extLst>')

    def edit(part, content):
        if part != "xl/workbook.xml":
            return content
        head = f'<workbook xmlns:x15="{x15}" '.encode()
        return content.replace(b"<workbook ", head, 1).replace(b"<bookViews>", block.encode() + b"<bookViews>").replace(
            b"</workbook>", ext.encode() + b"</workbook>")

    put_parts(path, {}, [], edit=edit)


def _prefixed(path):
    """Every element of workbook, styles and content types with a prefix, as some libraries write them."""
    _written(path, _rules)

    def edit(part, content):
        if part in ("xl/workbook.xml", "xl/styles.xml", "[Content_Types].xml", "xl/_rels/workbook.xml.rels"):
            content = re.sub(rb"<(/?)(?=[a-zA-Z])", rb"<\1x:", content)
            return content.replace(b" xmlns=", b" xmlns:x=", 1)
        return content

    put_parts(path, {}, [], edit=edit)


def _quoted_otherwise(path):
    """Single quotes, line breaks in tags, comments between parts: well-formed, and unlike what Excel writes."""
    _written(path, _names)

    def edit(part, content):
        if part in ("xl/workbook.xml", "xl/styles.xml"):
            content = re.sub(rb'="([^"\']*)"', rb"='\1'", content).replace(b"?>", b"?>\n<!-- kept > as it is -->", 1)
            return content.replace(b"<sheets>", b"<sheets\n>").replace(b"<cellXfs", b"\n\t<cellXfs")
        return content

    put_parts(path, {}, [], edit=edit)


def _ink(path):
    """ActiveX, an embedded object and a drawing's diagram: parts that only their own program reads."""
    _written(path, _shapes)
    put_parts(path, {
        "xl/activeX/activeX1.xml": ('<ax:ocx xmlns:ax="http://schemas.microsoft.com/office/2006/activeX" ax:classid="{1}" '
                                    'ax:persistence="persistStreamInit"/>', "application/vnd.ms-office.activeX+xml"),
        "xl/activeX/activeX1.bin": (b"\x01\x02" * 99, "application/vnd.ms-office.activeX"),
        "xl/embeddings/oleObject1.bin": (b"\xd0\xcf\x11\xe0" * 99, "application/vnd.openxmlformats-officedocument.oleObject"),
        "xl/diagrams/data1.xml": ('<dgm:dataModel xmlns:dgm="http://schemas.openxmlformats.org/drawingml/2006/diagram"/>',
                                  "application/vnd.openxmlformats-officedocument.drawingml.diagramData+xml")},
        [("xl/worksheets/sheet3.xml", "control", "xl/activeX/activeX1.xml"),
         ("xl/activeX/activeX1.xml", f"{MICROSOFT}/2006/relationships/activeXControlBinary", "xl/activeX/activeX1.bin"),
         ("xl/worksheets/sheet3.xml", "oleObject", "xl/embeddings/oleObject1.bin"),
         ("xl/drawings/drawing1.xml", "diagramData", "xl/diagrams/data1.xml")])


def _ribbon(path):
    _written(path, _plain)
    put_parts(path, {"customUI/customUI14.xml": ('<customUI xmlns="http://schemas.microsoft.com/office/2009/07/customui"/>',
                                                 "application/xml"),
                     "docProps/thumbnail.png": (b"\x89PNG", None)},
              [("", f"{MICROSOFT}/2007/relationships/ui/extensibility", "customUI/customUI14.xml"),
               ("", "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail",
                "docProps/thumbnail.png")], [("png", "image/png")])


BY_HAND = {"custom part": _custom_xml, "unknown part": _unknown_part, "pivot": _pivot, "slicer": _slicer,
           "threaded notes": _threaded, "extended lists": _extended_lists, "connections": _connections,
           "printer": _printer, "other file": _external, "chain": _chain, "compatibility": _locked_view,
           "prefixed": _prefixed, "quoted otherwise": _quoted_otherwise, "foreign objects": _ink, "ribbon": _ribbon}


def makers():
    """name of the file -> function of a path that writes it."""
    found = {f"{name}.xlsx": (lambda path, fill=fill: _written(path, fill)) for name, fill in WRITER.items()}
    found["macros.xlsm"] = lambda path: _written(path, _macro)
    found["old dates.xlsx"] = lambda path: _written(path, _names, date_1904=True)
    found["texts in cells.xlsx"] = lambda path: _written(path, _plain, constant_memory=True)
    found |= {f"opened {name}.xlsx": (lambda path, fill=fill: _opened(path, fill)) for name, fill in OPENED.items()}
    return found | {f"hand {name}.xlsx": make for name, make in BY_HAND.items()}


# What the short run takes.
FEW = ["chart column.xlsx", "pictures.xlsx", "sparklines.xlsx", "bars and icons.xlsx", "notes.xlsx", "tables.xlsx",
       "macros.xlsm", "opened charts.xlsx", "hand slicer.xlsx", "hand threaded notes.xlsx", "hand chain.xlsx",
       "hand prefixed.xlsx"]


def by_libreoffice(paths, folder, ending="xlsx"):
    """The files saved again by LibreOffice into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    subprocess.run(["soffice", f"-env:UserInstallation=file://{folder.parent}/profile", "--headless", "--convert-to", ending,
                    "--outdir", str(folder), *map(str, paths)], check=True, capture_output=True, timeout=600)
    return [folder / Path(path).with_suffix(f".{ending}").name for path in paths]


HAS_LIBREOFFICE = shutil.which("soffice") is not None
