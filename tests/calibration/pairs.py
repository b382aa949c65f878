"""Worlds of judges: how sure a plan's corner of the matrix is, said from their comparisons and true of the plans.

Ordinary: each plan has an impact and an effort, normal; each judge sees each plan a little otherwise, and so in all of
their comparisons (a random effect of judge and plan; Cattelan 2012, "Models for paired comparison data", Statistical
Science 27, 412-433); an answer follows from what the judge sees by the logistic law (Bradley & Terry 1952), and near
equals are called "about the same". Spreads go from alike to twice the unit of the answers, judges' own views from none
to as large as that unit. Hard, as no method assumes them: two camps of judges with a view in common; values with heavy
tails; judges of whom a quarter of the answers are given without reading; plans that are two kinds, far apart; a halo,
by which what seems great seems easy.

True is the corner in which the plan's value for all such judges lies, "much" from the mean of the plans on, as said.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from math import ceil

import numpy as np
import numpy.typing as npt

from coldframe.domain.names import Axis, MemberId, PlanId
from coldframe.domain.round.placement import MAX_QUESTIONS_EACH, PER_PLAN
from coldframe.domain.state import Comparison
from coldframe.engine.worker.explaining import placement
from tests.calibration import earlier
from tests.calibration.claims import Said

Floats = npt.NDArray[np.float64]
SPREADS, VIEWS = (0.2, 0.7, 1.2, 2.0), (0.0, 0.5, 1.0)
ALIKE = 0.2  # a judge who sees less between two calls them about the same, in half of the cases
CLAIM = "corner of a plan"


@dataclass(frozen=True, slots=True)
class Family:
    name: str
    hard: bool


ORDINARY = Family("judges who differ", hard=False)
HARD = tuple(Family(name, hard=True) for name in ("camps of judges", "heavy tails", "unread", "two kinds", "halo"))


def statements(worlds: int, seed: int) -> Iterator[Said]:
    """Each plan's corner, a third of the worlds hard."""
    rng = np.random.default_rng(seed)
    for number in range(worlds):
        family = HARD[number // 3 % len(HARD)] if number % 3 == 2 else ORDINARY
        spread, view = SPREADS[int(rng.integers(len(SPREADS)))], VIEWS[int(rng.integers(len(VIEWS)))]
        world = family.name if family.hard else f"{family.name} by {view:g}, spread {spread:g}"
        for said, true, before in one(rng, family, spread, view):
            yield Said(CLAIM, world, family.hard, said, true, before)


def one(rng: np.random.Generator, family: Family, spread: float, view: float) -> Iterator[tuple[float, float, bool]]:
    """Of each plan what is said, whether it is true, and whether that is by the method before."""
    plans, judges = int(rng.integers(3, 9)), int(rng.integers(5, 13))
    values = spread * _values(rng, family.name, plans)
    seen = values[:, None, :] + view * rng.normal(size=(2, judges, plans))
    if family.name == "camps of judges":
        seen += np.where(np.arange(judges) % 2, 1.0, -1.0)[:, None] * rng.normal(size=(2, 1, plans))
    if family.name == "halo":
        seen[1] -= 0.5 * seen[0]
        values[1] -= 0.5 * values[0]
    careless = 0.25 if family.name == "unread" else 0.0
    named = [(f"p{n}", f"Plan {n}") for n in range(plans)]
    answers = [
        _answer(rng, axis, judge, a, b, float(seen[at, judge, a] - seen[at, judge, b]), careless)
        for at, axis in enumerate((Axis.IMPACT, Axis.EFFORT))
        for judge, a, b in _pairs(rng, plans, judges)
    ]
    chart = placement(named, answers, one_view=False)
    much = values > values.mean(axis=1, keepdims=True)
    for point, impact, effort in zip(chart.points, much[0], much[1], strict=True):
        true = CORNERS[bool(impact), bool(effort)] == point.corner
        if point.certainty is not None:
            yield point.certainty, float(true), False
    for at, (is_much, is_hard, sure) in enumerate(earlier.corners([plan for plan, _ in named], answers)):
        yield sure, float((is_much, is_hard) == (bool(much[0, at]), bool(much[1, at]))), True


CORNERS = {
    (True, False): "trial now",
    (True, True): "make it a project",
    (False, False): "just do it",
    (False, True): "set aside",
}


def _values(rng: np.random.Generator, name: str, plans: int) -> Floats:
    if name == "heavy tails":
        return np.asarray(rng.standard_t(2, (2, plans)))
    if name == "two kinds":
        return np.where(rng.random((2, plans)) < 0.5, 1.0, -1.0) + 0.1 * rng.normal(size=(2, plans))
    return np.asarray(rng.normal(size=(2, plans)))


def _pairs(rng: np.random.Generator, plans: int, judges: int) -> Iterator[tuple[int, int, int]]:
    """Who is asked which pair: in turns round all pairs, as `domain.round.placement` deals them."""
    pairs = rng.permutation(list(combinations(range(plans), 2)))
    share = min(ceil(PER_PLAN * plans / judges), MAX_QUESTIONS_EACH // 2, len(pairs))
    for judge in range(judges):
        for at in range(share):
            a, b = pairs[(judge * share + at) % len(pairs)]
            yield judge, int(a), int(b)


def _answer(
    rng: np.random.Generator, axis: Axis, judge: int, a: int, b: int, gap: float, careless: float
) -> Comparison:
    if rng.random() < careless:
        gap = 0.0
    if abs(gap) < ALIKE and rng.random() < 0.5:
        outcome = "same"
    else:
        outcome = "first" if rng.random() < 1 / (1 + np.exp(-gap)) else "second"
    return Comparison(MemberId(f"judge {judge}"), axis, PlanId(f"p{a}"), PlanId(f"p{b}"), outcome)  # type: ignore[arg-type]
