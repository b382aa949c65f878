"""The odds shown before a commitment is sealed, against trials that are logged.

`python -m tests.bench.odds [--trials N] [--kept FILE] [--save] [WORLD ...]` (patterns of their names)

A separate simulator draws a team's weeks: people come by chance (Poisson), weeks are lost, measures vary from head to
head or week to week. Each week is typed as a line, read, logged, judged and read out by the rules of the domain and
the worker, as the engine has them do it; whoever owns the trial looks every week, or with a lag where two weeks have
come together, and has the counting checked when that is asked for. What holds at the review is counted, beside the
odds that its criterion showed. Of before-after trials, and of counts whose usual level is known from earlier weeks,
these weeks are drawn too, and the odds are those of each criterion, on average. Then trials that were advised to stop,
since their target would hardly be reached with all weeks to come as planned: how many of them reach it when these are.
Each row has a seed of its own; `--kept` holds rows that are done, so that a long run can be broken off and go on.
"""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import click
import numpy as np

from coldframe.analysis import odds as foretold
from coldframe.domain.commands import BOT
from coldframe.domain.names import LeverId, MemberId, PlanId, RoundId
from coldframe.domain.state import Criterion, Odds
from coldframe.domain.trial import life, standing
from coldframe.domain.trial.commands import CheckCounting, LogWeek, TakeReading
from coldframe.domain.trial.state import Entry, Trial, TrialId, TrialStep
from coldframe.engine.reading.number_lines import read_line
from coldframe.engine.trial.weekly import as_reading
from coldframe.engine.worker import foretelling, judging

START, SEED, OWNER = date(2026, 3, 2), 20261201, MemberId("mia")
LOST = 0.08  # of the weeks, which are made up for
VERDICTS = ("reached", "better", "not reached", "worse", "cannot tell")
WITHIN = 3.0  # points
Lines = Iterator[str]
Random = Any


@dataclass(frozen=True)
class World:
    """A criterion as it is sealed, and how its weeks come: `weeks(random, criterion, target_true)` are lines as people
    type them. `sealed` draws what the criterion itself holds of earlier weeks."""

    name: str
    weeks: int
    criterion: Criterion
    lines: Callable[[Random, Criterion, bool, Any], Lines]
    sealed: Callable[[Random, Criterion], tuple[Criterion, Any]] = lambda random, criterion: (criterion, None)
    at_once: int = 1  # weeks that are logged, and looked at, together


def _people(random: Random, criterion: Criterion) -> tuple[int, int]:
    """Of control and trial in one week."""
    weekly = criterion.weekly or 0.0
    return tuple(
        max(int(random.poisson(weekly * s)), 2) for s in (1 - criterion.planned_share, criterion.planned_share)
    )


def shares(random: Random, criterion: Criterion, true: bool, level: Any) -> Lines:
    old, new = criterion.baseline or 0.0, (criterion.target if true else criterion.baseline) or 0.0
    while True:
        control, trial = _people(random, criterion)
        yield f"control {control}/{random.binomial(control, old)}, trial {trial}/{random.binomial(trial, new)}"


def means(random: Random, criterion: Criterion, true: bool, level: Any) -> Lines:
    """Skewed values (gamma) with the mean and spread of the plan."""
    old, new = criterion.baseline or 0.0, (criterion.target if true else criterion.baseline) or 0.0
    while True:
        groups = []
        for size, mean in zip(_people(random, criterion), (old, new), strict=True):
            values = random.gamma((mean / criterion.spread) ** 2, criterion.spread**2 / mean, size)
            groups.append(f"{values.mean():.4f}/{values.std(ddof=1):.4f}/{size}")
        yield f"control {groups[0]}, trial {groups[1]}"


def rates(random: Random, criterion: Criterion, true: bool, level: Any) -> Lines:
    old, new = criterion.baseline or 0.0, (criterion.target if true else criterion.baseline) or 0.0
    while True:
        control, trial = _people(random, criterion)
        yield f"control {control}/{random.poisson(control * old)}, trial {trial}/{random.poisson(trial * new)}"


def one_share(random: Random, criterion: Criterion, true: bool, level: Any) -> Lines:
    share = (criterion.target if true else criterion.baseline) or 0.0
    while True:
        people = max(int(random.poisson(criterion.weekly)), 2)
        yield f"{people}/{random.binomial(people, share)}"


USUAL, SWING, OF_TEAMS = 0.10, 0.007, 0.5


def earlier_weeks(random: Random, criterion: Criterion) -> tuple[Criterion, Any]:
    """Eight weeks around a level that the team does not know, no more than how much its weeks differ: that is another
    with each team (lognormal). Of teams that all differ alike, eight weeks could not tell so, and "reached" is said two
    to three points too seldom, "better" as much too often."""
    swing = SWING * float(random.lognormal(0.0, OF_TEAMS))
    values = random.normal(USUAL, swing, 8)
    weeks = tuple((round(float(value) * 10_000), 10_000.0) for value in values)
    aim = 0.012 + sum(a for a, _ in weeks) / 80_000
    return replace(criterion, baseline_weeks=weeks, target=aim), (USUAL, swing)


def against_weeks(random: Random, criterion: Criterion, true: bool, level: Any) -> Lines:
    """The change is as large as the plan says, on top of the true level."""
    usual, swing = level
    while True:
        value = random.normal(usual + (criterion.target - criterion.usual if true else 0.0), swing)
        yield f"10000/{round(float(min(max(value, 0.0), 1.0)) * 10_000)}"


def counted_before(random: Random, criterion: Criterion) -> tuple[Criterion, Any]:
    """Eight weeks at a level that the team does not know, another with each team."""
    level = 12 * float(random.lognormal(0.0, OF_TEAMS))
    weeks = tuple((float(n), 1.0) for n in random.poisson(level, 8))
    usual = sum(a for a, _ in weeks) / len(weeks) * 4
    return replace(criterion, baseline_weeks=weeks, target=float(round(usual * 1.55) + 1)), level


def counts(random: Random, criterion: Criterion, true: bool, level: Any) -> Lines:
    """`level`: a week's, where it is not what the criterion states."""
    usual = (criterion.baseline or 0.0) / 4
    if criterion.baseline_weeks:
        usual = sum(a for a, _ in criterion.baseline_weeks) / len(criterion.baseline_weeks)
    gain = criterion.target / 4 - usual if true else 0.0
    while True:
        yield str(random.poisson((usual if level is None else level) + gain))


def _plan(kind: Any, **about: Any) -> Criterion:
    target, start = about["target"], about.get("baseline")
    upwards = start is None or target > start
    return Criterion(measure="m", kind=kind, upwards=upwards, counted="c", stop_line="s", harm="h", **about)


WORLDS = (
    World("share, half and half", 6, _plan("split", baseline=0.20, target=0.26, weekly=340), shares),
    World(
        "share, three to seven", 4, _plan("split", baseline=0.08, target=0.05, weekly=900, planned_share=0.3), shares
    ),
    World("share, few people", 4, _plan("split", baseline=0.10, target=0.25, weekly=90), shares),
    World("mean, skewed values", 4, _plan("mean", baseline=20.0, target=22.0, weekly=220, spread=10.0), means),
    World("rate", 4, _plan("rate", baseline=0.05, target=0.065, weekly=2000), rates),
    World("earlier weeks", 4, _plan("before-after", target=0.112), against_weeks, earlier_weeks),
    World("count, usual as stated", 4, _plan("count", baseline=20.0, target=32.0), counts),
    World("count, usual from weeks", 4, _plan("count", target=70.0), counts, counted_before),
    World("share against a fixed one", 4, _plan("share", baseline=0.20, target=0.26, weekly=90), one_share),
    World("share, 10 people a week", 6, _plan("split", baseline=0.10, target=0.40, weekly=10), shares),
)


def lagging(name: str, days: int, at_once: int = 1) -> World:
    """The same trial, whose people can be counted so much later."""
    world = next(each for each in WORLDS if each.name == name)
    together = ", two weeks at a time" if at_once > 1 else ""
    criterion = replace(world.criterion, lag=days)
    return replace(world, name=f"{name}, lag {days} days{together}", criterion=criterion, at_once=at_once)


LAGGING = (
    lagging("share, half and half", 10),
    lagging("share, half and half", 14, 2),
    lagging("mean, skewed values", 14, 2),
    lagging("rate", 14, 2),
    lagging("earlier weeks", 28),
    lagging("count, usual as stated", 14, 2),
    lagging("share against a fixed one", 14, 2),
)
ALL = (*WORLDS, *LAGGING)


def trial_of(world: World, criterion: Criterion) -> Trial:
    last = START + timedelta(weeks=2 * world.weeks + 1, days=criterion.lag)
    review = datetime.combine(last, datetime.min.time(), UTC)
    return Trial(
        id=TrialId("r1-p1"), tenant="t", team="c", round_id=RoundId("r1"), round_name="r", plan=PlanId("p1"),
        title="t", hypothesis="h", question="q", lever=LeverId("l"), lever_name="L", steps=("s",), criterion=criterion,
        planned=world.weeks, facilitator=OWNER, people={OWNER: "Mia"}, owner=OWNER, step=TrialStep.RUNNING,
        starts=START, review=review,
    )  # fmt: skip


def _begin(day: date) -> datetime:
    return datetime.combine(day, datetime.min.time(), UTC)


@dataclass
class Logged:
    """A trial on its way, as its owner and the engine take it there."""

    trial: Trial
    advised: list[tuple[int, float]] = field(default_factory=list)

    def act(self, command: Any, at: datetime) -> None:
        self.trial = life.replay(self.trial, life.decide(self.trial, command, at))

    def log(self, line: str | None, number: int) -> None:
        """One week, typed and read, on the first day on which it can be; a lost one is logged as a gap."""
        entry = Entry(number, None, state="broken")
        if line is not None:
            said = read_line(line, self.trial.criterion.kind)
            entry = Entry(number, said.trial, said.control, said.state)
        day = self._day(number)
        self.act(LogWeek(OWNER, entry, day), _begin(day))

    def look(self, number: int, advise: bool) -> None:
        """What is in is judged, and the counting checked where that is asked for."""
        day = self._day(number)
        self._look(day, _begin(day))
        if self.trial.reading is not None and self.trial.reading.checked:
            self.act(CheckCounting(OWNER, "Counted by hand, as planned"), _begin(day))
            self._look(day, _begin(day))
        if advise:
            self._advise(day)

    def _day(self, number: int) -> date:
        counted = self.trial.counted_from(number)
        assert counted is not None
        return counted

    def _look(self, day: date, now: datetime) -> None:
        found = judging.judge(self.trial, day)
        self.act(TakeReading(BOT, as_reading(self.trial, found)), now)

    def _advise(self, day: date) -> None:
        found = judging.judge(self.trial, day)
        if judging.may_be_in_vain(self.trial, found) and not self.advised:
            chance = foretelling.in_vain(self.trial)
            self.advised += [] if chance is None else [(len(self.trial.weeks), chance)]

    def ends(self) -> str:
        reading = self.trial.reading
        outcome = reading.outcome if reading is not None else "cannot tell"
        return outcome if outcome in standing.VERDICTS else "cannot tell"


def run(world: World, random: Random, true: bool, advise: bool = False) -> tuple[Logged, Criterion]:
    criterion, level = world.sealed(random, world.criterion)
    logged, lines, whole, number = Logged(trial_of(world, criterion)), world.lines(random, criterion, true, level), 0, 0
    while whole < world.weeks and number < 2 * world.weeks:
        number += 1
        lost = random.random() < LOST and world.weeks - whole < 2 * world.weeks - number + 1
        logged.log(None if lost else next(lines), number)
        whole += not lost
        if number % world.at_once == 0 or whole == world.weeks or number == 2 * world.weeks:
            logged.look(number, advise)
    return logged, criterion


def shown(world: World, criterion: Criterion, true: bool, number: int) -> dict[str, float]:
    """The odds as the owner sees them. Where each trial has a criterion of its own, of fewer draws, since they are
    averaged over all, and without what would better them, which takes the most time."""
    if criterion == world.criterion:
        found = foretelling.odds_of(criterion, world.weeks)
        assert isinstance(found, Odds), found
        return dict(found.if_target if true else found.if_nothing)
    measure = judging.measure_for(criterion, world.weeks, START, START + timedelta(weeks=world.weeks))
    found = foretold.shares(measure, criterion.spread, true, trials=DRAWS, seed=number)
    return {outcome.value: share for outcome, share in found.items()}


DRAWS = 400  # behind the odds of each criterion, where each trial has its own


def row(world: World, trials: int, true: bool) -> tuple[str, float]:
    """The line, and by how many points it is off at most."""
    random = np.random.default_rng([SEED, ALL.index(world), int(true)])
    seen, expected, averaged = Counter[str](), Counter[str](), 0
    for n in range(trials):
        logged, criterion = run(world, random, true)
        seen[logged.ends()] += 1
        if n == 0 or criterion != world.criterion:
            expected.update(shown(world, criterion, true, n))
            averaged += 1
    cells, worst = [], 0.0
    for word in VERDICTS:
        told, came = 100 * expected[word] / averaged, 100 * seen[word] / trials
        worst = max(worst, abs(told - came))
        cells.append(f"{told:5.1f} {came:5.1f}")
    line = f"{_named(world, true):<56}{trials:>7}  " + "  ".join(f"{cell:>12}" for cell in cells) + f"{worst:>8.1f}"
    return line, worst


def _named(world: World, true: bool) -> str:
    return f"{world.name}, {'target true' if true else 'nothing changes'}"


# --- advice to stop -----------------------------------------------------------------------------------------------


def fewer(name: str, times: float) -> World:
    """With so many times the people, so that some trials go badly though their target is true."""
    world = next(each for each in WORLDS if each.name == name)
    return replace(world, criterion=replace(world.criterion, weekly=(world.criterion.weekly or 0.0) * times))


def unsteady(random: Random, criterion: Criterion) -> tuple[Criterion, Any]:
    """Weeks that differ by as much as the plan aims at."""
    values = random.normal(USUAL, 0.012, 8)
    weeks = tuple((round(float(value) * 10_000), 10_000.0) for value in values)
    return replace(criterion, baseline_weeks=weeks, target=0.012 + sum(a for a, _ in weeks) / 80_000), (USUAL, 0.012)


ADVISED = (
    fewer("share, half and half", 1 / 3),
    fewer("mean, skewed values", 1 / 2),
    fewer("rate", 1 / 2),
    fewer("share against a fixed one", 1 / 3),
    World("earlier weeks, unsteady", 6, _plan("before-after", target=0.112), against_weeks, unsteady),
    World("count, usual as stated", 4, _plan("count", baseline=20.0, target=32.0), counts),
)
LEAST_ADVISED = 100  # of which a share is worth a comparison


def futility(world: World, trials: int) -> tuple[str, float]:
    """Of trials whose target is true: those that were advised to stop, and how many of them reach it all the same."""
    random, chances, reached = np.random.default_rng([SEED, 99, ADVISED.index(world)]), [], 0
    for _ in range(trials):
        logged, _ = run(world, random, True, advise=True)
        if logged.advised:
            chances.append(logged.advised[0][1])
            reached += logged.ends() == "reached"
    told, came = 100 * sum(chances) / max(len(chances), 1), 100 * reached / max(len(chances), 1)
    line = f"{world.name + ', advised to stop':<56}{trials:>7}{len(chances):>9}{told:>9.1f}{came:>9.1f}"
    return line, abs(told - came) if len(chances) >= LEAST_ADVISED else 0.0


# --- the table ----------------------------------------------------------------------------------------------------

HEAD = "  ".join(f"{word:>12}" for word in VERDICTS)
NOTES = """
Per cent of trials: what the criterion showed, then what came of trials that were logged. "apart": the farthest of the
five, in points; at most {within:.0f} are promised. A share of 50 % is known to {error:.1f} points by {trials:,} trials
(one standard error). "two weeks at a time": logged and looked at together. "advised": of these trials, those that were
advised to stop; "told": in how many of a hundred their target would be reached all the same with all weeks to come as
planned, on average; "reached": in how many it was.
"""


Row = tuple[str, float]


@dataclass
class Kept:
    """Rows that are done, by name and trials, so that a long run can be broken off and go on."""

    file: Path | None = None
    no_more: bool = False
    left: list[str] = field(default_factory=list)

    def row(self, name: str, trials: int, made: Callable[[], Row]) -> Row | None:
        """None for one that is not done, if no more are wanted."""
        there = self.file is not None and self.file.exists()
        known: dict[str, Any] = json.loads(self.file.read_text()) if self.file is not None and there else {}
        key = f"{name}, {trials}"
        if key not in known and self.no_more:
            self.left.append(name)
            return None
        if key not in known:
            known[key] = made()
            if self.file is not None:
                self.file.write_text(json.dumps(known, indent=1), encoding="utf-8")
        line, apart = known[key]
        return str(line), float(apart)


def rows(trials: int, names: Sequence[str], kept: Kept) -> Iterator[Row | None]:
    for world in ALL:
        if not names or any(re.search(name, world.name) for name in names):
            for true in (True, False):
                number = trials if true else trials // 2  # whatever comes of nothing is known better
                yield kept.row(_named(world, true), number, lambda w=world, n=number, t=true: row(w, n, t))  # type: ignore[misc]


def advice(trials: int, names: Sequence[str], kept: Kept) -> Iterator[Row | None]:
    for world in ADVISED:
        if not names or "advised" in names:
            number = trials // 2
            yield kept.row(f"{world.name}, advised", number, lambda w=world, n=number: futility(w, n))  # type: ignore[misc]


def report(trials: int, names: Sequence[str], kept: Kept) -> tuple[str, float]:
    found, stopped = ([*filter(None, each(trials, names, kept))] for each in (rows, advice))
    lines = [f"seed {SEED}", "", f"{'':<56}{'trials':>7}  {HEAD}{'apart':>8}", *(line for line, _ in found)]
    drift = [f"{n} earlier weeks {100 * foretold.false_alarms_by_drift(n, 4, 20_000):.1f} %" for n in (6, 8, 12)]
    lines += ["", f"Earlier weeks, nothing changed, weeks that drift: seems better with {', '.join(drift)}."]
    lines += ["", f"{'target true, too few people':<56}{'trials':>7}{'advised':>9}{'told':>9}{'reached':>9}"]
    lines += [line for line, _ in stopped]
    lines += ["", f"Not in this run: {'; '.join(kept.left)}."] if kept.left else []
    text = "\n".join([*lines, NOTES.format(within=WITHIN, error=100 * math.sqrt(0.25 / trials), trials=trials)])
    return text, max((apart for _, apart in (*found, *stopped)), default=0.0)


@click.command()
@click.option("--trials", default=3000, help="Of each world if its target is true; half as many else.")
@click.option("--kept", type=click.Path(path_type=Path, dir_okay=False), help="Holds the rows that are done.")
@click.option("--no-more", is_flag=True, help="Prints the rows that are kept alone.")
@click.option("--save", is_flag=True, help="Writes the table beside this file.")
@click.argument("names", nargs=-1)
def main(trials: int, kept: Path | None, no_more: bool, save: bool, names: tuple[str, ...]) -> None:
    text, worst = report(trials, names, Kept(kept, no_more))
    print(text)
    if save:
        Path(__file__).with_suffix(".txt").write_text(text, encoding="utf-8")
    if worst > WITHIN:
        raise SystemExit(f"{worst:.1f} points apart, and {WITHIN:.0f} are promised")


if __name__ == "__main__":
    main()
