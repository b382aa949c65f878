"""Beside a newer release on one database, as while replicas are replaced: what this one does not know it keeps and
leaves alone. What the newer wrote is put into the database by hand here."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select, update

from coldframe.clock import RandomIds
from coldframe.domain.names import LeverId, MemberId, NoteId, Side, Step
from coldframe.domain.people.facts import PersonForgotten
from coldframe.domain.state import Note
from coldframe.domain.trial.facts import MemberForgotten
from coldframe.engine.core.turn import InOneTurn
from coldframe.engine.engine import Engine
from coldframe.engine.uses import DUE
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import Place
from coldframe.ports.follow_through import RegisterEntry, Team
from coldframe.ports.storage import Due, Member, Send
from coldframe.store import newer, past, register
from coldframe.store import tables as t
from coldframe.store.round_keys import KEYS
from coldframe.store.sql import SqlStore
from coldframe.wiring import open_store
from tests.domain.play import EVERYBODY, Play, a_round
from tests.engine.databases import BOTH, a_database, claimed_send
from tests.engine.reaching import at_step
from tests.speech.trials import OWNER, a_trial

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
SECRET = b"a secret for tests, 32 bytes long"
ADA = EVERYBODY[0]
MORE = {"colour": "green", "parts": [{"id": "x", "by": str(ADA)}]}
TRIAL = a_trial(chances={OWNER: 40})
ENTRY = RegisterEntry(
    "t1", "room", "growth", "Spring", "retention", "Retention", "Call", "", "", "", "Ada", "reached", NOW
)


@pytest.fixture(params=BOTH)
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    with a_database(request.param, tmp_path) as url:
        yield url


@pytest.fixture
async def store(address: str) -> AsyncIterator[SqlStore]:
    async with opened(address) as one:
        yield one


@asynccontextmanager
async def opened(address: str) -> AsyncIterator[SqlStore]:
    """A replica of this release, which has seen nothing yet."""
    one = await open_store(address, SECRET, RandomIds())
    try:
        yield one
    finally:
        await one.close()


async def doc_of(store: SqlStore, table: Any) -> Any:
    async with store.database.looking() as db:
        return json.loads((await db.execute(select(table.c.doc))).scalar_one())


async def put(store: SqlStore, table: Any, **values: Any) -> None:
    """By the newer one, which counts a round's versions as this one does."""
    if table is t.rounds:
        values["version"] = t.rounds.c.version + 1
    async with store.database.transaction() as db:
        await db.execute(update(table).values(values))


# --- documents --------------------------------------------------------------------------------------------------------

NOTES = {NoteId("n1"): Note(NoteId("n1"), LeverId("retention"), Side.RESTRAINING, "bills surprise")}
REVEALED = replace(Play(a_round(6)).to(Step.FOCUS).round, notes=NOTES, revealed=tuple(NOTES))


async def with_a_round(store: SqlStore) -> None:
    """In which a newer release knows more of the whole, of a person, and of a note."""
    async with store.begin() as uow:
        await uow.add_round(REVEALED, NOW)
    doc = await doc_of(store, t.rounds)
    doc["mood"] = doc["seats"][ADA]["mood"] = doc["notes"]["n1"]["mood"] = MORE
    await put(store, t.rounds, doc=json.dumps(doc))


async def test_what_a_newer_release_knows_of_a_round_outlives_what_this_one_does_to_it(address: str) -> None:
    """Twice, and by another replica that read it meanwhile; what is changed, is."""
    async with opened(address) as first, opened_beside(first, address) as second:
        await with_a_round(first)
        for number, store in enumerate((first, second, first)):
            async with store.begin() as uow:
                before = await uow.round(REVEALED.id)
                assert before is not None
                reason = f"reason {number}"
                await uow.save_round(before, replace(before, focus_reason=reason), (), NOW)
            doc = await doc_of(store, t.rounds)
            assert doc["focus_reason"] == reason
            assert doc["mood"] == doc["seats"][ADA]["mood"] == doc["notes"]["n1"]["mood"] == MORE


@asynccontextmanager
async def opened_beside(first: SqlStore, address: str) -> AsyncIterator[SqlStore]:
    """Another replica; on a file, which one process has, the same one."""
    if first.database.dialect == "sqlite":
        yield first
        return
    async with opened(address) as second:
        yield second


async def test_who_is_forgotten_is_so_in_what_a_newer_release_wrote(store: SqlStore) -> None:
    """Whatever it says of whom, nobody here can tell, so it goes."""
    await with_a_round(store)
    async with store.begin() as uow:
        before = await uow.round(REVEALED.id)
        assert before is not None
        seats = {member: seat for member, seat in before.seats.items() if member != ADA}
        fact = PersonForgotten(ADA, MemberId("former-1"))
        await uow.save_round(before, replace(before, seats=seats), (fact,), NOW)
    assert "mood" not in json.dumps(await doc_of(store, t.rounds))


async def test_of_a_trial_too_what_all_know_and_what_is_private(store: SqlStore) -> None:
    """Each stays where the newer release put it: nothing private comes into the open document."""
    async with store.begin() as uow:
        await uow.add_trial(TRIAL, NOW)
        private = {**json.loads(await _opened_private(store, uow._db)), "doubts": MORE}
        body = await store._sealer.close(register._use(TRIAL), f"trial/{TRIAL.id}", json.dumps(private).encode())
        doc = {**json.loads((await uow._db.execute(select(t.trials.c.doc))).scalar_one()), "mood": MORE}
        await uow._db.execute(update(t.trials).values(doc=json.dumps(doc), private=body))
    async with store.begin() as uow:
        before = await uow.trial(TRIAL.id)
        assert before == TRIAL
        await uow.save_trial(replace(before, title="A shorter form"), (), NOW)
    doc = await doc_of(store, t.trials)
    assert (doc["title"], doc["mood"]) == ("A shorter form", MORE) and "doubts" not in doc
    async with store.begin() as uow:
        kept = json.loads(await _opened_private(store, uow._db))
        assert kept["doubts"] == MORE and kept["chances"] == {OWNER: 40}
        again = await uow.trial(TRIAL.id)
        assert again is not None
        await uow.save_trial(again, (MemberForgotten(OWNER, MemberId("former-1")),), NOW)
        await uow.save_trial(again, (), NOW)  # whoever it is by then leaves in the same turn
        assert "doubts" not in await _opened_private(store, uow._db)
    assert "mood" not in await doc_of(store, t.trials)


async def _opened_private(store: SqlStore, db: Any) -> str:
    body = (await db.execute(select(t.trials.c.private))).scalar_one()
    return store._sealer.open(f"trial/{TRIAL.id}", bytes(body)).decode()


async def test_of_people_teams_and_the_register_too(store: SqlStore) -> None:
    """And who is forgotten is named there no more."""
    tables: tuple[Any, ...] = (t.members, t.teams, t.register)
    async with store.begin() as uow:
        await uow.save_member(Member("room", "ben", "Ben", "UTC"))
        await uow.save_team(Team("room", "growth"))
        await uow.enter(ENTRY)
    for table in tables:
        await put(store, table, doc=json.dumps({**await doc_of(store, table), "mood": MORE}))
    async with store.begin() as uow:
        ben = await uow.member("room", "ben")
        assert ben is not None
        await uow.save_member(replace(ben, zone="Asia/Kolkata"))
        await uow.save_team(replace(await uow.team("room", "growth"), hour=10))
        await uow.enter(replace(ENTRY, learning="Calls are answered."))
    member, team, entry = [await doc_of(store, table) for table in tables]
    assert (member["zone"], team["hour"], entry["learning"]) == ("Asia/Kolkata", 10, "Calls are answered.")
    assert [doc["mood"] for doc in (member, team, entry)] == [MORE, MORE, MORE]
    async with store.begin() as uow:
        await uow.forget_member("room", ADA)
    assert ["mood" in await doc_of(store, table) for table in (t.teams, t.register)] == [False, False]


SIMPLE = st.recursive(
    st.none() | st.integers() | st.text(max_size=3),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("abc", max_size=2), inner, max_size=3),
    max_leaves=8,
)


@given(SIMPLE, SIMPLE)
def test_where_nothing_is_beside_what_is_written_is_what_is_known(known: Any, now: Any) -> None:
    assert newer.together(known, known, now) == now


@given(
    st.dictionaries(st.text("abc", max_size=2), SIMPLE), st.dictionaries(st.text("xyz", min_size=1, max_size=2), SIMPLE)
)
def test_what_is_beside_stays_whatever_becomes_of_the_rest(known: dict[str, Any], beside: dict[str, Any]) -> None:
    """Also deep inside, and in lists as long as a thing has its id."""
    now = {key: "another" for key in known}
    assert newer.together({**known, **beside}, known, now) == {**now, **beside}
    was, is_ = {"id": "a", "of": known}, {"id": "a", "of": now}
    stored = [{"id": "a", "of": {**known, **beside}}]
    assert newer.together(stored, [was], ["new", is_]) == ["new", {"id": "a", "of": {**now, **beside}}]
    assert newer.together(stored, [was], []) == []


# --- rows -------------------------------------------------------------------------------------------------------------


async def test_sealed_rows_and_keys_of_another_kind_stay_where_they_are(address: str) -> None:
    """The round is read without them, a start destroys none of them, and a change of the round leaves them."""
    written = {NoteId("n1"): replace(NOTES[NoteId("n1")], author=ADA)}
    open_ = replace(Play(a_round(6)).to(Step.NOTES).round, notes=written)
    async with opened(address) as store:
        async with store.begin() as uow:
            await uow.add_round(open_, NOW)
        await _with_sealed(store, open_)
        key = {"id": b"8 bytes!", "subject": "gone", "covers": "whispers", "which": "", "secret": b"s" * 32}
        async with store.keys.database.apart() as db:
            await db.execute(KEYS.insert().values(key))
    async with opened(address) as store:
        await past.destroy(store.database, store.keys, NOW)
        async with store.begin() as uow:
            round_ = await uow.round(open_.id)
            assert round_ is not None
            await uow.save_round(round_, replace(round_, notes={}), (), NOW)
        async with store.database.looking() as db:
            rows = (await db.execute(select(t.sealed.c.kind, t.sealed.c.item))).all()
        async with store.keys.database.looking() as db:
            covers = (await db.execute(select(KEYS.c.covers))).scalars().all()
    assert [tuple(row) for row in rows if row.kind == "whisper"] == [("whisper", "w1")] and "whispers" in covers


async def _with_sealed(store: SqlStore, round_: Any) -> None:
    async with store.begin() as uow:
        before = await uow.round(round_.id)
        assert before is not None
        row = {"round_id": round_.id, "kind": "whisper", "item": "w1", "body": b"by a key of its own"}
        await uow._db.execute(t.sealed.insert().values(row))
    await put(store, t.rounds)


async def test_what_only_a_newer_release_can_carry_out_is_left_for_it(tmp_path: Path) -> None:
    """The rest is done meanwhile, and a replica of the newer one finds it soon."""
    done: list[str] = []

    async def shines(turn: Any, due: Due) -> None:
        done.append(due.subject)

    async with at_step(tmp_path, NOW, Step.NOTES) as team:
        kit, now = team.house.kit, team.clock.now()
        async with kit.store.begin() as uow:
            await uow.set_due([Due("shine", "lamp", "1", now), Due("shine", "lamp", "2", now)])
        ordinary = Engine(kit, {**DUE, "sweep": InOneTurn(shines)})
        async with kit.store.begin() as uow:
            await uow.set_due([Due("sweep", "floor", "", now)])
        await ordinary.settle()
        assert done == ["floor"] and len(await team.dues("shine")) == 2
        team.clock.set(now + timedelta(seconds=3))
        await Engine(kit, {**DUE, "shine": InOneTurn(shines)}).settle()
        assert done == ["floor", "lamp", "lamp"] and await team.dues("shine") == []


async def test_a_message_that_only_a_newer_release_can_read_is_left_for_it(store: SqlStore) -> None:
    """Not set aside while replicas are replaced; an hour later it is, as nobody came who reads it."""
    send = Send("post", "a", Place("t", "channel", "growth"), Message(line("Hello")))
    async with store.begin() as uow:
        await uow.send([send, replace(send, name="b", place=Place("t", "channel", "sales"))], NOW)
    async with store.database.transaction() as db:
        plain = json.loads(store._seal.open("outbox", (await _body(db)).body))
        plain["message"]["blocks"] = [{"kind": "hologram", "of": "a lamp"}]
        body = store._seal.close("outbox", json.dumps(plain).encode())
        await db.execute(update(t.outbox).where(t.outbox.c.name == "a").values(body=body))
    first = await claimed_send(store, NOW)
    assert first is not None and first.send.name == "b"
    await store.drop_send(first)
    for minutes in range(0, 59, 2):
        assert await claimed_send(store, NOW + timedelta(minutes=minutes, seconds=1)) is None
    async with store.database.looking() as db:
        assert (await _body(db)).state == "todo"
    assert await claimed_send(store, NOW + timedelta(minutes=70)) is None
    async with store.database.looking() as db:
        assert (await _body(db)).state == "parked"


async def _body(db: Any) -> Any:
    return (await db.execute(select(t.outbox).where(t.outbox.c.name == "a"))).one()
