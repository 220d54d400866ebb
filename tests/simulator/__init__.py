"""Invented shops with known fair prices, the habits to beat, and the best linear prediction to approach.

`simulate_shop` draws a shop; `oracle` predicts it with everything known that a linear prediction may know;
`last_sale`, `median_with_fallback` and `ols_dummies` are what shops do without a model; `score` compares
predictions with the truth. Nothing here imports `pricing`: the estimator under test and its judge share no
code.
"""

from .habits import HABITS, last_sale, median_with_fallback, ols_dummies
from .oracle import oracle
from .score import RICHNESS, richness, score
from .shop import GROSS_ERRORS, SimulatedShop, simulate_shop
from .world import World, draw_world

__all__ = ["GROSS_ERRORS", "HABITS", "RICHNESS", "SimulatedShop", "World", "draw_world", "last_sale",
           "median_with_fallback", "ols_dummies", "oracle", "richness", "score", "simulate_shop"]
