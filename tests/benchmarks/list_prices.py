"""What asks chosen from a simulated shop's listings earn, as a share of what full knowledge would.

Run: PYTHONPATH=tests python tests/benchmarks/list_prices.py [shops]

Earned: expected discounted money of the pieces still unsold under the true demand, a hazard of 1 / days_at_fair a day
at the true fair price that falls as the ask to the power -eta; fees of 16.15 %, returns of 4 %, 1.90 a parcel, waiting
costs 12 % a year. What was paid for them is sunk. The mark-up is on an invented cost of half the fair price with log
standard deviation .4, and the best of many in hindsight.
"""

import sys

import numpy as np
import pandas as pd
from benchmarks.unsold import BASE, spells_of
from simulator.listings import simulate_listings

import pricing
from pricing.decisions.best_ask import DAYS_A_YEAR, best_ask
from pricing.decisions.earning_asks import MOST_ABOVE_FAIR
from pricing.decisions.time_to_sale import WIDENING
from pricing.price_model.sale_hazard import Hazard
from pricing.price_model.unsold_asks import fair_given_asks, learn_from_asks

FIRST_SEED, ETA, HOLDING_PCT = 501, 6.0, 12.0
SIZES = (400, 900, 1800, 3600, 7200)
MARK_UPS = np.linspace(1.0, 5.0, 41)


def net(asks):
    """What a sale at each ask leaves."""
    return 0.7985 * asks - 1.90


def earned_shares(n_listings: int, seed: int) -> dict[str, float]:
    """Share of the best earnings, by how the asks are chosen."""
    shop = simulate_listings(seed=seed, **BASE | {"n_listings": n_listings, "eta": ETA})
    unsold = ~shop.truth["sold"].to_numpy()
    fair = np.exp(shop.truth["log_fair"].to_numpy()[unsold])
    wait = BASE["days_at_fair"] * np.log1p(HOLDING_PCT / 100) / DAYS_A_YEAR

    def total(asks):
        return float((net(asks) / (1 + wait * (asks / fair) ** ETA)).sum())

    def chosen(hazard, fair_prices, doubts=None):
        doubts = np.zeros(len(fair_prices)) if doubts is None else doubts
        return np.array([best_ask(hazard, price, net, sd=sd, holding_pct_year=HOLDING_PCT,
                                  highest=MOST_ABOVE_FAIR * price).ask for price, sd in zip(fair_prices, doubts)])

    true = Hazard(-np.log(BASE["days_at_fair"]), ETA)
    best = total(chosen(true, fair))
    model, spells = pricing.fit_price_model(shop.sales, calibrated=False), spells_of(shop)
    cost = 0.5 * fair * np.exp(0.4 * np.random.default_rng(seed).standard_normal(len(fair)))
    shares = {"unsold": float(unsold.mean()),
              "the asks they stand at": total(spells["ask"].to_numpy()[unsold]) / best,
              "fixed mark-up": max(total(cost * times) for times in MARK_UPS) / best}
    by_sales = model.estimate(spells, on=shop.as_of)["fair_price"].to_numpy()
    shares["fair price of sales, as it is"] = total(by_sales[unsold]) / best
    evidence = learn_from_asks(model, spells)
    if isinstance(evidence, str):
        return shares
    by_piece, _ = fair_given_asks(model, spells, evidence)
    by_piece = by_piece.loc[spells["piece"]][unsold]
    learnt = by_sales[unsold] * np.exp(by_piece["log_change"].to_numpy())
    doubts = WIDENING * by_piece["sd"].to_numpy()
    at_true_pace = learnt * np.exp(evidence.hazard.rho_of(BASE["days_at_fair"] * np.log(2)))
    return shares | {"all learnt, doubt left out": total(chosen(evidence.hazard, learnt)) / best,
                     "all learnt": total(chosen(evidence.hazard, learnt, doubts)) / best,
                     "demand known, fair price learnt": total(chosen(true, at_true_pace, doubts)) / best,
                     "fair price known, demand learnt":
                         total(chosen(evidence.hazard, own_pace(evidence, fair))) / best,
                     "eta learnt": evidence.hazard.eta}


def own_pace(evidence, fair):
    """True fair prices restated as the learnt hazard counts them: the ask at which its median is the true one."""
    return fair * np.exp(-evidence.hazard.rho_of(BASE["days_at_fair"] * np.log(2)))


if __name__ == "__main__":
    shops = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    found = {f"{size:,} listings": pd.DataFrame(
        [earned_shares(size, seed) for seed in range(FIRST_SEED, FIRST_SEED + shops)]).mean() for size in SIZES}
    print(f"means over {shops} shops; best policy with full knowledge = 1")
    print(pd.DataFrame(found).round(3).to_string())
