"""Files as shops really hold them, with what every line should be read as: written by hand piece by piece, put together
line by line, so that each spelling meets others in several codes, separators, languages and orders of dates.

Common practice, no source."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterator
from itertools import zip_longest
from pathlib import Path
from typing import Any, NamedTuple

import openpyxl
import pandas as pd

# As written -> the type meant. Numbers and a date are what a spreadsheet makes of 6E5, 12E1 and 6-53; what no register
# knows stays as it is.
TYPES: list[tuple[Any, str]] = [
    ("12AX7", "12AX7"), ("12AX7/ECC83", "12AX7"), ("ECC83", "ECC83"), ("el84", "EL84"), ("EL 34", "EL34"),
    ("6V6 GT/G", "6V6GT"), ("6BQ5-EL84", "6BQ5"), ("CV4004", "CV4004"), ("JAN-5751", "5751"), ("OA2", "0A2"),
    ("6L6 GC", "6L6GC"), ("KT-88", "KT88"), ("5AR4/GZ34", "5AR4"), ("6DJ8/ECC88", "6DJ8"), ("300 B", "300B"),
    ("12AX7A = 7025", "12AX7A"), ("5U4-GB", "5U4GB"), ("6H8C", "6N8S"), ("6P3S-E", "6P3S-E"), ("E88CC", "E88CC"),
    ("ECC 82", "ECC82"), ("2A3", "2A3"), ("12AU7A", "12AU7A"), ("6sn7gtb", "6SN7GTB"), ("EL84 (2)", "EL84"),
    (600000, "6E5"), ("6.00E+05", "6E5"), (120, "12E1"),
    (dt.datetime(2053, 6, 1), "6-53"), ("no such 99", "no such 99")]
CYRILLIC: list[tuple[Any, str]] = [
    ("6Н8С", "6N8S"), ("6П14П-ЕВ", "6P14P-EV"), ("6Н23П-ЕВ", "6N23P-EV"), ("6П3С-Е", "6P3S-E"), ("5Ц3С", "5C3S"),
    ("6Н1П-ЕВ", "6N1P-EV"), ("6Н2П-ЕВ", "6N2P-EV"), ("6Н8С пара", "6N8S")]
# As written -> grade and reading.
GRADES: list[tuple[Any, str, float | None]] = [
    ("NOS", "new old stock", None), ("N.O.S.", "new old stock", None), ("nos/nib", "new old stock, boxed", None),
    ("NOS?", "new old stock", None), ("used - tests strong", "used, strong", None), ("tstd 95%", "used, strong", 95),
    ("88/91", "used, strong", 89.5), ("pulled", "pulled or untested", None), ("", "", None),
    ("weak", "used, weak", None),
    ("for parts", "for parts", None), ("ANOS", "used, strong", None), ("Used, good", "used, good", None),
    ("unused", "new old stock", None), ("as is", "pulled or untested", None), ("minty", "", None),
    ("gebraucht gut", "used, good", None), ("ungeprüft", "pulled or untested", None),
    ("NIB", "new old stock, boxed", None)]
# As written -> amount of the line, its currency ("" the shop's).
PRICES: list[tuple[Any, float, str]] = [
    ("€32,00", 32, "EUR"), ("1.250,00", 1250, ""), ("1,250.00", 1250, ""), ("45", 45, ""), ("45,5", 45.5, ""),
    ("$45", 45, "USD"), ("£12.50", 12.5, "GBP"), ("32 €", 32, "EUR"), ("CHF 80.-", 80, "CHF"), ("25,-", 25, ""),
    ("1'250.00", 1250, ""), ("EUR 18,50", 18.5, "EUR"), ("US$ 60", 60, "USD"), ("2 500,00", 2500, ""), (31, 31, ""),
    (18.75, 18.75, ""), ("7.00 GBP", 7, "GBP"), ("1250", 1250, ""), ("0,99", 0.99, "")]
# What a line says of its count: set size cell, quantity cell -> set size, quantity, matched.
COUNTS: list[tuple[Any, Any, int, int, bool]] = [
    ("", "", 1, 1, False), ("", 1, 1, 1, False), (2, "", 2, 1, False), ("pair", "", 2, 1, False),
    ("4", "2", 4, 2, False),
    ("quad", 1, 4, 1, False), ("matched pair", "", 2, 1, True), ("", "3 pcs", 1, 3, False), ("MP", "", 2, 1, True),
    ("", 10, 1, 10, False), ("1", "2x", 1, 2, False), ("Paar", "", 2, 1, False), ("Trio", "", 3, 1, False)]
ERAS: list[tuple[Any, str]] = [
    ("1957", "1950s"), ("1950s", "1950s"), ("late 60s", "1960s"), ("", ""), (1962, "1960s"), ("'50s", "1950s"),
    ("70er", "1970s")]
MAKERS: list[tuple[Any, str]] = [
    ("Varnoseth", "Varnoseth"), ("VARNOSETH", "Varnoseth"), ("", ""), ("Old Skarn Works", "Old Skarn Works"),
    ("?", "")]
# Styles of dates: the text of a day.
STYLES = {"iso": "{0:%Y-%m-%d}", "dots": "{0.day}.{0.month}.{0:%y}", "day first": "{0:%d/%m/%Y}",
          "month first": "{0:%m/%d/%Y}", "words": "{0.day} {0:%b} {0:%Y}", "American words": "{0:%b} {0.day}, {0:%Y}",
          "time": "{0:%Y-%m-%d}T10:22:00", "dashes": "{0:%d-%m-%y}"}
# Last lines of a file, as (date, type, price): what must not become a sale.
BAD: list[tuple[Any, Any, Any, str]] = [
    ("", "EL84", "12", "sold_on"), (None, "", "12", "type"), (None, "EL84", "", "price"),
    (None, "EL84", "ask", "price"), ("Total", "", "1.234,00", "sold_on"), (None, "EL84", "-5", "price"),
    ("32.13.2023", "EL84", "5", "sold_on"), (None, "EL84", "12 or 15", "price"), ("1.1.2031", "EL84", "5", "sold_on"),
    (None, "EL84", 0, "price")]

HEADINGS = {
    "English": "Date sold;Tube;Made by;Year;Cond.;Set;Qty;Price".split(";"),
    "German": "Verkauft am;Röhre;Hersteller;Baujahr;Zustand;Satz;Menge;Preis".split(";"),
    "French": "Vendu le;Type de tube;Fabricant;Année;État;Jeu;Quantité;Prix".split(";"),
    "Spanish": "Fecha de venta;Válvula;Fabricante;Año;Estado;Juego;Cantidad;Precio".split(";"),
    "Italian": "Data vendita;Valvola;Produttore;Anno;Condizione;Set da;Quantità;Prezzo".split(";"),
    "Dutch": "Verkocht op;Buis;Fabrikant;Bouwjaar;Staat;Per set;Aantal;Prijs".split(";"),
    "ours": "sold_on;type;maker;era;grade;set_size;qty;price".split(";")}


class File(NamedTuple):
    """One file: its name, language of the headings, style of dates, how it is stored, and where in the lists it begins.
    """

    name: str
    language: str
    style: str
    code: str = "utf-8"
    separator: str = ","
    first: int = 0
    cyrillic: bool = False


FILES = [
    File("sold.csv", "English", "month first"), File("verkauf.csv", "German", "dots", "cp1252", ";", 40),
    File("ventes.csv", "French", "day first", "utf-16", "\t", 80),
    File("ventas.txt", "Spanish", "words", "cp1252", "|", 120),
    File("vendite.tsv", "Italian", "day first", "utf-8-sig", "\t", 160),
    File("verkoop.csv", "Dutch", "dashes", "utf-8", ";", 200),
    File("sales.xlsx", "ours", "iso", first=240), File("sold items.ods", "English", "American words", first=280),
    File("verkäufe.xlsm", "German", "real", first=320), File("export.csv", "English", "time", "utf-16-le", ";", 360),
    File("list.csv", "ours", "iso", "cp1251", ";", 400, cyrillic=True),
    File("soviet.csv", "English", "dots", first=440, cyrillic=True)]
LINES_A_FILE = 40


class Line(NamedTuple):
    """One line: its cells and what it should be, None where it must be refused for `column`."""

    cells: list[Any]
    expected: dict[str, Any] | None
    column: str = ""


def lines(file: File) -> Iterator[Line]:
    """The lines of one file, in order."""
    days = [dt.date(2021, 1, 3) + dt.timedelta(days=37 * place) for place in range(LINES_A_FILE)]
    text = file.name.endswith((".csv", ".txt", ".tsv"))
    types = CYRILLIC + TYPES if file.cyrillic else TYPES
    for place, day in enumerate(days):
        at = file.first + place
        type_, meant = types[at % len(types)]
        grade, means, reading = GRADES[at % len(GRADES)]
        price, amount, currency = PRICES[(at * 7) % len(PRICES)]
        size, qty, sizes, qtys, matched = COUNTS[(at * 5) % len(COUNTS)]
        era, decade = ERAS[at % len(ERAS)]
        maker, made = MAKERS[at % len(MAKERS)]
        if "(2)" in str(type_) or "пара" in str(type_):
            size, qty, sizes, qtys, matched = "", "", 2, 1, False
        if file.code == "cp1251":
            price, amount, currency = ("1.250,00", 1250, "") if "£" in str(price) else (price, amount, currency)
            grade, means, reading = ("", "", None) if "ü" in grade else (grade, means, reading)
        date = dt.datetime(day.year, day.month, day.day) if file.style == "real" else STYLES[file.style].format(day)
        cells = [date, type_, maker, era, grade, size, qty, price]
        if text:
            cells = [f"{cell:%Y-%m-%d}" if isinstance(cell, dt.datetime) else str(cell) for cell in cells]
        yield Line(cells, {"sold_on": day, "type": meant, "maker": made, "era": decade, "grade": means,
                           "reading_pct": reading, "set_size": sizes, "qty": qtys, "matched": matched, "price": amount,
                           "currency": currency or "EUR"})
    for place in range(file.first // 10, file.first // 10 + 4):
        date, type_, price, column = BAD[place % len(BAD)]
        day = STYLES.get(file.style, STYLES["iso"]).format(days[3]) if date is None else date
        yield Line([day, type_, "", "", "", "", "", str(price) if text else price], None, column)


def write(file: File, folder: Path) -> Path:
    """The file, written."""
    path, rows = folder / file.name, [HEADINGS[file.language], *(line.cells for line in lines(file))]
    if path.suffix in (".xlsx", ".xlsm"):
        made = openpyxl.Workbook()
        for row in rows:
            made.active.append(row)
        made.active.title = path.stem
        made.save(path)
    elif path.suffix == ".ods":
        with pd.ExcelWriter(path, engine="odf") as writer:
            frame = pd.DataFrame(list(zip(*zip_longest(*rows))))
            frame.to_excel(writer, sheet_name=path.stem, header=False, index=False)
    else:
        text = io.StringIO()
        csv.writer(text, delimiter=file.separator).writerows(rows)
        path.write_bytes(text.getvalue().encode(file.code))
    return path
