"""Playing a scenario: the real engine, store, due rows and room; only the clock is simulated."""

from __future__ import annotations

import heapq
import re
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from coldframe.clock import ManualClock
from coldframe.domain.names import MemberId, RoundId, Step
from coldframe.domain.refusals import Refused
from coldframe.domain.round.moves import Start
from coldframe.domain.settings import Settings
from coldframe.domain.state import Roles, Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import digest
from coldframe.engine.round import setup
from coldframe.message.nodes import plain
from coldframe.players.cast import Cast
from coldframe.players.hand import words_of
from coldframe.players.jobs import Job
from coldframe.players.scenario import Scenario, calendar_of
from coldframe.ports.chat import Person as Known
from coldframe.ports.chat import Place, Reply
from coldframe.speech.refusals import refusal
from coldframe.speech.register import digest_words
from coldframe.wiring import House

CHANNEL = "growth"
END_TOLD = re.compile(r"Committed: |.* (ends here without a commitment|rests): ")
LONGEST = timedelta(days=200)
Seen = Callable[[datetime], Awaitable[None]]


class Memory:
    """What a play must know after a kill: how late it was, and when each job was to be done. Lines in a file."""

    def __init__(self, path: Path | None = None) -> None:
        self.clock: datetime | None = None
        self.jobs: dict[str, datetime] = {}
        self._file = None
        if path is not None:
            for words in path.read_text(encoding="utf-8").splitlines() if path.exists() else ():
                self._read(words)
            self._file = path.open("a", encoding="utf-8")

    def _read(self, words: str) -> None:
        moment, tab, key = words.partition("\t")
        if not tab:  # the last line of a killed run may be torn
            return
        if key:
            self.jobs[key] = datetime.fromisoformat(moment)
        else:
            self.clock = datetime.fromisoformat(moment)

    def note(self, moment: datetime, key: str = "") -> None:
        """Remembers a job's moment, or without a key the clock."""
        if self._file is not None:
            self._file.write(f"{moment.isoformat()}\t{key}\n")
            self._file.flush()

    def close(self) -> None:
        if self._file is not None:
            self._file.close()


@dataclass
class Play:
    """A scenario on its way. `watch` is called after each moment at which something happened."""

    scenario: Scenario
    house: House
    clock: ManualClock
    watch: Callable[[], None] = lambda: None
    memory: Memory = field(default_factory=Memory)
    round_id: RoundId | None = None
    refused: str = ""
    stumbles: list[str] = field(default_factory=list)
    papers: dict[str, str] = field(default_factory=dict)  # texts to leave beside the conversation
    _queue: list[tuple[datetime, str, Job]] = field(default_factory=list)
    _planned: set[str] = field(default_factory=set)
    _looked: bool = False
    _next: datetime | None = None
    _end_moved: bool = True
    _is_over: bool = False
    _rests: bool = False
    _ended_at: datetime | None = None

    async def run(self) -> Round | None:
        """Plays until the round has ended and the scenario's last weeks are over; returns the round."""
        await self.set_up()
        if self.refused:
            return await self.round()
        cast = Cast(self.scenario, self.house.room)
        await self.house.room.redeliver()
        while await self._moment(cast):
            self.watch()
        self.papers["digest.md"] = await self._digest()
        return await self.round()

    async def _digest(self) -> str:
        """The lead's digest as it reads at the end, in the facilitator's zone."""
        async with self.house.store.begin() as uow:
            gathered = await digest.gather(uow, self.house.room.tenant, CHANNEL, self.clock.now())
        facilitator = next(p for p in self.scenario.team if p.id == self.scenario.roles.facilitator)
        return digest_words.markdown(gathered, facilitator.zone)

    async def set_up(self) -> None:
        """Furniture, people, the round in setup, and its start; each once, however often it is begun."""
        room = self.house.room
        place = room.add_channel(CHANNEL, CHANNEL)
        for person in self.scenario.team:
            room.add_person(Known(person.id, person.name, person.zone), CHANNEL)
        self.clock.set(self.memory.clock or self.clock.now())
        await self.house.engine.act("demo/people", self._people)
        await self.house.engine.act("demo/round", lambda turn: self._round(turn, place))
        self.round_id = await self._find()
        await self.house.engine.settle()
        self.watch()
        await self.house.engine.act("demo/start", self._start)
        self._next = await self.house.engine.settle()

    async def _people(self, turn: Turn) -> None:
        """What a team would have told the bot in earlier rounds: when each of them works."""
        for person in self.scenario.team:
            record = await members.upsert_member(
                turn.uow, self.house.room.tenant, Known(person.id, person.name, person.zone)
            )
            await turn.uow.save_member(members.with_calendar(record, calendar_of(person), confirmed=False))

    async def _round(self, turn: Turn, place: Place) -> None:
        scenario = self.scenario
        settings = Settings(
            question=scenario.question,
            levers=setup.read_levers(", ".join(scenario.levers)),
            pace=scenario.pace,
            lengths={Step(s): length for s, length in scenario.lengths.items()},
            weight=scenario.weight,
            weight_confirmed=True,
            carry_on=scenario.carry_on,
        )
        roles = Roles(**{name: MemberId(who) for name, who in scenario.roles.model_dump().items()})
        persons = [Known(p.id, p.name, p.zone) for p in scenario.team]
        await setup.open_round(turn, place, scenario.name, settings, roles, persons)

    async def _find(self) -> RoundId | None:
        async with self.house.store.begin() as uow:
            heads = await uow.heads(self.house.room.tenant, channel=CHANNEL)
            ended = await uow.ended_rounds(self.house.room.tenant, CHANNEL)
        known = [*reversed(ended), *(h.id for h in heads)]  # the first round is the scenario's
        return RoundId(known[0]) if known else None

    async def _start(self, turn: Turn) -> None:
        assert self.round_id is not None
        round_ = await turn.round(self.round_id)
        try:
            await turn.act(round_, Start(round_.roles.facilitator))
        except Refused as refused:
            words = refusal(refused)
            turn.answers(round_.tenant, round_.roles.facilitator, turn.now)
            turn.answer(round_.tenant, round_.roles.facilitator, words)
            self.refused = plain(words.summary)

    async def round(self) -> Round | None:
        if self.round_id is None:
            return None
        async with self.house.store.begin() as uow:
            return await uow.round(self.round_id)

    # --- time ---

    async def _moment(self, cast: Cast) -> bool:
        """Goes to the next moment at which somebody acts or something is due; False at the end."""
        self._look(cast)
        mine = self._queue[0][0] if self._queue else None
        due = self._next
        end = await self._end()
        moments = [m for m in (mine, due) if m is not None and (end is None or m <= end)]
        if not moments:
            return False
        self.clock.set(min(moments))
        self.memory.note(self.clock.now())
        if mine is not None and mine <= self.clock.now() and (due is None or mine < due):
            await self._act()
        self._next = await self.house.engine.settle()
        return True

    def _look(self, cast: Cast) -> None:
        """Reads what is new in the room and plans what people will do about it."""
        for record in cast.screen.changes() if self._looked else cast.screen.messages():
            if record.place.kind == "channel" and (self._is_over or END_TOLD.match(words_of(record))):
                self._end_moved = True
            for job in cast.reactions(record, self.clock.now()):
                self._plan(job)
        self._looked = True

    def _plan(self, job: Job) -> None:
        if job.key in self._planned or self.house.room.log.is_done(job.key):
            return
        self._planned.add(job.key)
        at = self.memory.jobs.get(job.key)
        if at is None:
            at = max(job.at, self.clock.now())
            self.memory.note(at, job.key)
        heapq.heappush(self._queue, (at, job.key, job))

    async def _act(self) -> None:
        _, _, job = heapq.heappop(self._queue)
        try:
            answer = await job.act()
        except LookupError:
            self.stumbles.append(f"{job.key}: no longer there")  # a person would find the button gone as well
            return
        if isinstance(answer, Reply) and (answer.errors or answer.note):
            self.stumbles.append(f"{job.key}: {answer.errors or words_of_reply(answer)}")

    def _told_end(self) -> datetime:
        """When the channel was told that the round ended or rests; the same moment for a run that was resumed."""
        told = [
            r.at
            for r in self.house.room.all_messages()
            if r.by_bot and r.place.kind == "channel" and END_TOLD.match(words_of(r))
        ]
        rests = self._rests
        return self.clock.now() if not told else told[-1] if rests else told[0]

    async def _over(self) -> bool:
        assert self.round_id is not None
        async with self.house.store.begin() as uow:
            step = await uow.step_of(self.round_id)
            if step in (Step.COMMITTED, Step.CANCELLED):
                return True
            round_ = await uow.round(self.round_id)
        self._rests = round_ is not None and round_.paused is not None
        return self._rests

    async def _end(self) -> datetime | None:
        """When the clock stops: some weeks after the round ended, or after a rest that nobody ends."""
        if self._end_moved:  # the end of a round, and a rest, are told to the channel; so is what ends the rest
            self._is_over, self._end_moved = await self._over(), False
        over = self._is_over
        if not over:
            self._ended_at = None
            return self.scenario.start.astimezone(UTC) + LONGEST
        if self._ended_at is None:
            self._ended_at = self._told_end()
        return self._ended_at + timedelta(weeks=self.scenario.weeks_after)


def words_of_reply(reply: Reply) -> str:
    return plain(reply.note.summary) if reply.note is not None else ""


def clock_of(scenario: Scenario) -> ManualClock:
    return ManualClock(scenario.start)


__all__ = ["Play", "clock_of"]
