"""Somebody is forgotten in the middle of each step, as whoever they are: afterwards nothing leads to them, in no table,
sealed row, free page, log or conversation of theirs, and nothing that nobody had read is ever published."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from coldframe.domain.commands import BOT, Command
from coldframe.domain.names import RUNNING, MemberId, PlanId, PrecedentId, QuestionId, Role, Step
from coldframe.domain.round.ballots import CastVote, LockBallot
from coldframe.domain.round.choosing import ChoosePlan, OfferToOwn
from coldframe.domain.round.commitment import Forecast
from coldframe.domain.round.merging import ProposeMerges
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import GivePrecedent, SuggestQuestion
from coldframe.domain.round.roles import OfferRole
from coldframe.domain.state import MergeProposal, Round
from coldframe.store import tables
from coldframe.store.sealed_sends import SealedSends
from coldframe.store.sealer import Sealer
from coldframe.store.sealing import Seal
from tests.domain.play import DD, EVERYBODY, FD, D, F, a_plan
from tests.engine.clockwork import SECRET, Running, running
from tests.engine.databases import THE_SERVER_LATER, a_database
from tests.engine.reaching import at_step, reach, told
from tests.engine.seeing_through import Team

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")
SECRETS = tuple(f"canary{n}" for n in range(1, 9))
"""What nobody but their writer may ever read."""
DAY = timedelta(days=1)


# --- what they give -------------------------------------------------------------------------------------------------


async def _gives(team: Running, me: MemberId, step: Step) -> None:
    """Everything that can be given in this step."""
    round_ = await team.current()
    assert round_.progress.opens is not None
    await team.until(max(team.clock.now(), round_.progress.opens))
    if step is Step.NOTES:
        await team.say(me, "- retention: canary1")
        await team.say(me, "canary2 which belongs nowhere")
    else:
        await team.say(me, "- retention: canary3 came late")
    await team.act(f"gives/{me}", *_commands(round_, me, step, team.clock.now()))


def _commands(round_: Round, me: MemberId, step: Step, now: datetime) -> tuple[Command, ...]:
    match step:
        case Step.NOTES:
            return (OfferRole(F, Role.FACILITATOR, FD if me != FD else DD, now + DAY),)
        case Step.MERGE:
            first, second, *_ = (n.id for n in round_.restraining_in_focus())
            return (ProposeMerges(BOT, (MergeProposal(first, second, 0.9, "alike"),)),)
        case Step.DOTS:
            return (CastVote(me, round_.forces[0].id, "button"), LockBallot(me))
        case Step.QUESTIONS:
            return (SuggestQuestion(me, "How might we say it in the open?"),)
        case Step.PRECEDENTS:
            return (GivePrecedent(me, PrecedentId("x7"), QuestionId("q1"), "A school", "They listened."),)
        case Step.PLANS:
            return (HandInPlan(me, a_plan("p8", might_fail="canary4", title="canary5")),)
        case Step.BALLOT:
            return (CastVote(me, round_.plan_order[0], "button"),)
        case Step.COMMITMENT:
            plan = round_.plan_order[0]
            return (ChoosePlan(D, plan), OfferToOwn(me, plan), *_forecasts(me, plan))
        case _:
            return ()


def _forecasts(me: MemberId, plan: PlanId) -> tuple[Command, ...]:
    return tuple(Forecast(m, plan, 50, "canary6" if m == me else "Nobody answers") for m in (F, D, FD, me))


# --- where it could still be ----------------------------------------------------------------------------------------


async def found(team: Team, folder: Path, *words: str) -> set[str]:
    """`table.column` of every place in which one of the words stands, opened where it is sealed; and files."""
    places: set[str] = set()
    sealer = Sealer(Seal(SECRET), team.house.store.keys)
    sends = SealedSends(Seal(SECRET), sealer)
    async with team.house.store.database.looking() as db:
        for name, table in tables.metadata.tables.items():
            rows = (await db.execute(select(table))).all()
            await sealer.find(row.body for row in rows if name == "outbox")
            for row in rows:
                texts = {c.name: str(getattr(row, c.name)) for c in table.columns}
                if name == "outbox":
                    texts["body"] = repr(sends.look(row.kind, row.name, row.body))
                places |= {f"{name}.{column}" for column, text in texts.items() if _holds(text, words)}
        rounds = [row.id for row in await db.execute(select(tables.rounds.c.id))]
        trials = [row.id for row in await db.execute(select(tables.trials.c.id))]
    async with team.house.store.begin() as uow:
        opened = {f"round {r}": repr(await uow.round(r)) for r in rounds}
        opened |= {f"trial {t}": repr(await uow.trial(t)) for t in trials}
    places |= {where for where, text in opened.items() if _holds(text, words)}
    raw = {file.name: file.read_bytes() for file in folder.glob("bot.db*")}
    return places | {name for name, content in raw.items() if any(word.encode() in content for word in words)}


def _holds(text: str, words: tuple[str, ...]) -> bool:
    return any(word in text for word in words)


def _in_the_room(team: Running, folder: Path, *words: str) -> set[str]:
    """Conversations, notes and forms in which one of the words stands, and the room's own file."""
    room = team.house.room
    said = {r.place.id for r in room.all_messages() if _holds(f"{r.text} {r.message}", words)}
    forms = {m for m in EVERYBODY for form in room.log.forms(m) if _holds(repr(form), words)}
    return said | forms


async def _forget(team: Running, me: MemberId) -> None:
    await team.command(me, "forget me", channel=False)
    await team.until(team.clock.now() + timedelta(minutes=6))


# --- in every step --------------------------------------------------------------------------------------------------


ROLES = {"member": JON, "facilitator": F, "decision-maker": D, "deputy": FD}


ORDINARY = list(zip(RUNNING, (*ROLES, *ROLES, *ROLES), strict=False))
REST = [(step, role) for step in RUNNING for role in ROLES if (step, role) not in ORDINARY]


@pytest.mark.parametrize(("step", "role"), [*ORDINARY, *(pytest.param(*one, marks=pytest.mark.slow) for one in REST)])
async def test_nothing_leads_to_somebody_who_was_forgotten_in_a_step(step: Step, role: str, tmp_path: Path) -> None:
    """Their id, their name and what they gave in confidence; in the room nothing but the last word is left of it."""
    me = ROLES[role]
    async with at_step(tmp_path, MONDAY, step) as team:
        await _gives(team, me, step)
        assert await found(team, tmp_path, me, me.title())
        await _forget(team, me)
        assert await found(team, tmp_path, me, me.title(), *SECRETS) == set()
        assert _in_the_room(team, tmp_path, *SECRETS) == set()
        (last,) = [words for words in told(team, me) if words]
        assert last.startswith("Done: I've forgotten you")
        await _goes_on(team, me)
        assert _in_the_room(team, tmp_path, *SECRETS) == set()


async def _goes_on(team: Running, me: MemberId) -> None:
    """The round goes on without them, and nothing of theirs comes out of it later."""
    round_ = await team.current()
    assert me not in repr(round_)
    there = round_.active()
    assert {round_.roles.acting(role) for role in Role} <= set(there) and len(there) == 5
    await team.until(team.clock.now() + 5 * DAY)


@pytest.mark.parametrize("kind", THE_SERVER_LATER[1:])
@pytest.mark.parametrize("step", [Step.NOTES, Step.BALLOT, Step.COMMITMENT])
async def test_nor_on_a_server(kind: str, step: Step, tmp_path: Path) -> None:
    """The same rows, deleted by the other database's own functions."""
    with a_database(kind, tmp_path) as url:
        async with running(tmp_path, MONDAY, url=url) as team:
            await reach(team, step)
            await _gives(team, JON, step)
            assert await found(team, tmp_path, JON, "Jon")
            await _forget(team, JON)
            assert await found(team, tmp_path, JON, "Jon", *SECRETS) == set()
