"""What this shop wrote down: its tables read, cleaned and checked. Nothing the owner typed is altered or lost
in silence.
"""

from pricing.shop_tables.cleaning import (
    clean_asks,
    clean_circuits,
    clean_items,
    clean_listening,
    clean_lots,
    clean_offers,
    clean_readings,
    clean_sales,
    clean_stock,
)
from pricing.shop_tables.columns import TABLES, Column, Table
from pricing.shop_tables.meter_readings import PERCENT_TESTS, percent_of_nominal, section_balance
from pricing.shop_tables.pieces import sales_in_pieces
from pricing.shop_tables.reading import ShopFileError
from pricing.shop_tables.report import check_report
from pricing.shop_tables.settings import Settings
from pricing.shop_tables.shop import Shop, read_shop
from pricing.shop_tables.vocabularies import CHANNELS, ERAS, GRADE_ORDER, GRADES

__all__ = [
    "CHANNELS",
    "Column",
    "ERAS",
    "GRADES",
    "GRADE_ORDER",
    "PERCENT_TESTS",
    "Settings",
    "Shop",
    "ShopFileError",
    "TABLES",
    "Table",
    "check_report",
    "clean_asks",
    "clean_circuits",
    "clean_items",
    "clean_listening",
    "clean_lots",
    "clean_offers",
    "clean_readings",
    "clean_sales",
    "clean_stock",
    "percent_of_nominal",
    "read_shop",
    "sales_in_pieces",
    "section_balance",
]
