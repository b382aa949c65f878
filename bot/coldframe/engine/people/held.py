"""Everything held about a person, gathered for them alone."""

from __future__ import annotations

from datetime import UTC, datetime

from coldframe.domain.names import MemberId
from coldframe.domain.trial.state import Trial
from coldframe.engine.core.turn import Turn
from coldframe.message.nodes import Message
from coldframe.speech.people import held_words

MAX_ROUNDS = 1000
BEGINNING = datetime(2000, 1, 1, tzinfo=UTC)


async def export(turn: Turn, tenant: str, person: MemberId) -> Message:
    """The record, the rounds and trials with what still leads to the person, and when they were reminded."""
    uow = turn.uow
    rounds = [await turn.round(round_id) for round_id in await uow.rounds_with(tenant, person, MAX_ROUNDS)]
    reminded = await uow.nudges_since(tenant, person, BEGINNING)
    record = await uow.member(tenant, person)
    return held_words.export(record, rounds, await _trials(turn, tenant, person), reminded, person)


async def _trials(turn: Turn, tenant: str, person: MemberId) -> list[Trial]:
    teams = await turn.uow.teams_of(tenant, person)
    trials = [trial for team in teams for trial in await turn.uow.trials_of(tenant, team, over=True)]
    return [trial for trial in trials if person in trial.people]
