"""Rooms of earlier releases: all that stood there is there and goes on, and of what stood beside it nothing tells any
more whose it was, or when it came."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from coldframe.clock import ManualClock, RandomIds
from coldframe.domain.names import RoundId
from coldframe.domain.round.moves import Close
from coldframe.engine.core.turn import Turn
from coldframe.message.emoji import by_name
from coldframe.wiring import House, room_house
from tests.domain.play import F
from tests.engine.clockwork import SECRET
from tests.engine.seeing_through import NoDraughtsman
from tests.secrecy.loot import room_rows
from tests.secrecy.thief import named_beside_private_rows
from tests.upgrade.filled import unpack
from tests.upgrade.rooms import ASKED, DATA, GIVEN, MONDAY, PEOPLE, told

RELEASES = sorted(path.name.partition(".")[0] for path in DATA.glob("*.tar.xz"))
IN_CLEAR = ("15bb3bf", "58a3d1e", "e643d0d")
LATER = MONDAY + timedelta(hours=1)


def unpacked(name: str, into: Path) -> dict[str, Any]:
    """What that release read there; its files stand in the folder."""
    unpack(DATA / f"{name}.tar.xz", into)
    read: dict[str, Any] = json.loads((into / "told.json").read_text())
    return read


@asynccontextmanager
async def opened(folder: Path, secret: bytes = SECRET) -> AsyncIterator[House]:
    files = {"database": f"sqlite:///{folder / 'bot.db'}", "room_file": str(folder / "room.db")}
    clock = ManualClock(LATER)
    async with room_house(clock, secret=secret, ids=RandomIds(), draughtsman=NoDraughtsman(), **files) as house:
        yield house


def _expected(then: dict[str, Any], name: str) -> dict[str, Any]:
    """Where all stood in clear, pages and what is typed in forms go at the first start."""
    for person in then.values() if name in IN_CLEAR else ():
        person |= {"page": False, "forms": [[*form[:2], ""] for form in person["forms"]]}
    for person in then.values():
        person["emoji"] = [[message, who, by_name(emoji)] for message, who, emoji in person["emoji"]]
    return then


@pytest.mark.parametrize("name", RELEASES)
async def test_a_room_of_an_earlier_release_goes_on_and_shows_nobody(name: str, tmp_path: Path) -> None:
    """Its open form is answered when it is sent, and its notes are revealed with one that was given since."""
    then = unpacked(name, tmp_path)
    assert named_beside_private_rows(room_rows(tmp_path / "room.db"), PEOPLE), "else nothing would be hidden"
    for _ in range(2):
        async with opened(tmp_path) as house:
            assert json.loads(json.dumps(told(house.room))) == _expected(then, name)
            assert named_beside_private_rows(room_rows(tmp_path / "room.db"), PEOPLE) == set()
    raw = b"".join(file.read_bytes() for file in tmp_path.glob("room.db*"))
    assert not [text for text in GIVEN if text.encode() in raw]
    async with opened(tmp_path) as house:
        sent = await house.room.submit(ASKED, "note.write", "r1", {"text": "sent since then"}, key="k")
        await house.room.say(ASKED, house.room.direct(ASKED), "- retention: said since then")
        await house.engine.settle()

        async def closes(turn: Turn) -> None:
            await turn.act(await turn.round(RoundId("r1")), Close(F))

        await house.engine.act("reveal", closes)
        await house.engine.settle()
        async with house.store.begin() as uow:
            round_ = await uow.round(RoundId("r1"))
        assert round_ is not None and {note.text for note in round_.notes.values()} >= {*GIVEN, "said since then"}
        assert sent.errors, "since it was made without a lever"


async def test_a_room_whose_secret_is_another_one_loses_its_lines_and_says_so(tmp_path: Path) -> None:
    """Of version 4, where what was beside them told whose they were: that goes too."""
    unpacked("e9d2b62", tmp_path)
    with closing(sqlite3.connect(tmp_path / "room.db")) as room, room:
        room.execute("update life set chapter = 'another'")
    async with opened(tmp_path) as house:
        for person in PEOPLE:
            (line,) = house.room.messages(house.room.direct(person))
            assert "its key is gone" in str(line.message)
        assert named_beside_private_rows(room_rows(tmp_path / "room.db"), PEOPLE) == set()
