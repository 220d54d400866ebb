"""CSV files in the codes that spreadsheets of all ages save: the same small tables read alike from each."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.shop_tables import read_shop
from pricing.shop_tables.letters import SINGLE_BYTE, decode

TODAY = dt.date(2026, 3, 1)
MARKED = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be")
# Words of the trade and everyday words in their own letters, by the codes that hold them all.
TABLES = {
    "German": ("Datum;Röhre;Preis;Bemerkung\n2024-05-06;EL84;32,00 €;geprüft, für Müller\n"
               "2024-05-07;ECC83;7;Größe ß\n", ("cp1252", "mac-roman")),
    "French": ("Date;Lampe;Prix;État\n2024-05-06;EL84;32;usagé\n2024-05-07;EL34;7;testée à 95%\n",
               ("cp1252", "latin-1", "mac-roman")),
    "Spanish": ("Fecha;Válvula;Precio;Notas\n2024-05-06;EL84;32;año\n", ("cp1252", "latin-1", "mac-roman")),
    "Danish": ("Date;Type;Price;Note\n2024-05-06;EL84;32;Kjøpt på Ås\n", ("cp1252", "latin-1", "mac-roman")),
    "capitals": ("DATUM;RÖHRE;PREIS\n2024-05-06;EL84;32\n", ("cp1252", "latin-1", "mac-roman")),
    "one letter": ("Date;Tube;Price;Notes\n2024-05-06;EL84;32;café\n", ("cp1252", "latin-1", "mac-roman")),
    "euros": ("Date;Tube;Price\n2024-05-06;EL84;€32\n2024-05-07;EL34;€30\n", ("cp1252", "mac-roman")),
    "pounds": ("Date;Tube;Price\n2024-05-06;EL84;£32\n", ("cp1252", "latin-1", "mac-roman")),
    "quotes": ("Date;Tube;Price;Notes\n2024-05-06;EL84;32;boxed – good, it’s “NOS”\n", ("cp1252", "mac-roman")),
    "Russian": ("Date;Tube;Price;Notes\n2024-05-06;6Н8С;32;новая в коробке\n2024-05-07;6П14П-ЕВ;7;\n", ("cp1251",)),
    "Russian types alone": ("Date;Tube;Price\n2024-05-06;6Н8С;32\n2024-05-07;6П3С-Е;7\n", ("cp1251",)),
    "one Russian type": ("Date;Tube;Price\n2024-05-06;6Н8С;32\n", ("cp1251",)),
    "Ж and Ц": ("Date;Tube;Price\n2024-05-06;6Ж32П;32\n2024-05-07;5Ц3С;3\n", ("cp1251",)),
}
CASES = [(name, code) for name, (_, codes) in TABLES.items() for code in (*MARKED, *codes)]


@pytest.mark.parametrize("name, code", CASES)
def test_a_table_reads_alike_from_every_code(tmp_path, name, code):
    """Types, prices and words are those of the UTF-8 file; only a guess is a problem, naming the code."""
    text = TABLES[name][0]
    plain, coded = tmp_path / "plain.csv", tmp_path / "coded.csv"
    plain.write_text(text, encoding="utf-8")
    coded.write_bytes(text.encode(code))
    wanted, met = read_shop(plain, today=TODAY), read_shop(coded, today=TODAY)
    assert met.sales.equals(wanted.sales) and len(met.sales) == text.count("\n") - 1
    guesses = met.problems[met.problems["code"] == "letters_guessed"]
    alike = [name for one, name in SINGLE_BYTE.items() if text.encode(code).decode(one, "replace") == text]
    assert guesses["value"].tolist() == ([] if code in MARKED else alike[:1])
    assert wanted.problems["code"].isin(met.problems["code"]).all()


def test_the_guess_shows_a_word(tmp_path):
    """The problem names the sheet, the code taken and a word as it was read, with the way out."""
    (tmp_path / "Sales.csv").write_bytes("Date,Tube,Price\n2024-05-06,6Н8С,32\n".encode("cp1251"))
    met = read_shop(tmp_path, today=TODAY).problems.iloc[0]
    assert (met["sheet"], met["effect"]) == ("Sales", "please check")
    assert met["message"] == ("The file does not say how its letters are stored; they were read as Windows-1251 "
                              "(Cyrillic), which gives '6Н8С'.")
    assert met["remedy"] == "If that word is wrong, save the file again as CSV UTF-8."


def test_the_whole_file_decides():
    """A letter that comes after many plain lines is weighed as well."""
    text = "Date;Tube;Price\n" + "2024-05-06;EL84;32\n" * 40_000 + "2024-05-06;6Н8С;32\n"
    assert decode(text.encode("cp1251")).text == text


@given(data=st.binary(max_size=200))
def test_any_bytes_become_text(data):
    """Nothing raises, and plain ASCII passes unchanged."""
    assert isinstance(decode(data).text, str)
    plain = bytes(one % 95 + 32 for one in data)
    assert decode(plain) == (plain.decode(), "", "", "UTF-8")
