"""How the owner typed it: clean values become cells, some in the shop's many spellings, each meaning kept.

A function that spells a cell returns Spelled(typed, kind, meant): `meant` maps column to the clean reading.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

MAKES_ONE_OF = {  # printed designation: other ways the owner writes it
    "12AX7": ("12AX7/ECC83", "12ax7", "12AX7 / ECC83"),
    "ECC83": ("ECC83/12AX7", "ECC 83", "ecc83"),
    "12AX7A": ("12AX7A = 7025", "12ax7a"),
    "CV4004": ("CV 4004", "cv4004"),
    "5751": ("JAN-5751", "JAN 5751"),
    "12AU7": ("12AU7/ECC82",),
    "ECC82": ("ECC82/12AU7", "ECC 82"),
    "12AT7": ("12AT7/ECC81",),
    "ECC81": ("ECC81 / 12AT7",),
    "5814A": ("JAN-5814A",),
    "6DJ8": ("6DJ8/ECC88",),
    "ECC88": ("ECC88/6DJ8", "ecc88"),
    "6922": ("6922/E88CC",),
    "E88CC": ("E88CC = 6922", "E88CC/6922"),
    "EL84": ("EL84/6BQ5", "EL 84", "el84"),
    "6BQ5": ("6BQ5-EL84", "6BQ5/EL84"),
    "6V6GT": ("6V6 GT/G", "6V6-GT", "6v6gt"),
    "6L6GC": ("6L6-GC", "6L6 GC"),
    "6L6WGB": ("6L6 WGB",),
    "EL34": ("EL34/6CA7", "EL 34"),
    "6CA7": ("6CA7/EL34",),
    "5AR4": ("5AR4/GZ34",),
    "GZ34": ("GZ34 / 5AR4", "GZ 34"),
    "EZ81": ("EZ81/6CA4",),
    "6CA4": ("6CA4/EZ81",),
    "5U4GB": ("5U4-GB", "5U4 GB"),
    "5Y3GT": ("5Y3-GT", "5Y3 GT"),
    "6SN7GT": ("6SN7", "6SN7-GT", "VT-231"),
    "6N8S": ("6H8C", "6H8C", "6H8C", "6Н8С"),
    "6P3S": ("6П3С",),
    "6P14P": ("6П14П",),
    "6N2P": ("6Н2П",),
    "6N1P": ("6Н1П",),
    "6N23P": ("6Н23П",),
    "6P6S": ("6П6С",),
    "6P3S-E": ("6П3С-Е",),
    "0A2": ("OA2",),
}
GRADE_SPELLINGS = {
    "new old stock, boxed": ("nos/nib", "NOS NIB", "NIB", "NOS boxed"),
    "new old stock": ("NOS", "N.O.S.", "nos"),
    "used, strong": ("used - tests strong", "tests strong"),
    "used, good": ("used - tests good", "tests good"),
    "used, weak": ("tests weak", "weak"),
    "pulled or untested": ("pulled", "untested", "pull"),
    "for parts": ("parts only",),
}
DOUBTFUL_GRADES = {"new old stock": "NOS?", "used, strong": "ANOS"}
SIGNS = {"EUR": "€", "USD": "$", "GBP": "£"}


@dataclass(frozen=True)
class Spelled:
    """One cell as typed. `kind` is empty for an ordinary cell; `blank` names cells then left empty."""

    typed: str
    kind: str = ""
    meant: dict[str, str] = field(default_factory=dict)
    blank: tuple[str, ...] = ()


def plain(value: float) -> str:
    """A number without needless decimals."""
    return f"{value:.0f}" if value == round(value) else f"{value:.2f}"


def one_of(rng: np.random.Generator, options) -> str:
    return options[int(rng.integers(len(options)))]


def spell_date(rng, date: pd.Timestamp) -> Spelled:
    iso = f"{date:%Y-%m-%d}"
    form = int(rng.integers(5))
    if form == 0:
        return Spelled(f"{date:%d/%m/%Y}", "day/month/year", {"sold_on": iso})
    if form == 1:
        return Spelled(f"{date.day}.{date.month}.{date:%y}", "d.m.yy", {"sold_on": iso})
    if form == 2:
        return Spelled(f"{date:%b} '{date:%y}", "month only", {"sold_on": iso[:7]})
    if form == 3:
        return Spelled(str((date - pd.Timestamp("1899-12-30")).days), "serial", {"sold_on": iso})
    return Spelled(f"{date.day} {date:%b} {date.year}", "d month yyyy", {"sold_on": iso})


def spell_type(rng, printed: str) -> Spelled:
    if printed in MAKES_ONE_OF and rng.random() < 0.9:
        typed = one_of(rng, MAKES_ONE_OF[printed])
    else:
        typed = one_of(rng, (f" {printed}", f"{printed} ", printed.lower()))
    kind = "look-alike letters" if typed == "6H8C" else "Cyrillic" if not typed.isascii() else "type spelling"
    return Spelled(typed, kind, {"type": printed})


def spell_maker(rng, maker: str) -> Spelled:
    form = int(rng.integers(5))
    if form == 0:
        return Spelled(maker + "?", "doubtful maker", {"maker": maker})
    return Spelled(
        (maker.upper(), maker.lower(), maker + " ", " " + maker)[form - 1],
        "maker case or spaces",
        {"maker": maker},
    )


def spell_era(rng, era: str) -> Spelled:
    decade = int(era[:4])
    year = decade + int(rng.integers(10))
    forms = [str(year), str(year)]
    if 1930 <= decade <= 1990:
        forms += [f"{decade % 100}s", f"{decade}'s", f"late {decade % 100}s", f"early {decade}s"]
    return Spelled(one_of(rng, forms), "era spelling", {"era": era})


def spell_grade(rng, grade: str, reading_pct: float | None, shown: float | None) -> Spelled:
    """`shown`: what its tester shows of the piece's reading, never less in this shop."""
    if grade == "used, strong" and reading_pct is not None and rng.random() < 0.35:
        reading = int(shown)
        if rng.random() < 0.5 and reading_pct >= 80:
            return Spelled(
                f"tstd {reading}%",
                "reading in grade",
                {"reading_pct": str(reading), "grade": grade},
                ("reading_pct",),
            )
        gap = int(rng.integers(1, 4))
        return Spelled(
            f"{reading - gap}/{reading + gap}",
            "reading in grade",
            {"reading_pct": str(reading)},
            ("reading_pct",),
        )
    if grade in DOUBTFUL_GRADES and rng.random() < 0.10:
        return Spelled(DOUBTFUL_GRADES[grade], "doubtful grade", {"grade": grade})
    return Spelled(one_of(rng, GRADE_SPELLINGS[grade]), "grade spelling", {"grade": grade})


def spell_reading(rng, reading_pct: float) -> Spelled:
    reading = int(reading_pct)
    gap = int(rng.integers(1, 6))
    typed = one_of(rng, (f"{reading}%", f"{reading} %", f"{reading - gap}/{reading + gap}", f"{reading},0"))
    return Spelled(typed, "reading spelling", {"reading_pct": str(reading)})


def spell_loose(qty: int) -> Spelled:
    """Three or ten loose tubes in words, in the set_size cell."""
    return Spelled(
        {3: "1.5 pr", 10: "lot of 10"}[qty],
        "loose tubes in words",
        {"set_size": "1", "qty": str(qty)},
        ("qty",),
    )


def spell_set(rng, set_size: int, matched: bool) -> Spelled:
    """A set in words, in the set_size cell; words that say "matched" leave the matched cell empty."""
    meant = {"set_size": str(set_size)}
    if matched:
        words = ("MP", "matched PAIR", "matched pair") if set_size == 2 else ("matched quad", "MQ")
        return Spelled(one_of(rng, words), "set words", meant | {"matched": "yes"}, ("matched",))
    return Spelled(
        one_of(rng, ("pair", "(2)", "pr") if set_size == 2 else ("quad", "(4)")), "set words", meant
    )


def spell_type_with_set(rng, printed: str, set_size: int, matched: bool) -> Spelled:
    """A set in words behind the type, as in a listing title."""
    meant = {"type": printed, "set_size": str(set_size)}
    if matched:
        word = one_of(rng, ("matched PAIR", "MP")) if set_size == 2 else "matched quad"
        return Spelled(
            f"{printed} {word}", "set words in type", meant | {"matched": "yes"}, ("set_size", "matched")
        )
    word = one_of(rng, ("pair", "(2)")) if set_size == 2 else "quad"
    return Spelled(f"{printed} {word}", "set words in type", meant, ("set_size",))


def spell_price(
    rng, price: float, currency: str, set_size: int, qty: int, continental: bool = True
) -> Spelled:
    """A line price in the owner's spellings; a price "each" or "a pair" means the line is that times its
    number.
    """
    sign, meant = SIGNS[currency], {"price": plain(price)}
    each = round(price / qty, 2)
    if abs(each * qty - price) < 0.005 and rng.random() < (0.3 if qty == 1 else 0.9) and set_size in (1, 2):
        if set_size == 2:
            return Spelled(f"{plain(each)}/pr", "price a pair", meant)
        return Spelled(f"{sign}{plain(each)} ea", "price each", meant | {"currency": currency}, ("currency",))
    comma = f"{price:,.2f}".translate(str.maketrans(",.", ".,"))
    forms = [
        (f"{sign}{comma}", ("currency",)),
        (comma, ()),
        (f"{sign}{price:,.2f}", ("currency",)),
        (f"{plain(price)} {currency}", ("currency",)),
        (f"{sign} {plain(price)}", ("currency",)),
    ]
    if price >= 1000:
        forms = [(comma if continental else f"{price:,.2f}", ())]
    typed, blank = forms[int(rng.integers(len(forms)))]
    return Spelled(typed, "price spelling", meant | ({"currency": currency} if blank else {}), blank)


class Sheet:
    """One CSV being written: rows of typed cells, and what the dirty ones meant."""

    def __init__(self, name: str, columns: list[str]):
        self.name, self.columns = name, columns
        self.rows: list[dict[str, str]] = []
        self.dirty: list[dict] = []

    @property
    def next_row(self) -> int:
        """The row number in the file, the heading being row 1."""
        return len(self.rows) + 2

    def write(self, row: dict, spelled: dict[str, Spelled] | None = None) -> int:
        """Appends a row, with the spelled cells in place of the plain ones. Returns its row number in the
        file.
        """
        number = self.next_row
        row = {column: _text(row.get(column)) for column in self.columns}
        for column, cell in (spelled or {}).items():
            row[column] = cell.typed
            for blank in cell.blank:
                row[blank] = ""
            for meant_column, meant in cell.meant.items():
                if meant_column not in self.columns:
                    continue  # Stock has no matched column
                self.dirty.append(
                    {
                        "sheet": self.name,
                        "row": number,
                        "typed_in": column,
                        "typed": cell.typed,
                        "column": meant_column,
                        "meant": meant,
                        "kind": cell.kind,
                    }
                )
        self.rows.append(row)
        return number

    def frame(self) -> pd.DataFrame:
        return pd.DataFrame(self.rows, columns=self.columns)


def _text(value) -> str:
    if value is None or value is pd.NaT or value == "unknown":
        return ""
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}"
    if isinstance(value, bool | np.bool_):
        return "yes" if value else ""
    if isinstance(value, float | np.floating):
        return "" if np.isnan(value) else plain(float(value))
    return str(value)
