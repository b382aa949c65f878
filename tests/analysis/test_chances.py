"""The chance of a running trial, under a stated prior. How true it is, is measured by `tests.bench.calibration`."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest, gamma, norm, poisson

from coldframe.analysis.chances import Chance, Record, by_review
from coldframe.analysis.evidence import gather
from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.measures import Direction, Kind, Measure, WeeklyNumbers
from tests.analysis.trials import COUNTS, before_after, count_week, plan, shares, weeks_of

COUNTED = plan(Kind.COUNT_TARGET, baseline=None, target=36, baseline_weeks=COUNTS)


def chance(measure: Measure, weeks: list[WeeklyNumbers]) -> Chance:
    seen = gather(measure, weeks, 0.95)
    assert seen is not None
    found = by_review(measure, weeks, seen)
    assert found is not None
    return found


def split(*successes: int) -> Chance:
    return chance(plan(), weeks_of([(40, 1000)] * len(successes), [(n, 1000) for n in successes]))


def mixed(share: float, parts: dict[float, tuple[float, float]]) -> float:
    """Over effects by their size against the planned one, each with its likelihood and the chance that it would bring:
    none in all but this share of ideas, else about the planned one (Spiegelhalter, Freedman & Blackburn 1986)."""
    prior = {size: share / 5 for size in (0.7, 0.85, 1.0, 1.15, 1.3)} | {0.0: 1 - share}
    total = sum(before * parts[size][0] for size, before in prior.items())
    return sum(before * parts[size][0] * parts[size][1] for size, before in prior.items()) / total


@pytest.mark.parametrize("weeks", [1, 2, 3])
@pytest.mark.parametrize(("target", "successes"), [(0.06, 52), (0.06, 39), (0.03, 34)])
def test_a_split_is_reckoned_along_the_path_of_its_statistic(weeks: int, target: float, successes: int) -> None:
    """B(t) = Z sqrt(t) must end beyond 1.96; it drifts by the effect, a standard error of which the numbers tell (Lan &
    Wittes 1988). Both ends of the span, and the chance under the planned effect, to the last digit."""
    measure = plan(target=target, direction=Direction.UP if target > 0.04 else Direction.DOWN)
    seen_weeks = weeks_of([(40, 1000)] * weeks, [(successes, 1000)] * weeks)
    seen, found = gather(measure, seen_weeks, 0.95), chance(measure, seen_weeks)
    assert seen is not None and seen.z is not None
    sign, t = (1 if target > 0.04 else -1), weeks / 4
    pooled = (40 + successes) / 2000
    expected = abs(target - 0.04) / (pooled * (1 - pooled) * 2 / (1000 * weeks)) ** 0.5  # of Z, by now
    z = seen.z * sign
    parts = {}
    for size in (0.0, 0.7, 0.85, 1.0, 1.15, 1.3):
        at_end = z * t**0.5 + size * expected / t**0.5 * (1 - t)
        would = norm.sf(norm.ppf(0.975), at_end, (1 - t) ** 0.5)
        parts[size] = float(norm.pdf(z, size * expected)), float(would)
    assert found.value == pytest.approx(mixed(0.1, parts), rel=1e-7)
    assert found.high == pytest.approx(mixed(1 / 3, parts), rel=1e-7)
    assert found.if_target == pytest.approx(parts[1.0][1], rel=1e-7)


@pytest.mark.parametrize(("usual", "target", "counted"), [(20, 32, (7,)), (20, 32, (9, 8, 7)), (40, 25, (6, 6))])
def test_a_count_is_reckoned_by_the_events_to_come(usual: int, target: int, counted: tuple[int, ...]) -> None:
    """They come by chance (Poisson); the whole count must be at the target, and differ from the usual one by the exact
    test, whose p is the chance of all counts that are no likelier."""
    up, weeks = target > usual, len(counted)
    measure = plan(Kind.COUNT_TARGET, baseline=usual, target=target, direction=Direction.UP if up else Direction.DOWN)
    found = chance(measure, [count_week(n, events) for n, events in enumerate(counted, 1)])
    every = poisson.pmf(range(300), usual)
    differs = [every[every <= every[n] * (1 + 1e-9)].sum() <= 0.05 for n in range(300)]
    wanted = next(n for n in (range(target, 300) if up else range(target, -1, -1)) if differs[n])
    parts = {}
    for size in (0.0, 0.7, 0.85, 1.0, 1.15, 1.3):
        a_week = usual / 4 + size * (target - usual) / 4
        missing = wanted - sum(counted)
        would = poisson.sf(missing - 1, a_week * (4 - weeks)) if up else poisson.cdf(missing, a_week * (4 - weeks))
        parts[size] = float(poisson.pmf(sum(counted), a_week * weeks)), float(would)
    assert found.value == pytest.approx(mixed(0.1, parts), rel=1e-6)
    assert found.high == pytest.approx(mixed(1 / 3, parts), rel=1e-6)
    assert found.if_target == pytest.approx(parts[1.0][1], rel=1e-6)


@pytest.mark.parametrize("counted", [(7,), (9, 8, 7)])
def test_a_count_beside_weeks_that_were_counted_is_reckoned_over_the_levels_that_they_leave_possible(
    counted: tuple[int, ...],
) -> None:
    """A gamma (Jeffreys) of the earlier weeks, read off at 31 equal parts; each level as likely as it brings what has
    been counted so far."""
    weeks = len(counted)
    found = chance(COUNTED, [count_week(n, events) for n, events in enumerate(counted, 1)])
    parts_of_it = (np.arange(31) + 0.5) / 31
    levels = gamma.ppf(parts_of_it, sum(COUNTS) + 0.5, scale=1 / len(COUNTS))
    differs = [binomtest(n, n + 40, 4 / 12).pvalue <= 0.05 for n in range(36, 80)]
    wanted = 36 + differs.index(True)
    parts = {}
    for size in (0.0, 0.7, 0.85, 1.0, 1.15, 1.3):
        a_week = levels + size * (36 - 20) / 4
        fits = poisson.pmf(sum(counted), a_week * weeks)
        would = poisson.sf(wanted - sum(counted) - 1, a_week * (4 - weeks))
        parts[size] = float(fits.sum()), float((fits * would).sum() / fits.sum())
    assert found.value == pytest.approx(mixed(0.1, parts), rel=1e-6)
    assert found.high == pytest.approx(mixed(1 / 3, parts), rel=1e-6)
    assert found.if_target == pytest.approx(parts[1.0][1], rel=1e-6)


def test_the_more_ideas_work_the_likelier_it_is() -> None:
    """The span between one in ten and one in three, below what is true if it works as planned."""
    found = split(55)
    assert 0 < found.value < found.high < 1
    assert found.if_target is not None and found.high < found.if_target


def test_the_teams_own_record_joins_both_ends_and_narrows_the_span() -> None:
    """Five trials of its own weigh as much as what is assumed; a long record is nearly all that is known."""
    alone, short, long_ = (Record(n, n // 2).shares() for n in (0, 10, 60))
    assert alone == pytest.approx((0.1, 1 / 3))
    assert short == pytest.approx(((0.5 + 5) / 15, (5 / 3 + 5) / 15))
    assert 0.45 < long_[0] < long_[1] < 0.5
    weeks, measure = weeks_of([(40, 1000)] * 2, [(52, 1000)] * 2), plan()
    seen = gather(measure, weeks, 0.95)
    assert seen is not None
    none, good, poor = (by_review(measure, weeks, seen, record) for record in (Record(), Record(9, 7), Record(9, 0)))
    assert none is not None and good is not None and poor is not None
    assert poor.high < none.high < good.high and good.high - good.value < none.high - none.value


def test_a_record_cannot_show_more_than_it_holds() -> None:
    with pytest.raises(BadNumber):
        Record(3, 4)


def test_no_chance_is_told_above_95_in_100_while_weeks_are_to_come() -> None:
    """Beyond that the bench found it too bold; a count that is there already is sure (test_a_count_that_is_sure)."""
    found = split(70, 70, 70)
    assert (found.value, found.high) == (0.95, 0.95)


def test_one_good_week_is_not_believed() -> None:
    """A good first week was called a chance of 80 in 100 by the flat prior; if a tenth of ideas work, it is not."""
    assert split(58).value < 0.5 < split(58, 58, 58).value


def test_it_rises_with_what_came_in() -> None:
    """For each kind: nothing, half of what was planned, all of it."""
    rows = [
        [split(40, 40), split(50, 50), split(62, 62)],
        [chance(before_after(), shares([level] * 3)) for level in (0.100, 0.102, 0.12)],
        [chance(COUNTED, [count_week(1, n), count_week(2, n)]) for n in (5, 7, 10)],
    ]
    for row in rows:
        assert [one.value for one in row] == sorted(one.value for one in row)
        assert row[0].high < 0.2 and row[-1].high > 0.5


def test_fewer_can_be_what_is_wanted() -> None:
    """A count that is to fall: few events make it likelier."""
    falls = plan(Kind.COUNT_TARGET, baseline=None, target=8, baseline_weeks=COUNTS, direction=Direction.DOWN)
    few, many = (chance(falls, [count_week(1, n), count_week(2, n)]) for n in (1, 6))
    assert few.value > 0.3 > many.high


def test_no_chance_is_told_where_nobody_knows_what_no_effect_would_be() -> None:
    """A count without a usual level, and a trial that has no week left or none yet."""
    unknown = plan(Kind.COUNT_TARGET, baseline=None, target=30)
    weeks = [count_week(1, 9)]
    seen = gather(unknown, weeks, 0.95)
    assert seen is not None and by_review(unknown, weeks, seen) is None
    all_weeks = [count_week(n, 9) for n in range(1, 5)]
    seen = gather(COUNTED, all_weeks, 0.95)
    assert seen is not None and by_review(COUNTED, all_weeks, seen) is None and by_review(COUNTED, [], seen) is None


@pytest.mark.parametrize("events", [0, 3, 40])
def test_a_count_that_is_sure_is_sure(events: int) -> None:
    """What has been counted already stays: far beyond the target it is certain, and a chance stays one."""
    found = chance(COUNTED, [count_week(1, events)])
    assert 0 <= found.value <= found.high <= 1
    assert (found.value > 0.999) is (events == 40)
