"""Worked cases of circuit fit: a type, a circuit, one rating, and the verdict it must get, with source or basis beside.

Sources: "sheet" names a publication whose figure was read (directly or in a quotation the register names); "arithmetic"
works on the limits the register states, which are mostly from memory; "common practice" has no source. The circuits are
invented but for the published operating points.
"""

EL84_AMP = dict(circuit="case", fitted_type="7189", base="noval", plate_v=340, screen_v=320, sections_used=1,
                heater_v=6.3, heater_a=0.8, heater_string="parallel")
TWIN = dict(circuit="case", fitted_type="6SN7GTB", base="octal", plate_v=400, plate_ma=9, sections_used=2, heater_v=6.3,
            heater_a=0.7, heater_string="parallel", grid_leak_ohm=470_000, bias="cathode", heater_cathode_v=-5)
BEAM = dict(circuit="case", fitted_type="6L6GC", base="octal", plate_v=410, plate_ma=50, screen_v=395, screen_w=1.9,
            sections_used=1, heater_v=6.3, heater_a=1.0, grid_leak_ohm=100_000, bias="fixed", mains_variation_pct=0)
SUPPLY = dict(circuit="case", fitted_type="5Y3GT", position="V4", base="octal", heater_v=5, heater_a=2.0, winding_v=320,
              dc_ma=125, first_cap_uf=20, plate_supply_ohm=150, mains_variation_pct=0)
MU100 = dict(circuit="case", fitted_type="12AX7", base="noval", plate_v=180, plate_ma=0.9, sections_used=2,
             heater_v=6.3,
             heater_a=0.35, heater_string="parallel", heater_cathode_v=-1.5, grid_leak_ohm=470_000, bias="cathode")

IEC = "IEC 60134 and EIA RS-239-A, January 1963 (definitions); arithmetic on limits from memory"
STORY_5 = "worked story: design-centre 300/300 V, 400/300 V, design-maximum 440/400 V (plate 440 V: web journal, 2000)"
AUDIO_6L6 = "sheet: audioXpress, April 2018 (19 W and 30 W)"
MIL_779 = "sheet: MIL-PRF-1/779, notes: 4.2 W on one section provided both together stay within 7.5 W"
HEATER = "sheet: The Radio Constructor, April 1962: +/-7 % ordinary, to +/-10 % not seriously harmful"
STORY_6 = "worked story: winding 5 V 2 A; arithmetic; drops from memory, moved by the three-halves law"
GE_6L6GC = "sheet: Essential Characteristics, 1973, as quoted in a public encyclopaedia: 350 V, 250 V, 54 mA"
KL = "sheet: Katsnelson & Larionov 1981"

# (name, type, circuit, rating, verdict, source or basis)
CASES = [
    # one output amplifier, three kin
    ("EL84 plate at 340 V", "EL84", EL84_AMP, "plate volts", "exceeds", STORY_5),
    ("EL84 screen at 320 V", "EL84", EL84_AMP, "screen volts", "exceeds", STORY_5),
    ("7189 plate at 340 V", "7189", EL84_AMP, "plate volts", "within", STORY_5),
    ("7189 screen at 320 V", "7189", EL84_AMP, "screen volts", "exceeds", STORY_5),
    ("7189A plate, also 10 % up", "7189A", EL84_AMP, "plate volts", "within", STORY_5),
    ("7189A screen, also 10 % up", "7189A", EL84_AMP, "screen volts", "within", STORY_5),
    ("7189A pins joined inside", "7189A", EL84_AMP, "pins", "cannot check", STORY_5),
    ("7189A watts without a current", "7189A", EL84_AMP, "plate dissipation", "cannot check", STORY_5),
    # one suffix letter
    ("6L6G watts where a 6L6GC was meant", "6L6G", BEAM, "plate dissipation", "exceeds", AUDIO_6L6),
    ("6L6G plate", "6L6G", BEAM, "plate volts", "exceeds", "arithmetic: 410 V on 360 V"),
    ("6L6 without a suffix is the 19 W tube", "6L6", BEAM, "plate dissipation", "exceeds", AUDIO_6L6),
    ("6L6GC watts", "6L6GC", BEAM, "plate dissipation", "within", AUDIO_6L6),
    ("6L6GC at its published class A point", "6L6GC", BEAM | dict(plate_v=350, plate_ma=54, screen_v=250),
     "plate dissipation", "within", GE_6L6GC + ", 18.9 W of 30 W"),
    ("6L6G watts at the 6L6GC's published point", "6L6G", BEAM | dict(plate_v=350, plate_ma=54, screen_v=250),
     "plate dissipation", "at the edge", GE_6L6GC + "; 18.9 W of 19 W"),
    ("5881 screen in a 6L6GC circuit", "5881", BEAM, "screen volts", "at the edge", "arithmetic: 395 V on 400 V"),
    ("6P3S called a 6L6GC", "6P3S", BEAM, "screen volts", "exceeds", "arithmetic: 395 V on 300 V"),
    ("6P3S watts, system unknown", "6P3S", BEAM | dict(plate_ma=45), "plate dissipation", "cannot check",
     "IEC 60134: absolute-maximum holds for every tube; 18.5 W of 20.5 W, a new tube a third up 24.6 W (Radiotron "
     "Designer's Handbook, 4th ed., for the spread)"),
    # early and later dual triode (common practice, no source)
    ("6SN7GT where 450 V is meant", "6SN7GT", TWIN, "plate volts", "exceeds",
     "common practice, no source: 300 V early"),
    ("6SN7GT watts a section", "6SN7GT", TWIN, "plate dissipation", "exceeds", "common practice: 3.6 W on 2.5 W"),
    ("6SN7GT both sections", "6SN7GT", TWIN, "total dissipation", "cannot check", "no total is known: not twice 2.5 W"),
    ("6SN7GTB volts", "6SN7GTB", TWIN | dict(mains_variation_pct=5), "plate volts", "within",
     "arithmetic: 420 of 450 V"),
    ("6SN7GTB both sections", "6SN7GTB", TWIN | dict(mains_variation_pct=0), "total dissipation", "at the edge",
     "arithmetic: 7.2 W of 7.5 W"),
    ("5692, industrial and lower", "5692", TWIN, "plate volts", "exceeds", "arithmetic: 400 V on 275 V absolute"),
    ("6N8S against its Western kin", "6N8S", TWIN, "plate volts", "exceeds", KL + ", p. 149: 330 V"),
    ("6N8S grid resistor", "6N8S", TWIN, "grid resistor", "within", KL + ", p. 149: 500 kilohm; 470 is 6 % below"),
    ("12SN7GT on 6.3 V", "12SN7GT", TWIN, "heater volts", "exceeds", "sheet: encyclopaedia article 6SN7: 12.6 V"),
    ("12SN7GTA volts", "12SN7GTA", TWIN, "plate volts", "within", "arithmetic: 400 V of 450 V design-centre"),
    ("7N7 into an octal socket", "7N7", TWIN, "base", "exceeds", "common practice: loctal base"),
    # sections: one and all
    ("5687, one section at 4 W", "5687", dict(plate_v=200, plate_ma=19, sections_used=2, mains_variation_pct=0),
     "plate dissipation", "cannot check", MIL_779 + "; absolute, so the tube's spread counts: 5.1 W"),
    ("5687, both sections at 4 W", "5687", dict(plate_v=200, plate_ma=20, sections_used=2, mains_variation_pct=0),
     "total dissipation", "exceeds", MIL_779),
    ("5687, fixed grid resistor of 1 megohm", "5687", dict(grid_leak_ohm=1_000_000, bias="cathode"), "grid resistor",
     "at the edge", "sheet: MIL-PRF-1/779, note 1: 1.0 megohm with cathode bias"),
    ("12BH7A both sections", "12BH7A", dict(plate_v=250, plate_ma=14.5, sections_used=2), "total dissipation",
     "exceeds",
     "arithmetic: 7.25 W on 7.0 W"),
    ("ECL82 triode", "ECL82", dict(plate_v=200, plate_ma=4, section="triode"), "plate dissipation", "within",
     "arithmetic: 0.8 W of 1 W (triode from memory)"),
    ("ECL82 triode is not its pentode", "ECL82", dict(plate_v=250, plate_ma=6, section="triode"), "plate dissipation",
     "exceeds", "arithmetic: 1.5 W on 1 W, though the pentode holds 7 W"),
    ("ECL82 with no section named", "ECL82", dict(plate_v=250, plate_ma=6), "plate dissipation", "cannot check",
     "two unlike sections"),
    ("ECL86 triode volts", "ECL86", dict(plate_v=250, section="triode"), "plate volts", "cannot check",
     "no limit is known"),
    ("ECL86 pentode watts", "ECL86", dict(plate_v=250, plate_ma=36, section="pentode"), "plate dissipation",
     "at the edge", "sheet: maker's release, March 1962: 9 W; 250 V and 36 mA is 9.0 W"),
    # rating systems
    ("design-centre is nominal, whatever the mains", "6V6GT", dict(plate_v=299, mains_variation_pct=10), "plate volts",
     "within", IEC + ": 299 V of 315 V"),
    ("design-maximum takes the worst mains", "6V6GTA", dict(plate_v=320, mains_variation_pct=10), "plate volts",
     "exceeds", IEC + ": 352 V on 350 V"),
    ("design-maximum, steady mains", "6V6GTA", dict(plate_v=320, mains_variation_pct=0), "plate volts", "within", IEC),
    ("absolute takes the worst mains too", "5692", dict(plate_v=255, mains_variation_pct=10), "plate volts", "exceeds",
     IEC + ": 280.5 V on 275 V"),
    ("no mains stated, and it decides", "6V6GTA", dict(plate_v=330), "plate volts", "cannot check",
     IEC + ": 330 V of 350 V, 363 V at 10 % up"),
    ("no mains stated, and it does not decide", "6V6GTA", dict(plate_v=250), "plate volts", "within", IEC),
    ("unknown system is treated as absolute", "KT66", dict(plate_v=480, mains_variation_pct=5), "plate volts",
     "exceeds",
     IEC + ": 504 V on 500 V"),
    ("design-maximum watts follow volts and current", "6L6GC", BEAM | dict(plate_v=480, plate_ma=52,
     mains_variation_pct=10), "plate dissipation", "exceeds",
     "three-halves law: 24.96 W times 1.1**2.5 is 31.7 W on 30 W"),
    ("exactly five per cent left is within", "EL84", dict(plate_v=285), "plate volts", "within",
     "arithmetic: 285 of 300"),
    ("less than five per cent left", "EL84", dict(plate_v=286), "plate volts", "at the edge", "arithmetic"),
    ("at the limit is not over it", "EL84", dict(plate_v=300), "plate volts", "at the edge", "arithmetic"),
    # heaters
    ("5.9 V on a 6.3 V heater", "EL84", dict(heater_v=5.9), "heater volts", "within", HEATER + ": 5.86 V and up"),
    ("6.9 V on a 6.3 V heater", "EL84", dict(heater_v=6.9), "heater volts", "at the edge", HEATER + ": to 6.93 V"),
    ("7.0 V on a 6.3 V heater", "EL84", dict(heater_v=7.0), "heater volts", "exceeds", HEATER),
    ("4.6 V on a 300B filament", "300B", dict(heater_v=4.6), "heater volts", "at the edge",
     "sheet: a current maker's 300B sheet: 4.5 to 5.5 V; +/-5 % for filaments is weakly published"),
    ("12AX7 with its halves in parallel", "12AX7", MU100, "heater volts", "within",
     "sheet: encyclopaedia article 12AX7: 12.6 V or 6.3 V"),
    ("12AX7 draws 0.3 A at 6.3 V", "12AX7", MU100 | dict(heater_a=0.25), "heater current", "exceeds",
     "sheet: encyclopaedia article 12AX7: 300 mA in parallel"),
    ("5751 heater in a full winding", "5751", MU100 | dict(heater_a=0.3), "heater current", "exceeds",
     "arithmetic: 0.35 A on 0.3 A"),
    ("series string without controlled warm-up", "6SN7GT", TWIN | dict(heater_string="series", heater_a=0.6),
     "heater warm-up", "cannot check", "no warm-up is known"),
    ("series string with it", "6SN7GTB", TWIN | dict(heater_string="series", heater_a=0.6), "heater warm-up", "within",
     "arithmetic: 11 s in both"),
    ("0.45 A heater in a 0.6 A string", "8SN7GTB", TWIN | dict(heater_string="series", heater_a=0.6), "heater current",
     "exceeds", "sheet: encyclopaedia article 6SN7: 0.45 A; tolerance common practice"),
    ("heater above the cathode by 60 V", "6DJ8", dict(heater_cathode_v=60), "heater-cathode volts", "exceeds",
     "arithmetic: 50 V with the heater positive, 130 V the other way"),
    ("heater below the cathode by 60 V", "6DJ8", dict(heater_cathode_v=-60), "heater-cathode volts", "within",
     "arithmetic: 60 V of 130 V"),
    ("heater above the cathode, polarity unknown", "EL84", dict(heater_cathode_v=20), "heater-cathode volts",
     "cannot check", "the polarity of the 100 V is not known"),
    ("cathode follower on a 90 V tube", "12AT7", dict(heater_cathode_v=-100), "heater-cathode volts", "exceeds",
     "arithmetic: 100 V on 90 V"),
    # grid resistors
    ("6080 with 470 kilohm on fixed bias", "6080", dict(grid_leak_ohm=470_000, bias="fixed"), "grid resistor",
     "exceeds",
     "arithmetic: 100 kilohm fixed"),
    ("6080 with 470 kilohm on cathode bias", "6080", dict(grid_leak_ohm=470_000, bias="cathode"), "grid resistor",
     "within", "arithmetic: 1 megohm cathode"),
    ("KT88 in an EL34 grid circuit", "KT88", dict(fitted_type="EL34", grid_leak_ohm=220_000, bias="fixed"),
     "grid resistor", "exceeds", "trade memory: 100 kilohm"),
    ("EL34 fixed bias", "EL34", dict(grid_leak_ohm=470_000, bias="fixed"), "grid resistor", "within",
     "sheet: EL34EH: 0.5 megohm fixed"),
    ("EL34 cathode bias", "EL34", dict(grid_leak_ohm=680_000, bias="cathode"), "grid resistor", "at the edge",
     "sheet: EL34EH: 0.7 megohm cathode; 2.9 % left"),
    ("EL34 with no bias named", "EL34", dict(grid_leak_ohm=600_000), "grid resistor", "cannot check",
     "sheet: EL34EH: between 0.5 and 0.7 megohm"),
    ("6SN7GTB, only the cathode-bias limit known", "6SN7GTB", dict(grid_leak_ohm=470_000, bias="fixed"),
     "grid resistor",
     "cannot check", "fixed bias is allowed less, how much less is not known (MIL-PRF-1/1097J shows the order)"),
    # another heater, another wiring, another tube
    ("6N2P offered for 12AX7", "6N2P-EV", MU100, "pins", "exceeds",
     "worked story; heater on 4-5, pin 9 a shield: " + KL),
    ("ECC83 is 12AX7", "ECC83", MU100, "pins", "within", "encyclopaedia articles on both names"),
    ("6550 in an EL34 position: its own current", "6550", dict(fitted_type="EL34", base="octal", plate_v=380,
     plate_ma=50), "plate dissipation", "cannot check", "common practice: about twice the current at one bias"),
    ("6L6GC into an EL34 socket", "6L6GC", dict(fitted_type="EL34", base="octal"), "pins", "within",
     "common practice: pin 1 unused"),
    ("EL34 into a 6L6GC socket", "EL34", BEAM, "pins", "cannot check", "common practice: pin 1 to the cathode"),
    # limits do not hold together
    ("300B at its volts and current", "300B", dict(plate_v=450, plate_ma=100, mains_variation_pct=0),
     "plate dissipation", "exceeds", "sheet: 300B sheet (not simultaneous): 45 W on 36 W"),
    # rectifiers
    ("5U4GB on a 2 A winding", "5U4GB", SUPPLY, "heater current", "exceeds",
     STORY_6 + "; 3 A: Mono and Stereo, May 2021"),
    ("5AR4 on a 2 A winding", "5AR4", SUPPLY, "heater current", "within", STORY_6),
    ("5Y3GT for 5Y3GT", "5Y3GT", SUPPLY, "change of supply volts", "within", STORY_6),
    ("5AR4 for 5Y3GT, the others unknown", "5AR4", SUPPLY, "change of supply volts", "cannot check", STORY_6),
    ("5Y3GT at 250 mA", "5Y3GT", SUPPLY | dict(dc_ma=250), "direct current", "exceeds", "arithmetic: 250 mA on 125 mA"),
    ("inverse volts of 2 x 450 V rms", "EZ81", dict(winding_v=450, mains_variation_pct=0), "peak inverse volts",
     "exceeds", "arithmetic: 2.83 times 450 is 1273 V, on 1000 V"),
    ("the same on a 5U4GB", "5U4GB", dict(winding_v=450), "peak inverse volts", "within",
     "arithmetic: 1273 V of 1550 V"),
    ("274B into 40 uF", "274B", SUPPLY | dict(first_cap_uf=40), "first capacitor", "exceeds",
     "sheet: Mono and Stereo, May 2021: 4 uF"),
    ("274B DC into a capacitor, not its choke figure", "274B", SUPPLY | dict(dc_ma=180), "direct current", "exceeds",
     "arithmetic: 150 mA with a capacitor"),
    ("GZ34 with 120 ohm at 300 V", "GZ34", SUPPLY | dict(fitted_type="GZ34", winding_v=300, plate_supply_ohm=120),
     "plate supply resistance", "cannot check", "175 ohm is stated at 550 V; less holds below, unknown how much"),
    ("GZ34 with 120 ohm at 550 V", "GZ34", SUPPLY | dict(fitted_type="GZ34", winding_v=550, plate_supply_ohm=120),
     "plate supply resistance", "exceeds", "arithmetic: 120 of 175 ohm"),
]
