"""Histories with next to nothing in them: finite prices, wide ranges, a note, and never an exception."""

import warnings

import numpy as np
import pandas as pd
import pytest
from simulator import simulate_shop

import pricing

BASE = simulate_shop(300, 1).sales
ITEMS = pd.DataFrame({
    "type": ["EL84", BASE["type"].iloc[0], "nonsense"], "maker": ["", BASE["maker"].iloc[0], "nobody"],
    "grade": ["NOS", "", "used, weak"], "set_size": [1, 2, 4], "reading_pct": [None, 95, 40],
})


def with_gaps():
    """Fifteen years in two bursts."""
    days = np.where(np.arange(len(BASE)) < 150, np.arange(len(BASE)) * 3, 5200 + np.arange(len(BASE)))
    return BASE.assign(sold_on=pd.Timestamp("2010-03-01") + pd.to_timedelta(days, "D"))


def some_in_the_future():
    """Five rows dated far ahead."""
    dates = BASE["sold_on"].copy()
    dates.iloc[:5] = pd.Timestamp("2090-01-01")
    return BASE.assign(sold_on=dates)


ONE = pd.DataFrame({"sold_on": ["2024-05-01"], "type": ["EL84"], "price": [30.0]})
HISTORIES = {
    "one sale": ONE,
    "two sales": pd.concat([ONE, ONE.assign(type="12AX7", sold_on="2024-06-01")], ignore_index=True),
    "one type": BASE.assign(type="EL84", canonical_type="EL84", designation="EL84", family="EL84 kin"),
    "one maker": BASE.assign(maker="M"),
    "one grade": BASE.assign(grade="used, good"),
    "one era": BASE.assign(era="1960s"),
    "one channel": BASE.assign(channel="own site"),
    "one set size": BASE.assign(set_size=1),
    "one month": BASE.assign(sold_on=pd.Timestamp("2024-05-05")),
    "all prices equal": BASE.assign(price=20.0, price_home=20.0, set_size=1, qty=1),
    "every maker tied to one type": BASE.assign(maker="M" + BASE["canonical_type"]),
    "no readings": BASE.assign(reading_pct=np.nan),
    "fifteen years with gaps": with_gaps(),
    "dates in the future": some_in_the_future(),
    "one row fifty times": pd.concat([BASE.iloc[[0]]] * 50, ignore_index=True),
}


@pytest.mark.parametrize("name", HISTORIES)
def test_prices_stay_finite(name):
    """Every number the owner may see is finite, ranges are in order, and nothing warns."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        model = pricing.fit_price_model(HISTORIES[name])
        for on in (None, "2030-01-01", "1990-01-01"):
            quote = model.estimate(ITEMS, on=on)
            numbers = quote[["low", "fair_low", "fair_price", "fair_high", "high"]]
            assert np.isfinite(numbers).all(axis=None) and (numbers > 0).all(axis=None)
            assert (np.diff(numbers.to_numpy(), axis=1) >= 0).all()
        reasons = model.explain(ITEMS.iloc[[1]])
        assert reasons["multiplier"].prod() == pytest.approx(model.estimate(ITEMS)["fair_price"].iloc[1], rel=1e-12)
        model.comparables(ITEMS.iloc[[1]])
        assert np.isfinite(model.summary()["value"]).all()
        assert np.isfinite(model.time_index[["index", "low", "high"]]).all(axis=None)
        assert model.record


@pytest.mark.parametrize("name", ["one sale", "two sales"])
def test_next_to_nothing_is_said_and_wide(name):
    """A type never sold is priced with a range of at least a factor of three, and the notes say how little is known."""
    model = pricing.fit_price_model(HISTORIES[name])
    quote = model.estimate(ITEMS.iloc[[2]])
    assert (quote["high"] / quote["low"]).iloc[0] > 3
    assert "general assumptions" in " ".join(model.notes)


def test_constant_columns_are_said():
    """One maker throughout: what another would change is assumed, and the notes say so."""
    notes = " ".join(pricing.fit_price_model(HISTORIES["one maker"]).notes)
    assert "All sales have one maker (M)" in notes


def test_future_rows_are_problems_and_never_move_the_date():
    """The model's date is the newest plausible sale's; the rows ahead are listed."""
    model = pricing.fit_price_model(HISTORIES["dates in the future"])
    assert model.as_of <= BASE["sold_on"].max()
    assert sum(problem.code == "date_in_future" for problem in model.problems) == 5


def test_nothing_usable_is_an_error_that_says_what_is_needed():
    """No row with a price: the message counts the rows and names what each needs."""
    with pytest.raises(ValueError, match="none of the 1 sales can be used: each needs a readable date"):
        pricing.fit_price_model(ONE.assign(price=None))


def test_extreme_prices_do_not_overflow():
    """A hundred thousand apart in one history."""
    sales = BASE.assign(price_home=np.where(np.arange(len(BASE)) % 2, 0.01, 1e5))
    sales["price"] = sales["price_home"]
    quote = pricing.fit_price_model(sales).estimate(ITEMS)
    assert np.isfinite(quote[["low", "high"]]).all(axis=None)
