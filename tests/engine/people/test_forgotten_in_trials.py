"""Somebody is forgotten who owns a trial, whose trial is over, who has left long ago, or comes back: the trials stay,
the name does not."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId
from coldframe.message.nodes import Message, Who, line
from coldframe.ports.chat import Person, Place
from coldframe.ports.follow_through import Wanted
from coldframe.ports.storage import Send
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, FD, D, F
from tests.engine.clockwork import begin, running
from tests.engine.databases import THE_SERVER_LATER, a_database
from tests.engine.people.test_forgotten_everywhere import found
from tests.engine.seeing_through import CHANNEL, MONDAY, Team, a_team, words

INES, JON = MemberId("ines"), MemberId("jon")
MINUTES = timedelta(minutes=6)


async def _forget(team: Team, person: MemberId) -> None:
    await team.command(person, "forget me", channel=False)
    await team.until(team.clock.now() + MINUTES)


async def test_an_owner_is_forgotten_while_the_trial_runs(tmp_path: Path) -> None:
    """The facilitator hears that it needs an owner, and no name; register and place hold none."""
    async with a_team(tmp_path, chances={D: 70, F: 50}, fears=("canary fear",)) as team:
        await team.weeks(1, at=timedelta(hours=2))
        before = len(team.told(F))
        await _forget(team, D)
        assert await found(team, tmp_path, D, "Dora", "canary") == set()
        assert not [said for said in team.told(F)[before:] if "Dora" in said]
        async with team.house.store.begin() as uow:
            (entry,) = await uow.search("room", [CHANNEL], Wanted())
            (place,) = await uow.running_trials("room", CHANNEL)
        assert (entry.owner, place.owner) == ("somebody who left", "")
        assert (await team.trial()).owner is None
        await team.until(team.clock.now() + timedelta(days=3))
        await team.press(INES, "trial.own")
        async with team.house.store.begin() as uow:
            (entry,) = await uow.search("room", [CHANNEL], Wanted())
        assert (await team.trial()).owner == INES and entry.owner == "Ines"


async def test_a_finished_trial_stays_without_the_name_of_whoever_owned_it(tmp_path: Path) -> None:
    """Its verdict and learning are the team's; whoever logged and closed it is somebody who left."""
    async with a_team(tmp_path, chances={D: 70, F: 50, FD: 30}) as team:
        await team.weeks(4, at=timedelta(days=1, hours=1))
        assert not await team.fill(FD, "trial.learn", {"text": "canary learning"})
        await team.fill(D, "trial.close", {"learning": "Calling works", "decision": "stop", "reason": "no numbers"})
        await team.weeks(5)
        for person in (D, FD):
            await _forget(team, person)
        assert await found(team, tmp_path, D, "Dora", FD, "Fred", "canary") == set()
        async with team.house.store.begin() as uow:
            (entry,) = await uow.search("room", [CHANNEL], Wanted())
        assert (entry.owner, entry.learning) == ("somebody who left", "Calling works")
        await team.command(F, "search owner:dora")
        assert "Calling works" not in words(team.house.room.notes(F)[-1].message)


async def test_why_a_week_was_put_right_goes_with_whoever_put_it_right(tmp_path: Path) -> None:
    """Its numbers stay, the earlier ones too; what was said about them is in no file any more."""
    async with a_team(tmp_path) as team:
        await team.weeks(2, at=timedelta(hours=2))
        right = {"week": "1", "control_successes": "41", "control_people": "400"}
        right |= {"trial_successes": "61", "trial_people": "400", "reason": "canary: my mistake"}
        assert not await team.fill(D, "trial.log", right)
        before = (await team.trial()).weeks[1]
        assert before[-1].reason == "canary: my mistake"
        await _forget(team, D)
        assert await found(team, tmp_path, D, "Dora", "canary") == set()
        after = (await team.trial()).weeks[1]
        assert [(e.trial, e.control) for e in after] == [(e.trial, e.control) for e in before]


async def test_who_has_left_long_ago_is_forgotten_where_the_round_is_gone(tmp_path: Path) -> None:
    """A round is kept for a year, its trials longer; what somebody said of one in private goes with them."""
    async with a_team(tmp_path, chances={INES: 70, F: 50}) as team:
        await team.house.room.leave(INES, CHANNEL)
        async with team.house.store.begin() as uow:
            await uow.delete_round(team.round.id)
        assert INES in (await team.trial()).chances
        await _forget(team, INES)
        assert (await team.trial()).chances.keys() == {F}


async def test_twice_and_a_stranger(tmp_path: Path) -> None:
    """The second time there is nothing to say but that."""
    async with a_team(tmp_path) as team:
        await _forget(team, JON)
        await _forget(team, JON)
        assert team.told(JON) == ["Done: I hold nothing about you."]
        team.house.room.add_person(Person("sue", "Sue", "UTC"))
        await team.command("sue", "forget", channel=False)
        await _forget(team, MemberId("sue"))
        assert team.told("sue") == ["Done: I hold nothing about you."]


async def test_whoever_comes_back_begins_anew(tmp_path: Path) -> None:
    """A seat and a record of their own again, the first word again, and nothing of what was before."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(JON, "- retention: canary note")
        await _forget(team, JON)
        await team.house.room.leave(JON, CHANNEL)
        await team.house.room.join(Person(JON, "Jon", "UTC"), CHANNEL)
        await team.settle()
        round_ = await team.current()
        assert not round_.seats[JON].left and not round_.notes
        assert any("what I hold about you" in said for said in team.told(JON))
        await team.until(team.clock.now() + MINUTES)
        async with team.house.store.begin() as uow:
            assert await uow.member("room", JON) is not None
        await team.command(JON, "export", channel=False)
        assert "canary" not in "\n".join(_files(team, JON))


def _files(team: Team, person: str) -> list[str]:
    room = team.house.room
    files = [room.log.file(f.id) for r in room.messages(room.direct(person)) for f in r.files]
    return [found_[2].decode() for found_ in files if found_ is not None]


async def test_somebody_of_two_rounds_is_forgotten_in_both(tmp_path: Path) -> None:
    """And in the one that they only set up."""
    async with running(tmp_path, MONDAY) as team:
        await begin(team.house, {m: WorkingCalendar() for m in EVERYBODY[:6]}, "r2", "other")
        await team.settle()
        form = (await team.command(JON, "new")).form
        assert form is not None
        fields = {"question": "Why?", "name": "June", "levers": "Retention", "weight": "2"}
        roles = {"decision_maker": D, "decision_deputy": F, "facilitator_deputy": FD}
        await team.house.room.submit(JON, form.action, form.value, fields | roles)
        await team.settle()
        await _forget(team, JON)
        assert await found(team, tmp_path, JON, "Jon") == set()


@pytest.mark.parametrize("kind", THE_SERVER_LATER)
async def test_what_waits_to_be_said_to_others_names_nobody_who_was_forgotten(kind: str, tmp_path: Path) -> None:
    """A message in the outbox, however long the platform has been away."""
    with a_database(kind, tmp_path) as url:
        async with running(tmp_path, MONDAY, url=url) as team:
            team.house.room.faults.add("refuse", times=1000)
            words_ = line("{who} looks after it.", who=(Who(JON, "Jon"),))
            async with team.house.store.begin() as uow:
                named = Send("post", f"r1/role-asked/{JON}/x", Place("room", "channel", CHANNEL), Message(words_))
                await uow.send([named], team.clock.now())
            await team.command(JON, "forget me", channel=False)
            assert await found(team, tmp_path, "Jon") == set()
            team.house.room.faults.clear()
            await team.until(team.clock.now() + timedelta(days=1))
            said = team.channel()
            assert any("somebody who left looks after it." in each for each in said)
            assert not any("Jon" in each for each in said)
