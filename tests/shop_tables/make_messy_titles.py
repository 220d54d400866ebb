"""Writes messy_titles.csv: titles made up by hand, each with its right reading, and others put together from parts.

Makers, brands and titles are invented; the ways of writing are common practice, no source. A reading is what a careful
person would enter from the title alone; what such a person would ask about is blank and named under `doubts`.
Run: python tests/shop_tables/make_messy_titles.py
"""

import csv
import random
from pathlib import Path

FIELDS = ("type", "maker", "brand", "era", "variant", "grade", "reading_pct", "set_size", "qty", "matched", "doubts")
NOS, BOXED, PULLED, PARTS = "new old stock", "new old stock, boxed", "pulled or untested", "for parts"
STRONG, GOOD, WEAK = "used, strong", "used, good", "used, weak"


def says(title, type_, **cells):
    """A line: the title and its reading, `doubts` as names parted by spaces."""
    assert not set(cells) - set(FIELDS), cells
    return {"title": title, "type": type_} | cells


BY_HAND = [
    # the words of the trade's own records
    says("NOS matched pair 12AX7 long plate 1950s tested strong", "12AX7", era="1950s", variant="long plates",
         grade=NOS,
         set_size=2, matched="yes"),
    says("2x EL84 / 6BQ5 quad? lot of 10", "EL84", doubts="set_size"),
    says("6Н8С 1956 boxed (2)", "6N8S", era="1950s", set_size=2),
    says("6H8C 1956 pair", "6N8S", era="1950s", set_size=2),
    says("ECC83 €32,00/pr", "ECC83", set_size=2),
    says("12AX7/ECC83 N.O.S. 1960s", "12AX7", era="1960s", grade=NOS),
    says("12AX7A = 7025 MP", "12AX7A", set_size=2, matched="yes"),
    says("6V6 GT/G pulled", "6V6GT", grade=PULLED),
    says("6BQ5-EL84 tstd 95%", "6BQ5", grade=STRONG, reading_pct=95),
    says("CV4004 nos/nib", "CV4004", grade=BOXED),
    says("JAN-5751 1.5 pr", "5751", qty=3),
    says("OA2 used - tests strong", "0A2", grade=STRONG),
    says("EL34 quad NOS?", "EL34", set_size=4, doubts="grade"),
    says("5AR4 88/91%", "5AR4", reading_pct=89.5),
    says("6П14П-ЕВ lot of 10, 1975", "6P14P-EV", era="1970s", qty=10),
    says("6Н23П-ЕВ 1980s gold pins matched pair", "6N23P-EV", era="1980s", variant="gold pins", set_size=2,
         matched="yes"),
    says("6П3С-Е 1967 NOS (4)", "6P3S-E", era="1960s", grade=NOS, set_size=4),
    says("5Ц3С пара 1958", "5C3S", era="1950s", set_size=2),
    says("6Н1П-ЕВ 1978 4 шт", "6N1P-EV", era="1970s", qty=4),
    # prices are not counts, types or years
    says("2A3 $300 pair", "2A3", set_size=2),
    says("45 dollars EL84", "EL84"),
    says("12AX7 45 each", "12AX7"),
    says("6SN7GT $1957 asking", "6SN7GT"),
    says("KT88 €1.250,00 quad", "KT88", set_size=4),
    says("EL84 1,250.00 USD lot of 60", "EL84", qty=60),
    says("300B £1950 pair NIB", "300B", grade=BOXED, set_size=2),
    says("5U4GB 25.- CHF used", "5U4GB", grade=GOOD),
    says("type 45 $20 each", "45"),
    says("6L6GC 80/pr", "6L6GC", set_size=2),
    says("EL34 200/quad NOS", "EL34", grade=NOS, set_size=4),
    says("ECC82 12 € (2)", "ECC82", set_size=2),
    says("12AT7 was 45 now 30", "12AT7"),
    says("GZ34 @ 80 1961", "GZ34", era="1960s"),
    says("6922 45€ 1968", "6922", era="1960s"),
    says("EF86 US$ 7.50 ea, lot of 12", "EF86", qty=12),
    # years, decades, date codes
    says("Type 80 rectifier 1940s", "80", era="1940s"),
    says("6SN7GT early 50's", "6SN7GT", era="1950s"),
    says("6SN7GT late 1940s", "6SN7GT", era="1940s"),
    says("12AU7 '57", "12AU7", era="1950s"),
    says("12AU7 fifties production", "12AU7", era="1950s"),
    says("ECC81 60er Jahre", "ECC81", era="1960s"),
    says("5814A date code 6-53", "5814A", era="1950s"),
    says("5814A dated 12/57 JAN", "5814A", era="1950s"),
    says("6922 1962-1965", "6922", era="1960s"),
    says("6922 1968-71", "6922", doubts="era"),
    says("5U4G 1957?", "5U4G", doubts="era"),
    says("5U4G circa 1960", "5U4G", doubts="era"),
    says("EL34 1950s style", "EL34", doubts="era"),
    says("KT66 1950s reissue", "KT66", doubts="era"),
    says("12AX7 1950s or 1960s", "12AX7", doubts="era"),
    says("6V6GT 1948 and 1961", "6V6GT", doubts="era"),
    says("6V6GT from a 1957 radio, pulled", "6V6GT", grade=PULLED, doubts="era"),
    says("6L6G wartime production", "6L6G", era="1940s"),
    says("6SL7GT WWII JAN", "6SL7GT", era="1940s"),
    says("6X4 family shop since 1952", "6X4"),
    says("6SN7GT 2001 new production", "6SN7GT", doubts="era"),
    says("EL84 lot of 2000", "EL84", qty=2000),
    says("EL84 1958 pcs in stock", "EL84", qty=1958),
    says("12AY7 gm 1960 umhos", "12AY7"),
    says("12AY7 tests 1950/2000", "12AY7"),
    says("6K6GT 1950 hours run", "6K6GT"),
    says("5Y3GT 6-53", "5Y3GT"),
    says("EF86 1963 grey shield NOS", "EF86", era="1960s", grade=NOS),
    says("807 1943 (1)", ""),
    # years, percentages and readings are not types
    says("1957 tube 6SN7GT", "6SN7GT", era="1950s"),
    says("80% tube type 6V6GT", "6V6GT", reading_pct=80),
    says("45 tubes 6SN7GT", "6SN7GT", qty=45),
    says("80 tubes EL84 job lot", "EL84", qty=80),
    says("EL84 tested 45 mA pair", "EL84", grade=GOOD, set_size=2),
    says("6SL7GT tests 5751 umhos", "6SL7GT"),
    says("12AX7 100% NOS", "12AX7", grade=NOS, doubts="reading_pct"),
    says("12AX7 tests 100% NOS", "12AX7", reading_pct=100, grade=NOS),
    says("12AX7 100% original", "12AX7"),
    says("12AX7 100% genuine NOS", "12AX7", grade=NOS),
    says("12AX7 10% off", "12AX7"),
    says("EL34 quad matched within 5%", "EL34", set_size=4, matched="yes"),
    says("EL34 pair 5% matched", "EL34", set_size=2, matched="yes"),
    says("12AT7 tests 92%", "12AT7", reading_pct=92),
    says("12AT7 over 90%", "12AT7", doubts="reading_pct"),
    says("12AT7 95+%", "12AT7", doubts="reading_pct"),
    says("12AT7 min. 80% emission", "12AT7", doubts="reading_pct"),
    says("12AT7 pair 95% and 98%", "12AT7", set_size=2, doubts="reading_pct"),
    says("12AT7 tests 95/98", "12AT7", reading_pct=96.5),
    says("12AT7 tests 95", "12AT7", doubts="reading_pct"),
    says("12AT7 95% / 98%", "12AT7", reading_pct=96.5),
    says("12AT7 70%?", "12AT7", doubts="reading_pct"),
    says("6DJ8 tested 102% of nominal", "6DJ8", grade=STRONG, reading_pct=102),
    says("6DJ8 used 58%", "6DJ8", grade=WEAK, reading_pct=58),
    says("6DJ8 used 74 %", "6DJ8", grade=GOOD, reading_pct=74),
    says("6DJ8 plus 19% VAT", "6DJ8"),
    says("5881 Emission 83%", "5881", reading_pct=83),
    says("6550 100% positive feedback seller", "6550"),
    # types in odd forms, several types, types that are only mentioned
    says("2x12AX7", "12AX7", qty=2),
    says("EL84x4", "EL84", qty=4),
    says("12AX7 x 2", "12AX7", qty=2),
    says("211 transmitting tube pair", ""),
    says("Tube 45 globe", "45", variant="globe"),
    says("type 10 tube NOS", "10", grade=NOS),
    says("6.00E+05 magic eye", "6E5"),
    says("600000", "6E5"),
    says("600000 magic eye 1940s", "6E5", era="1940s"),
    says("5751 (sub for 12AX7)", "5751"),
    says("7308 replaces 6922", "7308"),
    says("5881 upgrade for 6L6GC", "5881"),
    says("5U4GB instead of 5U4G", "5U4GB"),
    says("ECC83 / 12AX7 / CV4004", "ECC83"),
    says("6SN7GTA/GTB", "6SN7GTA/GTB"),
    says("JAN 5814A", "5814A"),
    says("12 AX 7 black plate", "12AX7", variant="black plates"),
    says("e88cc gold pin", "E88CC", variant="gold pins"),
    says("KT-88 boxed", "KT88"),
    says("6SN7 GT chrome top", "6SN7GT"),
    says("Röhre EL84 neuwertig alt", "EL84", grade=NOS),
    says("Lampe ECC83 neuf ancien stock", "ECC83", grade=NOS),
    says("valvola EL34 usata buona", "EL34", grade=GOOD),
    says("buis ECC82 gebruikt goed", "ECC82", grade=GOOD),
    says("válvula 6V6GT usada", "6V6GT", grade=GOOD),
    # makers and brands
    says("Varnoseth KT88 1972 95%", "KT88", maker="Varnoseth", era="1970s", reading_pct=95),
    says("VARNOSETH KT88", "KT88", maker="Varnoseth"),
    says("KT88 by Varnoseth", "KT88", maker="Varnoseth"),
    says("KT88 made by Luskarn", "KT88", maker="Luskarn"),
    says("Tivenshaw EL34 quad", "EL34", brand="Tivenshaw", set_size=4),
    says("Tivenshaw EL34 made by Luskarn", "EL34", maker="Luskarn", brand="Tivenshaw"),
    says("Luskarn EL34 branded Tivenshaw", "EL34", maker="Luskarn", brand="Tivenshaw"),
    says("EL34 Tivenshaw label", "EL34", brand="Tivenshaw"),
    says("EL34 Varnoseth label", "EL34", brand="Varnoseth"),
    says("EL34 Luskarn made for Tivenshaw", "EL34", maker="Luskarn", brand="Tivenshaw"),
    says("Haldrune 12AX7", "12AX7", maker="Haldrune", brand="Haldrune"),
    says("Ostrelk 12AX7", "12AX7", brand="Ostrelk", doubts="maker"),
    says("Ostrelk 12AX7 made by Ostrelk", "12AX7", maker="Ostrelk", brand="Ostrelk"),
    says("Varnoseth? 6SN7GT", "6SN7GT", doubts="maker brand"),
    says("6SN7GT possibly Varnoseth", "6SN7GT", doubts="maker brand"),
    says("6SN7GT Varnoseth style", "6SN7GT", doubts="maker brand"),
    says("6SN7GT like Varnoseth", "6SN7GT", doubts="maker brand"),
    says("6SN7GT for Varnoseth amps", "6SN7GT", doubts="maker brand"),
    says("6SN7GT not Varnoseth", "6SN7GT", doubts="maker brand"),
    says("Varnoseth / Luskarn 6SN7GT pair", "6SN7GT", set_size=2, doubts="maker"),
    says("Old Skarn Works 5U4G", "5U4G", maker="Old Skarn Works"),
    says("old skarn works. 5U4G", "5U4G", maker="Old Skarn Works"),
    says("Brumwick 5U4G", "5U4G"),
    says("5U4G Varnosethia", "5U4G"),
    says("Luskarns 5U4G", "5U4G"),
    says("Nimbrade (Haldrune logo) 6V6GT", "6V6GT", maker="Nimbrade", brand="Haldrune"),
    # construction
    says("EL34 metal base 1955", "EL34", era="1950s", variant="metal base"),
    says("EL34 brown base, double D getter", "EL34", variant="brown base, double D getter"),
    says("12AX7 long plates, square getter", "12AX7", variant="long plates, square getter"),
    says("12AX7 short plates NOS", "12AX7", variant="short plates", grade=NOS),
    says("12AX7 short plate, tests good", "12AX7", variant="short plates", grade=GOOD),
    says("12AX7 long plate?", "12AX7", doubts="variant"),
    says("12AX7 not black plate", "12AX7", doubts="variant"),
    says("12AX7 grey plate d-getter", "12AX7", variant="grey plates, D getter"),
    says("12AX7 gray plates halo getter", "12AX7", variant="grey plates, O getter"),
    says("6V6GT smoked glass", "6V6GT", variant="smoked glass"),
    says("6V6GT black glass bottom getter", "6V6GT", variant="black glass, bottom getter"),
    says("2A3 spring top", "2A3", variant="spring top"),
    says("5692 brown base", "5692", variant="brown base"),
    says("ECC83 lange Anode 50er", "ECC83", era="1950s", variant="long plates"),
    says("ECC83 plaques grises", "ECC83", variant="grey plates"),
    says("5881 plates are clean", "5881"),
    # grades that are not grades
    says("12AX7 low noise", "12AX7"),
    says("12AX7 dead quiet", "12AX7"),
    says("12AX7 low microphonics NOS", "12AX7", grade=NOS),
    says("12AX7 no shorts tests strong", "12AX7", grade=STRONG),
    says("12AX7 not gassy, used", "12AX7", grade=GOOD),
    says("12AX7 weak print, NOS", "12AX7", grade=NOS),
    says("12AX7 worn label tested good", "12AX7", grade=GOOD),
    says("12AX7 box damaged, NOS", "12AX7", grade=NOS),
    says("12AX7 ex military", "12AX7"),
    says("12AX7 good price", "12AX7"),
    says("12AX7 not NOS", "12AX7", doubts="grade"),
    says("12AX7 maybe NOS", "12AX7", doubts="grade"),
    says("12AX7 new", "12AX7", doubts="grade"),
    says("12AX7 like new", "12AX7", grade=STRONG),
    says("12AX7 almost NOS", "12AX7", grade=STRONG),
    says("12AX7 ANOS", "12AX7", grade=STRONG),
    says("12AX7 never used", "12AX7", grade=NOS),
    says("12AX7 untested", "12AX7", grade=PULLED),
    says("12AX7 not tested", "12AX7", grade=PULLED),
    says("12AX7 for parts only", "12AX7", grade=PARTS),
    says("12AX7 defekt", "12AX7", grade=PARTS),
    says("12AX7 tests weak", "12AX7", grade=WEAK),
    says("12AX7 tests weak and strong", "12AX7", doubts="grade"),
    says("12AX7 NOS used", "12AX7", doubts="grade"),
    says("12AX7 NOS white box", "12AX7", grade=NOS),
    says("12AX7 new in box", "12AX7", grade=BOXED),
    says("12AX7 OVP", "12AX7", grade=BOXED),
    says("12AX7 pulls from working equipment", "12AX7", grade=PULLED),
    # how many
    says("EL84 quad", "EL84", set_size=4),
    says("EL84 matched quad (4)", "EL84", set_size=4, matched="yes"),
    says("EL84 set of 4", "EL84", set_size=4),
    says("EL84 2 sets of 4", "EL84", set_size=4, qty=2),
    says("EL84 3 pairs", "EL84", set_size=2, qty=3),
    says("EL84 pair (2)", "EL84", set_size=2),
    says("2x EL84 matched pair", "EL84", set_size=2, matched="yes"),
    says("4x EL84 quad", "EL84", set_size=4),
    says("10x EL84 matched pairs", "EL84", doubts="set_size"),
    says("lot of 10 EL84 (5 pairs)", "EL84", set_size=2, qty=5),
    says("EL84 pair lot of 12", "EL84", set_size=2, qty=6),
    says("lot 300 EL84", "EL84", doubts="set_size"),
    says("EL84 box 12", "EL84", doubts="set_size"),
    says("EL84 box of 5", "EL84", qty=5),
    says("EL84 sleeve of 5", "EL84", qty=5),
    says("EL84 5 pcs", "EL84", qty=5),
    says("EL84 10 Stück", "EL84", qty=10),
    says("EL84 Paar gematcht", "EL84", set_size=2, matched="yes"),
    says("EL84 paire appariée", "EL84", set_size=2, matched="yes"),
    says("EL84 coppia selezionata", "EL84", set_size=2, matched="yes"),
    says("EL84 one of a pair", "EL84", doubts="set_size"),
    says("EL84 makes a pair", "EL84", doubts="set_size"),
    says("EL84 pair?", "EL84", doubts="set_size"),
    says("EL84 unmatched pair", "EL84", set_size=2),
    says("EL84 near matched pair", "EL84", set_size=2, doubts="matched"),
    says("EL84 matched", "EL84", matched="yes", doubts="set_size"),
    says("12AX7 matched triodes", "12AX7"),
    says("12AX7 sections matched NOS", "12AX7", grade=NOS),
    says("two EL84", "EL84", doubts="set_size"),
    says("EL84 dozen NOS", "EL84", grade=NOS, doubts="set_size"),
    says("vintage EL84 power tube in its carton with two (2) stickers", "EL84"),
    says("EL84 10 available", "EL84"),
    says("EL84 sextet", "EL84", set_size=6),
    says("EL84 octet matched", "EL84", set_size=8, matched="yes"),
    says("EL84 single", "EL84"),
    says("trio of EL84", "EL84", set_size=3),
    says("EL84 qty 8", "EL84", qty=8),
    says("EL84 for push-pull pair", "EL84", set_size=2),
    # a range is no reading, and what is said of one of them is not said of the set
    says("EL84 6BQ5 quad, 95-102%", "EL84", set_size=4, doubts="reading_pct"),
    says("6SN7GTB pair, one weak", "6SN7GTB", set_size=2, doubts="grade"),
    says("KT88 quad, one tests strong", "KT88", set_size=4, doubts="grade"),
    # as found in listings, read by hand before the reader saw them
    says("Luskarn ECC81 12AT7 Foil Getter 1960's Used Good", "ECC81", maker="Luskarn", era="1960s",
         variant="foil getter",
         grade=GOOD),
    says("5814A Triple Mica JAN 1958 NOS/NIB x4", "5814A", era="1950s", grade=BOXED, qty=4),
    says("Vintage Nimbrade 6L6GC Black Plates Matched Quad Test Strong 100+%", "6L6GC", maker="Nimbrade", set_size=4,
         variant="black plates", grade=STRONG, matched="yes", doubts="reading_pct"),
    says("Lot of (25) 6V6GT used tested good", "6V6GT", grade=GOOD, qty=25),
    says("EL34 xf2 matched pair welded plates double getter", "EL34", set_size=2, matched="yes"),
    says("E88CC gold pin, pinched waist, 1959, test 110/105%", "E88CC", era="1950s", variant="gold pins",
         reading_pct=107.5),
    says("300B matched pair serial 1956 & 1957", "300B", set_size=2, matched="yes"),
    says("6550 tube, 4 pcs, pulled from working amp", "6550", grade=PULLED, qty=4),
    says("Röhren EL84 4 Stück Luskarn gebraucht geprüft 90%", "EL84", maker="Luskarn", grade=STRONG, reading_pct=90,
         qty=4),
    says("4 x KT66 Wexmarrow grey glass 1956 OK", "KT66", maker="Wexmarrow", era="1950s", variant="smoked glass",
         grade=GOOD, qty=4),
    says("6922 Varnoseth $89.99 NOS gold pin 1967", "6922", maker="Varnoseth", era="1960s", variant="gold pins",
         grade=NOS),
    says("6X5GT only 1 left NOS", "6X5GT", grade=NOS),
    says("Quad EL34 Varnoseth - tested on bridge at 36mA 37mA 36mA 38mA", "EL34", maker="Varnoseth", grade=GOOD,
         set_size=4),
    says("6П3С-Е 4шт 1978 NOS", "6P3S-E", era="1970s", grade=NOS, qty=4),
    says("6Н1П-ЕВ лот 20 шт", "6N1P-EV", doubts="set_size"),
    says("EL84 used, 75%, 80%, 82%, 90%", "EL84", grade=GOOD, doubts="reading_pct"),
    says("12AX7 Haldrune (made by Luskarn) 50s long plate", "12AX7", maker="Luskarn", brand="Haldrune", era="1950s",
         variant="long plates"),
    says("Wexmarrow 7025 low noise version of 12AX7", "7025", maker="Wexmarrow"),
    says("10 EL84 tubes", "EL84", doubts="set_size"),
    says("4 KT66", "KT66", doubts="set_size"),
    says("Varnoseth branded Nimbrade EL84", "EL84", doubts="brand"),
    says("6V6GT 60% used pair of 2", "6V6GT", grade=WEAK, reading_pct=60, set_size=2),
]

# (text, what it says) of the parts a title is put together from; None ends what is written without the part.
MAKERS = [("Varnoseth", {"maker": "Varnoseth"}), ("LUSKARN", {"maker": "Luskarn"}), ("nimbrade", {"maker": "Nimbrade"}),
          ("by Wexmarrow", {"maker": "Wexmarrow"}), ("Tivenshaw", {"brand": "Tivenshaw"}),
          ("Haldrune", {"maker": "Haldrune", "brand": "Haldrune"}), ("made by Luskarn", {"maker": "Luskarn"}),
          ("Varnoseth ?", {"doubts": "maker brand"}), ("", {}), ("", {})]
TYPES = [("12AX7", "12AX7"), ("ECC83/12AX7", "ECC83"), ("6SN7GT", "6SN7GT"), ("6Н8С", "6N8S"), ("EL84 (6BQ5)", "EL84"),
         ("el34", "EL34"), ("KT-66", "KT66"), ("5U4GB", "5U4GB"), ("5AR4/GZ34", "5AR4"), ("6V6 GT", "6V6GT"),
         ("JAN 5751", "5751"), ("CV4003", "CV4003"), ("EF 86", "EF86"), ("6L6GC", "6L6GC"), ("6Н2П", "6N2P"),
         ("300B", "300B"), ("E88CC-6922", "E88CC"), ("OA2", "0A2"), ("6П14П", "6P14P"), ("5881", "5881")]
ERAS = [("1957", "1950s"), ("1960s", "1960s"), ("50's", "1950s"), ("late 60s", "1960s"), ("early 1970's", "1970s"),
        ("'72", "1970s"), ("1983", "1980s"), ("70er Jahre", "1970s"), ("dated 4-65", "1960s"), ("mid-50s", "1950s"),
        ("1948-49", "1940s"), ("", ""), ("", ""), ("ca. 1960", None)]
VARIANTS = [("black plate", "black plates"), ("long plates", "long plates"), ("gold pins", "gold pins"),
            ("D-getter", "D getter"), ("smoked glass", "smoked glass"), ("Graue Anode", "grey plates"),
            ("foil getter", "foil getter"), ("short plate", "short plates"), ("", ""), ("", ""), ("side getter?", None)]
GRADES = [("NOS", NOS), ("NIB", BOXED), ("N.O.S. boxed", BOXED), ("tests strong", STRONG), ("used, tests good", GOOD),
          ("pulled", PULLED), ("tested weak", WEAK), ("gebraucht", GOOD), ("dead", PARTS), ("", ""), ("", ""),
          ("NOS?", None)]
READINGS = [("tests at 96%", 96), ("tstd 88/92%", 90), ("105%", 105), ("78 %", 78), ("", ""), ("", ""), ("", ""),
            ("90% or better?", None), ("55/60 %", 57.5)]
PIECES = [("matched pair", {"set_size": 2, "matched": "yes"}), ("MQ", {"set_size": 4, "matched": "yes"}),
          ("quad", {"set_size": 4}), ("pr.", {"set_size": 2}), ("(2)", {"set_size": 2}), ("lot of 12", {"qty": 12}),
          ("3 pairs", {"set_size": 2, "qty": 3}), ("6 pcs", {"qty": 6}), ("set of 3", {"set_size": 3}), ("", {}),
          ("", {}), ("", {}), ("trio", {"set_size": 3}), ("pair?", {"doubts": "set_size"})]
PRICES = ["", "", "", "€45", "$1950", "120,- €", "30 each", "£25 ea", "EUR 64,50"]
CHATTER = ["", "", "vintage", "audio tube", "rare!", "free shipping", "no box", "low noise", "L@@K", "great sound",
           "ham radio", "from estate", "tube amp", "hi-fi"]


def composed(count, seed):
    """`count` different titles put together at random, the words after maker and type in any order."""
    random_ = random.Random(seed)
    lines = {}
    while len(lines) < count:
        line = {"doubts": ""}
        maker, says_maker = random_.choice(MAKERS)
        type_, line["type"] = random_.choice(TYPES)
        words = [random_.choice(CHATTER), random_.choice(PRICES)]
        pieces, says_pieces = random_.choice(PIECES)
        doubts = [says_maker.get("doubts", ""), says_pieces.get("doubts", "")]
        line |= {**says_maker, **says_pieces}
        words.append(pieces)
        for column, parts in (("era", ERAS), ("variant", VARIANTS), ("grade", GRADES), ("reading_pct", READINGS)):
            word, met = random_.choice(parts)
            words.append(word)
            line[column] = met or ""
            doubts += [column] if met is None else []
        # a bare "used", and "tstd", are graded by the reading beside them (common practice, no source)
        if line["reading_pct"] and ("gebraucht" in words or "tstd 88/92%" in words and not line["grade"]
                                    and "NOS?" not in words):
            line["grade"] = STRONG if line["reading_pct"] >= 80 else GOOD if line["reading_pct"] >= 65 else WEAK
        random_.shuffle(words)
        head = [maker, type_] if random_.random() < 0.7 or not maker else [type_, maker]
        mark = random_.choice([" ", " ", ", ", " - ", " / "])
        title = mark.join([" ".join(filter(None, head)), *filter(None, words)])
        line["doubts"] = " ".join(filter(None, doubts))
        lines.setdefault(title, {"title": title} | line)
    return list(lines.values())


def write(path):
    """The table at `path`."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, ["title", *FIELDS], restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(BY_HAND + composed(320, seed=7))


if __name__ == "__main__":
    write(Path(__file__).with_name("messy_titles.csv"))
