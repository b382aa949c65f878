"""A team with a sealed commitment in the room, and hands to see its trials through on a simulated clock."""

from __future__ import annotations

from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from coldframe.clock import ManualClock
from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.domain.round.commitment import Commit, Forecast, NameChecker, SetActions, SetNextRound
from coldframe.domain.state import Action, Round
from coldframe.domain.trial.commands import GoLive
from coldframe.domain.trial.state import Trial
from coldframe.engine.core import members, trial_turn
from coldframe.engine.core.turn import Turn
from coldframe.message.nodes import (
    Button,
    Buttons,
    Code,
    Facts,
    Grid,
    Heading,
    Items,
    Message,
    Paragraph,
    Quoted,
    Small,
    plain,
)
from coldframe.message.packed import ButtonValue
from coldframe.ports.chat import IncomingFile, Person, Place, Reply
from coldframe.ports.storage import Member
from coldframe.timing.calendars import WorkingCalendar
from coldframe.wiring import House, room_house
from tests.domain.play import EVERYBODY, D, F, Play, a_plan, a_round, criterion, keep_the_rest, live_now
from tests.engine.databases import KnownIds, a_file
from tests.engine.snapshots import copied

CHANNEL = "growth"
MONDAY = datetime(2026, 3, 2, 10, tzinfo=UTC)
WEEK = timedelta(weeks=1)
SECRET = b"a secret for tests, 32 bytes long"


class NoDraughtsman:
    """Pictures are drawn elsewhere; here their words are enough."""

    async def draw(self, chart: object, form: str = "png") -> bytes:
        return b"picture"


def words(message: Message) -> str:
    """Everything that a card says, line by line."""
    lines: list[str] = []
    for block in message.blocks:
        match block:
            case Heading() | Paragraph() | Small():
                lines.append(plain(block.line))
            case Facts():
                lines += [f"{name}: {plain(value)}" for name, value in block.rows]
            case Items():
                lines += [f"- {plain(item)}" for item in block.lines]
            case Grid():
                lines += [" | ".join(plain(cell) for cell in row) for row in block.rows]
            case Quoted():
                lines.append(block.text)
            case _:
                pass
    return "\n".join(lines) if lines else plain(message.summary)


@dataclass
class Team:
    """A house with one team in it."""

    house: House
    clock: ManualClock
    round: Round

    # --- time ---

    async def settle(self) -> None:
        await self.house.engine.settle()

    async def until(self, moment: datetime) -> None:
        """Everything that falls due up to the moment happens, each thing at its own time."""
        await self.settle()
        while (due := await self.house.engine.next_moment()) is not None and due <= moment:
            self.clock.set(due)
            await self.settle()
        self.clock.set(moment)

    async def weeks(self, number: float, *, at: timedelta = timedelta()) -> None:
        """So long after the start, exactly."""
        await self.until(MONDAY + number * WEEK + at)

    # --- the round ---

    async def current(self) -> Round:
        async with self.house.store.begin() as uow:
            found = await uow.round(self.round.id)
        assert found is not None
        return found

    async def act(self, occasion: str, *commands: Command) -> None:
        """Acts on the round as if by its own buttons."""

        async def work(turn: Turn) -> None:
            for command in commands:
                await turn.act(await turn.round(self.round.id), command)

        await self.house.engine.act(occasion, work)
        await self.settle()

    # --- people ---

    async def say(self, person: str, text: str, *, files: Sequence[IncomingFile] = ()) -> None:
        await self.house.room.say(person, self.house.room.direct(person), text, files=files)
        await self.settle()

    async def say_in_thread(self, person: str, message_id: str, text: str) -> None:
        await self.house.room.say(person, self.house.room.direct(person), text, thread=message_id)
        await self.settle()

    async def command(self, person: str, text: str, *, channel: bool = True) -> Reply:
        room = self.house.room
        reply = await room.command(person, room.channel(CHANNEL) if channel else room.direct(person), text)
        await self.settle()
        return reply

    async def press(self, person: str, action: str, value: str | None = None) -> Reply:
        """Presses the newest button of this kind that the person sees; the value, with or without what it was made for,
        tells several apart."""
        message_id, button = self.button(person, action, value)
        reply = await self.house.room.press(person, message_id, button.action, button.value)
        await self.settle()
        return reply

    def button(self, person: str, action: str, value: str | None = None) -> tuple[str | None, Button]:
        for message_id, message in self._cards(person):
            for block in reversed(message.blocks):
                for button in block.buttons if isinstance(block, Buttons) else ():
                    if button.action == action and value in (None, button.value, _subject_and_rest(button.value)):
                        return message_id, button
        raise LookupError(f"{person} sees no button {action}")

    def line(self, person: str) -> str:
        """The first line for emoji in the thread of somebody's ballot."""
        direct = self.house.room.direct(person)
        return next(r.id for r in self.house.room.log.messages(direct) if r.place.thread is not None and not r.gone)

    def _cards(self, person: str) -> list[tuple[str | None, Message]]:
        room = self.house.room
        places = [room.channel(CHANNEL), room.direct(person)]
        records = [r for place in places for r in room.log.messages(place) if r.message is not None and not r.gone]
        notes: list[tuple[str | None, Message]] = [(None, note.message) for note in reversed(room.notes(person))]
        said = sorted(records, key=lambda r: (r.at, r.revision), reverse=True)
        return [*notes, *((r.id, r.message) for r in said if r.message is not None)]

    async def fill(
        self, person: str, action: str, fields: Mapping[str, str], value: str | None = None
    ) -> Mapping[str, str]:
        """Opens the form by its button and sends it; returns what was wrong, by field."""
        opened = await self.press(person, action, value)
        assert opened.form is not None, opened
        form, left = opened.form, dict(fields)
        while True:  # a page may have several forms
            here = {field.name: left.pop(field.name) for field in form.fields if field.name in left}
            reply = await self.house.room.submit(person, form.action, form.value, here)
            if reply.form is None:
                break
            form = reply.form
        assert not left or reply.errors, f"asked for nowhere: {left}"
        await self.settle()
        return reply.errors

    # --- what stands in the room ---

    def told(self, person: str) -> list[str]:
        """What the bot said to this person in private, oldest first."""
        return self._texts(self.house.room.direct(person))

    async def heard(self, person: str, part: str, *, until: timedelta) -> list[str]:
        """Every message with these words that the person gets until so long after the start, though it goes again."""
        found, moment, before = dict[str, str](), self.clock.now(), self.standing(person)
        while moment < MONDAY + until:
            moment = min(moment + timedelta(hours=1), MONDAY + until)
            await self.until(moment)
            found |= {key: text for key, text in self.standing(person).items() if part in text and key not in before}
        return list(found.values())

    def standing(self, person: str) -> dict[str, str]:
        """What the bot's messages to this person say now, by their ids."""
        records = self.house.room.log.messages(self.house.room.direct(person))
        return {r.id: words(r.message) for r in records if r.by_bot and not r.gone and r.message}

    def channel(self) -> list[str]:
        return self._texts(self.house.room.channel(CHANNEL))

    def _texts(self, place: Place) -> list[str]:
        records = self.house.room.log.messages(place)
        return [words(r.message) if r.message else f"[{r.files[0].name}]" for r in records if r.by_bot and not r.gone]

    def last_id(self, person: str, beginning: str) -> str:
        records = self.house.room.log.messages(self.house.room.direct(person))
        return next(r.id for r in reversed(records) if r.message and words(r.message).startswith(beginning))

    async def trial(self, plan: str = "p0") -> Trial:
        async with self.house.store.begin() as uow:
            found = await uow.trial(f"{self.round.id}-{plan}")
        assert found is not None
        return found

    async def nudges(self, person: str) -> list[datetime]:
        async with self.house.store.begin() as uow:
            return await uow.nudges_since("room", person, MONDAY - WEEK)


def _subject_and_rest(value: str) -> str:
    return replace(ButtonValue.unpack(value), made_for="").pack()


@asynccontextmanager
async def a_team(
    folder: Path, *, database: str | None = None, secret: bytes = SECRET, **wanted: Any
) -> AsyncIterator[Team]:
    """A team as `_made` makes it, on a copy of its files; made in the database if one is named."""
    if database is not None:
        async with _made(folder, database, secret, **wanted) as team:
            yield team
        return
    taken = await copied(folder, lambda where: _made(where, None, secret, **wanted), secret, wanted)
    clock = ManualClock(taken.now)
    async with _opened(clock, folder, None, secret) as house:
        yield Team(house, clock, taken.round)


def _opened(
    clock: ManualClock, folder: Path, database: str | None, secret: bytes
) -> AbstractAsyncContextManager[House]:
    files = {"database": database or a_file(folder), "room_file": str(folder / "room.db")}
    return room_house(clock, secret=secret, ids=KnownIds(5), draughtsman=NoDraughtsman(), **files)


@asynccontextmanager
async def _made(
    folder: Path,
    database: str | None,
    secret: bytes,
    *,
    plans: Mapping[str, MemberId] | None = None,
    calendars: Mapping[str, WorkingCalendar] | None = None,
    chances: Mapping[str, int] | None = None,
    fears: Sequence[str] = (),
    weeks: int = 4,
    people_in_it: int = 6,
    sealed: bool = True,
    build: int = 0,
    step: Step = Step.COMMITMENT,
    **criteria: Any,
) -> AsyncIterator[Team]:
    """A round that is sealed on a Monday morning. `plans`: which are chosen, and who owns them. Not `sealed`: it
    stands at `step`; `build`: days that building should take, none for what is live at once."""
    clock = ManualClock(MONDAY)
    owned = plans or {"p0": D}
    async with _opened(clock, folder, database, secret) as house:
        round_ = _in_step(step, people_in_it, weeks, criteria)
        house.room.add_channel(CHANNEL, "growth")
        for member in round_.active():
            house.room.add_person(Person(member, round_.name_of(member), "UTC"), CHANNEL)
        async with house.store.begin() as uow:
            await uow.add_round(replace(a_round(people_in_it), tenant="room", channel=CHANNEL), MONDAY)
            await uow.save_round(round_, round_, (), MONDAY)
            for member in EVERYBODY[:people_in_it]:
                record = Member("room", member, round_.name_of(member), "UTC", told_privacy=True)
                calendar = (calendars or {}).get(member, WorkingCalendar())
                await uow.save_member(members.with_calendar(record, calendar))
        team = Team(house, clock, round_)
        if not sealed:
            yield team
            return
        await house.engine.act("seal", lambda turn: _seal(turn, round_, owned, chances or {}, fears, weeks, build))
        await team.settle()
        yield replace(team, round=await team.current())


def _in_step(step: Step, people_in_it: int, weeks: int, criteria: Mapping[str, Any]) -> Round:
    base = replace(a_round(people_in_it), tenant="room", channel=CHANNEL)
    play = Play(base).to(step)
    plans = {
        p: replace(a_plan(p), id=p, author=plan.author, weeks=weeks, criterion=criterion(**criteria))
        for p, plan in play.round.plans.items()
    }
    other = {
        p: replace(plan.criterion, measure=f"measure of {p}", counted=f"people of {p}")
        for p, plan in plans.items()
        if p != "p0"
    }
    plans = {p: replace(plan, criterion=other.get(p, plan.criterion)) for p, plan in plans.items()}
    return replace(play.round, plans=plans)


async def _seal(
    turn: Turn,
    round_: Round,
    owned: Mapping[str, MemberId],
    chances: Mapping[str, int],
    fears: Sequence[str],
    weeks: int,
    build: int = 0,
) -> None:
    now = turn.now
    current = await turn.round(round_.id)
    for number, (plan_name, owner) in enumerate(owned.items()):
        plan = PlanId(plan_name)
        current = await turn.act(current, ChoosePlan(F, plan, running_trials=0))
        current = await turn.act(current, AskOwner(F, plan, owner))
        current = await turn.act(current, AnswerOwnership(owner, plan, accept=True))
        if current.plans[plan].unchecked:
            current = await turn.act(current, NameChecker(F, plan, "The lawyer"))
        action = Action("a1", "When it is ten I call the first team", owner, now + timedelta(days=1, hours=2))
        current = await turn.act(current, SetActions(owner, plan, (action,)))
        lag = current.plans[plan].criterion.lag
        review = now + timedelta(weeks=weeks, days=1 + lag, hours=number)
        planned = replace(live_now(now, owner, plan, review), day=now.date() + timedelta(days=build))
        current = await turn.act(current, planned)
        for member, chance in chances.items():
            fear = fears[list(chances).index(member)] if list(chances).index(member) < len(fears) else ""
            current = await turn.act(current, Forecast(MemberId(member), plan, chance, fear))
    current = await turn.act(current, SetNextRound(F, now + timedelta(weeks=weeks + 2)))
    current = await turn.act(current, keep_the_rest(current))
    await turn.act(current, Commit(D, running_trials=0))
    if not build:
        for trial in await turn.uow.trials_of(round_.tenant, round_.channel):
            today = await trial_turn.today(turn, trial)
            assert trial.owner is not None and trial.review is not None
            await turn.act_on_trial(trial, GoLive(trial.owner, today, today, trial.review))


__all__ = ["CHANNEL", "MONDAY", "WEEK", "Code", "Team", "a_team", "words"]
