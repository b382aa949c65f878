"""The odds of each verdict are those of the verdicts themselves, trial by trial; what would better them does."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from coldframe.analysis import drawn, odds
from coldframe.analysis.drawn import Drawn
from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.measures import SPLITS, Count, Direction, Kind, Measure, Numbers, Tally, WeeklyNumbers
from coldframe.analysis.outcomes import GIVEN, Outcome
from coldframe.analysis.proportions import Summary
from coldframe.analysis.verdict import judge
from coldframe.domain.trial import standing
from coldframe.domain.trial.state import Given

START = date(2026, 3, 2)
BEFORE = (0.1, 0.104, 0.097, 0.101, 0.099, 0.103, 0.098, 0.102)
TRIALS = 60


def plan(kind: Kind, baseline: float | None, target: float, weeks: int = 4, **more: Any) -> Measure:
    down = baseline is not None and target < baseline
    direction = Direction.DOWN if down else Direction.UP
    return Measure(
        "m", kind, target, START, START + timedelta(weeks=weeks), weeks, baseline=baseline, direction=direction, **more
    )


PLANS: dict[str, tuple[Measure, float | None]] = {
    "share": (plan(Kind.SPLIT_SHARES, 0.2, 0.26, 6, weekly=340), None),
    "share, three to seven, lower": (plan(Kind.SPLIT_SHARES, 0.08, 0.05, weekly=900, planned_share=0.3), None),
    "mean": (plan(Kind.SPLIT_MEANS, 20.0, 22.0, weekly=220), 10.0),
    "rate": (plan(Kind.SPLIT_RATES, 0.05, 0.065, weekly=2000), None),
    "earlier weeks": (plan(Kind.BEFORE_AFTER, None, 0.104, baseline_weeks=BEFORE), None),
    "count": (plan(Kind.COUNT_TARGET, 20.0, 32.0), None),
    "count, weeks known": (plan(Kind.COUNT_TARGET, None, 32.0, baseline_weeks=(5.0, 6, 4, 5, 7, 3, 5, 5)), None),
    "count, lower": (plan(Kind.COUNT_TARGET, 40.0, 25.0), None),
    "fixed share": (plan(Kind.SHARE_TARGET, 0.2, 0.26, weekly=90), None),
}


def _numbers(paths: Drawn, trial: int, week: int) -> WeeklyNumbers:
    kind, sums = paths.measure.kind, [float(one[trial, week]) for one in paths.sums]
    sizes = [float(np.broadcast_to(group[week], paths.trials)[trial]) for group in (paths.control, paths.people)]
    groups: list[Numbers | None] = [None, None]
    if kind is Kind.SPLIT_SHARES:
        groups = [Tally(int(hits), int(size)) for hits, size in zip(sums, sizes, strict=True)]
    elif kind is Kind.SPLIT_RATES:
        groups = [Count(int(events), size) for events, size in zip(sums, sizes, strict=True)]
    elif kind is Kind.SPLIT_MEANS:
        groups = [_summary(sums[2 * n], sums[2 * n + 1], int(size)) for n, size in enumerate(sizes)]
    elif kind is Kind.BEFORE_AFTER:
        groups[1] = Summary(sums[0], 0.0, 2)
    elif kind is Kind.SHARE_TARGET:
        groups[1] = Tally(int(sums[0]), int(sizes[1]))
    else:
        groups[1] = Count(int(sums[0]))
    return WeeklyNumbers(week + 1, groups[1], groups[0])


def _summary(total: float, squares: float, size: int) -> Summary:
    mean = total / size
    return Summary(mean, max((squares - size * mean**2) / (size - 1), 0.0) ** 0.5, size)


def _by_the_rules(paths: Drawn, trial: int) -> Outcome:
    """A look every week; a verdict given stands, but for what takes nothing back."""
    weeks = [_numbers(paths, trial, week) for week in range(paths.weeks)]
    held: str | None = None
    for number in range(1, paths.weeks + 1):
        today = START + timedelta(weeks=number)
        now = judge(paths.measure, weeks[:number], number, today, counting_checked=True).outcome
        if held is not None or now in GIVEN:
            held = standing.outcome(Given(held, "", 0) if held else None, now.value)
    return Outcome(held) if held else Outcome.CANNOT_TELL


@pytest.mark.parametrize("name", PLANS)
def test_each_drawn_trial_ends_as_the_verdict_itself_says(name: str) -> None:
    """The arrays and the rules agree on each; one in thirty may hang on the last digit of a quantile."""
    measure, spread = PLANS[name]
    for true in (True, False):
        paths = drawn.planned(measure, spread, true, TRIALS, 7)
        ends = odds._ends(paths)
        differing = [n for n in range(TRIALS) if odds.CODES[ends[n]] is not _by_the_rules(paths, n)]
        assert len(differing) <= TRIALS // 30, [(odds.CODES[ends[n]], _by_the_rules(paths, n)) for n in differing]


def test_what_takes_nothing_back_is_what_the_domain_says() -> None:
    assert {less.value: more.value for less, more in odds.MORE.items()} == dict(standing._MORE)


@pytest.mark.parametrize("name", PLANS)
def test_they_are_shares_of_all_trials_and_the_same_each_time(name: str) -> None:
    measure, spread = PLANS[name]
    found = odds.of(measure, spread=spread, trials=500)
    for shares in (found.if_target, found.if_nothing):
        assert sum(shares.values()) == pytest.approx(1)
    assert found == odds.of(measure, spread=spread, trials=500)
    assert found.if_nothing[Outcome.REACHED] + found.if_nothing[Outcome.BETTER] < 0.06
    assert (found.drift is None) is (measure.kind in SPLITS)


def test_the_more_people_the_more_drift_seems_an_effect() -> None:
    """Against a stated level luck fades with people and drift does not; among few people luck hides it."""
    few, many = (odds.of(plan(Kind.SHARE_TARGET, 0.2, 0.26, weekly=n), trials=2000) for n in (40, 4000))
    assert few.drift is not None and many.drift is not None
    assert few.drift < 0.06 and many.drift > 0.2 > many.if_nothing[Outcome.BETTER]


# 0.20 against 0.26 with power 0.80 and alpha 0.05, two-sided: 768 a group by the uncorrected formula of Fleiss, Levin
# and Paik, for one look; looking six times costs a few points of that power.
def test_a_trial_of_the_published_size_shows_its_effect_in_about_eighty_of_a_hundred() -> None:
    found = odds.of(plan(Kind.SPLIT_SHARES, 0.2, 0.26, 6, weekly=2 * 768 / 6), trials=8000).if_target
    assert found[Outcome.REACHED] + found[Outcome.BETTER] == pytest.approx(0.78, abs=0.03)


def test_remedies_are_the_least_that_is_enough() -> None:
    """More weeks, more people, a larger target; none where nothing needs bettering."""
    small = odds.of(plan(Kind.SPLIT_SHARES, 0.2, 0.26, 3, weekly=300), trials=1000)
    assert [what for what, _, _ in small.remedies] == ["weeks", "people", "target"]
    assert all(0.3 < chance <= 1 for _, _, chance in small.remedies)
    assert odds.of(plan(Kind.SPLIT_SHARES, 0.2, 0.26, 6, weekly=2000), trials=1000).remedies == ()


def test_drift_alone_seems_better_in_at_most_a_tenth() -> None:
    for earlier in (6, 8, 12):
        for weeks in (3, 4, 6):
            assert 0.03 < odds.false_alarms_by_drift(earlier, weeks, 4000) <= 0.1


def _weeks(rows: list[tuple[int, int]], people: int) -> list[WeeklyNumbers]:
    return [WeeklyNumbers(n, Tally(t, people), Tally(c, people)) for n, (c, t) in enumerate(rows, 1)]


def test_going_on_is_in_vain_when_the_target_is_out_of_reach() -> None:
    measure = plan(Kind.SPLIT_SHARES, 0.2, 0.26, weekly=200)
    poor = odds.if_the_rest_is_as_planned(measure, _weeks([(20, 20)] * 3, 100))
    good = odds.if_the_rest_is_as_planned(measure, _weeks([(20, 28)] * 3, 100))
    assert poor is not None and odds.is_futile(poor)
    assert good is not None and not odds.is_futile(good)
    assert odds.if_the_rest_is_as_planned(measure, []) is None
    assert odds.if_the_rest_is_as_planned(measure, _weeks([(20, 20)] * 4, 100)) is None


@pytest.mark.parametrize(
    ("measure", "argument"),
    [
        (plan(Kind.SPLIT_SHARES, 0.2, 0.26), "weekly"),
        (plan(Kind.SPLIT_MEANS, 20.0, 22.0, weekly=100), "spread"),
        (plan(Kind.COUNT_TARGET, None, 22.0), "baseline"),
    ],
)
def test_a_plan_that_does_not_say_enough_is_refused(measure: Measure, argument: str) -> None:
    with pytest.raises(BadNumber) as bad:
        odds.of(measure, trials=10)
    assert bad.value.argument == argument
