"""What the room's files show to somebody who has them: nothing private before it is out, and nobody's name after."""

from __future__ import annotations

import shutil
import sqlite3
import stat
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from coldframe.chat.room import acts, rows
from coldframe.chat.room.log import CLEARED, Log
from coldframe.chat.room.sealing import unlocked
from coldframe.message.nodes import Button, Buttons, Field, Form, Message, Paragraph, TextFile, line, plain
from coldframe.ports import chat as ports
from coldframe.ports.chat import IncomingFile, Reply
from coldframe.ports.clearing import Kept
from tests.chat.room.conftest import START, World
from tests.chat.room.earlier_files import AT, MESSAGE, made
from tests.chat.room.keys import NOW, KeysAtHand, open_log
from tests.secrecy.loot import room_rows
from tests.secrecy.thief import named_beside_private_rows

CANARIES = [f"canary-{what}" for what in ("line", "card", "file", "name", "note", "form", "page", "act", "thread")]
LATER = timedelta(hours=1)


def card(text: str) -> Message:
    return Message(line(text), (Paragraph(line(text)), Buttons((Button("Do it", "thing.do", text),))))


def form(text: str) -> Form:
    return Form("A form", "note.write", "n1", (Field("text", "Text", initial=text),))


async def private_things(world: World) -> dict[str, str]:
    """One of everything that is private, all of Ada's; the ids of what stands in her direct messages."""
    room, ada = world.room, world.room.direct("ada")
    ids = {"card": await room.post(ada, card("canary-card"), key="k-card")}
    ids["line"] = await room.say("ada", ada, "canary-line")
    ids["thread"] = await room.say("ada", ada, "canary-thread", thread=ids["card"])
    ids["file"] = await room.say("ada", ada, "", files=[IncomingFile("canary-name.csv", 11, b"canary-file")])
    await room.react_as("ada", ids["card"], "🦜")
    await room.home("room", "ada", card("canary-page"))
    world.door.replies = [Reply(note=card("canary-note"), form=form("canary-form"))]
    await room.command("ada", ada, "show")
    world.door.broken = True
    await room.command("ada", ada, "canary-act")
    world.door.broken = False
    return ids


def raw(world: World) -> bytes:
    return b"".join(p.read_bytes() for p in sorted(Path(world.path).parent.glob("room.db*")))


def opened(log: Log) -> str:
    """All that can be read with the key."""
    people = [person.id for person in log.people()]
    found: list[object] = [log.open_acts(), *map(log.home, people), *map(log.forms, people)]
    found += [note.message for person in people for note in log.notes(person)]
    for record in log.messages():
        found += [record, record.text, record.message, *(log.file(file.id) for file in record.files)]
    return "\n".join(map(str, found))


async def test_nothing_private_stands_in_clear(world: World) -> None:
    """Not in the file, nor in its log of writes: no text, no name of a file, no emoji, no writer, no moment."""
    await private_things(world)
    assert [canary for canary in CANARIES if canary not in opened(world.room.log)] == [], "else nothing is looked for"
    found = raw(world)
    assert [canary for canary in CANARIES if canary.encode() in found] == []
    assert "🦜".encode() not in found and b"k-card" not in found
    columns = world.room.log._rows("select distinct thread, author, at, body, edited, gone from messages")
    assert columns == [(None, "", "", None, 0, 0)]
    assert world.room.log._rows("select distinct person, kind, root, at, sort from acts") == [("", "", "", "", "")]


async def test_no_row_tells_whose_it_is_nor_when_it_came(world: World) -> None:
    """Of messages that came in turn the rows lie as it falls, other ones in each chapter; what is revised, read or
    opened shows nobody's name."""
    room, people = world.room, ("ada", "ben")
    posted = [await room.post(room.direct(p), card(f"{n}"), key=f"{p}{n}") for n in range(8) for p in people]
    await private_things(world)
    room.mark_read("ada", room.direct("ada"), posted[-2])
    room.log.seal_key("ada", "step")
    numbers = room.log._rows("select seq, revision, root, key from messages where kind = 'direct' order by seq desc")
    came = [room.log._directs().seq(row[0]) for row in numbers]
    assert came != sorted(came) and len(set(came)) == len(came) == 8 * 2 + 4
    assert all(revision == row < 0 and (root, key) == ("", None) for row, revision, root, key in numbers)
    assert named_beside_private_rows(room_rows(Path(world.path)), people) == set()
    await room.clear("room", {"ben": Kept(START - LATER)})
    again = {row for (row,) in room.log._rows("select seq from messages where kind = 'direct'")}
    assert len(again) == len(came) and again.isdisjoint(row[0] for row in numbers)
    assert [r.id for r in room.messages(room.direct("ada"))][:8] == posted[::2]


async def test_an_emoji_changes_no_row_of_what_it_stands_under(world: World) -> None:
    """Of two copies of the file the difference tells no option."""
    options = [await world.room.post(world.room.direct("ada"), card(f"Option {n}"), key=f"k{n}") for n in range(3)]
    before, known = world.room.log._rows("select * from messages"), world.room.log.revision()
    await world.room.react_as("ada", options[1], "🦜")
    assert world.room.log._rows("select * from messages") == before
    assert [len(r.reactions) for r in world.room.messages(world.room.direct("ada"))] == [0, 1, 0]
    assert [r.id for r in world.room.all_messages(above=known)] == [options[1]]


async def test_what_is_over_is_gone_and_what_is_needed_stays(world: World) -> None:
    """Lines, answers, passing words and pages go; the bot's messages that are kept, what came later, an act that was
    not taken yet, other people's messages and the channel's stay. One line says so."""
    ids = await private_things(world)
    room, channel = world.room, world.room.channel("growth")
    bens = await room.say("ben", room.direct("ben"), "of ben")
    said = await room.say("ada", channel, "for all")
    world.clock.moment += LATER
    later = await room.say("ada", room.direct("ada"), "later")
    await room.clear("room", {"ada": Kept(START, frozenset({ids["card"]}))})
    standing = room.messages(room.direct("ada"))
    assert [r.id for r in standing][:2] == [ids["card"], later]
    assert [plain(r.message.summary) for r in standing[2:] if r.message] == [
        "I've deleted what we wrote here, as its step is over. Nothing here shows any more what was yours."
    ]
    assert [(r.person, r.emoji) for r in standing[0].reactions] == [("ada", "🦜")]
    assert room.message(bens).text == "of ben" and room.message(said).text == "for all"
    assert room.notes("ada") == () and room.log.home("ada") is None
    assert await room.redeliver() == 1
    assert isinstance(what := world.door.events[-1].what, ports.Commanded) and what.text == "canary-act"
    gone = [c for c in CANARIES if c != "canary-card"]
    assert [canary for canary in gone if canary in opened(room.log)] == []


async def test_a_second_end_leaves_one_line_and_an_empty_one_none(world: World) -> None:
    room, ada = world.room, world.room.direct("ada")
    await room.clear("room", {"ada": Kept(START)})
    assert room.messages(ada) == ()
    for _ in range(2):
        await room.say("ada", ada, "a line")
        await room.clear("room", {"ada": Kept(world.clock.moment)})
        world.clock.moment += LATER
    before = room.messages(ada)
    await room.clear("room", {"ada": Kept(world.clock.moment)})
    assert [r.key for r in before] == [CLEARED] and room.messages(ada) == before


async def test_no_number_is_given_twice(world: World) -> None:
    """The bot knows messages by their numbers: none may come to mean another one, nor a file."""
    room, ada = world.room, world.room.direct("ada")
    first = await room.say("ada", ada, "", files=[IncomingFile("a.txt", 1, b"a")])
    file = room.message(first).files[0].id
    await room.clear("room", {"ada": Kept(START)})
    second = await room.upload(ada, TextFile("b.txt", "B", "b"), key="k1")
    assert second > first and room.message(second).files[0].id > file
    world.keys.known.clear()
    world.restart()
    third = await world.room.say("ada", ada, "again")
    assert third > second


async def test_deleted_lines_stand_in_no_page_and_no_log_of_writes(world: World) -> None:
    """Not even sealed: secure deletion empties pages, and the log of writes is cut off."""
    await private_things(world)
    sealed = [row[0] for row in world.room.log._rows("select card from messages")]
    assert all(body in raw(world) for body in sealed)
    await world.room.clear("room", {"ada": Kept(START)})
    assert [body for body in sealed if body[-64:] in raw(world)] == []
    assert Path(f"{world.path}-wal").stat().st_size == 0


async def test_no_older_copy_opens_any_more(world: World, tmp_path: Path) -> None:
    """With every key that there is after the end, a copy from before shows nothing; with that time's key it does."""
    await private_things(world)
    then = KeysAtHand(dict(world.keys.known))
    shutil.copytree(Path(world.path).parent, tmp_path / "copy")
    copy = str(tmp_path / "copy" / "room.db")
    await world.room.clear("room", {"ada": Kept(START)})
    assert world.keys.known.keys().isdisjoint(then.known)
    shutil.copy(copy, tmp_path / "with-key.db")
    shutil.copy(f"{copy}-wal", tmp_path / "with-key.db-wal")
    whole = open_log(str(tmp_path / "with-key.db"), then)
    assert "canary-line" in opened(whole)
    whole.close()
    found = open_log(copy, world.keys)
    assert [canary for canary in CANARIES if canary in opened(found)] == []
    assert ["its key is gone" in str(r.message) for r in found.messages(world.room.direct("ada"))] == [True]
    found.close()


async def test_a_form_that_is_open_can_still_be_sent_and_holds_nothing_any_more(world: World) -> None:
    """Nobody's typing is lost: the bot answers it as it answers any form whose step is over."""
    await private_things(world)
    await world.room.clear("room", {"ada": Kept(START)})
    (left,) = world.room.log.forms("ada")
    assert [field.initial for field in left.fields] == [""]
    await world.room.submit("ada", "note.write", "n1", {"text": "typed"})
    assert isinstance(what := world.door.events[-1].what, ports.Submitted) and what.fields == {"text": "typed"}
    assert world.room.log.forms("ada") == ()


async def test_what_a_crash_leaves_of_keys_is_destroyed_at_the_next_start(world: World) -> None:
    """A key that was begun and seals nothing, and one whose chapter is over."""
    await private_things(world)
    now = world.room.log.chapter
    world.keys.next()
    world.room.log.close()
    log = Log(world.path)
    await unlocked(log, world.keys, START)
    assert world.keys.known.keys() == {now} and "canary-line" in opened(log)
    log.close()
    world.room.log = open_log(world.path, world.keys)


async def test_lines_that_cannot_be_read_any_more_are_not_taken_for_deleted(world: World) -> None:
    """Who asks for them, since a note was made of them, hears that they cannot be read; the note must stay."""
    room, ada = world.room, world.room.direct("ada")
    said = await room.say("ada", ada, "of a note")
    world.keys.known.clear()
    world.restart()
    with pytest.raises(ports.NotDelivered):
        await world.room.written(ada, START, {said})
    later = await world.room.say("ada", ada, "since then")
    await world.room.erase("ada", later)
    assert await world.room.written(ada, START, {later}) == ()


async def test_an_end_that_fails_changes_nothing(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """The key before stays, and all can be read as it was."""
    await private_things(world)
    before, chapter = opened(world.room.log), world.room.log.chapter
    with monkeypatch.context() as patched, pytest.raises(ZeroDivisionError):
        patched.setattr(Log, "_seal_anew", lambda *_: 1 / 0)
        await world.room.clear("room", {"ada": Kept(START)})
    assert world.room.log.chapter == chapter and opened(world.room.log) == before
    world.restart()
    assert opened(world.room.log) == before


async def test_who_has_read_all_has_read_the_line_too(world: World) -> None:
    """Nobody is called back for a deletion."""
    room, ada, ben = world.room, world.room.direct("ada"), world.room.direct("ben")
    for person, place in (("ada", ada), ("ben", ben)):
        await room.say(person, place, "one")
        last = await room.post(place, card("two"), key=f"k-{person}")
        if person == "ada":
            room.mark_read("ada", ada, last)
    await room.clear("room", {person: Kept(START) for person in ("ada", "ben")})
    assert room.log.reads("ada")[("direct", "ada")] == room.messages(ada)[-1].id
    assert room.log.reads("ben") == {}


async def test_files_are_their_owners_alone(world: World) -> None:
    await private_things(world)
    await world.room.clear("room", {"ada": Kept(START)})
    found = {p.name: stat.S_IMODE(p.stat().st_mode) for p in Path(world.path).parent.glob("room.db*")}
    assert set(found.values()) == {0o600} and len(found) >= 2


# --- files of earlier versions ---


@pytest.fixture
def earlier(tmp_path: Path) -> Iterator[Path]:
    """A file of the version that kept everything in clear, with one of everything in it."""
    path = tmp_path / "room.db"
    body = rows.CARD.dump_json(card("canary-card"))
    made(
        str(path),
        2,
        (MESSAGE, (1, "direct", "ada", None, "coldframe", AT, 1, None, body, "k-card")),
        (MESSAGE, (2, "direct", "ada", "m000001", "ada", AT, 2, "canary-line", None, "said:room:ada:k")),
        (MESSAGE, (3, "channel", "growth", None, "ben", AT, 3, "for all", None, "said:room:ben:k")),
        ("insert into reactions values (1, 'ada', '🦜'), (3, 'ada', '👍')", ()),
        ("insert into files values (4, 2, 'canary-name', 'text/plain', ?, '', '')", (b"canary-file",)),
        ("insert into notes values (1, 'ada', 'direct', 'ada', null, ?, ?)", (AT, body)),
        (
            "insert into forms values ('ada', 'note.write', 'n1', 'direct', 'ada', null, ?, 'room:ada:f')",
            (rows.FORM.dump_json(form("canary-form")),),
        ),
        ("update people set home = ? where id = 'ada'", (body,)),
        ("insert into acts values (1, 'room:ada:k', 'ada', 'direct', 'ada', null, ?, 'Said', null, 1)", (AT,)),
        (
            "insert into acts values (2, 'room:ada:l', 'ada', 'direct', 'ada', null, ?, ?, ?, 0)",
            (AT, *acts.written(ports.Commanded("canary-act"))),
        ),
    )
    yield path


def test_a_file_that_kept_everything_in_clear_goes_on_sealed(earlier: Path) -> None:
    """All of it is there, and none of it stands in a page any more, freed ones included."""
    keys = KeysAtHand()
    assert b"canary-line" in earlier.read_bytes()
    log = open_log(str(earlier), keys)
    found = b"".join(p.read_bytes() for p in earlier.parent.glob("room.db*"))
    assert [c for c in CANARIES if c.encode() in found] == [] and b"room:ada" not in found
    first, second, third = log.messages()
    assert plain(first.message.summary if first.message else ()) == "canary-card"
    assert (second.text, second.author, second.place.thread) == ("canary-line", "ada", "m000001")
    assert [[r.emoji for r in record.reactions] for record in (first, second, third)] == [["🦜"], [], ["👍"]]
    assert (file := log.file("f000004")) is not None and file[0].name == "canary-name" and file[2] == b"canary-file"
    assert log.by_key("said:room:ada:k") == second and log.by_key("k-card") == first
    assert log.is_done("room:ada:k") and log.act("room:ada:l") is not None
    assert log.form_opened_by("room:ada:f") == form("canary-form") and len(log.notes("ada")) == 1
    assert log.home("ada") == card("canary-card") and log.is_unclean and log.revision() == 3
    log.close()
    again = open_log(str(earlier), keys)
    assert [r.text for r in again.messages()] == [None, "canary-line", "for all"]
    again.begin_chapter(keys.next(), {"ada": Kept(NOW)}, card("gone"))
    assert not again.is_unclean
    again.close()


def test_a_file_is_sealed_though_the_first_start_was_cut_off(earlier: Path) -> None:
    """Its tables were brought up, and then nothing: the next start does the rest."""
    Log(str(earlier)).close()
    with sqlite3.connect(earlier) as db:
        assert db.execute("select body from messages where seq = 2").fetchone() == ("canary-line",)
    db.close()
    log = open_log(str(earlier))
    assert log.messages()[1].text == "canary-line" and b"canary-line" not in earlier.read_bytes()
    log.close()


def test_a_room_of_short_names_is_taken_over(tmp_path: Path) -> None:
    """A file whose reactions are kept by short names opens with the same ones by their characters, open acts too."""
    path = str(tmp_path / "room.db")
    made(
        path,
        1,
        (MESSAGE, (1, "channel", "growth", None, "ada", AT, 1, "hello", None, None)),
        ("insert into reactions values (1, 'ada', '+1')", ()),
        (
            "insert into acts values (1, 'k1', 'ada', 'channel', 'growth', null, ?, ?, ?, 0)",
            (AT, *acts.written(ports.Reacted("m000001", "heart", True))),
        ),
    )
    log = open_log(path)
    assert log.set_reaction("m000001", "ada", "👍", True) is False
    (act,) = log.open_acts()
    assert acts.read(*act[-2:]) == ports.Reacted("m000001", "❤", True)
    log.close()


# --- browsers ---


async def test_whoever_looks_on_begins_anew_and_nobody_else(world: World) -> None:
    heard: list[str] = []
    world.room.listen(lambda change: heard.append(f"{change.kind} {change.subject}"))
    await world.room.say("ada", world.room.direct("ada"), "one")
    known = world.room.log.revision()
    await world.room.clear("room", {person: Kept(START) for person in ("ada", "ben")})
    assert heard[1:] == ["cleared ada", "seals ada", "seals ben"]
    assert world.room.log.cleared("ada") > known and world.room.log.cleared("ben") == 0
