"""A database with a row in every table, as a release leaves it: a whole play with its trials and its register, and a
round in the middle of its ballot. Made by the very code that stands here:

    python -m tests.upgrade.filled NAME     writes data/filled/NAME.tar.xz

Run it from a checkout of the release, NAME the commit; the files that it made are never made anew.
"""

from __future__ import annotations

import asyncio
import shutil
import sqlite3
import sys
import tarfile
import tempfile
from contextlib import closing
from datetime import timedelta
from pathlib import Path

from coldframe.clock import ManualClock, RandomIds, SeededIds
from coldframe.domain.names import Step
from coldframe.message.nodes import Field, Form, Message, line
from coldframe.ports.chat import Place
from coldframe.ports.spoken import Dialogue
from coldframe.ports.storage import Due, RunningTrial, Send
from coldframe.wiring import open_store, room_house
from demo.play import Memory
from demo.play import Play as Played
from tests.domain.play import Play
from tests.upgrade.earlier import SECRET, SEED, Blank, scenario

DATA = Path(__file__).with_name("data") / "filled"
FILES = ("bot.db", "bot.db-keys")


async def fill(folder: Path) -> None:
    """The files of a bot that has done everything once."""
    played, database = scenario(), f"sqlite:///{folder / 'bot.db'}"
    clock = ManualClock(played.start)
    files = {"database": database, "room_file": str(folder / "room.db")}
    async with room_house(clock, secret=SECRET, ids=SeededIds(SEED), draughtsman=Blank(), **files) as house:
        with closing(Memory(folder / "play.txt")) as memory:
            await Played(played, house, clock, memory=memory).run()
    await _a_ballot(database, clock)


async def _a_ballot(database: str, clock: ManualClock) -> None:
    """What is erased or sent by the end of a play: votes, and what waits to be said."""
    store, play, now = await open_store(database, SECRET, RandomIds()), Play().to(Step.BALLOT), clock.now()
    play.vote(play.members()[1], "p0", "p1")
    round_ = play.round
    where = Place(round_.tenant, "channel", round_.channel)
    async with store.begin() as uow:
        await uow.add_round(play.begin, now)
        await uow.save_round(play.begin, round_, play.facts, now)
        await uow.send([Send("post", f"{round_.id}/card/ballot", where, Message(line("Words that wait"), ()))], now)
        await uow.set_due([Due("close", round_.id, "ballot", now + timedelta(days=1))])
        await uow.note_nudge(round_.tenant, play.members()[1], now)
        await uow.start_trial(RunningTrial("x", round_.tenant, round_.channel, play.members()[1], now, now))
        form = Form("A form", "note.write", round_.id, (Field("text", "One idea"),))
        await uow.keep_dialogue(round_.tenant, play.members()[1], Dialogue(form, where, now, {"text": "half of it"}))
    await store.close()


def pack(folder: Path, name: str) -> None:
    there = [folder / file for file in FILES if (folder / file).exists()]
    for file in there:
        with closing(sqlite3.connect(file)) as database:
            for statement in ("pragma wal_checkpoint(truncate)", "pragma journal_mode=delete", "vacuum"):
                database.execute(statement)
    with tarfile.open(DATA / f"{name}.tar.xz", "x:xz") as archive:
        for file in there:
            archive.add(file, file.name)


def unpack(archive: Path, into: Path) -> Path:
    """The database of an example."""
    into.mkdir(parents=True, exist_ok=True)
    with tarfile.open(archive) as packed:
        packed.extractall(into, filter="data")
    return into / "bot.db"


if __name__ == "__main__":
    made = Path(tempfile.mkdtemp())
    asyncio.run(fill(made))
    pack(made, sys.argv[1])
    shutil.rmtree(made)
