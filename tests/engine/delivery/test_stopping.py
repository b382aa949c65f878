"""A stop in the middle of work: nothing more is begun, it takes less than ten seconds, and nothing is lost by it."""

from __future__ import annotations

import asyncio
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from coldframe.chat.slack import door
from coldframe.domain.names import NoteId, Side, Step
from coldframe.domain.round.moves import Close
from coldframe.domain.round.notes import WriteNote
from coldframe.engine import alarm as alarms
from coldframe.engine.alarm import Alarm
from tests.domain.play import F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
NOTES = [f"#{number:03} people leave over the bill" for number in range(300)]
SLOW = pytest.mark.slow
HANGS = 60.0  # seconds after which what has not come never comes


async def _write(team: Running, notes: list[str]) -> None:
    round_ = await team.current()
    members, levers, side = sorted(round_.active()), [lever for lever, _ in round_.settings.levers], Side.RESTRAINING
    given = [
        WriteNote(members[i % len(members)], NoteId(f"b{i}"), levers[i // len(members) % len(levers)], side, text)
        for i, text in enumerate(notes)
    ]
    await team.act("write", *given)


async def _reveal(team: Running) -> None:
    """Decided and committed; nothing of it has gone out."""

    async def work(turn: Any) -> None:
        await turn.act(await turn.round(team.round.id), Close(F))

    await team.house.engine.act("close", work)


def _shown(team: Running, notes: list[str]) -> Counter[str]:
    """How often each note stands in the channel."""
    text = "\n".join(team.channel())
    return Counter({note: text.count(note) for note in notes})


@pytest.mark.parametrize(("many", "sent"), [(30, 0), *(pytest.param(300, sent, marks=SLOW) for sent in (0, 1, 3))])
async def test_a_stop_in_the_middle_of_a_reveal_of_300_notes_loses_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, many: int, sent: int
) -> None:
    """Cut off at the post after so many; the next process says what is left, and nothing of it twice."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _write(team, notes := NOTES[:many])
        engine, posts = team.house.engine, 0
        real = engine.kit.chat.post

        async def cut_off(*given: Any, **more: Any) -> str:
            nonlocal posts
            posts += 1
            if posts > sent:
                raise asyncio.CancelledError
            return str(await real(*given, **more))

        monkeypatch.setattr(engine.kit.chat, "post", cut_off)
        await _reveal(team)
        with pytest.raises(asyncio.CancelledError):
            await engine.settle()
        assert 0 in _shown(team, notes).values()
        monkeypatch.setattr(engine.kit.chat, "post", real)
        await _goes_on(team)
        assert set(_shown(team, notes).values()) == {1}


async def _goes_on(team: Running) -> None:
    """As the next process does on this database."""
    team.house.engine.stopping, team.house.engine.aside = False, None
    await team.house.store.take_over()
    await team.until(team.clock.now() + 10 * alarms.HEARTBEAT)


async def test_who_is_told_to_stop_begins_nothing_more(tmp_path: Path) -> None:
    """What waits stands where it stood, and goes out later."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _write(team, notes := NOTES[:30])
        await _reveal(team)
        team.house.engine.stopping = True
        await team.house.engine.settle()
        assert set(_shown(team, notes).values()) == {0}
        await _goes_on(team)
        assert set(_shown(team, notes).values()) == {1}


async def test_a_platform_that_does_not_answer_holds_no_stop_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Work in hand has its seconds, and is then left to the next process, which finds out what became of it."""
    monkeypatch.setattr(alarms, "ENDS_WITHIN", 0.2)
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _write(team, notes := NOTES[:30])
        hangs = asyncio.Event()

        async def never(*_: Any, **__: Any) -> str:
            hangs.set()
            await asyncio.Event().wait()
            raise AssertionError

        real = team.house.engine.kit.chat.post
        monkeypatch.setattr(team.house.engine.kit.chat, "post", never)
        await _reveal(team)
        alarm = Alarm(team.house.engine)
        await alarm.start()
        await asyncio.wait_for(hangs.wait(), 10)
        async with asyncio.timeout(HANGS):
            await alarm.close()
        monkeypatch.setattr(team.house.engine.kit.chat, "post", real)
        await _goes_on(team)
        assert set(_shown(team, notes).values()) == {1}


def test_all_that_a_stop_waits_for_is_less_than_ten_seconds() -> None:
    """And less than those who run it give it (compose file and unit: 20 s)."""
    assert 2 * door.MAX_DRAIN + alarms.ENDS_WITHIN < 10
