"""Anonymity in the files: a thief with all that was made after the reveal, or with any earlier copy but its keys, names
nobody; and what stands private is in no file before its moment."""

from __future__ import annotations

import logging
import traceback
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.clock import ManualClock, RandomIds
from coldframe.domain.names import Step
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import Cancel, Close
from coldframe.domain.round.plans import HandInPlan
from coldframe.ports.chat import Inbound, Said
from coldframe.ports.keys import Covers
from coldframe.store import tables as t
from coldframe.timing.calendars import WorkingCalendar
from coldframe.wiring import room_house
from tests.domain.play import EVERYBODY, REASON, RETENTION, D, F, a_plan
from tests.engine.clockwork import SECRET, Running, begin
from tests.engine.databases import THE_SERVER_LATER, a_database
from tests.engine.reaching import reach
from tests.engine.seeing_through import NoDraughtsman
from tests.secrecy.loot import Loot, taken
from tests.secrecy.thief import Thief

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
PEOPLE = EVERYBODY[:6]
LONG = " long" * 300
GIVEN = {
    person: [f"canary {person[::-1]}{' x' * 20 * place}", f"canary second {person[::-1]}{LONG * (place == 2)}"]
    for place, person in enumerate(PEOPLE)
}
"""Two notes of each, of lengths that differ; one is far longer than all others. None holds its writer's name."""
LATE, HELD, DRAFT = "canary that came late", "canary that is held", "canary without a place"


@dataclass
class Watched:
    """A team, and a copy of its files after everything that was done."""

    team: Running
    folder: Path
    copies: list[Loot] = field(default_factory=list)

    async def loot(self) -> Loot:
        return await taken(self.team.house.store, SECRET, self.folder)

    async def says(self, person: str, text: str) -> None:
        """Copied before what follows from it goes out, and after."""
        await self.team.house.room.say(person, self.team.house.room.direct(person), text)
        self.copies.append(await self.loot())
        await self.team.settle()
        self.copies.append(await self.loot())

    async def give_notes(self) -> None:
        for place in range(2):
            for person in PEOPLE:
                self.team.clock.pass_by(timedelta(seconds=7))
                await self.says(person, f"- retention: {GIVEN[person][place]}")
        await self.says(PEOPLE[3], DRAFT)

    async def reveal(self) -> None:
        await self.team.act("reveal", Close(F))
        await self.team.settle()


@pytest.fixture(params=THE_SERVER_LATER)
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database with nothing in it, once for each kind."""
    with a_database(request.param, tmp_path) as url:
        yield url


@asynccontextmanager
async def watched(address: str, folder: Path) -> AsyncIterator[Watched]:
    clock = ManualClock(MONDAY)
    files = {"database": address, "room_file": str(folder / "room.db")}
    async with room_house(clock, secret=SECRET, ids=RandomIds(), draughtsman=NoDraughtsman(), **files) as house:
        round_ = await begin(house, {person: WorkingCalendar() for person in PEOPLE})
        team = Running(house, clock, round_)
        await team.settle()
        yield Watched(team, folder)


def thief(after: Loot, *before: Loot) -> Thief:
    return Thief(PEOPLE, after, before)


async def test_nobody_is_named_by_what_was_made_after_the_reveal_nor_by_an_earlier_copy(
    address: str, tmp_path: Path
) -> None:
    """By no single one of the copies, nor by all of them together; with the keys of that time the bot's own reading."""
    async with watched(address, tmp_path) as play:
        await play.give_notes()
        await play.reveal()
        after = await play.loot()
        assert len(thief(after).notes()) == 12
        assert thief(after).named() == {}
        bare = [copy.without_keys() for copy in play.copies]
        assert [found for copy in bare if (found := thief(after, copy).named())] == []
        assert thief(after, *bare).named() == {}
        assert thief(after, *bare).acted() == thief(after, *bare).reminded() == set()
        opened = thief(after, play.copies[-1]).opened()
        assert opened == {(text, person) for person, texts in GIVEN.items() for text in texts}, "with all three"


async def test_a_late_note_names_nobody_either(address: str, tmp_path: Path) -> None:
    """Posted, it stands among the others under another name; held, it waits under one; copies from before open no
    more."""
    async with watched(address, tmp_path) as play:
        await play.give_notes()
        await play.reveal()
        play.copies.clear()
        for text, choice in ((LATE, "late.post"), (HELD, "late.hold")):
            play.team.clock.pass_by(timedelta(minutes=9))
            await play.says(PEOPLE[4], f"- retention: {text}")
            await play.team.press(PEOPLE[4], choice)
            play.copies.append(await play.loot())
        assert LATE.encode() not in (await play.loot()).raw  # until the step ends, when no time tells of anybody's act
        await play.team.act("pick", PickFocus(D, RETENTION, REASON))
        after = await play.loot()
        round_ = await play.team.current()
        late = next(note for note in round_.notes.values() if note.text == LATE)
        assert list(round_.notes) == list(round_.revealed) == sorted(round_.revealed) and late.author is None
        assert [(n.text, n.author) for n in round_.late_notes.values()] == [(HELD, None)]
        assert not [use for use in await play.team.house.store.keys.uses() if use.covers is Covers.LATE]
        assert _of_late(thief(after)) == set()
        bare = [copy.without_keys() for copy in play.copies]
        assert [found for copy in bare if (found := _of_late(thief(after, copy)))] == []
        asked = play.copies[1]  # while the question stands
        assert (LATE, PEOPLE[4]) in thief(after, asked).opened()


def _of_late(able: Thief) -> set[tuple[str, str]]:
    """What the thief says of late notes; of the others the facilitator's desk names the forces that they became."""
    return {found for way in able.named().values() for found in way if found[0] in (LATE, HELD)}


async def test_what_is_private_stands_in_no_file_before_its_moment(
    address: str, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Database, log, free pages, place of keys, every copy; nor in the process's own log at its most talkative, nor in
    the traceback of an error in the midst of it."""
    caplog.set_level(logging.DEBUG)
    texts = [text for both in GIVEN.values() for text in both] + [DRAFT]
    async with watched(address, tmp_path) as play:
        await play.give_notes()
        assert [text for text in texts for copy in play.copies if text.encode() in copy.raw] == []
        told = await _error_while_writing(play)
        await play.reveal()
        plan = replace(a_plan("p0"), title="canary title", hypothesis="canary guess", might_fail="canary failure")
        await play.team.act("focus", PickFocus(D, RETENTION, REASON))
        round_ = await reach(play.team, Step.PLANS)
        await play.team.act("plan", HandInPlan(D, replace(plan, question=round_.questions[0].id)))
        hidden = (await play.loot()).raw
        for text in ("canary title", "canary guess", "canary failure", DRAFT):
            assert text.encode() not in hidden
        await play.team.act("plans", Close(F))
        shown = (await play.loot()).raw
        assert b"canary title" in shown and b"canary failure" not in shown
    assert "canary" not in caplog.text and "canary" not in told


async def _error_while_writing(play: Watched) -> str:
    """What is told of an error that comes when a note is as good as kept."""
    kit = play.team.house.engine.kit

    async def breaks(*_: object) -> None:
        raise RuntimeError("as good as kept")

    object.__setattr__(kit, "round_changed", (saved := kit.round_changed) and breaks)
    said = Said("- retention: canary that meets an error", "m1")
    place = play.team.house.room.direct(PEOPLE[1])
    try:
        await play.team.house.engine.receive(Inbound("broken", PEOPLE[1], place, MONDAY, said))
    except RuntimeError as problem:
        return "".join(traceback.format_exception(problem))
    finally:
        object.__setattr__(kit, "round_changed", saved)
    raise AssertionError("the error was to come")


async def test_the_log_of_the_database_is_empty_right_after_the_reveal(tmp_path: Path) -> None:
    """And no page holds what stood there before."""
    with a_database("sqlite", tmp_path) as address:
        async with watched(address, tmp_path) as play:
            await play.give_notes()
            names = [str(row["item"]) for row in play.copies[-1].tables["sealed"] if row["kind"] == "note"]
            bodies = [bytes(row["body"]) for row in play.copies[-1].tables["sealed"] if row["kind"] == "note"]
            raw = (await play.loot()).raw
            assert all(name.encode() in raw for name in names)

            async def closed_alone(turn) -> None:  # type: ignore[no-untyped-def]
                await turn.act(await turn.round("r1"), Close(F))

            await play.team.house.engine.act("reveal", closed_alone)
            assert (tmp_path / "bot.db-wal").stat().st_size == 0
            raw = (await play.loot()).raw
            assert not [name for name in names if name.encode() in raw]
            assert not [body for body in bodies if body[40:200] in raw]


async def test_no_person_stands_beside_a_private_write(address: str, tmp_path: Path) -> None:
    """What came into the tables by it names nobody, whether it has gone out by then or not; its moment is a day."""
    async with watched(address, tmp_path) as play:
        await play.team.settle()
        before = await play.loot()
        play.team.clock.pass_by(timedelta(minutes=7))
        await play.says(PEOPLE[0], f"- retention: {GIVEN[PEOPLE[0]][0]}")
        await play.says(PEOPLE[0], DRAFT)
        for copy in play.copies:
            assert [r["changed_at"] for r in copy.tables["rounds"]] == [
                r["changed_at"] for r in before.tables["rounds"]
            ]
            for table in ("inbox", "outbox", "facts", "sealed", "posts", "due"):
                new = [row for row in copy.tables[table] if row not in before.tables[table]]
                assert thief(copy)._people_in(*(v for row in new for v in row.values())) == set(), table
        new = [row for row in play.copies[-1].tables["facts"] if row not in before.tables["facts"]]
        assert new and all(row["at"] % 86_400_000 == 0 for row in new)
        assert all(row["at"] % 86_400_000 == 0 for row in play.copies[-1].tables["inbox"])


async def test_who_was_reminded_is_told_by_no_row(address: str, tmp_path: Path) -> None:
    """Whoever was had given nothing by then, and whoever was not may have; the bot alone knows, and so reminds nobody
    too often."""
    async with watched(address, tmp_path) as play:
        await play.says(PEOPLE[0], f"- retention: {GIVEN[PEOPLE[0]][0]}")
        await play.team.press(PEOPLE[0], "step.done")
        await play.team.until(MONDAY + timedelta(hours=20))
        async with play.team.house.store.begin() as uow:
            sent = {person: await uow.nudges_since("room", person, MONDAY) for person in PEOPLE}
        assert [person for person, moments in sent.items() if not moments] == [PEOPLE[0]]
        copy = await play.loot()
        assert len(copy.tables["nudges"]) == len(PEOPLE) - 1
        assert thief(copy.without_keys()).reminded() == thief(copy, *play.copies).acted() == set()
        assert not [row for row in copy.tables["nudges"] if row["at"] % 86_400_000 or len(bytes(row["body"])) < 256]


async def test_reminders_of_an_earlier_release_are_hidden_at_the_start(address: str, tmp_path: Path) -> None:
    """And until then counted with the others."""
    async with watched(address, tmp_path) as play:
        store = play.team.house.store
        early, late = MONDAY + timedelta(minutes=1), MONDAY + timedelta(hours=5)
        async with store.begin() as uow:
            await uow.note_nudge("room", D, early)
        async with store.database.transaction() as db:
            for at in (late, late + timedelta(days=1)):
                await db.execute(t.nudges.insert().values(tenant="room", member=D, at=at))
        assert thief(await play.loot()).reminded() == {D}
        known = [early, late, late + timedelta(days=1)]
        for _ in range(2):
            async with store.begin() as uow:
                assert await uow.nudges_since("room", D, MONDAY) == known
                assert await uow.nudges_since("room", D, late) == known[1:]
            await store._hide_earlier()
        assert thief(await play.loot()).reminded() == set()
        async with store.begin() as uow:
            await uow.forget_member("room", D)
        assert (await play.loot()).tables["nudges"] == []


async def test_a_ballot_that_waits_to_be_read_names_nobody(address: str, tmp_path: Path) -> None:
    """While the platform cannot tell its emoji: in no table that came by it, though the row is there to be tried."""
    async with watched(address, tmp_path) as play:
        await reach(play.team, Step.BALLOT)
        round_ = await play.team.current()
        assert round_.progress.opens is not None
        await play.team.until(round_.progress.opens)
        before = await play.loot()
        play.team.house.room.faults.add("refuse", times=3, on=("reactions",))
        await play.team.press(PEOPLE[4], "ballot.lock")
        due = [row for row in (await play.loot()).tables["due"] if row not in before.tables["due"]]
        assert [row["kind"] for row in due] == ["lock"]
        assert thief(before)._people_in(*(v for row in due for v in row.values())) == set()
        await play.team.until(play.team.clock.now() + timedelta(minutes=10))
        assert PEOPLE[4] in (await play.team.current()).ballot.locked  # type: ignore[union-attr]


async def test_happenings_are_forgotten_after_thirty_days(address: str, tmp_path: Path) -> None:
    """And known again until then."""
    async with watched(address, tmp_path) as play:
        store = play.team.house.store
        async with store.begin() as uow:
            assert await uow.first_time("once", MONDAY)
        await store.tidy(MONDAY + timedelta(days=29))
        async with store.begin() as uow:
            assert not await uow.first_time("once", MONDAY + timedelta(days=29))
        await store.tidy(MONDAY + timedelta(days=32))
        async with store.begin() as uow:
            assert await uow.first_time("once", MONDAY + timedelta(days=32))


async def test_plans_have_new_names_and_no_author_once_the_round_has_ended(tmp_path: Path) -> None:
    """Until then their author stands sealed apart; afterwards nowhere, and its key is gone."""
    with a_database("sqlite", tmp_path) as address:
        async with watched(address, tmp_path) as play:
            round_ = await reach(play.team, Step.BALLOT)
            assert not {"p0", "p1", "p2"} & set(round_.plans) and all(p.author for p in round_.plans.values())
            assert b'"author":"' not in (await play.loot()).raw
            await play.team.act("cancel", Cancel(F, "No budget."))
            ended = await play.team.current()
            assert ended.step is Step.CANCELLED and not any(p.author for p in ended.plans.values())
            uses = await play.team.house.store.keys.uses()
            assert not {Covers.AUTHORSHIP, Covers.PLANS, Covers.NOTES} & {use.covers for use in uses}


# --- the thief is able ---


async def test_the_thief_finds_what_is_left_lying_about(tmp_path: Path) -> None:
    """Each way in names a writer where a row is put there by which it can."""
    with a_database("sqlite", tmp_path) as address:
        async with watched(address, tmp_path) as play:
            await play.give_notes()
            await play.reveal()
            note = next(iter((await play.team.current()).notes.values()))
            async with play.team.house.store.database.transaction() as db:
                await db.execute(t.inbox.insert().values(key=f"found/room/{D}/m17", at=MONDAY))
                record = f'{{"fact": "LateNoteSettled", "note": "{note.id}"}}'
                await db.execute(t.facts.insert().values(round_id="r1", at=MONDAY, record=record))
                due = {"kind": "take back", "subject": f"r1/late/{D}/{note.id}", "occurrence": "", "state": "todo"}
                await db.execute(t.due.insert().values(at=MONDAY, **due))
            found = thief(await play.loot()).named()
            assert found.keys() >= {"ids", "moments"}
            assert found["ids"] == found["moments"] == {(note.text, D)}
            line = {"author": D, "kind": "direct", "body": f"- retention: {note.text}", "at": 0}
            assert thief(replace(await play.loot(), room={"messages": [line]})).named()["room"] == {(note.text, D)}
            lines = [{"seq": n, "kind": "direct", "card": b""} for n in range(1, 8)]
            first, then = ({"messages": rows} for rows in (lines[:6], [{**lines[0], "card": b"other"}, *lines[1:]]))
            loot = await play.loot()
            assert thief(replace(loot, room=then), replace(loot, room=first)).acted() == {PEOPLE[0]}
            assert thief(replace(loot, room={"reads": [{"person": D}]})).reminded() == {D}
