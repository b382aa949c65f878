"""What customers are worth, and what one more point on a lever is worth with the team's own numbers.

All money is in the unit of the margin given, in today's value; rates are shares from 0 to 1; time is in
years. The figures weigh levers against each other: they say what a point would be worth, not that a trial
will bring it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from coldframe.analysis.inputs import BadNumber, choice, finite, positive, rate, whole

POINT = 0.01  # share
MONTHS = 12  # in a year
OFF_BOTH_WAYS = (-0.2, 0.2)
"""How wrong each of the team's numbers may be in the ranges, as shares of itself."""


def margin_multiple(retention: float, discount: float) -> float:
    """What a customer's yearly margin is to be multiplied by: retention / (1 + discount - retention).

    `retention`: share of customers who stay another year, 0 to 1; `discount`: yearly discount rate, 0 or more
    (above 0 when everybody stays, else the sum has no end). First payment a year from now, no end. Source:
    Gupta & Lehmann, Managing Customers as Investments, 2005. Raises BadNumber.
    """
    stay, worth_less = rate("retention", retention), finite("discount", discount, least=0)
    if stay == 1 and worth_less == 0:
        raise BadNumber("discount", discount, "a number above 0 when retention is 1")
    return stay / (1 + worth_less - stay)


def lifetime_value(
    margin: float,
    retention: float,
    discount: float,
    *,
    years: int | None = None,
    first_payment_now: bool = False,
) -> float:
    """Today's value of one customer's yearly margins, in the unit of `margin` (which may be negative).

    Paid at the end of each year by those still there, for `years` years or without end (None);
    `first_payment_now` adds one margin at once. With an end, a retention of 1 and a discount of 0 are fine
    together: each year counts in full. Source as for `margin_multiple`. Raises BadNumber.
    """
    yearly = finite("margin", margin)
    at_once = float(choice("first_payment_now", first_payment_now, (False, True)))
    if years is None:
        return yearly * (margin_multiple(retention, discount) + at_once)
    ratio = rate("retention", retention) / (1 + finite("discount", discount, least=0))
    span = whole("years", years)
    return yearly * (at_once + (span if ratio == 1 else ratio * (1 - ratio**span) / (1 - ratio)))


@dataclass(frozen=True, slots=True)
class Funnel:
    """A team's own numbers, from visitor to margin.

    `visitors` a month; `sign_up` share of them who sign up; `activation` share of these who become customers;
    `retention` share of customers who stay another year; `margin` per customer and year (above 0); `discount`
    yearly (above 0). `customers`: those there are today, for what a point of retention is worth on them.
    `first_payment_now`: a new customer's first yearly margin comes at once, not after a year. Raises
    BadNumber.
    """

    visitors: float
    sign_up: float
    activation: float
    retention: float
    margin: float
    discount: float = 0.1
    customers: float = 0.0
    first_payment_now: bool = True

    def __post_init__(self) -> None:
        for name in ("visitors", "customers"):
            finite(name, getattr(self, name), least=0)
        for name in ("sign_up", "activation", "retention"):
            rate(name, getattr(self, name))
        positive("margin", self.margin)
        positive("discount", self.discount)
        choice("first_payment_now", self.first_payment_now, (False, True))

    @property
    def new_customers(self) -> float:
        """Customers won in a year."""
        return MONTHS * self.visitors * self.sign_up * self.activation

    @property
    def customer_value(self) -> float:
        """Lifetime value of a new customer."""
        return lifetime_value(self.margin, self.retention, self.discount, first_payment_now=self.first_payment_now)


@dataclass(frozen=True, slots=True)
class LeverValue:
    """What one more point on a lever is worth.

    `worth`: lifetime value that a year's new customers gain by it, every year it lasts. `once`: what it adds,
    one time, to the customers there are today (retention only). `point`: the step taken, 0.01 or the room
    left below 1. `low` and `high`: `worth` if all numbers may be off by 20 % at the same time, at worst and
    at best.
    """

    lever: str
    worth: float
    once: float
    point: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class LeverValues:
    """All three levers. `first_stays`: share of the cases "each number 20 % too low or too high" with the same first.

    Its ranges tell how far the values move, `first_stays` whether that matters for the choice: numbers that
    move all levers alike leave their order as it is.
    """

    acquisition: LeverValue
    activation: LeverValue
    retention: LeverValue
    first_stays: float

    @property
    def ranked(self) -> tuple[LeverValue, ...]:
        """Highest worth first; equal ones in the order of the funnel."""
        return tuple(sorted(self, key=lambda value: -value.worth))

    def __iter__(self) -> Iterator[LeverValue]:
        return iter((self.acquisition, self.activation, self.retention))


def lever_values(funnel: Funnel) -> LeverValues:
    """What one more point on acquisition (sign-up), activation and retention is worth a year, and how sure that is.

    Off by 20 % means: visitors, sign-up, activation, margin and discount times 0.8 or 1.2 (shares within 0 and 1);
    for retention the share that leaves, since 20 % more than 0.9 would be more than everybody. Each worth
    rises or falls steadily with each number, so the extremes are among those corners. Own arithmetic on
    `lifetime_value`. Raises BadNumber if `funnel` is not a Funnel.
    """
    if not isinstance(funnel, Funnel):
        raise BadNumber("funnel", funnel, "a Funnel")
    points = _points(funnel)
    cases = [_worths(corner, points) for corner in _corners(funnel)]
    found = _worths(funnel, points)
    first = max(found, key=lambda lever: found[lever])
    stays = sum(case[first] >= max(case.values()) for case in cases) / len(cases)
    values = {lever: _lever_value(funnel, lever, cases) for lever in found}
    return LeverValues(values["acquisition"], values["activation"], values["retention"], stays)


_RATE_OF = {"acquisition": "sign_up", "activation": "activation", "retention": "retention"}
_UNSURE = ("visitors", "sign_up", "activation", "retention", "margin", "discount")


def _lever_value(funnel: Funnel, lever: str, cases: list[dict[str, float]]) -> LeverValue:
    point = _points(funnel)[lever]
    found = [case[lever] for case in cases]
    return LeverValue(
        lever,
        _worth(funnel, lever, point),
        funnel.customers * _gain_per_customer(funnel, point) if lever == "retention" else 0.0,
        point,
        min(found),
        max(found),
    )


def _points(funnel: Funnel) -> dict[str, float]:
    return {lever: float(min(POINT, 1 - getattr(funnel, name))) for lever, name in _RATE_OF.items()}


def _worths(funnel: Funnel, points: dict[str, float]) -> dict[str, float]:
    return {lever: _worth(funnel, lever, point) for lever, point in points.items()}


def _worth(funnel: Funnel, lever: str, point: float) -> float:
    if lever == "retention":
        return funnel.new_customers * _gain_per_customer(funnel, point)
    # Customers won grow in proportion to either share, wherever it stands.
    step = _with(funnel, {_RATE_OF[lever]: point})
    return step.new_customers * step.customer_value


def _gain_per_customer(funnel: Funnel, point: float) -> float:
    """What a point of retention adds to one customer; a share too near to 1 begins lower, so that the step fits."""
    start = min(funnel.retention, 1 - point)
    before, after = (_with(funnel, {"retention": stay}) for stay in (start, start + point))
    return after.customer_value - before.customer_value


def _corners(funnel: Funnel) -> Iterator[Funnel]:
    for ways in itertools.product(OFF_BOTH_WAYS, repeat=len(_UNSURE)):
        yield _off(funnel, dict(zip(_UNSURE, ways, strict=True)))


def _off(funnel: Funnel, ways: dict[str, float]) -> Funnel:
    """The funnel with numbers off by these shares of themselves (retention: of those who leave)."""
    moved = {}
    for name, way in ways.items():
        value = getattr(funnel, name)
        moved[name] = 1 - (1 - value) * (1 - way) if name == "retention" else value * (1 + way)
    return _with(funnel, moved)


def _with(funnel: Funnel, values: dict[str, float]) -> Funnel:
    shares = set(_RATE_OF.values())
    possible: dict[str, Any] = {
        name: min(max(value, 0.0), 1.0) if name in shares else value for name, value in values.items()
    }
    return replace(funnel, **possible)
