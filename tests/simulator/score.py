"""How far predictions lie from the truth, over all items and by how much the shop had sold of their like."""

import numpy as np
import pandas as pd

RICHNESS = ("five or more sales", "one to four sales", "new cell", "new type and maker", "new type")


def richness(sales: pd.DataFrame, items: pd.DataFrame) -> pd.Series:
    """One of RICHNESS for each item: past sales of its cell (type, maker and era), or what is new about it.

    "new cell": type and maker have met, not in this era; "new type and maker": the type has sold, not by this
    maker.
    """
    def count(columns):
        sizes = sales.groupby(columns, as_index=False).size()
        return items[columns].merge(sizes, on=columns, how="left")["size"].fillna(0).to_numpy()

    in_cell = count(["canonical_type", "maker", "era"])
    label = np.select(
        [in_cell >= 5, in_cell >= 1, count(["canonical_type", "maker"]) > 0, count(["canonical_type"]) > 0],
        RICHNESS[:4], RICHNESS[4])
    return pd.Series(label, index=items.index)


def score(predicted_log, truth_log, by: pd.Series | None = None) -> pd.DataFrame:
    """Absolute log error and bias of predictions: a row for all items and one for each label in `by`.

    Columns: n, median_abs, p90_abs, bias_mean, bias_median (predicted less true). Inputs are aligned by
    position. Raises ValueError where lengths differ or a prediction is not finite: an item left out would
    flatter.
    """
    predicted, truth = np.asarray(predicted_log, float), np.asarray(truth_log, float)
    if predicted.shape != truth.shape:
        raise ValueError(f"{predicted.shape} predictions against {truth.shape} truths")
    if not np.isfinite(predicted).all():
        raise ValueError(f"{(~np.isfinite(predicted)).sum()} of {len(predicted)} predictions are not finite")
    error = predicted - truth
    rows = {"all": _summary(error)}
    if by is not None:
        labels = np.asarray(by)
        order = [name for name in RICHNESS if name in labels] + sorted(set(labels) - set(RICHNESS))
        rows |= {name: _summary(error[labels == name]) for name in order}
    return pd.DataFrame.from_dict(rows, orient="index").astype({"n": int})


def _summary(error: np.ndarray) -> dict[str, float]:
    size = np.abs(error)
    return {"n": len(error), "median_abs": np.median(size), "p90_abs": np.quantile(size, 0.9),
            "bias_mean": error.mean(), "bias_median": np.median(error)}
