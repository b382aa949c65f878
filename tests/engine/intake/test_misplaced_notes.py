"""A note that was written in the channel while notes are private: its writer is offered a way, unseen by others."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, Step
from coldframe.players.hand import words_of
from coldframe.ports.chat import Inbound, Said
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, in_channel, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")


async def _in_channel(team: Running, person: str, text: str, thread: str | None = None) -> None:
    room = team.house.room
    await room.say(person, room.channel(team.round.channel), text, thread=thread)
    await team.settle()


def _card(team: Running) -> str:
    """The card of the notes step in the channel."""
    room = team.house.room
    found = room.messages(room.channel(team.round.channel))
    return next(r.id for r in found if r.by_bot and words_of(r).startswith("name of r1, notes: "))


def _offers(team: Running, person: str) -> int:
    return sum("Did you mean this as a note?" in words for words in told(team, person))


@pytest.mark.parametrize(
    ("text", "in_thread"),
    [
        ("- retention: The bill surprises", False),
        ("+ Retention: They come back", False),
        ("The bill surprises new teams", True),
        ("- The bill", True),
    ],
)
async def test_a_note_in_the_channel_is_offered_a_way(tmp_path: Path, text: str, in_thread: bool) -> None:
    """Its writer is asked in private, the channel hears nothing, and nothing is taken before the yes."""
    async with running(tmp_path, MONDAY) as team:
        before, state = in_channel(team), await team.current()
        await _in_channel(team, JON, text, _card(team) if in_thread else None)
        assert _offers(team, JON) == 1
        assert in_channel(team) == before
        assert await team.current() == state
        await team.press(JON, "text.private")
        round_ = await team.current()
        assert [n.author for n in round_.notes.values()] + [d.author for d in round_.drafts.values()] == [JON]
        assert "bill" not in " ".join(in_channel(team))
        assert any("Please delete your message in the channel now." in w for w in told(team, JON))


async def test_a_note_that_calls_the_bot_in_the_channel_is_offered_a_way(tmp_path: Path) -> None:
    """With the bot's name before it a sign is enough; it is no unknown command."""
    async with running(tmp_path, MONDAY) as team:
        said = Said("- The bill surprises", "m1", mentioned=True)
        place = team.house.room.channel(team.round.channel)
        reply = await team.house.engine.receive(Inbound("m1", JON, place, team.clock.now(), said))
        await team.settle()
        assert reply.note is None
        assert _offers(team, JON) == 1


@pytest.mark.parametrize(
    ("text", "in_thread"),
    [
        ("- milk\n- bread", False),
        ("- todo: ring them", False),
        ("The bill surprises new teams", False),
        ("retention: we should talk", False),
        ("When does this close?", True),
        ("thanks", True),
        ("will do", True),
    ],
)
async def test_ordinary_talk_is_left_alone(tmp_path: Path, text: str, in_thread: bool) -> None:
    """Lists, questions and thanks bother nobody."""
    async with running(tmp_path, MONDAY) as team:
        await _in_channel(team, JON, text, _card(team) if in_thread else None)
        assert _offers(team, JON) == 0


async def test_after_the_reveal_nobody_is_asked(tmp_path: Path) -> None:
    """What reads like a note is no secret any more."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        await _in_channel(team, JON, "- retention: The bill surprises")
        assert _offers(team, JON) == 0


async def test_who_says_no_is_left_alone_and_nothing_is_taken(tmp_path: Path) -> None:
    """The message in the channel stays what it is."""
    async with running(tmp_path, MONDAY) as team:
        await _in_channel(team, JON, "- retention: The bill surprises")
        await team.press(JON, "text.leave")
        round_ = await team.current()
        assert (round_.notes, round_.drafts) == ({}, {})
        assert "All right, I leave it alone." in told(team, JON)
