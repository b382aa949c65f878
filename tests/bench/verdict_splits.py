"""Split tests by the ten thousand: what is said of them over weekly looks, gaps, unequal weeks and a lag.

The rules of `analysis.verdict` in arrays, held against the rules themselves on the first trials of each world.
Boundaries follow the information that comes in on average; what waits for a check of the counting counts as said.
`tests.bench.verdicts` prints it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np

from coldframe.analysis import sequential
from coldframe.analysis.measures import Kind, Measure, Tally, WeeklyNumbers
from coldframe.analysis.verdict import MIN_WEEKS, judge
from coldframe.domain.trial import standing
from coldframe.domain.trial.state import Given

Array = Any
WEEKS, SEED, START = 6, 20261130, date(2026, 3, 2)
OLD, TARGET = 0.20, 0.26
CODES = ("", "reached", "better", "not reached", "worse")
REACHED, BETTER, NOT_REACHED, WORSE = range(1, 5)
HELD = np.array([[CODES.index(standing.outcome(Given(a, "", 0) if a else None, b)) for b in CODES] for a in CODES])
"""What holds of a verdict given and of what is said now, by the rules of the domain."""
MORE = np.array([0, REACHED, REACHED, WORSE, WORSE])  # what takes nothing back
CHECKED = 200  # trials of each world, judged by the rules themselves


@dataclass(frozen=True)
class World:
    """People a group and week, week by week of the calendar; how often a week is lost; after which weeks one looks."""

    name: str
    new: float
    people: tuple[float, ...] = (170.0,) * (2 * WEEKS)
    lost: float = 0.0
    looks: tuple[int, ...] = tuple(range(1, WEEKS + 1))
    old: float = OLD


UNEQUAL = (300.0, 40.0, 170.0, 90.0, 350.0, 60.0) * 2
TWICE = (2, 4, 6)
WORLDS = (
    World("no effect, a look every week", OLD),
    World("no effect, a sixth of the weeks lost", OLD, lost=1 / 6),
    World("no effect, unequal weeks", OLD, UNEQUAL),
    World("no effect, unequal weeks and gaps", OLD, UNEQUAL, 1 / 6),
    World("no effect, a lag: every second week", OLD, looks=TWICE),
    World("no effect, lag, gaps, unequal weeks", OLD, UNEQUAL, 1 / 6, TWICE),
    World("the planned effect", TARGET),
    World("half the planned effect", (OLD + TARGET) / 2),
    World("worse by the planned effect", 0.14),
)


def drawn(world: World, trials: int) -> tuple[Array, Array, Array, Array]:
    """People and successes of control and trial: the first six weeks of each that were not lost."""
    rng = np.random.default_rng(SEED)
    lost = rng.random((trials, 2 * WEEKS)) < world.lost
    order = np.argsort(lost, axis=1, kind="stable")[:, :WEEKS]
    sizes = np.asarray(world.people)[order]
    groups = [np.maximum(rng.poisson(sizes), 1) for _ in range(2)]
    return groups[0], rng.binomial(groups[0], world.old), groups[1], rng.binomial(groups[1], world.new)


def found(sums: Sequence[Array], boundary: float) -> Array:
    """What these sums say: the codes of `CODES`, 0 where they leave it open."""
    n0, x0, n1, x1 = (np.asarray(one, float) for one in sums)
    p0, p1, pooled = x0 / n0, x1 / n1, (x0 + x1) / (n0 + n1)
    z = (p1 - p0) / np.sqrt(np.maximum(pooled * (1 - pooled), 1e-12) * (1 / n0 + 1 / n1))
    (low0, high0), (low1, high1) = _wilson(x0, n0, boundary), _wilson(x1, n1, boundary)
    low = p1 - p0 - np.sqrt((p1 - low1) ** 2 + (high0 - p0) ** 2)
    high = p1 - p0 + np.sqrt((high1 - p1) ** 2 + (p0 - low0) ** 2)
    aim, gain = TARGET - OLD, p1 - p0
    said = np.where(high < aim, NOT_REACHED, 0)
    crossed = (np.abs(z) >= boundary) & ((low > 0) | (high < 0))
    said = np.where(crossed & (z > 0), np.where(gain >= aim - 1e-11, REACHED, BETTER), said)
    return np.where(crossed & (z < 0), WORSE, said)


def _wilson(x: Array, n: Array, z: float) -> tuple[Array, Array]:
    middle, half = x + z * z / 2, z * np.sqrt(x * (n - x) / n + z * z / 4)
    return (middle - half) / (n + z * z), (middle + half) / (n + z * z)


def at_look(data: Sequence[Array], week: int, boundary: float) -> Array:
    """What may be said after so many weeks."""
    sums = [one[:, :week].sum(axis=1) for one in data]
    said = found(sums, boundary)
    if week == WEEKS:
        return said
    if week < MIN_WEEKS:
        return np.zeros_like(said)
    without = [found([total - one[:, k] for total, one in zip(sums, data, strict=True)], boundary) for k in range(week)]
    least = np.stack(without)
    better = ((least == BETTER) | (least == REACHED)).all(axis=0)
    holds = {
        REACHED: (least == REACHED).all(axis=0),
        BETTER: better,
        NOT_REACHED: ((least == NOT_REACHED) | (least == WORSE)).all(axis=0),
        WORSE: (least == WORSE).all(axis=0),
    }
    kept = np.zeros_like(said)
    for code, true in holds.items():
        kept = np.where((said == code) & true, code, kept)
    return np.where((said == REACHED) & (kept == 0) & better, BETTER, kept)


def boundaries(world: World, data: Sequence[Array]) -> dict[int, float]:
    """At each look, by the information that came in on average; looks that were skipped count as the earliest."""
    n0, n1 = (data[i].cumsum(axis=1).astype(float) for i in (0, 2))
    known = (n0 * n1 / (n0 + n1)).mean(axis=0)
    found_ = {}
    for number, week in enumerate(world.looks, 1):
        seen = range(week - min(number, week) + 1, week + 1)
        fractions = [one / WEEKS for one in seen]
        found_[week] = sequential.spending_boundaries(fractions, information=[known[one - 1] for one in seen])[-1]
    return found_


@dataclass
class Row:
    """Shares of trials, and how many of those judged by the rules themselves came to something else."""

    name: str
    good: float
    reached: float
    worse: float
    not_reached: float
    beside: float
    taken_back: int
    differing: int


def row(world: World, trials: int) -> Row:
    data = drawn(world, trials)
    bounds = boundaries(world, data)
    looks = [at_look(data, week, bounds[week]) for week in world.looks]
    first = np.zeros(trials, int)
    ends = np.zeros(trials, int)
    for said in looks:
        first = np.where((first == 0) & (said > 0), said, first)
        ends = HELD[ends, said]
    back = int(((first > 0) & ~((ends == first) | (ends == MORE[first]))).sum())
    good = np.isin(ends, (REACHED, BETTER))
    differing = sum(_judged(world, data, k) != CODES[first[k]] for k in range(min(CHECKED, trials)))
    beside = float(((first > 0) & (looks[-1] != ends)).mean())
    return Row(
        world.name, float(good.mean()), float((ends == REACHED).mean()), float((ends == WORSE).mean()),
        float((ends == NOT_REACHED).mean()), beside, back, differing,
    )  # fmt: skip


def _judged(world: World, data: Sequence[Array], trial: int) -> str:
    """The first verdict by the rules themselves."""
    end = START + timedelta(weeks=WEEKS)
    plan = Measure("m", Kind.SPLIT_SHARES, TARGET, START, end, WEEKS, baseline=OLD)
    n0, x0, n1, x1 = (one[trial] for one in data)
    weeks = [WeeklyNumbers(w + 1, Tally(int(x1[w]), int(n1[w])), Tally(int(x0[w]), int(n0[w]))) for w in range(WEEKS)]
    for number, week in enumerate(world.looks, 1):
        today = START + timedelta(weeks=week)
        verdict = judge(plan, weeks[:week], number, today, counting_checked=True)
        if verdict.outcome.value in CODES:
            return verdict.outcome.value
    return ""


NOTES = """
Per cent of trials; "better": better or reached; "beside": a verdict stands and all weeks alone would say otherwise,
which is then said beside it. "taken back": verdicts that later weeks changed, but for better that became reached and
not reached that became worse. "differs": of {checked} trials of each world, those whose first verdict is another by
the rules themselves. The error of a share of 2.5 % is {error:.2f} points (one standard error).
Promise: "better" at most 5 % without effect.
"""
COLUMNS = ("better", "reached", "worse", "not reached", "beside", "taken back", "differs")


def table(trials: int, worlds: Sequence[World] = WORLDS) -> str:
    head = f"{trials:,} trials each, {WEEKS} weeks, 20 % to 26 %, about 170 people a group and week, seed {SEED}"
    lines = [head, "", f"{'':<42}" + "".join(f"{one:>13}" for one in COLUMNS)]
    for world in worlds:
        one = row(world, trials)
        cells = [f"{100 * share:.2f}" for share in (one.good, one.reached, one.worse, one.not_reached, one.beside)]
        cells += [str(one.taken_back), str(one.differing)]
        lines.append(f"{one.name:<42}" + "".join(f"{cell:>13}" for cell in cells))
    error = 100 * math.sqrt(0.025 * 0.975 / trials)
    return "\n".join([*lines, NOTES.format(checked=min(CHECKED, trials), error=error)])
