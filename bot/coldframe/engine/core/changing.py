"""Trials of which it was decided to try them in another way: they are offered when plans are written."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from coldframe.domain.commands import BOT, Command
from coldframe.domain.facts import Fact
from coldframe.domain.fates import ToChange
from coldframe.domain.names import Step
from coldframe.domain.round.moves import StepOpened
from coldframe.domain.round.plans import KnowChanges
from coldframe.domain.state import Round
from coldframe.domain.trial.state import TrialStep
from coldframe.ports.storage import UnitOfWork

MOST = 3  # the newest


async def following(uow: UnitOfWork, now: datetime, round_: Round, facts: Sequence[Fact]) -> Command | None:
    """What the round has to know when its plans are opened."""
    if round_.step is not Step.PLANS or not any(isinstance(fact, StepOpened) for fact in facts):
        return None
    return KnowChanges(BOT, await waiting(uow, round_.tenant, round_.channel))


async def waiting(uow: UnitOfWork, tenant: str, team: str) -> tuple[ToChange, ...]:
    """Those that nothing was done about yet, the newest first."""
    trials = await uow.trials_of(tenant, team, over=True)
    tried_again = {trial.child_of for trial in trials if trial.step is not TrialStep.DROPPED}
    found = [
        ToChange(trial.id, trial.title, trial.closing.what)
        for trial in trials
        if trial.closing is not None and trial.closing.decision == "change" and trial.id not in tried_again
    ]
    return tuple(reversed(found))[:MOST]
