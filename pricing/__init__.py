"""Spreadsheet-native pricing and deal finding for a small shop of vintage electron tubes."""

from importlib import import_module

# Each public name and the module that holds it: loaded on first use, so that `import pricing` stays light.
_HOMES = {
    "read_shop": "pricing.shop_tables",
    "read_incoming": "pricing.shop_tables.incoming",
    "load_register": "pricing.register",
    "fit_price_model": "pricing.price_model",
    "backtest": "pricing.price_model.backtest",
    "load_price_model": "pricing.price_model",
    "plan_list_prices": "pricing.decisions.list_price",
    "find_alternatives": "pricing.decisions.alternatives",
    "find_underpriced": "pricing.decisions.underpriced",
    "rank_quality": "pricing.decisions.quality",
    "check_circuit_fit": "pricing.decisions.circuit_fit",
    "cost_lot": "pricing.decisions.lots",
    "bid_for_lot": "pricing.decisions.lot_bid",
    "match_sets": "pricing.decisions.matched_sets",
    "review_margins": "pricing.decisions.margins",
    "listing_facts": "pricing.decisions.listing_facts",
    "build_workbook": "pricing.spreadsheet",
    "refresh_workbook": "pricing.spreadsheet",
}

__all__ = sorted(_HOMES)


def __getattr__(name: str):
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'pricing' has no attribute '{name}'; it has {', '.join(__all__)}")


def __dir__() -> list[str]:
    return __all__
