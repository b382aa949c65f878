"""Intervals and exact tests for shares, counts per week and means.

Sign convention, the same in every two-group function: the control comes first among the arguments, and a
result is trial minus control (a ratio: trial over control), so that a rise brought by the trial is positive.
Published tables that print "first minus second" are reproduced by giving their second group as the control.

Tests are two-sided. Samples are small here, so the exact methods need nothing but scipy.special. Every function raises
`inputs.BadNumber` for counts below 0, more successes than trials, shares outside 0 to 1, text or NaN.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from coldframe.analysis import exact, inputs


@dataclass(frozen=True, slots=True)
class Interval:
    """A range for an unknown value: `low` <= `high`, the `estimate`, the confidence (0 to 1) and the method's
    name.

    `estimate` is NaN where the data give none (a ratio of nothing to nothing).
    """

    low: float
    high: float
    estimate: float
    confidence: float
    method: str


@dataclass(frozen=True, slots=True)
class TestResult:
    """A test's p value, the statistic it came from and the method's name."""

    __test__ = False  # not a test class, whatever pytest makes of the name

    p_value: float
    statistic: float
    method: str


@dataclass(frozen=True, slots=True)
class Summary:
    """What is left of a sample: mean, standard deviation (divisor n - 1) and size (at least 2)."""

    mean: float
    sd: float
    size: int

    def __post_init__(self) -> None:
        inputs.finite("mean", self.mean)
        inputs.finite("sd", self.sd, least=0.0)
        inputs.whole("size", self.size, least=2)


# --- shares -------------------------------------------------------------------------------------------------


def wilson_interval(successes: int, trials: int, confidence: float = 0.95) -> Interval:
    """Score interval of one share (Wilson 1927)."""
    hits, people = _share("successes", successes, "trials", trials)
    low, high = _score_limits(hits, people, _critical(confidence))
    return Interval(low, high, hits / people, float(confidence), "Wilson score")


def exact_interval(successes: int, trials: int, confidence: float = 0.95) -> Interval:
    """Exact interval of one share (Clopper & Pearson 1934): never covers less than `confidence`."""
    from scipy.special import betaincinv

    hits, people = _share("successes", successes, "trials", trials)
    tail = (1 - inputs.rate("confidence", confidence, inside=True)) / 2
    low = float(betaincinv(hits, people - hits + 1, tail)) if hits else 0.0
    high = float(betaincinv(hits + 1, people - hits, 1 - tail)) if hits < people else 1.0
    return Interval(low, high, hits / people, float(confidence), "Clopper-Pearson exact")


def difference_interval(
    control_successes: int,
    control_trials: int,
    successes: int,
    trials: int,
    confidence: float = 0.95,
) -> Interval:
    """Hybrid score interval of a difference of shares, trial minus control (Newcombe 1998, 17:873-890, method
    10).

    Newcombe's 56/70 - 48/80 = .0524 to .3339 is `difference_interval(48, 80, 56, 70)`; with the groups
    exchanged both limits change sign and place.
    """
    before, control = _share("control_successes", control_successes, "control_trials", control_trials)
    after, people = _share("successes", successes, "trials", trials)
    z = _critical(confidence)
    control_low, control_high = _score_limits(before, control, z)
    trial_low, trial_high = _score_limits(after, people, z)
    old, new = before / control, after / people
    low = new - old - math.hypot(new - trial_low, control_high - old)
    high = new - old + math.hypot(trial_high - new, old - control_low)
    return Interval(max(low, -1.0), min(high, 1.0), new - old, float(confidence), "Newcombe hybrid score")


def pooled_score(control_successes: int, control_trials: int, successes: int, trials: int) -> float:
    """The score statistic of a difference of shares (its square is Pearson's chi-squared); 0 when nothing
    varies.
    """
    before, control = _share("control_successes", control_successes, "control_trials", control_trials)
    after, people = _share("successes", successes, "trials", trials)
    together = (before + after) / (control + people)
    variance = together * (1 - together) * (1 / control + 1 / people)
    return (after / people - before / control) / math.sqrt(variance) if variance > 0 else 0.0


def fisher_exact(control_successes: int, control_trials: int, successes: int, trials: int) -> TestResult:
    """Fisher's exact test of equal shares: sums every table that is no more likely.

    Statistic: odds ratio.
    """
    before, control = _share("control_successes", control_successes, "control_trials", control_trials)
    after, people = _share("successes", successes, "trials", trials)
    least, chances = exact.hypergeometric(people, control, after + before)
    p_value = exact.tail(chances, after - least)
    ratio = _ratio(after * (control - before), before * (people - after))
    return TestResult(p_value, ratio, "Fisher exact")


def boschloo_exact(control_successes: int, control_trials: int, successes: int, trials: int) -> TestResult:
    """Boschloo's unconditional exact test (1970): Fisher's p as the statistic, the common share at its worst.

    Never less powerful than Fisher's test. Twice the smaller side. Time grows with
    control_trials x trials; made for groups up to some hundreds. The statistic is Fisher's one-sided p.
    """
    before, control = _share("control_successes", control_successes, "control_trials", control_trials)
    after, people = _share("successes", successes, "trials", trials)
    p_value, statistic = min(
        exact.boschloo_side(before, control, after, people, above=above) for above in (True, False)
    )
    return TestResult(min(1.0, 2 * p_value), statistic, "Boschloo exact")


def binomial_exact(successes: int, trials: int, expected: float) -> TestResult:
    """Exact test of one share against a fixed `expected` share (0 to 1). The statistic is the share seen."""
    import numpy as np

    hits, people = _share("successes", successes, "trials", trials)
    share = inputs.rate("expected", expected)
    chances = exact.binomial(people, np.array([share]))[0]
    return TestResult(exact.tail(chances, hits), hits / people, "binomial exact")


# --- counts -------------------------------------------------------------------------------------------------


def rate_interval(count: int, exposure: float = 1.0, confidence: float = 0.95) -> Interval:
    """Exact interval of a count per unit of exposure (Garwood 1936); exposure > 0 in weeks, people or what is
    counted.
    """
    from scipy.special import gammaincinv

    events = inputs.whole("count", count)
    span = inputs.positive("exposure", exposure)
    tail = (1 - inputs.rate("confidence", confidence, inside=True)) / 2
    low = float(gammaincinv(events, tail)) if events else 0.0
    high = float(gammaincinv(events + 1, 1 - tail))
    return Interval(low / span, high / span, events / span, float(confidence), "Garwood exact")


def rate_ratio_interval(
    control_count: int, control_exposure: float, count: int, exposure: float, confidence: float = 0.95
) -> Interval:
    """Exact conditional interval of a ratio of two rates, trial over control (Clopper-Pearson on the trial's
    share).

    A control without events has no upper limit (infinity); without any event the estimate is NaN.
    """
    before, span = _counted(control_count, control_exposure, "control_")
    after, trial_span = _counted(count, exposure, "")
    level = inputs.rate("confidence", confidence, inside=True)
    scale = span / trial_span
    estimate = _ratio(after, before) * scale
    if before + after == 0:
        return Interval(0.0, math.inf, estimate, level, "conditional exact")
    share = exact_interval(after, before + after, level)
    low, high = (_ratio(limit, 1 - limit) * scale for limit in (share.low, share.high))
    return Interval(low, high, estimate, level, "conditional exact")


def rate_ratio_exact(control_count: int, control_exposure: float, count: int, exposure: float) -> TestResult:
    """Exact conditional test of equal rates (Przyborowski & Wilenski 1940), as in R's poisson.test.

    Statistic: ratio.
    """
    before, span = _counted(control_count, control_exposure, "control_")
    after, trial_span = _counted(count, exposure, "")
    ratio = _ratio(after, before) * span / trial_span
    if before + after == 0:
        return TestResult(1.0, ratio, "conditional exact")
    share = trial_span / (span + trial_span)
    p_value = binomial_exact(after, before + after, share).p_value
    return TestResult(p_value, ratio, "conditional exact")


def poisson_exact(count: int, expected: float) -> TestResult:
    """Exact test of a count against a fixed expected number (> 0): twice the smaller side."""
    from scipy.special import pdtr, pdtrc

    events, mean = inputs.whole("count", count), inputs.positive("expected", expected)
    above = float(pdtrc(events - 1, mean)) if events else 1.0
    below = float(pdtr(events, mean))
    return TestResult(min(1.0, 2 * min(above, below)), events / mean, "Poisson exact")


# --- means --------------------------------------------------------------------------------------------------


def mean_difference_interval(
    control: Sequence[float] | Summary, trial: Sequence[float] | Summary, confidence: float = 0.95
) -> Interval:
    """Welch's interval of a difference of means, trial minus control; each side as values (at least 2) or a
    Summary.

    Raises BadNumber also when neither side has any spread: then there is nothing to judge a difference by.
    """
    from scipy.special import stdtrit

    level = inputs.rate("confidence", confidence, inside=True)
    difference, error, freedom = _welch(control, trial)
    margin = float(stdtrit(freedom, 0.5 + level / 2)) * error
    return Interval(difference - margin, difference + margin, difference, level, "Welch t")


def welch_test(control: Sequence[float] | Summary, trial: Sequence[float] | Summary) -> TestResult:
    """Welch's t test of equal means (unequal variances); the statistic is t, positive when the trial lies
    above.
    """
    from scipy.special import stdtr

    difference, error, freedom = _welch(control, trial)
    t = difference / error
    return TestResult(2 * float(stdtr(freedom, -abs(t))), t, "Welch t")


def summary(argument: str, values: Sequence[float] | Summary) -> Summary:
    """Mean, standard deviation and size of at least two values; a Summary passes through."""
    if isinstance(values, Summary):
        return values
    numbers = [inputs.finite(argument, value) for value in inputs.non_empty(argument, values, least=2)]
    mean = math.fsum(numbers) / len(numbers)
    squares = math.fsum((value - mean) ** 2 for value in numbers)
    return Summary(mean, math.sqrt(squares / (len(numbers) - 1)), len(numbers))


# --- inside -------------------------------------------------------------------------------------------------


def _share(hits_name: str, hits: int, people_name: str, people: int) -> tuple[int, int]:
    number = inputs.whole(people_name, people, least=1)
    return inputs.whole(hits_name, hits, most=number), number


def _counted(count: int, exposure: float, group: str) -> tuple[int, float]:
    return inputs.whole(f"{group}count", count), inputs.positive(f"{group}exposure", exposure)


def _critical(confidence: float) -> float:
    from scipy.special import ndtri

    return float(ndtri(0.5 + inputs.rate("confidence", confidence, inside=True) / 2))


def _score_limits(hits: int, people: int, z: float) -> tuple[float, float]:
    share = hits / people
    scale, centre = 2 * (people + z * z), 2 * people * share + z * z
    margin = z * math.sqrt(z * z + 4 * people * share * (1 - share))
    low, high = (centre - margin) / scale, (centre + margin) / scale
    return (max(low, 0.0) if hits else 0.0), (min(high, 1.0) if hits < people else 1.0)


def _ratio(top: float, bottom: float) -> float:
    if bottom:
        return top / bottom
    return math.inf if top else math.nan


def _welch(control: Sequence[float] | Summary, trial: Sequence[float] | Summary) -> tuple[float, float, float]:
    """Difference of means (trial minus control), its standard error, and the degrees of freedom."""
    old, new = summary("control", control), summary("trial", trial)
    old_error, new_error = old.sd / math.sqrt(old.size), new.sd / math.sqrt(new.size)
    error = math.hypot(old_error, new_error)
    if error == 0:
        raise inputs.BadNumber("sd", (old.sd, new.sd), "some spread in at least one of the two groups")
    old_part, new_part = (old_error / error) ** 2, (new_error / error) ** 2
    freedom = 1 / (old_part**2 / (old.size - 1) + new_part**2 / (new.size - 1))
    return new.mean - old.mean, error, freedom
