"""Testers calibrated against each other from pieces tested on more than one of them.

Percent of nominal still depends on who measured: testers differ in scale. With y the log of a piece's percent of
nominal on one scale (a tester and a test: gm, emission or plate current),

    y = intercept + factor of the scale + piece + (piece on this kind of test) + noise / sqrt(visits),

pieces random, factors fixed: the two-way layout without interaction of the textbooks where one kind of test is met.
Variances are REML's (`mixed_model`); the factors' posterior adds a weak prior, so that a scale known from one or two
pieces stays near 1. Only pieces met on two scales enter: what a tester happened to be given says nothing of its scale.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats
from scipy.sparse import coo_array, csgraph
from threadpoolctl import threadpool_limits

from pricing.price_model.mixed_model import RandomTerm, fit_mixed_model
from pricing.problems import counted
from pricing.shop_tables import Settings, percent_of_nominal
from pricing.shop_tables.vocabularies import plain

# Standard deviations in log, common practice, no source: a tester's factor; that of another kind of test; one reading
# against itself; pieces; what one kind of test says of a piece beside another.
FACTOR_SD, OTHER_TEST_SD = 0.10, 0.20
READING_SD, PIECE_SD, PIECE_ON_TEST_SD = 0.05, 0.15, 0.10
# What the prior on READING_SD counts for, in comparisons; and from how many on the shop's own variances are taken.
READING_SD_COUNTS = 4.0
FEWEST_COMPARISONS = 8
COVERAGE = 0.80


@dataclass(frozen=True)
class TesterScale:
    """One tester and test. A reading on it is `factor` times what the reference scale would show; `low` and `high` hold
    the true factor four times in five. `against`: the reference ("" where the scale is taken as written), itself for a
    reference. `n_pieces`: pieces also met on another scale of the group; `n_tested`: all."""

    tester: str
    test: str
    against: str
    factor: float
    log_sd: float
    low: float
    high: float
    n_pieces: int
    n_tested: int
    words: str


@dataclass(frozen=True)
class TesterCalibration:
    """`scales`: the shop's scales, most used first. `usual_tests`: the test a tester makes of a family, by (tester,
    family), ("", family) for any tester and (tester, "") for any family. Capitals and dots in names do not count."""

    scales: tuple[TesterScale, ...]
    usual_tests: dict[tuple[str, str], str]

    def factor(self, tester: str, test: str = "", family: str = "") -> float:
        """What a reading on `tester` is divided by to stand on the reference scale; 1 for what is not calibrated.

        Without a test, the one usually made of the family: by this tester, by any, else this tester's most usual.
        """
        name = plain(tester)
        for key in ((name, family), ("", family), (name, "")):
            test = test or self.usual_tests.get(key, "")
        met = (scale.factor for scale in self.scales if (plain(scale.tester), scale.test) == (name, test))
        return next(met, 1.0)

    def frame(self) -> pd.DataFrame:
        """A row a scale: tester, test, factor, low, high, n_pieces, n_tested, words."""
        columns = ["tester", "test", "factor", "low", "high", "n_pieces", "n_tested", "words"]
        return pd.DataFrame([[getattr(one, name) for name in columns] for one in self.scales], columns=columns)


def calibrate_testers(
    readings: pd.DataFrame, settings: Settings | None = None, named: Iterable[str] = ()
) -> TesterCalibration:
    """How the testers of clean Readings read against the most used one; those `named` elsewhere are listed as well.

    Scales that common pieces connect to the main one are calibrated. A kind of test that no piece connects to it
    (emission beside gm) has a main tester of its own; a tester connected to neither stays at 1, with the reason.
    """
    if "percent_of_nominal" not in readings:
        readings, _ = percent_of_nominal(readings, settings or Settings())
    rows = readings[readings["percent_of_nominal"].notna() & (readings["tester"] != "")]
    used = rows.groupby(["tester", "test"])["sku"].nunique().sort_values(ascending=False, kind="stable")
    scales = list(used.index)
    visits = _visits(rows, scales)
    groups = _groups(visits, len(scales))
    done: dict[int, TesterScale] = {}
    tests_met: set[str] = set()
    for group in sorted(groups, key=min):
        tests = {scales[place][1] for place in group}
        apart = not tests & tests_met
        if apart:
            # The shop's main tester leads its group where it has a scale in it.
            led = sorted(group, key=lambda place: (scales[place][0] != scales[0][0], place))
            done |= _calibrated(visits, led, scales, used, first=not tests_met)
        else:
            done |= {place: _as_written(*scales[place], used.iloc[place], _main_of(scales, scales[place][1], done))
                     for place in group}
        tests_met |= tests
    known = {plain(tester) for tester, _ in scales}
    others = {plain(name): name for name in named if name and plain(name) not in known}
    unread = [TesterScale(name, "", "", 1.0, np.nan, np.nan, np.nan, 0, 0,
                          f"{name} is named in Sales or Stock, with no percent of nominal in Readings: as written")
              for name in sorted(others.values())]
    return TesterCalibration((*(done[place] for place in sorted(done)), *unread), _usual_tests(rows))


@dataclass(frozen=True)
class ScaleFit:
    """Posterior of log factors: `mean` and `covariance` of all scales but the first, `degrees` of freedom of the noise,
    `noise_sd` of one visit."""

    mean: np.ndarray
    covariance: np.ndarray
    degrees: float
    noise_sd: float


def fit_scales(
    y: np.ndarray, piece: np.ndarray, scale: np.ndarray, test: np.ndarray, weights: np.ndarray | None = None,
    *, prior_sd: np.ndarray | float | None = None, noise_counts: float = READING_SD_COUNTS,
) -> ScaleFit:
    """Log factors of scales 1, 2, ... against scale 0 from log readings.

    `piece`, `scale`, `test`: codes from 0 of every reading; `weights`: visits behind it; `prior_sd`: of each log factor
    (None: no prior). With `noise_counts` 0 the noise is the data's alone.
    """
    weights = np.ones(len(y)) if weights is None else weights
    on_test = np.unique(piece * (test.max() + 1) + test, return_inverse=True)[1]
    terms = [RandomTerm("piece", piece)]
    theta = np.array([PIECE_SD, PIECE_ON_TEST_SD])[: 1 + (test.max() > 0)] / READING_SD
    if len(theta) > 1:
        terms.append(RandomTerm("piece on test", on_test))
    x = (scale[:, None] == np.arange(scale.max() + 1)).astype(float)
    x[:, 0] = 1.0
    comparisons = len(y) - (piece.max() + 1) - (x.shape[1] - 1)
    s2, degrees = READING_SD**2, noise_counts
    if comparisons >= FEWEST_COMPARISONS:
        with threadpool_limits(1):
            fit = fit_mixed_model(y, x, terms, weights=weights, block="piece")
        s2, degrees = fit.residual_variance, comparisons + noise_counts
        theta = fit.theta
        inflated = (comparisons * s2 + noise_counts * READING_SD**2) / degrees
        theta, s2 = theta * np.sqrt(s2 / inflated), inflated
    precision, shift = np.zeros((x.shape[1],) * 2), np.zeros(x.shape[1])
    if prior_sd is not None:
        precision[np.diag_indices(x.shape[1])] = np.r_[0.0, np.broadcast_to(1 / np.square(prior_sd), x.shape[1] - 1)]
    order = np.argsort(piece, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(piece[order])) + 1):
        v = np.diag(1 / weights[rows]) + theta[0] ** 2
        if len(theta) > 1:
            v += theta[1] ** 2 * (on_test[rows][:, None] == on_test[rows])
        both = np.linalg.solve(v, np.column_stack([x[rows], y[rows]])) / s2
        precision += x[rows].T @ both[:, :-1]
        shift += x[rows].T @ both[:, -1]
    covariance = np.linalg.inv(precision)
    return ScaleFit((covariance @ shift)[1:], covariance[1:, 1:], degrees, float(np.sqrt(s2)))


def _visits(rows: pd.DataFrame, scales: list[tuple[str, str]]) -> pd.DataFrame:
    """Pieces met on two scales or more, a row a piece and scale: sku, scale, y (mean log percent of nominal over the
    sections measured on all of them, else over all), weight (days it was tested: the sections of one visit share the
    setting of the tester)."""
    rows = rows.assign(scale=pd.MultiIndex.from_tuples(scales or [("", "")]).get_indexer(
        pd.MultiIndex.from_frame(rows[["tester", "test"]])), y=np.log(rows["percent_of_nominal"]))
    n_scales = rows.groupby("sku")["scale"].transform("nunique")
    rows, n_scales = rows[n_scales > 1], n_scales[n_scales > 1]
    common = rows.groupby(["sku", "section"])["scale"].transform("nunique") == n_scales
    rows = rows[common | ~common.groupby(rows["sku"]).transform("any")]
    by_section = rows.groupby(["sku", "scale", "section"], as_index=False).agg(
        y=("y", "mean"), weight=("tested_on", "nunique"))
    return by_section.groupby(["sku", "scale"], as_index=False).agg(y=("y", "mean"), weight=("weight", "max")).assign(
        weight=lambda frame: frame["weight"].clip(lower=1).astype(float))


def _groups(visits: pd.DataFrame, n_scales: int) -> list[list[int]]:
    """Scales that common pieces connect, each group a list of places."""
    piece = pd.factorize(visits["sku"])[0] + n_scales
    size = n_scales + (int(piece.max()) + 1 - n_scales if len(piece) else 0)
    graph = coo_array((np.ones(len(visits)), (visits["scale"].to_numpy(int), piece)), shape=(size, size))
    _, label = csgraph.connected_components(graph, directed=False)
    return [list(np.flatnonzero(label[:n_scales] == one)) for one in np.unique(label[:n_scales])]


def _calibrated(
    visits: pd.DataFrame, group: list[int], scales: list[tuple[str, str]], used: pd.Series, first: bool
) -> dict[int, TesterScale]:
    """Every scale of a connected group against its first."""
    main, *others = group
    tester, test = scales[main]
    why = "" if first else f"; {test} is kept apart from other tests, no piece connects them"
    alone = [other for _, other in scales].count(test) == 1
    words = f"the {'only' if alone else 'main'} tester for {test}{why}"
    out = {main: TesterScale(tester, test, tester, 1.0, 0.0, 1.0, 1.0, 0, int(used.iloc[main]), words)}
    if not others:
        return out
    rows = visits[visits["scale"].isin(group)]
    tests = list(dict.fromkeys(scales[place][1] for place in group))
    codes = rows["scale"].map({place: code for code, place in enumerate(group)}).to_numpy(int)
    kind = rows["scale"].map({place: tests.index(scales[place][1]) for place in group}).to_numpy(int)
    prior_sd = np.array([FACTOR_SD if scales[place][1] == test else OTHER_TEST_SD for place in others])
    fit = fit_scales(rows["y"].to_numpy(float), pd.factorize(rows["sku"])[0], codes, kind,
                     rows["weight"].to_numpy(float), prior_sd=prior_sd)
    counts = rows.groupby("scale")["sku"].nunique()
    skus = {name: set(rows["sku"][kind == code]) for code, name in enumerate(tests)}
    t = stats.t.ppf((1 + COVERAGE) / 2, fit.degrees)
    for place, mean, sd in zip(others, fit.mean, np.sqrt(np.diag(fit.covariance))):
        low, factor, high = np.exp([mean - t * sd, mean, mean + t * sd])
        linking = counts[place] if scales[place][1] == test else len(skus[test] & skus[scales[place][1]])
        said = _linked_words(scales[place][1], tester, test, factor, linking)
        out[place] = TesterScale(*scales[place], tester, factor, sd, low, high, int(counts[place]),
                                 int(used.iloc[place]), said)
    out[main] = TesterScale(tester, test, tester, 1.0, 0.0, 1.0, 1.0, int(counts[main]), int(used.iloc[main]), words)
    return out


def _linked_words(test: str, main: str, main_test: str, factor: float, count: int) -> str:
    change = round(100 * (factor - 1))
    reads = f"reads {abs(change)} % {'higher' if change > 0 else 'lower'} than" if change else "reads as high as"
    pieces = counted(count, "piece")
    if test == main_test:
        return f"{reads} {main}, from {pieces} tested here and elsewhere"
    why = f"because {pieces} had both" if count else "by way of other tests"
    return f"{reads} {main_test} on {main}: another quantity, compared only {why}"


def _as_written(tester: str, test: str, tested: int, main: str) -> TesterScale:
    return TesterScale(
        tester, test, "", 1.0, np.nan, np.nan, np.nan, 0, int(tested),
        f"taken as written: no piece was tested for {test} both here and on {main} or a tester that leads there; "
        "test a few pieces on both")


def _main_of(scales: list[tuple[str, str]], test: str, done: dict[int, TesterScale]) -> str:
    """The reference of the calibrated group that has this test."""
    return next(done[place].against for place in sorted(done) if scales[place][1] == test and done[place].against)


def _usual_tests(rows: pd.DataFrame) -> dict[tuple[str, str], str]:
    """See TesterCalibration.usual_tests; pieces of unknown family say nothing of families."""
    rows = rows.assign(tester=rows["tester"].map(plain))
    of_family = rows[rows["family"] != "unknown"]
    out: dict[tuple[str, str], str] = {}
    for frame in (rows.assign(family=""), of_family.assign(tester=""), of_family):
        out |= frame.groupby(["tester", "family"])["test"].agg(lambda tests: tests.mode().iloc[-1]).to_dict()
    return out
