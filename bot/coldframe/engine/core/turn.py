"""One turn: a happening or a due row, answered inside one transaction. What is to be said and to happen is
gathered here and written at its end."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any, Protocol, TypeVar

from coldframe import logs
from coldframe.domain.commands import Command
from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, Step
from coldframe.domain.people.aliases import is_nobody
from coldframe.domain.refusals import known
from coldframe.domain.round.life import decided
from coldframe.domain.state import Round
from coldframe.domain.trial import life as trial_life
from coldframe.domain.trial.facts import TrialFact
from coldframe.domain.trial.state import Trial
from coldframe.engine.core import changing, first_word, lives, moments, timetable, windows
from coldframe.engine.core.lookups import Told
from coldframe.errors import ColdframeError
from coldframe.message.nodes import Attachment, Message
from coldframe.message.packed import MessageName
from coldframe.ports.chat import Chat, Clock, Ids, Inbound, Place, Reply
from coldframe.ports.held import Held
from coldframe.ports.storage import Due, Send, Store, UnitOfWork
from coldframe.speech.names import message_name
from coldframe.speech.round import cards

TAKE_BACK = "take back"
PASSING = "said-"
"""How the names of answers begin that hold nothing private and offer nothing."""
JUST_NOW = timedelta(minutes=15)
"""Whoever acted longer ago may have stopped working meanwhile, and gets the answer in their hours."""
T = TypeVar("T")
State = TypeVar("State")


class Numbers(Protocol):
    """Where heavy numbers run: a worker process in service, inline in tests."""

    async def compute(self, function: Callable[..., T], *args: object) -> T: ...


class InlineNumbers:
    """Runs a computation where it is asked; for the demo and tests."""

    async def compute(self, function: Callable[..., T], *args: object) -> T:
        return function(*args)


@dataclass(frozen=True, slots=True)
class Kit:
    """What the engine works with, handed over once by `wiring`: its doors, and what follows when something changed."""

    store: Store
    chat: Chat
    clock: Clock
    ids: Ids
    numbers: Numbers
    round_changed: Callable[[Turn, Round, Round, Sequence[Fact]], Awaitable[None]]
    trial_changed: Callable[[Turn, Trial, Trial, Sequence[TrialFact]], Awaitable[None]]
    hear: Callable[[Turn, Inbound], Awaitable[Reply]]
    """Answers one happening inside its transaction."""
    feed: Callable[[str, str, str], str] | None = None
    """(tenant, person, edition) to the address of their calendar, where HTTP is served."""
    numbers_at: Callable[[str, str, str, str], str] | None = None
    """(tenant, trial, person, edition) to the address to which their programs send its numbers, where it is served."""


@dataclass
class Turn:
    """The transaction and what was gathered in it."""

    kit: Kit
    uow: UnitOfWork
    now: datetime
    sends: list[Send] = field(default_factory=list)
    dues: list[Due] = field(default_factory=list)
    told: Told = field(default_factory=Told)
    changed: bool = False
    """Whether a round or a trial was changed in it."""
    asker: Place | None = None
    """Whose act this turn answers."""
    touched: set[str] = field(default_factory=set)
    """Rounds that it is about."""
    live: set[str] = field(default_factory=set)
    """Those of them that are held in one sitting."""
    back: set[Place] = field(default_factory=set)
    """Who comes back to work with it: what it says to them goes before all that waits for them."""

    def answers(self, tenant: str, person: str, acted: datetime) -> None:
        """What is said to this person is the answer to what they did just then, and goes at once."""
        if self.now - acted < JUST_NOW:
            self.asker = Place(tenant, "direct", person)

    def concerns_no_round(self) -> None:
        """Whatever rounds it moved, it was about the person: nothing that waits about those goes out by it."""
        self.touched.clear()

    def _about(self, round_: Round) -> None:
        self.touched.add(round_.id)
        if round_.settings.pace == "live":
            self.live.add(round_.id)

    # --- acting on a round ---

    async def round(self, round_id: str) -> Round:
        """The round, locked. Raises Refused UNKNOWN_ITEM."""
        found = known(await self.uow.round(round_id))
        self._about(found)
        return found

    async def act(self, round_: Round, command: Command) -> Round:
        """Decides, gives opened steps their windows, saves, and lets the facts be told. Raises Refused."""
        self._about(round_)
        first, after = decided(round_, command, self.now, self.kit.ids.chance())
        facts: list[Fact] = list(first)
        for following in (windows.following, windows.within_hours, timetable.following, changing.following):
            next_ = await following(self.uow, self.now, after, facts)
            if next_ is not None:
                more, after = decided(after, next_, self.now)
                facts += more
        if facts:
            self.changed = True
            await self.uow.save_round(round_, after, facts, self.now)
            await self.kit.round_changed(self, round_, after, facts)
        return after

    async def trial(self, trial_id: str) -> Trial:
        """The trial, locked. Raises Refused UNKNOWN_ITEM."""
        return known(await self.uow.trial(trial_id))

    async def act_on_trial(self, trial: Trial, command: Command) -> Trial:
        """Decides, saves, and lets the facts be told. Raises Refused."""
        facts = trial_life.decide(trial, command, self.now)
        after = trial_life.replay(trial, facts)
        if facts:
            self.changed = True
            await self.uow.save_trial(after, facts, self.now)
            await self.kit.trial_changed(self, trial, after, facts)
        return after

    async def act_all(self, round_: Round, commands: Sequence[Command]) -> Round:
        """All of them in order, or none: whatever would be refused is refused before anything has changed."""
        if len(commands) > 1:
            self.rehearse(round_, commands)
        for command in commands:
            round_ = await self.act(round_, command)
        return round_

    def rehearse(self, round_: Round, commands: Sequence[Command]) -> None:
        """Raises Refused if any of them would be."""
        for command in commands:
            _, round_ = decided(round_, command, self.now)

    # --- saying ---

    def direct(self, round_: Round, member: MemberId) -> Place:
        return Place(round_.tenant, "direct", member)

    def post_as(self, name: str, place: Place, message: Message, round_id: str, only_in: Step | None = None) -> None:
        """Posts under a name of the caller's own."""
        self._post(name, place, message, round_id, None, only_in)

    def among(self, number: int, people: Iterable[str]) -> None:
        """So many that were told something last are some of these people, and it is nobody's to know which: for each of
        the others the same waits in their place, by the name of theirs, and never goes out. What is to be said stands
        at rest until somebody's day begins, and its moment would tell whose day that is."""
        told = {send.place.id: send for send in self.sends[-number:]}
        del self.sends[-number:]
        like = next(iter(told.values()))
        for person in dict.fromkeys((*people, *told)):
            self.sends.append(told.get(person) or self._never_sent(like, person))

    def _never_sent(self, like: Send, person: str) -> Send:
        name = MessageName.unpack(like.name)
        other = MessageName(name.owner, name.what, (person, *name.rest[1:])).pack()
        return replace(like, name=other, place=replace(like.place, id=person), until=self.now - moments.AT_ONCE)

    def holds_until(self, moment: datetime) -> None:
        """What was said last is worth nothing any more after that."""
        self.sends[-1] = replace(self.sends[-1], until=moment)

    def not_before(self, name: str, moment: datetime) -> None:
        """What was said under this name waits until then, unless its reader acts before."""
        wait = Held(moment)
        self.sends = [replace(s, held=wait) if (s.kind, s.name) == ("post", name) else s for s in self.sends]

    def channel(self, round_: Round) -> Place:
        return Place(round_.tenant, "channel", round_.channel)

    def say(
        self,
        round_: Round,
        what: str,
        message: Message,
        *,
        thread_of: str | None = None,
        rest: Sequence[str] = (),
        only_in: Step | None = None,
    ) -> str:
        """Posts to the round's channel under the name `round/what/rest`; its attachments follow."""
        name = message_name(round_.id, what, *rest)
        self._post(name, self.channel(round_), message, round_.id, thread_of, only_in)
        return name

    def tell(
        self,
        round_: Round,
        member: MemberId,
        what: str,
        message: Message,
        *,
        rest: Sequence[str] = (),
        only_in: Step | None = None,
        thread_of: str | None = None,
    ) -> str:
        """Posts to a person under the name `round/what/person/rest`."""
        self._about(round_)
        name = message_name(round_.id, what, member, *rest)
        place = Place(round_.tenant, "direct", member)
        self._post(name, place, _now(round_, what, message), round_.id, thread_of, only_in)
        return name

    def answer(
        self,
        tenant: str,
        person: str,
        message: Message,
        *,
        about: Round | Trial | None = None,
        name: str | None = None,
        ask: bool = False,
    ) -> None:
        """Posts a passing answer to a person; to whoever did not act it is news, unless it is an `ask`.

        What holds something private or can be pressed lives as long as the step or the trial that it is about; a text
        handed back stays for some days.
        """
        name = name or self._passing(person, message, about)
        if lives.named(name).what in lives.WAITS:
            self.later(TAKE_BACK, self.uow.hidden(name), "", self.now + lives.HANDED_BACK_FOR)
        match about:
            case Round():
                self._about(about)
                round_id: str | None = about.id
            case Trial():
                round_id = about.round_id
            case _:
                round_id = None
        at = len(self.sends)
        self._post(name, Place(tenant, "direct", person), message, round_id, None, None)
        self.sends[at] = replace(self.sends[at], ask=ask)

    def _passing(self, person: str, message: Message, about: Round | Trial | None) -> str:
        new = self.kit.ids.new
        if not message.private and not lives.offers(message):
            return new(PASSING)
        match about:
            case Round():
                return message_name(about.id, lives.SAID, person, about.step.value, new(""))
            case Trial():
                return message_name(about.id, lives.SAID, person, new(""))
        if not message.private:
            return message_name(lives.PEOPLE, lives.SAID, person, new(""))
        return message_name(lives.PEOPLE, lives.HANDED, person, new(""))

    def revise(
        self, name: str, place: Place, message: Message, round_id: str | None = None, *, record: bool = False
    ) -> None:
        """Brings a card up to date in place. What has ended is changed no more, unless it is a record by now."""
        open_ = lives.may_end(name) and not record
        self.sends.append(Send("revise", name, place.root(), message, round_id=round_id, open=open_))

    def take_away(self, name: str, place: Place, round_id: str) -> None:
        """What shows less than what takes its place, such as a file of earlier dates."""
        self.sends.append(Send("withdraw", name, place, round_id=round_id, open=False))

    def revise_own(self, round_: Round, member: MemberId, what: str, message: Message, *rest: str) -> None:
        """Brings a person's own card up to date."""
        name = message_name(round_.id, what, member, *rest)
        self.revise(name, Place(round_.tenant, "direct", member), _now(round_, what, message), round_.id)

    def _post(
        self,
        name: str,
        place: Place,
        message: Message,
        round_id: str | None,
        thread_of: str | None,
        only_in: Step | None,
    ) -> None:
        bare = Message(message.summary, message.blocks, message.seeds, stays=message.stays)
        open_ = lives.may_end(name)
        self.sends.append(Send("post", name, place, bare, None, thread_of, round_id, only_in, open=open_))
        for number, attachment in enumerate(message.attachments, 1):
            self.attach(f"{name}/file{number}", place, attachment, round_id, thread_of, only_in)

    def attach(
        self,
        name: str,
        place: Place,
        attachment: Attachment,
        round_id: str | None,
        thread_of: str | None = None,
        only_in: Step | None = None,
    ) -> None:
        open_ = lives.may_end(name)
        self.sends.append(Send("upload", name, place, None, attachment, thread_of, round_id, only_in, open=open_))

    # --- later ---

    def later(self, kind: str, subject: str, occurrence: str, at: datetime) -> None:
        self.dues.append(Due(kind, subject, occurrence, at))

    async def drop_due(self, subject: str, *, kind: str | None = None, occurrence: str | None = None) -> None:
        """Forgets what would become due, written or only gathered."""
        self.dues = [
            d
            for d in self.dues
            if d.subject != subject or kind not in (None, d.kind) or occurrence not in (None, d.occurrence)
        ]
        await self.uow.drop_due(subject, kind=kind, occurrence=occurrence)

    async def finish(self) -> None:
        """Writes what was gathered; called once, at the end of the turn."""
        to_somebody = [send for send in self.sends if not is_nobody(send.place.id)]
        sends = await first_word.put_first(self.uow, self.kit.ids, to_somebody, self.kit.chat.capabilities)
        sends = await moments.in_their_hours(self.uow, self._here(), sends)
        followed = logs.followed()
        sends = [replace(send, use=lives.use_of(send, self.now), happening=followed) for send in sends]
        # If the clock was set back since, messages must not wait for it.
        await self.uow.send(sends, min(self.now, self.kit.clock.now()))
        await self.uow.set_due(self.dues)
        self.sends, self.dues = [], []

    def _here(self) -> moments.Here:
        return moments.Here(self.now, self.asker, frozenset(self.touched), frozenset(self.live), frozenset(self.back))


def _now(round_: Round, what: str, message: Message) -> Message:
    return cards.resting(round_, message) if lives.rests(what) else message


Follow = Callable[[Turn, State, State, Any], Awaitable[None]]
"""What follows from a fact: (turn, before, after, fact)."""
Carry = Callable[[Kit, Due], Awaitable[None]]
"""What a due row does when its moment has come."""


class Overtaken(ColdframeError):
    """Somebody else carries the row out, or it was set for another moment."""


@asynccontextmanager
async def due_turn(kit: Kit, due: Due, told: Told | None = None) -> AsyncIterator[Turn]:
    """A turn now, never before the row's moment, though the clock may have gone back. The row ends with it, in one
    transaction: who dies afterwards does not leave it to be carried out again. Raises Overtaken."""
    async with kit.store.begin() as uow:
        if not await uow.take_due(due):
            raise Overtaken
        turn = Turn(kit, uow, max(kit.clock.now(), due.at), told=told or Told())
        yield turn
        await turn.finish()


@dataclass(frozen=True, slots=True)
class InOneTurn:
    """Due work that needs nothing from outside its turn: its row is taken, done and ended in one transaction."""

    work: Callable[[Turn, Due], Awaitable[None]]

    async def __call__(self, kit: Kit, due: Due) -> None:
        async with due_turn(kit, due) as turn:
            await self.work(turn, due)


@dataclass(frozen=True, slots=True)
class Aside:
    """Due work that asks the platform much: whatever else is due goes on meanwhile."""

    work: Carry

    async def __call__(self, kit: Kit, due: Due) -> None:
        await self.work(kit, due)
