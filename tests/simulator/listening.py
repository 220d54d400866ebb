"""Listening notes of a simulated shop: listeners of different strictness who do not all hear the same tubes.

Every item (type, maker, era) has a true quality; who hears what, and in which amplifier, is uneven, so that an item's
plain average depends on who happened to listen. Every name but the eras is invented.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

ASPECTS = {"warmth": 0.3, "clarity": 0.45, "quiet": 0.25}
STANDARD_DEVIATIONS = {
    "type": 0.4, "maker": 0.5, "item": 0.5, "listener": 0.9, "system": 0.6, "listener x system": 0.3,
    "aspect": 0.4,  # of an item's aspect about its quality
    "note": 0.7,    # of a whole note; each aspect adds its own
    "aspect of a note": 0.8,
}
UNEVEN = 0.8  # log standard deviation of how often a listener hears an item, and uses a system
PRICE_SD = 0.5
PRICE_KNOWN_WITHIN = 0.08  # log standard deviation of the prices told to the shop


@dataclass(frozen=True)
class Listening:
    """notes : raw Listening rows; items : canonical_type, maker, era, quality (weighted by ASPECTS, on the scale of the
    scores), log_price (true), log_told (as a price model has it, within PRICE_KNOWN_WITHIN)."""

    notes: pd.DataFrame
    items: pd.DataFrame


def simulate_listening(n_notes: int, seed: int, *, n_items: int = 60, n_types: int = 10, n_makers: int = 10,
                       n_listeners: int = 6, n_systems: int = 5, sd: dict[str, float] | None = None) -> Listening:
    """`n_notes` notes of `n_items` items; every type can be heard in about half of the systems."""
    rng = np.random.default_rng(seed)
    sd = STANDARD_DEVIATIONS | (sd or {})
    place = rng.choice(n_types * n_makers * 3, n_items, replace=False)
    kind, maker, era = place // (3 * n_makers), place // 3 % n_makers, place % 3
    quality = (6 + rng.normal(0, sd["type"], n_types)[kind] + rng.normal(0, sd["maker"], n_makers)[maker]
               + rng.normal(0, sd["item"], n_items))
    weights = np.array(list(ASPECTS.values()))
    aspects = quality[:, None] + rng.normal(0, sd["aspect"], (n_items, len(weights)))
    quality = aspects @ weights
    log_price = 3 + rng.normal(0, 0.4, n_types)[kind] + 0.15 * (quality - 6) + rng.normal(0, PRICE_SD, n_items)
    items = pd.DataFrame({
        "canonical_type": [f"T{one + 1:02d}" for one in kind], "maker": [f"maker {chr(65 + one)}" for one in maker],
        "era": np.array(["1950s", "1960s", "1970s"])[era], "quality": quality, "log_price": log_price,
        "log_told": log_price + rng.normal(0, PRICE_KNOWN_WITHIN, n_items),
    })

    fits = rng.random((n_types, n_systems)) < 0.5
    fits[np.arange(n_types), rng.integers(n_systems, size=n_types)] = True
    strictness, room = rng.normal(0, sd["listener"], n_listeners), rng.normal(0, sd["system"], n_systems)
    taste = rng.normal(0, sd["listener x system"], (n_listeners, n_systems))
    hears = np.exp(rng.normal(0, UNEVEN, (n_listeners, n_items)))
    uses = np.exp(rng.normal(0, UNEVEN, (n_listeners, n_systems)))
    who = rng.integers(n_listeners, size=n_notes)
    rows = []
    for listener in who:
        item = rng.choice(n_items, p=hears[listener] / hears[listener].sum())
        chance = uses[listener] * fits[kind[item]]
        system = rng.choice(n_systems, p=chance / chance.sum())
        heard = (aspects[item] + strictness[listener] + room[system] + taste[listener, system]
                 + rng.normal(0, sd["note"]) + rng.normal(0, sd["aspect of a note"], len(weights)))
        one = items.iloc[item]
        rows.append((one["canonical_type"], one["maker"], one["era"], f"amplifier {system + 1}",
                     f"listener {listener + 1}", *np.clip(np.round(2 * heard) / 2, 0, 10)))
    notes = pd.DataFrame(rows, columns=["type", "maker", "era", "system", "listener", *ASPECTS])
    return Listening(notes, items)
