"""The store on SQLite and on PostgreSQL: one body of tests, the same promises."""

from __future__ import annotations

import random
from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError, StatementError

from coldframe.clock import SeededIds
from coldframe.domain.names import LeverId, MemberId, NoteId, PlanId, RoundId, Side, Step
from coldframe.domain.state import Choice, Ledger, Mark, Note, Roles, Round, Seat, Settings
from coldframe.message.nodes import Message, line
from coldframe.message.packed import MessageName, Occurrence
from coldframe.ports.chat import Place
from coldframe.ports.follow_through import Team
from coldframe.ports.keys import said
from coldframe.ports.storage import Done, Due, Member, RunningTrial, Send
from coldframe.store.database import open_database
from coldframe.store.migrate import SchemaTooNew, upgrade
from coldframe.store.rounds import mark_body, read_mark
from coldframe.store.sealing import Seal
from coldframe.store.sql import SqlStore
from coldframe.store.standing import listed
from coldframe.store.tables import metadata
from tests.demo.runs import play, scenario
from tests.engine.databases import BOTH, THE_SERVER_LATER, a_database, an_empty_database, claimed_send

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
SECRET = b"a secret for tests, 32 bytes long"


@pytest.fixture(params=BOTH)
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database with nothing in it, once for each kind."""
    with a_database(request.param, tmp_path) as url:
        yield url


@pytest.fixture(params=BOTH)
def empty(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database without a table, once for each kind."""
    with an_empty_database(request.param, tmp_path) as url:
        yield url


@pytest.fixture
async def store(address: str) -> AsyncIterator[SqlStore]:
    """A store at the newest schema."""
    opened = await opened_store(address)
    yield opened
    await opened.close()


async def opened_store(address: str, secret: bytes = SECRET, owner: str = "one") -> SqlStore:
    database = open_database(address)
    await upgrade(database)
    ids = SeededIds(len(owner))
    return SqlStore(database, Seal(secret), owner=owner, new_key=lambda: ids.new(owner))


def a_round(step: Step = Step.SETUP, **changes: Any) -> Round:
    people = [MemberId(m) for m in ("asa", "bo", "cleo")]
    roles = Roles(people[0], people[1], people[1], people[2])
    seats = {m: Seat(m, m.title()) for m in people}
    return Round(RoundId("r1"), "t", "growth", "Round", Settings("Why?"), seats, roles, 7, step=step, **changes)


def a_send(name: str, place: str = "growth", words: str = "hello", kind: Any = "post") -> Send:
    return Send(kind, name, Place("t", "channel", place), Message(line("{w}", w=words)))


async def test_a_happening_is_entered_once(store: SqlStore) -> None:
    """The same key a second time is known, also from another transaction."""
    async with store.begin() as uow:
        assert await uow.first_time("slack:1", NOW)
        assert not await uow.first_time("slack:1", NOW)
    async with store.begin() as uow:
        assert not await uow.first_time("slack:1", NOW)


async def test_an_exception_undoes_the_whole_turn(store: SqlStore) -> None:
    """State, outbox and due rows of a failed turn are gone together."""
    with pytest.raises(RuntimeError):
        async with store.begin() as uow:
            await uow.add_round(a_round(), NOW)
            await uow.send([a_send("a")], NOW)
            await uow.set_due([Due("close", "r1", "notes", NOW)])
            raise RuntimeError
    async with store.begin() as uow:
        assert await uow.round("r1") is None
    assert await claimed_send(store, NOW) is None
    assert await store.claim_due(NOW) is None


async def test_a_last_vote_taken_back_does_not_come_back_with_the_next_start(store: SqlStore, address: str) -> None:
    """Of who has no vote left nothing stands: neither for this process nor for one that reads the database anew."""
    asa, bo = MemberId("asa"), MemberId("bo")
    given = a_round(Step.DOTS, dots=Ledger(2, {asa: (Mark("f1", "🌱"),), bo: (Mark("f1", "🌱"), Mark("f2", "🌿"))}))
    left = a_round(Step.DOTS, dots=Ledger(2, {bo: (Mark("f2", "🌿"),)}))
    async with store.begin() as uow:
        await uow.add_round(a_round(Step.DOTS), NOW)
        await uow.save_round(a_round(Step.DOTS), given, (), NOW)
    async with store.begin() as uow:
        assert await uow.round("r1") == given
        await uow.save_round(given, left, (), NOW)
    again = await opened_store(address)
    for each in (store, again):
        async with each.begin() as uow:
            assert await uow.round("r1") == left
    await again.close()


async def test_the_quota_is_kept_by_the_database_itself(store: SqlStore) -> None:
    """A vote row beyond the quota cannot be written as one that counts."""
    ledger = Ledger(2, {MemberId("asa"): (Mark("f1", "a"), Mark("f1", "b"), Mark("f1", "c"))})
    async with store.begin() as uow:
        before = a_round(Step.DOTS)
        await uow.add_round(before, NOW)
        await uow.save_round(before, a_round(Step.DOTS, dots=ledger), (), NOW)
    with pytest.raises(IntegrityError):
        async with store.database.transaction() as db:
            await db.execute(text("UPDATE votes SET counts = :yes"), {"yes": True})
    async with store.begin() as uow:
        read = await uow.round("r1")
    assert read is not None and read.dots == ledger
    assert len(read.dots.counted(MemberId("asa"))) == 2


def test_a_vote_kept_by_a_short_name_is_read_as_the_emoji() -> None:
    """Votes of an earlier release hold short names; taken back or cast again by its emoji, each is the same vote."""
    body = mark_body("asa", Mark("f1", "+1"))
    assert read_mark(body) == ("asa", Mark("f1", "👍"))
    assert read_mark(mark_body("asa", Mark("f1", "button:2"))) == ("asa", Mark("f1", "button:2"))


async def test_two_trials_at_a_time_by_the_database_itself(store: SqlStore) -> None:
    """A third place does not exist."""
    trials = [RunningTrial(f"x{n}", "t", "growth", "asa", NOW, NOW) for n in range(3)]
    async with store.begin() as uow:
        for trial in trials[:2]:
            await uow.start_trial(trial)
    with pytest.raises(IntegrityError):
        async with store.begin() as uow:
            await uow.start_trial(trials[2])
    async with store.begin() as uow:
        assert len(await uow.running_trials("t", "growth")) == 2


async def test_a_conversation_is_sent_in_order_and_waits_for_its_oldest(store: SqlStore) -> None:
    """While the first send of a conversation waits for its retry, the second waits too; others go on."""
    async with store.begin() as uow:
        await uow.send([a_send("a"), a_send("b"), a_send("c", "other")], NOW)
    first = await claimed_send(store, NOW)
    assert first is not None and first.send.name == "a"
    await store.retry_send(first, NOW + timedelta(minutes=1), unknown=False)
    other = await claimed_send(store, NOW)
    assert other is not None and other.send.name == "c"
    assert await claimed_send(store, NOW) is None
    await store.sent([Done(other, "m1")])
    again = await claimed_send(store, NOW + timedelta(minutes=2))
    assert again is not None and again.send.name == "a" and again.tries == 1


async def test_the_next_moment_is_when_something_can_really_go_out(store: SqlStore) -> None:
    """A row behind one that waits for its retry does not make the moment now: nobody is woken for nothing."""
    later = NOW + timedelta(minutes=1)
    async with store.begin() as uow:
        await uow.send([a_send("a"), a_send("b")], NOW)
    assert (await store.waiting()).first == NOW
    first = await claimed_send(store, NOW)
    assert first is not None
    await store.retry_send(first, later, unknown=False)
    assert (await store.waiting()).first == later


async def test_a_revision_that_has_not_gone_out_is_replaced(store: SqlStore) -> None:
    """Only the newest state of a card is sent."""
    async with store.begin() as uow:
        await uow.send([a_send("card", words="old", kind="revise"), a_send("card", words="new", kind="revise")], NOW)
    queued = await claimed_send(store, NOW)
    assert queued is not None and queued.send.message == Message(line("{w}", w="new"))
    await store.sent([Done(queued, None)])
    assert await claimed_send(store, NOW) is None


async def test_a_name_that_was_given_free_is_anothers(store: SqlStore) -> None:
    """The message that had it stands where it is; one that has not gone out is not sent any more."""
    async with store.begin() as uow:
        await uow.send([a_send("r1/card/dots"), a_send("r1/card/merge")], NOW)
    (first,) = [q for q in await store.claim_sends(NOW) if q.send.name == "r1/card/dots"]
    await store.sent([Done(first, "m1")])
    async with store.begin() as uow:
        await uow.free_names(["r1/card/dots", "r1/card/merge"])
    async with store.begin() as uow:
        assert not await uow.knows_message("r1/card/dots")
        assert await uow.posted("r1/card/dots") is None
        await uow.send([a_send("r1/card/dots", words="anew")], NOW)
        assert await uow.knows_message("r1/card/dots")


async def test_a_claim_lost_in_a_crash_comes_back_as_unknown(store: SqlStore) -> None:
    """After the lease another worker takes the send over, knowing that it may have gone out."""
    async with store.begin() as uow:
        await uow.send([a_send("a")], NOW)
    assert await claimed_send(store, NOW) is not None
    assert await claimed_send(store, NOW + timedelta(seconds=30)) is None
    again = await claimed_send(store, NOW + timedelta(seconds=61))
    assert again is not None and again.state == "unknown"


async def test_a_due_row_is_claimed_once_and_moves_when_set_again(store: SqlStore) -> None:
    """Setting the same occurrence moves it; a claim holds for its lease; finishing ends it."""
    async with store.begin() as uow:
        await uow.set_due([Due("close", "r1", "notes", NOW + timedelta(hours=1))])
        await uow.set_due([Due("close", "r1", "notes", NOW)])
    due = await store.claim_due(NOW)
    assert due == Due("close", "r1", "notes", NOW)
    assert await store.claim_due(NOW) is None
    assert await store.claim_due(NOW + timedelta(seconds=61)) == due
    await store.finish_due(due)
    assert (await store.waiting()).first is None


async def test_a_round_that_is_read_again_has_everything_in_the_order_in_which_it_was_given(
    store: SqlStore, address: str
) -> None:
    """People's own lists and the order of choices look the same after a restart, whatever the ids are."""
    ids = [NoteId(i) for i in ("n9", "n1", "n5")]
    asa = MemberId("asa")
    notes = {i: Note(i, LeverId("retention"), Side.RESTRAINING, f"Text of {i}", asa) for i in ids}
    choices = {PlanId(p): Choice(PlanId(p)) for p in ("p2", "p1")}
    round_ = a_round(Step.NOTES, notes=notes, choices=choices)
    async with store.begin() as uow:
        await uow.add_round(a_round(), NOW)
        before = await uow.round("r1")
        assert before is not None
        await uow.save_round(before, round_, (), NOW)
    again = await opened_store(address, owner="two")
    async with again.begin() as uow:
        read = await uow.round("r1")
    await again.close()
    assert read is not None
    assert (list(read.notes), list(read.choices)) == (ids, ["p2", "p1"])


async def test_a_note_that_is_taken_back_leaves_the_others_as_they_are_sealed(store: SqlStore, address: str) -> None:
    """Those behind it are not written anew, and who reads them with the gap, and adds to them, finds their order."""

    def note(i: str) -> dict[NoteId, Note]:
        return {NoteId(i): Note(NoteId(i), LeverId("retention"), Side.RESTRAINING, f"Text of {i}", MemberId("asa"))}

    async def saved(by: SqlStore, notes: dict[NoteId, Note]) -> list[Any]:
        async with by.begin() as uow:
            before = await uow.round("r1")
            assert before is not None
            await uow.save_round(before, a_round(Step.NOTES, notes=notes), (), NOW)
        async with by.database.transaction() as db:
            return [row.body for row in await db.execute(text("select body from sealed"))]

    async with store.begin() as uow:
        await uow.add_round(a_round(Step.NOTES), NOW)
    three = await saved(store, note("n9") | note("n1") | note("n5"))
    assert [body for body in await saved(store, note("n1") | note("n5")) if body not in three] == []
    again = await opened_store(address, owner="two")
    await saved(again, note("n1") | note("n5") | note("n3"))
    await again.close()
    third = await opened_store(address, owner="three")
    async with third.begin() as uow:
        read = await uow.round("r1")
    await third.close()
    assert read is not None
    assert list(read.notes) == ["n1", "n5", "n3"]


async def test_sealed_text_does_not_open_with_another_secret(address: str, tmp_path: Path) -> None:
    """Opened with the wrong secret nothing is claimed and nothing lost: with the right one it goes."""
    first = await opened_store(address)
    async with first.begin() as uow:
        await uow.send([a_send("a", words="private words")], NOW)
    await first.close()
    second = await opened_store(address, secret=b"quite another secret of 32 bytes")
    assert await claimed_send(second, NOW) is None
    (row,) = await listed(second.database, second.sends)
    assert (row.state, row.why) == ("held up", "unreadable (CannotUnseal)")
    await second.close()
    third = await opened_store(address)
    found = await claimed_send(third, NOW + timedelta(minutes=1))
    assert found is not None and found.send == a_send("a", words="private words")
    await third.close()


async def test_the_clock_never_runs_below_the_highest_time_seen(store: SqlStore) -> None:
    """A clock that was set back is answered with the highest time seen."""
    assert await store.see_time(NOW) == NOW
    assert await store.see_time(NOW - timedelta(hours=1)) == NOW
    assert await store.see_time(NOW + timedelta(hours=1)) == NOW + timedelta(hours=1)


async def test_upgrading_twice_changes_nothing_and_a_newer_schema_is_refused(empty: str) -> None:
    """The migrations run once; a database of a newer release is refused by name."""
    database = open_database(empty)
    await upgrade(database)
    await upgrade(database)
    async with database.transaction() as db:
        await db.execute(text("UPDATE alembic_version SET version_num = 'from_the_future'"))
    with pytest.raises(SchemaTooNew, match="from_the_future"):
        await upgrade(database)
    await database.close()


async def test_migrations_build_what_the_tables_declare(empty: str) -> None:
    """The schema that the revisions build differs in nothing from the declared tables (search indexes apart; SQLite
    holds no column to its type)."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    database = open_database(empty)
    await upgrade(database)
    opts = {"include_name": _ours, "compare_type": database.dialect != "sqlite"}
    found = await database.run(lambda c: compare_metadata(MigrationContext.configure(c, opts=opts), metadata))
    await database.close()
    assert [d for d in found if "register_words" not in str(d)] == []


def _ours(name: str | None, kind: str, _parents: Any) -> bool:
    return not (
        kind == "table" and name is not None and (name.startswith("register_words") or name == "alembic_version")
    )


@pytest.mark.parametrize("address", THE_SERVER_LATER[1:], indirect=True)  # on a file the demo's tests play it
async def test_a_whole_round_runs_on_the_database(address: str, tmp_path: Path) -> None:
    """Three people go from setup to commitment on PostgreSQL."""
    played = await play(scenario("three-people"), tmp_path, database=address)
    assert played.round is not None
    assert played.round.step is Step.COMMITTED


async def test_a_round_that_somebody_else_changed_is_not_written_over(store: SqlStore) -> None:
    """A save on an older version fails as a whole; the newer state stands."""
    async with store.begin() as uow:
        await uow.add_round(a_round(), NOW)
    with pytest.raises(RuntimeError, match="changed by somebody else"):
        async with store.begin() as uow:
            before = await uow.round("r1")
            assert before is not None
            await uow._db.execute(text("UPDATE rounds SET version = version + 1"))
            await uow.save_round(before, a_round(Step.NOTES), (), NOW)
    async with store.begin() as uow:
        assert (await uow.step_of("r1")) is Step.SETUP


async def test_what_another_process_saved_is_read_anew(address: str) -> None:
    """What this process remembers of a round gives way as soon as its version is older."""
    one, two = await opened_store(address), await opened_store(address, owner="two")
    async with one.begin() as uow:
        await uow.add_round(a_round(), NOW)
    for store, step in ((two, Step.NOTES), (one, Step.FOCUS), (two, Step.MERGE)):
        async with store.begin() as uow:
            before = await uow.round("r1")
            assert before is not None
            await uow.save_round(before, a_round(step), (), NOW)
    for store in (one, two):
        async with store.begin() as uow:
            found = await uow.round("r1")
        assert found is not None and found.step is Step.MERGE
        await store.close()


async def test_a_failed_turn_leaves_nothing_remembered(store: SqlStore) -> None:
    """A round that was saved in a transaction that failed reads as it was before."""
    async with store.begin() as uow:
        await uow.add_round(a_round(), NOW)
    with pytest.raises(ZeroDivisionError):
        async with store.begin() as uow:
            before = await uow.round("r1")
            assert before is not None
            await uow.save_round(before, a_round(Step.NOTES), (), NOW)
            raise ZeroDivisionError
    async with store.begin() as uow:
        assert await uow.round("r1") == a_round()


async def test_sealed_text_is_not_in_the_database(store: SqlStore, address: str) -> None:
    """Notes before the reveal, and what waits to be sent, stand in no column of any table in plain words."""
    note = Note(NoteId("n1"), LeverId("retention"), Side.RESTRAINING, "canary in the note", MemberId("asa"))
    ledger = Ledger(3, {MemberId("asa"): (Mark("canary-option", "🌿"),)})
    async with store.begin() as uow:
        before = a_round(Step.DOTS)
        await uow.add_round(before, NOW)
        await uow.save_round(before, replace(before, notes={note.id: note}, dots=ledger), (), NOW)
        await uow.send([a_send("a", words="canary in the outbox")], NOW)
    database = open_database(address)
    async with database.looking() as db:
        for table in metadata.sorted_tables:
            for row in await db.execute(table.select()):
                assert "canary" not in repr(tuple(row)), table.name
    await database.close()
    async with store.begin() as uow:
        read = await uow.round("r1")
    assert read is not None and read.notes[note.id] == note and read.dots == ledger


async def test_a_moment_without_a_zone_is_refused(store: SqlStore) -> None:
    """Nothing is stored that could mean several moments."""
    with pytest.raises(StatementError, match="without a zone"):
        async with store.begin() as uow:
            await uow.set_due([Due("close", "r1", "notes", NOW.replace(tzinfo=None))])


def an_id(seed: int) -> str:
    """255 signs in no order, most of which take three where ids are packed."""
    return "".join(random.Random(seed).choices("/|% a", (9, 9, 9, 1, 1), k=255))


async def test_the_longest_ids_fit_everywhere(store: SqlStore) -> None:
    """Ids of 255 signs that must be escaped are kept and found: in rounds, names, keys, due rows, teams."""
    tenant, channel, person = an_id(1), an_id(2), MemberId(an_id(3))
    name = MessageName(an_id(4), "option", (person, tenant)).pack()
    due = Due("trial word", Occurrence((tenant, person)).pack(), Occurrence((person, "unanswered", "1")).pack(), NOW)
    roles = Roles(person, None, person, None)
    round_ = replace(a_round(), tenant=tenant, channel=channel, seats={person: Seat(person, "Asa")}, roles=roles)
    kept = replace(round_, step=Step.DOTS, comparisons={person: ()}, dots=Ledger(1, {person: (Mark("f1", "a"),)}))
    place = Place(tenant, "direct", channel, an_id(5))
    async with store.begin() as uow:
        assert await uow.first_time(f"{tenant}/{channel}/{person}", NOW)
        await uow.add_round(round_, NOW)
        await uow.save_round(round_, kept, (), NOW)
        await uow.send([Send("post", name, place, Message(line("hello")), round_id="r1")], NOW)
        await uow.set_due([due])
        await uow.save_member(Member(tenant, person, "Asa"))
        await uow.note_nudge(tenant, person, NOW)
        await uow.start_trial(RunningTrial("x", tenant, channel, person, NOW, NOW))
        await uow.save_team(Team(tenant, channel))
    queued = await claimed_send(store, NOW)
    assert queued is not None
    await store.sent([Done(queued, an_id(6))])
    assert await store.claim_due(NOW) == due
    async with store.begin() as uow:
        assert await uow.round("r1") == kept
        posted = await uow.posted(name)
        assert posted is not None and await uow.posted_as(place, an_id(6)) == posted
        assert [t.owner for t in await uow.running_trials(tenant, channel)] == [person]
        assert await uow.teams_of(tenant, person) == [channel]


async def test_a_place_of_acts_alone_is_known_by_its_seal(store: SqlStore) -> None:
    """Somebody without a seat, of whom nothing stands in clear: a restored copy looks there as well."""
    place = Place("t", "direct", "dora")
    async with store.begin() as uow:
        name = MessageName("people", "say", ("dora", "x")).pack()
        await uow.send([Send("post", name, place, Message(line("Noted.")), use=said(NOW))], NOW)
    claimed = await claimed_send(store, NOW)
    assert claimed is not None
    await store.sent([Done(claimed, "m1")])
    async with store.begin() as uow:
        assert await uow.conversations() == [place]
