"""One person acts in the browser, a scenario's others do their part when they are told to."""

from __future__ import annotations

from pathlib import Path

import structlog

from coldframe.chat.room.rehearsal import Chore
from coldframe.cli.rehearsing import Stage
from coldframe.clock import SeededIds
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.players.cast import Cast
from coldframe.players.jobs import Job
from coldframe.players.recasting import any_question, recast
from coldframe.players.scenario import Roles, Scenario, calendar_of
from coldframe.players.summing import summed
from coldframe.ports.chat import Person
from coldframe.render.artefacts import Draughtsman
from coldframe.speech.names import title

log = structlog.get_logger()

_PASSES = 40


class ScenarioStage(Stage):
    """A stage on which the scenario's people know what to write, to vote and to decide."""

    def __init__(self, scenario: Scenario, folder: Path, draughtsman: Draughtsman | None = None) -> None:
        team = [Person(p.id, p.name, p.zone) for p in scenario.team]
        ids = lambda: SeededIds(scenario.seed)  # noqa: E731 - each life begins with the same chance
        super().__init__(team, scenario.start, folder, draughtsman=draughtsman, ids=ids)
        self.scenario = scenario
        self.question = scenario.question

    async def furnish(self) -> None:
        await self.house.engine.act("rehearsal/people", self._people)

    async def _people(self, turn: Turn) -> None:
        """What a team would have told the bot in earlier rounds: when each of them works."""
        for person in self.scenario.team:
            known = Person(person.id, person.name, person.zone)
            record = await members.upsert_member(turn.uow, self.house.room.tenant, known)
            await turn.uow.save_member(members.with_calendar(record, calendar_of(person), confirmed=False))

    def chores(self, round_: Round) -> tuple[Chore, ...]:
        return (Chore(round_.step.value, f"their part of {title(round_.step).lower()}"),)

    async def others(self, step: str, acting: str) -> str:
        """One after the other they do what they would do in this step, until it ends or nothing is left. Each looks in
        first, whatever their hours: what waits for the beginning of their day comes then."""
        done: list[str] = []
        await self._play(step, acting, done)
        return summed(done, {person.id: person.name for person in self.scenario.team})

    async def _play(self, step: str, acting: str, done: list[str]) -> None:
        for person in self.scenario.team:
            if person.id != acting:
                await self.house.room.open_home(person.id)
        await self.settle()
        tried: set[str] = set()
        for _ in range(_PASSES):
            jobs = [job for job in await self._jobs(acting) if job.key not in tried]
            if not jobs:
                return
            for job in jobs:
                tried.add(job.key)
                if not await self._do(job, step, done):
                    return

    async def _jobs(self, acting: str) -> list[Job]:
        room = self.house.room
        only = frozenset(p.id for p in self.scenario.team if p.id != acting)
        cast = Cast(await self._as_the_round_has_it(), room, only=only)
        jobs = [j for record in room.all_messages() for j in cast.reactions(record, self.clock.now())]
        fresh = {job.key: job for job in jobs if not room.log.is_done(job.key)}
        return sorted(fresh.values(), key=lambda job: (job.at, job.key))

    async def _as_the_round_has_it(self) -> Scenario:
        """The scenario with the roles that were given in the room."""
        round_ = await self.round()
        if round_ is None:
            return self.scenario
        roles = round_.roles
        given = Roles(
            facilitator=roles.facilitator,
            decision_maker=roles.decision_maker,
            facilitator_deputy=roles.facilitator_deputy or roles.facilitator,
            decision_deputy=roles.decision_deputy or roles.decision_maker,
        )
        return self._on_its_question(round_).model_copy(update={"roles": given})

    def _on_its_question(self, round_: Round) -> Scenario:
        """What the team says of a question of somebody else's fits any; its levers are the round's."""
        titles = [title for _, title in round_.settings.levers]
        if round_.settings.question == self.scenario.question and set(self.scenario.levers) <= set(titles):
            return self.scenario
        general = recast(any_question(), self.team)
        named = {name: titles[min(at, len(titles) - 1)] for at, name in enumerate(general.levers)}
        notes = [note.model_copy(update={"lever": named[note.lever]}) for note in general.notes]
        focus = general.focus and general.focus.model_copy(update={"lever": named[general.focus.lever]})
        return general.model_copy(update={"notes": notes, "focus": focus, "levers": titles})

    async def _do(self, job: Job, step: str, done: list[str]) -> bool:
        """Whether the step is still the same afterwards."""
        try:
            await job.act()
            done.append(job.key)
        except Exception as problem:  # what is not on the screen cannot be pressed; the rehearsal goes on
            log.info("rehearsal.left_out", job=job.key, problem=type(problem).__name__)
        await self.settle()
        round_ = await self.round()
        return round_ is not None and round_.step.value == step
