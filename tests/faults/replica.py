"""One process of the bot for `tests.faults.replicas`: the real store, engine and alarm, on a platform that the process
which started this one keeps, at the other end of a socket.

    python -m tests.faults.replica DATABASE SOCKET SKEW LEASE NUMBER

SKEW and LEASE are seconds: by how much this machine's time of day is wrong, and how long a claim lasts. NUMBER is by
what name the process is known to who started it.
"""

from __future__ import annotations

import asyncio
import json
import logging
import os
import sys
from collections.abc import Coroutine
from datetime import datetime, timedelta
from itertools import count
from typing import Any

import structlog
from pydantic import TypeAdapter

from coldframe.clock import RandomIds, SystemClock, agreed
from coldframe.domain.refusals import Refused
from coldframe.domain.round import undoing
from coldframe.domain.round.moves import Close, Start
from coldframe.engine.alarm import Alarm
from coldframe.engine.core.turn import InlineNumbers, Turn
from coldframe.engine.delivery import outbox
from coldframe.engine.engine import Engine
from coldframe.engine.uses import assembled
from coldframe.message.nodes import Attachment, Message, plain
from coldframe.ports.chat import Capabilities, Inbound, NotDelivered, OutcomeUnknown, Person, Place, Pressed, Reaction
from coldframe.store import due_queue, sql
from coldframe.timing.zones import pin_zone_data
from coldframe.wiring import open_store
from tests.domain.play import EVERYBODY
from tests.engine.reaching import _commands
from tests.engine.seeing_through import _seal
from tests.faults.playing import SECRET

MESSAGE: TypeAdapter[Message] = TypeAdapter(Message)
MAX_COMMIT = 2.0  # seconds, as at Slack's door
MAX_CALL = 10.0
MAX_LINE = 1 << 22
NOT_OPEN = "over"
"""What came of a press on something that was not open any more."""
HURRIED = "REPLICA_HURRIED"
"""Variable of the environment: what one person decides for all is announced at once, which takes minutes of a round."""
CHANGED_NOTHING = "Nothing was changed"


class Skewed(SystemClock):
    """A machine whose time of day is wrong."""

    def __init__(self, seconds: float) -> None:
        self._ahead = timedelta(seconds=seconds)

    def now(self) -> datetime:
        return super().now() + self._ahead


class FarPlatform:
    """A `Chat` at the other end of the socket."""

    capabilities = Capabilities(reads_reactions=False, reads_history=False)

    def __init__(self, writer: asyncio.StreamWriter) -> None:
        self._writer = writer
        self._ids = count(1)
        self._asked: dict[int, asyncio.Future[Any]] = {}

    def answered(self, line: dict[str, Any]) -> None:
        future = self._asked.pop(line["call"], None)
        if future is not None and not future.done():
            future.set_result(line["answer"])

    async def _call(self, what: str, place: Place, **given: Any) -> Any:
        number = next(self._ids)
        future = self._asked[number] = asyncio.get_running_loop().create_future()
        said = {"call": number, "what": what, "place": place.order_key(), **given}
        self._writer.write(json.dumps(said).encode() + b"\n")
        try:
            return await asyncio.wait_for(future, MAX_CALL)
        except TimeoutError:
            raise OutcomeUnknown("no answer") from None

    async def post(self, place: Place, message: Message, *, key: str) -> str:
        return str(await self._call("post", place, key=key, message=MESSAGE.dump_json(message).decode()))

    async def upload(self, place: Place, attachment: Attachment, *, key: str) -> str:
        return str(await self._call("post", place, key=key, message=None))

    async def revise(self, place: Place, message_id: str, message: Message) -> None:
        await self._call("revise", place, id=message_id, message=MESSAGE.dump_json(message).decode())

    async def withdraw(self, place: Place, message_id: str) -> None:
        await self._call("withdraw", place, id=message_id)

    async def find(self, place: Place, key: str, since: datetime) -> str | None:
        try:
            found: str | None = await self._call("find", place, key=key)
        except OutcomeUnknown:
            raise NotDelivered("no answer") from None
        return found

    async def home(self, tenant: str, person_id: str, message: Message) -> None:
        """Nobody looks at it."""

    async def react(self, place: Place, message_id: str, emoji: str) -> None:
        """Nobody looks at it."""

    async def reactions(self, place: Place, message_id: str) -> tuple[Reaction, ...]:
        return ()

    async def members(self, place: Place) -> tuple[Person, ...]:
        return self.members_known(place)

    def members_known(self, place: Place) -> tuple[Person, ...]:
        return tuple(Person(person, person.title(), "UTC") for person in EVERYBODY[:5])

    def person_known(self, tenant: str, person_id: str) -> Person | None:
        return Person(person_id, person_id.title(), "UTC")

    async def person(self, tenant: str, person_id: str) -> Person:
        return Person(person_id, person_id.title(), "UTC")


class TooLate(Exception):
    """The round has gone on."""


class Desk:
    """Takes happenings in, and answers each once it is committed."""

    def __init__(self, engine: Engine, platform: FarPlatform, writer: asyncio.StreamWriter) -> None:
        self._engine, self._platform, self._writer = engine, platform, writer
        self._tasks: set[asyncio.Task[None]] = set()

    def take(self, line: dict[str, Any]) -> None:
        if "answer" in line:
            self._platform.answered(line)
            return
        task = asyncio.create_task(self._heard(line))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _heard(self, line: dict[str, Any]) -> None:
        work = asyncio.ensure_future(self._done(line))
        try:
            came_to = await asyncio.wait_for(asyncio.shield(work), MAX_COMMIT)
        except TimeoutError:
            came_to = "not in time"
            work.add_done_callback(lambda done: done.cancelled() or done.exception())
        except (TooLate, Refused) as late:
            came_to = f"refused: {late}"
        except Exception as problem:
            came_to = f"error: {type(problem).__name__}: {problem}"
        self._writer.write(json.dumps({"heard": line["hear"], "came_to": came_to}).encode() + b"\n")

    def _done(self, line: dict[str, Any]) -> Coroutine[Any, Any, str]:
        return self._pressed(line) if line["what"] == "press" else self._acted(line)

    async def _pressed(self, line: dict[str, Any]) -> str:
        place = Place(line["tenant"], "direct", line["person"])
        what = Pressed(line["action"], line["value"], line["message"])
        now = self._engine.kit.clock.now()
        reply = await self._engine.receive(Inbound(line["hear"], line["person"], place, now, what))
        if reply.errors:
            return f"refused: {reply.errors}"
        return NOT_OPEN if reply.note is not None and CHANGED_NOTHING in plain(reply.note.summary) else "done"

    async def _acted(self, line: dict[str, Any]) -> str:
        async def work(turn: Turn) -> None:
            round_ = await turn.round(line["round"])
            if round_.step.value != line["step"]:
                raise TooLate(round_.step.value)
            if line["what"] == "start":
                await turn.act(round_, Start(line["person"]))
                return
            if line["what"] == "seal":
                await _seal(turn, round_, {round_.plan_order[0]: round_.active()[2]}, {}, (), 4)
                return
            closes = line["what"] == "close"
            for command in _commands(round_):
                if isinstance(command, Close) == closes and command.by == line["person"]:
                    round_ = await turn.act(round_, command)
            if closes and round_.step.value == line["step"]:
                await turn.act(round_, Close(line["person"]))

        await self._engine.act(line["hear"], work)
        return "done"


async def main(database: str, socket: str, skew: float, lease: float, number: float) -> None:
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.WARNING))
    pin_zone_data()
    if os.environ.get(HURRIED):
        undoing.UNDO_FOR = {**undoing.UNDO_FOR, "live": timedelta(seconds=2)}
    sql.LEASE = due_queue.LEASE = timedelta(seconds=lease)
    outbox.OLDEST_CLAIM, outbox.MAX_LOOK_UP = sql.LEASE / 3, 2 * sql.LEASE / 3
    ids = RandomIds()
    store = await open_store(database, SECRET, ids, owner=ids.new("bot-"))
    time = await agreed(Skewed(skew), store.tell_time)
    reader, writer = await asyncio.open_unix_connection(socket, limit=MAX_LINE)
    platform = FarPlatform(writer)
    engine = assembled(store, platform, time, ids, InlineNumbers())
    desk, alarm = Desk(engine, platform, writer), Alarm(engine)
    writer.write(json.dumps({"here": number}).encode() + b"\n")
    starts = asyncio.create_task(alarm.start())
    while line := await reader.readline():
        desk.take(json.loads(line))
    await starts
    await alarm.close()
    await store.close()


if __name__ == "__main__":
    address, path, *seconds = sys.argv[1:]
    asyncio.run(main(address, path, *map(float, seconds)))
