"""Figures as they were when they were laid beside the truth (`tests.bench.calibration`, `tests/bench/*.txt`). Their
methods hold constants that were found by measuring: whoever changes what is said changes a figure here, measures anew
whether it is still true, and only then writes the new one down."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from coldframe.analysis.chances import by_review
from coldframe.analysis.evidence import gather
from coldframe.analysis.likeness import Alike
from coldframe.analysis.measures import Direction, Kind, Measure
from coldframe.analysis.placing import placed
from coldframe.analysis.similarity import further, propose
from coldframe.analysis.sizing import PlanMeasure, weeks_needed
from coldframe.analysis.stability import stays_first
from tests.analysis.test_similarity import by_letters
from tests.analysis.trials import before_after, shares


@pytest.mark.parametrize(
    ("group", "lead", "quota", "stays"),
    [
        ([9, 5, 3, 2, 2], [0] * 5, 3, 0.602),
        ([5, 4, 4, 4, 4], [0] * 5, 3, 0.2205),
        ([7, 4, 4], [0, 2, 0], 2, 0.349),
        ([9, 6, 3, 3], [0] * 4, 3, 0.366),
        ([12, 8, 1], [0] * 3, 1, 0.704),
        ([4, 3, 2, 1], [0, 0, 4, 0], 2, 0.799),
    ],
)
def test_how_soft_a_first_place_is(group: list[int], lead: list[int], quota: int, stays: float) -> None:
    """Within what 40,000 draws leave open."""
    assert stays_first(group, lead, quota, draws=40_000) == pytest.approx(stays, abs=0.01)


ANSWERS = [(judge, one, other, 1.0) for judge in range(3) for one, other in ("ab", "bc", "cd", "ad")]


@pytest.mark.parametrize(
    ("answers", "scores", "errors", "above"),
    [
        (
            [*ANSWERS, ("z", "d", "a", 1.0), ("z", "b", "c", 0.5)],
            (0.7121, 0.16572, -0.16572, -0.7121), (0.69255, 0.53288, 0.53288, 0.69255),
            (0.90155, 0.63261, 0.36739, 0.09845),
        ),
        (
            [("one", "a", "b", 1.0), ("one", "b", "c", 1.0)],
            (0.66509, 0, -0.66509), (1.06174, 0.73684, 1.06174), (0.76344, 0.5, 0.23656),
        ),
    ],
)  # fmt: skip
def test_where_plans_lie(
    answers: Any, scores: Sequence[float], errors: Sequence[float], above: Sequence[float]
) -> None:
    """Several people who differ, and one alone who is taken at their word."""
    found = placed(sorted({name for _, *pair, _ in answers for name in pair}), answers)
    assert found.scores == pytest.approx(scores, abs=2e-5)
    assert found.standard_errors == pytest.approx(errors, abs=2e-5)
    assert found.above == pytest.approx(above, abs=2e-5)


@pytest.mark.parametrize(
    ("measure", "values", "chances"),
    [
        (before_after(), [0.104, 0.112], (0.823217, 0.853752, 0.999946)),
        (before_after(), [0.1, 0.1, 0.1], (0.000789, 0.000792, 0.35951)),
        (before_after(target=0.09, direction=Direction.DOWN), [0.095, 0.093], (0.808777, 0.921928, 0.997735)),
    ],
)
def test_the_chance_of_weeks_beside_earlier_ones(
    measure: Measure, values: list[float], chances: tuple[float, ...]
) -> None:
    """If few ideas work, if many do, and if this one works as planned."""
    weeks = shares(values)
    seen = gather(measure, weeks, 0.95)
    assert seen is not None
    found = by_review(measure, weeks, seen)
    assert found is not None
    assert (found.value, found.high, found.if_target) == pytest.approx(chances, abs=2e-6)


@pytest.mark.parametrize(
    ("plan", "weeks", "targets"),
    [
        (PlanMeasure(Kind.SPLIT_SHARES, 0.2, 0.26, 300), 5.14042, (0.27964, 0.26844, 0.26088, 0.25534)),
        (PlanMeasure(Kind.SHARE_TARGET, 0.2, 0.26, 90), 4.41054, (0.27344, 0.26315, 0.2562, 0.25111)),
        (PlanMeasure(Kind.SPLIT_RATES, 0.05, 0.065, 2000), 4.14391, (0.0679, 0.06529, 0.06355, 0.06229)),
        (PlanMeasure(Kind.COUNT_TARGET, 5, 8), 23.94587, (10.21951, 9.66573, 9.31035, 9.06128)),
        (PlanMeasure(Kind.COUNT_TARGET, 10, 6), 8.17363, (4.56028, 5.07002, 5.4086, 5.65135)),
        (PlanMeasure(Kind.SPLIT_MEANS, 20.0, 22.0, 200, 10.0), 3.93406, (22.29116, 21.98341, 21.77358, 21.61879)),
        (PlanMeasure(Kind.BEFORE_AFTER, 10.0, 12.0, None, 1.0), 4.33763, (12.81776, 12.11733, 11.83777, 11.68445)),
    ],
)
def test_how_long_a_plan_takes_and_what_three_to_six_weeks_show(
    plan: PlanMeasure, weeks: float, targets: tuple[float, ...]
) -> None:
    found = weeks_needed(plan)
    assert found.weeks_exact == pytest.approx(weeks, abs=2e-5)
    assert tuple(row.smallest_target for row in found.rows) == pytest.approx(targets, abs=2e-5)
    assert [row.weeks for row in found.rows] == [3, 4, 5, 6]
    assert [row.shows_target for row in found.rows] == [number >= weeks for number in (3, 4, 5, 6)]
    assert (found.weeks, found.fits) == (int(weeks) + 1, weeks <= 6)
    effects = tuple(row.smallest_target - plan.baseline for row in found.rows)
    assert tuple(row.smallest_effect for row in found.rows) == pytest.approx(effects)


NOTES = [
    "Too many reminder mails", "There are too many reminders by mail", "The invoice comes as a surprise",
    "First invoice surprises people", "Onboarding takes to long", "Onboarding takes too long",
    "Nobody answers on weekends", "Prices are not clear", "The price list isn't clear", "Support answers late",
    "New teams don't see the point in week two", "The second week is dull", "Sign-up asks for nine things",
    "The form asks too much",
]  # fmt: skip


def told(found: Sequence[Any]) -> list[tuple[Any, ...]]:
    return [(one.notes, pytest.approx(one.chance, abs=1e-4), *(reason.kind for reason in one.why)) for one in found]


def test_how_probable_it_is_that_notes_say_the_same() -> None:
    """By words alone, by letters for a meaning, and what comes next for whoever asks for more."""
    by_words = [
        ((0, 1), 0.96738, Alike.ALL_MATCHED, Alike.SHARED), ((7, 8), 0.89638, Alike.SHARED),
        ((2, 3), 0.61827, Alike.SHARED),
    ]  # fmt: skip
    assert by_words == told(propose(NOTES))
    assert propose(NOTES)[0].why[1].words == ("mails", "many", "reminder")
    by_meaning = [
        ((0, 1), 0.94537, Alike.ALL_MATCHED, Alike.SHARED, Alike.CLOSE),
        ((2, 3), 0.83742, Alike.SHARED, Alike.CLOSE), ((4, 5), 0.83095, Alike.SHARED, Alike.CLOSE),
        ((7, 8), 0.83087, Alike.SHARED, Alike.CLOSE),
    ]  # fmt: skip
    assert by_meaning == told(propose(NOTES, encoder=by_letters))
    more = [
        ((7, 8), 0.89638, Alike.SHARED), ((2, 3), 0.61827, Alike.SHARED), ((4, 5), 0.43591, Alike.SHARED),
        ((6, 9), 0.17226, Alike.SHARED, Alike.ONE_NEGATED), ((12, 13), 0.11396, Alike.SHARED, Alike.NUMBERS_DIFFER),
        ((6, 11), 0.07898, Alike.NEAR_SPELT, Alike.ONE_NEGATED),
    ]  # fmt: skip
    assert more == told(further(NOTES, [(0, 1)], 6))
    assert [one.notes for one in further(NOTES, [(0, 1), (8, 7)], 2)] == [(2, 3), (4, 5)]
