"""Builds the workbooks of this folder: the invented demo shop, priced, and an empty shop to fill in.

Run from the repository: python workbooks/make_workbooks.py
"""

from pathlib import Path

from pricing import backtest, build_workbook, fit_price_model, read_shop
from pricing.price_model import with_readings
from pricing.spreadsheet.record_section import REFRESH_FOLDS

HERE = Path(__file__).parent


def make(folder: Path = HERE) -> list[Path]:
    """Write "demo shop.xlsx" and "empty shop.xlsx" into `folder`, over what is there."""
    shop = with_readings(read_shop(HERE.parent / "demo_data"))
    model = fit_price_model(shop.sales, settings=shop.settings, register=shop.register)
    record = backtest(shop.sales, shop.settings, shop.register, folds=REFRESH_FOLDS)
    return [
        build_workbook(folder / "demo shop.xlsx", shop, model, record=record, invented=True, overwrite=True),
        build_workbook(folder / "empty shop.xlsx", overwrite=True),
    ]


if __name__ == "__main__":
    for path in make():
        print(f"Wrote {path}")
