"""Ids as other platforms have them: signs that stand between the parts of names, values and occurrences."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

from coldframe.domain.names import MemberId
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.engine.trial import ownership
from coldframe.ports.chat import Person
from coldframe.ports.storage import Member
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import D, F
from tests.engine.seeing_through import CHANNEL, Team, a_team

ODA = MemberId("@oda/west|50%2F:home")
HOUR = timedelta(hours=1)


async def comes(team: Team) -> None:
    """A new colleague joins the channel and may own its trials."""
    team.house.room.add_person(Person(ODA, "Oda", "UTC"), CHANNEL)
    record = members.with_calendar(Member("room", ODA, "Oda", "UTC", told_privacy=True), WorkingCalendar())

    async def work(turn: Turn) -> None:
        await turn.uow.save_member(record)
        await ownership.came(turn, "room", ODA, "Oda", CHANNEL)

    await team.house.engine.act("oda comes", work)
    await team.settle()


async def takes_over(team: Team) -> None:
    await team.command(D, "trials", channel=False)
    assert not await team.fill(D, "trial.hand_over", {"member": ODA, "reason": "more time"})
    await team.press(ODA, "trial.accept")
    assert (await team.trial()).owner == ODA


async def test_whoever_has_signs_in_their_id_owns_a_trial_and_logs_its_weeks(tmp_path: Path) -> None:
    """Asked, reminded of a week, answered with the state after it: as everybody else is."""
    async with a_team(tmp_path) as team:
        await comes(team)
        await takes_over(team)
        await team.weeks(1, at=HOUR)
        assert "To do:" in team.told(ODA)[-1]
        await team.say(ODA, "control 400/80, trial 390/82")
        assert (await team.trial()).entry(1) is not None
        assert any("I noted:" in words for words in team.told(ODA))


async def test_the_facilitator_hears_when_whoever_has_signs_in_their_id_does_not_answer(tmp_path: Path) -> None:
    """After one working day of the person who was asked."""
    async with a_team(tmp_path) as team:
        await comes(team)
        await team.command(D, "trials", channel=False)
        assert not await team.fill(D, "trial.hand_over", {"member": ODA, "reason": "more time"})
        await team.until(team.clock.now() + timedelta(days=2))
        assert any("Oda" in words and "no answer yet" in words for words in team.told(F))


async def test_whoever_has_signs_in_their_id_goes_away_and_comes_back(tmp_path: Path) -> None:
    """The row that ends the absence finds the person whom it names."""
    async with a_team(tmp_path) as team:
        await comes(team)
        await takes_over(team)
        await team.command(ODA, "away until in 2 days", channel=False)
        async with team.house.store.begin() as uow:
            member = await uow.member("room", ODA)
        assert member is not None and member.away_until is not None
        await team.until(member.away_until + HOUR)
        assert any("Welcome back" in words for words in team.told(ODA))
