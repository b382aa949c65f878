"""The running steps, one module and one record each."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.names import Step
from coldframe.engine.round.steps import (
    ballot,
    commitment,
    dots,
    focus,
    merge,
    notes,
    placement,
    plans,
    precedents,
    questions,
)
from coldframe.engine.round.steps.play import StepPlay

PLAYS: Mapping[Step, StepPlay] = {
    Step.NOTES: notes.PLAY,
    Step.FOCUS: focus.PLAY,
    Step.MERGE: merge.PLAY,
    Step.DOTS: dots.PLAY,
    Step.QUESTIONS: questions.PLAY,
    Step.PRECEDENTS: precedents.PLAY,
    Step.PLANS: plans.PLAY,
    Step.BALLOT: ballot.PLAY,
    Step.PLACEMENT: placement.PLAY,
    Step.COMMITMENT: commitment.PLAY,
}
