"""Trials without a control by the ten thousand: how often weeks that only drift are taken for an effect.

Before-after trials: earlier weeks and weeks of the trial are drawn by a simulator of its own (people come by chance,
weeks are lost, levels lean on the week before), judged in arrays by Welch's test on weekly rates at the planned end,
and held against the rules themselves, looked at after every week, on the first trials of each world. Beside what came
stands what the owner is told before the criterion is sealed. Worlds with more than drift (weeks that lean on each other
more, a trend, a season's end) are shown for what they are: nobody promises anything of them, which is why such a
verdict says "changed", never "caused". `tests.bench.verdicts` prints it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from scipy import stats

from coldframe.analysis import odds
from coldframe.analysis.measures import Kind, Measure, Tally, WeeklyNumbers
from coldframe.analysis.verdict import judge
from coldframe.domain.trial import standing
from coldframe.domain.trial.state import Given

Array = Any
SEED, START = 20261201, date(2026, 3, 2)
LEVEL, AIM, PEOPLE = 0.10, 0.02, 1000
CODES = ("", "reached", "better", "not reached", "worse")
CHECKED = 100  # trials of each world, judged by the rules themselves
UNEQUAL = (1800.0, 300.0, 1000.0, 500.0, 2000.0, 400.0)


@dataclass(frozen=True)
class World:
    """Earlier weeks and weeks of the trial; `drift` of the level and how much a week leans on the last; how often a
    week is lost; people week by week, over and over; what each week adds to the level by itself, and a step after the
    earlier ones."""

    name: str
    earlier: int = 8
    weeks: int = 6
    drift: float = 0.1
    leaning: float = 0.3
    lost: float = 0.0
    people: Sequence[float] = (float(PEOPLE),)
    trend: float = 0.0
    step: float = 0.0
    promised: bool = True


WORLDS = (
    World("steady weeks", drift=0.0),
    World("drift by a tenth"),
    World("drift by a tenth, six earlier weeks", earlier=6),
    World("drift by a tenth, six and three weeks", earlier=6, weeks=3),
    World("drift by a tenth, twelve earlier weeks", earlier=12, weeks=4),
    World("drift by a quarter", drift=0.25),
    World("drift, a sixth of the weeks lost", lost=1 / 6),
    World("drift, unequal weeks", people=UNEQUAL),
    World("drift, unequal weeks and gaps", lost=1 / 6, people=UNEQUAL),
    World("weeks that lean by .6 on the last", leaning=0.6, promised=False),
    World("a trend of one in a hundred a week", trend=0.01, promised=False),
    World("a season ends as it begins: a twentieth", step=0.05, promised=False),
)


def drawn(world: World, trials: int) -> tuple[Array, Array]:
    """Successes and people of the weeks that count: the earlier ones, then the first of the trial not lost."""
    rng = np.random.default_rng(SEED)
    number = world.earlier + 2 * world.weeks
    level, levels = rng.normal(size=trials), []
    for week in range(number):
        level = world.leaning * level + math.sqrt(1 - world.leaning**2) * rng.normal(size=trials)
        moved = world.trend * (week - world.earlier) + (world.step if week >= world.earlier else 0.0)
        levels.append(LEVEL * np.exp(world.drift * level) * (1 + moved))
    usual = [world.people[week % len(world.people)] for week in range(number)]
    people = np.maximum(rng.poisson(usual, (trials, number)), 2)
    hits = rng.binomial(people, np.clip(np.stack(levels, axis=1), 0, 1))
    lost = rng.random((trials, number)) < world.lost
    lost[:, : world.earlier] = False
    kept = np.argsort(lost, axis=1, kind="stable")[:, : world.earlier + world.weeks]
    return np.take_along_axis(hits, kept, axis=1), np.take_along_axis(people, kept, axis=1)


def judged(world: World, values: Array) -> Array:
    """What holds at the end, by Welch's test: the codes of `CODES`, 0 where it is open."""
    before, after = values[:, : world.earlier], values[:, world.earlier :]
    test = stats.ttest_ind(after, before, axis=1, equal_var=False)
    around = test.confidence_interval(0.95)
    gain = after.mean(axis=1) - before.mean(axis=1)
    said = np.where(around.high < AIM, 3, 0)
    said = np.where(around.low > 0, np.where(gain >= AIM, 1, 2), said)
    return np.where(around.high < 0, 4, said)


def by_the_rules(world: World, hits: Array, people: Array) -> str:
    """One trial, looked at after every week."""
    before = tuple(float(h / n) for h, n in zip(hits[: world.earlier], people[: world.earlier], strict=True))
    usual = sum(before) / len(before)
    end = START + timedelta(weeks=world.weeks)
    plan = Measure("m", Kind.BEFORE_AFTER, usual + AIM, START, end, world.weeks, baseline_weeks=before)
    weeks = [
        WeeklyNumbers(n, Tally(int(h), int(p)))
        for n, (h, p) in enumerate(zip(hits[world.earlier :], people[world.earlier :], strict=True), 1)
    ]
    held = ""
    for number in range(1, world.weeks + 1):
        said = judge(plan, weeks[:number], number, START + timedelta(weeks=number), counting_checked=True)
        if held or said.outcome.value in CODES:
            held = standing.outcome(Given(held, "", 0) if held else None, said.outcome.value)
    return held if held in CODES else ""


def line(world: World, trials: int) -> str:
    hits, people = drawn(world, trials)
    ends = judged(world, hits / people)
    differing = sum(by_the_rules(world, hits[k], people[k]) != CODES[ends[k]] for k in range(min(CHECKED, trials)))
    told = 100 * odds.false_alarms_by_drift(world.earlier, world.weeks)
    good, worse, not_reached = (100 * float(np.isin(ends, codes).mean()) for codes in ((1, 2), (4,), (3,)))
    cells = [f"{one:.2f}" for one in (good, told, worse, not_reached)] + [str(differing)]
    mark = "" if world.promised else "  not promised"
    return f"{world.name:<42}" + "".join(f"{cell:>13}" for cell in cells) + mark


COLUMNS = ("better", "told", "worse", "not reached", "differs")
NOTES = """
Per cent of trials; "better": better or reached, though nothing changed; "told": as the owner is told before sealing.
They are decided at their planned end alone, so that weekly looks and a lag change nothing and no later week takes a
verdict back. "differs": of {checked} trials of each world, those that end in another way by the rules themselves,
looked at after every week. The error of a share of 6 % is {error:.2f} points (one standard error). Promise: at most
10 % by drift.
"""


def table(trials: int, worlds: Sequence[World] = WORLDS) -> str:
    head = f"{trials:,} before-after trials each, {100 * LEVEL:.0f} %, about {PEOPLE:,} people a week, seed {SEED}"
    lines = [head, "", f"{'':<42}" + "".join(f"{one:>13}" for one in COLUMNS)]
    lines += [line(world, trials) for world in worlds]
    error = 100 * math.sqrt(0.06 * 0.94 / trials)
    return "\n".join([*lines, NOTES.format(checked=min(CHECKED, trials), error=error)])
