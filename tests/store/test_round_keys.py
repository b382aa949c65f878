"""Keys apart from the database: what is sealed with one opens no more once it is destroyed, in no older copy either;
whoever dies between two commits loses nothing and keeps nothing."""

from __future__ import annotations

import json
import shutil
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from pydantic import TypeAdapter
from sqlalchemy import select

from coldframe.clock import SeededIds
from coldframe.config import SettingsError, load
from coldframe.domain.names import LeverId, MemberId, NoteId, Side, Step
from coldframe.domain.state import Mark, Note, Plan, Round
from coldframe.examination import examine
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import Place
from coldframe.ports.held import Held
from coldframe.ports.keys import Covers, Key, Use
from coldframe.ports.storage import Done, Send
from coldframe.store import past
from coldframe.store import tables as t
from coldframe.store.database import open_database
from coldframe.store.migrate import upgrade
from coldframe.store.past import NoKeys
from coldframe.store.round_keys import KEYS, KeyPlace, default_place, open_keys
from coldframe.store.rounds import mark_body
from coldframe.store.sealing import CannotUnseal, KeyGone, Seal, key_of
from coldframe.store.sql import SqlStore
from coldframe.wiring import open_store, reading, seal_secret
from tests.domain.play import EVERYBODY, Play, a_round
from tests.engine.databases import BOTH, POSTGRES, a_database, a_file

SECRET = b"a secret for tests, 32 bytes long"
NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
NOTES = Use("r1", Covers.NOTES)


@pytest.fixture(params=BOTH)
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database with nothing in it, once for each kind."""
    with a_database(request.param, tmp_path) as url:
        yield url


def a_place(address: str) -> KeyPlace:
    return open_keys("", open_database(address))


async def with_notes(store: SqlStore) -> Round:
    """A round in which two people wrote a note each, as it is stored."""
    begun = Play(a_round(6)).to(Step.NOTES).round
    notes = {
        NoteId(f"n{n}"): Note(NoteId(f"n{n}"), LeverId("retention"), Side.RESTRAINING, f"words {n}", EVERYBODY[n])
        for n in (0, 1)
    }
    written = replace(begun, notes=notes)
    async with store.begin() as uow:
        await uow.add_round(begun, NOW)
        await uow.save_round(begun, written, (), NOW)
    return written


def at(round_: Round, step: Step) -> Round:
    """The round with its notes shown and unsigned."""
    shown = {i: replace(n, author=None) for i, n in round_.notes.items()}
    return replace(round_, step=step, notes=shown, revealed=tuple(shown))


async def test_a_key_is_made_once_and_found_again(address: str) -> None:
    """By two processes alike, and after a new start."""
    one, other = a_place(address), a_place(address)
    key = await one.of(NOTES)
    assert await other.of(NOTES) == key and await one.of(replace(NOTES, which="x")) != key
    made = await one.of(Use("r2", Covers.NOTES))
    assert other.at_hand(made.id) is None
    await other.find([made.id])
    assert other.at_hand(made.id) == made
    for place in (one, other):
        await place.database.close()
    again = a_place(address)
    assert await again.of(NOTES) == key
    await again.database.close()


async def test_a_destroyed_key_is_nowhere_and_another_opens_nothing(address: str) -> None:
    place = a_place(address)
    key, other = await place.of(NOTES), await place.of(Use("r2", Covers.NOTES))
    body = Seal(SECRET).close("row", b"words", key)
    assert Seal(SECRET).open("row", body, key) == b"words"
    await place.destroy([NOTES])
    assert place.at_hand(key.id) is None and await place.uses() == [Use("r2", Covers.NOTES)]
    made_anew = await place.of(NOTES)
    for wrong in (None, other, made_anew):
        with pytest.raises(KeyGone):
            Seal(SECRET).open("row", body, wrong)
    with pytest.raises(CannotUnseal):
        Seal(b"another secret for tests, 32 long").open("row", body, key)
    await place.destroy_all("r2")
    assert await place.uses() == [NOTES]
    await place.database.close()


async def test_the_file_of_keys_holds_no_destroyed_key_and_is_its_owners_alone(tmp_path: Path) -> None:
    """Neither in freed pages nor in its log, while the bot runs."""
    place = a_place(a_file(tmp_path))
    keys = [await place.of(Use("r1", Covers.LATE, str(n))) for n in range(200)]
    await place.destroy([key.use for key in keys[:150]])
    files = list(tmp_path.glob("bot.db-keys*"))
    raw = b"".join(file.read_bytes() for file in files)
    assert [key.use.which for key in keys[:150] if key.secret in raw or key.id in raw] == []
    assert all(key.secret in raw for key in keys[150:])
    assert {stat.S_IMODE(file.stat().st_mode) for file in files} == {0o600}
    await place.database.close()


def test_length_and_beginning_of_a_sealed_text_tell_nothing_of_it() -> None:
    """Texts of up to a page have one length; a longer one has one of a few."""
    key = _a_key()
    lengths = {len(Seal(SECRET).close("row", b"x" * n, key, 4096)) for n in (0, 1, 1000, 4092)}
    assert len(lengths) == 1
    longer = {len(Seal(SECRET).close("row", b"x" * n, key, 4096)) for n in (4093, 9000, 16380)}
    assert len(longer) == 1 and longer != lengths
    assert Seal(SECRET).open("row", Seal(SECRET).close("row", b"ends in\0\0", key), key) == b"ends in\0\0"
    assert key_of(Seal(SECRET).close("row", b"by the secret alone")) is None


def _a_key() -> Key:
    return Key(b"12345678", NOTES, b"k" * 32)


# --- a stop between the two commits ---


async def test_a_stop_between_the_keys_commit_and_the_texts_loses_nothing(address: str) -> None:
    """The key stands without a text; the next text uses it."""
    store = await open_store(address, SECRET, SeededIds(1))
    with pytest.raises(KeyboardInterrupt):
        async with store.begin() as uow:
            round_ = Play(a_round(6)).to(Step.NOTES).round
            await uow.add_round(round_, NOW)
            note = Note(NoteId("n1"), LeverId("retention"), Side.RESTRAINING, "words", EVERYBODY[0])
            await uow.save_round(round_, replace(round_, notes={note.id: note}), (), NOW)
            raise KeyboardInterrupt
    (use,) = [use for use in await store.keys.uses() if use.covers is Covers.NOTES]
    key = await store.keys.of(use)
    await store.close()
    again = await open_store(address, SECRET, SeededIds(2))
    written = await with_notes(again)
    await again.close()
    last = await open_store(address, SECRET, SeededIds(3))
    async with last.begin() as uow:
        assert await uow.round(written.id) == written
    assert use not in await last.keys.uses() or (await last.keys.of(use)) != key or use.subject == written.id
    await last.close()


async def test_a_stop_between_the_reveals_commit_and_the_keys_end_is_made_good_at_the_start(
    address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The key that was left is destroyed then; what everybody reads is there."""
    store = await open_store(address, SECRET, SeededIds(1))
    written = await with_notes(store)
    shown = at(written, Step.FOCUS)

    async def dies(_uses: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(store.keys, "destroy", dies)
    with pytest.raises(KeyboardInterrupt):
        async with store.begin() as uow:
            await uow.save_round(await uow.round(written.id) or written, shown, (), NOW)
    assert Use(written.id, Covers.NOTES) in await store.keys.uses()
    await store.close()
    again = await open_store(address, SECRET, SeededIds(2))
    assert Use(written.id, Covers.NOTES) not in await again.keys.uses()
    async with again.begin() as uow:
        assert await uow.round(written.id) == shown
    await again.close()


async def test_keys_end_with_what_they_cover(address: str) -> None:
    """At the reveal those of the notes, at the deletion of a round all of it; another round's stay."""
    store = await open_store(address, SECRET, SeededIds(1))
    written = await with_notes(store)
    await store.keys.of(Use("r9", Covers.NOTES))
    async with store.begin() as uow:
        await uow.save_round(await uow.round(written.id) or written, at(written, Step.FOCUS), (), NOW)
    covers = {use.covers for use in await store.keys.uses() if use.subject == written.id}
    assert Covers.NOTES not in covers
    await store.keys.of(Use(written.id, Covers.HELD))
    async with store.begin() as uow:
        await uow.delete_round(written.id)
    assert {use.subject for use in await store.keys.uses() if use.covers is not Covers.PLACES} == {"r9"}
    await store.close()


# --- the place is lost ---


async def test_a_round_goes_on_with_what_can_be_opened_and_the_doctor_says_what_is_lost(tmp_path: Path) -> None:
    """Without its place of keys a database starts, with a warning; the doctor names place, round and what to do."""
    address = a_file(tmp_path)
    store = await open_store(address, SECRET, SeededIds(1))
    written = await with_notes(store)
    await store.close()
    Path(f"{tmp_path}/bot.db-keys").unlink()
    again = await open_store(address, SECRET, SeededIds(2))
    async with again.begin() as uow:
        read = await uow.round(written.id)
        assert read == replace(written, notes={})
        note = replace(next(iter(written.notes.values())), id=NoteId("n9"), text="given again")
        await uow.save_round(read, replace(read, notes={note.id: note}), (), NOW)
    assert await past.keyless(again.database, again.keys) == {written.id: 2}
    await again.close()
    last = await open_store(address, SECRET, SeededIds(3))
    async with last.begin() as uow:
        read = await uow.round(written.id)
        assert read is not None and [n.text for n in read.notes.values()] == ["given again"]
    await last.close()


async def test_the_doctor_tells_a_missing_place_from_one_that_lacks_a_key(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is made by looking."""
    settings = load({"COLDFRAME_DATABASE": a_file(tmp_path), "COLDFRAME_SECRET": "a passphrase for tests"})
    store = await open_store(settings.database, seal_secret(settings), SeededIds(1))
    written = await with_notes(store)
    await store.close()
    place, aside = Path(f"{tmp_path}/bot.db-keys"), tmp_path / "aside"

    async def finding() -> tuple[str, str, str]:
        return next((s, d, r) for n, s, d, r in await examine(settings, "socket") if n == "place of keys")

    assert (await finding())[0] == "ok"
    place.rename(aside)
    state, detail, remedy = await finding()
    assert state == "broken" and "not the one" in detail and "COLDFRAME_KEYS" in remedy
    assert not place.exists()
    aside.rename(place)
    async with reading(settings) as look:
        assert await past.keyless(look.database, look.keys) == {}
    with closing(sqlite3.connect(place)) as keys, keys:
        keys.execute("delete from round_keys where covers = 'notes'")
    state, detail, _ = await finding()
    assert state == "warning" and f"round {written.id} (2 texts)" in detail


async def test_a_database_of_before_is_sealed_anew_with_its_next_change(address: str) -> None:
    """What was sealed by the secret alone opens, and after a change nothing of the round is."""
    store = await open_store(address, SECRET, SeededIds(1))
    play = Play(a_round(6)).to(Step.BALLOT)
    play.vote(play.members()[1], "p0", "p1")
    async with store.begin() as uow:
        await uow.add_round(play.begin, NOW)
        await uow.save_round(play.begin, play.round, (), NOW)
    await _seal_as_before(store, play.round)
    await store.close()
    again = await open_store(address, SECRET, SeededIds(2))
    async with again.begin() as uow:
        read = await uow.round(play.round.id)
        assert read == play.round
        await uow.save_round(read, replace(read, focus_reason="changed"), (), NOW)
    async with again.database.looking() as db:
        bodies = [row.body for table in (t.sealed, t.votes) for row in await db.execute(select(table.c.body))]
    assert bodies and all(key_of(body) for body in bodies)
    await again.close()
    last = await open_store(address, SECRET, SeededIds(3))
    async with last.begin() as uow:
        assert await uow.round(play.round.id) == replace(play.round, focus_reason="changed")
    await last.close()


async def _seal_as_before(store: SqlStore, round_: Round) -> None:
    """Its rows as a release without keys wrote them."""
    seal, ballot = Seal(SECRET), round_.ballot
    assert ballot is not None
    placed: TypeAdapter[tuple[int, Plan]] = TypeAdapter(tuple[int, Plan])
    plans = [
        {"round_id": round_.id, "kind": "plan", "item": i,
         "body": seal.close(f"{round_.id}/plan/{i}", placed.dump_json((n, p)))}
        for n, (i, p) in enumerate(round_.plans.items())
    ]  # fmt: skip
    votes = [
        {"round_id": round_.id, "ballot": "ballot", "voter": (tag := seal.tag(round_.id, "ballot", voter)), "slot": n,
         "quota": ballot.quota, "counts": n < ballot.quota,
         "body": seal.close(f"{round_.id}/ballot/{tag}/{n}", mark_body(voter, mark))}
        for voter, marks in ballot.marks.items() for n, mark in enumerate(marks)
    ]  # fmt: skip
    async with store.database.transaction() as db:
        doc = json.loads((await db.execute(select(t.rounds.c.doc))).scalar_one())
        doc["plans"], doc["ballot"]["locked"] = {}, sorted(ballot.locked)
        doc["progress"]["done"] = sorted(round_.progress.done)
        await db.execute(t.rounds.update().values(doc=json.dumps(doc)))
        await db.execute(t.sealed.delete().where(t.sealed.c.kind.in_(("plan", "author", "done", "locked"))))
        await db.execute(t.votes.delete().where(t.votes.c.ballot == "ballot"))
        await db.execute(t.sealed.insert(), plans)
        await db.execute(t.votes.insert(), votes)


# --- the setting ---


async def test_the_place_may_be_anywhere_else_but_in_the_database_file(tmp_path: Path) -> None:
    """Another file holds the keys, and no file beside the database is made; the database itself is refused."""
    address, other = a_file(tmp_path), f"sqlite:///{tmp_path / 'elsewhere' / 'keys.db'}"
    (tmp_path / "elsewhere").mkdir()
    store = await open_store(address, SECRET, SeededIds(1), keys=other)
    await with_notes(store)
    await store.close()
    assert (tmp_path / "elsewhere" / "keys.db").exists() and not Path(f"{tmp_path}/bot.db-keys").exists()
    with pytest.raises(SettingsError, match="COLDFRAME_KEYS: must be another file"):
        load({"COLDFRAME_DATABASE": address, "COLDFRAME_KEYS": address})
    with pytest.raises(NoKeys, match="COLDFRAME_KEYS"):
        await open_store(address, SECRET, SeededIds(1), keys=f"sqlite:///{tmp_path / 'missing' / 'keys.db'}")
    assert default_place(address) == f"{address}-keys"


@pytest.mark.postgres
async def test_a_server_keeps_them_in_a_table_of_its_own_or_in_a_file(tmp_path: Path) -> None:
    with a_database(POSTGRES, tmp_path) as address:
        store = await open_store(address, SECRET, SeededIds(1))
        await with_notes(store)
        async with store.database.looking() as db:
            assert (await db.execute(select(KEYS))).all()
        await store.close()
        aside = await open_store(address, SECRET, SeededIds(2), keys=f"sqlite:///{tmp_path / 'keys.db'}")
        assert (tmp_path / "keys.db").exists()
        await aside.close()


async def test_an_older_copy_opens_no_more_even_with_the_secret(tmp_path: Path) -> None:
    """A copy from before the reveal, with the keys that are left after it, holds no note for anybody."""
    address = a_file(tmp_path)
    store = await open_store(address, SECRET, SeededIds(1))
    written = await with_notes(store)
    async with store.database.looking() as db:
        before = (await db.execute(select(t.sealed).where(t.sealed.c.kind == "note"))).all()
    async with store.begin() as uow:
        await uow.save_round(await uow.round(written.id) or written, at(written, Step.FOCUS), (), NOW)
    await store.close()
    shutil.copy(tmp_path / "bot.db-keys", tmp_path / "left-keys")
    left = KeyPlace(open_database(f"sqlite:///{tmp_path / 'left-keys'}", read_only=True), read_only=True)
    await left.ready()
    assert len(before) == 2
    for row in before:
        key = left.at_hand(key_of(row.body) or b"")
        with pytest.raises(KeyGone):
            Seal(SECRET).open(f"{row.round_id}/{row.kind}/{row.item}", row.body, key)
    await left.close()


def test_keys_of_said_words_last_a_month_and_then_some() -> None:
    assert past.said(NOW).which == "2026-03"
    used = [past.said(NOW + timedelta(days=days)) for days in (-70, -31, 0)]
    assert [past._is_past(use, {}, {}, NOW) for use in used] == [True, False, False]
    assert MemberId("x") not in {use.subject for use in used}


async def test_a_key_stays_as_long_as_something_waits_that_it_seals(address: str) -> None:
    """Somebody is away for long: what is asked of them then is still there when they come back, and the key goes after
    it. [it went with its month, and the question with it]"""
    store = await open_store(address, SECRET, SeededIds(1))
    back, somebody = NOW + timedelta(days=120), Place("t", "direct", "ines")
    asked = Send("post", "p1/sign/ines/fear", somebody, Message(line("Shall I?")), use=past.said(NOW), held=Held(back))
    async with store.begin() as uow:
        await uow.send([asked], NOW)
    await store.tidy(NOW + timedelta(days=100))
    await store.close()
    store = await open_store(address, SECRET, SeededIds(2))
    (claimed,) = await store.claim_sends(back, 1)
    assert claimed.send.message == asked.message
    await store.sent([Done(claimed, "m1")])
    await store.tidy(back + timedelta(days=1))
    assert past.said(NOW) not in await store.keys.uses()
    await store.close()


async def test_a_vote_given_at_one_process_is_read_by_another_that_destroyed_its_key_before(address: str) -> None:
    """Votes were erased, with their key, since the step is opened again; another process had that key at hand, and must
    not seal by it what comes now."""
    there = [_of_its_own(address, number) for number in (1, 2)]
    await upgrade(there[0].database)
    voting = Play(a_round(6)).to(Step.DOTS).round
    ines, jon = EVERYBODY[4:6]
    async with there[0].begin() as uow:
        await uow.add_round(voting, NOW)
    await _votes(there[1], ines)
    async with there[0].begin() as uow:
        known = await uow.round(voting.id)
        assert known is not None and known.dots is not None and ines in known.dots.marks
        await uow.erase_votes(voting.id, "dots")
    await _votes(there[1], jon)
    for store in there:
        async with store.begin() as uow:
            known = await uow.round(voting.id)
        assert known is not None and known.dots is not None and known.dots.marks.keys() == {jon}
        await store.close()


def _of_its_own(address: str, number: int) -> SqlStore:
    """As a process has it."""
    ids = SeededIds(number)
    return SqlStore(open_database(address), Seal(SECRET), owner=f"p{number}", new_key=lambda: ids.new("k"))


async def _votes(store: SqlStore, person: MemberId) -> None:
    async with store.begin() as uow:
        before = await uow.round("r1")
        assert before is not None and before.dots is not None
        marks = {**before.dots.marks, person: (Mark("o1", "button"),)}
        await uow.save_round(before, replace(before, dots=replace(before.dots, marks=marks)), (), NOW)
