"""Histories read in pieces, sales added to a fitted model, and what a saved model remembers of the owner's words."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from simulator import simulate_shop

import pricing
from pricing.price_model import fit_price_model
from pricing.price_model.fit import History, fit_effects
from pricing.shop_tables import Settings, ShopFileError, sales_in_pieces

DEMO = Path(__file__).parents[2] / "demo_data"
RAW = ["sold_on", "type", "maker", "brand", "era", "variant", "grade", "reading_pct", "set_size", "matched", "qty",
       "price", "channel", "family"]


@pytest.fixture(scope="module")
def shop():
    """A simulated shop of 900 sales."""
    return simulate_shop(900, 3)


@pytest.fixture(scope="module")
def whole(shop):
    """The model fitted to all sales at once."""
    return fit_price_model(shop.sales[RAW], calibrated=False)


def test_frames_one_after_another_give_the_model_of_one_frame(shop, whole):
    """Seven pieces and one frame: the same estimates to rounding, the same rows behind them."""
    raw = shop.sales[RAW].assign(row=np.arange(2, 902))
    pieces = fit_price_model((raw.iloc[at] for at in np.array_split(np.arange(900), 7)), calibrated=False)
    one, many = (model.estimate(shop.future_items.head(50)) for model in (whole, pieces))
    assert many["fair_price"].to_numpy() == pytest.approx(one["fair_price"].to_numpy(), rel=1e-9)
    assert (many["basis"] == one["basis"]).all()
    assert set(pieces.comparables(shop.future_items.iloc[[0]])["row"]) == set(
        whole.comparables(shop.future_items.iloc[[0]])["row"])


@pytest.mark.parametrize("kind", ["parquet", "csv", "duckdb"])
def test_files_in_pieces(kind, shop, whole, tmp_path):
    """A Parquet file, a CSV and a database hold the same history; row numbers are those of the file."""
    duckdb = pytest.importorskip("duckdb", reason="reading in pieces needs DuckDB (extra 'large')")
    sales = shop.sales[RAW]  # noqa: F841 - DuckDB finds it by name
    path = tmp_path / f"history.{kind}"
    if kind == "duckdb":
        with duckdb.connect(str(path)) as connection:
            connection.execute("create table sales as select * from sales")
    elif kind == "parquet":
        duckdb.sql("select * from sales").write_parquet(str(path))
    else:
        sales.to_csv(path, index=False)
    pieces = list(sales_in_pieces(path, rows_at_once=1))
    assert sum(len(piece) for piece in pieces) == 900
    assert pieces[-1]["row"].iloc[-1] == 901
    model = fit_price_model(sales_in_pieces(path), calibrated=False)
    fair = model.estimate(shop.future_items.head(50))["fair_price"].to_numpy()
    assert fair == pytest.approx(whole.estimate(shop.future_items.head(50))["fair_price"].to_numpy(), rel=1e-9)


def test_day_or_month_first_is_settled_from_the_whole_file(tmp_path):
    """Only the last line tells that the month stands first; the first piece is read so too."""
    pytest.importorskip("duckdb", reason="reading in pieces needs DuckDB (extra 'large')")
    path = tmp_path / "months.csv"
    lines = [f"0{1 + at % 9}/02/2024,EL84,20" for at in range(4000)] + ["03/25/2024,EL84,20"]
    path.write_text("sold_on,type,price\n" + "\n".join(lines))
    first, *_ = sales_in_pieces(path, rows_at_once=2048)
    assert [str(date) for date in first["sold_on"].head(2)] == ["2024-01-02", "2024-02-02"]


@pytest.mark.parametrize("name, content", [("none.csv", None), ("text.parquet", b"no"), ("sales.xlsx", b"x")])
def test_a_file_that_cannot_be_read_in_pieces_says_why(name, content, tmp_path):
    """Missing, damaged or of another kind: the file is named, and what to do."""
    pytest.importorskip("duckdb", reason="reading in pieces needs DuckDB (extra 'large')")
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(ShopFileError, match=name):
        list(sales_in_pieces(tmp_path / name))


def test_adding_sales_gives_the_fit_at_the_same_variances(shop):
    """Old and new sales together at the old variances; new types and makers included."""
    past, later = shop.sales.iloc[:850], shop.sales.iloc[850:]
    model = fit_price_model(past, calibrated=False)
    grown = model.with_sales(later)
    assert grown.n_sales == 900 and grown.as_of == later["sold_on"].max().normalize()
    together = History.of(grown.history.sales, grown.as_of)
    again = fit_effects(together, theta=model.fit.posterior.theta, estimate_theta=False)
    items = grown.describe(shop.future_items.head(200))
    rows, _ = grown.rows(items)
    assert np.median(np.abs(grown.fit.posterior.mean(rows) - again.posterior.mean(rows))) < 0.01
    refit = fit_price_model(shop.sales, calibrated=False).estimate(shop.future_items)["fair_price"]
    gap = np.log(grown.estimate(shop.future_items)["fair_price"] / refit).abs()
    assert gap.median() < 0.02


def test_the_heaviest_sales_are_those_that_compare(shop, whole, monkeypatch):
    """A few items at a time or all at once: the rows that `comparables` gives."""
    items = shop.future_items.head(5)
    monkeypatch.setattr("pricing.price_model.model._ITEMS_AT_ONCE", 2)
    assert whole.heaviest_sales(items, 4) == [
        whole.comparables(items.iloc[[at]], 4)["row"].tolist() for at in range(len(items))]


def test_a_maker_spelt_otherwise_is_the_same_maker(shop, whole):
    """Capitals and punctuation differ from piece to piece, or from old sales to new: the most used spelling counts."""
    raw = shop.sales[RAW]
    shouted = raw.assign(maker=raw["maker"].str.upper(), variant=raw["variant"].str.upper())
    pieces = fit_price_model(iter([raw.iloc[:600], shouted.iloc[600:]]), calibrated=False)
    grown = fit_price_model(raw.iloc[:600], calibrated=False).with_sales(shouted.iloc[600:])
    for model in (pieces, grown):
        names = set(model.history.sales["maker"])
        assert {one.casefold() for one in names} == {one.casefold() for one in whole.history.sales["maker"]}
        assert len(names) == whole.history.sales["maker"].nunique()
    items = shop.future_items.head(50)
    assert pieces.estimate(items)["fair_price"].to_numpy() == pytest.approx(
        whole.estimate(items)["fair_price"].to_numpy(), rel=1e-9)


def test_adding_nothing_usable_changes_nothing_but_the_problems(whole):
    """A row without a price teaches nothing and is explained."""
    grown = whole.with_sales(pd.DataFrame({"sold_on": ["2025-01-01"], "type": ["EL84"], "price": [""]}))
    assert grown.n_sales == whole.n_sales and grown.n_rows_given == whole.n_rows_given + 1
    assert len(grown.problems) > len(whole.problems)


def test_a_loaded_model_reads_items_with_the_owners_words(shop, tmp_path):
    """Own grade spellings, own types and their aliases mean the same after saving and loading."""
    settings = Settings.from_rows([("grade: ninety-nine", "new old stock, boxed"), ("currency", "EUR")])
    register, _ = pricing.load_register().with_types(
        [{"designation": "QX99", "canonical_type": "EL84", "aliases": "QX-NINE"}])
    sales = shop.sales[RAW].assign(type=lambda frame: np.where(frame.index % 3 == 0, "EL84", frame["type"]))
    model = fit_price_model(sales, settings, register, calibrated=False)
    model.save(tmp_path / "model.prices")
    loaded = pricing.load_price_model(tmp_path / "model.prices")
    item = {"type": "QX-NINE", "grade": "ninety-nine"}
    one, other = (m.estimate(pd.DataFrame([item])) for m in (model, loaded))
    pd.testing.assert_frame_equal(one, other)
    plain = model.estimate(pd.DataFrame([{"type": "EL84", "grade": "new old stock, boxed"}]))
    assert one["n_sales"].iloc[0] > 0 and plain["oldest_sale"].iloc[0] == one["oldest_sale"].iloc[0]
    assert loaded.settings.currency == "EUR"


def test_a_loaded_model_makes_the_workbook(tmp_path):
    """What stands behind the sheets is saved too: stock codes of sales, currencies, prices as booked."""
    shop = pricing.read_shop(DEMO)
    shop = replace(shop, sales=shop.sales.head(700), stock=shop.stock.head(40))
    fit_price_model(shop.sales, shop.settings, shop.register).save(tmp_path / "model.prices")
    loaded = pricing.load_price_model(tmp_path / "model.prices")
    plan = pricing.plan_list_prices(loaded, shop.stock, shop)
    pricing.build_workbook(tmp_path / "shop.xlsx", shop, loaded, plan=plan)
    assert (tmp_path / "shop.xlsx").stat().st_size > 10_000
