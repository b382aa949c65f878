"""A whole round in the stand-in workspace: the demo's eight people, the real engine and store, the clock run fast."""

from __future__ import annotations

import heapq
import json
from collections import Counter
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import select

from coldframe.clock import ManualClock, RandomIds
from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import InlineNumbers, Turn
from coldframe.engine.delivery import downtime
from coldframe.engine.engine import Engine
from coldframe.engine.round.steps import PLAYS
from coldframe.engine.uses import assembled
from coldframe.players.cast import Cast
from coldframe.players.hand import words_of
from coldframe.players.jobs import Job
from coldframe.players.scenario import Scenario, calendar_of, load
from coldframe.ports.chat import Inbound, Person, Reply
from coldframe.render.artefacts import Workshop
from coldframe.store import tables
from coldframe.store.sql import SqlStore
from coldframe.wiring import open_store
from tests.engine.databases import a_file
from tests.engine.round_the_clock import ALWAYS
from tests.heard import Ear, Intake, is_post
from tests.wire.hands import Hand
from tests.wire.slack.costs import Costs
from tests.wire.slack.people import Someone
from tests.wire.slack.screen import Screen
from tests.wire.slack.service import running
from tests.wire.slack.workspace import BOT_USER, TEAM, Workspace

SCENARIO = Path(__file__).parents[3] / "demo" / "scenarios" / "quillmarsh.yaml"
CHANNEL = "C0GROWTH"
LONGEST = timedelta(days=60)
OUTAGE = timedelta(minutes=10)
SECRET = b"x" * 32


class FastClock(ManualClock):
    """Time that stands still until it is moved; waiting moves it."""

    async def sleep(self, seconds: float) -> None:
        self.pass_by(timedelta(seconds=seconds))
        await super().sleep(seconds)


class Quick:
    """Draws nothing worth looking at."""

    async def draw(self, chart: Any, form: str = "png") -> bytes:
        return b"\x89PNG\r\n\x1a\n" + chart.kind.encode()


class Relay:
    """The platform serves before the engine is there that sends through it."""

    engine: Intake

    async def receive(self, event: Inbound) -> Reply:
        return await self.engine.receive(event)


@dataclass
class Team:
    """The scenario's people at the workspace, and the bot's parts to look into."""

    scenario: Scenario
    workspace: Workspace
    clock: Any
    engine: Engine
    store: SqlStore
    screen: Screen
    people: dict[str, Someone]
    relay: Relay
    chat: Any
    ear: Ear = field(init=False)
    costs: Costs = field(default_factory=Costs)
    moments: int = 0
    outage_at: int | None = None
    _queue: list[tuple[datetime, str, Job]] = field(default_factory=list)
    _planned: set[str] = field(default_factory=set)
    moved: bool = False
    _read: set[str] = field(default_factory=set)
    _noted: Counter[str] = field(default_factory=Counter)
    _early_in: Step | None = None
    """Where somebody was told that what they pressed is not open yet: they look again in the next step."""
    round_the_clock: bool = False
    """Whether all work whenever this is played, and not as the scenario has it."""

    def __post_init__(self) -> None:
        self.ear = Ear(self.scenario, {someone.id: name for name, someone in self.people.items()})

    async def settle(self) -> None:
        """Until every event was taken in and everything that may go out now went out."""
        await self.workspace.delivery.settled()
        await self.engine.settle()
        step = (await self.round()).step.value if await self._ids() else ""
        self.costs.note(self.workspace.calls, step, self.clock.now())
        await self._listen()

    async def _listen(self) -> None:
        standing = self.ear.fresh(self.screen.all_messages())
        if any(is_post(seen) for seen in standing) and await self._ids():
            self.ear.listen(standing, await self._names(), (await self.round()).step)
        else:
            self.ear.listen(standing)

    async def _names(self) -> dict[str, str]:
        async with self.store.database.looking() as connection:
            rows = (await connection.execute(select(tables.posts))).all()
        return {post.message_id: post.name for post in (await self.store.veil()).all_posted(rows)}

    async def set_up(self) -> None:
        """The facilitator starts the round as anybody would: the command, the form, the button."""
        await self.propose()
        await self.press_start()

    async def press_start(self) -> None:
        """The newest button that starts the round."""
        starter = self.scenario.roles.facilitator
        seen, button = self._offers(starter, "round.start")[-1]
        await self.screen.press(starter, seen.id, "round.start", button.value)
        await self.settle()

    async def propose(self) -> None:
        """The command, and the form sent."""
        await self.engine.act("test/hours", self._hours)
        scenario, roles = self.scenario, self.scenario.roles
        starter = self.people[roles.facilitator]
        while starter.form() is None:
            await starter.commands("new", CHANNEL)
            try:
                await starter.sees(starter.form, 1.0)
            except AssertionError:
                continue
        await self.screen.submit(
            roles.facilitator,
            "round.new",
            "",
            {
                "question": scenario.question,
                "name": scenario.name,
                "levers": ", ".join(scenario.levers),
                "decision_maker": roles.decision_maker,
                "decision_deputy": roles.decision_deputy,
                "facilitator_deputy": roles.facilitator_deputy,
                "pace": scenario.pace,
                "weight": str(scenario.weight),
                "windows": ", ".join(f"{step} {length:g}" for step, length in scenario.lengths.items()),
            },
        )
        await self.until(lambda: self._offers(roles.facilitator, "round.start"))

    async def _hours(self, turn: Turn) -> None:
        """What these people told the bot in earlier rounds: when each of them works."""
        for person in self.scenario.team:
            known = Person(self.people[person.id].id, person.name, person.zone)
            record = await members.upsert_member(turn.uow, TEAM, known)
            calendar = ALWAYS if self.round_the_clock else calendar_of(person)
            await turn.uow.save_member(members.with_calendar(record, calendar, confirmed=False))

    def _offers(self, person: str, action: str) -> list[tuple[Any, Any]]:
        return [
            (seen, button)
            for seen in self.screen.all_messages()
            if seen.place.id == person
            for button in self.screen.offered(person, seen.id)
            if button.action == action
        ]

    async def until(self, what: Any) -> None:
        """Lets the bot work, through its own waits, until something stands."""
        for _ in range(200):
            await self.settle()
            if what():
                return
            await self._forward()
        raise AssertionError("it never came to stand")

    async def _forward(self) -> None:
        due = await self.next_moment()
        if due is not None:
            self.clock.set(due)

    async def move_to(self, address: str) -> None:
        """The bot starts on another database; people take what they read anew for new."""
        await self.store.close()
        ids = RandomIds()
        self.store = await open_store(address, SECRET, ids, durable=False)
        self.engine = assembled(self.store, self.chat, self.clock, ids, InlineNumbers())
        self.relay.engine = self.ear.beside(self.engine)
        self._planned.clear()
        self._queue.clear()
        self.screen.log.keys.clear()
        self.moved = True
        await downtime.look_back(self.engine.kit)
        await self.engine.returned()
        await self.settle()

    def cast(self) -> Cast:
        cast = Cast(self.scenario, self.screen)  # type: ignore[arg-type]  # a screen is all that people need
        cast.hands = {name: Hand(self.screen, name) for name in self.people}  # type: ignore[misc]
        return cast

    async def play_to(self, step: Step, moments: int) -> None:
        """Until the step is open, and so many moments further."""
        cast = self.cast()
        while (await self.round()).step is not step:
            assert await self._moment(cast)
        for _ in range(moments):
            assert await self._moment(cast)

    async def play(self) -> Round:
        """Plays until the commitment; returns the round."""
        cast = self.cast()
        end, step = self.clock.now() + LONGEST, (await self.round()).step
        while (round_ := await self.round()).step not in (Step.COMMITTED, Step.CANCELLED):
            if self.moved and round_.step is not step:  # what was pressed on a card of the lost time came to nothing
                self._planned.clear()
                self.screen.log.keys.clear()
            step = round_.step
            if self.clock.now() > end or not await self._moment(cast):
                raise AssertionError(f"the round stands still in {round_.step} at {self.clock.now()}")
            self.moments += 1
            if self.outage_at is not None and self.moments >= self.outage_at and await self._is_busy_soon():
                await self._outage()
                if self.workspace.faults.struck["away"]:  # else it was none: nobody called meanwhile
                    self.outage_at = None
        await self.until_sent()
        return round_

    async def _is_busy_soon(self) -> bool:
        """Whether the bot has something to do within an outage that began now; else nobody would notice it."""
        due = await self.next_moment()
        return due is not None and due < self.clock.now() + OUTAGE

    async def _outage(self) -> None:
        """Slack is away for ten minutes: no socket, no call; the bot goes on trying."""
        end = self.clock.now() + OUTAGE
        self.workspace.faults.outage = True
        await self.workspace.delivery.drop_sockets()
        while (due := await self.next_moment()) is not None and due < end:
            self.clock.set(due)
            await self.engine.settle()
        self.clock.set(end)
        self.workspace.faults.outage = False
        if not self.workspace.delivery.addresses:
            await self.workspace.delivery.connected()

    async def next_moment(self) -> datetime | None:
        """When something waits next; what stands behind a send that waits for its retry is asked for a little later."""
        due = await self.engine.next_moment()
        return None if due is None else max(due, self.clock.now() + timedelta(milliseconds=500))

    async def until_sent(self) -> None:
        for _ in range(400):
            await self.settle()
            if not await self.waiting():
                return
            await self._forward()

    async def _moment(self, cast: Cast) -> bool:
        if self._early_in is not None and (await self.round()).step is not self._early_in:
            self._early_in = None
            self.screen.look_again()
        for seen in self.screen.changed():
            for job in cast.reactions(seen, self.clock.now()):  # type: ignore[arg-type]
                if job.key not in self._planned:
                    self._planned.add(job.key)
                    heapq.heappush(self._queue, (max(job.at, self.clock.now()), job.key, job))
        mine = self._queue[0][0] if self._queue else None
        due = await self.next_moment()
        moments = [moment for moment in (mine, due) if moment is not None]
        if not moments:
            return False
        self.clock.set(min(moments))
        if mine is not None and (due is None or mine < due):
            _, _, job = heapq.heappop(self._queue)
            # The screen may have changed meanwhile, as it does for people.
            with suppress(LookupError, StopIteration, RuntimeError):
                await job.act()
            await self.settle()
            if self._came_too_early():
                self._planned.discard(job.key)
                self._early_in = (await self.round()).step
        await self.settle()
        return True

    def _came_too_early(self) -> bool:
        """Whether the last act was answered by "not open yet": people do it again once they are asked again. So it is
        with cards that a restored copy has not come to."""
        news = [words_of(seen) for seen in self.screen.all_messages() if seen.id not in self._read]  # type: ignore[arg-type]
        self._read |= {seen.id for seen in self.screen.all_messages()}
        for name, someone in self.people.items():
            passing = someone.notes()
            news += map(str, passing[self._noted[name] :])
            self._noted[name] = len(passing)
        return any("which isn't open yet" in words for words in news)

    async def round(self) -> Round:
        ids = await self._ids()
        async with self.store.begin() as uow:
            round_ = await uow.round(ids[0])
        assert round_ is not None
        return round_

    async def _ids(self) -> list[str]:
        """Of the channel's round; none before there was one."""
        async with self.store.begin() as uow:
            heads = await uow.heads(TEAM, channel=CHANNEL)
            return [head.id for head in heads] or await uow.ended_rounds(TEAM, CHANNEL)

    async def waiting(self) -> list[str]:
        """What stands in the outbox and was not sent yet."""
        return [name for state, name, _ in await self._outbox() if state != "parked"]

    async def given_up(self) -> set[str]:
        """Why sends were given up."""
        return {str(why) for state, _, why in await self._outbox() if state == "parked"}

    async def _outbox(self) -> list[tuple[str, str, str | None]]:
        async with self.store.database.looking() as connection:
            box = tables.outbox.c
            return [tuple(row) for row in await connection.execute(select(box.state, box.name, box.why_parked))]

    def twice(self) -> list[str]:
        """Messages and files that went out more than once."""
        keys = [str(m["metadata"]) for m in self._said() if "metadata" in m]
        files = [file["name"] for m in self._said() for file in m.get("files", ())]
        return sorted(key for key, count in Counter([*keys, *files]).items() if count > 1)

    async def missing(self) -> list[str]:
        """Posts that the bot believes to be there and that are not."""
        there = {
            (channel.direct or channel.id, ts)
            for channel in self.workspace.channels.values()
            for ts in channel.messages
        }
        async with self.store.database.looking() as connection:
            rows = (await connection.execute(select(tables.posts))).all()
        posts = [(p.name, p.place.id, p.message_id) for p in (await self.store.veil()).all_posted(rows)]
        return [name for name, place, ts in posts if (place, ts) not in there and not ts.startswith("F")]

    def _said(self) -> list[Any]:
        return [m for channel in self.workspace.channels.values() for m in channel.messages.values()]

    def kept_in_private(self) -> list[str]:
        """Texts of notes and plans in what stands of the bot's direct messages, and buttons of steps."""
        direct = [c for c in self.workspace.channels.values() if c.direct]
        said = "\n".join(
            json.dumps(m, ensure_ascii=False) for c in direct for m in c.messages.values() if m["user"] == BOT_USER
        )
        given = [n.text for n in self.scenario.notes]
        given += [text for p in self.scenario.plans for text in (p.hypothesis, *p.steps)]
        buttons = [f'"{action}' for play in PLAYS.values() for action in play.buttons]
        return [text for text in (*given, *buttons) if text in said]

    def outcome(self, round_: Round) -> dict[str, Any]:
        """What the round came to, told by its texts alone, so that two runs can be compared."""
        return {
            "notes": sorted((note.lever, note.side.value, note.text) for note in round_.notes.values()),
            "plans": sorted(plan.title for plan in round_.plans.values()),
            "votes": [
                sorted((voter, len(marks)) for voter, marks in ledger.marks.items())
                for ledger in (round_.dots, round_.ballot)
                if ledger
            ],
            "chosen": sorted(round_.plans[choice].title for choice in round_.choices),
        }


def moved_in(workspace: Workspace, scenario: Scenario) -> dict[str, Someone]:
    """The scenario's people as members of the workspace, all in one channel with the bot."""
    team: dict[str, Someone] = {}
    for person in scenario.team:
        slack_id = f"U0{person.id.upper().replace('-', '')}"
        workspace.add_person(slack_id, person.name, person.zone)
        team[person.id] = Someone(workspace, slack_id)
    workspace.add_channel(CHANNEL, "growth", [someone.id for someone in team.values()])
    return team


@asynccontextmanager
async def at_work(
    tmp_path: Path, mode: Any = "socket", *, round_the_clock: bool = False, scenario: Scenario | None = None
) -> AsyncIterator[Team]:
    """The workspace with the scenario's people, the main one's unless told, and the bot in it, serving."""
    scenario = scenario or load(SCENARIO.read_text("utf-8"))
    clock = FastClock(scenario.start)
    workspace = Workspace(clock.now)
    await workspace.start()
    team = moved_in(workspace, scenario)
    ids = RandomIds()
    store = await open_store(a_file(tmp_path), SECRET, ids, durable=False)
    relay = Relay()
    try:
        made = Workshop(Quick(), clock.now)
        async with running(workspace, relay, mode, clock, make=made) as platform:
            engine = assembled(store, platform.chat, clock, ids, InlineNumbers())
            screen = Screen(workspace, team, CHANNEL)
            there = Team(scenario, workspace, clock, engine, store, screen, team, relay, platform.chat)
            there.round_the_clock = round_the_clock
            relay.engine = there.ear.beside(engine)
            yield there
            store = there.store
    finally:
        await workspace.close()
        await store.close()
