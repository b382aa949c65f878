"""The demo's people at a real homeserver: they read what their own devices could open, and type what they mean."""

from __future__ import annotations

import heapq
from collections.abc import AsyncIterator, Mapping
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from coldframe.chat.matrix.app import matrix_platform
from coldframe.chat.matrix.login import Options
from coldframe.clock import RandomIds
from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import InlineNumbers, Turn
from coldframe.engine.uses import assembled
from coldframe.message.nodes import Block, Button, Buttons, Facts, Field, Message, Option, Paragraph, Words
from coldframe.ports.chat import Inbound, Person, Place, Reply
from coldframe.render.artefacts import Workshop
from coldframe.store.sealing import Seal
from coldframe.wiring import open_store
from demo.cast import Cast, Job
from demo.hand import NotFound
from demo.scenario import Scenario, calendar_of, load
from tests.engine.databases import a_file
from tests.in_words import Meanings, lines
from tests.wire.hands import Hand
from tests.wire.matrix.homeserver import PASSWORD, SERVER, Account, Homeserver
from tests.wire.matrix.people import Someone
from tests.wire.slack.whole_round import SCENARIO, SECRET, FastClock, Quick

LONGEST = timedelta(days=60)


@dataclass(frozen=True)
class Seen:
    """One message of the bot as somebody reads it, the numbers with what they mean."""

    id: str
    place: Place
    message: Message
    at: datetime
    gone: bool = False
    text: str = ""


class Done:
    """Which jobs are done; the hands give no keys away."""

    def __init__(self) -> None:
        self.keys: set[str | None] = set()

    def is_done(self, key: str) -> bool:
        return key in self.keys


class Relay:
    """The door listens before the engine is there."""

    engine: Any

    async def receive(self, event: Inbound) -> Reply:
        reply: Reply = await self.engine.receive(event)
        return reply


@dataclass
class Team:
    """The homeserver, the people, the bot: restarted, all of them are the same."""

    scenario: Scenario
    folder: Path
    server: Homeserver
    clock: FastClock
    people: dict[str, Someone]
    bot: Account
    room: str = ""
    more: list[Someone] = field(default_factory=list)
    """Further devices of theirs."""
    log: Done = field(default_factory=Done)
    tenant: str = SERVER
    _stack: AsyncExitStack = field(default_factory=AsyncExitStack)
    _first_seen: dict[str, datetime] = field(default_factory=dict)
    _shown: dict[str, Any] = field(default_factory=dict)
    _said: bool = True
    """Whether somebody has said something that the bot has not heard."""
    _touched: set[str] = field(default_factory=set)
    """Rooms in which something changed since people looked."""
    _queue: list[tuple[datetime, str, Job]] = field(default_factory=list)
    _planned: set[str] = field(default_factory=set)

    # --- the bot ---

    async def start(self) -> None:
        self._stack = AsyncExitStack()
        ids = RandomIds()
        self.store = await open_store(a_file(self.folder), SECRET, ids, durable=False)
        self._stack.push_async_callback(self.store.close)
        options = Options(self.server.url, self.bot.user, PASSWORD)
        made = Workshop(Quick(), self.clock.now)
        self.platform = await self._stack.enter_async_context(
            matrix_platform(options, self.folder / "matrix", Seal(SECRET), SECRET, self.clock, made)
        )
        self.chat = self.platform.chat
        put = self.chat.call.put

        async def noted(where: str, content: Any) -> Any:
            self._touched.add(unquote(where.split("/")[5]))
            return await put(where, content)

        self.chat.call.put = noted  # type: ignore[method-assign]
        self.engine = assembled(self.store, self.chat, self.clock, ids, InlineNumbers())
        meanings = Meanings(self.store)
        if hasattr(self, "meanings"):
            meanings.of, meanings.words = self.meanings.of, self.meanings.words
        self.meanings = meanings

    async def stop(self) -> None:
        await self._stack.aclose()

    async def restart(self) -> None:
        """Bot and homeserver both go, and come again."""
        await self.stop()
        self.server.stop()
        self.server.start()
        await self.start()
        self._said = True
        await self.engine.returned()
        await self.settle()

    async def settle(self) -> None:
        """Until all that was said was taken in, all that may go out went out, and everybody has read it."""
        if self._said:
            await self.platform._door.look(self.engine)
            self._said = False
        await self.engine.settle()
        touched, self._touched = self._touched, set()
        for someone in (*self.people.values(), *self.more):
            if self.room in touched or self.chat.rooms.direct(someone.id) in touched or not self.room:
                await someone.looks()

    # --- what people see ---

    def direct(self, person: str) -> Place:
        return Place(SERVER, "direct", person)

    def sees(self, person: str, place: Place) -> bool:
        return place.kind == "channel" or place.id == person

    def all_messages(self) -> list[Seen]:
        found: dict[str, Seen] = {}
        for name, someone in self.people.items():
            for seen in self._read(name, someone):
                found.setdefault(seen.id, seen)
        return sorted(found.values(), key=lambda seen: (seen.at, list(self._first_seen).index(seen.id)))

    def _read(self, name: str, someone: Someone) -> list[Seen]:
        edits: dict[str, Any] = {}
        gone: set[str] = set()
        for event in someone.events.values():
            related = (event.get("content") or {}).get("m.relates_to") or {}
            if event["type"] == "m.room.redaction":
                gone.add(str(event.get("redacts") or event["content"].get("redacts")))
            elif related.get("rel_type") == "m.replace" and event["sender"] == self.bot.user:
                edits[related["event_id"]] = event["content"]["m.new_content"]
        return [
            self._seen(name, event, edits.get(event["event_id"], event["content"]))
            for event in someone.events.values()
            if event["type"] == "m.room.message" and event["sender"] == self.bot.user
            and event["event_id"] not in gone and event["content"].get("msgtype") == "m.text"
            and (event["content"].get("m.relates_to") or {}).get("rel_type") != "m.replace"
        ]  # fmt: skip

    def _seen(self, name: str, event: dict[str, Any], content: dict[str, Any]) -> Seen:
        at = self._first_seen.setdefault(event["event_id"], self.clock.now())
        related = event["content"].get("m.relates_to") or {}
        thread = related.get("event_id") if related.get("rel_type") == "m.thread" else None
        channel = event["room_id"] == self.room
        place = Place(SERVER, "channel" if channel else "direct", self.room if channel else name, thread)
        offers = self.meanings.of.get(event["event_id"], ())
        summary = (Words(self.meanings.words.get(event["event_id"], content["body"])),)
        blocks = (*_lines(content["body"]), Buttons(offers)) if offers else _lines(content["body"])
        return Seen(event["event_id"], place, Message(summary, blocks), at)

    def changed(self) -> list[Seen]:
        out = []
        for seen in self.all_messages():
            if self._shown.get(seen.id) != seen.message:
                self._shown[seen.id] = seen.message
                out.append(seen)
        return out

    def offered(self, person: str, record: str) -> tuple[Button, ...]:
        return tuple(self.meanings.of.get(record, ()))

    # --- what people do ---

    def room_of(self, place: Place) -> str:
        if place.kind == "channel":
            return self.room
        found = self.chat.rooms.direct(self.people[place.id].id)
        assert found is not None
        return found

    async def say(self, person: str, place: Place, text: str, thread: str | None = None, *, key: Any = None) -> str:
        self.log.keys.add(key)
        self._said = True
        said = await self.people[person].says(self.room_of(place), text, to=thread)
        await self.settle()
        return said

    async def react_as(self, person: str, record: str, emoji: str, added: bool = True, *, key: Any = None) -> None:
        self.log.keys.add(key)
        self._said = True
        await self.people[person].reacts(self.room_of(self.direct(person)), record, emoji)
        await self.settle()

    async def press(self, person: str, record: str, action: str, value: str, *, key: Any = None) -> Reply:
        number = self.meanings.number(record, action, value)
        place = next(seen.place for seen in self.all_messages() if seen.id == record)
        await self.say(person, place.root(), str(number), record, key=key)
        if self.meanings.of.get(record, (None,) * number)[number - 1 : number] and self._confirms(record, number):
            await self.say(person, self.direct(person), "1")
        open_ = await self.meanings.form(SERVER, self.people[person].id)
        return Reply(form=open_.form if open_ is not None else None)

    def _confirms(self, record: str, number: int) -> bool:
        offers = self.meanings.of.get(record, ())
        return len(offers) >= number and offers[number - 1].confirm is not None

    async def submit(
        self, person: str, action: str, value: str, fields: Mapping[str, str], *, key: Any = None
    ) -> Reply:
        me = self.people[person].id
        open_ = await self.meanings.form(SERVER, me)
        if open_ is None or open_.form.action != action:
            raise NotFound(f"{person} has no form {action} open")
        known = {name: self.people[text].id if text in self.people else text for name, text in fields.items()}
        if words := lines(open_.form, open_.values, known):
            await self.say(person, self.direct(person), words, key=key)
        if await self.meanings.form(SERVER, me) is not None:
            await self.say(person, self.direct(person), "send")
        left = await self.meanings.form(SERVER, me)
        if left is None:
            return Reply()
        same = [f.name for f in left.form.fields] == [f.name for f in open_.form.fields]
        return Reply(errors=left.problems) if same else Reply(form=left.form)

    # --- the play ---

    async def propose(self) -> None:
        """The word in the room, and the form."""
        await self.engine.act("test/hours", self._hours)
        scenario, roles = self.scenario, self.scenario.roles
        await self.people[roles.facilitator].says(self.room, "!coldframe new")
        self._said = True
        await self.settle()
        await self.submit(roles.facilitator, "round.new", "", {
            "question": scenario.question, "name": scenario.name, "levers": ", ".join(scenario.levers),
            "decision_maker": roles.decision_maker, "decision_deputy": roles.decision_deputy,
            "facilitator_deputy": roles.facilitator_deputy,
        })  # fmt: skip
        for _ in range(20):
            await self.settle()
            if self._offers("round.start"):
                break
            await self._forward()
        seen, button = self._offers("round.start")[-1]
        await self.press(roles.facilitator, seen.id, "round.start", button.value)

    def _offers(self, action: str) -> list[tuple[Seen, Button]]:
        return [(s, b) for s in self.all_messages() for b in self.meanings.of.get(s.id, ()) if b.action == action]

    async def _hours(self, turn: Turn) -> None:
        for person in self.scenario.team:
            known = Person(self.people[person.id].id, person.name, person.zone)
            record = await members.upsert_member(turn.uow, SERVER, known)
            await turn.uow.save_member(members.with_calendar(record, calendar_of(person), confirmed=False))

    async def _forward(self) -> None:
        if (due := await self.next_moment()) is not None:
            self.clock.set(due)

    async def next_moment(self) -> datetime | None:
        due = await self.engine.next_moment()
        return None if due is None else max(due, self.clock.now() + timedelta(milliseconds=500))

    def cast(self) -> Cast:
        cast = Cast(self.scenario, self)  # type: ignore[arg-type]  # all that people need of a room
        cast.hands = {name: Typing(self, name) for name in self.people}  # type: ignore[misc]
        return cast

    async def play(self, *, restart_in: Step | None = None) -> Round:
        """To the commitment."""
        cast, end = self.cast(), self.clock.now() + LONGEST
        while (round_ := await self.round()).step not in (Step.COMMITTED, Step.CANCELLED):
            if round_.step is restart_in:
                restart_in = None
                await self.restart()
            if self.clock.now() > end or not await self._moment(cast):
                raise AssertionError(f"the round stands still in {round_.step} at {self.clock.now()}")
        return round_

    async def play_on(self, time: timedelta) -> None:
        cast, end = self.cast(), self.clock.now() + time
        while self.clock.now() < end and await self._moment(cast):
            pass

    async def _moment(self, cast: Cast) -> bool:
        for seen in self.changed():
            for job in cast.reactions(seen, self.clock.now()):  # type: ignore[arg-type]
                if job.key not in self._planned:
                    self._planned.add(job.key)
                    heapq.heappush(self._queue, (max(job.at, self.clock.now()), job.key, job))
        mine, due = self._queue[0][0] if self._queue else None, await self.next_moment()
        moments = [moment for moment in (mine, due) if moment is not None]
        if not moments:
            return False
        self.clock.set(max(min(moments), self.clock.now()))
        if mine is not None and (due is None or mine < due):
            _, _, job = heapq.heappop(self._queue)
            with suppress(LookupError, StopIteration, RuntimeError):
                await job.act()
        await self.settle()
        return True

    async def round(self) -> Round:
        async with self.store.begin() as uow:
            heads = await uow.heads(SERVER, channel=self.room)
            found = await uow.round(([h.id for h in heads] or await uow.ended_rounds(SERVER, self.room))[0])
        assert found is not None
        return found


def _lines(body: str) -> tuple[Block, ...]:
    """Line by line; what stands behind a colon is a fact."""
    rows = [line.partition(": ") for line in body.split("\n") if ": " in line]
    facts = Facts(tuple((label, (Words(value),)) for label, _, value in rows))
    return (*(Paragraph((Words(line),)) for line in body.split("\n")), facts)


class Typing(Hand):
    """A form opens by a line as any other, and what opened it need not be done again."""

    async def open(self, action: str, says: str = "", *, key: str | None = None) -> Reply:
        reply: Reply = await self.press(action, says, key=key)
        return reply


@asynccontextmanager
async def at_work(folder: Path, server: Homeserver, *, encrypted: bool = False) -> AsyncIterator[Team]:
    """The scenario's people registered, in one room with the bot, which is signed in."""
    scenario = load(SCENARIO.read_text("utf-8"))
    bot = server.register("coldframe")
    people: dict[str, Someone] = {}
    for person in scenario.team:
        account = server.register(person.id)
        named = f"/_matrix/client/v3/profile/{account.user}/displayname"
        server.call("PUT", named, {"displayname": person.name}, account.token)
        people[person.id] = Someone(server, account, folder / person.id)
    team = Team(scenario, folder, server, FastClock(scenario.start), people, bot)
    try:
        await team.start()
        first, *others = people.values()
        state = [{"type": "m.room.encryption", "state_key": "", "content": {"algorithm": "m.megolm.v1.aes-sha2"}}]
        wanted = {"name": "growth", "preset": "private_chat", "invite": [bot.user, *(o.id for o in others)],
                  "initial_state": state if encrypted else []}  # fmt: skip
        team.room = server.call("POST", "/_matrix/client/v3/createRoom", wanted, first.client.access_token)["room_id"]
        for _ in range(2):
            team._said = True
            for someone in people.values():
                await someone.looks()
            await team.settle()
        yield team
    finally:
        await team.stop()
        for someone in people.values():
            await someone.close()


__all__ = ["Field", "Option", "Team", "at_work"]
