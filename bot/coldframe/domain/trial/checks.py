"""Guards that the rulings on a trial share: who may, and when."""

from __future__ import annotations

from coldframe.domain.checks import bot as bot
from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.trial.state import UNDER_WAY, Trial, TrialStep


def member(trial: Trial, by: MemberId) -> None:
    if by not in trial.people:
        raise Refused(Because.NOT_A_MEMBER)


def owner(trial: Trial, by: MemberId) -> None:
    if by != trial.owner:
        raise Refused(Because.NOT_OWNER, who=trial.name_of(trial.owner))


def owner_or_facilitator(trial: Trial, by: MemberId) -> None:
    if by not in (trial.owner, trial.facilitator):
        raise Refused(Because.NOT_OWNER, who=trial.name_of(trial.owner))


def under_way(trial: Trial) -> None:
    if trial.step is TrialStep.PROPOSED:
        raise Refused(Because.TRIAL_NOT_STARTED)
    if trial.step not in UNDER_WAY:
        raise Refused(Because.TRIAL_OVER)
