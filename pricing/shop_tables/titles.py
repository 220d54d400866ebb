"""What a listing title says beside its type: maker, brand, era, construction, grade, reading and count.

Only what is sure is taken: a name the owner's own columns hold, a year written as a year, words nobody asked or denied.
Everything else that looks like an answer is a doubt, for the owner to settle.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from pricing.shop_tables.cells import TAKEN_OUT, tidy, without_prices
from pricing.shop_tables.sets import NOTHING, Pieces, counts_agree, pieces_in
from pricing.shop_tables.vocabularies import (
    UNKNOWN,
    Spelling,
    era_phrases,
    most_telling,
    phrases_in,
    plain,
    read_era,
    reading_in,
    spellings,
    used_grade,
)

_ASKED_BEFORE = re.compile(
    r"(?<!\w)(?:not|non|no|nicht|kein|pas|like|wie|style of|copy of|possibly|poss|prob|probably|maybe|perhaps|likely|"
    r"looks?(?: like)?|similar to|equal to|as good as|better than|sub(?:stitute)? for|replac\w+(?: for)?|fits|for|für|"
    r"pour|wohl|vermutlich|evtl|circa|ca|approx|about|~)\s*$")
_ASKED_AFTER = re.compile(
    r"^\s?(?:\?|or\b|style|like\b|look\b|type\b|copy|clone|reissue|re issue|repro\w*|replica|amps?\b|amplifiers?\b|"
    r"radios?\b|consoles?\b|receivers?\b|organs?\b|sets?\b(?! of)|equipment|era style)")
_REISSUE = re.compile(r"(?<!\w)(?:re ?issue|repro|reproduction|replica|new production|current production)(?!\w)")
# Words of a grade that speak of something else in a title.
_IDIOMS = re.compile(
    r"(?<!\w)(?:(?:low|dead|very low|ultra low) (?:noise|quiet|hum|microphon\w+|hours?|mu|gain|drive|impedance|"
    r"capacitance|loss)|push pull|(?:new|current) production|from working \w+|"
    r"no (?:shorts?|gas|leaks?|box|boxes|reserve|returns?)|not (?:gassy|shorted|weak|noisy|microphonic)|"
    r"(?:worn|weak|faded|bad|broken|good|fair|fine|tired|damaged|defective|excellent|strong|no|rough|marginal|low|new) "
    r"(?:print\w*|labels?|logos?|letter\w+|box(?:es)?|cartons?|glass|base|price|deal|value|sound\w*|tone|match)|"
    r"(?:print\w*|labels?|logos?|box(?:es)?|cartons?) (?:is |are |a bit )?(?:worn|weak|faded|bad|broken|fair|tired|"
    r"damaged)|"
    r"ex (?:equipment|army|military|navy|stock|works|government|broadcast\w*|lab\w*)|(?:spare|radio|amp|tv) parts|"
    r"short (?:bottle|glass|wave|base|pins?)|sounds? (?:good|excellent|fine|great)|works (?:in|with|for|as))(?!\w)")
_OWN_SECTIONS = re.compile(
    r"(?i)(?<!\w)(?:matched|balanced)\s+(?:sections?|triodes?|halves|internally)|(?:sections?|triodes?|internally)\s+"
    r"(?:well\s+|closely\s+)?(?:matched|balanced)(?!\w)")
_OF_A_TUBE = (
    r"(?:box|carton|stick|label|photo|section|plate|getter|mica|pin|unit|triode|diode|grid|year|left|hole|rod|support|seam|"
    r"cap|stage|channel|amp)\w*")
_NUMBER_WORDS = re.compile(
    r"(?i)(?<!\w)(?:two|three|four|five|six|eight|ten|twelve|dozen|zwei|drei|vier|fünf|sechs|acht|zehn|deux|quatre)(?!\w)"
    rf"(?!\s*(?:\(\d+\)\s*)?{_OF_A_TUBE})")
_COUNT_OF_ELSE = re.compile(
    rf"(?i){_NUMBER_WORDS.pattern.removeprefix('(?i)').partition('(?!')[0]}\W*\(\s*\d+\s*\)|\(\s*\d+\s*\)(?=\s*{_OF_A_TUBE})|"
    r"(?<!\w)(?:no|in|original|orig|white|plain|new|nice|own|with|ohne|sans)\s+box(?:es)?(?!\w)(?!\s+of)")
_PART_OF_A_SET = re.compile(
    r"(?i)(?<!\w)(?:one|1|half|single|ein\w*)\s+(?:of|from|out of|aus)\s+(?:an?\s+|einem\s+)?(?:matched\s+)?"
    r"(?:pairs?|quads?|paar|trio|\d)|"
    r"(?<!\w)(?:makes?|for|could be|can be|to)\s+(?:an?\s+)?(?:matched\s+)?(?:pairs?|quads?|match\w*)(?!\w)")
_COUNT_ASKED = re.compile(
    r"(?i)(?<!\w)(?:pairs?|prs?|mp|quads?|trio|sextet|paar|(?:lot|set|box|pack) of \d+|\d+\s?(?:x|pcs|tubes)|\(\d+\))"
    r"\s?\?")
_HARDLY_MATCHED = re.compile(r"(?i)(?<!\w)(?:near(?:ly)?|almost|semi|roughly)[\s-]match\w*|(?<!\w)matched\s?\?")
_LEADING = re.compile(rf"\W*\d{{1,4}}\s*{TAKEN_OUT.strip()}")  # "10 EL84 tubes", "4 EL84"
_BARE_LOT = re.compile(r"(?i)(?<!\w)(?:lot|box|posten|lotto|lote|лот|partij|konvolut)\s*(?:no\.?|nr\.?|#)?\s*\d+(?!\w)")
_PCT = re.compile(r"(?<![\d.,])\d+(?:[.,]\d+)?\s?%")
_READINGS = re.compile(r"(?<![\d.,])(?:\d+(?:\s?%\s?[/|]\s?|[/|]))?\d+(?:[.,]\d+)?\s?%")
_NO_READING = re.compile(
    r"(?i)(?:within|match\w*|balanced?|tolerance|diff\w*|off|save|discount|rabatt|mwst|vat|plus|[±<])\s*(?:to|at|of|by|zu|:)?\s*"
    r"\d+(?:[.,]\d+)?\s?%|"
    r"\d+(?:[.,]\d+)?\s?%\s*(?:off|discount|rabatt|vat|mwst|tax)(?!\w)|"
    r"(?<!\d)[12]?\d(?:[.,]\d+)?\s?%\s*(?:match\w*|balance\w*|tolerance)(?!\w)|"
    r"(?<!\d)100\s?%\s*(?:genuine|original|authentic|tested|working|matched|guarantee\w*|positive|feedback|satisfaction|real|"
    r"refund|money)(?!\w)")
_BOUND = re.compile(
    r"(?i)(?:(?<!\w)(?:over|above|at least|min\.?|minimum|better than|all|mind\.?|up to|approx\.?|about|ca\.?)|[>≥~])"
    r"\s*\d+(?:[.,]\d+)?\s?\+?\s?%|\d+\s?(?:\+\s?%|%\s?\+)|\d+\s?%\s?\?|"
    r"(?<![\d.,])\d{2,3}\s?%?\s?[-–]\s?\d{2,3}\s?%|"
    r"\d+\s?%\s*(?:or|and|oder|und)\s+(?:better|more|above|higher|up|besser|mehr)")
_TESTED = (r"(?:tests?|tested|tstd|measures?d?|reads?|readings?|testing|geprüft|gemessen|getestet)"
           r"(?:\s+(?:at|as|with|mit))?\s*:?\s*")
_TEST_SECTIONS = re.compile(rf"(?i)(?<!\w){_TESTED}(\d{{2,3}}\s*[/|]\s*\d{{2,3}})(?![\d/%])")
_TEST_NUMBER = re.compile(rf"(?i)(?<!\w){_TESTED}\d+(?![\d.,]*\s?(?:%|[/|x]|[uµ]?mhos?\b|micromhos?|ma\b))(?!\w)")
_OF_NOS = re.compile(rf"(?i)(?<!\w)(?P<tested>{_TESTED})?100\s?%\s*(?:NOS|new)(?!\w)")

_BRACKET = re.compile(r"\(\s*[x×]?\s*\d{1,2}\s*\)")
_ONE_OF_THEM = re.compile(r"(?<!\w)(?:one|eine?r?|une?)(?: is| tests?| ist)?\s*$")
_DENIED = re.compile(r"(?<!\w)(?:not|non|no|nicht|kein|pas|like|looks?|wie|possibly|maybe|probably|prob)\s*$")
_TESTED_WORDS = frozenset("tested tstd getestet testé testée getest testata probada gemessen".split())
_TOO_SHORT = frozenset("u ex hs".split())  # in a title they are half of another word


# Columns of a piece that a title may fill, counts aside.
PIECE_COLUMNS = ("maker", "brand", "era", "variant", "grade", "reading_pct")


class Names(NamedTuple):
    """Makers and brands the owner's columns hold: plain spelling -> the owner's. `rebranded` brands stand on tubes of
    other makers as well, so such a name in a title says nothing of the maker.
    """

    makers: Mapping[str, str] = {}
    brands: Mapping[str, str] = {}
    rebranded: frozenset[str] = frozenset()

    @classmethod
    def of(cls, pairs: Iterable[tuple[str, str]]) -> Names:
        """From the (maker, brand) cells of rows, "" or "unknown" where blank; the most used spelling wins."""
        spelt: tuple[dict[str, Counter[str]], dict[str, Counter[str]]] = (defaultdict(Counter), defaultdict(Counter))
        rebranded = set()
        for pair, count in Counter(pairs).items():
            keys = []
            for cell, met in zip(pair, spelt):
                name = tidy(cell).rstrip("? ")
                known = plain(name) if name.casefold() != UNKNOWN else ""
                keys.append(known)
                if len(known) > 2 and not known.isdigit():
                    met[known][name] += count
            maker, brand = keys
            if maker and brand and maker != brand:
                rebranded.add(brand)
        makers, brands = ({known: max(names, key=lambda name: (names[name], name)) for known, names in met.items()}
                          for met in spelt)
        return cls(makers, brands, frozenset(rebranded))

    def beside(self, other: Names | None) -> Names:
        """These names and another table's; these spellings come first."""
        if other is None:
            return self
        return Names({**other.makers, **self.makers}, {**other.brands, **self.brands}, self.rebranded | other.rebranded)


class TitleSays(NamedTuple):
    """What a title says for sure, blank or None where it does not, and its doubts: column -> the words in doubt."""

    maker: str = ""
    brand: str = ""
    era: str = ""
    variant: str = ""
    grade: str = ""
    reading_pct: float | None = None
    pieces: Pieces = NOTHING
    doubts: Mapping[str, str] = {}

    def against(self, stated: Mapping[str, Any]) -> dict[str, tuple[Any, Any]]:
        """Column -> (what the title says, what is stated) where the two differ; one may say more than the other."""
        met = {}
        for name in PIECE_COLUMNS:
            said, other = getattr(self, name), stated[name]
            if said in ("", None) or other == UNKNOWN:
                continue
            if isinstance(said, float):
                differ = abs(said - other) >= 0.5
            else:
                differ = plain(said) not in plain(other) and plain(other) not in plain(said)
            if differ:
                met[name] = said, other
        return met


class TitleReader:
    """Reads titles by the owner's names and construction words, each distinct title once."""

    def __init__(self, names: Names, variants: Iterable[str] = ()) -> None:
        self._names = names
        known = {**names.brands, **names.makers}
        self._name = _any_of(known)
        ours = spellings()["variant"]
        self._variants: dict[str, str] = {}
        labels = [label for label in dict.fromkeys(variants) if label and label != UNKNOWN and len(plain(label)) > 3]
        for label in labels:
            self._variants.setdefault(plain(label), label)
        own = {ours[key].meaning: label for key, label in self._variants.items() if key in ours}
        for key, one in ours.items():
            self._variants.setdefault(key, own.get(one.meaning, one.meaning))
        self._variant = _any_of(self._variants)
        self._met: dict[str, TitleSays] = {}

    def read(self, text: str) -> TitleSays:
        """What the text of a title without its type says."""
        if text not in self._met:
            self._met[text] = self._read(without_prices(text))
        return self._met[text]

    def _read(self, text: str) -> TitleSays:
        doubts: dict[str, str] = {}
        era, text = _era(text, doubts)
        reading = _reading(text, doubts)
        words = plain(text)
        maker, brand, words = self._makers(words, doubts)
        variant, words = self._variant_in(words, doubts)
        grade = _grade(words, reading, doubts)
        return TitleSays(maker, brand, era, variant, grade, reading, _pieces(text, doubts), doubts)

    def _makers(self, words: str, doubts: dict[str, str]) -> tuple[str, str, str]:
        """(maker, brand, the words without the names)."""
        makers: set[str] = set()
        brands: set[str] = set()
        plainly: set[str] = set()
        made_by: set[str] = set()
        for met in self._name.finditer(words):
            name, before, after = met.group(1), words[: met.start()], words[met.end():]
            made = re.search(r"(?<!\w)(?:made by|mfd by|mfg by|by|von|par|maker)\s*$", before)
            printed = re.match(r"\s(?:label|labell?ed|brand|branded|print|logo)\b", after) or re.search(
                r"(?<!\w)(?:label\w*|brand\w*|printed|marked|made for|for)\s*$", before)
            if re.search(r"(?<!\w)(?:made|built) for\s*$", before) or printed and not re.search(
                    r"(?<!\w)(?<!made )(?<!built )for\s*$", before):
                brands.add(name)
            elif _ASKED_BEFORE.search(before) or _ASKED_AFTER.match(after):
                doubts.setdefault("maker", met.group())
                doubts.setdefault("brand", met.group())
            elif made:
                made_by.add(name)
            else:
                plainly.add(name)
        for name in plainly:
            if name in self._names.brands or name not in self._names.makers:
                brands.add(name)
            if name in self._names.makers:
                if name not in self._names.rebranded:
                    makers.add(name)
                else:
                    doubts.setdefault("maker", name)
        if made_by:
            makers = made_by
            doubts.pop("maker", None)
        chosen = []
        for column, met, spelt in (("maker", makers, self._names.makers), ("brand", brands, self._names.brands)):
            if len(met) > 1:
                doubts[column] = ", ".join(sorted(met))
            name = next(iter(met), "") if len(met) == 1 and column not in doubts else ""
            chosen.append(spelt.get(name) or self._names.makers.get(name) or self._names.brands.get(name, ""))
        return chosen[0], chosen[1], self._name.sub(TAKEN_OUT, words)

    def _variant_in(self, words: str, doubts: dict[str, str]) -> tuple[str, str]:
        """(construction words, the words without them); several are joined in the order of the title."""
        met = []
        for one in self._variant.finditer(words):
            if _ASKED_BEFORE.search(words[: one.start()]) or _ASKED_AFTER.match(words[one.end():]):
                doubts["variant"] = one.group()
            met.append(self._variants[one.group(1)])
        variant = "" if "variant" in doubts else ", ".join(dict.fromkeys(met))
        return variant, self._variant.sub(TAKEN_OUT, words)


def _any_of(names: Iterable[str]) -> re.Pattern[str]:
    """Any of these plain phrases as whole words, the longest first; nothing when there are none."""
    longest_first = sorted(names, key=len, reverse=True)
    return re.compile(r"(?<!\w)(" + "|".join(map(re.escape, longest_first)) + r")(?!\w)") if longest_first \
        else re.compile(r"(?!)()")


def _era(text: str, doubts: dict[str, str]) -> tuple[str, str]:
    """(the one decade a title names, "" where there is none or a doubt; the text without it)."""
    met = {}
    for start, end, phrase in era_phrases(text):
        reading = read_era(phrase)
        if _ASKED_BEFORE.search(text[:start].casefold().rstrip(". ")) or _ASKED_AFTER.match(text[end:].casefold()) \
                or reading.code:
            doubts["era"] = phrase
        met[reading.value] = phrase
    if met and _REISSUE.search(plain(text)) or len(met) > 1:
        doubts["era"] = ", ".join(met.values())
    for start, end, _ in reversed(era_phrases(text)):
        text = text[:start] + TAKEN_OUT + text[end:]
    return "" if "era" in doubts else next(iter(met), ""), text


def _reading(text: str, doubts: dict[str, str]) -> float | None:
    """Percent of nominal a title states, None where it states none or leaves doubt."""
    text = re.sub(r"(?<!%)\s+/\s+", TAKEN_OUT, _NO_READING.sub(TAKEN_OUT, text))
    sections = _TEST_SECTIONS.search(text)
    if sections:
        return reading_in(sections.group(1))
    asked = _BOUND.search(text) or next((m for m in _OF_NOS.finditer(text) if not m.group("tested")), None)
    if asked is None and "%" not in text:
        asked = _TEST_NUMBER.search(text)
    met = {one.group().replace(" ", "") for one in _PCT.finditer(text)}
    reading = reading_in(text) if met else None
    if not asked and len(met) > 1 and not re.search(r"\d\s*%?\s*[/|]\s*\d+\s*%", text):
        doubts["reading_pct"] = ", ".join(sorted(met))
    elif asked or met and reading is None:
        doubts["reading_pct"] = (asked.group() if asked else min(met)).strip()
    return None if "reading_pct" in doubts else reading


def _grade(words: str, reading: float | None, doubts: dict[str, str]) -> str:
    """The grade a title names, "" where there is none or a doubt. `words` are plain, without names and construction."""
    words = _IDIOMS.sub(TAKEN_OUT, words)
    met: list[Spelling] = []
    tested: list[Spelling] = []
    for start, end, phrase, spelling in phrases_in(words, "grade"):
        if spelling.meaning == UNKNOWN or phrase in _TOO_SHORT:
            continue
        if spelling.doubtful or re.match(r"\s?\?", words[end:]) or _DENIED.search(words[:start]) \
                or _ONE_OF_THEM.search(words[:start]):
            doubts["grade"] = phrase
        (tested if phrase in _TESTED_WORDS else met).append(spelling)
    met = met or tested  # "NOS, tested": the other word says the state
    chosen = most_telling(met)
    if chosen is None:
        return ""
    if chosen.doubtful:
        doubts.setdefault("grade", " / ".join(dict.fromkeys(one.meaning for one in met)))
    if "grade" in doubts:
        return ""
    return used_grade(reading) if chosen.meaning == "used" else chosen.meaning


def _pieces(text: str, doubts: dict[str, str]) -> Pieces:
    """Set size, count and matching of a title; what its own words contradict is a doubt."""
    text = _READINGS.sub(TAKEN_OUT, _OWN_SECTIONS.sub(TAKEN_OUT, text))
    text = _BRACKET.sub(rf"{TAKEN_OUT}\g<0>{TAKEN_OUT}", _COUNT_OF_ELSE.sub(TAKEN_OUT, text))
    met = pieces_in(text)
    if met.matched and (hardly := _HARDLY_MATCHED.search(text)):
        doubts["matched"], met = hardly.group(), met._replace(matched=False)
    asked = _LEADING.match(text) or _PART_OF_A_SET.search(text) or _COUNT_ASKED.search(text) or _BARE_LOT.search(text)
    if asked is not None:
        doubts["set_size"] = asked.group().strip()
    elif not counts_agree(text, met):
        doubts["set_size"] = " ".join(text.replace(TAKEN_OUT, " ").split())
    elif met == NOTHING and (words := _NUMBER_WORDS.search(text)):
        doubts["set_size"] = words.group()
    elif met.matched and met.set_size is None and met.qty is None:
        doubts["set_size"] = "matched"
        return met
    return NOTHING if "set_size" in doubts else met
