"""Somebody tries a whole round alone: in their own messages or a channel of their own, and nobody else hears of it."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.clock import ManualClock
from coldframe.domain.names import MemberId, Step
from coldframe.domain.people.played import alone, is_played, is_rehearsal
from coldframe.domain.state import Round
from coldframe.message.nodes import plain
from coldframe.players.hand import Hand, Screen, words_of
from coldframe.ports.chat import Person
from coldframe.speech.names import about
from coldframe.wiring import House
from tests.alone import Alone
from tests.domain.play import a_round
from tests.engine.clockwork import house_on
from tests.engine.databases import BOTH, a_database

BEGIN = datetime(2026, 3, 3, 9, tzinfo=UTC)
STEP = timedelta(seconds=20)
ME, ELSE = "faye", "dora"


class Trying:
    """A room in which somebody tries a round alone."""

    def __init__(self, house: House, clock: ManualClock) -> None:
        self.house, self.clock = house, clock
        self.hand = Hand(house.room, ME, Screen(house.room))

    async def forward(self, by: timedelta = STEP) -> None:
        end = self.clock.now() + by
        await self.house.engine.settle()
        while (due := await self.house.engine.next_moment()) is not None and due <= end:
            self.clock.set(max(due, self.clock.now()))
            await self.house.engine.settle()
        self.clock.set(end)
        await self.house.engine.settle()

    async def rehearsals(self) -> list[Round]:
        async with self.house.store.begin() as uow:
            ids = [i for _, team in await uow.all_teams() for i in await uow.rounds_of_team("room", team)]
            found = [await uow.round(round_id) for round_id in ids]
        return [round_ for round_ in found if round_ is not None and is_rehearsal(round_)]

    async def current(self) -> Round:
        (round_,) = await self.rehearsals()
        return round_

    def told(self, person: str = ME) -> list[str]:
        room = self.house.room
        return [words_of(r) for r in room.messages(room.direct(person)) if r.by_bot and not r.gone]

    def read_by(self, person: str) -> list[str]:
        """All that stands where this person reads: their own messages, and the channels."""
        room = self.house.room
        return [words_of(r) for r in room.all_messages() if r.by_bot and not r.gone and room.sees(person, r.place)]

    async def command(self, text: str, channel: str = "") -> str:
        room = self.house.room
        place = room.channel(channel) if channel else room.direct(ME)
        reply = await room.command(ME, place, text)
        await self.house.engine.settle()
        return "" if reply.note is None else plain(reply.note.summary)


@asynccontextmanager
async def trying(folder: Path, url: str | None = None) -> AsyncIterator[Trying]:
    clock = ManualClock(BEGIN)
    async with house_on(clock, folder, url) as house:
        house.room.add_channel("growth", "growth")
        for person in (ME, ELSE):
            house.room.add_person(Person(person, person.title(), "Europe/Berlin"), "growth")
        house.room.add_channel("alone", "alone")
        house.room.add_person(Person(ME, "Faye", "Europe/Berlin"), "alone")
        yield Trying(house, clock)


@pytest.mark.slow
@pytest.mark.parametrize("kind", BOTH)
async def test_a_whole_round_alone(tmp_path: Path, kind: str) -> None:
    """Every step, up to the seal; the others give, vote, compare and own; nobody else reads a word of it."""
    with a_database(kind, tmp_path) as url:
        async with trying(tmp_path, url) as there:
            await _whole(there)


async def _whole(there: Trying) -> None:
    before = there.read_by(ELSE)
    assert "messages with me" in await there.command("rehearse", "growth")
    me = Alone(there.hand, ME, there.current, there.forward)
    round_ = await me.play()
    assert round_.step is Step.COMMITTED and round_.channel == alone(ME)
    assert len(me.seen) >= 9
    assert len([p for p in round_.plans.values()]) == 3 and len(round_.precedents) == 4
    (choice,) = round_.choices.values()
    assert choice.owner is not None and is_played(choice.owner) and choice.actions and len(choice.forecasts) == 4
    assert round_.plans[choice.plan].caution and round_.plans[choice.plan].checked_by == "Lars"
    assert there.read_by(ELSE) == before
    assert any("That was a whole round" in words for words in there.told())


async def _begun(there: Trying) -> Round:
    await there.command("rehearse", "growth")
    await there.hand.press("round.start")
    await there.forward()
    return await there.current()


@pytest.mark.parametrize("where", ["alone", "growth"])
async def test_it_is_held_where_nobody_else_reads(tmp_path: Path, where: str) -> None:
    """In the channel that nobody else is in, else in one's own messages."""
    async with trying(tmp_path) as there:
        note = await there.command("rehearse", where)
        assert note and (await there.current()).channel == ("alone" if where == "alone" else alone(ME))


async def test_a_channel_with_a_past_is_left_alone(tmp_path: Path) -> None:
    """What is deleted with the rehearsal must not be somebody's register."""
    async with trying(tmp_path) as there:
        async with there.house.store.begin() as uow:
            await uow.add_round(replace(a_round(), tenant="room", channel="alone"), BEGIN)
        await there.command("rehearse", "alone")
        assert (await there.current()).channel == alone(ME)


async def test_a_real_round_is_not_deleted_as_if_it_were_one(tmp_path: Path) -> None:
    """Whatever value the press carries."""
    async with trying(tmp_path) as there:
        real = replace(a_round(), tenant="room", channel="growth", step=Step.COMMITTED)
        async with there.house.store.begin() as uow:
            await uow.add_round(real, BEGIN)
        there.house.room.add_person(Person(real.roles.facilitator, "Faye", "UTC"), "growth")
        await there.house.room.press(real.roles.facilitator, None, "rehearse.end", about(real), forged=True)
        await there.forward()
        async with there.house.store.begin() as uow:
            assert await uow.round(real.id) is not None


async def test_there_is_one_at_a_time(tmp_path: Path) -> None:
    async with trying(tmp_path) as there:
        await _begun(there)
        assert "already" in await there.command("rehearse", "growth")
        assert len(await there.rehearsals()) == 1


async def test_begun_from_ones_own_page(tmp_path: Path) -> None:
    """And from the proposal of a real round, which stays what it was."""
    async with trying(tmp_path) as there:
        await there.house.room.open_home(ME)
        await there.house.engine.settle()
        await there.house.room.press(ME, None, "rehearse.begin", "")
        await there.house.engine.settle()
        assert (await there.current()).step is Step.SETUP


async def test_the_others_stand_still_while_it_waits(tmp_path: Path) -> None:
    """A night later nothing has closed, and a day later all of it is gone, messages too."""
    async with trying(tmp_path) as there:
        round_ = await _begun(there)
        said = there.told()
        await there.forward(timedelta(hours=20))
        now = await there.current()
        assert len(there.told()) <= len(said) + 1
        assert now.step is Step.NOTES and now.progress.done == {m for m in round_.seats if is_played(m)}
        await there.forward(timedelta(hours=5))
        assert await there.rehearsals() == []
        (left,) = there.told()
        assert left.startswith("The rehearsal is deleted.")


async def test_ended_when_one_likes(tmp_path: Path) -> None:
    async with trying(tmp_path) as there:
        await _begun(there)
        room = there.house.room
        opened = (await room.command(ME, room.direct(ME), "cancel")).form
        assert opened is not None
        await room.submit(ME, opened.action, opened.value, {"reason": "I have seen enough"})
        await there.forward()
        assert await there.rehearsals() == []


async def test_somebody_who_comes_in_ends_it_and_reads_nothing(tmp_path: Path) -> None:
    """Nothing of it stands in the channel, and they are in no round."""
    async with trying(tmp_path) as there:
        await there.command("rehearse", "alone")
        await there.hand.press("round.start")
        await there.forward()
        assert there.read_by(ME) != there.told()
        await there.house.room.join(Person(ELSE, "Dora", "UTC"), "alone")
        await there.forward()
        assert there.read_by(ELSE) == [] and await there.rehearsals() == []
        assert there.told()[-1].startswith("Dora came into the channel")


async def test_who_was_away_comes_back_to_the_same_others(tmp_path: Path) -> None:
    """They are not in the channel, and have not left for that; nor is anybody asked about them."""
    async with trying(tmp_path) as there:
        await there.command("rehearse", "alone")
        await there.hand.press("round.start")
        await there.forward()
        before = await there.current()
        await there.house.engine.returned(timedelta(hours=1))
        await there.forward()
        assert (await there.current()).active() == before.active()


async def test_nobody_is_put_into_it(tmp_path: Path) -> None:
    async with trying(tmp_path) as there:
        await _begun(there)
        await there.command("add Dora")
        assert MemberId(ELSE) not in (await there.current()).seats
