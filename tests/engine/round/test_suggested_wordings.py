"""Wordings that people suggest while questions are written: told in the thread, by a mention, or in private."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, Step
from coldframe.message.nodes import plain
from coldframe.ports.chat import Inbound, Place, Reply, Said
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
WORDS = "How might we make the first bill a welcome?"
JON = MemberId("jon")


async def says(
    team: Running, text: str, *, direct: bool = False, thread: bool = False, mention: bool = False, by: str = JON
) -> Reply:
    """Says it: in the channel or in private, in the thread of the step's card or beside it, with the bot's name or
    without."""
    room, round_ = team.house.room, await team.current()
    root = None
    if thread:
        async with team.house.store.begin() as uow:
            posted = await uow.posted(f"{round_.id}/card/questions")
        assert posted is not None
        root = posted.message_id
    where = room.direct(by) if direct else room.channel(round_.channel)
    place = Place(where.tenant, where.kind, where.id, root)
    said = Said(text, "m1", root, mentioned=mention)
    reply = await team.house.engine.receive(Inbound("said", by, place, team.clock.now(), said))
    await team.house.engine.settle()
    return reply


@pytest.mark.parametrize(
    "how",
    [{"thread": True, "mention": True}, {"thread": True}, {"mention": True}, {"direct": True}],
    ids=["a mention in the thread", "in a thread that is read", "a mention beside it", "in private"],
)
async def test_a_wording_counts_by_whichever_way_it_comes(tmp_path: Path, how: dict[str, bool]) -> None:
    """The facilitator gets it as that person's suggestion, and the person hears that it was passed on."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        reply = await says(team, WORDS, **how)
        (suggestion,) = (await team.current()).suggestions
        assert (suggestion.by, suggestion.text) == (JON, WORDS)
        answer = told(team, JON)[-1] if how.get("direct") else plain(reply.note.summary if reply.note else ())
        assert answer.startswith("Passed on as a suggestion.")


async def test_a_wording_that_was_changed_is_passed_on_in_its_new_words(tmp_path: Path) -> None:
    """The facilitator chooses: both stand, and nobody is told of a reveal that has nothing to do with it."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        room = team.house.room
        mine = await room.say(JON, room.direct(JON), "How might we make the bill a welcome?")
        await room.edit(JON, mine, WORDS)
        await team.house.engine.settle()
        assert [s.text for s in (await team.current()).suggestions] == ["How might we make the bill a welcome?", WORDS]
        assert told(team, JON)[-1].startswith("Passed on as a suggestion.")


async def test_what_is_no_question_is_the_command_as_ever(tmp_path: Path) -> None:
    """A mention that does not begin as a question does is understood as words after the command."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        reply = await says(team, "status", thread=True, mention=True)
        assert reply.note is not None and (await team.current()).suggestions == ()


async def test_in_another_step_a_wording_is_no_suggestion(tmp_path: Path) -> None:
    """Nothing is kept when no questions are being written, and the person hears what can be done now."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        reply = await says(team, WORDS, mention=True)
        assert reply.note is not None and (await team.current()).suggestions == ()


async def test_a_stranger_to_the_round_is_told_so(tmp_path: Path) -> None:
    """Who is not on the roster suggests nothing, and is not left without an answer."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        reply = await says(team, WORDS, thread=True, mention=True, by="stranger")
        assert reply.note is not None and (await team.current()).suggestions == ()
