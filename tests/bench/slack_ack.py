"""How soon events are acknowledged at 100 a second by the whole bot at work, beside a bare bolt app that makes
one durable commit for each and acknowledges, in the same run.

    python -m tests.bench.slack_ack [--seconds 8] [--rate 100] [--rounds 2] [--mode socket|http]
        [--database sqlite|postgresql]

The stand-in workspace sends from this process. `coldframe` is the product's own command, `coldframe slack`, in a
process of its own, on a database as safe as it gets (SQLite with synchronous=FULL; the embedded PostgreSQL as it
comes): each happening is heard, decided and committed into one of two running rounds, notes in the one and a secret
ballot in the other, before it is acknowledged; meanwhile the same process sends what follows from it. With more
`--rounds`, the same people have the ballots of so many others open beside them. `bare` is bolt
alone, given the same payloads, with one durable commit of one row before each acknowledgement. Of every 25: 10 direct
messages (new notes, and old ones deleted), 8 emoji on ballots put and taken, 5 buttons, 2 forms.

Prints median, 99th percentile and maximum in ms, the ratio of the 99th percentiles, what one commit costs here by
itself, and how much of a processor the bot used for each happening. Fails above 150 ms, or when what the rounds hold in
the end is not what was sent.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import gc
import json
import os
import sqlite3
import statistics
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import AsyncIterator, Awaitable, Callable, Coroutine, Iterator
from dataclasses import dataclass, field
from itertools import count, islice
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import psutil

from coldframe.clock import RandomIds, SystemClock
from coldframe.config import load
from coldframe.domain.names import MemberId, NoteId, Side, Step
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import Close, Start
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.state import DEFAULT_LEVERS, Roles, Round, Settings
from coldframe.engine.core import members
from coldframe.engine.core.turn import InlineNumbers, Turn
from coldframe.engine.round import setup
from coldframe.engine.uses import assembled
from coldframe.ports.chat import Capabilities, Person, Place
from coldframe.store.sql import SqlStore
from coldframe.wiring import open_store, seal_secret
from tests import figures
from tests.engine.databases import POSTGRES, SQLITE, a_database
from tests.engine.round_the_clock import ALWAYS
from tests.wire.slack.people import CHANNEL, EIGHT, Someone, settle_in
from tests.wire.slack.screen import _action, _elements
from tests.wire.slack.workspace import APP_TOKEN, BOT, BOT_TOKEN, BOT_USER, SECRET, TEAM, Workspace

LIMIT_MS = 150.0
ACKNOWLEDGED, BARE = (
    "99 of 100 acknowledged within, {}, {}, {} a second",
    "the framework alone, with one durable commit",
)
LOST_MS = 3000.0
QUIET = 10.0  # seconds without a call: all was said
LONGEST_REST = 600.0  # seconds until then
WARM_UP = 2.0
BALLOT_CHANNEL, BALLOT = "C0BALLOT", "Ballot"
OPTIONS = 4
TOP = Path(__file__).parents[2]
F, D = MemberId("U0ANA"), MemberId("U0BEN")
UNHURRIED = (
    "import sys; from coldframe.engine.intake import flood; flood.MOST = 10**6; "
    "from coldframe.__main__ import main; sys.exit(main(sys.argv[1:]))"
)
"""The bot's own command, for eight people who do what hundreds do."""
EMOJI = ("seedling", "herb")
MIX = (
    *("msg", "emoji", "msg", "press", "emoji", "msg", "msg", "emoji", "press", "msg", "form", "emoji", "msg"),
    *("emoji", "msg", "press", "msg", "emoji", "msg", "form", "press", "emoji", "msg", "emoji", "press"),
)


# --- bolt alone, in a process of its own ------------------------------------------------------------------------


@contextlib.asynccontextmanager
async def committing(database: str) -> AsyncIterator[Callable[[], Awaitable[Any]]]:
    """What makes one durable commit of one row."""
    numbers = count()
    if database.startswith("postgresql"):
        import asyncpg

        async with asyncpg.create_pool(database.replace("+asyncpg", "")) as pool:
            await pool.execute("create table if not exists bare (number bigint)")
            yield lambda: pool.execute("insert into bare values ($1)", next(numbers))
        return
    db = sqlite3.connect(Path(database.removeprefix("sqlite:///")).with_name("bare.db"), isolation_level=None)
    for statement in ("pragma journal_mode=wal", "pragma synchronous=full", "create table bare (number integer)"):
        db.execute(statement)

    async def commit() -> None:
        db.execute("insert into bare values (?)", (next(numbers),))

    yield commit
    db.close()


Then = Callable[[Any, dict[str, Any]], Coroutine[Any, Any, Any]]
"""What follows an acknowledgement: (client, payload)."""


async def bare(api_url: str, mode: str, port: int, database: str, then: Then | None = None) -> None:
    """Bolt as its documentation starts it, with one durable commit for each payload, what is to follow, and nothing
    else."""
    async with committing(database) as commit:
        await _acknowledging(api_url, mode, port, commit, then)


async def _acknowledging(
    api_url: str, mode: str, port: int, commit: Callable[[], Awaitable[Any]], then: Then | None
) -> None:
    import re

    import aiohttp
    from slack_bolt.adapter.socket_mode.aiohttp import AsyncSocketModeHandler
    from slack_bolt.async_app import AsyncApp
    from slack_bolt.authorization import AuthorizeResult
    from slack_sdk.web.async_client import AsyncWebClient

    async def authorize(**_: Any) -> AuthorizeResult:
        return AuthorizeResult(enterprise_id=None, team_id=TEAM, bot_user_id=BOT_USER, bot_id=BOT, bot_token=BOT_TOKEN)

    following: set[asyncio.Task[Any]] = set()

    async def nothing(ack: Any, body: dict[str, Any]) -> None:
        await commit()
        if then is not None:
            following.add(task := asyncio.create_task(then(web_client, body)))
            task.add_done_callback(following.discard)
        await ack()

    async with aiohttp.ClientSession() as session:
        web_client = AsyncWebClient(base_url=api_url, session=session)
        # As the product does it: what is acknowledged is committed.
        app = AsyncApp(client=web_client, signing_secret=SECRET, authorize=authorize, process_before_response=True)
        for kind in (app.event, app.action, app.view_submission):
            kind(re.compile(".*", re.DOTALL))(nothing)
        if mode == "socket":
            handler = AsyncSocketModeHandler(app, APP_TOKEN)
            await handler.connect_async()
            await asyncio.Event().wait()
        from aiohttp import web

        runner = web.AppRunner(app.web_app(), access_log=None)
        await runner.setup()
        await web.TCPSite(runner, "127.0.0.1", port).start()
        await asyncio.Event().wait()


# --- two rounds under way ---------------------------------------------------------------------------------------


def others(rounds: int) -> list[str]:
    """Channels of the rounds in which nothing is done."""
    return [f"C0OTHER{number:02}" for number in range(3, rounds + 1)]


async def under_way(database: str, secret: bytes, rounds: int = 2) -> None:
    """A round at its notes in one channel, and one at its dots in each other, for the same eight people."""
    ids = RandomIds()
    store = await open_store(database, secret, ids)
    try:
        chat: Any = SimpleNamespace(capabilities=Capabilities())  # others say what is said
        engine = assembled(store, chat, SystemClock(), ids, InlineNumbers())
        await engine.act("bench/notes", lambda turn: _begun(turn, CHANNEL, "Notes"))
        for channel in (BALLOT_CHANNEL, *others(rounds)):
            name = BALLOT if channel == BALLOT_CHANNEL else channel
            await engine.act(f"bench/{channel}", lambda turn, channel=channel, name=name: _begun(turn, channel, name))
            for number in range(3):
                await engine.act(f"bench/{channel}/{number}", lambda turn, channel=channel: played_on(turn, channel))
    finally:
        await store.close()


async def _begun(turn: Turn, channel: str, name: str) -> None:
    persons = [Person(person, called, zone) for person, called, zone in EIGHT]
    settings = Settings(question="Where do we leak?", levers=DEFAULT_LEVERS)
    place = Place(TEAM, "channel", channel)
    round_ = await setup.open_round(
        turn, place, name, settings, Roles(F, D, MemberId("U0CHI"), MemberId("U0DEV")), persons
    )
    for record in (await turn.uow.members(TEAM, [p.id for p in persons])).values():
        await turn.uow.save_member(members.with_calendar(record, ALWAYS))  # whenever this runs, it is in their hours
    await turn.act(round_, Start(F))


async def played_on(turn: Turn, channel: str = BALLOT_CHANNEL) -> None:
    (head,) = await turn.uow.heads(TEAM, channel=channel)
    round_ = await turn.round(head.id)
    lever = DEFAULT_LEVERS[0][0]
    match round_.step:
        case Step.NOTES:
            for number in range(OPTIONS):
                who = MemberId(EIGHT[number][0])
                text = ("Slow pages", "The bill surprises", "Nobody answers", "Too many mails")[number]
                round_ = await turn.act(round_, WriteNote(who, NoteId(f"n{number}"), lever, Side.RESTRAINING, text))
            await turn.act(round_, Close(F))
        case Step.FOCUS:
            await turn.act(round_, PickFocus(D, lever, "It leaks most of what we win."))
        case _:
            await turn.act(round_, Close(F))


# --- what people send -------------------------------------------------------------------------------------------


@dataclass
class Props:
    """What stands on the people's screens: ballots with lines for emoji, and the open form for a note of each."""

    ballots: dict[str, dict[str, Any]]
    lines: dict[str, list[dict[str, Any]]]
    forms: dict[str, dict[str, Any]]


async def props_of(workspace: Workspace, people: list[Someone]) -> Props:
    """Waits until everything that people need was said; each opens the form."""
    made = Props({}, {}, {})
    for someone in people:
        made.ballots[someone.id] = sheet = await someone.sees(lambda who=someone: _with(who, "vote.cast", BALLOT), 600)
        made.lines[someone.id] = await someone.sees(lambda who=someone, ts=sheet["ts"]: _lines(who, ts), 120)
        prompt = await someone.sees(lambda who=someone: _with(who, "note.write"), 120)
        element = next(e for e in _elements(prompt) if _action(e) == "note.write")
        shown = prompt | {"blocks": [{"type": "actions", "elements": [element]}]}
        while someone.form() is None:
            await someone.press(shown, element["text"]["text"])
            with contextlib.suppress(AssertionError):
                await someone.sees(someone.form, 3)
        made.forms[someone.id] = someone.form() or {}
    return made


def _with(someone: Someone, action: str, about: str = "") -> dict[str, Any] | None:
    found = (m for m in someone.inbox() if any(_action(e) == action for e in _elements(m)))
    return next((m for m in found if about in json.dumps(m)), None)


async def all_said(workspace: Workspace) -> float:
    """Until the bot has nothing more to say of the start, nor to read; the moment of its last call."""
    calls, since = len(workspace.calls), time.monotonic()
    latest = since + LONGEST_REST
    while time.monotonic() - since < QUIET:
        assert time.monotonic() < latest, f"it has not come to rest after {LONGEST_REST:g} s"
        await asyncio.sleep(0.5)
        if len(workspace.calls) != calls:
            calls, since = len(workspace.calls), time.monotonic()
    return since


def _lines(someone: Someone, sheet: str) -> list[dict[str, Any]] | None:
    found = [m for m in someone.inbox() if m.get("thread_ts") == sheet and m["ts"] != sheet]
    return found if len(found) == OPTIONS else None


@dataclass
class Sender:
    """Makes payload after payload, each as Slack would, and keeps count of what the rounds must hold in the end."""

    workspace: Workspace
    people: list[Someone]
    props: Props
    sent: int = 0
    notes: dict[str, list[dict[str, Any]]] = field(default_factory=lambda: defaultdict(list))
    formed: int = 0
    lost: int = 0
    """Not acknowledged in Slack's three seconds, or answered that it could not be kept."""
    overtaking: int = 0
    """Payloads sent before the person's last of the kind was acknowledged: which of the two counts is open."""
    marks: dict[str, set[tuple[str, str]]] = field(default_factory=lambda: defaultdict(set))

    def payloads(self) -> Iterator[tuple[str, str, dict[str, Any]]]:
        """(kind, envelope's type, payload), without end."""
        makers = {"msg": self._message, "emoji": self._emoji, "press": self._press, "form": self._form}
        while True:
            kind = MIX[self.sent % len(MIX)]
            someone = self.people[(self.sent // 3 + self.sent) % len(self.people)]
            self.sent += 1
            yield kind, *makers[kind](someone)

    def _message(self, someone: Someone) -> tuple[str, dict[str, Any]]:
        where, mine = {"channel": someone.direct, "channel_type": "im"}, self.notes[someone.id]
        if len(mine) >= 8:
            old = mine.pop(0)
            gone = {"type": "message", "subtype": "message_deleted", "deleted_ts": old["ts"], "previous_message": old}
            return "events_api", self.workspace.happening({**gone, **where})
        said = {"type": "message", "user": someone.id, "ts": self.workspace.ts()}
        said["text"] = f"- retention: the first invoice surprises, {self.sent}"
        mine.append(said)
        return "events_api", self.workspace.happening({**said, **where})

    def _emoji(self, someone: Someone) -> tuple[str, dict[str, Any]]:
        option, marks = self.props.lines[someone.id][0], self.marks[someone.id]
        mark = option["ts"], EMOJI[self.sent % 2]
        kind = "reaction_removed" if mark in marks else "reaction_added"
        marks.symmetric_difference_update({mark})
        item = {"type": "message", "channel": someone.direct, "ts": mark[0]}
        event = {"type": kind, "user": someone.id, "reaction": mark[1], "item": item, "item_user": BOT_USER}
        return "events_api", self.workspace.happening(event)

    def _press(self, someone: Someone) -> tuple[str, dict[str, Any]]:
        sheet, marks = self.props.ballots[someone.id], self.marks[someone.id]
        mark = sheet["ts"], "button"
        wanted = "vote.back" if mark in marks else "vote.cast"
        marks.symmetric_difference_update({mark})
        pressed = next(e for e in _elements(sheet) if _action(e) == "vote.cast")
        element = pressed | {"action_id": pressed["action_id"].replace("vote.cast", wanted)}
        payload = someone._interaction("block_actions") | {
            "message": sheet,
            "container": {"type": "message", "channel_id": someone.direct, "message_ts": sheet["ts"]},
            "channel": {"id": someone.direct},
            "actions": [{**element, "block_id": "b", "action_ts": self.workspace.ts()}],
            "response_url": f"{self.workspace.address}/respond/{someone.id}/{someone.direct}",
        }
        return "interactive", payload

    def _form(self, someone: Someone) -> tuple[str, dict[str, Any]]:
        view = self.props.forms[someone.id]
        inputs = {b["block_id"]: b["element"] for b in view["blocks"] if b["type"] == "input"}
        state: dict[str, Any] = {}
        for name, element in inputs.items():
            if element["type"] == "plain_text_input":
                state[name] = {"in": {"type": element["type"], "value": f"A form's words, {self.sent}"}}
            else:
                option = _in_turn(element["options"], self.formed)
                state[name] = {"in": {"type": element["type"], "selected_option": option}}
        self.formed += 1
        return "interactive", someone._interaction("view_submission") | {"view": view | {"state": {"values": state}}}


def _in_turn(options: list[Any], number: int) -> Any:
    """One after the other: of one lever nobody may write more than so many notes."""
    return options[number % len(options)]


async def sent_for(seconds: float, rate: int, sender: Sender) -> dict[str, list[float]]:
    """Sends at a fixed rate whatever comes back; times from each sending to its acknowledgement in ms, by kind."""
    gc.collect()
    gc.freeze()  # this process plays Slack: its own looks for garbage are not the bot's time
    delivery, loop = sender.workspace.delivery, asyncio.get_running_loop()
    took: dict[str, list[float]] = defaultdict(list)
    in_flight: Counter[tuple[str, str]] = Counter()

    async def one(kind: str, envelope: str, payload: dict[str, Any]) -> None:
        who = kind, str(payload.get("user") or payload.get("event", {}).get("user"))
        sender.overtaking += in_flight[who] > 0
        in_flight[who] += 1
        answer = await delivery.interaction(envelope, payload)
        in_flight[who] -= 1
        if answer.ok and "errors" not in answer.body:
            took[kind].append(1000 * answer.seconds)
        else:
            took[kind].append(LOST_MS)
            sender.lost += 1

    start, running = loop.time(), set()
    for number, (kind, envelope, payload) in enumerate(islice(sender.payloads(), int(rate * seconds))):
        await asyncio.sleep(max(0.0, start + number / rate - loop.time()))
        running.add(asyncio.ensure_future(one(kind, envelope, payload)))
    await asyncio.gather(*running)
    return took


# --- the measurement ---------------------------------------------------------------------------------------------


@contextlib.asynccontextmanager
async def process(workspace: Workspace, mode: str, words: list[str], settings: dict[str, str]) -> AsyncIterator[int]:
    """The process, serving; gives its id."""
    port = 3000 + os.getpid() % 20_000
    clean = {name: value for name, value in os.environ.items() if "proxy" not in name.lower()}
    started = await asyncio.create_subprocess_exec(
        sys.executable,
        *(*words, "--mode", mode),
        cwd=TOP,
        env={**clean, **settings, "COLDFRAME_PORT": str(port)},
        stderr=asyncio.subprocess.DEVNULL,
    )
    workspace.delivery.addresses = [f"http://127.0.0.1:{port}"] if mode == "http" else []
    try:
        if mode == "http":
            await _listening(port)
        else:
            await workspace.delivery.connected()
        yield started.pid
    finally:
        started.terminate()
        await started.wait()


async def _listening(port: int) -> None:
    while True:
        try:
            _, writer = await asyncio.open_connection("127.0.0.1", port)
        except OSError:
            await asyncio.sleep(0.05)
            continue
        writer.close()
        return


def settings_of(workspace: Workspace, database: str) -> dict[str, str]:
    """Of the bot's own command, in this workspace."""
    return {
        "COLDFRAME_DATABASE": database,
        "COLDFRAME_SECRET": "a passphrase for the bench",
        "COLDFRAME_SLACK_BOT_TOKEN": BOT_TOKEN,
        "COLDFRAME_SLACK_APP_TOKEN": APP_TOKEN,
        "COLDFRAME_SLACK_SIGNING_SECRET": SECRET,
        "COLDFRAME_SLACK_API_URL": workspace.api_url,
    }


async def measured(
    mode: str, kind: str, rate: int, seconds: float, rounds: int
) -> tuple[dict[str, list[float]], dict[str, list[float]]]:
    """(times of the bot at work, times of bolt alone given the same), by kind of payload."""
    workspace = Workspace()
    await workspace.start()
    people = list(settle_in(workspace).values())
    for channel in (BALLOT_CHANNEL, *others(rounds)):
        workspace.add_channel(channel, channel.lower(), [someone.id for someone in people])
    try:
        with tempfile.TemporaryDirectory() as folder, a_database(kind, Path(folder)) as database:
            settings = settings_of(workspace, database)
            secret = seal_secret(load(settings))
            await under_way(database, secret, rounds)
            async with process(workspace, mode, ["-c", UNHURRIED, "slack"], settings) as bot:
                sender = Sender(workspace, people, await props_of(workspace, people))
                await all_said(workspace)
                await sent_for(WARM_UP, rate, sender)
                calls, worked = len(workspace.calls), processor(bot)
                ours = await sent_for(seconds, rate, sender)
                calls, worked = len(workspace.calls) - calls, processor(bot) - worked
                weight = megabytes(bot)
            found = await checked(database, secret, sender)
            print(
                f"{mode:7} {kind:10} {found}; meanwhile {calls} calls of the Web API; the bot "
                f"used {1000 * worked / (rate * seconds):.1f} ms of a processor for each happening"
            )
            words = ["-m", "tests.bench.slack_ack", "--child", "--api-url", workspace.api_url, "--address", database]
            async with process(workspace, mode, words, {}) as floor:
                again = Sender(workspace, people, sender.props)
                await sent_for(WARM_UP, rate, again)
                worked = processor(floor)
                alone = await sent_for(seconds, rate, again)
                worked = processor(floor) - worked
                held = megabytes(floor)
            print(f"{mode:7} {kind:10} bare bolt used {1000 * worked / (rate * seconds):.1f} ms for each")
            figures.note(f"memory of the process after it, {mode}, {kind}", weight, "MB", held, BARE)
            return ours, alone
    finally:
        await workspace.close()


async def checked(database: str, secret: bytes, sender: Sender) -> str:
    """Whether everything acknowledged is in the rounds, and nothing else, in words."""
    store = await open_store(database, secret, RandomIds())
    try:
        noted, voted = await _round(store, CHANNEL), await _round(store, BALLOT_CHANNEL)
    finally:
        await store.close()
    notes = sum(map(len, sender.notes.values())) + sender.formed
    marks = sum(map(len, sender.marks.values()))
    held = sum(map(len, voted.dots.marks.values())) if voted.dots else 0
    if sender.lost:
        return f"{sender.lost} were not acknowledged in time, so what the rounds hold was not compared"
    if len(noted.notes) != notes or abs(held - marks) > sender.overtaking:
        found = f"{len(noted.notes)} and {held}, and {sender.overtaking} overtook others"
        raise SystemExit(f"sent {notes} notes and {marks} marks; the rounds hold {found}")
    return "both rounds hold what was sent"


async def _round(store: SqlStore, channel: str) -> Round:
    async with store.begin() as uow:
        (head,) = await uow.heads(TEAM, channel=channel)
        found = await uow.round(head.id)
    assert found is not None
    return found


def processor(process: int) -> float:
    """Seconds of processor time that the process has used, where the system tells them."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()
    except OSError:
        return float("nan")
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def megabytes(process: int) -> float:
    """What it holds of the machine's memory."""
    return float(psutil.Process(process).memory_info().rss) / 2**20


async def disk() -> list[float]:
    """What one durable commit takes by itself here and now, in ms: the part of the time that no program can save."""
    out = []
    with tempfile.TemporaryDirectory() as folder:
        async with committing(f"sqlite:///{folder}/a.db") as commit:
            for _ in range(300):
                started = time.perf_counter()
                await commit()
                out.append(1000 * (time.perf_counter() - started))
    return out


def p99(values: list[float]) -> float:
    return statistics.quantiles(values, n=100)[98]


def shown(values: list[float]) -> str:
    return f"median {statistics.median(values):5.1f} ms, p99 {p99(values):5.1f} ms, most {max(values):5.1f} ms"


async def main(modes: list[str], databases: list[str], rate: int, seconds: float, rounds: int = 2) -> int:
    worst = 0.0
    print(f"{rounds} rounds; one commit alone: {shown(await disk())}; load of this machine {os.getloadavg()[0]:.1f}")
    for mode in modes:
        for database in databases:
            ours, alone = await measured(mode, database, rate, seconds, rounds)
            for name, times in (("coldframe", ours), ("bare", alone)):
                values = [value for each in times.values() for value in each]
                print(f"{mode:7} {database:10} {name:9} {len(values)} at {rate}/s: {shown(values)}")
                if name == "coldframe":
                    print("".join(f"{'':19}{kind:9} {shown(each)}\n" for kind, each in sorted(times.items())), end="")
            whole, floor = (p99([v for each in times.values() for v in each]) for times in (ours, alone))
            print(f"{mode:7} {database:10} ratio of p99, coldframe to bare: {whole / floor:.2f}", flush=True)
            within = ACKNOWLEDGED.format(mode, database, rate) + (f", {rounds} rounds" if rounds > 2 else "")
            figures.note(within, whole, "ms", floor, BARE, LIMIT_MS)
            worst = max(worst, whole)
    print(f"p99 at most {worst:.1f} ms; limit {LIMIT_MS:g} ms: {'kept' if worst < LIMIT_MS else 'BROKEN'}")
    return 0 if worst < LIMIT_MS else 1


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mode", choices=["socket", "http"])
    parser.add_argument("--database", choices=[SQLITE, POSTGRES])
    parser.add_argument("--rate", type=int, default=100)
    parser.add_argument("--seconds", type=float, default=8)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--child", action="store_true")
    parser.add_argument("--api-url")
    parser.add_argument("--address")
    given = parser.parse_args()
    if given.child:
        asyncio.run(bare(given.api_url, given.mode, int(os.environ["COLDFRAME_PORT"]), given.address))
    else:
        ways = [given.mode] if given.mode else ["socket", "http"]
        stores = [given.database] if given.database else [SQLITE, POSTGRES]
        sys.exit(asyncio.run(main(ways, stores, given.rate, given.seconds, given.rounds)))
