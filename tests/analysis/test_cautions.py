"""Where each warning begins: the last numbers that need none, and the first that do."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Any

import pytest
from scipy import stats

from coldframe.analysis import cautions
from coldframe.analysis.evidence import gather
from coldframe.analysis.measures import (
    Caution,
    Count,
    Direction,
    Harm,
    Kind,
    Measure,
    SpecialDays,
    Tally,
    WeeklyNumbers,
)
from coldframe.analysis.proportions import Summary
from tests.analysis.trials import BASELINE, COUNTS, START, before_after, count_week, plan, split_week, weeks_of

COUNTED = plan(Kind.COUNT_TARGET, baseline=20, target=32)
MEANS = plan(Kind.SPLIT_MEANS, baseline=20.0, target=24.0)
RATES = plan(Kind.SPLIT_RATES, baseline=0.05, target=0.09)
SHARE = plan(Kind.SHARE_TARGET, baseline=0.3, target=0.4)


def of(found: Caution | None) -> dict[str, Any]:
    assert found is not None
    return dict(found.facts)


def mean_week(trial: tuple[float, float, int], control: tuple[float, float, int], week: int = 1) -> WeeklyNumbers:
    return WeeklyNumbers(week, Summary(*trial), Summary(*control))


# --- the groups -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("people", [1000, 4000])
def test_a_split_is_doubted_below_one_in_a_thousand(people: int) -> None:
    """Exactly up to a thousand people, by chi-squared beyond; the first split that is, and the one before it."""

    def chance(trial: int) -> float:
        if people <= 1000:
            return float(stats.binomtest(trial, people, 0.5).pvalue)
        return float(stats.chisquare([trial, people - trial]).pvalue)

    first = next(n for n in range(people // 2, people) if chance(n) < 0.001)
    assert cautions.sample_ratio(plan(), [split_week(1, 0, people - first + 1, 0, first - 1)]) is None
    found = of(cautions.sample_ratio(plan(), [split_week(1, 0, people - first, 0, first)]))
    assert found == {"control": people - first, "trial": first, "planned_share": 0.5, "p": pytest.approx(chance(first))}


def test_a_split_is_doubted_beside_its_own_plan() -> None:
    """Of rates it is exposure and not people; of nobody nothing is known."""
    uneven = plan(planned_share=0.2)
    assert cautions.sample_ratio(uneven, [split_week(1, 0, 4000, 0, 1000)]) is None
    assert cautions.sample_ratio(uneven, [split_week(1, 0, 4200, 0, 800)])
    assert cautions.sample_ratio(uneven, [split_week(1, 0, 2500, 0, 2500)])
    assert cautions.sample_ratio(RATES, [WeeklyNumbers(1, Count(9, 4000.0), Count(9, 1000.0))]) is None
    assert cautions.sample_ratio(SHARE, [WeeklyNumbers(1, Tally(9, 4000))]) is None
    assert cautions.sample_ratio(plan(), [split_week(1, 0, 0, 0, 0)]) is None


# --- the baseline ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("measure", "codes"),
    [
        (plan(), []),
        (before_after(), ["no-control"]),
        (before_after(baseline_weeks=BASELINE[:7]), ["no-control", "short-baseline"]),
        (before_after(baseline_weeks=BASELINE[:6]), ["no-control", "short-baseline"]),
        (before_after(baseline_weeks=BASELINE[:5]), ["no-control", "no-baseline"]),
        (plan(Kind.COUNT_TARGET, baseline=None, target=32, baseline_weeks=COUNTS), []),
        (plan(Kind.COUNT_TARGET, baseline=None, target=32, baseline_weeks=COUNTS[:1]), ["short-baseline"]),
        (COUNTED, ["baseline-as-stated"]),
        (plan(Kind.COUNT_TARGET, baseline=None, target=32), []),
    ],
)
def test_what_the_comparison_lacks(measure: Measure, codes: list[str]) -> None:
    found = cautions.baseline(measure)
    assert [one.code for one in found] == codes
    facts = {one.code: dict(one.facts) for one in found}
    weeks = len(measure.baseline_weeks)
    assert facts.get("no-baseline", {"weeks": weeks, "least": 6}) == {"weeks": weeks, "least": 6}
    assert facts.get("short-baseline", {"weeks": weeks, "better": 8}) == {"weeks": weeks, "better": 8}
    assert facts.get("baseline-as-stated", {"baseline": 20}) == {"baseline": 20}


def test_a_control_is_far_from_a_quarter_away_on() -> None:
    """Just within a quarter of the level it is not; and only where luck alone cannot bring it."""
    for successes, far in ((301, False), (299, True), (499, False), (501, True)):
        measure = plan(baseline=0.40, target=0.90)
        found = cautions.baseline_far(measure, [split_week(1, successes, 1000, 500, 1000)])
        assert (found is not None) is far, successes
    assert of(cautions.baseline_far(plan(baseline=0.4, target=0.5), [split_week(1, 299, 1000, 500, 1000)])) == {
        "control": 0.299, "baseline": 0.4,
    }  # fmt: skip
    for events, far in ((16, False), (8, True)):
        weeks = [WeeklyNumbers(1, Count(50, 500.0), Count(events // 2, 250.0)),
                 WeeklyNumbers(2, Count(50, 500.0), Count(events // 2, 250.0))]  # fmt: skip
        assert (cautions.baseline_far(RATES, weeks) is not None) is far, "25 are usual"
    for error, far in ((1.8, True), (1.9, False)):  # 6 off, within 3.29 standard errors or not
        sd = error * math.sqrt(200)
        weeks = [mean_week((14, sd, 100), (14, sd, 100)), mean_week((14, sd, 100), (14, sd, 100), 2)]
        assert (cautions.baseline_far(MEANS, weeks) is not None) is far
    assert cautions.baseline_far(SHARE, [WeeklyNumbers(1, Tally(9, 1000))]) is None
    assert cautions.baseline_far(plan(baseline=0.0, target=0.1), [split_week(1, 300, 1000, 500, 1000)]) is None


# --- days and weeks -------------------------------------------------------------------------------------------------


def test_special_days_count_from_the_first_to_the_last_day() -> None:
    """Of a trial that has gone on longer, until its last week; said whether a control shares them."""
    last = START + timedelta(days=27)
    sale = SpecialDays("sale", last, last + timedelta(days=9))
    found = of(*cautions.special_days(plan(), [sale], 0))
    days = {"first": last.isoformat(), "last": last.isoformat(), "days": 1}
    assert found == {"name": "sale", "control": 1, **days}
    longer = of(*cautions.special_days(before_after(), [sale], 5))
    assert (longer["days"], longer["control"]) == (8, 0)
    before = SpecialDays("before", START - timedelta(days=2), START - timedelta(days=1))
    after = SpecialDays("after", last + timedelta(days=1), last + timedelta(days=1))
    assert cautions.special_days(plan(), [before, after], 4) == []
    assert of(*cautions.special_days(plan(), [SpecialDays("first", START, START)], 4))["days"] == 1


def test_gaps_say_until_when_it_goes_on() -> None:
    measure = plan()
    assert cautions.gaps(measure, (), goes_on=True) is None
    assert of(cautions.gaps(measure, (2, 3), goes_on=False)) == {"weeks": "2, 3", "number": 2}
    assert of(cautions.gaps(measure, (2, 3), goes_on=True))["until_week"] == 6
    assert of(cautions.gaps(measure, (1, 2, 3, 4, 5), goes_on=True))["until_week"] == 8


def test_a_thin_week_has_less_than_a_third_of_its_people() -> None:
    """The latest is named."""
    measure = plan(weekly=900)
    assert cautions.thin_week(measure, [split_week(1, 5, 150, 5, 150)]) is None
    weeks = [split_week(1, 5, 100, 5, 100), split_week(2, 5, 150, 5, 149), split_week(3, 5, 450, 5, 450)]
    assert of(cautions.thin_week(measure, weeks)) == {"week": 2, "people": 299, "planned": 900}
    assert cautions.thin_week(before_after(weekly=900), [WeeklyNumbers(1, Tally(5, 100))])
    counts = plan(Kind.COUNT_TARGET, baseline=20, target=32, weekly=900)
    assert cautions.thin_week(counts, [count_week(1, 5)]) is None


def test_nothing_came_where_ten_were_to_be_expected() -> None:
    """Nine could be luck."""
    measure = plan(baseline=0.1, target=0.2)
    assert cautions.nothing_came(measure, [split_week(1, 9, 99, 0, 99)]) is None
    found = of(cautions.nothing_came(measure, [split_week(1, 0, 99, 0, 100), split_week(2, 9, 99, 9, 99)]))
    assert found == {"week": 1, "group": "trial", "usual": 0.1, "of": 100}
    assert of(cautions.nothing_came(measure, [split_week(1, 0, 100, 9, 100)]))["group"] == "control"
    assert cautions.nothing_came(MEANS, [mean_week((0, 1, 900), (0, 1, 900))]) is None
    assert cautions.nothing_came(plan(Kind.COUNT_TARGET, baseline=39.0, target=60), [count_week(1, 0)]) is None
    assert cautions.nothing_came(plan(Kind.COUNT_TARGET, baseline=40.0, target=60), [count_week(1, 0)])
    assert cautions.nothing_came(plan(Kind.COUNT_TARGET, baseline=None, target=60), [count_week(1, 0)]) is None


def test_nothing_at_all_is_said_with_the_number_of_weeks() -> None:
    assert of(cautions.zero_events(plan(), weeks_of([(0, 50)] * 3, [(0, 50)] * 3))) == {"weeks": 3}
    assert cautions.zero_events(plan(), weeks_of([(0, 50)], [(1, 50)])) is None
    assert cautions.zero_events(MEANS, [mean_week((0, 1, 9), (0, 1, 9))]) is None


# --- how it goes ----------------------------------------------------------------------------------------------------


def _worse(measure: Measure, weeks: list[WeeklyNumbers]) -> Caution | None:
    seen = gather(measure, weeks, 0.95)
    assert seen is not None
    return cautions.worse_so_far(measure, weeks, seen)


def test_worse_so_far_begins_at_a_single_looks_boundary() -> None:
    """A z of -1.96; of a count that is to rise it is known at the end alone."""

    def z(successes: int) -> float:
        pooled = (500 + successes) / 6000
        return (successes - 500) / 3000 / math.sqrt(pooled * (1 - pooled) * 2 / 3000)

    last = next(n for n in range(500, 0, -1) if z(n) <= -1.96)
    for successes, worse in ((last, True), (last + 1, False)):
        weeks = weeks_of([(500, 3000)], [(successes, 3000)])
        assert (_worse(plan(baseline=0.2, target=0.3), weeks) is not None) is worse
    assert of(_worse(plan(baseline=0.2, target=0.3), weeks_of([(500, 2000)], [(300, 2000)]))) == {
        "trial": 0.15, "comparison": 0.25,
    }  # fmt: skip
    falls = plan(baseline=0.3, target=0.2, direction=Direction.DOWN)
    assert _worse(falls, weeks_of([(300, 2000)], [(500, 2000)]))
    assert _worse(COUNTED, [count_week(n, 1) for n in (1, 2, 3)]) is None
    assert _worse(COUNTED, [count_week(n, 1) for n in (1, 2, 3, 4)])
    down = plan(Kind.COUNT_TARGET, baseline=40, target=25, direction=Direction.DOWN)
    assert _worse(down, [count_week(1, 70)])


def _too_good(measure: Measure, weeks: list[WeeklyNumbers]) -> Caution | None:
    seen = gather(measure, weeks, 0.95)
    assert seen is not None
    return cautions.too_good(measure, seen)


@pytest.mark.parametrize(
    ("target", "control", "trial", "times"),
    [
        (0.11, 1000, 1301, 3.01),  # beyond three times the aim, though only 30 % more
        (0.11, 1000, 1299, None),
        (0.12, 1000, 1501, 2.505),  # beyond twice, and half as much again
        (0.12, 1000, 1500, None),
        (0.15, 1000, 1900, None),  # not beyond twice, though nearly double
    ],
)
def test_what_is_too_good(target: float, control: int, trial: int, times: float | None) -> None:
    """Twyman's law, with how many times the aim it is, and how much more than the comparison."""
    found = _too_good(plan(baseline=0.1, target=target), weeks_of([(control, 10_000)], [(trial, 10_000)]))
    if times is None:
        assert found is None
    else:
        assert of(found) == {"times_target": pytest.approx(times), "relative": pytest.approx(trial / control - 1)}


def test_what_is_no_more_than_luck_is_not_too_good() -> None:
    """And what falls is good where it is to fall; from nothing to something has no relative change."""
    assert _too_good(plan(baseline=0.1, target=0.11), weeks_of([(2, 20)], [(4, 20)])) is None
    falls = plan(baseline=0.2, target=0.19, direction=Direction.DOWN)
    assert _too_good(falls, weeks_of([(2000, 10_000)], [(1500, 10_000)]))
    assert _too_good(falls, weeks_of([(1500, 10_000)], [(2000, 10_000)])) is None
    nothing = of(_too_good(plan(baseline=0.01, target=0.02), weeks_of([(0, 10_000)], [(900, 10_000)])))
    assert nothing == {"times_target": pytest.approx(9)}
    means = mean_week((3, 1, 900), (0, 1, 900))
    assert _too_good(plan(Kind.SPLIT_MEANS, baseline=0.0, target=2.0), [means]) is None


def test_one_huge_week_lies_far_from_the_others() -> None:
    """Beyond 3.5 standard errors of the pooled score, which the control does not share; of two weeks none is."""

    def z(successes: int) -> float:
        pooled = (900 + successes) / 4000
        return (successes / 1000 - 0.3) / math.sqrt(pooled * (1 - pooled) * (1 / 3000 + 1 / 1000))

    first = next(n for n in range(300, 600) if z(n) > 3.5)
    measure = plan(baseline=0.3, target=0.4)
    for successes, huge in ((first - 1, False), (first, True)):
        weeks = weeks_of([(300, 1000)] * 4, [(300, 1000)] * 3 + [(successes, 1000)])
        assert (cautions.huge_week(measure, weeks) is not None) is huge
    weeks = weeks_of([(300, 1000)] * 4, [(300, 1000), (500, 1000), (300, 1000), (600, 1000)])
    found = of(cautions.huge_week(measure, weeks))
    assert (found["week"], found["value"], found["others"]) == (4, 0.6, pytest.approx(1.1 / 3))
    assert found["holds_without"] == 1
    assert cautions.huge_week(measure, weeks[:2]) is None


def test_a_huge_week_of_each_other_kind() -> None:
    """Counts by their square roots, means by their own error, weeks by how much they differed before the trial."""
    counts = [count_week(n, events) for n, events in enumerate((25, 25, 25, 50), 1)]
    # 2 (sqrt 50 - sqrt 31.25) sqrt(4/3) = 3.42; of 51 it is 3.56
    assert cautions.huge_week(COUNTED, counts) is None
    assert of(cautions.huge_week(COUNTED, [*counts[:3], count_week(4, 51)]))["others"] == 25
    means = [mean_week((20, 10, 100), (20, 10, 100), n) for n in (1, 2, 3)]
    assert cautions.huge_week(MEANS, [*means, mean_week((23.49, 10, 100), (20, 10, 100), 4)]) is None
    assert cautions.huge_week(MEANS, [*means, mean_week((23.51, 10, 100), (20, 10, 100), 4)])
    assert cautions.huge_week(MEANS, [*means, mean_week((23.51, 0, 100), (20, 10, 100), 4)]) is None
    spread = math.sqrt(sum((v - sum(BASELINE) / 8) ** 2 for v in BASELINE) / 7) * math.sqrt(4 / 3)
    for off, huge in ((3.45, False), (3.55, True)):
        values = [0.1, 0.1, 0.1, 0.1 + off * spread]
        weeks = [WeeklyNumbers(n, Tally(round(v * 10**6), 10**6)) for n, v in enumerate(values, 1)]
        assert (cautions.huge_week(before_after(), weeks) is not None) is huge
        assert cautions.huge_week(before_after(baseline_weeks=BASELINE[:5]), weeks) is None


def test_novelty_is_a_first_week_clearly_better_than_the_later_ones() -> None:
    """Against the errors of both; only of the first week itself, and of three at least."""
    later = [(440, 10_000)] * 3
    for first, new in ((500, False), (530, True)):
        weeks = weeks_of([(400, 10_000)] * 4, [(first, 10_000), *later])
        assert (cautions.novelty(plan(), weeks) is not None) is new
    weeks = weeks_of([(400, 10_000)] * 4, [(530, 10_000), *later])
    assert of(cautions.novelty(plan(), weeks)) == {"first": pytest.approx(0.013), "later": pytest.approx(0.004)}
    assert cautions.novelty(plan(), weeks[:2]) is None and cautions.novelty(plan(), weeks[:3])
    assert cautions.novelty(plan(), [WeeklyNumbers(w.week + 1, w.trial, w.control) for w in weeks]) is None
    falls = plan(baseline=0.06, target=0.04, direction=Direction.DOWN)
    assert cautions.novelty(falls, weeks) is None
    assert cautions.novelty(falls, weeks_of([(530, 10_000), *later, (440, 10_000)], [(400, 10_000)] * 5))


def test_the_stop_line_is_reached_at_the_line_itself() -> None:
    """A count is carried on to its whole span."""

    def reached(measure: Measure, weeks: list[WeeklyNumbers]) -> dict[str, Any] | None:
        seen = gather(measure, weeks, 0.95)
        assert seen is not None
        found = cautions.stop_line(measure, weeks, seen)
        return None if found is None else dict(found.facts)

    assert reached(plan(stop_line=0.03), weeks_of([(40, 1000)], [(30, 1000)])) == {"value": 0.03, "line": 0.03}
    assert reached(plan(stop_line=0.03), weeks_of([(40, 1000)], [(31, 1000)])) is None
    falls = plan(baseline=0.06, target=0.04, direction=Direction.DOWN, stop_line=0.07)
    assert reached(falls, weeks_of([(60, 1000)], [(70, 1000)])) is not None
    counted = plan(Kind.COUNT_TARGET, baseline=20, target=32, stop_line=10)
    assert reached(counted, [count_week(1, 2), count_week(2, 3)]) == {"value": 10, "line": 10}
    assert reached(counted, [count_week(1, 3), count_week(2, 3)]) is None


def test_harm_is_past_its_limit_and_the_latest_week_is_named() -> None:
    measure = plan(harm=Harm("complaints", 10))
    weeks = [WeeklyNumbers(n, Tally(4, 50), Tally(4, 50), harm=h) for n, h in enumerate((12.0, 11.0, 10.0, None), 1)]
    assert of(cautions.harm(measure, weeks)) == {"name": "complaints", "week": 2, "value": 11.0, "limit": 10}
    assert cautions.harm(measure, weeks[2:]) is None
    more = plan(harm=Harm("stars", 4, better=Direction.UP))
    assert cautions.harm(more, [WeeklyNumbers(1, Tally(4, 50), Tally(4, 50), harm=3.9)])
    assert cautions.harm(more, [WeeklyNumbers(1, Tally(4, 50), Tally(4, 50), harm=4.0)]) is None


def test_a_near_miss_is_what_luck_alone_could_have_missed() -> None:
    """Its exact interval still holds the target."""
    measure = plan(Kind.COUNT_TARGET, baseline=20, target=32)
    low = next(n for n in range(32) if stats.chi2.ppf(0.975, 2 * n + 2) / 2 >= 32)
    assert cautions.near_miss(measure, low - 1) is None
    found = of(cautions.near_miss(measure, low))
    assert found["missed_by"] == 32 - low and found["low"] < low < 32 <= found["high"]
    assert cautions.near_miss(measure, 32) is None
    falls = plan(Kind.COUNT_TARGET, baseline=40, target=25, direction=Direction.DOWN)
    assert of(cautions.near_miss(falls, 26))["missed_by"] == 1 and cautions.near_miss(falls, 25) is None


def test_what_calls_for_a_check() -> None:
    """Too good, or one week that alone carries it."""
    good, held = Caution("too-good"), Caution("one-huge-week", {"holds_without": 1})
    carried = Caution("one-huge-week", {"holds_without": 0})
    assert [cautions.calls_for_a_check([one]) for one in (good, held, carried)] == [True, False, True]
    assert not cautions.calls_for_a_check([]) and cautions.calls_for_a_check([held, good])
