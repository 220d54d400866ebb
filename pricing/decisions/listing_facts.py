"""Facts of stock pieces for the shop's page, put into the owner's own template.

Only what the books and the register say: no word on sound, safety or fitness, unless it stands in the owner's template
or note. A base or heater that no source was seen for is marked so; that a type may stand in for another is said only
where the list of substitutions has a source, that it may not is always said.
"""

from __future__ import annotations

import difflib
import html as markup
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from pricing.decisions.matched_sets import measured_tubes
from pricing.decisions.price_policy import is_known
from pricing.price_model.attribution import NOT_MET, attribution_in_words, learn_attribution
from pricing.problems import Problem, problem, problems_frame
from pricing.register.substitution import SAME, Substitution
from pricing.shop_tables.meter_readings import OTHER_TESTS, PERCENT_TESTS, section_balance

if TYPE_CHECKING:
    from pricing.register import Register
    from pricing.shop_tables import Shop

PLACES = ("designation", "kin", "base", "heater", "grade", "readings", "balance", "matching", "maker", "cautions",
          "sku", "brand", "era", "variant", "set", "note")
TEMPLATE = """\
{designation}
{kin}
Base: {base}
Heater: {heater}
Maker: {maker}
Made: {era}
Construction: {variant}
Sold as: {set}
Grade, as we state it: {grade}
Readings: {readings}
Sections: {balance}
Matching: {matching}
{cautions}"""
CAUTION = (
    "Tube equipment holds lethal voltages, also after it is switched off: work inside belongs to a qualified "
    "technician. Which type a circuit takes is told by the equipment's maker first, then by the tube's data sheet.")
_READING_CAUTION = "Readings on another tester will differ."
_MATCHING_CAUTION = "Matching says nothing of bias or of an amplifier."
_SOURCED = ("published", "secondary", "owner")
_NO_SOURCE = " (no source seen: check the data sheet)"
_TOKEN = re.compile(r"\{([^{}\n]*)\}|[{}]")
_STATED = "reading_stated_pct"  # what Stock had before readings were put on one tester's scale


@dataclass(frozen=True)
class ListingFacts:
    """`table`: a row a piece, in stock order: sku, type, facts (the filled template), row (of Stock). `problems`: what
    is wrong with the template, and codes that Stock does not have."""

    table: pd.DataFrame
    problems: pd.DataFrame


def listing_facts(
    shop: Shop, skus: list[str] | None = None, template: str | None = None, *, html: bool | None = None,
    name: str = "Settings",
) -> ListingFacts:
    """What can be said of pieces of the stock (all, or those of `skus`), each in the template's words.

    A template is any text with PLACES between braces; without one, Settings' "listing template", else TEMPLATE. A line
    whose places are all empty is left out; everything else stays as typed, also what is no place or a brace without a
    partner, each with a Problem that has `name` as its sheet. With `html` (without it, Settings' "listing template is
    HTML") what fills a place is escaped, the template is not. Never raises on the words of a template.
    """
    settings = shop.settings
    if not (template or "").strip():
        template = settings.listing_template or TEMPLATE
    html = settings.listing_is_html if html is None else html
    problems = check_template(template, name)
    stock = shop.stock
    if skus is not None:
        stock, unknown = _chosen(stock, skus)
        problems += unknown
    facts = _Facts(shop, stock)
    rows = []
    for piece in stock.to_dict("records"):
        said = facts.of(piece)
        if html:
            said = {place: markup.escape(text) for place, text in said.items()}
        rows.append((piece["sku"], piece["type"], fill_template(template, said), piece.get("row")))
    return ListingFacts(pd.DataFrame(rows, columns=["sku", "type", "facts", "row"]), problems_frame(problems))


def fill_template(template: str, said: dict[str, str]) -> str:
    """The template with each place's text, without the lines whose places are all empty. Unknown places stay."""
    lines = []
    for line in template.split("\n"):
        places = [place for place in map(_name, _TOKEN.finditer(line)) if place in PLACES]
        if not places or any(said.get(place) for place in places):
            lines.append(_TOKEN.sub(
                lambda met: said.get(_name(met), "") if _name(met) in PLACES else met[0], line))
    return "\n".join(lines)


def check_template(template: str, name: str) -> list[Problem]:
    """A Problem for every pair of braces that is no place, and every brace without a partner."""
    problems = []
    for number, line in enumerate(template.split("\n"), start=1):
        for met in _TOKEN.finditer(line):
            place = _name(met)
            if met[1] is None:
                problems.append(problem("listing_brace", sheet=name, row=None, column="listing template", line=number,
                                        value=line[max(met.start() - 15, 0): met.end() + 15].strip()))
            elif place not in PLACES:
                near = difflib.get_close_matches(place, PLACES, n=1, cutoff=0.6)
                problems.append(problem(
                    "listing_place", sheet=name, row=None, column="listing template", line=number, value=met[0],
                    near=f"Write {{{near[0]}}}, or" if near else "Write", places=", ".join(PLACES)))
    return problems


def _name(met: re.Match[str]) -> str | None:
    return met[1].strip().casefold() if met[1] is not None else None


def _chosen(stock: pd.DataFrame, skus: list[str]) -> tuple[pd.DataFrame, list[Problem]]:
    plain = stock["sku"].str.strip().str.casefold()
    wanted = {sku.strip().casefold(): sku for sku in skus}
    problems = []
    for key, sku in wanted.items():
        if key not in set(plain):
            near = difflib.get_close_matches(key, plain.unique(), n=3)
            names = ", ".join(stock.loc[plain.isin(near), "sku"].unique())
            problems.append(problem("piece_not_in_stock", sheet="Stock", row=None, column="sku", value=sku,
                                    near=f" (near: {names})" if names else ""))
    return stock[plain.isin(wanted)], problems


class _Facts:
    """Looks up everything that is said of pieces of one shop; types of the register once each."""

    def __init__(self, shop: Shop, stock: pd.DataFrame):
        self.register: Register = shop.register
        readings = shop.readings[shop.readings["value"].notna() & shop.readings["sku"].isin(stock["sku"])]
        self.readings = dict(list(readings.groupby("sku")))
        self.balance = section_balance(readings)
        measured = measured_tubes(shop)[0]
        self.measured = measured[measured["sku"].isin(stock["sku"])].drop_duplicates("sku").set_index("sku")
        self.makers = _makers_in_words(shop, stock)
        types = dict.fromkeys(self.register.type(name).canonical_type for name in self.register.designations)
        self.links = [one for name in types for one in self.register.substitutions(name)]
        self._of_type: dict[str, dict[str, str]] = {}

    def of(self, piece: dict[str, Any]) -> dict[str, str]:
        """Text by place, "" where there is nothing to say."""
        sku, kind = piece["sku"], str(piece["designation"])
        if kind not in self._of_type:
            self._of_type[kind] = self._type_facts(kind)
        typed = str(piece["type"])
        tubes = int(piece["set_size"] * piece["qty"])
        of_one = f" (read on one of the {tubes} tubes of this code)" if tubes > 1 else ""
        readings, matching = self._readings(piece, of_one), self._matching(sku)
        cautions = (CAUTION, _READING_CAUTION if readings or matching else "", _MATCHING_CAUTION if matching else "")
        return {
            # a cell that lost its letters to the spreadsheet is given by the register's name
            "designation": typed if re.search(r"[^\W\d_]", typed) or not piece["type_known"] else kind,
            **self._of_type[kind],
            "grade": _known(piece["grade"]),
            "readings": readings,
            "balance": self._balance(sku, of_one),
            "matching": matching,
            "maker": self.makers.get(piece["row"], _maker(piece)),
            "cautions": " ".join(filter(None, cautions)),
            "sku": str(sku), **{name: _known(piece[name]) for name in ("brand", "era", "variant", "note")},
            "set": {1: "", 2: "pair", 4: "quad"}.get(int(piece["set_size"]), f"set of {piece['set_size']}"),
        }

    def _type_facts(self, kind: str) -> dict[str, str]:
        match = self.register.find(kind)
        if match.status != "found":
            return {"kin": "", "base": "", "heater": ""}
        kind = match.designation
        base, volts, amperes, other = (
            self.register.value(kind, name) for name in ("base", "heater_v", "heater_a", "heater_alt"))
        heater = ", ".join(f"{one.value:g} {one.unit}" for one in (volts, amperes) if one.value is not None)
        if heater and other.value:
            heater = f"{heater} (or {other.value})"
        return {
            "kin": self._kin(kind, match.canonical_type),
            "base": f"{base.value}{_mark(base.basis)}" if base.value else "",
            "heater": heater and heater + _mark(*(one.basis for one in (volts, amperes, other) if one.value)),
        }

    def _kin(self, kind: str, canonical: str) -> str:
        """Other names of the type, and where the register lists it in place of other types, or warns of that."""
        same = [name for name in self.register.designations
                if name != kind and self.register.type(name).canonical_type == canonical]
        instead, never = [], []
        mine = {one.to_canonical for one in self.links if one.from_canonical == canonical and _said(one)}
        for one in self.links:
            other = one.from_canonical
            if one.to_canonical != canonical:
                continue
            if one.substitution_class == "not a substitute":
                never.append(other)
            elif _said(one) and one.substitution_class in SAME:
                same.append(other)
            elif _said(one):
                instead.append(f"{other} ({one.substitution_class}{'' if other in mine else ', one way only'})")
        parts = (("The same electrical type by our list", same), ("Listed in place of", instead),
                 ("Not a substitute for", never))
        return " ".join(f"{words}: {', '.join(dict.fromkeys(names))}." for words, names in parts if names)

    def _readings(self, piece: dict[str, Any], of_one: str) -> str:
        """The newest readings of every test and tester but plate current, then the reading noted in Stock."""
        said = []
        rows = self.readings.get(piece["sku"])
        if rows is not None:
            order = {test: place for place, test in enumerate((*PERCENT_TESTS, *OTHER_TESTS))}
            rows = rows[rows["test"].isin(order) & (rows["test"] != "plate current")]
            groups = sorted(rows.groupby(["test", "tester"]), key=lambda group: order[group[0][0]])
            for (test, tester), group in groups:
                day = group["tested_on"].max()
                newest = group[group["tested_on"] == day] if is_known(day) else group
                newest = newest.sort_values("section", kind="stable").drop_duplicates("section", keep="last")
                at = f", {day:%Y-%m-%d}" if is_known(day) else ""
                values = ", ".join(_reading(one) for one in newest.to_dict("records"))
                said.append(f"{test} on {_tester(tester)}{at}: {values}{of_one}")
        noted = piece.get(_STATED, piece["reading_pct"])
        if is_known(noted):
            said.append(f"noted: {noted:.0f} % of nominal on {_tester(piece['tester'])}")
        return "; ".join(said)

    def _balance(self, sku: str, of_one: str) -> str:
        if sku not in self.balance.index:
            return ""
        one = self.balance.loc[sku]
        return (f"weaker section ({one['weaker']}) at {one['balance_pct']:.0f} % of the stronger, {one['test']} on "
                f"{_tester(one['tester'])}{of_one}")

    def _matching(self, sku: str) -> str:
        if sku not in self.measured.index:
            return ""
        one = self.measured.loc[sku]
        gm = f", gm {one['gm']:.3g}" if is_known(one["gm"]) else ""
        volts = f"at {one['volts']:g} V" if is_known(one["volts"]) else "at volts not stated"
        return f"plate current {one['plate_current']:.3g} mA{gm} {volts} on {_tester(one['tester'])}"


def _said(one: Substitution) -> bool:
    """Whether a substitution has a source, and takes no rewiring, adapter or change of the circuit."""
    return one.basis in _SOURCED and (one.substitution_class in SAME or one.substitution_class.startswith("direct"))


def _makers_in_words(shop: Shop, stock: pd.DataFrame) -> dict[Any, str]:
    """By row of Stock: whom the maker of a piece of brand alone is attributed to, from the shop's own sales."""
    bare = stock[(stock["maker"] == "unknown") & (stock["brand"] != "unknown")].set_index("row")
    if bare.empty or shop.sales.empty:
        return {}
    found = learn_attribution(shop.sales, shop.settings.brand_table()).makers_of(bare)
    said = {}
    for row, likely in found.groupby("item"):
        words = f"not stated; printed {bare['brand'][row]}"
        if likely["maker"].iloc[0] != NOT_MET:
            likely = likely[likely["maker"] != NOT_MET]
            words += f"; {attribution_in_words(likely['maker'], likely['probability'])}, by this shop's own records"
        said[row] = words
    return said


def _maker(piece: dict[str, Any]) -> str:
    maker, brand = _known(piece["maker"]), _known(piece["brand"])
    if not brand or brand == maker:
        return maker
    return f"{maker or 'not stated'}; printed {brand}"


def _reading(one: dict[str, Any]) -> str:
    section = f"section {one['section']} " if one["section"] else ""
    percent = one["percent_of_nominal"]
    if not is_known(percent):
        return f"{section}{one['value']:g}"
    return f"{section}{one['value']:g} (nominal {100 * one['value'] / percent:.3g}, {percent:.0f} %)"


def _tester(name: Any) -> str:
    return _known(name) or "a tester not named"


def _known(text: Any) -> str:
    return "" if text is None or text != text or text == "unknown" else str(text)


def _mark(*bases: str) -> str:
    return "" if all(basis in _SOURCED for basis in bases) else _NO_SOURCE
