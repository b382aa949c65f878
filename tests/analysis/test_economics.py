"""What customers and one more point on a lever are worth."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.analysis.economics import Funnel, lever_values, lifetime_value, margin_multiple
from coldframe.analysis.inputs import BadNumber

# Gupta & Lehmann, Managing Customers as Investments: margin multiple by retention and discount rate
MULTIPLES = {
    0.10: {0.60: 1.20, 0.70: 1.75, 0.80: 2.67, 0.90: 4.50},
    0.12: {0.60: 1.15, 0.70: 1.67, 0.80: 2.50, 0.90: 4.09},
    0.14: {0.60: 1.11, 0.70: 1.59, 0.80: 2.35, 0.90: 3.75},
    0.16: {0.60: 1.07, 0.70: 1.52, 0.80: 2.22, 0.90: 3.46},
}
TEAM = Funnel(visitors=4000, sign_up=0.05, activation=0.4, retention=0.8, margin=120, discount=0.1, customers=900)

rates = st.floats(0, 1)
funnels = st.builds(
    Funnel,
    visitors=st.floats(0, 1e6),
    sign_up=rates,
    activation=rates,
    retention=rates,
    margin=st.floats(0.01, 1e4),
    discount=st.floats(0.01, 1),
    customers=st.floats(0, 1e6),
    first_payment_now=st.booleans(),
)


# --- lifetime value -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("retention", "discount", "printed"),
    [(r, i, printed) for i, row in MULTIPLES.items() for r, printed in row.items()],
)
def test_margin_multiples_as_printed(retention, discount, printed) -> None:
    """The table of margin multiples of Gupta & Lehmann, to the digits printed."""
    assert margin_multiple(retention, discount) == pytest.approx(printed, abs=0.005 + 1e-9)


def test_margin_multiples_in_more_digits() -> None:
    """Retention 85 %: 3.4000 at 10 % discount, 3.1481 at 12 %; a first payment at once adds exactly 1."""
    assert margin_multiple(0.85, 0.10) == pytest.approx(3.4, abs=5e-5)
    assert margin_multiple(0.85, 0.12) == pytest.approx(3.1481, abs=5e-5)
    assert lifetime_value(1, 0.85, 0.10, first_payment_now=True) == pytest.approx(1.1 / 0.25)


@pytest.mark.parametrize(
    ("discount", "retention", "gain"),
    [
        (0.10, 0.80, 0.275),
        (0.10, 0.90, 0.407),
        (0.05, 0.93, 0.806),  # 14 / 7.75 = 1.80645; 80.7 % would be rounded twice
    ],
)
def test_five_points_of_retention(discount, retention, gain) -> None:
    """Own arithmetic on r / (1 + i - r): five points more raise lifetime value by 27.5, 40.7 and 80.6 %."""
    change = lifetime_value(80, retention + 0.05, discount) / lifetime_value(80, retention, discount) - 1
    assert change == pytest.approx(gain, abs=5e-4)


def test_everybody_stays() -> None:
    """A retention of 1 is worth the yearly margin for ever: margin / discount; without discount only with an end."""
    assert lifetime_value(50, 1, 0.1) == pytest.approx(500)
    assert lifetime_value(50, 1, 0, years=7) == 350
    with pytest.raises(BadNumber, match=r"discount is 0; allowed: a number above 0 when retention is 1"):
        margin_multiple(1, 0)


def test_nobody_stays() -> None:
    """A retention of 0 leaves the payment made at once, or nothing."""
    assert lifetime_value(50, 0, 0.1) == 0
    assert lifetime_value(50, 0, 0.1, first_payment_now=True) == 50


@given(st.floats(-1e4, 1e4), rates, st.floats(0, 1), st.integers(0, 60), st.booleans())
def test_lifetime_value_is_the_sum_of_the_years(margin, retention, discount, years, now) -> None:
    """With an end, the closed form equals adding up year by year."""
    yearly = [margin * (retention / (1 + discount)) ** year for year in range(1, years + 1)]
    expected = math.fsum([margin * now, *yearly])
    found = lifetime_value(margin, retention, discount, years=years, first_payment_now=now)
    assert found == pytest.approx(expected, rel=1e-6, abs=1e-6)


@given(st.floats(0, 0.95), st.floats(0.01, 1))
def test_a_long_end_comes_near_no_end(retention, discount) -> None:
    """Four hundred years are as good as all of them."""
    assert lifetime_value(1, retention, discount, years=400) == pytest.approx(margin_multiple(retention, discount))


# --- levers ---------------------------------------------------------------------------------------------------


def test_a_point_on_each_lever_by_hand() -> None:
    """4,000 visitors, 5 %, 40 %, 80 % stay, 120 a year, 10 %: 440 per customer, 960 new ones a year."""
    found = lever_values(TEAM)
    assert found.acquisition.worth == pytest.approx(12 * 4000 * 0.01 * 0.4 * 440)
    assert found.activation.worth == pytest.approx(12 * 4000 * 0.05 * 0.01 * 440)
    gain = 120 * (0.81 / 0.29 - 0.8 / 0.3)
    assert found.retention.worth == pytest.approx(960 * gain)
    assert found.retention.once == pytest.approx(900 * gain)
    assert [value.lever for value in found.ranked] == ["acquisition", "retention", "activation"]


@given(funnels)
def test_worth_is_the_change_of_the_years_value(funnel) -> None:
    """A lever's worth is what a year's new customers are worth with the point, less what they are worth without."""

    def value(rates: Funnel) -> float:
        customers = 12 * rates.visitors * rates.sign_up * rates.activation
        return customers * lifetime_value(
            rates.margin, rates.retention, rates.discount, first_payment_now=rates.first_payment_now
        )

    found = lever_values(funnel)
    for lever, name in zip(found, ("sign_up", "activation", "retention"), strict=True):
        raised = replace(funnel, **{name: min(1.0, getattr(funnel, name) + lever.point)})
        assert 0 <= lever.point <= 0.01
        assert lever.worth == pytest.approx(value(raised) - value(funnel), rel=1e-6, abs=1e-9 * (1 + value(funnel)))


@given(funnels, st.sampled_from(("visitors", "margin", "discount")), st.sampled_from((0.8, 1.0, 1.2)))
def test_ranges_hold_what_one_wrong_number_does(funnel, number, times) -> None:
    """What a lever is worth when one number is 20 % off lies within what all wrong numbers together can do."""
    found = lever_values(replace(funnel, **{number: times * getattr(funnel, number)}))
    for lever, off in zip(lever_values(funnel), found, strict=True):
        slack = 1e-6 * (1 + abs(lever.high))
        assert lever.low - slack <= off.worth <= lever.high + slack


def test_worst_and_best_case_by_hand() -> None:
    """All numbers 20 % too high or too low at once: visitors, activation, margin, those who leave, discount."""
    found = lever_values(TEAM).acquisition
    low = 12 * 3200 * 0.01 * 0.32 * 96 * 1.12 / (1.12 - 0.76)
    high = 12 * 4800 * 0.01 * 0.48 * 144 * 1.08 / (1.08 - 0.84)
    assert (found.low, found.high) == pytest.approx((low, high))


def test_whether_the_first_lever_stays_first() -> None:
    """A lever far ahead stays first in all cases; with two close ones it depends on which number is off."""
    assert lever_values(TEAM).first_stays == 1
    close = replace(TEAM, sign_up=0.39)
    assert [value.lever for value in lever_values(close).ranked[:2]] == ["retention", "acquisition"]
    assert 0 < lever_values(close).first_stays < 1


def test_no_room_for_another_point() -> None:
    """Where everybody signs up, becomes a customer or stays, one more point is worth nothing."""
    full = lever_values(replace(TEAM, sign_up=1.0, activation=1.0, retention=1.0))
    assert [(value.worth, value.low, value.high, value.point) for value in full] == [(0, 0, 0, 0)] * 3
    nearly = lever_values(replace(TEAM, activation=0.996))
    assert nearly.activation.point == pytest.approx(0.004)
    assert nearly.activation.low > 0


# --- bad input ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: margin_multiple(1.1, 0.1), "retention"),
        (lambda: margin_multiple("80 %", 0.1), "retention"),
        (lambda: margin_multiple(math.nan, 0.1), "retention"),
        (lambda: margin_multiple(0.8, -0.1), "discount"),
        (lambda: margin_multiple(0.8, math.inf), "discount"),
        (lambda: lifetime_value(math.nan, 0.8, 0.1), "margin"),
        (lambda: lifetime_value(1, -0.1, 0.1), "retention"),
        (lambda: lifetime_value(1, 1.2, 0.1, years=3), "retention"),
        (lambda: lifetime_value(1, 0.8, -1, years=3), "discount"),
        (lambda: lifetime_value(1, 0.8, 0.1, years=-1), "years"),
        (lambda: lifetime_value(1, 0.8, 0.1, years=2.5), "years"),
        (lambda: lifetime_value(1, 0.8, 0.1, first_payment_now=1), "first_payment_now"),
        (lambda: replace(TEAM, visitors=-1), "visitors"),
        (lambda: replace(TEAM, sign_up=5), "sign_up"),
        (lambda: replace(TEAM, activation="40"), "activation"),
        (lambda: replace(TEAM, retention=math.nan), "retention"),
        (lambda: replace(TEAM, margin=0), "margin"),
        (lambda: replace(TEAM, discount=0), "discount"),
        (lambda: replace(TEAM, customers=-1), "customers"),
        (lambda: replace(TEAM, first_payment_now="yes"), "first_payment_now"),
        (lambda: lever_values({"visitors": 3}), "funnel"),
    ],
)
def test_bad_input_is_named(call, argument) -> None:
    """A wrong argument is refused with its name, its value and what would do."""
    with pytest.raises(BadNumber) as caught:
        call()
    assert caught.value.argument == argument
