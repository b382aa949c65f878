"""A choice becomes known: its author hears first, everybody at a fixed moment, and nothing tells who the author is."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from coldframe.chat.room.records import Record
from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.people.commands import Leave
from coldframe.domain.round.choosing import AskOwner, DropChoice
from coldframe.engine.core import members
from coldframe.store import tables as t
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, D, F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, in_channel, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
HOUR = timedelta(hours=1)
JON = MemberId("jon")
FAR = "Pacific/Auckland"  # whose working day begins when it ends in London
NINE_IN_AUCKLAND = datetime(2026, 3, 2, 20, tzinfo=UTC)
ANNOUNCED = "Chosen for a trial: "


@asynccontextmanager
async def _at_the_choice(folder: Path, *, far: MemberId | None = None) -> AsyncIterator[Running]:
    """The commitment is open; the plans p0 to p2 were written by the first three. One of the team is far away."""
    async with at_step(folder, MONDAY, Step.COMMITMENT) as team:
        if far is not None:
            async with team.house.store.begin() as uow:
                record = await uow.member("room", far)
                assert record is not None
                await uow.save_member(members.with_calendar(record, WorkingCalendar(zone=FAR)))
        yield team


async def _announcement(team: Running) -> datetime:
    (row,) = await team.dues("announce choice")
    return row.at


async def _moments(team: Running) -> set[datetime]:
    """Of all rows that are due, as they stand in the file."""
    async with team.house.store.database.looking() as db:
        return {row.at for row in await db.execute(select(t.due.c.at).where(t.due.c.state != "done"))}


def _known(team: Running) -> list[str]:
    return [w for w in in_channel(team) if w.startswith(ANNOUNCED)]


async def _choose(team: Running, plan: str = "p0") -> None:
    await team.press(D, "choice.make", f"r1|{plan}")


@pytest.mark.parametrize("plan", ["p0", "p1", "p2"])
async def test_the_moment_does_not_depend_on_who_wrote_the_plan(tmp_path: Path, plan: str) -> None:
    """It is the same for the plan of somebody at work now and of somebody whose day begins tonight."""
    async with _at_the_choice(tmp_path, far=F) as team:
        author = (await team.current()).plans[PlanId(plan)].author
        assert author in EVERYBODY[:3]
        await _choose(team, plan)
        assert await _announcement(team) == NINE_IN_AUCKLAND + HOUR


async def test_the_author_hears_at_their_next_working_moment_and_before_anybody_else(tmp_path: Path) -> None:
    """Nothing reaches them in their night, and the channel hears nothing before its moment. No row that is due has a
    moment that would tell whose it is."""
    async with _at_the_choice(tmp_path, far=F) as team:
        before = await _moments(team)
        await _choose(team)
        assert not [w for w in told(team, F) if "was chosen for a trial" in w]
        assert NINE_IN_AUCKLAND not in await _moments(team) - before
        at = await _announcement(team)
        await team.until(at - timedelta(minutes=1))
        assert len([w for w in told(team, F) if "was chosen for a trial" in w]) == 1
        assert _known(team) == []
        await team.until(at)
        assert _known(team) == [f"{ANNOUNCED}Title of p0. Who would like to own it? Say so on the commitment card."]


@pytest.mark.parametrize("plan", ["p0", "p1", "p2"])
async def test_what_waits_at_rest_does_not_depend_on_who_wrote_the_plan(tmp_path: Path, plan: str) -> None:
    """The same rows, of the same length, at the same moments, in the order of the roster: of the one who is asleep one
    waits, whoever the author is. Only the author's is ever said."""
    rows = []
    for number, chosen in enumerate(("p0", plan)):
        (tmp_path / str(number)).mkdir()
        async with _at_the_choice(tmp_path / str(number), far=F) as team:
            author = (await team.current()).plans[PlanId(chosen)].author
            await _choose(team, chosen)
            rows.append(await _waiting(team))
            await team.until(await _announcement(team))
            asked = [m for m in EVERYBODY[:6] if any("was chosen for a trial" in said for said in told(team, m))]
            assert asked == [author]
    assert rows[0] == rows[1] and len(rows[0]) == 1


async def _waiting(team: Running) -> list[tuple[object, ...]]:
    async with team.house.store.database.looking() as db:
        found = await db.execute(select(t.outbox).order_by(t.outbox.c.id))
        return [(row.kind, row.state, row.try_at, row.only_in, len(row.body), row.name[:1]) for row in found]


async def test_until_then_the_card_says_only_that_something_is_chosen(tmp_path: Path) -> None:
    """The button of the chosen plan stands among the others, and nobody can be asked to own it."""
    async with _at_the_choice(tmp_path, far=F) as team:
        reply = await team.press(D, "choice.make", "r1|p0")
        assert reply.note is not None
        (card,) = [w for w in team.channel() if "A plan is chosen." in w]
        assert "Chosen: " not in card
        for plan in ("p0", "p1", "p2"):
            team.button(F, "choice.make", f"r1|{plan}")
        with pytest.raises(LookupError):
            team.button(F, "owner.ask")
        again = await team.press(F, "choice.make", "r1|p0")
        assert again.note == reply.note
        await team.until(await _announcement(team))
        team.button(F, "owner.ask", "r1|p0")


def _others(team: Running) -> list[Record]:
    """All that stands where others than the author of p0 can see it."""
    room = team.house.room
    places = (room.channel(team.round.channel), *(room.direct(m) for m in EVERYBODY[1:6]))
    return [r for place in places for r in room.messages(place)]


async def _seen_by_others(team: Running, *, offers: bool) -> list[tuple[str, str]]:
    """What others have seen by the time at which offers are shown."""
    await _choose(team, "p0")
    at = await _announcement(team)
    if offers:
        await team.until(at - timedelta(minutes=30))
        before = [r.revision for r in _others(team)]
        await team.press(F, "owner.offer")
        assert [r.revision for r in _others(team)] == before
    await team.until(at + HOUR / 2)
    return [(r.at.isoformat(), str(r.message)) for r in _others(team)]


async def test_an_early_offer_of_the_author_leaves_no_trace(tmp_path: Path) -> None:
    """What others see before and at the announcement is the same, offer or none: no message, no edit, no name."""
    seen = []
    for offers in (False, True):
        async with _at_the_choice(_folder(tmp_path, offers), far=F) as team:
            seen.append(await _seen_by_others(team, offers=offers))
    assert seen[0] == seen[1]


def _folder(tmp_path: Path, offers: bool) -> Path:
    made = tmp_path / str(offers)
    made.mkdir()
    return made


async def test_offers_are_shown_together_in_the_order_of_the_roster(tmp_path: Path) -> None:
    """The author's early one stands among those that came after the announcement."""
    async with _at_the_choice(tmp_path) as team:
        plan = (await team.current()).plans[PlanId("p1")]
        assert plan.author == D
        await team.press(F, "choice.make", "r1|p1")
        await team.press(D, "owner.offer", "r1|p1")
        await team.until(await _announcement(team))
        await team.press(JON, "owner.offer", "r1|p1")
        await team.press(F, "owner.offer", "r1|p1")
        assert not [w for w in team.channel() if "Would own it" in w]
        (row,) = await team.dues("show offers")
        await team.until(row.at)
        (card,) = [w for w in team.channel() if "Would own it" in w]
        assert "Would own it: Faye, Dora, Jon" in card


async def test_a_choice_that_is_dropped_before_its_moment_is_never_told(tmp_path: Path) -> None:
    """Its author, who had heard, hears that it is off."""
    async with _at_the_choice(tmp_path) as team:
        await _choose(team, "p1")
        at = await _announcement(team)
        await team.act("drop", DropChoice(F, PlanId("p1")))
        await team.until(at + HOUR)
        assert _known(team) == []
        assert "Your plan “Title of p1” was taken out of the choice again." in told(team, D)


async def test_an_author_who_was_not_asked_yet_hears_nothing_of_a_choice_that_is_dropped(tmp_path: Path) -> None:
    """What waits for their day is taken out before it goes."""
    async with _at_the_choice(tmp_path, far=F) as team:
        await _choose(team, "p0")
        await team.act("drop", DropChoice(D, PlanId("p0")))
        said = len(told(team, F))
        await team.until(NINE_IN_AUCKLAND + HOUR)
        assert not [w for w in told(team, F)[said:] if "Title of p0" in w]
        await _choose(team, "p0")
        await team.until(await _announcement(team))
        assert len([w for w in told(team, F) if "was chosen for a trial" in w]) == 1


async def test_an_author_who_has_left_is_not_asked_and_the_moment_is_the_same(tmp_path: Path) -> None:
    """The announcement comes all the same, without an author."""
    async with _at_the_choice(tmp_path) as team:
        await team.act("leaves", Leave(BOT, MemberId("fred")))
        await _choose(team, "p2")
        await team.until(await _announcement(team))
        assert len(_known(team)) == 1
        assert not [w for w in told(team, "fred") if "was chosen" in w]


async def test_the_window_leaves_time_after_the_announcement(tmp_path: Path) -> None:
    """A choice at the last moment does not run out of time while it waits for its announcement."""
    async with _at_the_choice(tmp_path, far=F) as team:
        due = (await team.current()).progress.due
        assert due is not None
        await team.until(due - timedelta(minutes=10))
        await _choose(team)
        announced = await _announcement(team)
        assert announced > due
        longer = (await team.current()).progress.due
        assert longer is not None
        assert longer > announced
        await team.until(announced)
        assert (await team.current()).progress.extensions == 0


async def test_an_author_who_offered_early_is_asked_like_anybody(tmp_path: Path) -> None:
    """Whoever asks learns nothing from how fast the answer comes."""
    async with _at_the_choice(tmp_path) as team:
        await team.press(F, "choice.make", "r1|p1")
        await team.press(D, "owner.offer")
        await team.until(await _announcement(team))
        await team.act("ask", AskOwner(F, PlanId("p1"), D))
        choice = (await team.current()).choices[PlanId("p1")]
        assert (choice.asked, choice.owner) == (D, None)
        assert [w for w in told(team, D) if w.startswith("Would you own the trial")]
        await team.press(D, "owner.accept")
        assert (await team.current()).choices[PlanId("p1")].owner == D
