"""Why a step is not played, in a line for the channel."""

from __future__ import annotations

from coldframe.domain.names import PassReason, Step
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Message
from coldframe.message.saying import said
from coldframe.speech.names import choosers


def passed(round_: Round, step: Step, why: PassReason) -> Message | None:
    """None where the line about the step before says it already."""
    match why:
        case PassReason.ONE_LEVER:
            name = theirs(round_.settings.levers[0][1], 60)
            return said("The round has one lever, *{lever}*: no focus step is needed.", lever=name)
        case PassReason.ONE_FORCE:
            return _one_force(round_, step)
        case PassReason.ONE_PLAN:
            return _one_plan(round_) if step is Step.BALLOT else None
        case PassReason.COMPARED:
            return None


def _one_force(round_: Round, step: Step) -> Message | None:
    force = theirs(round_.force_text(round_.forces[0].id), 300)
    if step is Step.MERGE:
        return said(
            "One thing alone holds us back: “{force}”. There is nothing to join and nothing to vote on, so the "
            "questions come next.",
            force=force,
        )
    if Step.MERGE in round_.passed:
        return None
    return said("One force is left: “{force}”. There is nothing to vote on, so the questions come next.", force=force)


def _one_plan(round_: Round) -> Message:
    return said(
        "There is one plan, so there is no ballot and no placement. {w} can now decide whether it is tried.",
        w=choosers(round_),
    )
