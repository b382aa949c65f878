"""Three processes of the bot on one PostgreSQL, killed and frozen at random, with clocks that disagree, and hundreds of
rounds that people play through them at once.

The chat platform stands in this process: it deduplicates nothing. Whoever got no answer does the same once more, at
another process, as the chat service would. The database itself notes what was queued, what became of it, and when by
its own clock each round moved on.
"""

from __future__ import annotations

import asyncio
import json
import os
import random
import signal
import sys
from collections import Counter, defaultdict
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any

from sqlalchemy import text

from coldframe.clock import RandomIds
from coldframe.domain.names import RUNNING, RoundId, Step
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.message.nodes import Buttons
from coldframe.message.packed import ButtonValue
from coldframe.ports.chat import Place
from coldframe.ports.storage import Member
from coldframe.store.database import open_database
from coldframe.store.sealing import Seal
from coldframe.store.sql import SqlStore
from coldframe.wiring import open_store
from tests.domain.play import EVERYBODY, D, F, a_round
from tests.engine.round_the_clock import ALWAYS
from tests.faults.playing import SECRET
from tests.faults.replica import MAX_LINE, MESSAGE, NOT_OPEN

TOP = Path(__file__).parents[2]
PEOPLE = tuple(str(member) for member in EVERYBODY[:5])
SKEWS = (0.0, 300.0, -300.0)
PATIENCE = 3.0  # seconds that a chat service waits for an acknowledgement
AT_EASE = 50  # rounds of which all people get through a step in a minute, on two processors
AT_ONCE = 12  # happenings on their way: two processors answer as many in a second; more would measure this machine
NOTES, DOTS, BALLOT = Step.NOTES.value, Step.DOTS.value, Step.BALLOT.value
VOTES = {DOTS: 3, BALLOT: 2}
ACTING = {
    NOTES: PEOPLE, DOTS: PEOPLE, BALLOT: PEOPLE, Step.FOCUS.value: (str(D),), Step.QUESTIONS.value: (str(F),),
    Step.PRECEDENTS.value: (str(D),), Step.PLANS.value: PEOPLE[:3],
}  # fmt: skip
BY_ITSELF = {NOTES, DOTS, BALLOT}
"""Steps that nobody closes by hand: the bot does when all are in, or at the deadline."""
CLOSED_BY_HAND = {step.value for step in RUNNING} - BY_ITSELF - {Step.FOCUS.value, Step.COMMITMENT.value}
SILENT_IN = {NOTES, BALLOT}
OVER = {"committed", "cancelled"}

WATCH = """
CREATE TABLE ever_queued AS SELECT id, key, kind, name, only_in, state FROM outbox;;
CREATE TABLE ever_gone AS SELECT key, state FROM outbox;;
CREATE TABLE ever_moved (round text, was text, step text, due timestamptz, settles timestamptz, at timestamptz);;
CREATE FUNCTION note_queued() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
  INSERT INTO ever_queued VALUES (NEW.id, NEW.key, NEW.kind, NEW.name, NEW.only_in, NEW.state); RETURN NEW; END $$;;
CREATE FUNCTION note_gone() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
  INSERT INTO ever_gone VALUES (OLD.key, OLD.state); RETURN OLD; END $$;;
CREATE FUNCTION note_moved() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
  INSERT INTO ever_moved VALUES (OLD.id, OLD.step, NEW.step, (OLD.doc::json->'progress'->>'due')::timestamptz,
    (OLD.doc::json->'progress'->>'settles_at')::timestamptz, clock_timestamp()); RETURN NEW; END $$;;
CREATE TRIGGER note_queued AFTER INSERT ON outbox FOR EACH ROW EXECUTE FUNCTION note_queued();;
CREATE TRIGGER note_gone AFTER DELETE ON outbox FOR EACH ROW EXECUTE FUNCTION note_gone();;
CREATE TRIGGER note_moved AFTER UPDATE ON rounds FOR EACH ROW WHEN (OLD.step <> NEW.step) EXECUTE FUNCTION note_moved()
"""
STANDS = """
SELECT id, step, CAST(CAST(doc AS json)->'progress'->>'opens' AS timestamptz) AS opens, clock_timestamp() AS now
FROM rounds
"""
HIDDEN = "~"
"""So begin names of what tells of somebody's act."""
OPEN = "SELECT count(*) FROM outbox WHERE state <> 'parked'"
QUEUED = "SELECT key, name, only_in FROM ever_queued WHERE kind IN ('post', 'upload') AND state = 'todo'"


# --- the platform ----------------------------------------------------------------------------------------------------


@dataclass
class Said:
    """A message as it stands there."""

    id: str
    place: str
    key: str
    message: str | None
    gone: bool = False


@dataclass
class Hall:
    """Where everything is said, whoever says it and however often."""

    said: list[Said] = field(default_factory=list)
    by_key: dict[str, list[Said]] = field(default_factory=lambda: defaultdict(list))
    by_place: dict[str, list[Said]] = field(default_factory=lambda: defaultdict(list))

    def asked(self, line: dict[str, Any]) -> Any:
        match line["what"]:
            case "post":
                said = Said(f"m{len(self.said)}", line["place"], line["key"], line["message"])
                self.said.append(said)
                self.by_key[said.key].append(said)
                self.by_place[said.place].append(said)
                return said.id
            case "revise":
                self.said[int(line["id"][1:])].message = line["message"]
            case "withdraw":
                self.said[int(line["id"][1:])].gone = True
            case "find":
                there = [said for said in self.by_key[line["key"]] if not said.gone]
                for double in there[1:]:
                    double.gone = True
                return there[0].id if there else None
        return None

    def options(self, tenant: str, person: str, round_id: str, step: str) -> tuple[str, list[str]] | None:
        """The newest message of this person's on which votes can be cast in this step, and its options."""
        for said in reversed(self.by_place[Place(tenant, "direct", person).order_key()]):
            if said.message is None or said.gone or "vote.cast" not in said.message:
                continue
            values = _votes_on(said.message)
            if values and ButtonValue.unpack(values[0]).subject == round_id and step in values[0]:
                return said.id, values
        return None

    def twice(self) -> list[str]:
        return [key for key, said in self.by_key.items() if sum(not each.gone for each in said) > 1]


@cache
def _votes_on(message: str) -> list[str]:
    """What can be voted for on it. Everybody looks again and again: read each time, it would leave the hall no time to
    answer the bot."""
    blocks = [block for block in MESSAGE.validate_json(message).blocks if isinstance(block, Buttons)]
    return sorted(b.value for block in blocks for b in block.buttons if b.action == "vote.cast")


# --- the processes ---------------------------------------------------------------------------------------------------


@dataclass
class Replica:
    """A process, and the line to it."""

    number: int
    process: asyncio.subprocess.Process
    writer: asyncio.StreamWriter | None = None
    heard: dict[str, asyncio.Future[str]] = field(default_factory=dict)
    frozen: bool = False

    def signal(self, what: signal.Signals) -> None:
        with suppress(ProcessLookupError):
            self.process.send_signal(what)


@dataclass
class Front:
    """Hands what people do to some process that listens, and to another one when no answer comes."""

    hall: Hall
    chance: random.Random
    replicas: list[Replica] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    errors: list[str] = field(default_factory=list)
    at_once: asyncio.Semaphore = field(default_factory=lambda: asyncio.Semaphore(AT_ONCE))
    _waiting: dict[int, Replica] = field(default_factory=dict)

    async def connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        replica: Replica | None = None
        with suppress(ConnectionError):
            while raw := await reader.readline():
                line = json.loads(raw)
                if "here" in line:
                    replica = self._waiting.pop(int(line["here"]))
                    replica.writer = writer
                    self.replicas.append(replica)
                elif "call" in line:
                    answer = self.hall.asked(line)
                    writer.write(json.dumps({"call": line["call"], "answer": answer}).encode() + b"\n")
                elif replica is not None and (future := replica.heard.pop(line["heard"], None)) and not future.done():
                    future.set_result(line["came_to"])
        if replica is not None and replica in self.replicas:
            self.replicas.remove(replica)
            for future in replica.heard.values():
                if not future.done():
                    future.set_result("")
        writer.close()

    def expect(self, replica: Replica) -> None:
        self._waiting[replica.number] = replica

    async def hand(self, key: str, **what: Any) -> str:
        """Until somebody answers; what they answered."""
        async with self.at_once:
            while True:
                if not self.replicas:
                    await asyncio.sleep(0.05)
                    continue
                came_to = await self._handed(self.chance.choice(self.replicas), key, what)
                if came_to.startswith("error") or came_to == "not in time":
                    self.counts["errors shown"] += 1
                    self.errors.append(f"{key}: {came_to}")
                    await asyncio.sleep(PATIENCE / 10)
                elif came_to:
                    self.counts["refused" if came_to.startswith("refused") else "answered"] += 1
                    return came_to
                self.counts["handed again"] += 1

    async def _handed(self, replica: Replica, key: str, what: dict[str, Any]) -> str:
        """Empty when no answer came: the process was killed, or stands still."""
        assert replica.writer is not None
        future = replica.heard[key] = asyncio.get_running_loop().create_future()
        try:
            replica.writer.write(json.dumps({"hear": key, **what}).encode() + b"\n")
            return await asyncio.wait_for(future, PATIENCE)
        except (TimeoutError, ConnectionError):
            self.counts["no answer from one that stood still" if replica.frozen else "no answer"] += 1
            return ""
        finally:
            replica.heard.pop(key, None)


@dataclass
class Keeper:
    """Starts processes, and does to them whatever may happen to one."""

    database: str
    socket: str
    lease: float
    front: Front
    chance: random.Random
    done: Counter[str] = field(default_factory=Counter)
    numbers: Any = field(default_factory=lambda: count(0))
    all: list[Replica] = field(default_factory=list)
    returning: list[asyncio.Task[None]] = field(default_factory=list)

    async def start(self, home: Path = TOP) -> None:
        """`home`: where the code stands that it runs."""
        number = next(self.numbers)
        skew = SKEWS[number % len(SKEWS)]
        words = (self.database, self.socket, str(skew), str(self.lease), str(number))
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "tests.faults.replica", *words, cwd=home, env=environment(home)
        )
        replica = Replica(number, process)
        self.all.append(replica)
        self.front.expect(replica)
        while replica not in self.front.replicas:
            assert process.returncode is None, "a process ended at its start"
            await asyncio.sleep(0.05)

    async def replaced(self, pause: float) -> None:
        """One after the other by this code's, as an operator or a cluster does: the new one first."""
        for before in list(self.all):
            await asyncio.sleep(pause)
            await self.start()
            self.done["replaced"] += 1
            before.signal(self.chance.choice((signal.SIGTERM, signal.SIGKILL)))

    async def mischief(self, pause: float) -> None:
        """Now and then one process is killed and another begins, or one stands still for longer than its lease."""
        while True:
            await asyncio.sleep(pause * (0.5 + self.chance.random()))
            able = [replica for replica in self.front.replicas if not replica.frozen]
            if len(able) > 1:
                await self._befalls(self.chance.choice(able))

    async def _befalls(self, replica: Replica) -> None:
        what = self.chance.choice(("killed", "frozen", "frozen", "frozen and killed"))
        self.done[what] += 1
        if what == "killed":
            replica.signal(signal.SIGKILL)
            await self.start()
            return
        replica.frozen = True
        replica.signal(signal.SIGSTOP)
        self.returning.append(asyncio.create_task(self._goes_on(replica, killed=what != "frozen")))

    async def _goes_on(self, replica: Replica, *, killed: bool) -> None:
        await asyncio.sleep(self.lease * (1.1 + self.chance.random()))
        replica.signal(signal.SIGCONT)
        replica.frozen = False
        if killed:
            await asyncio.sleep(self.chance.random() / 10)
            replica.signal(signal.SIGKILL)
            await self.start()

    async def stop(self) -> None:
        for task in self.returning:
            task.cancel()
        for replica in self.all:
            replica.signal(signal.SIGKILL)
            await replica.process.wait()


def environment(home: Path) -> dict[str, str]:
    """In which a process runs the code that stands there."""
    return {**os.environ, "PYTHONHASHSEED": "0", "PYTHONPATH": os.pathsep.join((str(home), str(home / "bot")))}


# --- the people ------------------------------------------------------------------------------------------------------


@dataclass
class Team:
    """One round's people, and what they came to with what they did. Two rounds have the same people."""

    number: int
    front: Front
    chance: random.Random
    step: str = ""
    came_to: dict[str, str] = field(default_factory=dict)

    @property
    def id(self) -> str:
        return f"r{self.number}"

    @property
    def tenant(self) -> str:
        return f"t{self.number // 2}"

    def is_in(self, step: str, person: str) -> bool:
        """In every other round the last of them is silent now and then: the step closes at its deadline."""
        return self.number % 4 < 2 or step not in SILENT_IN or person != PEOPLE[-1]

    async def play(self, step: str) -> None:
        """What these people do in a step, all at once and each in their own time."""
        if step == Step.COMMITMENT.value:
            await self._do("seal", F, step)
            return
        work = self._vote if step in VOTES else self._act
        people = ACTING.get(step, ())
        await asyncio.gather(*(work(person, step) for person in people if self.is_in(step, person)))
        if step in CLOSED_BY_HAND:
            await self._do("close", F, step)

    async def _act(self, person: str, step: str) -> None:
        await asyncio.sleep(self.chance.random() * 4)
        await self._do("act", person, step)

    async def _do(self, what: str, person: str, step: str) -> None:
        key = f"{self.id}/{step}/{what}/{person}"
        self.came_to[key] = await self.front.hand(key, what=what, round=self.id, step=step, person=person)

    async def _vote(self, person: str, step: str) -> None:
        """Two more than there are, all at once, at whichever process."""
        while (sheet := self.front.hall.options(self.tenant, person, self.id, step)) is None:
            await asyncio.sleep(0.2)
            if self.step != step:
                return
        message, values = sheet
        presses = ((f"{number}", values[number % len(values)]) for number in range(VOTES[step] + 2))
        await asyncio.gather(*(self._press(person, step, message, value, n) for n, value in presses))

    async def _press(self, person: str, step: str, message: str, value: str, number: str) -> None:
        await asyncio.sleep(self.chance.random())
        key = f"{self.id}/{step}/vote/{person}/{number}"
        said = {"tenant": self.tenant, "person": person, "action": "vote.cast", "value": value, "message": message}
        self.came_to[key] = await self.front.hand(key, what="press", **said)

    def taken(self, step: str) -> int:
        """Votes in time: of each person no more than there are. What came after the close was told so."""
        each = Counter(
            key.split("/")[3] for key, how in self.came_to.items() if self._voted(key, step) and how != NOT_OPEN
        )
        return sum(min(VOTES[step], presses) for presses in each.values())

    def _voted(self, key: str, step: str) -> bool:
        return key.startswith(f"{self.id}/{step}/vote")

    def done(self, beginning: str) -> int:
        return sum(key.startswith(f"{self.id}/{beginning}") and how == "done" for key, how in self.came_to.items())


async def set_up(store: SqlStore, teams: Sequence[Team]) -> None:
    """All rounds in setup, and the watch of the database over what comes."""

    def watched(connection: Any) -> None:
        for statement in WATCH.split(";;"):
            connection.exec_driver_sql(statement)

    await store.database.run(watched)
    now = datetime.now(UTC)  # the real one
    for team in teams:
        async with store.begin() as uow:
            plain = a_round(
                len(PEOPLE), pace="live", lengths=dict.fromkeys(Step, max(1.0, len(teams) / AT_EASE)), reading=0.05
            )
            round_ = replace(plain, id=RoundId(team.id), tenant=team.tenant, channel=f"c{team.number}", name=team.id)
            await uow.add_round(round_, now)
            for person in PEOPLE:
                record = Member(team.tenant, person, person.title(), "UTC", told_privacy=True)
                await uow.save_member(members.with_calendar(record, ALWAYS))


@dataclass
class Crowd:
    """All teams, who look after each other's rounds as people would: by looking."""

    store: SqlStore
    teams: list[Team]
    playing: set[asyncio.Task[None]] = field(default_factory=set)

    async def play(self, longest: float) -> None:
        """Until every round is over, or for so many seconds. What is left to be said and done then is waited for."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self._play(), longest)

    def not_over(self) -> list[str]:
        return [f"not over: {team.id} in {team.step}" for team in self.teams if team.step not in OVER]

    async def _play(self) -> None:
        begins = (team._do("start", F, Step.SETUP.value) for team in self.teams)
        await asyncio.gather(*begins)
        while any(team.step not in OVER for team in self.teams):
            await self._look()
            await asyncio.sleep(0.5)
        await asyncio.gather(*self.playing)
        while not await self._is_quiet():
            await asyncio.sleep(0.5)

    async def _look(self) -> None:
        async with self.store.database.looking() as db:
            rows = {row.id: row for row in await db.execute(text(STANDS))}
        for team in self.teams:
            row = rows[team.id]
            if row.step != team.step and (row.step in OVER or (row.opens is not None and row.opens <= row.now)):
                team.step = row.step
                if row.step not in OVER:
                    task = asyncio.create_task(team.play(row.step))
                    self.playing.add(task)
                    task.add_done_callback(self._played)

    def _played(self, task: asyncio.Task[None]) -> None:
        self.playing.discard(task)
        if not task.cancelled() and (problem := task.exception()) is not None:
            raise problem

    async def _is_quiet(self) -> bool:
        async with self.store.database.looking() as db:
            return not (await db.execute(text(OPEN))).scalar_one()


# --- the verdict -----------------------------------------------------------------------------------------------------


@dataclass
class Verdict:
    """What is wrong, and what it all came to."""

    wrong: list[str]
    rounds: int
    seconds: float
    happenings: Counter[str]
    mischief: Counter[str]
    messages: int
    moved_by_itself: int
    latest: float
    withdrawn_doubles: int


async def judged(crowd: Crowd, hall: Hall, front: Front) -> list[str]:
    wrong = [f"twice: {key}" for key in hall.twice()] + [f"error shown: {error}" for error in front.errors]
    async with crowd.store.database.looking() as db:
        queued = {row.key: row for row in await db.execute(text(QUEUED))}
        gone = {row.key for row in await db.execute(text("SELECT key FROM ever_gone WHERE state = 'todo'"))}
        moved = (await db.execute(text("SELECT * FROM ever_moved"))).all()
        over = (await db.execute(text("SELECT count(*) FROM votes WHERE counts AND slot >= quota"))).scalar_one()
    names = Counter(row.name for row in queued.values())
    wrong += [f"queued {times} times: {name}" for name, times in names.items() if times > 1]
    away = [row for key, row in queued.items() if key not in hall.by_key and key not in gone]
    hidden = [row for row in away if row.name.startswith(HIDDEN)]
    wrong += [f"lost: {row.name}" for row in away if row not in hidden and row.only_in is None]
    came = sum(key not in queued for key in hall.by_key)  # by a key that only the bot can tell from the row's
    ended = [await crowd.store.counter(f"sends {how}") for how in ("overtaken", "without a key")]
    wrong += [f"lost: {len(hidden) - came} words about acts"] if len(hidden) > came + sum(ended) else []
    wrong += [f"early: {row.round} left {row.was} {_before(row):.3f} s" for row in moved if _before(row) > 0]
    wrong += [f"{over} votes over the quota"] if over else []
    for team in crowd.teams:
        async with crowd.store.begin() as uow:
            round_ = await uow.round(team.id)
        assert round_ is not None
        wrong += [f"{team.id}: {what}" for what in _of_round(team, round_)]
    return wrong


def _before(row: Any) -> float:
    """Seconds by which the bot closed a step before it might."""
    if row.was not in BY_ITSELF:
        return 0.0
    moments = [moment for moment in (row.due, row.settles) if moment is not None]
    return (min(moments) - row.at).total_seconds()


def _of_round(team: Team, round_: Round) -> list[str]:
    """Whatever was answered as done is there, and no vote too many."""
    found = []
    if round_.step is not Step.COMMITTED:
        found.append(f"stands in {round_.step}")
    if len(round_.notes) != team.done("notes/act"):
        found.append(f"{team.done('notes/act')} notes were taken, {len(round_.notes)} are there")
    if len(round_.plans) != team.done("plans/act"):
        found.append(f"{team.done('plans/act')} plans were taken, {len(round_.plans)} are there")
    for step, standing in ((Step.DOTS, round_.forces_standing), (Step.BALLOT, round_.plans_standing)):
        taken, counted = team.taken(step.value), sum(one.group + one.decision_maker for one in standing)
        if counted != taken:
            found.append(f"{taken} votes were taken in {step}, {counted} were counted")
    return found


SET_UP = """
import asyncio, random, sys
from coldframe.clock import RandomIds
from coldframe.wiring import open_store
from tests.faults.playing import SECRET
from tests.faults.replicas import Front, Hall, Team, set_up
async def main(database, rounds):
    store = await open_store(database, SECRET, RandomIds(), owner="judge")
    front = Front(Hall(), random.Random(1))
    await set_up(store, [Team(number, front, front.chance) for number in range(rounds)])
    await store.close()
asyncio.run(main(sys.argv[1], int(sys.argv[2])))
"""


async def _judging(database: str, teams: Sequence[Team], home: Path) -> SqlStore:
    """All rounds in setup, by the code that stands there; and a store to look at them, which upgrades nothing."""
    if home == TOP:
        store = await open_store(database, SECRET, RandomIds(), owner="judge")
        await set_up(store, teams)
        return store
    words = ("-c", SET_UP, database, str(len(teams)))
    done = await asyncio.create_subprocess_exec(sys.executable, *words, cwd=home, env=environment(home))
    assert await done.wait() == 0
    ids = RandomIds()
    return SqlStore(open_database(database), Seal(SECRET), owner="judge", new_key=lambda: ids.new("k"))


@asynccontextmanager
async def at_work(
    database: str, folder: Path, rounds: int, seed: int, lease: float, home: Path = TOP
) -> AsyncIterator[tuple[Crowd, Keeper]]:
    """Rounds in setup, and three processes."""
    chance = random.Random(seed)
    front = Front(Hall(), chance)
    socket = str(folder / "hall")
    server = await asyncio.start_unix_server(front.connected, socket, limit=MAX_LINE)
    teams = [Team(number, front, chance) for number in range(rounds)]
    store = await _judging(database, teams, home)
    keeper = Keeper(database, socket, lease, front, chance)
    try:
        await asyncio.gather(*(keeper.start(home) for _ in SKEWS))
        yield Crowd(store, teams), keeper
    finally:
        await keeper.stop()
        server.close()
        await store.close()


async def run(
    database: str, folder: Path, rounds: int, seed: int, *, lease: float, pause: float, longest: float, home: Path = TOP
) -> Verdict:
    """All rounds from their start to their seal. `pause`: seconds between one mishap and the next; where the processes
    run other code than this, they are replaced instead."""
    loop = asyncio.get_running_loop()
    async with at_work(database, folder, rounds, seed, lease, home) as (crowd, keeper):
        begun, front = loop.time(), keeper.front
        befalls = keeper.mischief(pause) if home == TOP else keeper.replaced(pause)
        mischief = asyncio.create_task(befalls)
        try:
            await crowd.play(longest)
        finally:
            if mischief.done():
                mischief.result()
            mischief.cancel()
        seconds, hall = loop.time() - begun, front.hall
        wrong = crowd.not_over() + await judged(crowd, hall, front)
        async with crowd.store.database.looking() as db:
            moved = (await db.execute(text("SELECT * FROM ever_moved"))).all()
        by_itself = [-_before(row) for row in moved if row.was in BY_ITSELF]
        doubles = sum(len(said) > 1 for said in hall.by_key.values())
        return Verdict(
            wrong,
            rounds,
            seconds,
            front.counts,
            keeper.done,
            len(hall.said),
            len(by_itself),
            max(by_itself, default=0.0),
            doubles,
        )
