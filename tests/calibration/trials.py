"""Worlds of trials: the chance to meet the target, the intervals of verdicts, and the power of a planned trial.

Ordinary: people come in equal numbers each week and decide by themselves (binomial), counts are Poisson, weekly values
and single values normal. A third or a tenth of ideas work (shares of 8 to 33 % are reported by firms that test; Kohavi,
Tang & Xu 2020, "Trustworthy online controlled experiments", chapter 1, from memory); those have 0.7 to 1.3 times the
effect that was planned, the rest none. Hard, as no method assumes them: weeks that drift (autoregressive, .3), by which
shares and counts differ more than luck lets them; an effect that wears off from week to week (novelty), of which no
chance is said ("if it lasts"), so that it stands apart in the table; effects of all sizes, good and bad (normal, half
as wide as the plan); for the power of a plan also values with a long tail (lognormal).

Half of the teams have a record of up to 24 trials that were given a verdict. Their own share of ideas that work differs
from team to team around a third or a tenth (beta, worth ten trials); of ideas that work 94 in 100 verdicts say so, of
the rest 3, as trials of eighty in a hundred power have it. Hard: teams of whose ideas half work, or one in fifty, which
no share assumed beforehand holds, with at least eight trials on record. What is said is a span, from one idea in ten
that works to one in three; where neither is true, it errs towards doubt when the truth lies within it.

The truth of a chance is the verdict that the same trial came to when all weeks were logged, looked at every week. The
truth of an interval is whether the difference that the world has lies in it: at every look where it is said to allow
for looks, else at the end.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from coldframe.analysis import evidence, sequential
from coldframe.analysis.chances import NO_RECORD, Record
from coldframe.analysis.measures import SPLITS, Count, Kind, Measure, Tally, WeeklyNumbers
from coldframe.analysis.outcomes import Outcome, Verdict
from coldframe.analysis.proportions import Summary
from coldframe.analysis.sizing import SPAN, PlanMeasure, smallest_target, weeks_needed
from coldframe.analysis.verdict import judge
from tests.calibration import earlier as before
from tests.calibration.claims import AT_LEAST, NOT_SAID, Said

START = date(2026, 3, 2)
WEEKS, EARLIER = 6, 8
MET = ("reached", "better")
"""Outcomes that show an effect; a count is told its chance to reach the target."""
WORKING = {"a third of ideas work": 1 / 3, "a tenth of ideas work": 1 / 10}
WEARS_OFF = "the effect wears off"
HARD = ("weeks drift", WEARS_OFF, "effects of all sizes")
LOW_END = "chance to meet it, whatever share of ideas works: the low end of the span"
HIGH_END = "chance to meet it, whatever share of ideas works: the high end of the span"
SAID_AFTER = (1, 3)  # weeks
AT_THE_END = (Kind.BEFORE_AFTER, Kind.COUNT_TARGET)
"""Kinds whose interval is that of one look."""
SD = 1.0

PLANS = {
    Kind.SPLIT_SHARES: PlanMeasure(Kind.SPLIT_SHARES, 0.10, 0.15, 1.0),
    Kind.SPLIT_MEANS: PlanMeasure(Kind.SPLIT_MEANS, 5.0, 5.3, 1.0, sd=SD),
    Kind.BEFORE_AFTER: PlanMeasure(Kind.BEFORE_AFTER, 10.0, 11.8, sd=SD, baseline_weeks=EARLIER),
    Kind.COUNT_TARGET: PlanMeasure(Kind.COUNT_TARGET, 12.0, 17.0, baseline_weeks=EARLIER),
    Kind.SPLIT_RATES: PlanMeasure(Kind.SPLIT_RATES, 0.5, 0.6, 1.0),
    Kind.SHARE_TARGET: PlanMeasure(Kind.SHARE_TARGET, 0.30, 0.40, 1.0),
}


def _at_power(plan: PlanMeasure) -> PlanMeasure:
    """With as many people a week as six weeks need; the kinds that count none aim at what six weeks show."""
    if plan.weekly is None:
        target = smallest_target(plan, WEEKS)
        return PlanMeasure(plan.kind, plan.baseline, target, sd=plan.sd, baseline_weeks=EARLIER)
    people = 2.0 * math.ceil(100 * weeks_needed(_with(plan, 200.0)).weeks_exact / WEEKS)
    return _with(plan, people)


def plans() -> list[PlanMeasure]:
    """One of each kind."""
    return [_at_power(plan) for plan in PLANS.values()]


def _with(plan: PlanMeasure, weekly: float) -> PlanMeasure:
    return PlanMeasure(plan.kind, plan.baseline, plan.target, weekly, sd=plan.sd)


@dataclass(frozen=True, slots=True)
class Nature:
    """What is true: the effect in each week, and how weeks differ beyond luck."""

    effects: tuple[float, ...]
    drift: float = 0.0
    long_tail: bool = False


# --- weeks as they come in ------------------------------------------------------------------------------------


def drifting(rng: np.random.Generator, number: int, size: float) -> list[float]:
    """Multipliers around 1, each week's leaning on the last."""
    level, found = rng.normal(0, size) if size else 0.0, []
    for _ in range(number):
        level = 0.3 * level + rng.normal(0, size * math.sqrt(1 - 0.3**2)) if size else 0.0
        found.append(math.exp(level))
    return found


Drawn = Callable[[np.random.Generator, PlanMeasure, Nature], tuple[tuple[float, ...], list[WeeklyNumbers]]]
"""Earlier weeks, and those of the trial."""


def _shares(
    rng: np.random.Generator, plan: PlanMeasure, nature: Nature
) -> tuple[tuple[float, ...], list[WeeklyNumbers]]:
    people = round((plan.weekly or 0) / 2)
    both = zip(drifting(rng, len(nature.effects), nature.drift), nature.effects, strict=True)
    levels = [(plan.baseline * moved, plan.baseline * moved + effect) for moved, effect in both]
    drawn = [[Tally(int(rng.binomial(people, min(max(p, 0), 1))), people) for p in pair] for pair in levels]
    return (), [WeeklyNumbers(n, trial, control) for n, (control, trial) in enumerate(drawn, 1)]


def _means(
    rng: np.random.Generator, plan: PlanMeasure, nature: Nature
) -> tuple[tuple[float, ...], list[WeeklyNumbers]]:
    people = round((plan.weekly or 0) / 2)
    weeks = []
    for number, effect in enumerate(nature.effects, 1):
        moved = nature.drift * rng.normal()
        pair = [_summary(_values(rng, people, level, nature)) for level in (moved, moved + effect)]
        weeks.append(WeeklyNumbers(number, pair[1], pair[0]))
    return (), weeks


def _values(rng: np.random.Generator, number: int, level: float, nature: Nature) -> np.ndarray:
    if not nature.long_tail:
        return rng.normal(level, SD, number)
    spread = np.exp(rng.normal(size=number))  # standard deviation 2.16, mean 1.65
    return level + SD * (spread - 1.6487) / 2.1612


def _summary(values: np.ndarray) -> Summary:
    return Summary(float(values.mean()), float(values.std(ddof=1)), len(values))


def _before_after(
    rng: np.random.Generator, plan: PlanMeasure, nature: Nature
) -> tuple[tuple[float, ...], list[WeeklyNumbers]]:
    """A week's value; when weeks drift, the spread is the same and leans on the week before."""
    number = EARLIER + len(nature.effects)
    values = plan.baseline + _values(rng, number, 0.0, nature)
    if nature.drift:
        leaning = [rng.normal()]
        for _ in range(number - 1):
            leaning.append(0.3 * leaning[-1] + rng.normal(0, math.sqrt(1 - 0.3**2)))
        values = plan.baseline + SD * np.array(leaning)
    after = values[EARLIER:] + np.array(nature.effects)
    return tuple(map(float, values[:EARLIER])), [
        WeeklyNumbers(n, Summary(float(v), 0.0, 2)) for n, v in enumerate(after, 1)
    ]


def _counts(
    rng: np.random.Generator, plan: PlanMeasure, nature: Nature
) -> tuple[tuple[float, ...], list[WeeklyNumbers]]:
    moved = drifting(rng, EARLIER + len(nature.effects), nature.drift)
    earlier = tuple(float(rng.poisson(plan.baseline * one)) for one in moved[:EARLIER])
    levels = [max(plan.baseline * one + e, 0.0) for one, e in zip(moved[EARLIER:], nature.effects, strict=True)]
    return earlier, [WeeklyNumbers(n, Count(int(rng.poisson(level)))) for n, level in enumerate(levels, 1)]


def _rates(
    rng: np.random.Generator, plan: PlanMeasure, nature: Nature
) -> tuple[tuple[float, ...], list[WeeklyNumbers]]:
    exposure = (plan.weekly or 0) / 2
    weeks = []
    for number, (moved, effect) in enumerate(
        zip(drifting(rng, len(nature.effects), nature.drift), nature.effects, strict=True), 1
    ):
        pair = [
            Count(int(rng.poisson(exposure * plan.baseline * moved + exposure * e)), exposure) for e in (0.0, effect)
        ]
        weeks.append(WeeklyNumbers(number, pair[1], pair[0]))
    return (), weeks


def _one_share(
    rng: np.random.Generator, plan: PlanMeasure, nature: Nature
) -> tuple[tuple[float, ...], list[WeeklyNumbers]]:
    people = round(plan.weekly or 0)
    levels = [
        min(plan.baseline * moved + effect, 1.0)
        for moved, effect in zip(drifting(rng, len(nature.effects), nature.drift), nature.effects, strict=True)
    ]
    return (), [WeeklyNumbers(n, Tally(int(rng.binomial(people, level)), people)) for n, level in enumerate(levels, 1)]


DRAWN: dict[Kind, Drawn] = {
    Kind.SPLIT_SHARES: _shares,
    Kind.SPLIT_MEANS: _means,
    Kind.SPLIT_RATES: _rates,
    Kind.BEFORE_AFTER: _before_after,
    Kind.COUNT_TARGET: _counts,
    Kind.SHARE_TARGET: _one_share,
}


def measure_of(plan: PlanMeasure, earlier: tuple[float, ...], weeks: int) -> Measure | None:
    """As it would be frozen; None where the earlier weeks happen to lie beyond the target, which is refused."""
    span = weeks if plan.kind is Kind.COUNT_TARGET else 1
    target = plan.target * span
    if plan.kind is Kind.BEFORE_AFTER:  # the target is set by what the earlier weeks show
        target = float(np.mean(earlier)) + plan.target - plan.baseline
    if earlier and float(np.mean(earlier)) * span >= target:
        return None
    review = START + timedelta(weeks=weeks)
    level = None if earlier else plan.baseline * span
    return Measure(
        "m", plan.kind, target, START, review, weeks, baseline=level, baseline_weeks=earlier, weekly=plan.weekly
    )


# --- the chance, and the intervals ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Team:
    """How many of its ideas work, as is assumed beforehand and in truth, and what its trials showed."""

    assumed: str
    works: float
    record: Record = NO_RECORD


OTHER_TEAMS = "teams unlike any assumed"
UNLIKE = {"a third of ideas work": 0.5, "a tenth of ideas work": 0.02}
OF_TEAMS = 10  # trials that say as much about a team as other teams do
MOST_TOLD, LEAST_TOLD = 24, 8
SHOWN_IF = (0.03, 0.94)
"""Of verdicts given, those that show an effect: of ideas that do not work, and of those that do."""


def _with_a_record(rng: np.random.Generator, share: str, hard: bool) -> Team:
    mean = WORKING[share]
    works = UNLIKE[share] if hard else float(rng.beta(OF_TEAMS * mean, OF_TEAMS * (1 - mean)))
    told = int(rng.integers(LEAST_TOLD if hard else 0, MOST_TOLD + 1))
    missing, there = SHOWN_IF
    return Team(share, works, Record(told, int(rng.binomial(told, works * there + (1 - works) * missing))))


def statements(worlds: int, seed: int) -> Iterator[Said]:
    """Chances after weeks 1 and 3, and the interval at the end, of as many trials; a third of them hard."""
    rng = np.random.default_rng(seed)
    sized = plans()
    for number in range(worlds):
        plan = sized[number // 2 % len(sized)]
        share = list(WORKING)[int(rng.integers(2))]
        hard = rng.random() < 1 / 3
        if number % 2:
            yield from follow(rng, plan, _with_a_record(rng, share, hard), OTHER_TEAMS if hard else "")
        else:
            yield from follow(rng, plan, Team(share, WORKING[share]), str(rng.choice(HARD)) if hard else "")


def follow(rng: np.random.Generator, plan: PlanMeasure, team: Team, hard: str) -> Iterator[Said]:
    nature = _nature(rng, plan.target - plan.baseline, team.works, hard)
    earlier, weeks = DRAWN[plan.kind](rng, plan, nature)
    measure = measure_of(plan, earlier, WEEKS)
    if measure is None:
        return
    seen = [
        judge(measure, weeks[:n], n, START + timedelta(weeks=n), counting_checked=True, record=team.record)
        for n in range(1, WEEKS + 1)
    ]
    end = next(one for one in seen if one.outcome is not Outcome.TOO_EARLY)
    met = float(end.outcome.value in (MET[:1] if plan.kind is Kind.COUNT_TARGET else MET))
    for number in SAID_AFTER:
        if seen[number - 1].chance is not None and number <= seen.index(end):
            yield from _chances(plan, seen[number - 1], number, team, hard, met)
            evidence_then = evidence.gather(measure, weeks[:number], 0.95)
            yield from _before(plan, before.chance(measure, weeks[:number], evidence_then), number, team, hard, met)
    if hard in ("", "weeks drift"):
        told = [one for one in seen if one.effect is not None]
        told = told[-1:] if plan.kind in AT_THE_END else told
        inside = all(_covers(plan, one, nature.effects[0]) for one in told)
        claim = f"interval, {plan.kind.value}{'' if plan.kind in SPLITS else f': {NOT_SAID}'}"
        yield Said(claim, hard or "ordinary", bool(hard), 0.95, float(inside))


def _chances(plan: PlanMeasure, seen: Verdict, week: int, team: Team, hard: str, met: float) -> Iterator[Said]:
    assert seen.chance is not None
    if hard and hard != WEARS_OFF:
        record = ", with a record" if team.record is not NO_RECORD else ""
        yield Said(f"{LOW_END}{record}", hard, True, seen.chance.value, met)
        yield Said(f"{HIGH_END}{record}", hard, True, seen.chance.high, met)
        return
    said = seen.chance.high if team.assumed.startswith("a third") else seen.chance.value
    yield Said(_claim(team, hard), hard or f"{plan.kind.value}, week {week}", bool(hard), said, met)


def _before(plan: PlanMeasure, said: float | None, week: int, team: Team, hard: str, met: float) -> Iterator[Said]:
    if said is not None:
        yield Said(_claim(team, hard), hard or f"{plan.kind.value}, week {week}", bool(hard), said, met, earlier=True)


def _claim(team: Team, hard: str) -> str:
    if hard == WEARS_OFF:
        return f"chance to meet it though it does not last: {NOT_SAID}"
    return f"chance to meet it, if {team.assumed}{', with a record' if team.record is not NO_RECORD else ''}"


def _covers(plan: PlanMeasure, seen: Verdict, effect: float) -> bool:
    if plan.kind is Kind.SPLIT_RATES:
        effect = 1 + effect / plan.baseline
    if plan.kind is Kind.COUNT_TARGET:  # the interval is that of the count so far
        truth = (plan.baseline + effect) * seen.weeks_used
    else:
        truth = effect
    assert seen.effect is not None
    return seen.effect.low <= truth <= seen.effect.high


def _nature(rng: np.random.Generator, planned: float, works: float, hard: str) -> Nature:
    if hard == "effects of all sizes":
        return Nature((float(rng.normal(0, abs(planned) / 2)),) * WEEKS)
    size = planned * rng.uniform(0.7, 1.3) if rng.random() < works else 0.0
    if hard == WEARS_OFF:
        return Nature(tuple(size * 1.5 * 0.75**week for week in range(WEEKS)))
    return Nature((float(size),) * WEEKS, drift=0.1 if hard == "weeks drift" else 0.0)


# --- power ----------------------------------------------------------------------------------------------------

SIZED = (
    PlanMeasure(Kind.SPLIT_SHARES, 0.10, 0.2, 400.0),
    PlanMeasure(Kind.SPLIT_SHARES, 0.40, 0.2, 100.0),
    PlanMeasure(Kind.SPLIT_MEANS, 5.0, 6.0, 60.0, sd=SD),
    PlanMeasure(Kind.SPLIT_RATES, 0.5, 0.9, 60.0),
    PlanMeasure(Kind.BEFORE_AFTER, 10.0, 12.0, sd=SD, baseline_weeks=EARLIER),
    PlanMeasure(Kind.COUNT_TARGET, 12.0, 17.0, baseline_weeks=EARLIER),
    PlanMeasure(Kind.SHARE_TARGET, 0.30, 0.45, 40.0),
)
TAILED = (Kind.SPLIT_MEANS, Kind.BEFORE_AFTER)
POWER = 0.8
MOST_LIKELY = 0.7
"""Of such trials at least show it, where the plan is said to show it most likely."""


def power(trials: int, seed: int) -> Iterator[Said]:
    """Whether the smallest target that 3, 4, 5 and 6 weeks are said to show was seen, with the verdict's own test and
    the boundary of weekly looks."""
    rng = np.random.default_rng(seed)
    for plan in SIZED:
        worlds = [("", 0.0, False), ("weeks drift", 0.1, False)]
        worlds += [("a long tail", 0.0, True)] if plan.kind in TAILED else []
        for hard, drift, tail in worlds:
            for weeks in SPAN:
                yield from powered(rng, plan, weeks, Nature((), drift, tail), hard, trials)


def powered(
    rng: np.random.Generator, plan: PlanMeasure, weeks: int, nature: Nature, hard: str, trials: int
) -> Iterator[Said]:
    """In ordinary worlds 80 in 100, by which plans are sized; in others what its words promise."""
    claim, said = f"power, {plan.kind.value}, {weeks} weeks", POWER
    if hard:
        claim, said = f"{claim}: “would most likely show it”, {AT_LEAST}", MOST_LIKELY
    number = trials if not hard else trials // 2
    for shown in _shown(rng, plan, smallest_target(plan, weeks), weeks, nature, number):
        yield Said(claim, hard or "ordinary", bool(hard), said, shown)
    if not hard and (then := before.smallest_target(plan, weeks)) != smallest_target(plan, weeks):
        for shown in _shown(rng, plan, then, weeks, nature, number):
            yield Said(claim, "ordinary", False, said, shown, earlier=True)


def _shown(
    rng: np.random.Generator, plan: PlanMeasure, target: float, weeks: int, nature: Nature, number: int
) -> Iterator[float]:
    aimed = PlanMeasure(plan.kind, plan.baseline, target, plan.weekly, sd=plan.sd, baseline_weeks=EARLIER)
    effects = Nature((target - plan.baseline,) * weeks, nature.drift, nature.long_tail)
    boundary = _final_boundary(plan.kind, weeks)
    for _ in range(number):
        earlier, numbers = DRAWN[plan.kind](rng, aimed, effects)
        measure = Measure(
            "m", plan.kind, target * (weeks if plan.kind is Kind.COUNT_TARGET else 1), START,
            START + timedelta(weeks=weeks), weeks, baseline=plan.baseline, direction=aimed.direction,
        )  # fmt: skip
        if earlier:
            checked = measure_of(aimed, earlier, weeks)
            if checked is None:
                continue
            measure = checked
        seen = evidence.gather(measure, numbers, 0.95)
        yield float(seen is not None and seen.z is not None and seen.z * aimed.direction.sign >= boundary)


def _final_boundary(kind: Kind, weeks: int) -> float:
    if kind in (Kind.BEFORE_AFTER, Kind.COUNT_TARGET):
        return sequential.spending_boundaries((1.0,), 0.05)[0]
    return sequential.spending_boundaries([(n + 1) / weeks for n in range(weeks)], 0.05)[-1]
