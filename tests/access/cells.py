"""Tries the cells of the table: people of each kind do and read everything there is, and what came of it is judged by
what is stored and what is read, against the table as it is printed; never by what the code says of itself.

An act goes through the engine's front door, in a transaction that is undone afterwards, so that one phase serves any
number of them (tests/engine/pressing.py). The kinds of people are made so by what the platform knows of them, and by
what the bot has heard.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import count
from random import Random

from coldframe.domain.commands import BOT
from coldframe.domain.names import RUNNING, MemberId, PlanId, Role
from coldframe.domain.people.commands import Join
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Trial
from coldframe.domain.who_may import BY_WAY, TABLE, About, Act, Cell, Who, cell
from coldframe.engine.core.turn import TAKE_BACK
from coldframe.engine.uses import USES, front_door
from coldframe.message.nodes import Message, TextFile, plain
from coldframe.ports.chat import (
    Commanded,
    Happening,
    HomeOpened,
    Inbound,
    Person,
    Place,
    Pressed,
    Reacted,
    Reply,
    Said,
    Submitted,
)
from coldframe.ports.storage import Send
from tests.domain.play import F
from tests.engine.clockwork import Running
from tests.engine.pressing import Heard, Standing, Thing, Things, Undone, standing
from tests.engine.seeing_through import CHANNEL, words
from tests.upgrade.earlier import filled_in

ELSEWHERE = "elsewhere"  # another workspace


@dataclass(frozen=True)
class Kind:
    """Somebody of a kind. `heard`: the bot was told that they went; of others only the platform knows."""

    who: Who
    person: Person
    in_channel: bool = True
    seated: bool = False
    heard: bool = True
    tenant: str = "room"


PEOPLE: Mapping[str, Kind] = {
    "nora": Kind(Who.ADMITTED, Person("nora", "Nora", is_guest=True), seated=True),
    "gus": Kind(Who.GUEST, Person("gus", "Gus", is_guest=True)),
    "mel": Kind(Who.MEMBER, Person("mel", "Mel")),
    "lena": Kind(Who.LEFT, Person("lena", "Lena"), in_channel=False, seated=True),
    "leo": Kind(Who.LEFT, Person("leo", "Leo"), in_channel=False, seated=True, heard=False),
    "dan": Kind(Who.LEFT, Person("dan", "Dan", is_gone=True), seated=True, heard=False),
    "otto": Kind(Who.LEFT, Person("otto", "Otto"), in_channel=False),
    "fran": Kind(Who.FOREIGN, Person("fran", "Fran", is_foreign=True)),
    "bert": Kind(Who.BOT, Person("bert", "Bert", is_bot=True)),
    "tess": Kind(Who.LEFT, Person("tess", "Tess"), in_channel=False, tenant=ELSEWHERE),
}
"""Beside those who have parts in the round. `otto` was never there; `tess` belongs to another workspace."""
CLOSED = (Who.GUEST, Who.LEFT, Who.FOREIGN, Who.BOT)
SECRETS = (
    "The bill", "slow pages", "too many mails", "no pause button", "Title of", "Hypothesis of", "greet new teams",
    "What holds our growth", "A library", "are in", "No round is open in",
)  # fmt: skip
"""Words of the team's: of its notes, questions, plans and trials, and of where they stand."""
REFUSED = (
    "You aren't in the channel", "You're a guest here", "you belong to another", "You aren't taking part",
    "No round of yours is open", "That is for", "That belongs to somebody else", "I can't see just now who",
)  # fmt: skip
"""How a refusal by the table begins."""
SAYS: Mapping[Who, tuple[str, ...]] = {
    Who.LEFT: (
        "You aren't in the channel",
        "You aren't taking part",
        "No round of yours is open",
        "I can't see just now who",
    ),
    Who.GUEST: ("You're a guest here", "You aren't taking part", "No round of yours is open"),
    Who.FOREIGN: ("you belong to another", "You aren't taking part", "I can't see just now"),
    Who.MEMBER: ("You aren't taking part", "No round of yours is open", "That is for"),
}
"""What somebody is told to whom it is closed: the reason, and what they can do."""
WORDS = {
    "add": "add Gus", "away": "away until 2026-06-01", "hide": "hide The bill",
    "search": "search bill",
}  # fmt: skip
"""Each word of the command as people type it."""
QUIET = frozenset({"the bot's own page", "emoji on an option"})
"""Ways by which somebody does not turn to the bot: to outsiders nothing is said."""


# --- making them so -------------------------------------------------------------------------------------------------


async def bring(team: Running) -> None:
    """Brings people of every kind into the team's world, once, while notes are open."""
    room = team.house.room
    others = [name for name, kind in PEOPLE.items() if kind.seated and kind.who is not Who.ADMITTED]
    seated = [Join(BOT, MemberId(name), PEOPLE[name].person.name) for name in others]
    for kind in PEOPLE.values():
        if kind.tenant == "room":
            room.add_person(replace(kind.person, is_gone=False), *([CHANNEL] if kind.in_channel or kind.seated else []))
    await team.act("people of every kind", *seated)
    for name in (name for name, kind in PEOPLE.items() if kind.who is Who.ADMITTED):
        await team.command(F, f"add {PEOPLE[name].person.name} to {team.round.name}")
    for name, kind in PEOPLE.items():
        if kind.seated and not kind.in_channel:
            await room.leave(name, CHANNEL) if kind.heard else room.log.drop_member(CHANNEL, name)
        if kind.person.is_gone:
            room.log.put_person(kind.person)
    await team.settle()


# --- what somebody is -----------------------------------------------------------------------------------------------


def kinds_of(by: str, act: Act, subject: Round | Trial | None, plan: str = "") -> frozenset[Who]:
    """Told from the record alone, and from how the person was made. `plan`: the chosen one that it is about."""
    if by in PEOPLE:
        let_in = PEOPLE[by].who is Who.ADMITTED
        of_round = TABLE[act].about is About.ROUND and isinstance(subject, Round)
        elsewhere = let_in and of_round and by not in subject.active()
        return frozenset({Who.GUEST if elsewhere else PEOPLE[by].who})
    me, found = MemberId(by), {Who.SEATED}
    if isinstance(subject, Round):
        found |= {Who.FACILITATOR} if subject.roles.acting(Role.FACILITATOR) == me else set()
        found |= {Who.DECISION_MAKER} if subject.roles.acting(Role.DECISION_MAKER) == me else set()
        chosen = subject.choices.get(PlanId(plan))
        found |= {Who.OWNER} if chosen is not None and chosen.owner == me else set()
    elif isinstance(subject, Trial):
        held = {Who.FACILITATOR: subject.facilitator, Who.OWNER: subject.owner, Who.DEPUTY: subject.deputy}
        found |= {who for who, holder in held.items() if holder == me}
    return frozenset(found)


def expected(act: Act, kinds: frozenset[Who], *, own: bool) -> Cell:
    """What the table says of somebody who is all this. A part that gives nothing takes nothing away."""
    asked = kinds | ({Who.ITS_OWN} if own and Who.SEATED in kinds else set())
    found = {cell(act, who) for who in asked}
    return next(each for each in (Cell.YES, Cell.IF, Cell.NO) if each in found)


# --- what they do ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Try:
    """One cell: somebody does one thing somewhere."""

    act: Act
    way: str
    by: str
    place: Place
    what: Happening
    subject: Round | Trial | None = None
    own: bool = False
    typed: str = ""
    plan: str = ""

    @property
    def surface(self) -> str:
        return f"{type(self.what).__name__} {'in the channel' if self.place.kind == 'channel' else 'in private'}"


class _Undone(Undone):
    """One transaction at a time: what was set aside for somebody stays so."""

    def has_parked(self, place: Place) -> bool:
        return False


@dataclass
class Cells:
    """The team's phase, and all that anybody can do in it."""

    team: Running
    things: Things = field(default_factory=Things)
    tried: Counter[tuple[Act, Who, str]] = field(default_factory=Counter)
    effects: Counter[tuple[Act, Who]] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    phase: str = ""
    _numbers: Iterator[int] = field(default_factory=lambda: count(1))
    _begin: Standing = field(default_factory=lambda: Standing({}, {}))

    def __post_init__(self) -> None:
        self._store = _Undone(self.team.house.store)
        self._engine = front_door(replace(self.team.house.kit, store=self._store))  # type: ignore[arg-type]

    async def look(self, phase: str) -> None:
        """Begins a phase: takes down all that stands in the chats now."""
        self.phase = phase
        async with self.team.house.store.begin() as work:
            self._begin = await standing(work)
        for record in self.team.house.room.all_messages():
            if record.message is not None and not record.gone:
                self.things.message(record.place, record.message, record.id)

    # --- everything there is ---

    def everybody(self) -> list[str]:
        round_ = self._begin.rounds[self.team.round.id]
        return [*PEOPLE, *(m for m in round_.active() if m not in PEOPLE)]

    def presses(self, rnd: Random) -> Iterator[Try]:
        """One of each kind of button and form, by everybody; by whoever has it as well."""
        for found in self.things.of_kind().values():
            thing = rnd.choice(found)
            people = [*self.everybody(), *([thing.place.id] if thing.place.kind == "direct" else [])]
            yield from (self._press(thing, by) for by in dict.fromkeys(people))

    def _press(self, thing: Thing, by: str) -> Try:
        act = BY_WAY[thing.action]
        fields = filled_in(thing.form) if thing.form is not None else None
        what: Happening = Pressed(thing.action, thing.value, thing.message)
        if fields is not None:
            what = Submitted(thing.action, thing.value, fields)
        subject = self._begin.rounds.get(thing.made.subject) or self._begin.trials.get(thing.made.subject)
        if TABLE[act].about is About.TEAM:
            subject = self._begin.rounds[self.team.round.id]
        own = thing.place.kind == "direct" and thing.place.id == by
        place = self._place(thing.place.kind, by)
        typed, plan = "\n".join((fields or {}).values()), next(iter(thing.made.rest), "")
        return Try(act, thing.action, by, place, what, subject, own, typed, plan)

    def words(self) -> Iterator[Try]:
        """Each word as a command and as a mention in the channel, as a command and alone in private."""
        round_ = self._open_round()
        for word in ("", *sorted(USES.words)):
            text, act = WORDS.get(word, word), BY_WAY.get(f"/{word}", Act.PANEL)
            subject = round_ if TABLE[act].about is not About.PERSON else None
            for by in self.everybody():
                for kind in ("channel", "direct"):
                    place = self._place(kind, by)
                    yield Try(act, f"/{word}", by, place, Commanded(text), subject, typed=text)
                    said = Said(text or "help", f"w{next(self._numbers)}", mentioned=True)
                    yield Try(act if text else Act.HELP, f"/{word}", by, place, said, subject, typed=text)

    def _open_round(self) -> Round:
        """The one that a word means: the first, as long as it is under way."""
        first = self._begin.rounds[self.team.round.id]
        others = [round_ for round_ in self._begin.rounds.values() if round_.step in RUNNING]
        return first if first.step in RUNNING or not others else others[0]

    def lines(self) -> Iterator[Try]:
        """What is typed in private, and signs under what stands there."""
        round_ = self._begin.rounds[self.team.round.id]
        trial = next((t for t in self._begin.trials.values()), None)
        for by in self.everybody():
            direct = self._place("direct", by)
            note = Said("- retention: Something that only I know", f"l{next(self._numbers)}")
            yield Try(Act.WRITE, "a line in private", by, direct, note, round_, typed=note.text)
            asked = Said("How might we know only this?", f"l{next(self._numbers)}")
            yield Try(Act.SUGGEST, "a line that begins like a question", by, direct, asked, round_, typed=asked.text)
            if trial is not None and (by in PEOPLE or Who.OWNER in kinds_of(by, Act.LOG, trial)):
                numbers = Said("control 400/80, trial 390/82", f"l{next(self._numbers)}")
                yield Try(Act.LOG, "numbers or a file in private", by, direct, numbers, trial, typed=numbers.text)
            now = Said("what now", f"l{next(self._numbers)}")
            yield Try(Act.PANEL, "the question what now", by, direct, now, round_, typed=now.text)
            yield Try(Act.MINE, "the bot's own page", by, direct, HomeOpened())
        yield from self._signs(round_)

    def _signs(self, round_: Round) -> Iterator[Try]:
        """On one's own messages alone: under somebody else's they mean nothing."""
        for record in self.team.house.room.all_messages():
            if record.message is None or record.gone or record.place.kind != "direct" or not record.message.seeds:
                continue
            sign, owner = record.message.seeds[0], record.place.id
            for by in dict.fromkeys((owner, *self.everybody())):
                yield Try(Act.VOTE, "emoji on an option", by, self._place("direct", by), Reacted(record.id, sign, True),
                          round_, own=by == owner)  # fmt: skip

    def _place(self, kind: str, by: str) -> Place:
        tenant = PEOPLE[by].tenant if by in PEOPLE else "room"
        return Place(tenant, "channel", CHANNEL) if kind == "channel" else Place(tenant, "direct", by)

    # --- trying ---

    def everything(self, rnd: Random) -> list[Try]:
        return [*self.words(), *self.lines(), *self.presses(rnd)]

    async def all_of(self, tries: Iterable[Try]) -> None:
        for one in tries:
            await self.one(one)

    async def one(self, one: Try) -> None:
        async with self._store.walk() as work:
            event = Inbound(f"try/{next(self._numbers)}", one.by, one.place, self.team.clock.now(), one.what)
            reply = await self._engine.receive(event)
            after = await standing(work.work) if work.wrote else self._begin
            outcome = Outcome(one, self._begin != after, reply, tuple(work.told), _keeps(work))
        kinds = kinds_of(one.by, one.act, one.subject, one.plan)
        cell_ = expected(one.act, kinds, own=one.own)
        for who in kinds:
            self.tried[one.act, who, one.surface] += 1
            if outcome.has_effect:
                self.effects[one.act, who] += 1
        self.things.reply(one.place, reply)
        if problem := outcome.problem(cell_, kinds):
            self.wrong.append(
                f"{self.phase}: {one.by} ({', '.join(sorted(kinds))}) {one.act.name} by {one.way} ({one.surface}): "
                f"{problem}; read {outcome.read()[:200]!r}"
            )


def _keeps(work: Heard) -> bool:
    """Whether something is still to come; a text that was handed back only goes again."""
    return any(due.kind != TAKE_BACK for due in work.to_come)


@dataclass(frozen=True)
class Outcome:
    """What came of it."""

    one: Try
    changed: bool
    reply: Reply
    sends: tuple[Send, ...]
    goes_on: bool

    def read(self) -> str:
        """All that this person reads of it, files and their own page included."""
        own = [s.message for s in self.sends if s.message and s.place.kind == "direct" and s.place.id == self.one.by]
        shown = [m for m in (self.reply.note, *own) if m is not None]
        files = [s.attachment.text for s in self.sends if isinstance(s.attachment, TextFile)]
        return "\n".join((*self.reply.errors.values(), *map(_text, shown), *files, *self._form()))

    def _form(self) -> list[str]:
        form = self.reply.form
        if form is None:
            return []
        fields = [f"{f.label} {f.initial} {' '.join(o.label for o in f.options)}" for f in form.fields]
        return [form.title, plain(form.intro), *fields]

    @property
    def has_effect(self) -> bool:
        refused = any(words_ in self.read() for words_ in REFUSED)
        return (self.changed or self.goes_on or self.reply.form is not None or bool(self.read())) and not refused

    def problem(self, cell_: Cell, kinds: frozenset[Who]) -> str:
        if cell_ is Cell.NO:
            return self._closed(kinds)
        refused = any(words_ in self.read() for words_ in REFUSED)
        if cell_ is Cell.YES and refused and self.one.act is not Act.ANSWER_BACK:  # that does what was typed
            return "is refused what the table allows"
        return ""

    def _closed(self, kinds: frozenset[Who]) -> str:
        if self.changed or self.goes_on:
            return "changed something"
        if self.reply.form is not None:
            return "opened a form"
        if others := [s.name for s in self.sends if s.place.id != self.one.by]:
            return f"was told to others: {others}"
        if Who.BOT in kinds:
            return "a bot got an answer" if self.read() else ""
        return self._is_told(kinds)

    def _is_told(self, kinds: frozenset[Who]) -> str:
        read = self.read()
        for typed in (line for line in self.one.typed.splitlines() if " " in line):
            read = read.replace(typed, "")
        closed = kinds & {*CLOSED, Who.MEMBER}
        if closed and (seen := [secret for secret in SECRETS if secret in read]):
            return f"saw {seen}"
        if self.one.way in QUIET:
            return ""
        says = [words_ for who in closed for words_ in SAYS[who]]
        if closed and not any(words_ in read for words_ in (*says, *OVER)):
            return "is not told why"
        return "" if read else "is not answered"


OVER = (
    "Nothing is open for you", "No round is open for you", "None of your", "no longer there", "isn't resting",
    "No single note", "No rounds", "No trials are under",
    "belongs to a channel", "in the channel of the team", "of yours yet",
    "moved on since", "nothing to undo", "no team of yours", "I'm not in the team",
)  # fmt: skip
"""What says as well that there is nothing of theirs."""


def _text(message: Message) -> str:
    return f"{plain(message.summary)}\n{words(message)}"
