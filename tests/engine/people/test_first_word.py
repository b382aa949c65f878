"""The first word to a person: short, with all that is kept behind a button, and what they say to it shown on it."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from coldframe.chat.room.records import Record
from coldframe.domain.names import MemberId, Step
from coldframe.players.hand import buttons_of
from coldframe.ports.chat import Person
from coldframe.render.room import message_text
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step

NEW = MemberId("nora")
MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)


async def _comes(team: Running) -> None:
    """Somebody new comes into the channel."""
    await team.house.room.join(Person(NEW, "Nora", "Europe/London"), team.round.channel)
    await team.settle()


def _told(team: Running) -> list[Record]:
    room = team.house.room
    return [r for r in room.messages(room.direct(NEW)) if r.by_bot and r.message is not None and not r.gone]


def _text(record: Record) -> str:
    assert record.message is not None
    return message_text(record.message)


async def test_it_shows_that_the_hours_are_right(tmp_path: Path) -> None:
    """Where it stands, without its question; no message says so."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _comes(team)
        count = len(_told(team))
        reply = await team.press(NEW, "hours.confirm")
        first = _told(team)[0]
        assert reply.note is None and len(_told(team)) == count
        assert "✓ You work Mon to Fri" in _text(first) and "Right?" not in _text(first)
        assert {button.action for button in buttons_of(first)} == {"hours.write", "me.kept"}


async def test_all_that_is_kept_is_told_at_a_press(tmp_path: Path) -> None:
    """The first word says the most important of it."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _comes(team)
        first = _text(_told(team)[0])
        for word in ("encrypted", "12 months", "/coldframe export", "/coldframe forget", "Administrators"):
            assert word in first
        await team.press(NEW, "me.kept")
        assert "the link from note to writer is erased" in _text(_told(team)[-1])
