"""A button that was pressed, and the forms that buttons open."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from coldframe.domain.names import ForceId, LeverId, MemberId, NoteId, PlanId, QuestionId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.message.nodes import Form, Message
from coldframe.ports.chat import Inbound, Reply
from coldframe.speech.round import forms


@dataclass(frozen=True, slots=True)
class Press:
    """Who pressed, in which round, and what the button's value says beyond the round."""

    turn: Turn
    event: Inbound
    by: MemberId
    round: Round
    parts: tuple[str, ...]

    def part(self, index: int) -> str:
        """The value's part after the round. Raises Refused for a value that was made up."""
        if index >= len(self.parts):
            raise Refused(Because.UNKNOWN_ITEM)
        return self.parts[index]

    def said(self, words: Message) -> Reply:
        """A short private answer where the button stood."""
        if self.event.place.kind == "direct":
            return Reply()
        return Reply(note=words)


Handler = Callable[[Press], Awaitable[Reply]]


def _opens(make: Callable[[Press], Form]) -> Handler:
    async def handler(press: Press) -> Reply:
        return Reply(form=make(press))

    return handler


def _note_form(press: Press) -> Form:
    in_step(press, Step.NOTES)
    return forms.note(press.round, LeverId(press.parts[0]) if press.parts else None)


def _note_edit(press: Press) -> Form:
    note = press.round.notes.get(NoteId(press.part(0)))
    if note is None or note.author != press.by:
        raise Refused(Because.NOT_YOURS)
    return forms.note_edit(press.round, note.id)


def _focus_form(press: Press) -> Form:
    in_step(press, Step.FOCUS)
    if not press.round.is_decision_maker(press.by):
        raise Refused(Because.NOT_DECISION_MAKER, who=press.round.name_of(press.round.expected()[0]))
    return forms.focus(press.round, LeverId(press.part(0)))


def _join_form(press: Press) -> Form:
    in_step(press, Step.MERGE)
    return forms.join(press.round)


def _object_form(press: Press) -> Form:
    in_step(press, Step.MERGE)
    if not any(len(f.notes) > 1 for f in press.round.forces):
        raise Refused(Because.UNKNOWN_ITEM)
    return forms.split(press.round)


def _question_form(press: Press) -> Form:
    in_step(press, Step.QUESTIONS)
    _known_force(press)
    return forms.question(press.round, ForceId(press.part(0)))


def _known_force(press: Press) -> None:
    if press.round.force(press.part(0)) is None:
        raise Refused(Because.UNKNOWN_ITEM)


def _precedent_form(press: Press) -> Form:
    in_step(press, Step.PRECEDENTS)
    return forms.precedent(press.round, QuestionId(press.parts[0]) if press.parts else None)


def _plan_form(press: Press) -> Form:
    in_step(press, Step.PLANS)
    if not press.parts:
        return forms.plan(press.round)
    plan = press.round.plans.get(PlanId(press.part(0)))
    if plan is None or plan.author != press.by:
        raise Refused(Because.NOT_YOURS)
    return forms.plan(press.round, plan)


def in_step(press: Press, step: Step) -> None:
    if press.round.step is not step:
        order = list(Step)
        late = order.index(press.round.step) > order.index(step)
        raise Refused(Because.TOO_LATE if late else Because.NOT_OPEN_YET, step=press.round.step, wanted=step)


def _choice_form(make: Callable[[Round, PlanId], Form]) -> Handler:
    def opened(press: Press) -> Form:
        in_step(press, Step.COMMITMENT)
        plan = PlanId(press.part(0))
        if plan not in press.round.choices:
            raise Refused(Because.UNKNOWN_ITEM)
        return make(press.round, plan)

    return _opens(opened)


async def _actions_form(press: Press) -> Reply:
    """Known actions with their days as whoever opens it counts them."""
    in_step(press, Step.COMMITMENT)
    plan = PlanId(press.part(0))
    if plan not in press.round.choices:
        raise Refused(Because.UNKNOWN_ITEM)
    calendar = members.calendar_of(await press.turn.uow.member(press.round.tenant, press.by))
    return Reply(form=forms.actions(press.round, plan, calendar.local_day))


def _date_form(action: str, heading: str) -> Handler:
    def opened(press: Press) -> Form:
        value = "|".join((press.round.id, *press.parts))
        return forms.date(action, value, heading)

    return _opens(opened)


OPENS: dict[str, Handler] = {
    "note.write": _opens(_note_form),
    "note.edit": _opens(_note_edit),
    "round.cancel": _opens(lambda press: forms.cancel(press.round)),
    "focus.pick": _opens(_focus_form),
    "merge.join": _opens(_join_form),
    "merge.object": _opens(_object_form),
    "question.write": _opens(_question_form),
    "precedent.write": _opens(_precedent_form),
    "plan.write": _opens(_plan_form),
    "plan.edit": _opens(_plan_form),
    "owner.ask": _choice_form(forms.owner),
    "owner.decline": _choice_form(forms.decline),
    "actions.write": _actions_form,
    "criterion.write": _choice_form(forms.criterion),
    "forecast.write": _choice_form(forms.forecast),
    "review.date": _date_form("review.date", "Date of the review"),
    "round.start_on": _date_form("round.start_on", "Start of the round"),
    "nextround.date": _date_form("nextround.date", "Date of the next round"),
}
