"""Everything held about a person, gathered for them alone."""

from __future__ import annotations

from datetime import UTC, datetime

from coldframe.domain.names import MemberId
from coldframe.engine.core.turn import Turn
from coldframe.message.nodes import Message
from coldframe.speech.people import held_words
from coldframe.speech.people.held_words import Held

BEGINNING = datetime(2000, 1, 1, tzinfo=UTC)


async def export(turn: Turn, tenant: str, person: MemberId) -> Message:
    return held_words.export(await everything(turn, tenant, person))


async def everything(turn: Turn, tenant: str, person: MemberId) -> Held:
    """The record, the rounds and trials with what still leads to the person, and what is between them and the bot."""
    uow = turn.uow
    rounds = [await turn.round(round_id) for round_id in await uow.rounds_about(tenant, person)]
    return held_words.everything(
        await uow.member(tenant, person),
        rounds,
        await uow.trials_about(tenant, person),
        await uow.nudges_since(tenant, person, BEGINNING),
        await uow.teams_with(tenant, person),
        await uow.traces(tenant, person),
        person,
    )
