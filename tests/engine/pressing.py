"""Presses every kind of button and form in every phase of rounds and their trials, and judges what comes of each.

A press goes through the engine's front door, in a transaction that is undone afterwards, so that one phase serves any
number of presses; a walk is several of them in one such transaction, so that the later ones meet what the earlier left.
What is judged is told from the value alone: the step, week, action, review, offer or owner that it was made for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import AsyncIterator, Iterable, Iterator, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import count
from random import Random
from typing import Any

from coldframe.domain.names import RUNNING, MemberId, Role, Step
from coldframe.domain.round.undoing import may_settle
from coldframe.domain.state import Round
from coldframe.domain.trial import guarding
from coldframe.domain.trial.signing import asked_about
from coldframe.domain.trial.state import OPEN_STEPS, Trial, TrialStep
from coldframe.engine.engine import Engine
from coldframe.engine.intake.submissions import is_picked
from coldframe.engine.round.steps import PLAYS
from coldframe.engine.uses import USES, front_door
from coldframe.message.nodes import Button, Buttons, Form, Message, Quoted, plain
from coldframe.message.packed import ButtonValue, MadeFor
from coldframe.ports.chat import Happening, Inbound, Person, Place, Pressed, Reply, Submitted
from coldframe.ports.storage import Send, UnitOfWork
from coldframe.speech.names import title
from tests.domain.play import F
from tests.engine.clockwork import Running
from tests.engine.seeing_through import CHANNEL, words
from tests.upgrade.earlier import filled_in

STRANGER = MemberId("nobody")
NOTHING = "Nothing was changed"
OPEN = (Step.SETUP, *RUNNING)
IN_BOTH = frozenset({Step.BALLOT, Step.PLACEMENT})
ENDED = frozenset({Step.COMMITTED, Step.CANCELLED})
WIDER: Mapping[str, frozenset[Step]] = {
    **{f"compare.{answer}": IN_BOTH for answer in ("first", "second", "same", "back")},
    **{f"late.{choice}": frozenset(RUNNING) for choice in ("post", "hold", "withdraw")},
    **{action: frozenset(OPEN) for action in USES.buttons if action.startswith("role.")},
    **dict.fromkeys(("trial.plan", "trial.begin", "leftovers.show"), ENDED),
    "round.cancel": frozenset(OPEN),
    **dict.fromkeys(("bring.trial", "bring.result"), frozenset(RUNNING) | ENDED),
    "guide.show": frozenset(OPEN),
    "break.take": frozenset(RUNNING),
    "jot.write": frozenset({Step.PRECEDENTS, Step.PLANS}),
    "page.drop": frozenset({Step.PRECEDENTS, Step.PLANS}),
    "question.suggest": frozenset({Step.QUESTIONS}),
    **dict.fromkeys(("guest.admit", "guest.decline"), frozenset(OPEN)),
    **{f"edit.{what}": frozenset(OPEN) for what in ("show", "question", "add", "remove", "remove_yes")},
}
"""What is open in other steps than the one that it was made for: no step is all that they are about."""
OF_NOBODYS_STEP = (
    "now.",
    "text.",
    "make.",
    "word.",
    "hours.",
    "me.",
    "zone.",
    "calendar.",
    "digest.",
    "report.",
    "register.",
    "funnel.",
    "team.",
    "todo.",
)
STANDING_ALONE = ("round.again", "round.new", "guide.which", "guide.person", "rehearse.begin")
STANDING = frozenset(
    action for action in (*USES.buttons, *USES.forms) if action.startswith(OF_NOBODYS_STEP) or action in STANDING_ALONE
)
"""What is about a person, a team or one message of theirs."""
BY_STRANGERS, BY_OTHERS, BY_OLDER = 0.05, 0.25, 0.1
"""Shares of presses: by nobody of the team, by somebody else of it, and of buttons of an earlier release."""
FOR_THE_FACILITATOR = frozenset(
    {"step.close", "guide.show", "question.drop", "holdup.wait", "holdup.away", "holdup.deputy"}
    | {action for action in (*USES.buttons, *USES.forms) if action.startswith("edit.")}
)


@dataclass(frozen=True)
class Thing:
    """A button under a message, or a form that was opened."""

    action: str
    value: str
    place: Place
    message: str | None = None
    form: Form | None = None
    older: bool = False
    """As an earlier release made it, which did not write down for what."""

    @property
    def sent(self) -> str:
        """The value that comes with the press."""
        return replace(self.made, made_for="").pack() if self.older else self.value

    @property
    def seen_by(self) -> MemberId:
        """The one who has it in their direct messages; of the channel the facilitator."""
        return MemberId(self.place.id) if self.place.kind == "direct" else F

    @property
    def kind(self) -> str:
        return f"{'form' if self.form else 'button'} {self.action}"

    @property
    def made(self) -> ButtonValue:
        return ButtonValue.unpack(self.value)


def buttons_in(message: Message) -> Iterator[Button]:
    for block in message.blocks:
        if isinstance(block, Buttons):
            yield from block.buttons


@dataclass
class Things:
    """All that was ever shown to anybody, each once."""

    found: dict[tuple[str, str, str], Thing] = field(default_factory=dict)

    def add(self, thing: Thing) -> None:
        self.found.setdefault((thing.kind, thing.value, thing.place.id), thing)

    def message(self, place: Place, message: Message, message_id: str | None) -> None:
        for button in buttons_in(message):
            self.add(Thing(button.action, button.value, place.root(), message_id))

    def reply(self, place: Place, reply: Reply) -> None:
        if reply.note is not None:
            self.message(place, reply.note, None)
        if reply.form is not None:
            self.add(Thing(reply.form.action, reply.form.value, place, form=reply.form))

    def of_kind(self) -> dict[str, list[Thing]]:
        kinds: dict[str, list[Thing]] = {}
        for thing in self.found.values():
            kinds.setdefault(thing.kind, []).append(thing)
        return kinds


@dataclass(frozen=True)
class Standing:
    """What people decided, as it is stored: rounds with their seats and ledgers, and trials."""

    rounds: Mapping[str, Round]
    trials: Mapping[str, Trial]

    def steps(self) -> list[str]:
        return [each.step for each in (*self.rounds.values(), *self.trials.values())]


async def standing(uow: UnitOfWork) -> Standing:
    ids = {head.id for head in await uow.heads("room")} | {*await uow.ended_rounds("room", CHANNEL)}
    rounds = {found.id: found for found in [await uow.round(i) for i in sorted(ids)] if found is not None}
    return Standing(rounds, {t.id: t for t in await uow.trials_of("room", CHANNEL, over=True)})


# --- a transaction that is undone ---------------------------------------------------------------------------------


class _Undo(Exception):
    """Whatever was written goes."""


READS = frozenset(
    {"dues", "ended_rounds", "heads", "knows_message", "member", "members", "nudges_since", "posted", "posted_as"}
    | {"posted_like", "round", "rounds_with", "running_trials", "search", "step_of", "team", "teams_of", "trial"}
    | {"trials_of", "trials_owned", "trials_about", "rounds_about", "teams_with", "rounds_of_team", "traces", "entry"}
)


@dataclass
class Heard:
    """A unit of work that takes every happening for new, and remembers what was to be said, and whether anything else
    was written."""

    work: UnitOfWork
    told: list[Send] = field(default_factory=list)
    to_come: list[Any] = field(default_factory=list)
    wrote: bool = False

    def __getattr__(self, name: str) -> Any:
        self.wrote = self.wrote or name not in READS
        return getattr(self.work, name)

    async def first_time(self, key: str, at: datetime) -> bool:
        return True

    async def send(self, sends: Sequence[Send], at: datetime) -> None:
        self.told += sends
        await self.work.send(sends, at)

    async def set_due(self, dues: Sequence[Any]) -> None:
        self.to_come += dues
        await self.work.set_due(dues)


class Undone:
    """A store of one unit of work, for as long as a walk lasts."""

    def __init__(self, store: Any) -> None:
        self._store = store
        self.work: Heard | None = None

    def __getattr__(self, name: str) -> Any:
        return getattr(self._store, name)

    @asynccontextmanager
    async def begin(self) -> AsyncIterator[Any]:
        assert self.work is not None
        yield self.work

    @asynccontextmanager
    async def walk(self) -> AsyncIterator[Heard]:
        try:
            async with self._store.begin() as work:
                self.work = Heard(work)
                yield self.work
                raise _Undo
        except _Undo:
            self.work = None


# --- what must come of it -----------------------------------------------------------------------------------------


def is_over(thing: Thing, before: Standing, by: MemberId) -> bool:
    """Whether it was made for something that is not open to this person now, told from its value."""
    made = thing.made
    if made.subject in before.trials and thing.action not in WIDER:
        return _trial_over(before.trials[made.subject], made, by)
    round_ = before.rounds[made.subject]
    if thing.action.startswith("held.") and round_.step == made.made_for:
        held = round_.decided()
        return held is None or (held.at.isoformat(),) != made.rest
    if thing.kind == "form note.write":
        return round_.step not in RUNNING  # a late note is kept as one
    return round_.step not in WIDER.get(thing.action, {Step(made.made_for)})


def _trial_over(trial: Trial, made: ButtonValue, by: MemberId) -> bool:
    occurrence = MadeFor.unpack(made.made_for)
    assert occurrence is not None, made
    if occurrence.what == "sign":
        return by not in trial.asked_to_sign or occurrence.which != asked_about(trial)
    if occurrence.what == "crossed":
        return not guarding.undecided(trial)
    week = int(occurrence.which) if occurrence.what == "week" else 0
    settled = {
        "trial": False,
        "running": trial.step is TrialStep.IN_REVIEW or bool(trial.stopped),
        "building": trial.step is not TrialStep.BUILDING,
        "late": trial.step is not TrialStep.BUILDING or occurrence.which != str(trial.live_agreed()),
        "proposed": trial.step is not TrialStep.PROPOSED,
        "week": week in trial.weeks,
        "action": any(a.id == occurrence.which and a.done is not None for a in trial.actions),
        "review": occurrence.which != str(trial.missed_reviews),
        "offer": occurrence.which != str(trial.offers) or trial.asked != by,
        "owner": occurrence.which != (trial.owner or ""),
    }
    return trial.step not in OPEN_STEPS or settled[occurrence.what]


def takes_part(thing: Thing, before: Standing, by: MemberId) -> bool:
    subject = thing.made.subject
    if subject in before.trials and thing.action not in WIDER:
        return by in before.trials[subject].people
    return subject in before.rounds and by in before.rounds[subject].active()


@dataclass
class Presses:
    """The team's phase, and everything that may be pressed in it."""

    team: Running
    things: Things = field(default_factory=Things)
    done: Counter[tuple[str, str]] = field(default_factory=Counter)
    came: Counter[tuple[str, str]] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    phase: str = ""
    _numbers: Iterator[int] = field(default_factory=lambda: count(1))
    _begin: Standing = field(default_factory=lambda: Standing({}, {}))

    def __post_init__(self) -> None:
        self._store = Undone(self.team.house.store)
        kit = replace(self.team.house.kit, store=self._store)  # type: ignore[arg-type]
        self._engine: Engine = front_door(kit)
        self.team.house.room.add_channel("elsewhere", "elsewhere")
        self.team.house.room.add_person(Person(STRANGER, "Nobody", "UTC"), "elsewhere")

    async def look(self, phase: str) -> None:
        """Begins a phase: takes down all that stands in the chats now."""
        self.phase = phase
        async with self.team.house.store.begin() as work:
            self._begin = await standing(work)
        room = self.team.house.room
        for record in room.all_messages():
            if record.message is not None and not record.gone:
                self.things.message(record.place, record.message, record.id)
        for person in room.log.members(CHANNEL):
            for note in room.notes(person.id):
                self.things.message(room.direct(person.id), note.message, None)

    async def walk(self, steps: Iterable[tuple[Thing, MemberId]]) -> None:
        """These presses one after the other, up to the first that ends a step; then none of them was."""
        async with self._store.walk() as work:
            before = self._begin
            for thing, by in steps:
                before = await self._press(work, before, thing, by)
                if {r.id: r.step for r in before.rounds.values()} != {
                    r.id: r.step for r in self._begin.rounds.values()
                }:
                    return

    async def _press(self, work: Heard, before: Standing, thing: Thing, by: MemberId) -> Standing:
        work.told, work.to_come, work.wrote = [], [], False
        fields = filled_in(thing.form) if thing.form is not None else {}
        what: Happening = Pressed(thing.action, thing.sent, thing.message)
        if thing.form is not None:
            what = Submitted(thing.action, thing.sent, fields)
        place = thing.place if thing.place.kind == "channel" else Place(thing.place.tenant, "direct", by)
        event = Inbound(f"press/{next(self._numbers)}", by, place, self.team.clock.now(), what)
        reply = await self._engine.receive(event)
        self.things.reply(Place(place.tenant, "direct", by), reply)
        for send in work.told:
            if send.message is not None:
                self.things.message(send.place, send.message, None)
        after = await standing(work.work) if work.wrote else before
        self.done[self.phase, thing.kind] += 1
        outcome = Outcome(thing, by, fields, before, after, reply, tuple(work.told), bool(work.to_come))
        self.came[self.phase, outcome.sort] += 1
        if problem := outcome.problem():
            self.wrong.append(
                f"{self.phase}: {by} {thing.kind} {thing.value}: {problem}; read {outcome.read()[:300]!r}"
            )
        return after


@dataclass(frozen=True)
class Outcome:
    """One press, and what came of it."""

    thing: Thing
    by: MemberId
    fields: Mapping[str, str]
    before: Standing
    after: Standing
    reply: Reply
    sends: tuple[Send, ...]
    goes_on: bool
    """Whether something of it is still to come."""

    @property
    def changed(self) -> bool:
        return self.before != self.after

    def _is_draft(self) -> bool:
        """All that changed is what was typed, which is kept for whoever typed it."""
        before, after = self.before.rounds, self.after.rounds
        return before.keys() == after.keys() and all(
            replace(after[i], begun=before[i].begun) == before[i] for i in after
        )

    @property
    def sort(self) -> str:
        if self.thing.action in STANDING:
            return "of a person or a team"
        if not takes_part(self.thing, self.before, self.by):
            return "by strangers"
        if is_over(self.thing, self.before, self.by):
            return "over"
        return "open, with an effect" if self.changed else "open, answered"

    def read(self) -> str:
        """What the person reads of it at once, or in their direct messages."""
        own = [s.message for s in self.sends if s.message and s.place.kind == "direct" and s.place.id == self.by]
        shown = [m for m in (self.reply.note, *own) if m is not None]
        return "\n".join((*self.reply.errors.values(), *(f"{plain(m.summary)}\n{words(m)}" for m in shown)))

    def problem(self) -> str:
        """What is not as it must be; nothing when all is well."""
        answered = self.reply != Reply() or bool(self.sends) or self.goes_on
        if not answered:
            return "no answer"
        if self.changed and NOTHING in self.read() and not self._is_draft():
            return "a change that is denied"
        match self.sort:
            case "by strangers":
                return "changed by a stranger" if self.changed else "" if self.read() else "a stranger is not answered"
            case "over":
                return self._over()
            case "open, with an effect":
                return self._by_whom()
        return ""

    def _over(self) -> str:
        if self.changed:
            return "changed what is over"
        if self.thing.older:
            return ""
        if NOTHING not in self.read():
            return "is not told that it is over"
        round_ = self.before.rounds.get(self.thing.made.subject)
        if round_ is not None and round_.step in RUNNING and title(round_.step) not in self.read():
            return "is not told what is open"
        return self._handed_back()

    def _handed_back(self) -> str:
        """Of a form with something written in it, every text comes back."""
        typed = {name: text for name, text in self.fields.items() if not is_picked(name) and text.strip()}
        blocks = [block for send in self.sends if send.message is not None for block in send.message.blocks]
        back = "".join(block.text for block in blocks if isinstance(block, Quoted))
        lost = [name for name, text in typed.items() if text.strip() not in back]
        return f"lost {lost}" if lost else ""

    def _by_whom(self) -> str:
        round_ = self.before.rounds.get(self.thing.made.subject)
        if self.thing.action in FOR_THE_FACILITATOR and round_ is not None and not round_.is_facilitator(self.by):
            return "done without the role"
        if self.thing.action == "focus.pick" and round_ is not None and not round_.is_decision_maker(self.by):
            return "done without the role"
        if self.thing.action.startswith("held.") and round_ is not None and not may_settle(round_, self.by):
            return "done without the role"
        return ""


def whoever(presses: Presses, thing: Thing, rnd: Random) -> MemberId:
    """Mostly who saw it; now and then somebody else of the team, or nobody of it."""
    people = [MemberId(p.id) for p in presses.team.house.room.log.members(CHANNEL) if not p.is_bot]
    chance = rnd.random()
    if chance < BY_STRANGERS:
        return STRANGER
    if chance < 1 - BY_OTHERS and thing.place.kind == "direct" and thing.place.id in people:
        return MemberId(thing.place.id)
    roles = [presses.team.round.roles.acting(role) for role in Role]
    return rnd.choice([*people, *roles])


def some(presses: Presses, number: int, rnd: Random) -> Iterator[tuple[Thing, MemberId]]:
    """So many presses of kinds chosen alike often, some by older buttons of rounds."""
    kinds = presses.things.of_kind()
    for kind in rnd.choices(sorted(kinds), k=number):
        thing = rnd.choice(kinds[kind])
        if thing.made.made_for in list(Step) and rnd.random() < BY_OLDER:
            thing = replace(thing, older=True)
        yield thing, whoever(presses, thing, rnd)


def forged(shown: Things) -> Iterator[Thing]:
    """One of each kind that nobody was shown, as somebody might make it up."""
    place = Place("room", "direct", "faye")
    kinds = shown.of_kind()
    for sort, actions in (("button", USES.buttons), ("form", USES.forms)):
        for action in actions:
            if f"{sort} {action}" not in kinds:
                form = Form("", action, "", ()) if sort == "form" else None
                yield Thing(action, _made_up(action).pack(), place, form=form)


def _made_up(action: str) -> ButtonValue:
    if action in STANDING:
        return ButtonValue("r1" if action.startswith("text.") else "")
    if action.startswith("trial.") and action not in WIDER:
        return ButtonValue("r1-p0", made_for="trial")
    of = next((step for step, play in PLAYS.items() if action in play.buttons or action in play.forms), Step.NOTES)
    return ButtonValue("r1", made_for=Step.PLANS if action == "round.end" else of)
