"""The demo's people at a real homeserver: they read what their own devices could open, and type what they mean."""

from __future__ import annotations

import asyncio
import heapq
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote

from coldframe.chat.matrix.app import matrix_platform
from coldframe.chat.matrix.door import PENDING
from coldframe.chat.matrix.login import Options
from coldframe.clock import RandomIds
from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import InlineNumbers, Turn
from coldframe.engine.uses import assembled
from coldframe.message.nodes import Button, Buttons, Message, Words
from coldframe.players.cast import Cast
from coldframe.players.hand import NotFound
from coldframe.players.jobs import Job
from coldframe.players.scenario import Scenario, calendar_of, load
from coldframe.ports.chat import Person, Place, Reply
from coldframe.render.artefacts import Workshop
from coldframe.store.sealing import Seal
from coldframe.wiring import open_store
from tests.engine.databases import a_file
from tests.in_words import Meanings, lines
from tests.wire.hands import Hand
from tests.wire.matrix.bench import as_long_as_can_be
from tests.wire.matrix.homeserver import PASSWORD, Account, Homeserver
from tests.wire.matrix.people import Someone
from tests.wire.matrix.seen import Done, Seen, lines_of
from tests.wire.slack.whole_round import SCENARIO, SECRET, FastClock, Quick

LONGEST = timedelta(days=60)
A_WHILE = 1_000  # looks, a fiftieth of a second apart, that two servers have to reach each other


@dataclass
class Team:
    """The homeserver, the people, the bot: restarted, all of them are the same."""

    scenario: Scenario
    folder: Path
    server: Homeserver
    clock: FastClock
    people: dict[str, Someone]
    bot: Account
    elsewhere: Homeserver | None = None
    """Where half of them have their accounts."""
    room: str = ""
    more: list[Someone] = field(default_factory=list)
    """Further devices of theirs."""
    log: Done = field(default_factory=Done)
    _stack: AsyncExitStack = field(default_factory=AsyncExitStack)
    _first_seen: dict[str, datetime] = field(default_factory=dict)
    _shown: dict[str, Any] = field(default_factory=dict)
    _said: bool = True
    """Whether somebody has said something that the bot has not heard."""
    _touched: dict[str, str] = field(default_factory=dict)
    """Rooms in which something changed since people looked, and the last of it."""
    _queue: list[tuple[datetime, str, Job]] = field(default_factory=list)
    _planned: set[str] = field(default_factory=set)

    @property
    def tenant(self) -> str:
        return self.server.name

    # --- the bot ---

    async def start(self) -> None:
        self._stack = AsyncExitStack()
        ids = RandomIds()
        self.store = await open_store(a_file(self.folder), SECRET, ids, durable=False)
        self._stack.push_async_callback(self.store.close)
        allowed = (self.elsewhere.name,) if self.elsewhere is not None else ()
        options = Options(self.server.url, self.bot.user, PASSWORD, allowed=allowed)
        made = Workshop(Quick(), self.clock.now)
        self.platform = await self._stack.enter_async_context(
            matrix_platform(options, self.folder / "matrix", Seal(SECRET), SECRET, self.clock, made)
        )
        self.chat = self.platform.chat
        put = self.chat.call.put

        async def noted(where: str, content: Any) -> Any:
            answer = await put(where, content)
            self._touched[unquote(where.split("/")[5])] = str(answer.get("event_id") or "")
            return answer

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
        await self.engine.returned()
        await self.hears_of_it()

    async def hears_of_it(self) -> None:
        """What was said beside the bot, or while it was away."""
        self._said = True
        await self.settle()

    async def settle(self) -> None:
        """Until all that was said was taken in, all that may go out went out, and everybody has read it."""
        if self._said:
            await self._hears()
            self._said = False
        await self.engine.settle()
        touched, self._touched = self._touched, {}
        for someone in (*self.people.values(), *self.more):
            rooms = {self.room, self.chat.rooms.direct(someone.id)} & touched.keys()
            if rooms or not self.room:
                await someone.looks()
            if someone.server is not self.server:
                for room in rooms:
                    await self._reaches(someone, touched[room])

    async def _hears(self) -> None:
        """Until every key has come that belongs to what was said."""
        await self.platform._door.look(self.engine)
        for _ in range(A_WHILE if self.elsewhere is not None else 0):
            if not self.chat.kept.below(PENDING):
                return
            await asyncio.sleep(0.02)
            await self.platform._door.look(self.engine)

    async def _reaches(self, someone: Someone, event: str) -> None:
        """From the bot's server to theirs."""
        for _ in range(A_WHILE):
            if not event or event in someone.events:
                return
            await asyncio.sleep(0.02)
            await someone.looks()
        raise AssertionError(f"{someone.id} never read {event}, closed: {event in someone.closed}")

    async def _arrives(self, someone: Someone, room: str, event: str) -> None:
        """From their server at the bot's."""
        where = f"/_matrix/client/v3/rooms/{quote(room, safe='')}/event/{quote(event, safe='')}"
        for _ in range(A_WHILE if someone.server is not self.server else 0):
            with suppress(AssertionError):
                self.server.call("GET", where, token=self.chat.call.token)
                return
            await asyncio.sleep(0.02)

    # --- what people see ---

    def direct(self, person: str) -> Place:
        return Place(self.tenant, "direct", person)

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
        place = Place(self.tenant, "channel" if channel else "direct", self.room if channel else name, thread)
        offers = self.meanings.of.get(event["event_id"], ())
        summary = (Words(self.meanings.words.get(event["event_id"], content["body"])),)
        blocks = (*lines_of(content["body"]), Buttons(offers)) if offers else lines_of(content["body"])
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
        someone, room = self.people[person], self.room_of(place)
        said = await someone.says(room, text, to=thread)
        await self._arrives(someone, room, said)
        await self.settle()
        return said

    async def react_as(self, person: str, record: str, emoji: str, added: bool = True, *, key: Any = None) -> None:
        self.log.keys.add(key)
        self._said = True
        someone, room = self.people[person], self.room_of(self.direct(person))
        await self._arrives(someone, room, await someone.reacts(room, record, emoji))
        await self.settle()

    async def press(self, person: str, record: str, action: str, value: str, *, key: Any = None) -> Reply:
        number = self.meanings.number(record, action, value)
        place = next(seen.place for seen in self.all_messages() if seen.id == record)
        await self.say(person, place.root(), str(number), record, key=key)
        if self._confirms(record, number):
            await self.say(person, self.direct(person), "1")
        open_ = await self.meanings.form(self.tenant, self.people[person].id)
        return Reply(form=open_.form if open_ is not None else None)

    def _confirms(self, record: str, number: int) -> bool:
        offers = self.meanings.of.get(record, ())
        return len(offers) >= number and offers[number - 1].confirm is not None

    async def submit(
        self, person: str, action: str, value: str, fields: Mapping[str, str], *, key: Any = None
    ) -> Reply:
        me = self.people[person].id
        open_ = await self.meanings.form(self.tenant, me)
        if open_ is None or open_.form.action != action:
            raise NotFound(f"{person} has no form {action} open")
        known = {name: self.people[text].id if text in self.people else text for name, text in fields.items()}
        if words := lines(open_.form, open_.values, known):
            await self.say(person, self.direct(person), words, key=key)
        if await self.meanings.form(self.tenant, me) is not None:
            await self.say(person, self.direct(person), "send")
        left = await self.meanings.form(self.tenant, me)
        if left is None:
            return Reply()
        same = [f.name for f in left.form.fields] == [f.name for f in open_.form.fields]
        return Reply(errors=left.problems) if same else Reply(form=left.form)

    # --- the play ---

    async def propose(self) -> None:
        """The word in the room, and the form."""
        await self.engine.act("test/hours", self._hours)
        scenario, roles = self.scenario, self.scenario.roles
        await self.say(roles.facilitator, Place(self.tenant, "channel", self.room), "!coldframe new")
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
            record = await members.upsert_member(turn.uow, self.tenant, known)
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

    async def play(self, meanwhile: Mapping[Step, Callable[[], Awaitable[None]]]) -> Round:
        """To the commitment; `meanwhile`: what happens besides when a step is come to."""
        cast, end, left = self.cast(), self.clock.now() + LONGEST, dict(meanwhile)
        while (round_ := await self.round()).step not in (Step.COMMITTED, Step.CANCELLED):
            if (happens := left.pop(round_.step, None)) is not None:
                await happens()
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
            heads = await uow.heads(self.tenant, channel=self.room)
            found = await uow.round(([h.id for h in heads] or await uow.ended_rounds(self.tenant, self.room))[0])
        assert found is not None
        return found


class Typing(Hand):
    """A form opens by a line as any other, and what opened it need not be done again."""

    async def open(self, action: str, says: str = "", *, key: str | None = None) -> Reply:
        reply: Reply = await self.press(action, says, key=key)
        return reply


def _local_part(name: str, number: int, server: Homeserver) -> str:
    """Of all kinds: the second as long as an id may be, then one with a slash, then the others."""
    return {1: as_long_as_can_be(name, server), 2: f"{name}/at/work"}.get(number, name)


@asynccontextmanager
async def at_work(
    folder: Path, server: Homeserver, *, encrypted: bool = False, elsewhere: Homeserver | None = None
) -> AsyncIterator[Team]:
    """The scenario's people registered, in one room with the bot, which is signed in; every second one `elsewhere`."""
    scenario = load(SCENARIO.read_text("utf-8"))
    bot = server.register("coldframe")
    people: dict[str, Someone] = {}
    for number, person in enumerate(scenario.team):
        home = elsewhere if elsewhere is not None and number % 2 else server
        account = home.register(_local_part(person.id, number, home))
        named = f"/_matrix/client/v3/profile/{quote(account.user, safe='')}/displayname"
        home.call("PUT", named, {"displayname": person.name}, account.token)
        people[person.id] = Someone(home, account, folder / person.id)
    team = Team(scenario, folder, server, FastClock(scenario.start), people, bot, elsewhere)
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
