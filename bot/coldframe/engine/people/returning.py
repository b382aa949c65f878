"""Whoever was away hears in one message what happened, what was decided without them, and what is open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from coldframe.domain.names import ENDS, RUNNING, MemberId, Step
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.engine.reminding import owed
from coldframe.engine.round import what_now
from coldframe.message.nodes import Line
from coldframe.ports.storage import Member, UnitOfWork
from coldframe.speech import panel_words
from coldframe.speech.people import back_words
from coldframe.speech.people.back_words import Meanwhile
from coldframe.speech.round import story_words

LEFT = "left"
"""The fact of a member who is away: since when, and where their rounds stood then."""
ROUNDS = 20  # the newest


@dataclass(frozen=True, slots=True)
class Left:
    """How it was when somebody went away."""

    since: datetime
    steps: Mapping[str, Step] = field(default_factory=dict)

    def pack(self) -> dict[str, Any]:
        return {"since": self.since.isoformat(), "steps": {round_: step.value for round_, step in self.steps.items()}}

    @classmethod
    def unpack(cls, fact: Any) -> Left | None:
        """None for somebody who went away under an earlier release, which kept nothing of it."""
        if not isinstance(fact, Mapping):
            return None
        steps = {str(round_): Step(step) for round_, step in fact["steps"].items()}
        return cls(datetime.fromisoformat(fact["since"]), steps)


async def noted(turn: Turn, me: Member) -> Member:
    """The record of somebody who goes away. Another date of return changes nothing of when they left."""
    if LEFT in me.facts:
        return me
    steps = {str(round_.id): round_.step for round_ in await _rounds(turn.uow, me)}
    return replace(me, facts={**me.facts, LEFT: Left(turn.now, steps).pack()})


async def _rounds(uow: UnitOfWork, me: Member) -> list[Round]:
    """Rounds of which this person is one, oldest first."""
    found = [await uow.round(round_id) for round_id in await uow.rounds_with(me.tenant, me.id, ROUNDS)]
    return [round_ for round_ in reversed(found) if round_ is not None and MemberId(me.id) in round_.active()]


async def tell(turn: Turn, me: Member) -> Member:
    """Says it; gives the record as it is to be kept from now on."""
    person, rounds = MemberId(me.id), await _rounds(turn.uow, me)
    left = Left.unpack(me.facts.get(LEFT))
    meanwhile = await _meanwhile(turn, me, left, rounds) if left is not None else None
    running = [round_ for round_ in rounds if round_.step not in ENDS]
    waits = await owed.owed(turn, me.tenant, person, {round_.channel for round_ in rounds})
    seen = await what_now.seen(turn, [round_ for round_ in running if round_.step in RUNNING], person)
    message = back_words.back(meanwhile, len(waits), panel_words.open_now(running, person, waits, seen))
    turn.answer(me.tenant, person, message, ask=True)
    return replace(me, facts={name: fact for name, fact in me.facts.items() if name != LEFT})


async def _meanwhile(turn: Turn, me: Member, left: Left, rounds: Sequence[Round]) -> Meanwhile:
    happened, decided = list[Line](), list[Line]()
    for round_ in rounds:
        since = left.steps.get(round_.id, Step.SETUP)
        if since not in ENDS:
            happened += back_words.of(round_.name, story_words.happened(round_, since))
            decided += back_words.of(round_.name, story_words.decided(round_, since))
    day = members.calendar_of(me).local_day(left.since)
    for team in dict.fromkeys(round_.channel for round_ in rounds):
        for trial in await turn.uow.trials_of(me.tenant, team, over=True):
            found = back_words.of_trial(trial, left.since, day)
            happened += found.happened
            decided += found.decided
    return Meanwhile(happened, decided)
