"""A round's life: one transition table, `decide` and `evolve`.

`decide(round, command, now, chance)` gives the facts that follow, or raises `Refused`; `evolve(round, fact)` gives the
next round and refuses nothing. Every change of step goes through TRANSITIONS; the diagram in DEVELOPERS.md is printed
from it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from typing import Any

from coldframe.domain.commands import Command
from coldframe.domain.facts import Fact, Facts
from coldframe.domain.names import RUNNING, Step
from coldframe.domain.people import seats
from coldframe.domain.refusals import Refused
from coldframe.domain.round import (
    ballots,
    correcting,
    counter,
    course,
    forgetting,
    jotting,
    pages,
    renaming,
    reopening,
    revealed_notes,
    roles,
    undoing,
)
from coldframe.domain.round.merging import FocusPicked, Merged
from coldframe.domain.round.moves import RoundCancelled, Started, StepOpened, StepPassed
from coldframe.domain.round.rules import RULES
from coldframe.domain.state import Progress, Round

_ORDER = (Step.SETUP, *RUNNING, Step.COMMITTED)
TRANSITIONS: Mapping[tuple[Step, type[Fact]], Step] = {
    (Step.SETUP, Started): RUNNING[0],
    **{(step, RULES[step].ends): following for step, following in pairwise(_ORDER) if step in RULES},
    **reopening.TRANSITIONS,
    **{(step, RoundCancelled): Step.CANCELLED for step in (Step.SETUP, *RUNNING)},
}

_DECIDE: dict[type[Command], Callable[[Round, Any, datetime], Facts]] = {}
_EVOLVE: dict[type[Fact], Callable[[Round, Any], Round]] = {}
for _decide, _evolve in (
    (seats.DECIDE, seats.EVOLVE),
    (forgetting.DECIDE, forgetting.EVOLVE),
    *((rule.decide, rule.evolve) for rule in RULES.values()),
    (jotting.DECIDE, jotting.EVOLVE),
    (pages.DECIDE, pages.EVOLVE),
    (course.DECIDE, course.EVOLVE),
    (counter.DECIDE, counter.EVOLVE),
    (roles.DECIDE, roles.EVOLVE),
    (undoing.DECIDE, undoing.EVOLVE),
    (correcting.DECIDE, correcting.EVOLVE),
    (reopening.DECIDE, reopening.EVOLVE),
):
    _DECIDE.update(_decide)
    _EVOLVE.update(_evolve)


def decide(round_: Round, command: Command, now: datetime, chance: str = "") -> Facts:
    """What follows from the command: facts in order, among them the steps that open. Raises Refused; changes nothing.

    `now` is aware. A command that changes nothing gives no facts. From `chance`, which is fresh and is kept nowhere,
    follow the names under which something is revealed.
    """
    return decided(round_, command, now, chance)[0]


def decided(round_: Round, command: Command, now: datetime, chance: str = "") -> tuple[Facts, Round]:
    """The same facts, with the round that they lead to."""
    ruled = _ruled(round_, command, now)
    facts, after = _with_openings(round_, tuple(renaming.renamed(round_, fact, chance) for fact in ruled))
    if not facts:
        return (), round_
    for more in (lambda r: ballots.weighting(r, now), lambda r: course.settle(r, now), counter.together):
        following = more(after)
        facts, after = (*facts, *following), replay(after, following)
    return facts, after


def _ruled(round_: Round, command: Command, now: datetime) -> Facts:
    """What ends a step in which late notes wait to be posted ends it with them among the others."""
    rule, posting = _DECIDE[type(command)], revealed_notes.posting(round_)
    if posting is not None:
        with suppress(Refused):  # as it is without them
            ruled = rule(evolve(round_, posting), command, now)
            if any(isinstance(fact, FocusPicked | Merged) for fact in ruled):
                return (posting, *ruled)
    return rule(round_, command, now)


def _with_openings(round_: Round, facts: Facts) -> tuple[Facts, Round]:
    """Adds behind each fact that moves the round the opening of the next step, or what goes past it; and the round
    after all of them."""
    out: list[Fact] = []
    coming = list(facts)
    while coming:
        fact = coming.pop(0)
        before, round_ = round_.step, evolve(round_, fact)
        out.append(fact)
        if round_.step is not before and round_.step in RUNNING:
            coming[:0] = _opening(round_)
    return tuple(out), round_


def _opening(round_: Round) -> list[Fact]:
    passing = RULES[round_.step].passing
    why = passing.why(round_) if passing is not None else None
    if passing is None or why is None:
        return [StepOpened(round_.step)]
    return [StepPassed(round_.step, why), passing.fact(round_)]


def evolve(round_: Round, fact: Fact) -> Round:
    """The round after the fact. Total over the facts that `decide` can give."""
    change = _EVOLVE.get(type(fact))
    changed = change(round_, fact) if change else round_
    following = TRANSITIONS.get((round_.step, type(fact)))
    return changed if following is None else _entered(changed, following)


def _entered(round_: Round, step: Step) -> Round:
    """A new step begins with a clean progress; who moves the round is there. With its end nobody is asked any more."""
    offers = round_.role_offers if step in RUNNING else ()
    fresh = replace(round_, step=step, progress=Progress(), held={}, open_roles=frozenset(), role_offers=offers)
    enter = RULES[step].enter if step in RULES else None
    return counter.opened(enter(fresh) if enter else fresh)


def replay(round_: Round, facts: Iterable[Fact]) -> Round:
    """Folds facts into the round."""
    for fact in facts:
        round_ = evolve(round_, fact)
    return round_


def diagram() -> str:
    """The life of a round as a Mermaid state diagram, printed from the table."""
    lines = ["stateDiagram-v2", f"    [*] --> {Step.SETUP}"]
    cancels = [step for (step, fact) in TRANSITIONS if fact is RoundCancelled]
    for (step, fact), following in TRANSITIONS.items():
        if fact is not RoundCancelled and (step, fact) not in reopening.TRANSITIONS:
            lines.append(f"    {step} --> {following}: {fact.__name__}")
            passing = RULES[step].passing if step in RULES else None
            if passing is not None:
                reasons = ", ".join(passing.reasons)
                lines.append(f"    {step} --> {following}: StepPassed ({reasons})")
    for step, fact in reopening.REOPENED.items():
        lines.append(f"    note left of {step}: {fact.__name__}, up to {reopening.UNTIL[step]}")
    lines.append(f"    note right of {Step.CANCELLED}: RoundCancelled, from any of the {len(cancels)} open steps")
    lines += [f"    {Step.COMMITTED} --> [*]", f"    {Step.CANCELLED} --> [*]"]
    return "\n".join(lines)
