"""Makers of brands: probabilities that come true, prices that gain by them, and never a claim."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from simulator import simulate_shop
from simulator.brands import with_brands

import pricing
from pricing.price_model.attribution import NOT_MET, STRENGTHS, attribution_in_words, learn_attribution, reliability
from pricing.price_model.maker_mixture import MakerMixture
from pricing.shop_tables import GRADE_ORDER, Settings

# Shops not looked at while the model of attribution was chosen.
CALIBRATION_SEEDS = range(501, 511)
SMALL = {"n_types": 60, "n_makers": 12}


def rows(*cells: tuple) -> pd.DataFrame:
    """Clean rows of maker, brand, type, era, variant."""
    frame = pd.DataFrame(cells, columns=["maker", "brand", "canonical_type", "era", "variant"])
    return frame.assign(family="small triodes")


@pytest.fixture(scope="module")
def branded():
    """A simulated shop whose brands buy from a few makers; buyers know what they buy."""
    return with_brands(simulate_shop(1_500, 21, **SMALL), 21)


@pytest.fixture(scope="module")
def model(branded):
    """Its price model."""
    return pricing.fit_price_model(branded.shop.sales)


def brand_only(shop: pd.DataFrame, model) -> pd.DataFrame:
    """Future items whose maker is attributed."""
    return shop[model.attribution.attributed(shop)]


def test_what_is_80_percent_sure_comes_true_80_times_in_100():
    """Pooled over ten shops of 3,000 sales: in every class of stated probability about that share is right."""
    stated, right = [], []
    for seed in CALIBRATION_SEEDS:
        found = with_brands(simulate_shop(3_000, seed), seed)
        attribution = learn_attribution(found.shop.sales)
        for items, true in ((found.shop.sales, found.sales_maker), (found.shop.future_items, found.items_maker)):
            at, probability = attribution.probabilities(items)
            stated += probability.max(axis=1).tolist()
            right += (attribution.makers[probability.argmax(axis=1)] == true.iloc[at]).tolist()
    table = reliability(pd.Series(stated), pd.Series(right), (0, 0.35, 0.5, 0.65, 0.75, 0.85, 0.95, 1))
    sure = table[table["from"] == 0.75].iloc[0]
    assert sure["n"] > 500 and 0.75 <= sure["right"] <= 0.85
    many = table[table["n"] >= 300]
    assert len(many) >= 5 and (many["stated"] - many["right"]).abs().max() < 0.05


def test_a_brand_alone_is_a_smoothed_share():
    """(7 + s share) / (10 + s) and so on: the predictive share of a Dirichlet-multinomial (Gelman and others, Bayesian
    Data Analysis, from memory), at two levels: the brand's share, then that within the family."""
    sales = rows(*[("Alfa", "Own", "T1", "unknown", "unknown")] * 7, *[("Beta", "Own", "T1", "unknown", "unknown")] * 3,
                 *[("Alfa", "unknown", "T1", "unknown", "unknown")] * 10)
    strengths = {**STRENGTHS, "brand": 4.0, "brand in family": 6.0, "power": 1e-12, "whole": 1.0}
    found = replace(learn_attribution(sales), strengths=strengths)
    out = found.makers_of(rows(("unknown", "Own", "T1", "1950s", "black plates"))).set_index("maker")["probability"]
    share = {"Alfa": 17 / 21, "Beta": 3 / 21, NOT_MET: 1 / 21}
    for maker, count in (("Alfa", 7), ("Beta", 3), (NOT_MET, 0)):
        brand = (count + 4 * share[maker]) / 14
        assert out[maker] == pytest.approx((count + 6 * brand) / 16, rel=1e-9)
    assert out.sum() == pytest.approx(1)


def test_construction_moves_it_by_bayes_rule():
    """Two makers equal but for their plates: the odds turn by the ratio of the smoothed shares of those plates."""
    black, grey = (("Own", "T1", "unknown", f"{colour} plates") for colour in ("black", "grey"))
    sales = rows(*[("Alfa", *black)] * 9, ("Alfa", *grey), *[("Beta", *grey)] * 9, ("Beta", *black))
    strengths = {**STRENGTHS, "variant, maker": 2.0, "variant, type": 2.0, "power": 1.0, "whole": 1.0}
    found = replace(learn_attribution(sales), strengths=strengths)
    out = found.makers_of(rows(("unknown", "Own", "T1", "unknown", "black plates"))).set_index("maker")["probability"]

    def plates(count):
        of_maker = (count + 2 * 10.5 / 21.5) / 12   # half a row for every level, one of them for plates never met
        return (count + 2 * of_maker) / 12

    assert out["Alfa"] / out["Beta"] == pytest.approx(plates(9) / plates(1), rel=1e-9)


def test_only_rows_with_a_brand_that_tells_and_no_maker_are_attributed(branded):
    """A stated maker is never overridden; no brand, or one nobody knows, is left unknown; the index is kept."""
    found = learn_attribution(branded.shop.sales)
    brand = branded.shop.sales.query("brand != 'unknown' and maker != 'unknown'")["brand"].iloc[0]
    kind = branded.shop.sales["canonical_type"].iloc[0]
    items = pd.concat([rows(
        ("Maker 03", brand, kind, "1950s", "unknown"), ("unknown", "unknown", kind, "1950s", "black plates"),
        ("unknown", "Never Heard Of", kind, "1950s", "black plates"), ("unknown", brand, kind, "1950s", "unknown"),
    )]).set_axis(list("abcd"))
    out = found.makers_of(items)
    assert set(out["item"]) == {"d"} and out["probability"].sum() == pytest.approx(1)
    assert out["probability"].is_monotonic_decreasing and NOT_MET in set(out["maker"])
    assert not len(learn_attribution(branded.shop.sales.assign(maker="unknown")).makers_of(items))


def test_a_brand_with_many_single_makers_keeps_room_for_new_ones():
    """Every past piece by another maker: a maker not met is likelier than where one maker made them all."""
    many = rows(*[(f"Maker {n}", "Mixed", "T1", "unknown", "unknown") for n in range(30)])
    one = rows(*[("Maker 1", "Plain", "T1", "unknown", "unknown")] * 30)
    item = rows(("unknown", "Mixed", "T1", "unknown", "unknown"))
    new = learn_attribution(many).makers_of(item).set_index("maker")["probability"][NOT_MET]
    settled = learn_attribution(one).makers_of(item.assign(brand="Plain")).set_index("maker")["probability"][NOT_MET]
    assert new > 0.2 and settled < 0.02


def test_the_owner_may_know_more_than_the_sales():
    """A Settings row tells the makers of a brand that no sale tells of; ten sales of one's own weigh as much."""
    settings = Settings.from_rows([("brand: Parlane", "Alfa 70; Beta"), ("brand: Own", "gamma")])
    assert not settings.problems
    plain = ("T1", "unknown", "unknown")
    sales = rows(*[("Alfa", "Own", *plain)] * 10, *[("Beta", "unknown", *plain)] * 10)
    found = learn_attribution(sales, settings.brand_table())
    out = found.makers_of(rows(*[("unknown", brand, *plain) for brand in ("Parlane", "Own")]))
    parlane, own = (out[out["item"] == item].set_index("maker")["probability"] for item in (0, 1))
    assert parlane["Alfa"] > 1.5 * parlane["Beta"] and parlane["Alfa"] < 0.8
    assert own["Alfa"] == pytest.approx(0.5, abs=0.15) and own["gamma"] == pytest.approx(0.5, abs=0.15)


@pytest.mark.parametrize("value", ["Alfa 80; Beta 40", "Alfa; Alfa", "Alfa 100; Beta", "; ;"])
def test_a_settings_row_that_cannot_be_meant_is_reported(value):
    """More than the whole, a maker twice, nothing left for the second, no maker: a Problem, and nothing taken."""
    settings = Settings.from_rows([("brand: Parlane", value)])
    (found,) = settings.problems
    assert found.code == "bad_setting" and found.row == 2 and not settings.brand_makers


def test_brand_only_items_are_priced_nearer_than_as_unknown(branded, model):
    """Against the truth, the same model with and without the attribution."""
    items = brand_only(branded.shop.future_items, model)
    ours = np.log(model.estimate(items, on=items["sold_on"])["fair_price"]) - items["log_fair_set"]
    unknown = items.assign(brand="unknown")
    without = np.log(model.estimate(unknown, on=items["sold_on"])["fair_price"]) - items["log_fair_set"]
    assert len(items) > 80 and model.share_by_maker[0] > 0.7
    assert ours.abs().median() < 0.85 * without.abs().median()


def test_where_buyers_pay_for_no_maker_nobody_can_name_the_price_says_so():
    """Brand-only pieces that sold like any of unknown maker: the model finds it out and prices them so."""
    shop = with_brands(simulate_shop(1_500, 22, **SMALL), 22, buyers_know=False).shop
    model = pricing.fit_price_model(shop.sales, calibrated=False)
    items = brand_only(shop.future_items, model)
    quote = model.estimate(items, on=items["sold_on"])
    without = model.estimate(items.assign(brand="unknown"), on=items["sold_on"])
    ours, theirs = (np.log(one["fair_price"]) - items["log_fair_set"] for one in (quote, without))
    assert model.share_by_maker[0] < 0.2
    assert ours.abs().median() < 1.15 * theirs.abs().median()
    told = quote["attributed"].str.contains("attributed to")
    assert quote.loc[told, "attributed"].str.endswith("more like those of unknown maker").all() and told.any()


def test_the_build_up_multiplies_and_says_how_sure(branded, model):
    """The product of the factors is the fair price; the maker's level is an attribution in words, never a claim."""
    items = brand_only(branded.shop.future_items, model).head(12)
    quote = model.estimate(items)
    for at in range(len(items)):
        reasons = model.explain(items.iloc[[at]]).set_index("factor")
        assert reasons["multiplier"].prod() == pytest.approx(quote["fair_price"].iloc[at], rel=1e-11)
        assert reasons.loc["maker", "low"] < reasons.loc["maker", "multiplier"] < reasons.loc["maker", "high"]
        assert quote["attributed"].iloc[at] in reasons.loc["maker", "level"]
    assert (quote["attributed"].str.contains("maker attributed to|maker open")).all()
    assert [words in basis for words, basis in zip(quote["attributed"], quote["basis"])] == [True] * len(items)
    stated = items.assign(maker="Maker 03")
    assert (model.estimate(stated)["attributed"] == "").all()


def test_ranges_hold_the_fair_price_and_later_sales(branded, model):
    """Bounds in order at any coverage; about 80 % of the later sales of brand-only items inside the 80 % range."""
    items = brand_only(branded.shop.future_items, model)
    for coverage in (0.2, 0.8, 0.95):
        quote = model.estimate(items, on=items["sold_on"], coverage=coverage)
        ordered = quote[["low", "fair_low", "fair_price", "fair_high", "high"]].to_numpy()
        assert (np.diff(ordered, axis=1) >= 0).all()
        if coverage == 0.8:
            inside = ((quote["low"] <= items["price_clean"]) & (items["price_clean"] <= quote["high"])).mean()
            assert 0.68 <= inside <= 0.92      # 80 % of about 130 items, three standard errors


def test_better_grades_never_cost_less_under_an_attribution(branded, model):
    """The order of grades holds for mixtures of makers too."""
    items = brand_only(branded.shop.future_items, model)
    previous = 0.0
    for grade in reversed(GRADE_ORDER):
        fair = model.estimate(items.assign(grade=grade))["fair_price"].to_numpy()
        assert (fair >= np.asarray(previous) * (1 - 1e-9)).all()
        previous = fair


def test_a_saved_model_attributes_alike(branded, tmp_path):
    """The owner's table and everything learnt come back from the file."""
    settings = Settings.from_rows([("currency", "EUR"), ("brand: Parlane", "Maker 01 70; Maker 02 30")])
    model = pricing.fit_price_model(branded.shop.sales.head(400), settings, calibrated=False)
    model.save(tmp_path / "model")
    items = brand_only(branded.shop.future_items, model).head(20)
    items = pd.concat([items, items.head(1).assign(brand="Parlane").set_axis([9_999])])
    loaded = pricing.load_price_model(tmp_path / "model")
    pd.testing.assert_frame_equal(model.estimate(items), loaded.estimate(items), check_exact=True)
    assert "Maker 01" in model.estimate(items)["attributed"].iloc[-1]


def test_quantiles_of_a_mixture():
    """A single piece keeps its own range; two equal normals a known distance apart have the median between them."""
    pieces = pd.DataFrame({"maker": ["x", "y", "z"]})
    mixture = MakerMixture(pieces, np.array([0, 1, 1]), np.array([1.0, 0.5, 0.5]), np.ones(3))
    means, half = np.array([2.0, 0.0, 1.0]), np.array([0.3, 0.2, 0.2])
    low, high = mixture.range(means, half, 0.8)
    assert (low[0], high[0]) == (pytest.approx(1.7, rel=1e-12), pytest.approx(2.3, rel=1e-12))
    np.testing.assert_allclose(mixture.median(means, 0.2), [2.0, 0.5], atol=1e-9)
    assert low[1] + high[1] == pytest.approx(1.0) and high[1] < 1.2


@pytest.mark.parametrize("probabilities, words", [
    ([0.8, 0.2], "attributed to X, 80 % sure"), ([0.2, 0.8], "attributed to Y, 80 % sure"),
    ([0.999, 0.001], "attributed to X, over 99 % sure"), ([0.45, 0.4], "attributed to X, 45 % sure; to Y, 40 %"),
    ([0.2, 0.1], "open (likeliest X, 20 %)"),
])
def test_words(probabilities, words):
    """The likeliest first; two where none is likelier than not."""
    assert attribution_in_words(pd.Series(["X", "Y"]), pd.Series(probabilities)) == words


def test_brands_of_the_simulator_leave_the_shop_as_it_was():
    """Only brands, makers lost and prices change; the same seed gives the same rows; lost makers had a brand mostly."""
    plain = simulate_shop(600, 5, **SMALL)
    first, again = (with_brands(plain, 5) for _ in range(2))
    pd.testing.assert_frame_equal(first.shop.sales, again.shop.sales)
    kept = [name for name in plain.sales if name not in ("maker", "brand", "price", "price_home")]
    pd.testing.assert_frame_equal(first.shop.sales[kept], plain.sales[kept])
    sales, lost = first.shop.sales, (first.shop.sales["maker"] == "unknown") & (first.sales_maker != "unknown")
    assert (sales.loc[~lost, "maker"] == plain.sales.loc[~lost, "maker"]).all()
    assert (sales.loc[lost, "brand"] != "unknown").mean() > 0.6
    with pytest.raises(ValueError, match="between 0 and 1"):
        with_brands(plain, 5, brand_share=2)
