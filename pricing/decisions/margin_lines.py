"""What every line of Sales left: price, tax, cost, fees, postage, packing, and what a return took back; bootstrap
ranges.

The base of margin percentages is the price less sales tax, as in `net_proceeds`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pricing.shop_tables import Settings

MONEY = ("sales", "refunded", "tax", "cost", "fees", "postage", "packing", "net_sales", "gross", "net")
OWN, FROM_STOCK, ESTIMATED, UNKNOWN_COST = "own", "from Stock", "estimated", "unknown"
FEWEST_FOR_RANGE = 5


def margin_lines(sales: pd.DataFrame, stock: pd.DataFrame | None, settings: Settings) -> pd.DataFrame:
    """One row a row of clean Sales, same index: sold_on, family, canonical_type, maker, channel, lot, sku, set_size,
    `tubes`, `returned`, `cost_basis`, `fees_known`, and MONEY, each in whole cents of the shop's currency.

    `sales`: price of the goods, 0 when the line came back (then it is `refunded`). `cost`: the line's own, else that of
    the sku in Stock, else estimated at the family's usual share of the price (`cost_basis` says which; NaN where the
    shop noted no cost at all); a returned piece is in stock again and has none. `tax` by the scheme of Settings, on
    goods and postage charged; under the margin scheme less the cost. `fees`: the line's own, else by Settings;
    `postage`: paid less charged, taken to cover itself where only the charge is noted; `packing` by Settings. Of a
    returned line the fee noted, the postage paid and packing are lost. `gross` = net_sales - cost; `net` = gross - fees
    - postage - packing.
    """
    out = sales[["sold_on", "family", "canonical_type", "maker", "channel", "lot", "sku", "set_size"]].copy()
    out["tubes"] = sales["set_size"] * sales["qty"]
    out["returned"] = sales["returned_on"].notna()
    price = whole_cents(sales["price_home"])
    kept = ~out["returned"]
    out["sales"], out["refunded"] = price.where(kept, 0.0), price.where(out["returned"], 0.0)
    cost, out["cost_basis"] = _costs(sales, out, price, stock)
    charged, paid = sales["postage_charged"], sales["postage_paid"]
    goods = price + charged.fillna(0)
    rate = settings.tax_rate_pct / 100
    if settings.tax_scheme == "on the price":
        tax = goods * (rate / (1 + rate) if settings.prices_include_tax else rate)
    elif settings.tax_scheme == "margin scheme":
        tax = (goods - cost.fillna(0)).clip(lower=0) * rate / (1 + rate)
    else:
        tax = 0 * goods
    added = settings.tax_scheme == "on the price" and not settings.prices_include_tax
    out["tax"] = whole_cents(tax).where(kept, 0.0)
    out["cost"] = cost.where(kept, 0.0)
    buyer_pays = goods + (out["tax"] if added else 0.0)
    fees = {name: settings.fee(name) for name in out["channel"].unique()}
    pct, fixed = (out["channel"].map({name: fee[at] for name, fee in fees.items()}).astype(float) for at in (0, 1))
    usual = whole_cents(buyer_pays * pct / 100 + fixed) + whole_cents(
        buyer_pays * settings.payment_fee_pct / 100 + settings.payment_fee_fixed)
    out["fees_known"] = sales["fee"].notna()
    out["fees"] = sales["fee"].fillna(usual.where(kept, 0.0)).round(2)
    out["postage"] = (paid.fillna(charged) - charged.fillna(0)).fillna(0).where(kept, paid.fillna(0)).round(2)
    out["packing"] = settings.packing_cost
    out["net_sales"] = out["sales"] if added else (out["sales"] - out["tax"]).round(2)
    out["gross"] = (out["net_sales"] - out["cost"]).round(2)
    out["net"] = (out["gross"] - out["fees"] - out["postage"] - out["packing"]).round(2)
    return out


def whole_cents(amounts: Any) -> Any:
    """Amounts to the cent, half up."""
    return np.floor(amounts * 100 + 0.5 + 1e-7) / 100


def _costs(sales, out, price, stock) -> tuple[pd.Series, pd.Series]:
    cost, basis = sales["cost"].astype(float), pd.Series(OWN, index=sales.index)
    if stock is not None and len(stock):
        rows = stock[stock["sku"] != ""].drop_duplicates("sku").set_index("sku")
        each = sales["sku"].map(rows["cost"] / rows["set_size"]) * out["tubes"]
        taken = cost.isna() & each.notna()
        cost, basis = cost.fillna(each), basis.mask(taken, FROM_STOCK)
    known = cost.notna()
    if known.any():
        family = out["family"]
        counts = known.groupby(family).sum()
        shares = cost[known].groupby(family[known]).sum() / price[known].groupby(family[known]).sum()
        shares = shares.where(counts >= FEWEST_FOR_RANGE)
        share = family.map(shares).fillna(cost[known].sum() / price[known].sum())
        cost = cost.fillna(price * share)
    basis = basis.mask(~known, ESTIMATED if known.any() else UNKNOWN_COST)
    return whole_cents(cost), basis


def ratio_draws(top: np.ndarray, bottom: np.ndarray, runs: int, rng: np.random.Generator) -> np.ndarray:
    """`runs` bootstrap values of sum(top) / sum(bottom), lines drawn with replacement (Efron & Tibshirani, An
    Introduction to the Bootstrap, 1993, ch. 10)."""
    counts = rng.multinomial(len(top), np.full(len(top), 1 / len(top)), size=runs)
    below = counts @ bottom
    return np.divide(counts @ top, below, out=np.full(runs, np.nan), where=below != 0)


def ratio_range_pct(top: Any, bottom: Any, runs: int, rng: np.random.Generator, coverage: float) -> tuple[float, float]:
    """Percentile range of the ratio in percent; NaN for fewer than FEWEST_FOR_RANGE lines, or no sales."""
    top, bottom = np.asarray(top, float), np.asarray(bottom, float)
    if len(top) < FEWEST_FOR_RANGE or not np.isfinite(top).all() or bottom.sum() <= 0:
        return float("nan"), float("nan")
    tail = 50 * (1 - coverage)
    low, high = np.nanpercentile(ratio_draws(top, bottom, runs, rng), [tail, 100 - tail])
    return 100 * float(low), 100 * float(high)
