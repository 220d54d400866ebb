"""How soon this shop's pieces sell at their asks, and what that says of the fair prices its sales teach.

What is learnt gives the hazard of a sale by log(ask / fair): `evidence.hazard.median_days(rho)` and `rho_of(days)`
serve any decision that weighs price against time, as `best_ask` does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from pricing.decisions.listing_history import listing_spells
from pricing.price_model.unsold_asks import AskEvidence, fair_given_asks, learn_from_asks

# A change is put into words from this size on, and when its 80 % range leaves the fair price out.
WORTH_SAYING_PCT = 5.0
# Ranges are made this much wider than the normal posterior's, as pieces and owners' moods have heavier tails: a choice
# made on the simulated shops of `tests/benchmarks/unsold.py`, where an 80 % range held .73 with 1.2.
WIDENING = 1.4
SUGGESTION_COLUMNS = ("fair_given_asks", "given_asks_low", "given_asks_high", "asks_change_pct", "asks_words")


@dataclass(frozen=True)
class UnsoldSuggestions:
    """`by_piece`: SUGGESTION_COLUMNS on the stock's index, blank where no listing tells anything; `evidence` what was
    learnt, None where nothing was; `words` what was learnt, or why nothing could be."""

    by_piece: pd.DataFrame
    evidence: AskEvidence | None
    words: str


def unsold_suggestions(
    model: Any, stock: pd.DataFrame, shop: Any, reference_days: float | None = None,
    spells: pd.DataFrame | None = None,
) -> UnsoldSuggestions:
    """Fair prices given sold and unsold asks as well, beside the model's own, which stay as they are.

    `fair_given_asks`: the ask, a set, at which the piece would sell at the shop's usual pace (within `reference_days`
    in half the cases, when given), with its 80 % range; `asks_change_pct`: against the model's fair price. What the
    piece's own ask says of it, how soon its type sold and how long it has stood are weighed as in
    `price_model.unsold_asks`. `spells` as of `listing_spells`, made here when not given.
    """
    blank = pd.DataFrame(np.nan, index=stock.index, columns=list(SUGGESTION_COLUMNS[:-1])).assign(asks_words="")
    spells = listing_spells(stock, shop, model.as_of) if spells is None else spells
    evidence = learn_from_asks(model, spells)
    if isinstance(evidence, str):
        return UnsoldSuggestions(blank, None, f"Unsold asks: {evidence}.")
    by_piece, by_type = fair_given_asks(model, spells, evidence, reference_days)
    quote = model.estimate(stock)
    z = stats.norm.ppf(0.9)
    model_sd = np.log(quote["fair_high"] / quote["fair_low"]) / (2 * z)
    change = stock["sku"].map(by_piece["log_change"]).fillna(stock["canonical_type"].map(by_type))
    sd = (stock["sku"].map(by_piece["sd"]) * WIDENING).fillna(model_sd)
    centre = np.log(quote["fair_price"]) + change
    pct = np.expm1(change) * 100
    clear = (np.abs(change) > z * sd) & (np.abs(pct) >= WORTH_SAYING_PCT)
    words = [f"asks and days listed suggest {abs(p):.0f} % {'higher' if p > 0 else 'lower'}" if said else ""
             for p, said in zip(pct, clear)]
    found = pd.DataFrame({
        "fair_given_asks": np.exp(centre), "given_asks_low": np.exp(centre - z * sd),
        "given_asks_high": np.exp(centre + z * sd), "asks_change_pct": pct, "asks_words": words,
    }, index=stock.index)
    return UnsoldSuggestions(found, evidence, evidence_in_words(evidence))


def evidence_in_words(evidence: AskEvidence) -> str:
    """For example: 1,476 asks that sold and 920 that did not: half the pieces asked at the fair price sell within 90
    days, at 10 % above it within 140."""
    hazard = evidence.hazard
    fair, above = (float(hazard.median_days(rho)) for rho in (0.0, np.log(1.1)))
    return (f"{evidence.n_sold:,} asks that sold and {evidence.n_unsold:,} that did not: half the pieces asked at "
            f"the fair price sell within {fair:,.0f} days, at 10 % above it within {above:,.0f}.")
