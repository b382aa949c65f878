"""Two rounds at once: a word of the command acts on the round that is meant, and asks where that is not clear."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, NoteId, RoundId, Side, Step
from coldframe.domain.round.moves import Close, Pause
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.state import Round
from coldframe.engine.core.turn import Turn
from coldframe.message.nodes import plain
from coldframe.ports.chat import Reply
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, RETENTION, F
from tests.engine.clockwork import Running, begin, running
from tests.engine.reaching import reach

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")


@dataclass
class Two:
    """Round r1 of the channel and a second one, in the same channel or in another."""

    team: Running

    async def second(self) -> Round:
        async with self.team.house.store.begin() as uow:
            found = await uow.round("r2")
        assert found is not None
        return found

    async def steps(self) -> tuple[Step, Step]:
        return (await self.team.current()).step, (await self.second()).step


def words(reply: Reply) -> str:
    return plain(reply.note.summary) if reply.note is not None else ""


@pytest.fixture
async def two(tmp_path: Path) -> AsyncIterator[Two]:
    async with running(tmp_path, MONDAY) as team:
        await _one_more(team, "growth")
        yield Two(team)


async def _one_more(team: Running, channel: str) -> None:
    await begin(team.house, {m: WorkingCalendar() for m in EVERYBODY[:6]}, "r2", channel)
    await team.settle()


@pytest.mark.parametrize("word", ["close", "pause", "extend"])
async def test_a_word_that_could_mean_either_round_asks_which(two: Two, word: str) -> None:
    """Nothing is done to either; the answer names both and shows how to say which."""
    for round_id in ("r1", "r2"):
        await _note(two.team, round_id)
    before = (await two.team.current(), await two.second())
    reply = await two.team.command(F, word)
    assert "name of r1, name of r2" in words(reply)
    assert f"/coldframe {word} name of r" in words(reply)
    assert (await two.team.current(), await two.second()) == before


async def _note(team: Running, round_id: str) -> None:
    """Three notes, so that the step can be closed."""

    async def work(turn: Turn) -> None:
        for member in EVERYBODY[:3]:
            command = WriteNote(member, NoteId(f"{round_id}{member}"), RETENTION, Side.RESTRAINING, f"Of {member}")
            await turn.act(await turn.round(round_id), command)

    await team.house.engine.act(f"notes/{round_id}", work)
    await team.settle()


async def test_the_name_says_which_round_is_closed(two: Two) -> None:
    """With its name behind the word only that round moves on."""
    for round_id in ("r1", "r2"):
        await _note(two.team, round_id)
    reply = await two.team.command(F, "close Name of R2")
    await two.team.command(F, "announce")
    assert await two.steps() == (Step.NOTES, Step.FOCUS)
    assert "name of r2" in words(reply)


async def test_a_name_that_no_round_has_closes_none(two: Two) -> None:
    """A misspelt name is asked about and not taken for the first round."""
    for round_id in ("r1", "r2"):
        await _note(two.team, round_id)
    assert "Which round do you mean" in words(await two.team.command(F, "close autumn"))
    assert await two.steps() == (Step.NOTES, Step.NOTES)


async def test_a_round_that_rests_elsewhere_does_not_move_here(tmp_path: Path) -> None:
    """Going on with a round from another channel leaves it in its own, unless that was lost; this channel's own round
    comes first."""
    async with running(tmp_path, MONDAY) as team:
        await _one_more(team, "second")
        await team.act("rest", Pause(F))
        reply = await team.house.room.command(F, team.house.room.channel("second"), "resume")
        await team.settle()
        assert "name of r1" in words(reply)
        assert (await team.current()).paused is None
        assert (await team.current()).channel == "growth"


async def test_a_note_is_hidden_in_the_round_that_has_it(two: Two) -> None:
    """Quoting a note hides it wherever it stands, and does not look into the first round alone."""

    async def work(turn: Turn) -> None:
        round_ = await turn.round(RoundId("r2"))
        for member in EVERYBODY[:3]:
            note = NoteId(f"x{member}")
            round_ = await turn.act(round_, WriteNote(member, note, RETENTION, Side.RESTRAINING, f"Secret of {member}"))
        await turn.act(round_, Close(F))

    await two.team.house.engine.act("notes", work)
    await reach(two.team, Step.FOCUS)
    await two.team.command(F, "hide Secret of dora")
    assert [n.text for n in (await two.second()).notes.values() if n.hidden] == ["Secret of dora"]
