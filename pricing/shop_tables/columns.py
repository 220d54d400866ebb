"""The tables an owner keeps: every column with its kind and the sentence shown beside its heading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["date", "type", "label", "era", "grade", "channel", "percent", "set_size", "qty", "flag",
               "price", "money", "currency", "number", "test", "text", "words"]


@dataclass(frozen=True)
class Column:
    """One column. `in_workbook` is False for columns that are read when met but not offered in a new
    workbook.
    """

    name: str
    kind: Kind
    help: str
    required: bool = False
    in_workbook: bool = True


@dataclass(frozen=True)
class Table:
    """One sheet of the owner's: its columns in the order a new workbook shows them."""

    name: str
    help: str
    columns: tuple[Column, ...]

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the columns a row cannot do without."""
        return tuple(column.name for column in self.columns if column.required)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)

    def column(self, name: str) -> Column:
        """The column called `name`. KeyError when the table has none."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(f"table {self.name} has no column '{name}'; it has {', '.join(self.names)}")


_TYPE = Column(
    "type", "type", "Type printed on the tube, as text: EL84, 12AX7A, 6SN7GT. Brackets and bases too.", True)
_PIECE = (
    Column("maker", "label", "Who made the tube, as far as you can tell. Blank means unknown."),
    Column("brand", "label", "The brand printed on it, which may not be the maker."),
    Column("era", "era", "Decade or year of making: 1950s, 1957, late 50s."),
    Column("variant", "label", "Construction: plates, getter, base, top or side getter."),
)
_STATE = (
    Column("grade", "grade", "Stated grade, from the list or in your own words. Blank means unknown."),
    Column(
        "reading_pct", "percent",
        "Tester reading in percent of nominal. 88/91 is two sections; their mean is kept."),
    Column("tester", "label", "Which tester gave the reading."),
    Column("set_size", "set_size", "Tubes sold together as one set: 1, 2 (pair), 4 (quad). Blank means 1."),
)
_FAMILY = Column(
    "family", "label", "Family for Margins, where the register's own does not suit.", in_workbook=False)
_TITLE = Column(
    "title", "words",
    "Listing title; what it says of the piece is read out of it where the piece's own cells are blank.",
    in_workbook=False)
_BOXED = Column("boxed", "text", "Yes when the tube has its carton; joins the grade.", in_workbook=False)
_NOTE = Column(
    "note", "words",
    "Anything else. Never read for pricing, except a note that only says pair, quad or the like.")

SALES = Table("Sales", "One row a line sold. The line price is for all pieces of the line.", (
    Column("sold_on", "date", "Date of the sale.", True),
    _TYPE, *_PIECE, *_STATE,
    Column("matched", "flag", "Yes when the set was sold as matched."),
    Column("qty", "qty", "Sets (or single tubes) on the line. Blank means 1."),
    Column("price", "price", "What the buyer paid for the goods of the line, before postage and fees.", True),
    Column("currency", "currency", "Currency of the price: EUR, USD, GBP. Blank means the shop's."),
    Column("channel", "channel", "Where it sold: own site, marketplace, auction, direct, fair, wholesale."),
    Column("country", "label", "Country of the buyer."),
    Column("cost", "money", "What the pieces of the line cost you, in the shop's currency."),
    Column("fee", "money", "Fees paid on the line, in the shop's currency."),
    Column("postage_charged", "money", "Postage the buyer paid, in the shop's currency."),
    Column("postage_paid", "money", "Postage you paid, in the shop's currency."),
    Column("listed_on", "date", "When it was first listed."),
    Column("lot", "text", "Purchase lot it came from, as in Lots."),
    Column("returned_on", "date", "When it came back, if it did."),
    Column("return_reason", "text", "Why it came back."),
    Column("sku", "text", "Your own stock code."),
    _NOTE, _FAMILY, _TITLE, _BOXED,
    Column("order", "text", "Order number of the shop or the site; an order is imported once.", in_workbook=False),
))

STOCK = Table("Stock", "One row a stock code. On hand is qty less what Sales sold of it.", (
    Column("sku", "text", "Your own stock code, one row each.", True),
    _TYPE, *_PIECE, *_STATE,
    Column("qty", "qty", "Sets (or single tubes) bought in under this code. Blank means 1."),
    Column("cost", "money", "Cost of one set, in the shop's currency."),
    Column("lot", "text", "Purchase lot it came from, as in Lots."),
    Column("acquired_on", "date", "When you bought it."),
    Column("listed_on", "date", "When it was listed; blank when it is not for sale yet."),
    Column("ask", "money", "Present asking price of one set."),
    _NOTE, _FAMILY, _TITLE, _BOXED,
))

ASKS = Table("Asks", "Every price a piece was listed at.", (
    Column("sku", "text", "Stock code.", True),
    Column("ask", "price", "Asking price of one set.", True),
    Column("from_date", "date", "First day at this price.", True),
    Column("until_date", "date", "Last day at this price; blank while it stands."),
    Column("outcome", "text", "How it ended: sold, lowered, withdrawn."),
))

READINGS = Table("Readings", "Tester readings of single pieces.", (
    Column("sku", "text", "Stock code.", True),
    Column("tested_on", "date", "Day of the test."),
    Column("tester", "label", "Which tester."),
    Column("test", "test", "gm, emission, plate current, gas, leakage or noise."),
    Column("section", "text", "Section of a tube with two units: 1 or 2."),
    Column("value", "number", "Reading as the tester shows it."),
    Column("nominal", "number", "Nominal (bogey) value for this type on this tester."),
    Column("volts", "number", "Plate volts of the test."),
))

OFFERS = Table("Offers", "Pieces offered to you.", (
    Column("offer", "text", "Your name for the offer.", True),
    Column("seller", "label", "Who offers it."),
    _TYPE, *_PIECE, *_STATE,
    Column("qty", "qty", "Sets (or single tubes) offered. Blank means 1."),
    Column("ask", "price", "Asked for all pieces of the line.", True),
    Column("currency", "currency", "Currency of the ask. Blank means the shop's."),
    Column("postage", "money", "Postage to you, in the shop's currency."),
    Column("seen_on", "date", "When you saw it."),
    _NOTE, _FAMILY, _TITLE, _BOXED,
))

_ASPECTS = "Listening notes: one numeric column an aspect, under your own names; more is better."
LISTENING = Table("Listening", _ASPECTS, (
    Column("heard_on", "date", "Day of listening."),
    _TYPE, *_PIECE,
    Column("system", "label", "Amplifier it was heard in.", True),
    Column("position", "label", "Position in the amplifier."),
    Column("listener", "label", "Who listened.", True),
    _NOTE,
))

CIRCUITS = Table("Circuits", "Operating conditions of amplifiers, one row a position.", (
    Column("circuit", "text", "Your name for the circuit.", True),
    Column("fitted_type", "type", "Type the circuit was built for.", True),
    Column("position", "text", "Position, for example V1."),
    Column("base", "text", "Socket: noval, octal and so on."),
    Column("plate_v", "number", "Plate to cathode volts."),
    Column("plate_ma", "number", "Plate current per section, mA."),
    Column("plate_w", "number", "Plate dissipation per section, W, if known instead of current."),
    Column("section", "text", "Section of a bottle with two different units: triode or pentode."),
    Column("sections_used", "number", "Sections of the bottle in use."),
    Column("screen_v", "number", "Screen to cathode volts."),
    Column("screen_w", "number", "Screen dissipation, W."),
    Column("cathode_ma", "number", "Cathode current, mA."),
    Column("heater_v", "number", "Heater volts."),
    Column("heater_a", "number", "Heater current available to this tube, A."),
    Column("heater_string", "text", "parallel or series."),
    Column("heater_cathode_v", "number", "Heater relative to cathode, V, with its sign."),
    Column("grid_leak_ohm", "number", "Grid resistor, ohm."),
    Column("bias", "text", "fixed or cathode."),
    Column("winding_v", "number", "Rectifier: V rms per plate."),
    Column("dc_ma", "number", "Rectifier: direct current drawn, mA."),
    Column("first_cap_uf", "number", "Rectifier: first filter capacitor, uF."),
    Column("plate_supply_ohm", "number", "Rectifier: plate supply resistance per plate, ohm."),
    Column("mains_variation_pct", "number", "Mains above nominal to allow for, %."),
    _NOTE,
))

LOTS = Table("Lots", "Purchases of many pieces for one sum.", (
    Column("lot", "text", "Your name for the lot.", True),
    Column("bought_on", "date", "Date of purchase."),
    Column("seller", "label", "Who sold it."),
    Column("paid", "price", "Paid for the lot, without freight.", True),
    Column("freight", "money", "Freight and import charges."),
    Column("tubes", "number", "Tubes counted in the lot."),
    Column("rejects", "number", "Tubes that failed testing."),
    Column("testing_cost", "money", "Cost of testing the lot."),
    _NOTE,
))

_TYPE_FIELDS = {
    "section": "Section of a bottle with two different units: triode or pentode.",
    "canonical_type": "Electrical type whose sales it shares.",
    "shop_family": "Family for prices and Margins.",
    "family": "Finer family, by use and base.",
    "kind": "Triode, power pentode, rectifier and so on.",
    "sections": "Units in the bottle.",
    "base": "Base.",
    "basing": "Basing code.", "heater_v": "Heater volts.", "heater_a": "Heater current, A.",
    "heater_alt": "Other heater connection.", "warmup_s": "Controlled warm-up, s.",
    "va_max_v": "Plate volts limit.", "pa_max_w_section": "Plate dissipation limit per section, W.",
    "pa_max_w_total": "Plate dissipation limit, both sections, W.", "vg2_max_v": "Screen volts limit.",
    "pg2_max_w": "Screen dissipation limit, W.", "ik_max_ma": "Cathode current limit, mA.",
    "vhk_max_v": "Heater to cathode volts limit.", "vhk_polarity": "Which way that limit holds.",
    "vhk_heater_positive_max_v": "Heater to cathode volts limit, heater positive.",
    "rg1_max_fixed_bias_ohm": "Grid resistor limit, fixed bias, ohm.",
    "rg1_max_cathode_bias_ohm": "Grid resistor limit, cathode bias, ohm.",
    "rating_system": "design-centre, design-maximum or absolute-maximum.", "mu": "Amplification factor.",
    "gm_ma_v": "Mutual conductance, mA/V.", "rp_ohm": "Plate resistance, ohm.",
    "typ_va_v": "Typical plate volts.",
    "typ_vg_v": "Typical grid volts.",
    "typ_ia_ma": "Typical plate current, mA.",
    "piv_max_v": "Rectifier: peak inverse volts limit.",
    "ia_peak_max_ma": "Rectifier: peak current limit, mA.",
    "idc_max_ma": "Rectifier: direct current limit, mA.",
    "drop_v_at_idc": "Rectifier: drop at that current, V.",
    "idc_cap_input_max_ma": "Rectifier: direct current limit into a capacitor, mA.",
    "winding_max_v": "Rectifier: winding limit, V rms per plate.",
    "first_cap_max_uf": "Rectifier: first filter capacitor limit, uF.",
    "plate_supply_min_ohm": "Rectifier: least plate supply resistance per plate, ohm.",
    "drop_at_ma": "Rectifier: current of that drop, mA.", "drop_law": "Rectifier: law of the drop.",
    "aliases": "Other spellings, separated by ;", "source": "Where the values were read.",
    "basis": "published, secondary or memory.", "note": "Anything else.",
}
TYPES = Table("Types", "Your own types, or corrections on top of the register.", (
    Column("designation", "text", "Type as printed.", True),
    *(Column(name, "text", text) for name, text in _TYPE_FIELDS.items()),
))

SETTINGS_TABLE = Table("Settings", "How the shop works: one row a setting.", (
    Column("key", "text", "Name of the setting.", True),
    Column("value", "text", "Its value."),
    Column("unit", "text", "Unit of the value."),
    Column("what it does", "text", "What it does."),
))

TABLES: dict[str, Table] = {table.name: table for table in (
    SALES, STOCK, ASKS, READINGS, OFFERS, LISTENING, CIRCUITS, LOTS, TYPES, SETTINGS_TABLE)}

# Descriptive columns shared by items of an estimate.
ITEM_COLUMNS: tuple[str, ...] = ("type", "maker", "brand", "era", "variant", "grade", "reading_pct", "tester",
                                 "set_size", "matched", "qty", "channel", "family")
ITEMS = Table("Items", "Pieces to be priced.", tuple(
    column for column in SALES.columns if column.name in ITEM_COLUMNS or column.name in ("title", "boxed")))
