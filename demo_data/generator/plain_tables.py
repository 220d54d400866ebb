"""Tables without chance: the invented amplifiers, the owner's own types and the shop's settings."""

from __future__ import annotations

import pandas as pd

from generator.bench import ASPECTS

# One entry a position, going on where a line is indented; the last part is the note. Figures are those of the
# stories in the trade: Quibbet Fifteen asks more plate and screen volts than an EL84 may take; Perrigosh
# Single has a 5 V 2 A rectifier winding and 6V6GT near their plate limit; Zwindle Phono heats a 12AX7 at
# 6.3 V over pins 4+5 and 9.
CIRCUITS = """
circuit=Murgle Ten fitted_type=12AX7 position=V1 base=noval plate_v=180 plate_ma=0.9 sections_used=2
    heater_v=6.3 heater_a=0.3 heater_string=parallel heater_cathode_v=-1.5 grid_leak_ohm=1000000
    bias=cathode mains_variation_pct=5
circuit=Murgle Ten fitted_type=EL84 position=V2 base=noval plate_v=265 plate_ma=37 sections_used=1
    screen_v=260 screen_w=1.3 cathode_ma=42 heater_v=6.3 heater_a=0.8 heater_string=parallel
    heater_cathode_v=-9 grid_leak_ohm=470000 bias=cathode mains_variation_pct=5
circuit=Murgle Ten fitted_type=EL84 position=V3 base=noval plate_v=265 plate_ma=37 sections_used=1
    screen_v=260 screen_w=1.3 cathode_ma=42 heater_v=6.3 heater_a=0.8 heater_string=parallel
    heater_cathode_v=-9 grid_leak_ohm=470000 bias=cathode mains_variation_pct=5
circuit=Murgle Ten fitted_type=EZ81 position=V4 base=noval heater_v=6.3 heater_a=1.0
    heater_string=parallel winding_v=260 dc_ma=95 first_cap_uf=32 plate_supply_ohm=220
    mains_variation_pct=5
circuit=Quibbet Fifteen fitted_type=ECC83 position=V1 base=noval plate_v=210 plate_ma=1.0 sections_used=2
    heater_v=6.3 heater_a=0.3 heater_string=parallel heater_cathode_v=-1.4 grid_leak_ohm=1000000
    bias=cathode mains_variation_pct=5
circuit=Quibbet Fifteen fitted_type=7189 position=V2 base=noval plate_v=340 sections_used=1 screen_v=320
    heater_v=6.3 heater_a=0.8 heater_string=parallel bias=cathode mains_variation_pct=5 note=plate current
    never measured
circuit=Quibbet Fifteen fitted_type=7189 position=V3 base=noval plate_v=340 sections_used=1 screen_v=320
    heater_v=6.3 heater_a=0.8 heater_string=parallel bias=cathode mains_variation_pct=5 note=plate current
    never measured
circuit=Quibbet Fifteen fitted_type=GZ34 position=V4 base=octal heater_v=5.0 heater_a=1.9
    heater_string=parallel winding_v=300 dc_ma=120 first_cap_uf=40 plate_supply_ohm=120
    mains_variation_pct=5
circuit=Trundlow Thirty fitted_type=12AX7 position=V1 base=noval plate_v=160 plate_ma=0.7 sections_used=2
    heater_v=6.3 heater_a=0.3 heater_string=parallel heater_cathode_v=-1.2 grid_leak_ohm=1000000
    bias=cathode
circuit=Trundlow Thirty fitted_type=12AU7 position=V2 base=noval plate_v=170 plate_ma=5.5 sections_used=2
    heater_v=6.3 heater_a=0.3 heater_string=parallel heater_cathode_v=-75 grid_leak_ohm=1000000
    bias=cathode note=phase splitter
circuit=Trundlow Thirty fitted_type=6L6GC position=V3 base=octal plate_v=410 plate_ma=50 sections_used=1
    screen_v=395 screen_w=1.9 cathode_ma=55 heater_v=6.3 heater_a=1.0 heater_string=parallel
    heater_cathode_v=0 grid_leak_ohm=100000 bias=fixed
circuit=Trundlow Thirty fitted_type=6L6GC position=V4 base=octal plate_v=410 plate_ma=50 sections_used=1
    screen_v=395 screen_w=1.9 cathode_ma=55 heater_v=6.3 heater_a=1.0 heater_string=parallel
    heater_cathode_v=0 grid_leak_ohm=100000 bias=fixed
circuit=Trundlow Thirty fitted_type=5AR4 position=V5 base=octal heater_v=5.0 heater_a=2.0
    heater_string=parallel winding_v=340 dc_ma=140 first_cap_uf=40 plate_supply_ohm=125
circuit=Sproggan Forty fitted_type=12AX7 position=V1 base=noval plate_v=190 plate_ma=0.8 sections_used=2
    heater_v=12.6 heater_a=0.15 heater_string=parallel heater_cathode_v=-1.4 grid_leak_ohm=470000
    bias=cathode
circuit=Sproggan Forty fitted_type=EL34 position=V2 base=octal plate_v=430 plate_ma=46 sections_used=1
    screen_v=415 screen_w=3.1 cathode_ma=53 heater_v=6.3 heater_a=1.6 heater_string=parallel
    heater_cathode_v=0 grid_leak_ohm=220000 bias=fixed
circuit=Sproggan Forty fitted_type=5U4GB position=V4 base=octal heater_v=5.0 heater_a=3.0
    heater_string=parallel winding_v=370 dc_ma=170 first_cap_uf=40 plate_supply_ohm=80
circuit=Perrigosh Single fitted_type=6SN7GT position=V1 base=octal plate_v=150 plate_ma=4.5
    sections_used=2 heater_v=6.3 heater_a=0.6 heater_string=parallel heater_cathode_v=-5
    grid_leak_ohm=470000 bias=cathode mains_variation_pct=5
circuit=Perrigosh Single fitted_type=6V6GT position=V2 base=octal plate_v=305 plate_ma=34 sections_used=1
    screen_v=225 screen_w=0.6 cathode_ma=37 heater_v=6.3 heater_a=0.45 heater_string=parallel
    heater_cathode_v=-13 grid_leak_ohm=470000 bias=cathode mains_variation_pct=5
circuit=Perrigosh Single fitted_type=5Y3GT position=V4 base=octal heater_v=5.0 heater_a=2.0
    heater_string=parallel winding_v=320 dc_ma=125 first_cap_uf=20 plate_supply_ohm=150
    mains_variation_pct=5 note=winding marked 5 V 2 A
circuit=Zwindle Phono fitted_type=12AX7 position=V1 base=noval plate_v=170 plate_ma=0.7 sections_used=2
    heater_v=6.3 heater_a=0.3 heater_string=parallel heater_cathode_v=25 grid_leak_ohm=47000 bias=cathode
    note=heater over pins 4+5 and 9
circuit=Zwindle Phono fitted_type=12AU7 position=V2 base=noval plate_v=120 plate_ma=6 sections_used=2
    heater_v=6.3 heater_a=0.3 heater_string=parallel heater_cathode_v=-60 grid_leak_ohm=1000000
    bias=cathode
circuit=Gombrel Hundred fitted_type=12AT7 position=V1 base=noval plate_v=220 plate_ma=3.5 sections_used=2
    heater_v=6.3 heater_a=0.3 heater_string=parallel heater_cathode_v=-2 grid_leak_ohm=470000 bias=cathode
circuit=Gombrel Hundred fitted_type=KT88 position=V3 base=octal plate_v=520 plate_ma=52 sections_used=1
    screen_v=330 screen_w=1.8 cathode_ma=57 heater_v=6.3 heater_a=1.6 heater_string=parallel
    heater_cathode_v=0 grid_leak_ohm=47000 bias=fixed
circuit=Nackering Line fitted_type=12AU7 position=V1 base=noval plate_v=130 plate_ma=7 sections_used=2
    heater_v=6.3 heater_a=0.3 heater_string=parallel heater_cathode_v=-4 grid_leak_ohm=1000000
    bias=cathode
circuit=Nackering Line fitted_type=12AX7 position=V2 base=noval plate_v=150 plate_ma=0.6 sections_used=2
    heater_v=12.6 heater_a=0.15 heater_string=series grid_leak_ohm=1000000 bias=cathode
circuit=Nackering Line fitted_type=6SN7GT position=V3 base=octal plate_v=180 plate_ma=8 sections_used=2
    heater_v=6.3 heater_a=0.6 heater_string=parallel heater_cathode_v=-95 grid_leak_ohm=1000000
    bias=cathode note=output follower
circuit=Nackering Line fitted_type=6X4 position=V4 base=B7G heater_v=6.3 heater_a=0.6
    heater_string=parallel winding_v=250 dc_ma=38 first_cap_uf=10 plate_supply_ohm=300
"""
CIRCUIT_COLUMNS = """
    circuit fitted_type position base plate_v plate_ma plate_w section sections_used screen_v screen_w
    cathode_ma heater_v heater_a heater_string heater_cathode_v grid_leak_ohm bias winding_v dc_ma
    first_cap_uf plate_supply_ohm mains_variation_pct note
""".split()

TYPE_COLUMNS = """
    designation canonical_type family kind sections base basing heater_v heater_a heater_alt warmup_s va_max_v
    pa_max_w_section pa_max_w_total vg2_max_v pg2_max_w ik_max_ma vhk_max_v rg1_max_fixed_bias_ohm
    rg1_max_cathode_bias_ohm rating_system mu gm_ma_v rp_ohm typ_va_v typ_vg_v typ_ia_ma piv_max_v
    ia_peak_max_ma idc_max_ma drop_v_at_idc aliases source basis note
""".split()
# Values from memory, as an owner would copy them from an old book; one cell has a decimal comma.
TYPES = [
    {
        "designation": "12B4A",
        "canonical_type": "12B4A",
        "family": "other small triodes",
        "kind": "triode",
        "sections": "1",
        "base": "noval (B9A)",
        "basing": "9AG",
        "heater_v": "12.6",
        "heater_a": "0.3",
        "heater_alt": "6.3 V 0.6 A parallel",
        "pa_max_w_section": "5.5",
        "rating_system": "unknown",
        "mu": "6.5",
        "gm_ma_v": "6.3",
        "rp_ohm": "1030",
        "typ_va_v": "150",
        "typ_vg_v": "-17.5",
        "typ_ia_ma": "34",
        "basis": "memory",
    },
    {
        "designation": "6EM7",
        "canonical_type": "6EM7",
        "family": "octal dual triodes",
        "kind": "dual triode",
        "sections": "2",
        "base": "octal",
        "basing": "8BD",
        "heater_v": "6.3",
        "heater_a": "0,925",
        "rating_system": "unknown",
        "basis": "memory",
        "note": "two different sections: ratings left out",
    },
    {
        "designation": "E80CC",
        "canonical_type": "E80CC",
        "family": "12AU7 kin",
        "kind": "dual triode",
        "sections": "2",
        "base": "noval (B9A)",
        "basing": "9A",
        "heater_v": "12.6",
        "heater_a": "0.3",
        "heater_alt": "6.3 V 0.6 A parallel",
        "va_max_v": "300",
        "pa_max_w_section": "2",
        "rating_system": "unknown",
        "mu": "27",
        "gm_ma_v": "2.7",
        "typ_va_v": "250",
        "typ_vg_v": "-5.5",
        "typ_ia_ma": "6",
        "basis": "memory",
    },
    {
        "designation": "5842",
        "canonical_type": "5842",
        "family": "other small triodes",
        "kind": "triode",
        "sections": "1",
        "base": "noval (B9A)",
        "heater_v": "6.3",
        "heater_a": "0.3",
        "rating_system": "unknown",
        "mu": "43",
        "gm_ma_v": "25",
        "typ_va_v": "150",
        "typ_ia_ma": "26",
        "basis": "memory",
    },
]

SETTINGS = [
    ("currency", "EUR", "ISO code", "Currency of prices where none is typed"),
    ("date order", "day first", "", "How 03/04/2023 is meant"),
    ("sales tax scheme", "margin scheme", "", "None, on the price, or margin scheme for second-hand goods"),
    ("sales tax rate", "19", "%", "Rate of the sales tax"),
    ("prices include tax", "yes", "yes or no", "Whether prices are typed with the tax in them"),
    ("postage included", "no", "yes or no", "Whether prices include postage"),
    ("fee: marketplace", "13.25", "% of the price", "Share kept by the marketplace"),
    ("fixed fee: marketplace", "0.40", "EUR per order", "Fixed part of the marketplace's fee"),
    ("fee: auction", "10", "% of the price", "Share kept by the auction house"),
    ("payment fee", "2.9", "% of the price", "Share kept by the payment service"),
    ("fixed payment fee", "0.30", "EUR per order", "Fixed part of the payment fee"),
    ("packing cost", "1.20", "EUR per order", "Box and padding"),
    ("return rate", "4", "% of sales", "Share of sales that come back"),
    ("target return", "60", "% of the purchase", "Return wanted on money put into a lot"),
    ("holding cost", "8", "% of cost a year", "Cost of money and room of unsold stock"),
    ("minimum margin", "25", "% of the net price", "No list price below this margin"),
    ("price endings", ".00 .50", "", "Endings of list prices"),
    ("reject limit", "65", "% of nominal", "Readings below it are rejects"),
    ("match plate current", "5", "% of the mean", "Widest spread of plate current in a set"),
    ("match gm", "10", "% of the mean", "Widest spread of mutual conductance in a set"),
    ("nominal: bench A EL84", "11.3", "mA/V", "What bench A shows for an average tube"),
    ("nominal: bench B EL84", "12.43", "mA/V", "What bench B shows for an average tube"),
    *(
        (f"quality weight: {aspect}", f"{weight:g}", "weight", "How much the aspect counts")
        for aspect, weight in ASPECTS.items()
    ),
    ("quality base", "5", "score", "Points above this count in cost per quality point"),
]


def circuits() -> pd.DataFrame:
    """27 positions of eight invented amplifiers."""
    rows = []
    for line in CIRCUITS.strip().replace("\n ", " ").splitlines():
        row, name = {}, ""
        for word in line.split():
            if "=" in word:
                name, value = word.split("=", 1)
                row[name] = value
            else:
                row[name] += f" {word}"
        rows.append(row)
    return pd.DataFrame(rows, columns=CIRCUIT_COLUMNS)


def types() -> pd.DataFrame:
    """Four types on top of the register."""
    return pd.DataFrame(TYPES, columns=TYPE_COLUMNS)


def settings(rates: pd.DataFrame) -> pd.DataFrame:
    """How the shop works, with the invented exchange rates of 72 months: EUR for one USD or GBP."""
    rows = [*SETTINGS]
    for currency in ("USD", "GBP"):
        rows += [
            (f"rate: {currency} {month}", f"{rate:.4f}", "EUR", "EUR for one unit; invented")
            for month, rate in zip(rates.month, rates[currency])
        ]
    return pd.DataFrame(rows, columns=["key", "value", "unit", "what it does"])
