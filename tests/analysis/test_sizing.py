"""Sample sizes, weeks and smallest effects, against handbook values and the reference library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import ttest_ind
from statsmodels.stats.power import TTestIndPower
from statsmodels.stats.proportion import power_proportions_2indep
from statsmodels.stats.rates import power_poisson_diff_2indep

from coldframe.analysis import sizing
from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.measures import Direction, Kind
from coldframe.analysis.sizing import PlanMeasure, weeks_needed
from coldframe.speech.trial.sizing_report import advice, summary


def per_group(
    kind: Kind, old: float, new: float, power: float = 0.8, alpha: float = 0.05, sd: float = 1.0, weekly: float = 1.0
) -> float:
    """The size needed, in a plan for so many people a week in each group."""
    found = weeks_needed(PlanMeasure(kind, old, new, 2 * weekly, sd, power=power, alpha=alpha)).per_group
    assert found is not None
    return found


def two_shares(old: float, new: float, power: float = 0.8, alpha: float = 0.05) -> float:
    return per_group(Kind.SPLIT_SHARES, old, new, power, alpha, weekly=100)


@pytest.mark.parametrize(
    ("d", "size"),
    # Cohen, Statistical Power Analysis, two means, power .8, two-sided .05 (prints the next whole number)
    [(0.2, 393.41), (0.5, 63.77), (0.8, 25.52), (0.3, 175.3847), (0.6, 44.5858)],
)
def test_means_as_in_cohen(d: float, size: float) -> None:
    """The size per group for a difference of two means, by the t distribution."""
    digits = len(str(size).split(".")[1])
    assert per_group(Kind.SPLIT_MEANS, 0.0, d) == pytest.approx(size, abs=0.51 * 10**-digits)
    assert per_group(Kind.SPLIT_MEANS, 0.0, -10 * d, sd=10) == pytest.approx(per_group(Kind.SPLIT_MEANS, 0.0, d))


@pytest.mark.parametrize(
    ("old", "new", "power", "size"),
    [
        # R's power.prop.test prints 76.7 for the first; formula of Fleiss, Levin & Paik
        (0.50, 0.75, 0.9, 76.7069),
        (0.04, 0.05, 0.8, 6744.93),
        (0.30, 0.40, 0.8, 355.94),
        (0.05, 0.15, 0.8, 140.0951),
        (0.20, 0.30, 0.8, 293.1513),
        (0.50, 0.60, 0.8, 387.3385),
    ],
)
def test_two_shares(old: float, new: float, power: float, size: float) -> None:
    """The size per group for two shares, not rounded."""
    digits = len(str(size).split(".")[1])
    assert two_shares(old, new, power) == pytest.approx(size, abs=0.51 * 10**-digits)


@pytest.mark.parametrize(
    ("old", "new", "power", "alpha", "size"),
    [
        # Casagrande, Pike & Smith (1978); the last is Fleiss's worked example (from memory: 827)
        (0.30, 0.40, 0.8, 0.05, 375.68),
        (0.05, 0.15, 0.8, 0.05, 159.468),
        (0.20, 0.30, 0.8, 0.05, 312.8316),
        (0.50, 0.60, 0.8, 0.05, 407.0929),
        (0.60, 0.70, 0.95, 0.01, 826.95),
    ],
)
def test_two_shares_with_continuity_correction(old: float, new: float, power: float, alpha: float, size: float) -> None:
    """Our size with the correction put upon it is that of the tables of Fleiss."""
    digits = len(str(size).split(".")[1])
    plain = two_shares(old, new, power, alpha)
    found = plain / 4 * (1 + math.sqrt(1 + 4 / (plain * abs(new - old)))) ** 2
    assert found == pytest.approx(size, abs=0.51 * 10**-digits)


# What four weeks show at 80 % power, two-sided 5 %, an even split of so many people a week (simulated for the method)
FOUR_WEEKS = {
    100: (9.8, 20.0, 43.5),
    300: (6.4, 15.4, 37.6),
    1_000: (4.7, 12.8, 34.1),
    10_000: (3.5, 10.9, 31.3),
}


@pytest.mark.parametrize("weekly", FOUR_WEEKS)
def test_what_four_weeks_can_show(weekly: int) -> None:
    """The smallest target that four weeks can show from 3, 10 and 30 per cent, by traffic."""
    for baseline, percent in zip((0.03, 0.10, 0.30), FOUR_WEEKS[weekly], strict=True):
        row = weeks_needed(PlanMeasure(Kind.SPLIT_SHARES, baseline, 0.5, weekly)).rows[1]
        assert row.weeks == 4
        assert 100 * row.smallest_target == pytest.approx(percent, abs=0.0501)


@pytest.mark.parametrize(("before", "after"), [(8, 3), (8, 6), (6, 4)])
def test_weeks_before_and_after_have_the_power_of_welchs_own_test(before: int, after: int) -> None:
    """The smallest target that so many weeks show is seen in 80 of 100, by 20,000 trials with scipy's test (errors
    of 0.3); a pooled spread would have promised it for 64 of 100 at three weeks."""
    plan = PlanMeasure(Kind.BEFORE_AFTER, 10.0, 12.0, sd=1.0, baseline_weeks=before)
    shift = sizing.smallest_target(plan, after) - plan.baseline
    rng = np.random.default_rng(1)
    earlier, later = rng.normal(size=(20_000, before)), rng.normal(shift, size=(20_000, after))
    seen = ttest_ind(later, earlier, axis=1, equal_var=False)
    assert np.mean((seen.pvalue < 0.05) & (seen.statistic > 0)) == pytest.approx(0.8, abs=0.012)


@pytest.mark.parametrize("weekly", [None, 160])
def test_a_count_is_sized_by_weeks_whoever_says_how_many_people_come(weekly: float | None) -> None:
    """People a week say nothing about a count: the size and the advice are the same with them and without."""
    report = weeks_needed(PlanMeasure(Kind.COUNT_TARGET, 5, 8, weekly))
    assert report.per_group is None and not report.fits and math.isfinite(report.weeks_exact)
    plain = weeks_needed(PlanMeasure(Kind.COUNT_TARGET, 5, 8))
    assert (summary(report), advice(report)) == (summary(plain), advice(plain))


# --- the reference library ----------------------------------------------------------------------------------------

powers, alphas = st.floats(0.8, 0.99), st.floats(0.001, 0.1)
FAR_TAIL = 1e-4
"""What the formula leaves out, as R does: rejections on the wrong side, below Phi(-4.1) at these levels."""


@given(d=st.floats(0.05, 3), power=powers, alpha=alphas)
def test_means_agree(d: float, power: float, alpha: float) -> None:
    """The power of statsmodels' t test at our size is the power asked for."""
    size = per_group(Kind.SPLIT_MEANS, 0.0, d, power, alpha)
    assume(2 < size < 5000)  # what takes a hundred years takes for ever
    found = TTestIndPower().power(d, nobs1=size, alpha=alpha, ratio=1)
    assume(not math.isnan(found))  # statsmodels gives NaN where the far tail underflows
    assert found == pytest.approx(power, abs=1e-6)


@given(old=st.floats(0.1, 50), new=st.floats(0.1, 50), power=powers, alpha=alphas)
def test_rates_agree(old: float, new: float, power: float, alpha: float) -> None:
    """statsmodels' power of the score test of two Poisson rates is the one asked for at our exposure without what the
    exact test costs, by the correction that the tables of Fleiss put upon two groups."""
    assume(abs(old - new) > 0.01)
    size = per_group(Kind.SPLIT_RATES, old, new, power, alpha)
    assume(0.02 < size < 5000)
    plain = size * (1 - 1 / (size * abs(new - old))) ** 2
    found = power_poisson_diff_2indep(new, old, plain, alpha=alpha, method_var="score")
    assert found.power == pytest.approx(power, abs=FAR_TAIL)


@given(old=st.floats(0.01, 0.99), new=st.floats(0.01, 0.99), power=powers, alpha=alphas)
def test_shares_agree(old: float, new: float, power: float, alpha: float) -> None:
    """statsmodels' power of the pooled test at our size is the one asked for."""
    assume(abs(old - new) > 0.005)
    size = two_shares(old, new, power, alpha)
    assume(1 < size < 500_000)  # between a hundredth of a week and a hundred years
    found = power_proportions_2indep(new - old, old, size, alpha=alpha).power
    assert found == pytest.approx(power, abs=FAR_TAIL)


@given(
    baseline=st.floats(0.01, 0.99),
    people=st.floats(20, 50_000),
    direction=st.sampled_from(Direction),
    power=powers,
)
def test_the_smallest_target_needs_just_these_people(
    baseline: float, people: float, direction: Direction, power: float
) -> None:
    """The smallest target is the one whose sample size is the number of people there are."""
    aim = (1 + baseline) / 2 if direction is Direction.UP else baseline / 2
    smallest = sizing.smallest_target(PlanMeasure(Kind.SPLIT_SHARES, baseline, aim, people, power=power), 2)
    assert (smallest - baseline) * direction.sign > 0
    if math.isfinite(smallest):
        size = per_group(Kind.SPLIT_SHARES, baseline, smallest, power, weekly=people / 2)
        assert size == pytest.approx(people, rel=1e-4)


def test_too_few_people_show_nothing() -> None:
    """Where not even the largest change would show, the smallest target is infinite, not a made-up number."""
    assert sizing.smallest_target(PlanMeasure(SHARES, 0.5, 0.6, 10), 1) == math.inf
    assert sizing.smallest_target(PlanMeasure(SHARES, 0.5, 0.4, 10), 1) == -math.inf


# --- weeks --------------------------------------------------------------------------------------------------------

PLANS = [
    PlanMeasure(Kind.SPLIT_SHARES, 0.04, 0.05, 900),
    PlanMeasure(Kind.SPLIT_SHARES, 0.30, 0.20, 300),
    PlanMeasure(Kind.SHARE_TARGET, 0.30, 0.35, 40),
    PlanMeasure(Kind.SPLIT_MEANS, 20, 22, 300, sd=15),
    PlanMeasure(Kind.SPLIT_RATES, 0.10, 0.05, 40),
    PlanMeasure(Kind.COUNT_TARGET, 5, 9),
    PlanMeasure(Kind.BEFORE_AFTER, 0.10, 0.12, sd=0.01),
]


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.kind.value)
def test_weeks_and_smallest_targets_fit_together(plan: PlanMeasure) -> None:
    """After exactly the weeks needed, the smallest target is the plan's; more weeks show smaller changes."""
    report = weeks_needed(plan)
    assert sizing.smallest_target(plan, report.weeks_exact) == pytest.approx(plan.target, rel=1e-6)
    assert report.weeks == math.ceil(report.weeks_exact)
    assert [row.weeks for row in report.rows] == [3, 4, 5, 6]
    effects = [abs(row.smallest_effect) for row in report.rows]
    assert effects == sorted(effects, reverse=True)
    assert [row.shows_target for row in report.rows] == [row.weeks >= report.weeks_exact for row in report.rows]
    assert report.fits == (not advice(report))


def test_traffic_is_halved_between_two_groups() -> None:
    """4 to 5 % with 900 people a week: 6,744.93 a group, so 14.99 weeks."""
    report = weeks_needed(PLANS[0])
    assert report.per_group == pytest.approx(6744.93, abs=0.0051)
    assert report.weeks_exact == pytest.approx(6744.93 / 450, abs=1e-3)
    assert report.weeks == 15


def test_advice_holds_what_it_says() -> None:
    """Each way out that is offered brings the plan within six weeks."""
    report = weeks_needed(PLANS[0])
    assert not report.fits
    larger, more, earlier, _ = advice(report)
    assert "5.63%" in larger and report.rows[-1].smallest_target == pytest.approx(0.0563, abs=5e-5)
    assert "2,249" in more and weeks_needed(PlanMeasure(Kind.SPLIT_SHARES, 0.04, 0.05, 2249)).fits
    assert "from 10% to 12.5%" in earlier and weeks_needed(PlanMeasure(Kind.SPLIT_SHARES, 0.1, 0.125, 900)).fits


def test_short_needs_still_run_three_weeks() -> None:
    """Plenty of traffic shows the effect in days, and the words ask for three whole weeks all the same."""
    report = weeks_needed(PlanMeasure(Kind.SPLIT_SHARES, 0.04, 0.05, 90_000))
    assert (report.weeks, report.fits) == (1, True)
    assert "three whole weeks" in summary(report)


def test_what_no_weeks_can_show() -> None:
    """Against a short baseline no number of weeks may be enough: said, not counted."""
    report = weeks_needed(PlanMeasure(Kind.COUNT_TARGET, 5, 6))
    assert (report.weeks, report.weeks_exact, report.fits) == (None, math.inf, False)
    assert summary(report).startswith("No number of weeks")
    assert advice(report)


NAN = float("nan")
SHARES = Kind.SPLIT_SHARES


@pytest.mark.parametrize(
    "call",
    [
        lambda: weeks_needed({"baseline": 0.04}),
        lambda: PlanMeasure("split", 0.04, 0.05, 900),
        lambda: PlanMeasure(SHARES, 0.0, 0.1, 900),
        lambda: PlanMeasure(SHARES, 4, 5, 900),
        lambda: PlanMeasure(SHARES, NAN, 0.1, 900),
        lambda: PlanMeasure(SHARES, "4%", 0.1, 900),
        lambda: PlanMeasure(SHARES, 0.04, 0.05, 900, power=1.0),
        lambda: PlanMeasure(SHARES, 0.04, 0.05, 900, alpha=0.0),
        lambda: PlanMeasure(SHARES, 0.04, 0.04, 900),
        lambda: PlanMeasure(SHARES, 0.04, 1.0, 900),
        lambda: PlanMeasure(SHARES, 0.04, 0.05),
        lambda: PlanMeasure(SHARES, 0.04, 0.05, 0),
        lambda: PlanMeasure(SHARES, 0.04, 0.05, NAN),
        lambda: PlanMeasure(SHARES, 0.04, 0.05, 900, power=80),
        lambda: PlanMeasure(SHARES, 0.04, 0.05, 900, alpha=5),
        lambda: PlanMeasure(Kind.SPLIT_MEANS, 20, 22, 300),
        lambda: PlanMeasure(Kind.BEFORE_AFTER, 0.1, 0.12, sd=0.0),
        lambda: PlanMeasure(Kind.COUNT_TARGET, -5, 9),
        lambda: PlanMeasure(Kind.COUNT_TARGET, 5, 9, baseline_weeks=0),
    ],
)
def test_bad_input_is_named(call) -> None:
    """A wrong argument is refused with its name, its value and what would do."""
    with pytest.raises(BadNumber) as refused:
        call()
    assert refused.value.argument in str(refused.value)
    assert "allowed: " in str(refused.value)
