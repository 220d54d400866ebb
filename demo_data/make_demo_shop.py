"""Writes the demo shop's tables anew: `python demo_data/make_demo_shop.py [folder]`. The same files on every
run.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import pandas as pd  # noqa: E402
from generator.bench import write_listening, write_offers, write_readings  # noqa: E402
from generator.plain_tables import circuits, settings, types  # noqa: E402
from generator.trade import N_SALES, draw_holdings, draw_lots, list_and_sell, sell_without_record  # noqa: E402
from generator.truth import TESTERS, draw_truth, effects_frame, market_frame  # noqa: E402
from generator.writing import draw_rates, write_sales, write_stock  # noqa: E402


def make_demo_shop() -> dict[str, pd.DataFrame]:
    """Every table of the demo by its file name, `truth/...` for what the owner does not know."""
    truth = draw_truth()
    lots, rates = draw_lots(), draw_rates()
    holdings, sold, asks = list_and_sell(truth, draw_holdings(truth, lots))
    sales, sales_truth = write_sales(sold + sell_without_record(truth, N_SALES - len(sold)), rates)
    stock, stock_truth = write_stock(holdings)
    readings = write_readings(holdings)
    listening, quality = write_listening(truth)
    offers, offers_truth = write_offers(truth, rates)
    sheets = (sales, stock, readings, offers, listening)
    return {
        **{f"{sheet.name.lower()}.csv": sheet.frame() for sheet in sheets},
        "lots.csv": lots,
        "asks.csv": asks.drop(columns="log_fair_at_start"),
        "circuits.csv": circuits(),
        "types.csv": types(),
        "settings.csv": settings(rates),
        "truth/sales.csv": sales_truth,
        "truth/stock.csv": stock_truth,
        "truth/offers.csv": offers_truth,
        "truth/asks.csv": pd.DataFrame(
            {"row": range(2, len(asks) + 2), "log_fair": asks.log_fair_at_start.round(4)}
        ),
        "truth/quality.csv": quality,
        "truth/effects.csv": effects_frame(truth),
        "truth/market.csv": market_frame(truth),
        "truth/testers.csv": pd.DataFrame(list(TESTERS.items()), columns=["tester", "factor"]),
        "truth/dirty_cells.csv": pd.DataFrame([cell for sheet in sheets for cell in sheet.dirty]),
    }


def write(folder: Path) -> None:
    """Writes every table below `folder` as UTF-8 with plain line ends."""
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    for name, table in make_demo_shop().items():
        table.to_csv(
            folder / name,
            index=False,
            encoding="utf-8",
            lineterminator="\n",
            date_format="%Y-%m-%d",
            float_format="%.10g",
        )


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
