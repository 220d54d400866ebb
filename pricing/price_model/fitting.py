"""From a Sales table, as the owner keeps it, to a fitted price model."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from pricing.price_model.calibration import Calibration
from pricing.price_model.facts import SUSPECT_Z
from pricing.price_model.fit import HISTORY_COLUMNS, History, fit_effects, log_tube_price
from pricing.price_model.fixed_effects import fixed_columns
from pricing.price_model.model import PriceModel, own_spellings
from pricing.price_model.observations import Rows
from pricing.price_model.robust import RobustFit, t_weights
from pricing.problems import Problem
from pricing.shop_tables import Settings, clean_sales
from pricing.shop_tables.vocabularies import plain

# Forward calibration: fit before the first date's share of sales, score up to the second's; then once more.
SPLITS = ((0.6, 0.8), (0.8, 1.0))
FEWEST_TO_CALIBRATE = 60
THIN_HISTORY_SALES = 200
# Passes that settle the weights of sales added to a fitted history.
ADDING_PASSES = 4


def fit_price_model(
    sales: pd.DataFrame | Iterable[pd.DataFrame],
    settings: Settings | None = None,
    register: Any = None,
    *,
    ordered: bool = True,
    calibrated: bool = True,
) -> PriceModel:
    """Fit the price model to any frame with the Sales columns, raw or clean, or to such frames one after another
    (`pricing.shop_tables.sales_in_pieces` reads a long history so); of pieces only what a price needs is kept.

    Rows that cannot be used are left out and listed in `.problems`; returned sales are left out unless the settings
    say otherwise. `ordered` holds better grades and readings at no lower a price; `calibrated` sets the ranges on
    later sales of the shop's own history. Raises ValueError when no row can be used.
    """
    used, problems, settings, notes, n_rows = usable_sales(sales, settings, register)
    if not len(used):
        raise ValueError(
            f"none of the {n_rows:,} sales can be used: each needs a readable date, a type and a price above zero "
            "(see the Problems list for every row)"
        )
    used = one_family_a_type(one_spelling_a_name(used))
    as_of = used["sold_on"].max().normalize()
    history = History.of(used, as_of)
    fit = fit_effects(history, ordered=ordered)
    calibration = calibrate(history, fit) if calibrated else Calibration.none()
    notes += _notes(used)
    return PriceModel(history, fit, calibration, as_of, settings, register, problems, notes, n_rows)


def usable_sales(
    sales: pd.DataFrame | Iterable[pd.DataFrame], settings: Settings | None, register: Any
) -> tuple[pd.DataFrame, list[Problem], Settings | None, list[str], int]:
    """(clean sales that can teach prices, by date; problems; settings; notes; rows given)."""
    whole = isinstance(sales, pd.DataFrame)
    parts, problems, n_rows, n_returned = [], [], 0, 0
    for piece in [sales] if whole else sales:
        settings = settings or _home_of(piece)
        clean, met = clean_sales(piece, register, settings)
        problems += met
        n_rows += len(piece)
        usable = np.isfinite(clean["price_home"].to_numpy(float)) & (clean["price_home"].to_numpy(float) > 0)
        returned = clean["returned_on"].notna().to_numpy() if "returned_on" in clean else np.zeros(len(clean), bool)
        if not settings.count_returned_sales:
            usable &= ~returned
            n_returned += int(returned.sum())
        parts.append(clean[usable] if whole else clean.loc[usable, list(HISTORY_COLUMNS)])
    if not parts:
        raise ValueError("no piece of a sales history was given")
    notes = [f"{n_returned:,} returned sales were left out of the fit."] if n_returned else []
    together = parts[0] if whole else pd.concat(parts, ignore_index=True)
    return together.sort_values("sold_on", kind="stable"), problems, settings, notes, n_rows


def add_sales(model: PriceModel, sales: pd.DataFrame) -> PriceModel:
    """See PriceModel.with_sales."""
    more, problems, _, notes, n_rows = usable_sales(sales, model.settings, model.register)
    if not len(more):
        return replace(model, problems=[*model.problems, *problems], n_rows_given=model.n_rows_given + n_rows)
    columns = list(HISTORY_COLUMNS)
    together = pd.concat([model.history.sales[columns], more[columns]], ignore_index=True)
    # A new sale's weight starts from how far it lies from what the old ones say.
    error, relative = errors_of(model.history, model.fit, model.in_own_spelling(more))
    expected = t_weights(error / np.sqrt(1 + relative), 0.0, model.fit.posterior.noise_variance)
    weights = np.concatenate([model.fit.weights, expected])
    order = np.argsort(together["sold_on"].to_numpy(), kind="stable")
    together, weights = one_family_a_type(one_spelling_a_name(together.iloc[order])), weights[order]
    as_of = together["sold_on"].max().normalize()
    history = History.of(together, as_of)
    fit = fit_effects(
        history, theta=model.fit.posterior.theta, estimate_theta=False, weights=weights, passes=ADDING_PASSES
    )
    return replace(
        model, history=history, fit=fit, as_of=as_of, problems=[*model.problems, *problems],
        notes=[*model.notes, *notes], n_rows_given=model.n_rows_given + n_rows,
    )


def calibrate(history: History, fit: RobustFit) -> Calibration:
    """Scores of later sales under fits to earlier ones, at the final fit's variances."""
    dates = history.sales["sold_on"].to_numpy()
    scores, variances = [], []
    if len(dates) < FEWEST_TO_CALIBRATE:
        return Calibration.none()
    for start, stop in SPLITS:
        first, last = dates[int(len(dates) * start)], dates[min(int(len(dates) * stop), len(dates) - 1)]
        past = history.sales[dates < first]
        later = history.sales[(dates >= first) & ((dates < last) if stop < 1 else (dates <= last))]
        if len(past) < FEWEST_TO_CALIBRATE // 2 or not len(later):
            continue
        error, relative, s2 = forward_errors(past, later, fit.posterior.theta)
        score = np.abs(error) / np.sqrt(s2 * (1 + relative))
        plausible = score < SUSPECT_Z  # a suspected booking error says nothing of the range of honest sales
        scores.append(score[plausible])
        variances.append(relative[plausible])
    if not scores:
        return Calibration.none()
    return Calibration(np.concatenate(scores), np.concatenate(variances))


def forward_errors(
    past: pd.DataFrame, later: pd.DataFrame, theta: np.ndarray
) -> tuple[np.ndarray, np.ndarray, float]:
    """(log error, relative variance, s2) of later sales priced from past ones at given relative deviations."""
    history = History.of(past, past["sold_on"].max())
    fit = fit_effects(history, theta=theta, estimate_theta=False, passes=4)
    return *errors_of(history, fit, later), fit.posterior.noise_variance


def errors_of(history: History, fit: RobustFit, later: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """(log error, relative variance) of clean later sales under the fit of a history."""
    posterior, terms = fit.posterior, history.design.terms(later)
    rows = Rows.of(posterior.layout, terms, fixed_columns(later))
    with threadpool_limits(1):
        relative = fit.relative_variance(rows) + history.design.missing(later, terms) @ posterior.theta**2
    return log_tube_price(later) - posterior.mean(rows), relative


def _home_of(sales: pd.DataFrame) -> Settings:
    """Default settings; where all sales state one currency, that is the shop's."""
    settings = Settings()
    stated = sales["currency"].dropna().astype(str).str.strip() if "currency" in sales else pd.Series(dtype=str)
    stated = stated[stated != ""].unique()
    return settings.with_currency(stated[0]) if len(stated) == 1 else settings


def one_spelling_a_name(sales: pd.DataFrame) -> pd.DataFrame:
    """Makers, brands and variants that differ in capitals or punctuation alone under the spelling used most; a piece
    of a history was read without the others."""
    used_most = {}
    for column, known in own_spellings(sales).items():
        names = {name: known[plain(name)] for name in sales[column].unique()}
        if any(name != known for name, known in names.items()):
            used_most[column] = sales[column].map(names)
    return sales.assign(**used_most) if used_most else sales


def one_family_a_type(sales: pd.DataFrame) -> pd.DataFrame:
    """Each pricing type in the family most of its sales state."""
    if sales.groupby("canonical_type")["family"].nunique().max() <= 1:
        return sales
    usual = sales.groupby("canonical_type")["family"].agg(lambda family: family.mode().iloc[0])
    return sales.assign(family=sales["canonical_type"].map(usual))


def _notes(sales: pd.DataFrame) -> list[str]:
    notes = []
    if len(sales) < THIN_HISTORY_SALES:
        notes.append(
            f"Only {len(sales):,} sales: most of every price rests on general assumptions and on similar pieces. Treat "
            "the ranges as the message, not the price."
        )
    for column, word in (("canonical_type", "type"), ("maker", "maker"), ("grade", "grade"), ("era", "era"),
                         ("channel", "channel"), ("set_size", "set size")):
        if sales[column].nunique() == 1:
            notes.append(
                f"All sales have one {word} ({sales[column].iloc[0]}): what another {word} would change is assumed, "
                "not learnt."
            )
    if sales["sold_on"].dt.to_period("M").nunique() == 1:
        notes.append("All sales lie in one month: nothing was learnt about how prices move.")
    if sales["reading_pct"].isna().all():
        notes.append("No sale states a reading: what a reading is worth is assumed, not learnt.")
    return notes
