"""Guards that the rulings on a trial share: who may, and when."""

from __future__ import annotations

from coldframe.domain import who_may
from coldframe.domain.checks import bot as bot
from coldframe.domain.checks import planned_day as planned_day
from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.trial.state import UNDER_WAY, Trial, TrialStep
from coldframe.domain.who_may import TABLE, Act, Who


def member(trial: Trial, by: MemberId) -> None:
    if by not in trial.people:
        raise Refused(Because.NOT_A_MEMBER)


def in_trial(trial: Trial, by: MemberId) -> frozenset[Who]:
    """What somebody is in the trial."""
    return who_may.parts(
        by,
        trial.people,
        facilitator=trial.facilitator,
        decision_maker=trial.decision_maker,
        deputies=(trial.deputy,),
        owners=(trial.owner,),
    )


def may(trial: Trial, by: MemberId, act: Act, *, given: bool = False, own: bool = False) -> None:
    """Raises Refused for whoever the table does not let do it. `given`: its condition holds; `own`: it is their own."""
    row = TABLE[act]
    if by == BOT and row.by_itself:
        return
    found = in_trial(trial, by)
    if not found:
        raise Refused(Because.NOT_A_MEMBER)
    if not who_may.may(act, found | ({Who.ITS_OWN} if own else set()), given=given):
        whose = trial.facilitator if row.refusal is Because.NOT_FACILITATOR else trial.owner
        raise Refused(row.refusal, who=trial.name_of(whose))


def under_way(trial: Trial) -> None:
    if trial.step is TrialStep.PROPOSED:
        raise Refused(Because.TRIAL_NOT_STARTED)
    if trial.step not in UNDER_WAY:
        raise Refused(Because.TRIAL_OVER)


def live(trial: Trial) -> None:
    """Under way, and no longer being built."""
    under_way(trial)
    if trial.step is TrialStep.BUILDING:
        raise Refused(Because.NOT_LIVE)
