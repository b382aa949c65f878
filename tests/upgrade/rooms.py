"""A room's file beside the database of its bot, as a release leaves them in the middle of a round's first step: two
people gave notes, one put an emoji on a message and read on, one has a form open and a passing word. `told.json` is
what that release's own code read there of each person. Made by the very code that stands here:

    python -m tests.upgrade.rooms NAME     writes data/rooms/NAME.tar.xz

Copy it into a checkout of the release and run it there, NAME the commit; the files that it made are never made anew.
"""

from __future__ import annotations

import asyncio
import json
import sqlite3
import sys
import tarfile
import tempfile
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from coldframe.chat.room.service import Room
from coldframe.message.nodes import Field, Form
from tests.domain.play import EVERYBODY
from tests.engine.clockwork import running

DATA = Path(__file__).with_name("data") / "rooms"
FILES = ("bot.db", "bot.db-keys", "room.db")
MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
PEOPLE = EVERYBODY[:6]
READER, ASKED = PEOPLE[2], PEOPLE[3]
GIVEN = {"canary 0": READER, "canary 1": ASKED, "canary 2": READER}


async def fill(folder: Path) -> None:
    async with running(folder, MONDAY) as team:
        room = team.house.room
        for text, person in GIVEN.items():
            await room.say(person, room.direct(person), f"- retention: {text}")
            await team.settle()
        last = [m for m in room.messages(room.direct(READER)) if m.author != READER][-1]
        await room.react_as(READER, last.id, "👍")
        room.mark_read(READER, room.direct(READER), last.id)
        room.mark_read(ASKED, room.channel("growth"), room.messages(room.channel("growth"))[-1].id)
        await room.open_home(READER)
        await team.settle()
        assert last.message is not None
        room.log.put_note(ASKED, room.direct(ASKED), MONDAY, last.message)
        form = Form("A form", "note.write", "r1", (Field("text", "One idea", initial="half of it"),))
        room.log.put_form(ASKED, room.direct(ASKED), form, "an act")
        (folder / "told.json").write_text(json.dumps(told(room)))


def told(room: Room) -> dict[str, Any]:
    """What the room knows of each person, as JSON has it."""
    return {person: _told(room, person) for person in PEOPLE}


def _told(room: Room, person: str) -> dict[str, Any]:
    log, messages = room.log, room.messages(room.direct(person))
    return {
        "messages": [[m.id, m.author, m.at.isoformat(), m.text, m.place.thread, m.revision] for m in messages],
        "emoji": [[m.id, mark.person, mark.emoji] for m in messages for mark in m.reactions],
        "reads": [[*where, message] for where, message in log.reads(person).items()],
        "forms": [[form.action, form.value, form.fields[0].initial] for form in log.forms(person)],
        "notes": [note.at.isoformat() for note in log.notes(person)],
        "page": log.home(person) is not None,
    }


def pack(folder: Path, name: str) -> None:
    there = [folder / file for file in FILES if (folder / file).exists()]
    for file in there:
        with closing(sqlite3.connect(file)) as database:
            for statement in ("pragma wal_checkpoint(truncate)", "pragma journal_mode=delete", "vacuum"):
                database.execute(statement)
    with tarfile.open(DATA / f"{name}.tar.xz", "x:xz") as archive:
        for file in (*there, folder / "told.json"):
            archive.add(file, file.name)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        asyncio.run(fill(Path(made)))
        pack(Path(made), sys.argv[1])
