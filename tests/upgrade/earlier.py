"""Databases that an earlier release left: opened by today's code, pressed, and played on.

Each stop is an archive of the files of a bot and its room, as they stood when the process ended in the middle of a
round. `answers.json` holds what came of every button that stood there and of every form that was open, under the
release that left them, and to which step the round went on. It is never made anew.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
import tarfile
from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from contextlib import AbstractAsyncContextManager, asynccontextmanager, closing, suppress
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal

from coldframe.chat.room.records import Record
from coldframe.chat.room.service import Room
from coldframe.clock import ManualClock, SeededIds
from coldframe.domain.round.undoing import UNDO_FOR
from coldframe.engine.delivery import downtime
from coldframe.engine.round import sheets
from coldframe.message.nodes import Button, Buttons, Field, Form, Message
from coldframe.players.scenario import Scenario, load
from coldframe.ports.chat import Reply
from coldframe.render.room import message_text
from coldframe.wiring import House, room_house
from demo.play import Memory, Play

FIRST = Path(__file__).with_name("data") / "first"
SECRET = b"a secret for tests, 32 bytes long"
CHANNEL = "growth"
SEED = 11
AWAY = timedelta(days=3)
BESIDE = frozenset({"inbox", "outbox", "posts", "due", "counters", "sqlite_sequence"})
"""Tables that say what was heard, sent and waits; the others hold what people decided."""


DECIDED = {"members": "select tenant, id, name, json_remove(doc, '$.told_privacy') from members"}
"""Of tables that say both, what people decided."""


ASKED_SINCE = {"commitment": timedelta(days=4)}
"""What people are asked for by now in these steps, and were not then, takes them so much longer."""


class Blank:
    """Draws nothing, at once."""

    async def draw(self, chart: object, form: str = "png") -> bytes:
        return b"picture"


class Enough(Exception):
    """The play has come to the moment that was wanted."""


@dataclass(frozen=True)
class Shown:
    """A button under somebody's eyes; without a message it stands in a passing word or on their own page."""

    person: str
    message: str | None
    action: str
    value: str


@dataclass(frozen=True)
class Sheet:
    """A form that stood open on somebody's screen, and what they write into it."""

    person: str
    action: str
    value: str
    fields: dict[str, str]


@dataclass(frozen=True)
class Stop:
    """Where a round stood when its process ended, and when it was a step further."""

    name: str
    moment: datetime
    until: datetime
    step: str
    next_step: str
    buttons: tuple[Shown, ...]
    sheets: tuple[Sheet, ...] = ()

    def words(self) -> str:
        return json.dumps(asdict(self), default=str, ensure_ascii=False, indent=0)


@dataclass(frozen=True)
class Answer:
    """What came of an act: `changed`, `form`, or `told` when it was refused or merely answered; and all that could be
    read then."""

    kind: str
    words: tuple[str, ...]


# --- the files ----------------------------------------------------------------------------------------------------


def scenario(folder: Path = FIRST) -> Scenario:
    return load((folder / "scenario.yaml").read_text(encoding="utf-8"))


def unpack(name: str, into: Path, data: Path = FIRST) -> Stop:
    """The files of a stop, in a folder of their own."""
    into.mkdir(parents=True, exist_ok=True)
    with tarfile.open(data / f"{name}.tar.xz") as archive:
        archive.extractall(into, filter="data")
    return read_stop(into)


def read_stop(folder: Path) -> Stop:
    told = json.loads((folder / "stop.json").read_text(encoding="utf-8"))
    moments = {key: datetime.fromisoformat(told[key]) for key in ("moment", "until")}
    buttons = tuple(Shown(**one) for one in told["buttons"])
    return Stop(**{**told, **moments, "buttons": buttons, "sheets": tuple(Sheet(**one) for one in told["sheets"])})


def _house(folder: Path, clock: ManualClock) -> AbstractAsyncContextManager[House]:
    files = {"database": f"sqlite:///{folder / 'bot.db'}", "room_file": str(folder / "room.db")}
    return room_house(clock, secret=SECRET, ids=SeededIds(SEED), draughtsman=Blank(), **files)


@asynccontextmanager
async def opened(folder: Path, at: datetime) -> AsyncIterator[House]:
    """The bot on these files, with what waited in them sent."""
    async with _house(folder, ManualClock(at)) as house:
        await _wake(house)
        yield house


async def _wake(house: House) -> None:
    await house.room.redeliver()
    await house.engine.settle()


# --- buttons ------------------------------------------------------------------------------------------------------


def standing(room: Room) -> list[Shown]:
    """Every button in the chats with everybody who sees it; one that stands in several places alike, once."""
    people = [p.id for p in room.log.members(CHANNEL)]
    found: dict[tuple[str, str, str, str], Shown] = {}
    for person in people:
        for place, message, button in _seen(room, person):
            found[person, place, button.action, button.value] = Shown(person, message, button.action, button.value)
    return list(found.values())


def _seen(room: Room, person: str) -> Iterator[tuple[str, str | None, Button]]:
    for record in room.all_messages():
        if record.message is not None and not record.gone and room.sees(person, record.place):
            yield from ((record.place.kind, record.id, b) for b in _buttons(record.message))
    own = [room.log.home(person), *(note.message for note in room.notes(person))]
    yield from (("own", None, b) for card in own if card is not None for b in _buttons(card))


def _buttons(card: Message) -> list[Button]:
    return [b for block in card.blocks if isinstance(block, Buttons) for b in block.buttons]


async def act(house: House, folder: Path, what: Shown | Sheet) -> Answer:
    """Presses as if on a screen that was not drawn anew since, or sends a form that stood open."""
    room, before = house.room, kept(folder)
    revision = room.log.revision()
    if isinstance(what, Shown):
        reply = await room.press(what.person, what.message, what.action, what.value, forged=True)
    else:
        reply = await room.submit(what.person, what.action, what.value, what.fields)
    await house.engine.settle()
    assert not room.failures, room.failures
    kind = "changed" if kept(folder) != before else "form" if reply.form is not None else "told"
    return Answer(kind, (*_reply(reply), *(_record(r) for r in room.all_messages(above=revision))))


def _reply(reply: Reply) -> list[str]:
    """What the person reads at once."""
    said = [f"{field}! {words}" for field, words in reply.errors.items()]
    said += [f"note: {message_text(reply.note)}"] if reply.note is not None else []
    return said + ([_form(reply.form)] if reply.form is not None else [])


def _form(form: Form) -> str:
    fields = (
        f"{f.label} ({f.hint}) [{f.initial}] {' / '.join(option.label for option in f.options)}" for f in form.fields
    )
    return "\n".join((f"form: {form.title}", *fields))


def _record(record: Record) -> str:
    who = f"{record.place.kind} {record.place.id}, {record.author}: "
    if record.gone:
        return f"{who}(gone)"
    card = message_text(record.message) if record.message is not None else record.text or ""
    files = "".join(f"[{file.name}]" for file in record.files)
    return who + card + files


def kept(folder: Path) -> str:
    """A mark of what people decided: it differs when anything of it does."""
    mark = hashlib.sha256()
    with closing(sqlite3.connect(folder / "bot.db")) as database:
        names = [name for (name,) in database.execute("select name from sqlite_master where type = 'table'")]
        for name in sorted(set(names) - BESIDE):
            mark.update(
                repr((name, database.execute(DECIDED.get(name, f'select * from "{name}"')).fetchall())).encode()
            )
    return mark.hexdigest()


async def answered(
    files: Path, stop: Stop, acts: Sequence[Shown | Sheet], kinds: Sequence[str], numbers: Sequence[int], work: Path
) -> list[Answer]:
    """Does these acts. Those of which nothing changes share a copy of the files, each other has its own."""
    alone = [[n] for n in numbers if kinds[n] == "changed"]
    calm = [n for n in numbers if kinds[n] != "changed"]
    answers: dict[int, Answer] = {}
    for copy in (calm, *alone) if calm else alone:
        async with _on_a_copy(files, stop, work) as (house, folder):
            answers |= {n: await act(house, folder, acts[n]) for n in copy}
    return [answers[n] for n in numbers]


@asynccontextmanager
async def _on_a_copy(files: Path, stop: Stop, work: Path) -> AsyncIterator[tuple[House, Path]]:
    folder = work / "copy"
    shutil.copytree(files, folder)
    async with opened(folder, stop.moment) as house:
        yield house, folder
    shutil.rmtree(folder)


WRITTEN = {"date": "in 12 days", "until": "in 12 days", "actions": "Ring the first guest | in 2 working days"}


def filled_in(form: Form) -> dict[str, str]:
    """What somebody might write: what stands there, and something for whatever must be filled in."""
    return {f.name: f.initial or (_written(f) if f.required else "") for f in form.fields}


def _written(field: Field) -> str:
    if field.shape in ("choice", "choices"):
        return field.options[0].value if field.options else ""
    shapes = {"number": "3", "tick": "yes", "date": "2026-06-01"}
    return WRITTEN.get(field.name) or shapes.get(field.shape, "Written before the light went out")


# --- going on -----------------------------------------------------------------------------------------------------


async def go_on(folder: Path, stop: Stop, played: Scenario) -> Answer:
    """The scenario's people and the clock, to the moment after `until`, and as much longer as what somebody decides may
    be undone, and as what they are asked for takes: from which step to which, and what was said or changed."""
    clock, longer = ManualClock(stop.moment), ASKED_SINCE.get(stop.name, timedelta())
    until = stop.until + UNDO_FOR["days"] + longer
    async with _house(folder, clock) as house:
        await sheets.look_after(house.kit)
        before = {r.id: r.revision for r in house.room.all_messages()}
        was = await _step(house)
        memory = Memory(folder / "play.txt")
        play = Play(played, house, clock, memory=memory)

        def watch() -> None:
            if clock.now() > until:
                raise Enough

        play.watch = watch
        with suppress(Enough), closing(memory):
            await play.run()
        news = [r for r in house.room.all_messages() if before.get(r.id) != r.revision and r.at <= until]
        return Answer(f"{was} to {await _step(house)}", tuple(map(_record, news)))


async def _step(house: House) -> str:
    """Of the channel's first round."""
    async with house.store.begin() as uow:
        ended = await uow.ended_rounds("room", CHANNEL)
        running = [head.id for head in await uow.heads("room", channel=CHANNEL)]
        step = await uow.step_of([*running, *ended][-1])
    return str(step)


async def come_back(folder: Path, stop: Stop) -> Answer:
    """The bot starts again days after it ended: what had fallen due meanwhile is done or moved, and told.
    `longer` where a step that was open has more time for it."""
    clock = ManualClock(stop.moment + AWAY)
    async with _house(folder, clock) as house:
        revision, closes = house.room.log.revision(), await _closes(house)
        await downtime.look_back(house.kit)
        await _wake(house)
        longer = any(at > closes[name] for name, at in (await _closes(house)).items() if name in closes)
        said = map(_record, house.room.all_messages(above=revision))
        return Answer("longer" if longer else "back", tuple(said))


async def _closes(house: House) -> dict[str, datetime]:
    """When the open steps of the channel's rounds close."""
    async with house.store.begin() as uow:
        rounds = [await uow.round(head.id) for head in await uow.heads("room", channel=CHANNEL)]
    return {f"{r.id}/{r.step}": r.progress.due for r in rounds if r is not None and r.progress.due is not None}


# --- what was answered --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Came:
    """What came of pressing a button or sending a form: `changed`, `form` or `told`."""

    action: str
    kind: str


@dataclass(frozen=True)
class Then:
    """What came of every press and every form at one stop, and from which step to which the round went on."""

    conversation: str
    buttons: tuple[Came, ...]
    sheets: tuple[Came, ...]


def read_answers(data: Path = FIRST) -> dict[str, Then]:
    """By stop."""
    told = json.loads((data / "answers.json").read_text(encoding="utf-8"))
    return {stop: Then(one["conversation"], _came(one["buttons"]), _came(one["sheets"])) for stop, one in told.items()}


def _came(rows: Sequence[str]) -> tuple[Came, ...]:
    return tuple(Came(*row.split()) for row in rows)


def one_of_each(told: Mapping[str, Then], what: Literal["buttons", "sheets"]) -> dict[str, list[int]]:
    """By stop the numbers of acts that together show every action with what came of it once."""
    first: dict[Came, tuple[str, int]] = {}
    for stop, then in told.items():
        for number, came in enumerate(getattr(then, what)):
            first.setdefault(came, (stop, number))
    return {stop: [n for at, n in first.values() if at == stop] for stop in told}
