"""Opening a step again: said before with what it clears, then told to everybody. What stood of the steps that it clears
becomes final, and its names are free for what comes now; what was given in them in private is deleted."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.facts import Fact
from coldframe.domain.names import Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.reopening import (
    REOPENED,
    OpenAgain,
    Reopened,
    can_be_opened,
    span,
)
from coldframe.domain.round.revealed_notes import can_be_posted
from coldframe.domain.state import Round
from coldframe.engine.core import endings, lives
from coldframe.engine.core.endings import Ending
from coldframe.engine.core.requests import RoundRequest, of_round
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.round import announcing
from coldframe.engine.round.steps import result
from coldframe.message.packed import MessageName
from coldframe.ports.chat import Reply
from coldframe.ports.storage import Posted
from coldframe.speech.names import message_name, step_of
from coldframe.speech.round import reopening_words

ERASE = "erase votes"
OF_STEP = {
    "focus": Step.FOCUS,
    "merged": Step.MERGE,
    "proposal": Step.MERGE,
    "question": Step.QUESTIONS,
    "telling": Step.PLANS,
    "compare": Step.PLACEMENT,
    "author": Step.COMMITMENT,
    "own": Step.COMMITMENT,
    "forecasts": Step.COMMITMENT,
    "forecast": Step.COMMITMENT,
}
"""Messages whose name does not say their step."""
RESULTS = {"dots": Step.DOTS, "ballot": Step.BALLOT, "matrix": Step.PLACEMENT}
OWN_STEP = frozenset({"passed", "extended", "closed unread", "deadline"})
"""Passing words of a step, by its name: they stay as they are."""
FINAL = frozenset({"card", "ask", "desk", "ballot", "focus", "merged", "result", "question"})
"""What says in a line that it does not count any more."""


# --- buttons and forms ----------------------------------------------------------------------------------------------


async def _form(request: RoundRequest) -> Reply:
    if not can_be_opened(request.round):
        raise Refused(Because.STAYS_CLOSED, which=request.round.step, step=request.round.step)
    return Reply(form=reopening_words.form(request.round))


async def _would_clear(request: RoundRequest) -> None:
    step, reason = _step(request.text("step")), request.text("reason").strip()
    request.turn.rehearse(request.round, [OpenAgain(request.by, step, reason)])
    request.answer(reopening_words.before(request.round, step, reason))


def _step(name: str) -> Step:
    if name not in list(Step):
        raise Refused(Because.UNKNOWN_ITEM)
    return Step(name)


async def _again(request: RoundRequest) -> None:
    await request.act(OpenAgain(request.by, _step(request.part(0)), request.part(1)))


async def _late_notes(request: RoundRequest) -> Reply:
    """Into the list they come unsigned, as long as duplicates are still joined."""
    if not can_be_posted(request.round):
        raise Refused(Because.STAYS_CLOSED, which=Step.NOTES, step=request.round.step)
    words = reopening_words.late_notes(request.round)
    request.turn.say(request.round, "late asked", words, rest=(request.turn.kit.ids.new(""),))
    return request.passing(reopening_words.late_notes_asked())


# --- what follows ---------------------------------------------------------------------------------------------------


async def _reopened(turn: Turn, before: Round, after: Round, fact: Reopened) -> None:
    """Told before the step's card and questions come."""
    over = span(after.step, before.step)
    await _forget_dues(turn, before, over)
    if after.dots is None and before.dots is not None:
        await turn.uow.erase_votes(after.id, "dots")  # of a ballot that begins anew they went as it was saved
    await _end(turn, after, over)
    words = reopening_words.to_all(before, after, fact.reason)
    turn.say(after, "reopened", words, rest=(after.step.value, turn.kit.ids.new("")))


async def _forget_dues(turn: Turn, before: Round, over: tuple[Step, ...]) -> None:
    """Results that were to be told, choices to be announced, and the day on which votes were to be erased."""
    for kind in (*result.IN_ORDER, *announcing.KINDS):
        await turn.drop_due(before.id, kind=kind)
    erased = {Step.DOTS: "dots", Step.BALLOT: "ballot"}
    for ballot in [erased[step] for step in over if step in erased]:
        await turn.drop_due(before.id, kind=ERASE, occurrence=ballot)
    if Step.PLACEMENT in over:
        await turn.drop_due(before.id, kind=ERASE, occurrence="comparisons")


async def _end(turn: Turn, after: Round, over: tuple[Step, ...]) -> None:
    """All that stood of these steps, sent or not; what was said before stays where it is not said in its place."""
    out = await turn.uow.posted_like(message_name(after.id, ""))
    unsent = [p for p in await turn.uow.open_posts(after.tenant, after.id, ()) if not p.message_id]
    mine = [p for p in (*out, *unsent) if _of(p) in over]
    await endings.end(turn, [ending for p in mine if (ending := _ending(turn, after, p)) is not None])
    await turn.uow.free_names([p.name for p in mine])


def _of(posted: Posted) -> Step | None:
    name = MessageName.unpack(posted.name)
    if name.what == "result":
        return RESULTS.get(name.rest[0])
    if name.what in OWN_STEP:
        return Step(name.rest[0])
    return OF_STEP.get(name.what) or step_of(name)


def _ending(turn: Turn, after: Round, posted: Posted) -> Ending | None:
    if MessageName.unpack(posted.name).what in FINAL:
        return Ending(posted, lives.End.LINE, reopening_words.final(after, turn.now))
    return endings.taken_back(posted) if posted.open else None


BUTTONS = of_round(
    {
        "edit.again": _form,
        "edit.again_yes": _again,
        "edit.late": _late_notes,
    }
)
FORMS = of_round({"edit.again": _would_clear})
FOLLOW: Mapping[type[Fact], Follow[Round]] = dict.fromkeys(REOPENED.values(), _reopened)
