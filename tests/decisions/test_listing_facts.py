"""Facts of pieces for the shop's page: every line from the books or the register, in the owner's own words."""

import html
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pricing
from pricing.decisions.listing_facts import CAUTION, PLACES, TEMPLATE, check_template, fill_template, listing_facts

STOCK = """sku,type,maker,brand,era,variant,grade,reading_pct,tester,set_size,qty,note
P1,ECC82,Tivenshaw,,1960s,grey plates,NOS,,,1,1,<quiet> & "long"
P2,6BQ5,,Gralloon,,,,95,bench A,2,1,
P3,QQ99ZZ,Tivenshaw,Gralloon,,,,,,1,1,
P4,6L6GC,,,,,,,,1,1,
P5,EL84,,Nobody,,,,,,1,1,
"""
READINGS = """sku,tested_on,tester,test,section,value,nominal,volts
P1,2024-01-01,bench A,gm,1,9.9,2.2,250
P1,2025-01-02,bench A,gm,1,2.2,2.2,250
P1,2025-01-02,bench A,gm,2,1.98,2.2,250
P1,2025-01-02,bench A,plate current,1,10.4,,250
P1,2025-01-02,bench A,plate current,2,10.6,,250
P1,2025-01-02,bench B,leakage,,3,,
P2,2025-01-02,bench A,gm,,10,11.3,250
"""
SETTINGS = "key,value\n"


def shop_of(folder, settings_rows=""):
    """The shop above; brand Gralloon has always been made by Umbrelka."""
    sales = ["sold_on,type,maker,brand,price"]
    sales += [f"2025-{1 + n % 12:02d}-05,{'EL84' if n % 2 else '12AX7'},Umbrelka,Gralloon,{20 + n % 5}"
              for n in range(40)]
    for name, text in (("sales", "\n".join(sales)), ("stock", STOCK), ("readings", READINGS),
                       ("settings", SETTINGS + settings_rows)):
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return pricing.read_shop(folder)


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """The shop above, read once."""
    return shop_of(tmp_path_factory.mktemp("shop"))


@pytest.fixture(scope="module")
def said(shop):
    """Facts of every piece by sku, in our template."""
    facts = listing_facts(shop)
    assert facts.problems.empty
    return facts.table.set_index("sku")["facts"]


def test_readings_sections_and_matching(said):
    """The newest readings by section with tester, day, nominal and percent; balance; matching figures at test volts.

    By hand: 2.2 of 2.2 is 100 %, 1.98 is 90 %, and 90 % of the stronger; (10.4 + 10.6) / 2 = 10.5; (2.2 + 1.98) / 2
    = 2.09.
    """
    lines = said["P1"].splitlines()
    assert ("Readings: gm on bench A, 2025-01-02: section 1 2.2 (nominal 2.2, 100 %), section 2 1.98 (nominal 2.2, "
            "90 %); leakage on bench B, 2025-01-02: 3") in lines
    assert "Sections: weaker section (2) at 90 % of the stronger, gm on bench A" in lines
    assert "Matching: plate current 10.5 mA, gm 2.09 at 250 V on bench A" in lines
    assert "Grade, as we state it: new old stock" in lines and "Maker: Tivenshaw" in lines


def test_a_reading_is_of_one_tube(said):
    """A code of a pair says that its reading is of one tube, is not matched, and keeps the reading noted in Stock."""
    assert "10 (nominal 11.3, 88 %) (read on one of the 2 tubes of this code); noted: 95 % of nominal" in said["P2"]
    assert "Matching" not in said["P2"] and "Sold as: pair" in said["P2"]


def test_values_without_a_source_are_marked(said, shop):
    """The heater of 6BQ5 has a source, its base none: one is stated, the other marked."""
    assert shop.register.value("6BQ5", "heater_v").basis in ("published", "secondary")
    assert shop.register.value("6BQ5", "base").basis == "memory"
    assert "Heater: 6.3 V, 0.76 A\n" in said["P2"]
    assert "Base: noval (B9A) (no source seen: check the data sheet)\n" in said["P2"]


def test_kin(said, shop):
    """Other names by the list; in place of others only with a source and its direction; warnings always."""
    assert "The same electrical type by our list: EL84, 6P14P. Not a substitute for: " in said["P2"]
    assert "7189" not in said["P2"]  # listed from memory only
    assert "Listed in place of: 6L6G (direct, higher ratings)" in said["P4"]
    assert "6P3S (direct, higher ratings, one way only)" in _kin_of(shop, "6P3S-E")


def _kin_of(shop, kind):
    stock = shop.stock.head(1).assign(type=kind, designation=kind)
    return listing_facts(replace(shop, stock=stock), template="{kin}").table["facts"].iloc[0]


def test_makers_are_never_claimed(said):
    """A brand's maker is attributed, with its chance and whose records say so; a brand nobody knows stays a brand."""
    assert "Maker: not stated; printed Gralloon; attributed to Umbrelka, " in said["P2"]
    assert " sure, by this shop's own records\n" in said["P2"]
    assert "Maker: Tivenshaw; printed Gralloon\n" in said["P3"] and "Maker: not stated; printed Nobody\n" in said["P5"]
    assert "Maker" not in said["P4"]


def test_no_claims_and_always_the_caution(said):
    """Every block warns; none speaks of sound or safety, and the owner's note is not shown unasked."""
    assert said.str.contains(CAUTION, regex=False).all()
    for word in ("quiet", "safe", "compatible", "drop-in", "guarantee", "sounds", "tone", "unknown", "nan", "None"):
        assert not said.str.contains(word, case=False, regex=False).any(), word


def test_an_unknown_type_keeps_its_name(said):
    """What the register does not know is given as typed, with no base and no heater."""
    assert said["P3"].startswith("QQ99ZZ\nMaker:") and "Base" not in said["P3"] and "Heater" not in said["P3"]


def test_the_owners_template(shop):
    """Places in any case; a line whose places are all empty goes, all else stays; unknown places and lone braces stay
    as typed, each with a Problem that names line and text."""
    template = "<b>{ Grade }</b>{gradee} {} }\nHeater {heater}, base {base}\nJust words\n\n{note}|{ kin"
    facts = listing_facts(shop, ["p1", "P3"], template, name="page.txt")
    assert facts.table["facts"].iloc[0] == (
        '<b>new old stock</b>{gradee} {} }\nHeater 12.6 V, 0.15 A (or 6.3 V 0.3 A parallel), base noval (B9A)\n'
        'Just words\n\n<quiet> & "long"|{ kin')
    assert facts.table["facts"].iloc[1] == "Just words\n"
    met = list(zip(facts.problems["message"].str[:6], facts.problems["code"], facts.problems["value"]))
    assert met == [("Line 1", "listing_place", "{gradee}"), ("Line 1", "listing_place", "{}"),
                   ("Line 1", "listing_brace", "/b>{gradee} {} }"), ("Line 5", "listing_brace", "{note}|{ kin")]
    assert facts.problems["sheet"].eq("page.txt").all()
    assert "Write {grade}, or one of" in facts.problems["remedy"].iloc[0]


def test_html_is_escaped(shop):
    """In an HTML template the owner's words are escaped, the template is not."""
    facts = listing_facts(shop, ["P1"], "<p>{note}</p>", html=True)
    assert facts.table["facts"].tolist() == ["<p>&lt;quiet&gt; &amp; &quot;long&quot;</p>"]


def test_a_template_of_settings(tmp_path):
    """The template and its being HTML stand in Settings; a bad word there is a Problem, not a stop."""
    words = 'listing template,"<i>{designation}</i>\n{nothing} {note}"\nlisting template is HTML,perhaps\n'
    shop = shop_of(tmp_path, words)
    assert (shop.problems["code"] == "bad_setting").sum() == 1
    facts = listing_facts(shop, ["P1"])
    assert facts.table["facts"].tolist() == ['<i>ECC82</i>\n{nothing} <quiet> & "long"']
    assert facts.problems[["sheet", "row", "value"]].values.tolist() == [["Settings", None, "{nothing}"]]


def test_codes_not_in_stock(shop):
    """Each is a Problem with near codes; the others are described."""
    facts = listing_facts(shop, ["P1", "P11", "zzz"])
    assert facts.table["sku"].tolist() == ["P1"]
    assert facts.problems["code"].tolist() == ["piece_not_in_stock"] * 2
    assert "(near: P1" in facts.problems["remedy"].iloc[0] and "near" not in facts.problems["remedy"].iloc[1]


def test_a_bare_shop(tmp_path):
    """No readings, no settings, a piece of a type alone: type, warnings and caution."""
    (tmp_path / "sales.csv").write_text("sold_on,type,price\n2025-01-01,EL84,20\n")
    (tmp_path / "stock.csv").write_text("sku,type\nA,6X5GT\n")
    facts = listing_facts(pricing.read_shop(tmp_path))
    assert facts.table["facts"].iloc[0].startswith("6X5GT\n") and facts.table["facts"].iloc[0].endswith(CAUTION)


def test_our_template_has_no_problem():
    """Every place of ours is a place."""
    assert check_template(TEMPLATE, "ours") == []


_WORDS = st.lists(st.one_of(
    st.sampled_from([f"{{{name}}}" for name in PLACES]),
    st.sampled_from(["{", "}", "{{", "{a.b}", "{0!r:>9}", "\n", "\r", "%s", "\\1", "$x"]),
    st.text(max_size=8)), max_size=12).map("".join)


@settings(max_examples=60, deadline=None)
@given(template=_WORDS, value=st.text(max_size=12), as_html=st.booleans())
def test_no_template_crashes_or_loses_words(shop, template, value, as_html):
    """Whatever is typed, every line with a filled place, or without one, is there, and all its words and values are."""
    stock = shop.stock.head(1).assign(note=value)
    facts = listing_facts(replace(shop, stock=stock), template=template, html=as_html)
    filled = facts.table["facts"].iloc[0]
    shown = html.escape(value) if as_html else value
    if template.strip() and shown and "{note}" in template:
        assert shown in filled
    said = {name: "" if name == "heater" else f"<{name}>" for name in PLACES}
    done = fill_template(template, said).split("\n")
    for line in template.split("\n"):
        places = [name for name in PLACES if f"{{{name}}}" in line]
        if places == ["heater"]:
            continue
        expected = line
        for name in places:
            expected = expected.replace(f"{{{name}}}", said[name])
        assert expected in done
