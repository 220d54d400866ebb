"""What is true of every tube of a type: its ratings, and how well each one is known."""

from __future__ import annotations

from dataclasses import dataclass, fields

# Unit of each column that holds a number; columns without one are words.
UNITS: dict[str, str] = {
    "sections": "", "heater_v": "V", "heater_a": "A", "warmup_s": "s", "va_max_v": "V",
    "pa_max_w_section": "W", "pa_max_w_total": "W", "vg2_max_v": "V", "pg2_max_w": "W", "ik_max_ma": "mA",
    "vhk_max_v": "V", "vhk_heater_positive_max_v": "V", "rg1_max_fixed_bias_ohm": "ohm",
    "rg1_max_cathode_bias_ohm": "ohm", "mu": "", "gm_ma_v": "mA/V", "rp_ohm": "ohm", "typ_va_v": "V",
    "typ_vg_v": "V", "typ_ia_ma": "mA", "piv_max_v": "V", "ia_peak_max_ma": "mA", "idc_max_ma": "mA",
    "idc_cap_input_max_ma": "mA", "winding_max_v": "V", "first_cap_max_uf": "uF",
    "plate_supply_min_ohm": "ohm", "drop_v_at_idc": "V", "drop_at_ma": "mA",
}
# Numbers that may be nought or below it; every other number must be above nought.
SIGNED = frozenset({"typ_vg_v"})
RATING_SYSTEMS = ("design-centre", "design-maximum", "absolute-maximum", "none stated", "unknown")
BASES = ("published", "secondary", "memory", "common practice", "mixed", "owner")
# Columns by which the register arranges types: its own order, not facts about tubes.
ARRANGEMENT = frozenset({"designation", "section", "canonical_type", "shop_family", "family", "note"})


@dataclass(frozen=True)
class TubeType:
    """One designation, or one section of it where the sections differ (a triode-pentode has a row for each).

    None and "" mean that nobody knows. Plate limits are per section. `vhk_max_v` is the heater-cathode limit;
    `vhk_polarity` says whether it holds "either" way or with the "heater negative" of the cathode ("" not
    known), and `vhk_heater_positive_max_v` is the limit on the direct voltage the other way. Rectifiers:
    `winding_max_v` is rms per plate with capacitor input, `drop_v_at_idc` the drop read at `drop_at_ma`.
    `idc_max_ma` holds for capacitor input unless `idc_cap_input_max_ma` is given. `plate_supply_min_ohm` is
    per plate at `winding_max_v`.
    """

    designation: str
    section: str = ""
    canonical_type: str = ""
    shop_family: str = ""
    family: str = ""
    kind: str = ""
    sections: float | None = None
    base: str = ""
    basing: str = ""
    heater_v: float | None = None
    heater_a: float | None = None
    heater_alt: str = ""
    warmup_s: float | None = None
    va_max_v: float | None = None
    pa_max_w_section: float | None = None
    pa_max_w_total: float | None = None
    vg2_max_v: float | None = None
    pg2_max_w: float | None = None
    ik_max_ma: float | None = None
    vhk_max_v: float | None = None
    vhk_polarity: str = ""
    vhk_heater_positive_max_v: float | None = None
    rg1_max_fixed_bias_ohm: float | None = None
    rg1_max_cathode_bias_ohm: float | None = None
    rating_system: str = "unknown"
    mu: float | None = None
    gm_ma_v: float | None = None
    rp_ohm: float | None = None
    typ_va_v: float | None = None
    typ_vg_v: float | None = None
    typ_ia_ma: float | None = None
    piv_max_v: float | None = None
    ia_peak_max_ma: float | None = None
    idc_max_ma: float | None = None
    idc_cap_input_max_ma: float | None = None
    winding_max_v: float | None = None
    first_cap_max_uf: float | None = None
    plate_supply_min_ohm: float | None = None
    drop_v_at_idc: float | None = None
    drop_at_ma: float | None = None
    drop_law: str = ""
    note: str = ""

    @property
    def rating_system_used(self) -> str:
        """The system the limits are compared under: an unknown or unstated one counts as absolute-maximum."""
        return self.rating_system if self.rating_system in RATING_SYSTEMS[:3] else "absolute-maximum"

    @property
    def rating_system_words(self) -> str:
        """The system in words, with the assumption said aloud where there is one."""
        if self.rating_system == "none stated":
            return "the sheet states no rating system: treated as absolute-maximum"
        if self.rating_system not in RATING_SYSTEMS[:3]:
            return "rating system not known: treated as absolute-maximum"
        return self.rating_system


COLUMNS: tuple[str, ...] = tuple(field.name for field in fields(TubeType))


@dataclass(frozen=True)
class RatedValue:
    """One cell: the value (None when nobody knows), its unit, and how it is known.

    `basis` is one of BASES, "" for an empty cell; `rating_system` is that of this cell, which a military
    sheet may set apart from the rest of the row. `state` keeps two kinds of empty apart: "sheet states none"
    (the source was read and gives no figure) and "not known" (no source was read).
    """

    value: float | str | None
    unit: str
    basis: str
    source: str
    rating_system: str

    @property
    def state(self) -> str:
        if self.value not in (None, ""):
            return "stated"
        return "sheet states none" if self.basis else "not known"


@dataclass(frozen=True)
class Match:
    """What a written designation stands for.

    `status` is "found", "ambiguous" or "unknown"; `designation` the printed designation as the register
    spells it; `canonical_type` the type whose sales are pooled; `candidates` spellings to choose from (near
    ones when unknown); `note` says in words what was assumed. For "ambiguous" the two names are "".
    """

    text: str
    status: str
    designation: str = ""
    canonical_type: str = ""
    candidates: tuple[str, ...] = ()
    note: str = ""
