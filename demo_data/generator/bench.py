"""What was measured, heard and offered: readings of single pieces, listening notes, offers from sellers."""

from __future__ import annotations

import numpy as np
import pandas as pd

from generator.catalogue import ALL_KINDS, FAMILIES, KINDS, MAKERS, MAKERS_NEVER_SOLD
from generator.handwriting import Sheet, Spelled, one_of, spell_price, spell_type
from generator.trade import MATCHING_GROUPS, MATCHING_PIECES, SOLD_MAKERS, Holding, like_an_owner
from generator.truth import LAST_DAY, TESTERS, Piece, Truth, draw_piece, generator, log_fair

READINGS_COLUMNS = "sku tested_on tester test section value nominal volts".split()
OFFERS_COLUMNS = (
    "offer seller type maker brand era variant grade reading_pct tester set_size qty ask currency postage "
    "seen_on note"
).split()
LISTENING_COLUMNS = (
    "heard_on type maker era variant system position listener warmth clarity quiet note".split()
)

# nominal mutual conductance in mA/V and plate volts of the bench's test, about the middle of each family
# (from memory)
NOMINAL_GM = {
    "12AX7 kin": (1.6, 250),
    "12AU7 kin": (2.2, 250),
    "12AT7 kin": (5.5, 250),
    "ECC88 kin": (12.5, 90),
    "EL84 kin": (11.3, 250),
    "6V6 kin": (4.1, 250),
    "6L6 kin": (6.0, 250),
    "EL34 kin": (11.0, 250),
    "KT88 kin": (11.0, 250),
    "directly heated triodes": (5.3, 250),
    "octal dual triodes": (2.6, 250),
    "other": (5.0, 200),
}
NOMINAL_MA = {"EL84": 48.0, "6L6GC": 72.0, "6V6GT": 45.0}
BENCH_SCALE = {"bench A": 1.0, "bench B": 1.10}  # each tester has its own nominal, in its own units
RETESTS = {  # test and first tester: where so many pieces were tested again; nobody tried emission on bench C
    ("gm", "bench A"): ("bench B",) * 12 + ("bench C",) * 6,
    ("gm", "bench B"): ("bench A",) * 12,
    ("emission", "bench A"): ("bench B",) * 5,
}
EIGHT_MA = (44.0, 45.1, 46.0, 46.3, 47.9, 48.2, 48.4, 51.0)  # plate currents of the first group of eight

SYSTEMS = {  # amplifier: position and type it was heard in
    "Murgle Ten": (("V1", "12AX7"), ("V2", "EL84")),
    "Trundlow Thirty": (("V1", "12AX7"), ("V2", "12AU7"), ("V3", "6L6GC"), ("V5", "5AR4")),
    "Perrigosh Single": (("V1", "6SN7GT"), ("V2", "6V6GT")),
    "Nackering Line": (("V1", "12AU7"), ("V2", "12AX7"), ("V3", "6SN7GT")),
}
LISTENERS = ("listener A", "listener B", "listener C", "listener D", "listener E")
ASPECTS = {"warmth": 0.30, "clarity": 0.45, "quiet": 0.25}


def write_readings(holdings: list[Holding]) -> Sheet:
    """Readings of several hundred pieces, both sections of dual tubes, and groups measured for matching."""
    rng = generator("readings")
    sheet = Sheet("Readings", READINGS_COLUMNS)
    for holding in holdings[:-MATCHING_PIECES]:
        if holding.piece.reading_pct is not None and rng.random() < 0.85:
            _read_piece(rng, sheet, holding)
    _read_groups(rng, sheet, holdings[-MATCHING_PIECES:])
    _read_again(sheet, {holding.sku for holding in holdings[:-MATCHING_PIECES]})
    return sheet


def _read_again(sheet: Sheet, skus: set[str]) -> None:
    """Pieces tested a second time, on another tester: from a stream of their own, so that nothing else changes."""
    rng = generator("retests")
    first: dict[str, list[dict]] = {}
    for row in sheet.rows:
        if row["test"] in ("gm", "emission") and row["sku"] in skus:
            first.setdefault(row["sku"], []).append(row)
    for at_first, others in RETESTS.items():
        tester = at_first[1]
        own = [sku for sku, rows in first.items() if (rows[0]["test"], rows[0]["tester"]) == at_first]
        for sku, other in zip(rng.choice(own, len(others), replace=False), others):
            again = rng.normal(0, 0.03)  # the setting of the day, shared by the sections
            day = pd.Timestamp(first[sku][0]["tested_on"]) + pd.Timedelta(days=int(rng.integers(1, 60)))
            for row in first[sku]:
                nominal = float(row["nominal"])
                share = float(str(row["value"]).replace(",", ".")) / nominal * TESTERS[other] / TESTERS[tester]
                if row["test"] == "gm":
                    nominal = round(nominal * BENCH_SCALE.get(other, 1.0) / BENCH_SCALE[tester], 2)
                value = nominal * share * np.exp(again + rng.normal(0, 0.015))
                sheet.write(row | {"tester": other, "tested_on": min(LAST_DAY, day), "nominal": nominal,
                                   "value": round(float(value), 2 if row["test"] == "gm" else 0)})


def _read_piece(rng, sheet: Sheet, holding: Holding) -> None:
    family = holding.piece.family
    tester = one_of(rng, tuple(BENCH_SCALE))
    row = {
        "sku": holding.sku,
        "tester": tester,
        "tested_on": min(LAST_DAY, holding.acquired_on + pd.Timedelta(days=int(rng.integers(0, 20)))),
    }
    if family == "rectifiers":
        test, nominal, volts = "emission", 100.0, None
    else:
        (gm, volts), test = NOMINAL_GM[family], "gm"
        nominal = round(gm * BENCH_SCALE[tester], 2)
    for section in range(1, FAMILIES[family].sections + 1):
        value = round(
            nominal * holding.piece.reading_pct / 100 * TESTERS[tester] * np.exp(rng.normal(0, 0.04)),
            0 if test == "emission" else 2,
        )
        cells = {}
        if rng.random() < 0.04 and test == "gm":
            typed = f"{value:.2f}".replace(".", ",")
            cells["value"] = Spelled(
                typed, "decimal comma", {"value": f"{value:.2f}".rstrip("0").rstrip(".")}
            )
        sheet.write(
            row
            | {
                "test": test,
                "section": section if FAMILIES[family].sections > 1 else None,
                "value": value,
                "nominal": nominal,
                "volts": volts,
            },
            cells,
        )
    if FAMILIES[family].sections == 1 and rng.random() < 0.35:
        sheet.write(row | {"test": "gas", "value": round(float(rng.exponential(0.8)), 1), "volts": volts})
    if family in ("12AX7 kin", "ECC88 kin") and rng.random() < 0.3:
        sheet.write(row | {"test": "noise", "value": round(float(rng.gamma(3, 0.5)), 1)})
    if rng.random() < 0.08:
        sheet.write(row | {"test": "leakage", "value": round(float(rng.exponential(1.5)), 1)})


def _read_groups(rng, sheet: Sheet, holdings: list[Holding]) -> None:
    pieces = iter(holdings)
    for group, (canonical, _, _, _, count) in enumerate(MATCHING_GROUPS):
        nominal_ma, (nominal_gm, volts) = NOMINAL_MA[canonical], NOMINAL_GM[ALL_KINDS[canonical].family]
        currents = (
            EIGHT_MA if group == 0 else np.round(nominal_ma * np.exp(rng.normal(-0.02, 0.06, count)), 1)
        )
        for current in currents:
            holding = next(pieces)
            row = {
                "sku": holding.sku,
                "tester": "bench A",
                "tested_on": LAST_DAY - pd.Timedelta(days=20),
                "volts": volts,
            }
            gm = nominal_gm * np.exp(0.6 * np.log(current / nominal_ma) + rng.normal(0, 0.03))
            sheet.write(row | {"test": "plate current", "value": float(current), "nominal": nominal_ma})
            sheet.write(row | {"test": "gm", "value": round(float(gm), 2), "nominal": nominal_gm})


def write_listening(truth: Truth) -> tuple[Sheet, pd.DataFrame]:
    """About 400 notes and the true quality of every item heard (scale 1 to 10, aspects weighed as in
    Settings).
    """
    rng = generator("listening")
    items = _items_heard(truth, rng)
    strictness = dict(zip(LISTENERS, rng.normal(0, 0.8, len(LISTENERS))))
    room = {name: rng.normal(0, 0.4) for name in SYSTEMS}
    taste = {(listener, name): rng.normal(0, 0.3) for listener in LISTENERS for name in SYSTEMS}
    chances = [
        (system, position, item)
        for system, places in SYSTEMS.items()
        for position, kind in places
        for item in items
        if item["canonical_type"] == kind
    ]
    sheet = Sheet("Listening", LISTENING_COLUMNS)
    for _ in range(400):
        system, position, item = chances[int(rng.integers(len(chances)))]
        listener = str(rng.choice(LISTENERS, p=[0.34, 0.24, 0.18, 0.14, 0.10]))
        lean = strictness[listener] + room[system] + taste[listener, system]
        scores = {
            aspect: float(np.clip(np.round(2 * (item[aspect] + lean + rng.normal(0, 0.9))) / 2, 1, 10))
            for aspect in ASPECTS
        }
        if rng.random() < 0.03:
            scores[one_of(rng, tuple(ASPECTS))] = None
        cells = {}
        aspect = one_of(rng, tuple(ASPECTS))
        if rng.random() < 0.015 and scores[aspect] is not None:
            cells[aspect] = Spelled(
                f"{scores[aspect]:.1f}".replace(".", ","), "decimal comma", {aspect: f"{scores[aspect]:g}"}
            )
        sheet.write(
            {
                "heard_on": LAST_DAY - pd.Timedelta(days=int(rng.integers(5, 900))),
                "type": item["type"],
                "maker": item["maker"],
                "era": item["era"],
                "system": system,
                "position": position,
                "listener": listener,
                "note": one_of(rng, ("", "", "", "a long evening", "compared twice", "hum in the room")),
            }
            | {name: None if score is None else f"{score:g}" for name, score in scores.items()},
            cells,
        )
    return sheet, pd.DataFrame(items).drop(columns="type")


def _items_heard(truth: Truth, rng) -> list[dict]:
    """Six makers of each type. Quality follows the log price a little (correlation near 0.3), the rest is its
    own.
    """
    items = []
    voice = {maker: rng.normal(0, 0.5) for maker in MAKERS}
    for canonical in sorted({kind for places in SYSTEMS.values() for _, kind in places}):
        makers = sorted(SOLD_MAKERS, key=lambda maker: -truth.makes[canonical, maker])[:6]
        for maker in makers:
            first, last = max(MAKERS[maker][0], ALL_KINDS[canonical].first_decade), MAKERS[maker][1]
            era = f"{int(np.clip(1950 + 10 * rng.integers(0, 3), first, last))}s"
            piece = Piece(
                canonical,
                ALL_KINDS[canonical].printed[0][0],
                maker,
                "unknown",
                era,
                "unknown",
                "new old stock",
                None,
                1,
                False,
            )
            dear = log_fair(truth, piece, LAST_DAY) - np.log(ALL_KINDS[canonical].price)
            centre = 6.0 + 0.5 * dear + voice[maker] + rng.normal(0, 0.5)
            aspects = {aspect: round(float(centre + rng.normal(0, 0.5)), 3) for aspect in ASPECTS}
            quality = sum(weight * aspects[aspect] for aspect, weight in ASPECTS.items())
            items.append(
                {
                    "type": piece.printed,
                    "canonical_type": canonical,
                    "maker": maker,
                    "era": era,
                    **aspects,
                    "quality": round(quality, 3),
                    "log_fair": round(dear + np.log(ALL_KINDS[canonical].price), 4),
                }
            )
    return items


def write_offers(truth: Truth, rates: pd.DataFrame) -> tuple[Sheet, pd.DataFrame]:
    """60 offers; about a quarter are asked far below the shop's fair price, and the truth says which."""
    rng = generator("offers")
    sheet = Sheet("Offers", OFFERS_COLUMNS)
    rate = rates.set_index("month").iloc[-1]
    weights = np.array([kind.weight for kind in KINDS])
    rows = []
    for number in range(1, 61):
        kind = KINDS[rng.choice(len(KINDS), p=weights / weights.sum())]
        makers = list(MAKERS_NEVER_SOLD) if number in (19, 44) and not kind.east else SOLD_MAKERS
        piece = draw_piece(truth, rng, kind, makers)
        seen_on = LAST_DAY - pd.Timedelta(days=int(rng.integers(0, 30)))
        fair = log_fair(truth, piece, seen_on)
        under = rng.random() < 0.25
        lean = rng.uniform(-0.95, -0.5) if under else rng.normal(0.05, 0.22)
        qty = int(rng.choice([1, 2, 4, 10], p=[0.75, 0.12, 0.08, 0.05])) if fair < np.log(80) else 1
        currency = str(rng.choice(["EUR", "USD", "GBP"], p=[0.75, 0.15, 0.10]))
        ask = like_an_owner(
            float(np.exp(fair + lean)) * qty / (1.0 if currency == "EUR" else float(rate[currency]))
        )
        offer = f"F{number:03d}"
        cells = {}
        if rng.random() < 0.12:
            price = spell_price(rng, ask, currency, piece.set_size, qty)
            cells["ask"] = Spelled(
                price.typed,
                price.kind,
                {("ask" if c == "price" else c): m for c, m in price.meant.items()},
                price.blank,
            )
        if rng.random() < 0.10:
            cells["type"] = spell_type(rng, piece.printed)
        row = sheet.write(
            {
                "offer": offer,
                "seller": f"seller {int(rng.integers(1, 16)):02d}",
                "type": piece.printed,
                "maker": piece.maker,
                "brand": piece.brand,
                "era": piece.era,
                "variant": piece.variant,
                "grade": piece.grade,
                "reading_pct": piece.reading_pct,
                "set_size": piece.set_size if piece.set_size > 1 else None,
                "qty": qty if qty > 1 else None,
                "ask": ask,
                "currency": currency if currency != "EUR" or rng.random() < 0.5 else None,
                "postage": float(one_of(rng, (0, 5, 8, 12, 18))),
                "seen_on": seen_on,
                "note": "matched" if piece.matched else None,
            },
            cells,
        )
        ratio = np.log(ask * (1.0 if currency == "EUR" else float(rate[currency])) / qty) - fair
        rows.append(
            {
                "row": row,
                "offer": offer,
                "log_fair": round(fair, 4),
                "log_ask_over_fair": round(float(ratio), 4),
                "under_priced": "yes" if under else "",
            }
        )
    return sheet, pd.DataFrame(rows)
