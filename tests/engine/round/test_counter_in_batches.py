"""On no surface does the number of those who are in move at the act of one person."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from coldframe.chat.room.records import Record
from coldframe.domain.names import MemberId, NoteId, Side, Step
from coldframe.domain.round.moves import Done, Pause, Resume
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.state import Round
from coldframe.engine.core.turn import Turn
from coldframe.engine.round.counter import COUNT
from tests.domain.play import EVERYBODY, RETENTION, F
from tests.engine.clockwork import Running, house_on, running
from tests.engine.seeing_through import CHANNEL, words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
MINUTE, QUARTER = timedelta(minutes=1), timedelta(minutes=15)
SIX = EVERYBODY[:6]


async def _writes(team: Running, *members: MemberId) -> None:
    for member in members:
        note = WriteNote(member, NoteId(f"n-{member}"), RETENTION, Side.RESTRAINING, f"Text of {member}")
        await team.act(f"note/{member}", note)
    await team.house.engine.settle()


def _card(team: Running) -> Record:
    records = team.house.room.log.messages(team.house.room.channel(CHANNEL))
    (card,) = [r for r in records if r.message is not None and words(r.message).startswith("name of r1: Notes")]
    return card


def _says(team: Running) -> str:
    message = _card(team).message
    assert message is not None
    return words(message)


async def _surfaces(team: Running) -> list[str]:
    """The channel's card, what a member reads of the rounds, the digest."""
    status = await team.command(F, "status", channel=False)
    await team.command(F, "digest", channel=False)
    assert status.errors == {}
    return [_says(team), *(next(w for w in reversed(team.told(F)) if word in w) for word in ("open here", "Digest"))]


async def test_a_note_moves_no_number_before_the_quarter(tmp_path: Path) -> None:
    """Card, status and digest say the same as before; at the quarter all of them move."""
    async with running(tmp_path, MONDAY) as team:
        await team.until(MONDAY + 3 * MINUTE)
        before = _card(team).revision
        await _writes(team, *SIX[:2])
        assert all("none of 6 are in yet" in words for words in await _surfaces(team))
        assert _card(team).revision == before
        await team.until(MONDAY + QUARTER)
        assert all("2 of 6 are in" in words for words in await _surfaces(team))
        assert _card(team).revision > before


async def test_a_batch_is_told_after_a_restart(tmp_path: Path) -> None:
    """The row stands in the database with the answer that it tells."""
    async with running(tmp_path, MONDAY) as team:
        await team.until(MONDAY + MINUTE)
        await _writes(team, SIX[0])
        (row,) = await team.dues(COUNT)
        assert row.at == MONDAY + QUARTER
    async with house_on(team.clock, tmp_path) as house:
        again = replace(team, house=house)
        await again.until(MONDAY + QUARTER)
        assert "1 of 6 is in" in _says(again)


async def test_the_card_does_not_change_while_nobody_works(tmp_path: Path) -> None:
    """Somebody writes at night: the number moves in the morning, and the card is left alone until then."""
    async with running(tmp_path, MONDAY) as team:
        night = MONDAY + timedelta(hours=14)
        await team.until(night)
        before = _card(team).revision
        await _writes(team, SIX[0])
        await team.until(night + timedelta(hours=9))
        assert _card(team).revision == before
        await team.until(MONDAY + timedelta(days=1))
        assert "1 of 6 is in" in _says(team)


async def test_a_pause_holds_the_batch_and_its_end_sets_it_again(tmp_path: Path) -> None:
    """What came meanwhile is told with the next batch after it."""
    async with running(tmp_path, MONDAY) as team:
        await _writes(team, SIX[0])
        await team.act("pause", Pause(F))
        assert not await team.dues(COUNT)
        await _writes(team, SIX[1])
        await team.act("resume", Resume(F))
        await team.until(MONDAY + QUARTER)
        assert "2 of 6 are in" in _says(team)


async def test_that_all_are_in_is_told_with_its_batch(tmp_path: Path) -> None:
    """The card does not say so at the last one's act, and the step closes at a quarter hour."""
    async with running(tmp_path, MONDAY) as team:
        await team.until(MONDAY + 7 * MINUTE)
        await _writes(team, *SIX)
        before = _card(team).revision
        await team.act("done", *(Done(member) for member in SIX))
        await team.house.engine.settle()
        assert _card(team).revision == before
        await team.until(MONDAY + QUARTER)
        assert "6 of 6 are in" in _says(team)
        assert "everybody is in; it closes at" in _says(team)
        await team.until(MONDAY + 2 * QUARTER)
        assert (await team.current()).step is not Step.NOTES


async def test_a_step_of_an_earlier_release_comes_to_batches(tmp_path: Path) -> None:
    """It does not know what was told; the first batch after the upgrade sets that right."""
    async with running(tmp_path, MONDAY) as team:
        await _writes(team, SIX[0])

        async def as_before(turn: Turn) -> None:
            round_ = await turn.round(team.round.id)
            old: Round = replace(round_, progress=replace(round_.progress, told=None))
            await turn.drop_due(round_.id, kind=COUNT)
            await turn.uow.save_round(round_, old, (), turn.now)

        await team.house.engine.act("as before", as_before)
        await _writes(team, SIX[1])
        assert await team.dues(COUNT)
        await team.until(MONDAY + QUARTER)
        await _writes(team, SIX[2])
        assert "2 of 6 are in" in _says(team)
