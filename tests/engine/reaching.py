"""A round in the room, played on by its own commands as a well-behaved team would, to the step that a test is about."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from datetime import datetime
from pathlib import Path

from coldframe.domain.commands import Command
from coldframe.domain.names import ForceId, NoteId, PlanId, PrecedentId, QuestionId, Side, Step
from coldframe.domain.round import rules
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import Close
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import GivePrecedent, WriteQuestion
from coldframe.domain.state import Round
from coldframe.players.hand import words_of
from tests.domain.play import REASON, RETENTION, D, F, a_plan
from tests.engine.clockwork import Running, reopened, running
from tests.engine.snapshots import copied

TOPICS = ("the bill", "slow pages", "too many mails", "no pause button", "a long form", "dull first week")


@asynccontextmanager
async def at_step(folder: Path, start: datetime, step: Step) -> AsyncIterator[Running]:
    """Six people whose round began at the start and was played on to the step."""

    def build(where: Path) -> AbstractAsyncContextManager[Running]:
        return _played_to(where, start, step)

    async with reopened(folder, await copied(folder, build, start, step)) as team:
        yield team


@asynccontextmanager
async def _played_to(folder: Path, start: datetime, step: Step) -> AsyncIterator[Running]:
    async with running(folder, start) as team:
        await reach(team, step)
        yield team


async def reach(team: Running, step: Step) -> Round:
    """Plays on until the step is open. Six notes, one force a person; plans p0 to p2; nobody stays behind."""
    while (round_ := await team.current()).step is not step:
        again = f"{round_.step}/{len(in_channel(team))}"  # a step may be opened again
        await team.act(f"reach/{again}", *_commands(round_))
        if (await team.current()).step is round_.step:
            assert round_.progress.opens is not None
            await team.until(max(team.clock.now(), round_.progress.opens))
            await team.act(f"close/{again}", *_votes(round_), Close(F))
    return round_


def _commands(round_: Round) -> tuple[Command, ...]:
    """What closes the step, or for a ballot what comes before its votes: nothing."""
    members = rules.expected(round_)
    match round_.step:
        case Step.NOTES:
            restraining = Side.RESTRAINING
            notes = (WriteNote(m, NoteId(f"n{i}"), RETENTION, restraining, TOPICS[i]) for i, m in enumerate(members))
            return (*notes, Close(F))
        case Step.FOCUS:
            return (PickFocus(D, RETENTION, REASON),)
        case Step.QUESTIONS:
            force = next(s.option for s in round_.forces_standing if s.carried)
            return (WriteQuestion(F, QuestionId("q1"), ForceId(force), "How might we greet new teams?"), Close(F))
        case Step.PRECEDENTS:
            return (GivePrecedent(D, PrecedentId("x1"), QuestionId("q1"), "A library", "They rang."), Close(F))
        case Step.PLANS:
            return (*(HandInPlan(m, a_plan(f"p{i}")) for i, m in enumerate(members[:3])), Close(F))
        case Step.DOTS | Step.BALLOT:
            return ()
        case _:
            return (Close(F),)


def _votes(round_: Round) -> tuple[Command, ...]:
    if round_.step is Step.DOTS:
        options = [str(force.id) for force in round_.forces]
    else:
        options = [str(PlanId(p)) for p in round_.plan_order]
    return tuple(CastVote(m, options[i % len(options)], "button") for i, m in enumerate(rules.expected(round_)))


def told(team: Running, person: str) -> list[str]:
    """What the bot said to this person in private, oldest first, each as a line."""
    room = team.house.room
    return [words_of(r) for r in room.messages(room.direct(person)) if r.by_bot]


def in_channel(team: Running) -> list[str]:
    """What the bot said in the team's channel."""
    room = team.house.room
    return [words_of(r) for r in room.messages(room.channel(team.round.channel)) if r.by_bot]
