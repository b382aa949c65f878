"""A round in setup: who may begin it, who can end it, what it gives nobody, and that it does not stand for ever."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from coldframe.domain.names import MemberId, Role, RoundId, Step
from coldframe.domain.round.moves import Start
from coldframe.domain.state import Roles, Round
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import teams
from coldframe.engine.round import resting
from coldframe.ports.chat import Commanded, Left, Person, PersonChanged, Pressed, Submitted
from tests.domain.play import DD, FD, OTHERS, D, F, a_round
from tests.engine.clockwork import Running
from tests.engine.people.test_who_may_take_part import There, there_is
from tests.engine.reaching import at_step
from tests.engine.round.test_setting_up import RIGHT

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
INES = OTHERS[0]
GUEST = MemberId("new")
LEAD = Role.FACILITATOR
A_WEEK = timedelta(weeks=1)


async def set_up(team: Running) -> Round:
    """Faye sets a round up by its form."""
    form = (await team.command(F, "new")).form
    assert form is not None
    assert (await team.house.room.submit(F, form.action, form.value, RIGHT)).errors == {}
    await team.settle()
    return await _june(team)


async def _june(team: Running) -> Round:
    async with team.house.store.begin() as uow:
        found = [await uow.round(i) for i in await uow.rounds_with("room", INES)]
    return next(r for r in found if r is not None and r.name == "June")


@asynccontextmanager
async def _guest(tmp_path: Path) -> AsyncIterator[There]:
    async with there_is(tmp_path, Person(GUEST, "Newcomer", is_guest=True)) as there:
        yield there


async def _outsiders(team: Running) -> Round:
    """A round in setup as earlier versions let a guest begin it."""
    known = await team.current()
    round_ = replace(a_round(), id=RoundId("r2"), name="June", tenant="room", channel=known.channel,
                     roles=Roles(GUEST, D, FD, DD))  # fmt: skip
    async with team.house.store.begin() as uow:
        await uow.add_round(round_, team.clock.now())
    return round_


# --- who begins it --------------------------------------------------------------------------------------------------


async def test_a_guest_is_told_who_can_set_a_round_up(tmp_path: Path) -> None:
    """Neither the form, which shows what the team has left over, nor a round comes of it, by whatever way."""
    async with _guest(tmp_path) as there:
        assert "You're a guest here" in await there.happens(Commanded("new"), GUEST)
        channel = (await there.team.current()).channel
        await there.happens(Submitted("round.new", channel, RIGHT), GUEST)
        await there.happens(Submitted("round.new", channel, RIGHT), GUEST, direct=True)
        await there.happens(Pressed("round.again", channel), GUEST)
        async with there.team.house.store.begin() as uow:
            assert len(await uow.heads("room", channel=channel)) == 1


async def test_whoever_begins_a_setup_has_no_role_elsewhere_by_it(tmp_path: Path) -> None:
    """Facilitator, lead and places of the team are those of its last round that began; nothing is theirs to read."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        round_ = await _outsiders(team)
        async with team.house.store.begin() as uow:
            assert await teams.facilitator_of(uow, "room", round_.channel) == F
            assert await teams.lead_of(uow, "room", round_.channel) == F
            other = replace(round_, id=RoundId("r3"), channel="elsewhere")
            await uow.add_round(other, MONDAY)
            assert "elsewhere" not in await uow.teams_of("room", INES)
            assert await teams.facilitator_of(uow, "room", "elsewhere") is None


async def test_a_setup_that_an_outsider_began_is_ended_by_a_member(tmp_path: Path) -> None:
    """By the word, and by the panel's button; the outsider cannot, and nobody can with a setup that is somebody's."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _outsiders(team)
        await team.command(INES, "")
        await team.fill(INES, "round.cancel", {"reason": "Not ours"}, "r2")
        assert (await _june(team)).step is Step.CANCELLED


async def test_a_setup_that_an_outsider_began_is_taken_over_by_a_member(tmp_path: Path) -> None:
    """They get the round as it would start, and start it."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _outsiders(team)
        await team.command(INES, "")
        await team.press(INES, "role.take")
        assert [w for w in team.told(INES) if w.startswith("June is ready to start")]
        await team.press(INES, "round.start", "r2")
        assert (await _june(team)).step is Step.NOTES


# --- whoever began it goes ------------------------------------------------------------------------------------------


async def test_whoever_set_a_round_up_leaves_and_the_deputy_can_start_it(tmp_path: Path) -> None:
    """The proposal comes to them; the channel, which has not heard of the round, hears nothing."""
    async with there_is(tmp_path, Person(F, "Faye")) as there:
        await set_up(there.team)
        before = there.team.channel()
        await there.happens(PersonChanged(Person(F, "Faye", is_gone=True)), F, direct=True)
        assert [w for w in there.team.told(FD) if w.startswith("June is ready to start with 5 people")]
        assert [w for w in there.team.channel() if "June" in w] == [w for w in before if "June" in w]
        june = await _june(there.team)
        await there.happens(Pressed("round.start", june.id), FD, direct=True)
        assert (await _june(there.team)).step is Step.NOTES


async def test_a_setup_without_a_deputy_names_another_and_starts(tmp_path: Path) -> None:
    """What the refusal asks for can be done by the roles of the panel."""
    async with there_is(tmp_path, Person(FD, "Fred")) as there:
        june = await set_up(there.team)
        await there.happens(Left(), FD)
        await there.happens(Left(), F)
        assert (await _june(there.team)).is_facilitator(D)
        await there.happens(Pressed("round.start", june.id), D, direct=True)
        assert (await _june(there.team)).step is Step.SETUP
        await there.team.command(D, "roles")
        await there.team.fill(D, "role.deputy", {"member": INES}, f"{june.id}|facilitator")
        await there.happens(Pressed("round.start", june.id), D, direct=True)
        assert (await _june(there.team)).step is Step.NOTES


# --- it does not stand for ever -------------------------------------------------------------------------------------


async def test_a_setup_that_is_not_started_asks_and_ends_by_itself(tmp_path: Path) -> None:
    """After a week its facilitator is asked, and others may take it over; after two it ends, with a word to them."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await set_up(team)
        before = team.channel()
        await team.until(MONDAY + A_WEEK - timedelta(hours=1))
        assert not [w for w in team.told(F) if "is set up and hasn't started" in w]
        await team.until(MONDAY + A_WEEK)
        assert [w for w in team.told(F) if "Without a start I take it off Mon 16 Mar" in w]
        assert [w for w in team.told(FD) if "June still waits for its start" in w]
        await team.until(MONDAY + 2 * A_WEEK)
        assert (await _june(team)).step is Step.CANCELLED
        for person in (F, FD):
            assert [w for w in team.told(person) if "was set up and never started" in w]
        assert [w for w in team.channel() if "June" in w] == [w for w in before if "June" in w]


async def test_a_setup_with_a_date_waits_for_its_date(tmp_path: Path) -> None:
    """The two weeks begin with the date on which it should have started."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        june = await set_up(team)
        await team.fill(F, "round.start_on", {"date": "2026-03-24"}, june.id)
        await team.until(MONDAY + timedelta(days=16))
        assert (await _june(team)).step is Step.SETUP
        await team.until(MONDAY + timedelta(days=23))
        assert (await _june(team)).step is Step.NOTES


async def test_a_setup_of_an_earlier_version_does_not_stand_for_ever_either(tmp_path: Path) -> None:
    """At the first start of this version its time begins, once; a resting round is asked about as well."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _outsiders(team)
        now = team.clock.now()
        await resting.look_after(team.house.kit)
        await team.until(now + timedelta(days=3))
        await resting.look_after(team.house.kit)
        await team.until(now + 2 * A_WEEK)
        assert (await _june(team)).step is Step.CANCELLED


async def test_a_round_that_began_is_not_taken_off(tmp_path: Path) -> None:
    """The start ends the wait."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        june = await set_up(team)

        async def start(turn: Turn) -> None:
            await turn.act(await turn.round(june.id), Start(F))

        await team.house.engine.act("start it", start)
        assert not await team.dues(resting.SETUP)
