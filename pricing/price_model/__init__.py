"""What a piece would sell for in this shop: a mixed model of log prices, fitted to its own sales."""

from pricing.price_model.fitting import fit_price_model
from pricing.price_model.model import PriceModel
from pricing.price_model.piece_readings import with_readings
from pricing.price_model.testers import TesterCalibration, calibrate_testers

__all__ = [
    "PriceModel", "TesterCalibration", "calibrate_testers", "fit_price_model", "load_price_model", "with_readings",
]


def load_price_model(path):
    """The PriceModel saved at `path`. Raises ValueError for a damaged or foreign file, FileNotFoundError for none."""
    from pricing.price_model.storage import load_model

    return load_model(path)

