"""What a happening costs: processor time of a process that takes many of them in real rounds, beside its floor.

    python -m tests.bench.happening [--happenings 2000] [--database sqlite|postgresql]

Two rounds are under way, notes in the one and a secret ballot in the other, on a database as safe as it gets (SQLite
with synchronous=FULL). Each happening is heard, decided and committed by the engine, and what follows from it is sent
to a platform that does nothing. Of every 25: 10 direct messages (notes written, and deleted again), 8 emoji on ballots
put and taken, 5 buttons, 2 buttons that open the form for a note. The floor is as many bare durable commits of one row.

Prints processor time (user and system) and wall time in ms for each, and their ratio. With `--profile` it prints where
the time goes instead.
"""

from __future__ import annotations

import argparse
import asyncio
import cProfile
import pstats
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import count, islice
from pathlib import Path
from typing import Any

from coldframe.clock import RandomIds, SystemClock
from coldframe.engine.core.turn import InlineNumbers
from coldframe.engine.engine import Engine
from coldframe.engine.uses import assembled
from coldframe.message.nodes import Attachment, Buttons, Message
from coldframe.ports.chat import (
    Capabilities,
    Erased,
    Happening,
    Hindrance,
    Inbound,
    Person,
    Place,
    Pressed,
    Reacted,
    Said,
)
from coldframe.wiring import open_store
from tests import figures
from tests.bench.slack_ack import BALLOT_CHANNEL, EMOJI, MIX, OPTIONS, under_way
from tests.engine.databases import POSTGRES, SQLITE, a_database
from tests.wire.slack.people import EIGHT
from tests.wire.slack.workspace import TEAM

LIMIT_MS = 5.0
SECRET = b"a secret for the bench, 32 bytes!"
WARM_UP = 200


class SilentChat:
    """A platform that takes everything and shows nothing; it knows which buttons stand under which message."""

    capabilities = Capabilities()

    def __init__(self) -> None:
        self._ids = count(1)
        self.posts: dict[str, tuple[Place, Message]] = {}

    async def post(self, place: Place, message: Message, *, key: str) -> str:
        message_id = f"m{next(self._ids)}"
        self.posts[message_id] = (place, message)
        return message_id

    async def upload(self, place: Place, attachment: Attachment, *, key: str) -> str:
        return f"m{next(self._ids)}"

    async def revise(self, place: Place, message_id: str, message: Message) -> None:
        self.posts[message_id] = (place, message)

    async def withdraw(self, place: Place, message_id: str) -> None:
        pass

    async def check(self, place: Place, people: Sequence[str]) -> tuple[Hindrance, ...]:
        return ()

    def members_known(self, place: Place) -> tuple[Person, ...]:
        return tuple(Person(person, name, zone) for person, name, zone in EIGHT)

    def person_known(self, tenant: str, person_id: str) -> Person | None:
        return next((each for each in self.members_known(Place(tenant, "channel", "")) if each.id == person_id), None)

    async def home(self, tenant: str, person_id: str, message: Message) -> None:
        pass

    def under(self, person: str, action: str) -> list[tuple[str, str]]:
        """(message, value) of every such button in the person's direct messages."""
        return [
            (message_id, button.value)
            for message_id, (place, message) in self.posts.items()
            if place.kind == "direct" and place.id == person
            for block in message.blocks
            if isinstance(block, Buttons)
            for button in block.buttons
            if button.action == action
        ]

    def lines(self, person: str) -> list[str]:
        """The lines for emoji in the thread of the person's ballot."""
        posts = self.posts.items()
        return [i for i, (place, _) in posts if place.root().id == person and place.thread is not None]


@dataclass
class Crowd:
    """Eight people who write, take back, vote and press without end."""

    chat: SilentChat
    made: int = 0
    notes: dict[str, list[str]] = field(default_factory=lambda: {person: [] for person, _, _ in EIGHT})
    marks: set[tuple[str, str]] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.ballots = {person: self.chat.under(person, "vote.cast") for person, _, _ in EIGHT}
        self.forms = {person: self.chat.under(person, "note.write")[0] for person, _, _ in EIGHT}
        assert all(len(options) == OPTIONS for options in self.ballots.values()), BALLOT_CHANNEL
        self.lines = {person: self.chat.lines(person) for person, _, _ in EIGHT}

    def happenings(self) -> Iterator[Inbound]:
        makers = {"msg": self._message, "emoji": self._emoji, "press": self._press, "form": self._form}
        while True:
            kind = MIX[self.made % len(MIX)]
            person = EIGHT[(self.made // 3 + self.made) % len(EIGHT)][0]
            self.made += 1
            what = makers[kind](person)
            yield Inbound(f"bench/{self.made}", person, Place(TEAM, "direct", person), SystemClock().now(), what)

    def _message(self, person: str) -> Happening:
        mine = self.notes[person]
        if len(mine) >= 8:
            return Erased(mine.pop(0))
        mine.append(f"said{self.made}")
        return Said(f"- retention: the first invoice surprises, {self.made}", mine[-1])

    def _emoji(self, person: str) -> Happening:
        message = self.lines[person][0]
        mark = message, EMOJI[self.made % 2]
        added = mark not in self.marks
        self.marks.symmetric_difference_update({mark})
        return Reacted(message, mark[1], added)

    def _press(self, person: str) -> Happening:
        message, value = self.ballots[person][1]
        mark = message, "button"
        action = "vote.back" if mark in self.marks else "vote.cast"
        self.marks.symmetric_difference_update({mark})
        return Pressed(action, value, message)

    def _form(self, person: str) -> Happening:
        message, value = self.forms[person]
        return Pressed("note.write", value, message)


@dataclass(frozen=True, slots=True)
class Spent:
    """Seconds of a processor and by the wall for one of many."""

    processor: float
    wall: float


class _Watch:
    def __init__(self) -> None:
        self._processor, self._wall = time.process_time(), time.perf_counter()

    def each(self, times: int) -> Spent:
        processor, wall = time.process_time() - self._processor, time.perf_counter() - self._wall
        return Spent(processor / times, wall / times)


async def taken(database: str, happenings: int, profile: cProfile.Profile | None) -> Spent:
    """What the engine spends for each happening, what is sent because of it included."""
    await under_way(database, SECRET)
    ids, chat = RandomIds(), SilentChat()
    store = await open_store(database, SECRET, ids)
    try:
        engine = assembled(store, chat, SystemClock(), ids, InlineNumbers())  # type: ignore[arg-type]  # what is used
        await engine.settle()
        crowd = Crowd(chat).happenings()
        await _take(engine, crowd, WARM_UP)
        watch = _Watch()
        if profile is not None:
            profile.enable()
        await _take(engine, crowd, happenings)
        if profile is not None:
            profile.disable()
        return watch.each(happenings)
    finally:
        await store.close()


async def _take(engine: Engine, crowd: Iterator[Inbound], happenings: int) -> None:
    for happening in islice(crowd, happenings):
        reply = await engine.receive(happening)
        assert not reply.errors and reply.note is None, reply
        await engine.settle()


def bare(folder: Path, commits: int) -> Spent:
    """The floor: durable commits of one row each, by the driver alone."""
    db = sqlite3.connect(folder / "bare.db", isolation_level=None)
    for pragma in ("journal_mode=wal", "synchronous=full"):
        db.execute(f"pragma {pragma}")
    db.execute("create table inbox (key text primary key)")
    watch = _Watch()
    for number in range(commits):
        db.execute("begin immediate")
        db.execute("insert into inbox values (?)", (str(number),))
        db.execute("commit")
    spent = watch.each(commits)
    db.close()
    return spent


async def bare_postgres(database: str, commits: int) -> Spent:
    """The same on PostgreSQL."""
    import asyncpg

    db: Any = await asyncpg.connect(database.replace("+asyncpg", ""))
    await db.execute("create table bare (key text primary key)")
    watch = _Watch()
    for number in range(commits):
        async with db.transaction():
            await db.execute("insert into bare values ($1)", str(number))
    spent = watch.each(commits)
    await db.close()
    return spent


def main(kind: str, happenings: int, *, profiled: bool) -> int:
    profile = cProfile.Profile() if profiled else None
    with tempfile.TemporaryDirectory() as name, a_database(kind, Path(name)) as database:
        ours = asyncio.run(taken(database, happenings, profile))
        if profile is not None:
            pstats.Stats(profile).sort_stats("tottime").print_stats(60)
            return 0
        floor = bare(Path(name), happenings) if kind == SQLITE else asyncio.run(bare_postgres(database, happenings))
    beside = "a bare durable commit"
    wall, processor = figures.COMMIT.format(kind), f"the same, {kind}, of a processor"
    figures.note(wall, 1000 * ours.wall, "ms", 1000 * floor.wall, beside)
    figures.note(processor, 1000 * ours.processor, "ms", 1000 * floor.processor, beside, LIMIT_MS)
    for what, spent in (("a happening", ours), (beside, floor)):
        print(f"{kind:10} {what:22} processor {1000 * spent.processor:6.2f} ms, wall {1000 * spent.wall:6.2f} ms")
    kept = ours.processor * 1000 <= LIMIT_MS
    print(
        f"{kind:10} {happenings} happenings; ratio of processor time {ours.processor / floor.processor:.1f}; "
        f"limit {LIMIT_MS:g} ms: {'kept' if kept else 'BROKEN'}"
    )
    return 0 if kept else 1


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--database", choices=[SQLITE, POSTGRES])
    parser.add_argument("--happenings", type=int, default=2000)
    parser.add_argument("--profile", action="store_true")
    given = parser.parse_args()
    kinds = [given.database] if given.database else [SQLITE, POSTGRES]
    sys.exit(max(main(kind, given.happenings, profiled=given.profile) for kind in kinds))
