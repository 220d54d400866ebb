"""What a fixed-price shop's unsold asks mend in fair prices, on simulated shops with known truth.

Run: PYTHONPATH=tests python tests/benchmarks/unsold.py [shops]

The fair price of the truth is the ask at which a piece sells after 120 or 240 days on average, as the row says; the
price model is fitted to what sold. Errors are of the log fair price today over the pieces still unsold; .10 is 10 %.
"""

import sys

import numpy as np
import pandas as pd
from simulator.listings import simulate_listings

import pricing
from pricing.decisions.time_to_sale import WIDENING
from pricing.price_model.unsold_asks import fair_given_asks, learn_from_asks

FIRST_SEED = 201  # 1 was looked at while the method was made
BASE = dict(n_listings=1500, years=2.0, days_at_fair=240.0, ask_mean=0.1)
CASES = {
    "ordinary": {},
    "long history, few unsold": dict(years=6.0, days_at_fair=120.0, ask_mean=0.0),
    "asks scatter by .15": dict(ask_sd=0.15),
    "asks scatter by .40": dict(ask_sd=0.40),
    "eta 3": dict(eta=3.0),
    "eta 10": dict(eta=10.0),
    "no view of types": dict(type_share=0.0),
    "only views of types": dict(type_share=0.9),
    "400 listings": dict(n_listings=400),
    "a tenth by auction": dict(n_auctions=80),
}


def spells_of(shop) -> pd.DataFrame:
    """The listings of a simulated shop as spells."""
    until = shop.asks["until_date"].fillna(shop.as_of)
    return shop.stock.assign(piece=shop.stock["sku"], from_date=shop.asks["from_date"], ask=shop.asks["ask"],
                             days=(until - shop.asks["from_date"]).dt.days.clip(lower=0) + 0.5, channel="own site",
                             sold=shop.asks["outcome"] == "sold")


def measure(seed: int, **case) -> dict[str, float]:
    """Errors of one shop before and after, what was learnt, and how often the 80 % range holds the truth."""
    case = BASE | case
    shop = simulate_listings(seed=seed, **case)
    model = pricing.fit_price_model(shop.sales, calibrated=False)
    spells = spells_of(shop)
    before = np.log(model.estimate(spells, on=shop.as_of)["fair_price"].to_numpy())
    truth, unsold = shop.truth["log_fair"].to_numpy(), ~shop.truth["sold"].to_numpy()
    evidence = learn_from_asks(model, spells)
    out = {"unsold": unsold.mean(), "eta": np.nan, "ask sd": np.nan}
    if isinstance(evidence, str):
        after, sd, by_time = before, np.full(len(before), np.nan), np.zeros(len(before))
    else:
        # The truth's own pace: half sell within ln 2 times the mean.
        by_piece, _ = fair_given_asks(model, spells, evidence, case["days_at_fair"] * np.log(2))
        by_piece = by_piece.loc[spells["piece"]]
        after, sd = before + by_piece["log_change"].to_numpy(), by_piece["sd"].to_numpy()
        level = evidence.hazard.rho_of(case["days_at_fair"] * np.log(2))
        by_time = by_piece["by_time"].to_numpy() + level
        out |= {"eta": evidence.hazard.eta, "ask sd": evidence.scatter.sd}
    for name, guess in (("sales only", before), ("and time", before + by_time), ("and asks", after)):
        error = (guess - truth)[unsold]
        out |= {f"{name}: bias": error.mean(), f"{name}: median": np.median(np.abs(error)),
                f"{name}: scatter": error.std()}
    out["all: before"], out["all: after"] = np.median(np.abs(before - truth)), np.median(np.abs(after - truth))
    inside = np.abs(after - truth) <= 1.2815516 * WIDENING * sd
    out["80 % holds"] = inside[unsold].mean() if np.isfinite(sd).all() else np.nan
    return out


if __name__ == "__main__":
    shops = int(sys.argv[1]) if len(sys.argv) > 1 else 6
    table = {}
    for name, case in CASES.items():
        found = pd.DataFrame([measure(seed, **case) for seed in range(FIRST_SEED, FIRST_SEED + shops)])
        table[name] = found.mean()
        print(name, "done", file=sys.stderr, flush=True)
    print(f"means over {shops} shops")
    print(pd.DataFrame(table).T.round(2).to_string())
