"""Cheaper pieces that sound close: who is offered in place of whom, in which order, and with which words."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import pricing
from pricing.decisions.alternatives import NO_CIRCUIT, SAME, find_alternatives
from pricing.decisions.closeness import CANNOT, closeness
from pricing.decisions.for_sale import for_sale
from pricing.decisions.stock_alternatives import stock_alternatives
from pricing.shop_tables import Settings, clean_circuits, clean_listening, clean_offers, clean_sales, clean_stock

TYPES = {"EL84": 30.0, "7189": 34.0, "12AX7": 26.0, "12AT7": 12.0, "6V6GT": 33.0, "GZ34": 60.0, "5U4GB": 20.0,
         "12SN7GTA": 9.0, "6SN7GT": 24.0, "6SN7GTB": 22.0, "EL34": 60.0}
STOCK = pd.DataFrame([
    ("A1", "EL84", "Tivenshaw", "new old stock", 1, 40.0), ("A2", "EL84", "Luskarn", "used, good", 1, 22.0),
    ("A3", "6BQ5", "Dravelko", "used, strong", 2, 50.0), ("A4", "EL84", "Luskarn", "for parts", 1, 3.0),
    ("A5", "EL84", "Luskarn", "used, good", 1, None), ("B1", "7189", "Varnoseth", "used, strong", 1, 28.0),
    ("C1", "6V6GT", "Varnoseth", "new old stock", 1, 45.0), ("C2", "12SN7GTA", "Varnoseth", "new old stock", 1, 8.0),
    ("D1", "6SN7GTB", "Tivenshaw", "used, good", 1, 20.0), ("D2", "6SN7GT", "Tivenshaw", "used, good", 1, 15.0),
    ("E1", "GZ34", "Tivenshaw", "new old stock", 1, 70.0), ("E2", "5U4GB", "Luskarn", "used, good", 1, 18.0),
    ("F1", "QQ99", "Luskarn", "used, good", 1, 5.0), ("G1", "12AT7", "Luskarn", "used, good", 1, 9.0),
    ("H1", "EL34", "Tivenshaw", "used, strong", 4, 200.0),
], columns=["sku", "type", "maker", "grade", "set_size", "ask"])
OFFERS = pd.DataFrame([
    ("O1", "EL84", "Tivenshaw", "used, strong", 1, 2, 36.0, "", 6.0), ("O2", "EL84", "", "", 1, 1, 15.0, "XXX", 0.0),
    ("O3", "EL84", "Luskarn", "used, good", 1, 1, 20.0, "USD", 0.0),
], columns=["offer", "type", "maker", "grade", "set_size", "qty", "ask", "currency", "postage"])
CIRCUITS = pd.DataFrame([
    {"circuit": "Murgle", "position": "V2", "fitted_type": "EL84", "plate_v": 340, "screen_v": 290, "plate_ma": 20},
    {"circuit": "Brindle", "position": "V5", "fitted_type": "5AR4", "heater_v": 5.0, "heater_a": 2.0, "winding_v": 350,
     "dc_ma": 120, "first_cap_uf": 10},
    {"circuit": "Brindle", "position": "V1", "fitted_type": "6SN7GTB", "plate_v": 400, "plate_ma": 5},
    {"circuit": "Hobble", "position": "V2", "fitted_type": "EL84", "plate_v": 600, "screen_v": 290, "plate_ma": 20},
])


@pytest.fixture(scope="module")
def shop():
    """A small invented shop: sales of eleven types, stock, offers, circuits, and notes that prefer one maker."""
    draw = np.random.default_rng(3)
    settings = Settings.from_rows({"currency": "EUR", "rate: USD 2025-06": "0.9"})
    register = pricing.load_register()
    sales = pd.DataFrame([
        (f"2025-0{1 + number % 6}-15", kind, ("Tivenshaw", "Luskarn")[number % 2], "used, good",
         round(price * (1.2, 0.8)[number % 2] * draw.lognormal(0, 0.1), 2))
        for kind, price in TYPES.items() for number in range(8)
    ], columns=["sold_on", "type", "maker", "grade", "price"])
    notes = pd.DataFrame([
        (kind, maker, system, listener, 6 + (maker == "Tivenshaw") * 2 + draw.normal(0, 0.3))
        for kind in ("EL84", "6V6GT", "7189") for maker in ("Tivenshaw", "Luskarn") for system in ("Murgle", "Brindle")
        for listener in ("first ear", "second ear")
    ], columns=["type", "maker", "system", "listener", "warmth"])
    stock, _ = clean_stock(STOCK, register, settings)
    offers, problems = clean_offers(OFFERS.assign(seen_on="2025-06-20"), register, settings)
    return SimpleNamespace(
        settings=settings, register=register, sales=clean_sales(sales, register, settings)[0], stock=stock,
        offers=offers, offer_problems=problems, listening=clean_listening(notes, register, settings)[0],
        circuits=clean_circuits(CIRCUITS, register, settings)[0])


@pytest.fixture(scope="module")
def model(shop):
    """Its price model."""
    return pricing.fit_price_model(shop.sales, shop.settings, shop.register, calibrated=False)


def codes(found):
    """Codes of the candidates in their order."""
    return found.candidates["code"].tolist()


def test_a_shelf_has_what_can_be_had_at_one_price_a_set(shop, model):
    """No ask and no rate are left out; an offer's postage is shared by its sets; dollars at the month's rate."""
    shelf = for_sale(model, shop).set_index("code")
    assert {"A5", "O2"}.isdisjoint(shelf.index)
    assert shelf.loc["O1", "price"] == (36 + 6) / 2 and shelf.loc["O3", "price"] == pytest.approx(18.0)
    assert shelf.loc["A3", "each"] == 25 and shelf.loc["A3", "where"] == "in stock"
    assert "no_rate" in {one.code for one in shop.offer_problems}


def test_the_same_type_of_another_maker_is_the_first_answer(shop, model):
    """For a dear EL84: other EL84 and 6BQ5 first, then the 7189; never itself, nothing for parts, nothing dearer."""
    item = STOCK.iloc[0].to_dict()
    found = find_alternatives(model, item, shop)
    assert "A1" not in codes(found) and "A4" not in codes(found)
    assert found.wanted_each == 40 and found.wanted_basis == "its ask"
    same = (found.candidates["kind"] == SAME).tolist()
    assert same == sorted(same, reverse=True) and set(codes(found)[:4]) == {"A2", "A3", "O1", "O3"}
    assert "B1" in codes(found) and (found.candidates["each"] < 40).all()
    first = found.candidates.iloc[0]
    assert first["saving_each"] == pytest.approx(40 - first["each"]) and "The same electrical type." in first["answer"]


def test_quality_orders_the_same_type_and_is_said(shop, model):
    """Notes that prefer one maker put its piece first, and the others' loss is in the answer."""
    found = find_alternatives(model, STOCK.iloc[0].to_dict(), shop)
    assert codes(found)[0] == "O1"
    other = found.candidates.set_index("code").loc["A2"]
    assert other["quality_change"] < 0 and other["quality_chance"] < 0.1
    assert "very likely less good" in other["answer"]


def test_a_worn_piece_is_not_put_first_for_its_maker(shop, model):
    """Notes praise the maker, but its piece here is weak: another maker's good one comes before it."""
    pieces = pd.DataFrame([("X1", "EL84", "Tivenshaw", "used, weak", 1, 9.0),
                           ("X2", "EL84", "Luskarn", "used, good", 1, 20.0)], columns=list(STOCK.columns))
    stock, _ = clean_stock(pieces, shop.register, shop.settings)
    worn = SimpleNamespace(**{**vars(shop), "stock": stock, "offers": shop.offers.iloc[:0]})
    assert codes(find_alternatives(model, {"type": "EL84", "ask": 60}, worn)) == ["X2", "X1"]


def test_a_pair_is_compared_tube_by_tube(shop, model):
    """A pair at 50 is 25 a tube, and the answer says so."""
    found = find_alternatives(model, STOCK.iloc[0].to_dict(), shop).candidates.set_index("code")
    assert "25.00 EUR a tube" in found.loc["A3", "answer"] and found.loc["A3", "saving_pct"] == pytest.approx(37.5)


@pytest.mark.parametrize("wanted, candidate, kind, lower", [
    ("EL84", "B1", "straight", ""), ("7189", "A2", "with a check", "plate volts 300 V for 400 V"),
    ("6SN7GT", "D1", "with a check", "cathode current"),
    ("6SN7GTB", "D2", "with a check", "plate volts 300 V for 450 V"),
])
def test_lower_ratings_one_way_are_named(shop, model, wanted, candidate, kind, lower):
    """The stronger type goes straight into the weaker one's place; the other way what is lower is in the answer."""
    row = find_alternatives(model, {"type": wanted, "ask": 80}, shop).candidates.set_index("code").loc[candidate]
    assert row["kind"] == kind and lower in row["lower"] and lower in row["answer"]
    assert bool(row["lower"]) == bool(lower)


@pytest.mark.parametrize("wanted, candidate, offered", [
    ("6V6GT", "5871", True), ("5871", "6V6GT", False), ("12AX7", "6681", True), ("6681", "12AX7", False),
])
def test_what_is_listed_one_way_is_never_offered_backwards(shop, model, wanted, candidate, offered):
    """Pairs that the list of substitutions names in one direction only."""
    piece = pd.DataFrame([("X1", candidate, "Luskarn", "used, good", 1, 5.0)], columns=list(STOCK.columns))
    stock, _ = clean_stock(piece, shop.register, shop.settings)
    one = SimpleNamespace(**{**vars(shop), "stock": stock, "offers": shop.offers.iloc[:0]})
    assert codes(find_alternatives(model, {"type": wanted, "ask": 80}, one)) == (["X1"] if offered else [])


def test_a_heater_rewire_is_named(shop, model):
    """The same electrodes with a 12-volt heater."""
    found = find_alternatives(model, {"type": "6SN7GT", "ask": 30}, shop)
    row = found.candidates.set_index("code").loc["C2"]
    assert row["kind"] == "with a heater rewire" and "with a heater rewire" in row["answer"]


def test_what_exceeds_is_listed_last(shop, model):
    """340 V on the plate: an EL84 exceeds, whatever it costs; the 7189, not all of which can be checked, is first."""
    asked = find_alternatives(model, {"type": "EL84", "ask": 60}, shop, "Murgle, V2")
    found = asked.candidates
    assert (found.loc[1:, "verdict"] == "exceeds").all() and {"A1", "A2"} < set(found.loc[1:, "code"])
    assert found.loc[0, "code"] == "B1" and found.loc[0, "verdict"] == "cannot check"
    assert "cannot check" in found.loc[0, "answer"] and "Not to be offered" not in found.loc[0, "answer"]
    assert found.loc[1:, "answer"].str.contains("Not to be offered for this circuit.", regex=False).all()
    assert "5 exceed a limit in this circuit and stand last" in asked.words[0]


def test_where_everything_exceeds_none_is_to_be_offered(shop, model):
    """600 V on the plate: listed all the same, and the words say that none is to be offered."""
    found = find_alternatives(model, {"type": "EL84", "ask": 60}, shop, "Hobble")
    assert set(found.candidates["verdict"]) == {"exceeds"} and "none is to be offered for it" in found.words[0]


def test_a_rectifier_is_held_against_its_winding(shop, model):
    """A 5U4GB needs 3 A where the winding has 2: exceeds."""
    found = find_alternatives(model, None, shop, "Brindle, V5").candidates.set_index("code")
    assert found.loc["E2", "verdict"] == "exceeds" and "heater current" in found.loc["E2", "summary"]


def test_a_position_alone_asks_for_what_is_fitted(shop, model):
    """Without a wanted type it is the fitted one, at its fair price."""
    found = find_alternatives(model, None, shop, "Brindle, V1")
    assert found.wanted.startswith("6SN7GTB") and found.wanted_basis == "its fair price"


def test_without_a_circuit_nothing_is_said_of_fit(shop, model):
    """No verdict, and the words say why."""
    found = find_alternatives(model, {"type": "EL84", "ask": 40}, shop)
    assert set(found.candidates["verdict"]) == {NO_CIRCUIT} and "No circuit was given" in " ".join(found.words)
    answers = " ".join(found.candidates["answer"]).casefold()
    assert not any(word in answers for word in ("safe", "compatible", "drop-in"))


def test_nothing_cheaper_says_so(shop, model):
    """A wanted price below everything."""
    found = find_alternatives(model, {"type": "EL84", "ask": 1.0}, shop)
    assert found.candidates.empty and "Nothing that could stand in" in found.words[0]


def test_unknown_names_are_problems(shop, model):
    """A type the register does not know, and a circuit nobody has."""
    found = find_alternatives(model, "EL8444", shop)
    assert found.candidates.empty and found.problems["code"].tolist() == ["circuit_without_type"]
    assert "EL84" in found.problems["remedy"].iloc[0]
    found = find_alternatives(model, {"type": "EL84", "ask": 40}, shop, "Nowhere")
    assert found.problems["code"].tolist() == ["circuit_not_known"] and len(found.candidates)


def test_an_empty_shop_has_nothing(shop, model):
    """No stock, no offers, no notes, no circuits."""
    bare = SimpleNamespace(**{**vars(shop), "stock": shop.stock.iloc[:0], "offers": shop.offers.iloc[:0],
                              "listening": shop.listening.iloc[:0], "circuits": shop.circuits.iloc[:0]})
    found = find_alternatives(model, {"type": "EL84", "ask": 40}, bare)
    assert found.candidates.empty and len(found.not_had)
    assert stock_alternatives(model, bare).empty


def test_the_dearest_of_every_type_is_asked_for(shop, model):
    """One wanted piece a type; a type without anything cheaper has one row that says so; QQ99 is of no known type."""
    rows = stock_alternatives(model, shop)
    wanted = rows["wanted_code"].unique().tolist()
    assert "A1" in wanted and "A2" not in wanted and "F1" not in wanted
    alone = rows[rows["wanted_code"] == "G1"]
    assert len(alone) == 1 and "Nothing that could stand in" in alone["answer"].iloc[0]
    assert set(rows.loc[rows["wanted_code"] == "A1", "circuit"]) == {"Murgle V2"}


@pytest.mark.parametrize("wanted, candidate, parts, kind", [
    ("12AX7", "ECC83", [], "same type"),
    ("12AX7", "5751", [70 / 100, 1.2 / 1.6, 58 / 62.5], "further away"),  # mu, gm, rp; 5751 from memory
    ("EL84", "7189", [1.0], "within 5 %"),
])
def test_closeness_is_the_root_mean_square_of_log_ratios(shop, wanted, candidate, parts, kind):
    """By hand from the register's values at the typical point, each with its basis there."""
    near = closeness(wanted, candidate, shop.register)
    by_hand = float(np.sqrt(np.mean(np.square(np.log(parts))))) if parts else 0.0
    assert near.kind == kind and near.distance == pytest.approx(by_hand, abs=0.005)


def test_rectifiers_are_compared_by_their_drop(shop):
    """Three-halves law: drops at one current; a valve against a rectifier cannot be compared."""
    near = closeness("5AR4", "5U4GB", shop.register)
    assert near.kind == "further away" and "drop at" in near.words
    assert closeness("5AR4", "12AX7", shop.register).kind == CANNOT
