"""Places for trials: how many a team may run at once, and when the next one is free."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from coldframe.domain.names import PlanId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Alongside, Round
from coldframe.domain.trial.state import UNDER_WAY
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import teams
from coldframe.ports.storage import RunningTrial


async def places(turn: Turn, round_: Round) -> tuple[int, datetime | None]:
    """How many trials the team runs, and when the next place is free (None when one is free now)."""
    running = await turn.uow.running_trials(round_.tenant, round_.channel)
    if len(running) < round_.settings.trials_at_once:
        return len(running), None
    return len(running), _free_on(running, turn.now)


async def alongside(turn: Turn, round_: Round) -> tuple[Alongside, ...]:
    """The trials that the team runs: on whom, and until when."""
    found = await turn.uow.trials_of(round_.tenant, round_.channel)
    return tuple(
        Alongside(t.title, t.criterion.counted, t.criterion.population, t.ends()) for t in found if t.step in UNDER_WAY
    )


async def refuse_without_place(turn: Turn, tenant: str, team: str) -> None:
    """Raises Refused, with the date of the next free place, for a team that runs as many trials as it may."""
    running = await turn.uow.running_trials(tenant, team)
    most = await teams.places_at_once(turn.uow, tenant, team)
    if len(running) >= most:
        free_on = _free_on(running, turn.now)
        raise Refused(Because.NO_FREE_PLACE, most=most, running=len(running), free_on=free_on)


def _free_on(running: Sequence[RunningTrial], now: datetime) -> datetime | None:
    """Nobody knows of one that is so late that its review would have been."""
    return min((t.review for t in running if t.review > now), default=None)


def trial_id(round_: Round, plan: PlanId) -> str:
    return f"{round_.id}-{plan}"
