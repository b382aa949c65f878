"""How often a verdict is wrong, by simulation: `python -m tests.bench.verdicts [--trials N] [--one-by-one N] [--save]`.

First split tests and before-after trials in arrays (`verdict_splits`, `verdict_weeks`), then trials of every design,
judged one by one.

A team logs six weeks and lets the numbers be judged every week; it stops at the first verdict other than "too
early". Beside it stand a team that looks every week at the plain 1.96 and stops when it sees what it hoped for, and
one that looks once, at the end. Traffic varies from week to week (Poisson). `--save` writes the table beside this file.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import click
import numpy as np

from coldframe.analysis import odds
from coldframe.analysis.measures import Kind, Measure, Tally, WeeklyNumbers
from coldframe.analysis.outcomes import Outcome
from coldframe.analysis.proportions import pooled_score, welch_test
from coldframe.analysis.sizing import PlanMeasure, exact_weeks
from coldframe.analysis.verdict import judge
from tests.analysis.trials import count_week, split_week
from tests.bench import verdict_splits, verdict_weeks

WEEKS = 6
START = date(2026, 3, 2)
SEED = 20260302
NAIVE = 1.959964


@dataclass
class Row:
    """One scenario's shares: of the judge, of naive weekly looks, of one look at the end."""

    name: str
    trials: int
    verdicts: Counter[str]
    naive: int
    single: int

    def share(self, count: int) -> str:
        """A share in per cent with its Monte Carlo error (one standard error)."""
        share = count / self.trials
        return f"{100 * share:5.2f} ± {100 * math.sqrt(share * (1 - share) / self.trials):.2f}"

    def line(self) -> str:
        """The scenario as a line of the table."""
        better = self.verdicts["reached"] + self.verdicts["better"]
        counts = [better, *(self.verdicts[one] for one in ("not reached", "cannot tell", "worse"))]
        cells = [self.share(one) for one in (*counts, self.naive, self.single)]
        return f"{self.name:<52}" + "".join(f"{cell:>15}" for cell in cells)


def measure(kind: Kind, baseline: float, target: float, baseline_weeks: tuple[float, ...] = ()) -> Measure:
    review = START + timedelta(weeks=WEEKS)
    return Measure("m", kind, target, START, review, WEEKS, baseline=baseline, baseline_weeks=baseline_weeks)


def follow(plan: Measure, weeks: list[WeeklyNumbers]) -> str:
    """The first verdict other than "too early", judged week by week."""
    for number in range(1, len(weeks) + 1):
        verdict = judge(plan, weeks[:number], number, START + timedelta(weeks=number))
        if verdict.outcome is not Outcome.TOO_EARLY:
            return verdict.outcome.value
    raise AssertionError("the planned end leaves no verdict open")


def statistics(weeks: list[WeeklyNumbers]) -> list[float]:
    """The plain score statistic after each week."""
    found = []
    for number in range(1, len(weeks) + 1):
        sums = [0, 0, 0, 0]
        for week in weeks[:number]:
            control, trial = week.control, week.trial
            assert isinstance(control, Tally) and isinstance(trial, Tally)
            parts = (control.successes, control.trials, trial.successes, trial.trials)
            sums = [total + part for total, part in zip(sums, parts, strict=True)]
        found.append(pooled_score(*sums))
    return found


def split(
    name: str,
    old: float,
    new: float,
    trials: int,
    *,
    baseline: float = 0.04,
    target: float = 0.05,
    per_week: float | None = None,
) -> Row:
    """A split test sized for 80 % power at one look after six weeks (or with so many people a group and week)."""
    random = np.random.default_rng(SEED)
    plan = measure(Kind.SPLIT_SHARES, baseline, target)
    # Weeks of a hundred people in each group, at most as many as a hundred years have.
    people = per_week or 100 * exact_weeks(PlanMeasure(Kind.SPLIT_SHARES, baseline, target, 200.0)) / WEEKS
    row = Row(name, trials, Counter(), 0, 0)
    for _ in range(trials):
        weeks = []
        for week in range(1, WEEKS + 1):
            control, trial = (int(one) for one in random.poisson(people, 2))
            hits = int(random.binomial(control, old)), int(random.binomial(trial, new))
            weeks.append(split_week(week, hits[0], max(control, 1), hits[1], max(trial, 1)))
        row.verdicts[follow(plan, weeks)] += 1
        path = statistics(weeks)
        row.naive += any(z >= NAIVE for z in path)
        row.single += path[-1] >= NAIVE
    return row


def before_after(name: str, drift: float, trials: int) -> Row:
    """A before-after trial without effect: 10 %, 1,000 people a week, weeks drifting with an AR(1) of .3."""
    random = np.random.default_rng(SEED)
    row = Row(name, trials, Counter(), 0, 0)
    earlier, people = 8, 1000
    for _ in range(trials):
        level, levels = 0.0, []
        for _week in range(earlier + WEEKS):
            level = 0.3 * level + random.normal(0, drift * math.sqrt(1 - 0.3**2))
            levels.append(0.1 * math.exp(level))
        hits = random.binomial(people, np.clip(levels, 0, 1))
        before = tuple(float(one) / people for one in hits[:earlier])
        mean = sum(before) / earlier
        plan = measure(Kind.BEFORE_AFTER, mean, mean + 0.02, before)
        weeks = [WeeklyNumbers(week + 1, Tally(int(one), people)) for week, one in enumerate(hits[earlier:])]
        row.verdicts[follow(plan, weeks)] += 1
        values = [float(one) / people for one in hits[earlier:]]
        pooled = [
            pooled_score(int(hits[:earlier].sum()), people * earlier, int(sum(part)), people * len(part))
            for number in range(1, WEEKS + 1)
            if len(part := hits[earlier : earlier + number])
        ]
        row.naive += any(z >= NAIVE for z in pooled)
        at_once = welch_test(before, values)
        row.single += at_once.statistic > 0 and at_once.p_value < 0.05
    return row


def leaning(random: np.random.Generator, number: int, drift: float) -> np.ndarray:
    """By how much each week's level is moved, leaning by .3 on the last."""
    level, found = random.normal(), []
    for _ in range(number):
        level = 0.3 * level + math.sqrt(1 - 0.3**2) * random.normal()
        found.append(math.exp(drift * level))
    return np.array(found)


def one_share(name: str, people: int, drift: float, trials: int) -> Row:
    """A share against a stated one of 20 %, target 26 %, though nothing changes; what its owner is told of drift."""
    random = np.random.default_rng(SEED)
    plan = replace(measure(Kind.SHARE_TARGET, 0.20, 0.26), weekly=float(people))
    told = odds.of(plan, trials=TOLD).drift or 0.0
    row = Row(f"{name} (told {100 * told:.1f})", trials, Counter(), 0, 0)
    for _ in range(trials):
        hits = random.binomial(people, 0.20 * leaning(random, WEEKS, drift))
        row.verdicts[follow(plan, [WeeklyNumbers(n, Tally(int(h), people)) for n, h in enumerate(hits, 1)])] += 1
        path = [(h / (people * n) - 0.20) / math.sqrt(0.16 / (people * n)) for n, h in enumerate(hits.cumsum(), 1)]
        row.naive += any(z >= NAIVE for z in path)
        row.single += path[-1] >= NAIVE
    return row


TOLD = 20_000  # trials behind a figure that is told


def counts(name: str, usual: float, real: float, target: float, trials: int, drift: float = 0.0) -> Row:
    """A count against a target of so many over the span, with eight earlier weeks at the usual level."""
    random = np.random.default_rng(SEED)
    row = Row(name, trials, Counter(), 0, 0)
    for _ in range(trials):
        moved = leaning(random, 8 + WEEKS, drift) if drift else np.ones(8 + WEEKS)
        before = tuple(float(one) for one in random.poisson(usual * moved[:8]))
        level = sum(before) / 8 * WEEKS
        if level >= target:  # such a target would be refused at the commitment
            row.verdicts["not reached"] += 1
            continue
        plan = measure(Kind.COUNT_TARGET, level, target, before)
        weeks = [count_week(week, int(one)) for week, one in enumerate(random.poisson(real * moved[8:]), 1)]
        row.verdicts[follow(plan, weeks)] += 1
        reached = sum(week.trial.events for week in weeks) >= target  # type: ignore[union-attr]
        row.naive += reached
        row.single += reached
    return row


SCENARIOS: list[Callable[[int], Row]] = [
    lambda n: split("split 4 % -> 5 %, no effect", 0.04, 0.04, n),
    lambda n: split("split 4 % -> 5 %, planned effect", 0.04, 0.05, n),
    lambda n: split("split 4 % -> 5 %, half the effect", 0.04, 0.045, n),
    lambda n: split("split 4 % -> 5 %, worse by a point", 0.04, 0.03, n),
    lambda n: split(
        "split 10 % -> 30 %, 10 a week, no effect", 0.1, 0.1, n // 10, baseline=0.1, target=0.3, per_week=10
    ),
    lambda n: before_after("before-after, weeks steady, no effect", 0.0, n),
    lambda n: before_after("before-after, weeks drift by 10 %, no effect", 0.10, n),
    lambda n: counts("count, usual 5 a week, target 45, no effect", 5, 5, 45, n),
    lambda n: counts("count, usual 5 a week, target 45, 9 a week", 5, 9, 45, n),
    lambda n: counts("count, usual 5, target 45, weeks drift by 10 %", 5, 5, 45, n, 0.1),
    lambda n: counts("count, usual 50, target 345, weeks drift by 10 %", 50, 50, 345, n, 0.1),
    lambda n: one_share("one share, 90 a week, steady", 90, 0.0, n),
    lambda n: one_share("one share, 90 a week, drift", 90, 0.1, n),
    lambda n: one_share("one share, 900 a week, drift", 900, 0.1, n),
]

HEADINGS = ("better", "not reached", "cannot tell", "worse", "naive looks", "one look")

NOTES = """
Per cent of trials, ± one Monte Carlo standard error. "better": better or reached.
naive looks: weekly looks at 1.96 in the wanted direction, stopped at the first (before-after: a pooled test of two
shares instead of weekly rates; count: the target reached, without a look at the usual level). one look: the same test
once, at the end (before-after: Welch's t on weekly rates). False alarms in both directions are better + worse.
The row with 10 people a week and group has a tenth of the trials, since its exact tests take long.
Trials without a control have no promise of 5 % against drifting weeks: hence their weak and medium strength. "told":
how many of a hundred their owner is told would seem better by drift of a tenth, before the criterion is sealed.
"""


def table(trials: int, scenarios: list[Callable[[int], Row]] = SCENARIOS) -> str:
    """The whole table as text."""
    head = f"{trials:,} trials each, {WEEKS} weeks, a look every week, seed {SEED}"
    columns = f"{'':<52}" + "".join(f"{one:>15}" for one in HEADINGS)
    return "\n".join([head, "", columns, *(one(trials).line() for one in scenarios), NOTES])


@click.command()
@click.option("--trials", default=20_000, show_default=True, help="Split tests simulated in each world, in arrays.")
@click.option("--one-by-one", default=1_000, show_default=True, help="Trials judged one by one, of every design.")
@click.option("--save", is_flag=True, help="Write the table to verdicts.txt beside this file.")
def main(trials: int, one_by_one: int, save: bool) -> None:
    """Print how often a verdict is wrong."""
    text = "\n".join([verdict_splits.table(trials), verdict_weeks.table(trials), table(one_by_one)])
    click.echo(text)
    if save:
        Path(__file__).with_suffix(".txt").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
