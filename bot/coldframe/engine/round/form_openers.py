"""The forms that buttons of a round open."""

from __future__ import annotations

from collections.abc import Callable

from coldframe.domain.names import ForceId, LeverId, NoteId, PlanId, QuestionId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import rules
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.requests import RoundAnswer, RoundRequest, in_step, of_round
from coldframe.message.nodes import Form
from coldframe.ports.chat import Reply
from coldframe.speech.round import forms


def _opens(make: Callable[[RoundRequest], Form]) -> RoundAnswer:
    async def handler(request: RoundRequest) -> Reply:
        return Reply(form=make(request))

    return handler


def _note_form(request: RoundRequest) -> Form:
    in_step(request, Step.NOTES)
    return forms.note(request.round, LeverId(request.parts[0]) if request.parts else None)


def _note_edit(request: RoundRequest) -> Form:
    note = request.round.notes.get(NoteId(request.part(0)))
    if note is None or note.author != request.by:
        raise Refused(Because.NOT_YOURS)
    return forms.note_edit(request.round, note.id)


def _focus_form(request: RoundRequest) -> Form:
    in_step(request, Step.FOCUS)
    if not request.round.is_decision_maker(request.by):
        raise Refused(Because.NOT_DECISION_MAKER, who=request.round.name_of(rules.expected(request.round)[0]))
    return forms.focus(request.round, LeverId(request.part(0)))


def _join_form(request: RoundRequest) -> Form:
    in_step(request, Step.MERGE)
    return forms.join(request.round)


def _object_form(request: RoundRequest) -> Form:
    in_step(request, Step.MERGE)
    if not any(len(f.notes) > 1 for f in request.round.forces):
        raise Refused(Because.UNKNOWN_ITEM)
    return forms.split(request.round)


def _question_form(request: RoundRequest) -> Form:
    in_step(request, Step.QUESTIONS)
    _known_force(request)
    return forms.question(request.round, ForceId(request.part(0)))


def _known_force(request: RoundRequest) -> None:
    if request.round.force(request.part(0)) is None:
        raise Refused(Because.UNKNOWN_ITEM)


def _precedent_form(request: RoundRequest) -> Form:
    in_step(request, Step.PRECEDENTS)
    return forms.precedent(request.round, QuestionId(request.parts[0]) if request.parts else None)


def _plan_form(request: RoundRequest) -> Form:
    in_step(request, Step.PLANS)
    if not request.parts:
        return forms.plan(request.round)
    plan = request.round.plans.get(PlanId(request.part(0)))
    if plan is None or plan.author != request.by:
        raise Refused(Because.NOT_YOURS)
    return forms.plan(request.round, plan)


def _choice_form(make: Callable[[Round, PlanId], Form]) -> RoundAnswer:
    def opened(request: RoundRequest) -> Form:
        in_step(request, Step.COMMITMENT)
        plan = PlanId(request.part(0))
        if plan not in request.round.choices:
            raise Refused(Because.UNKNOWN_ITEM)
        return make(request.round, plan)

    return _opens(opened)


async def _actions_form(request: RoundRequest) -> Reply:
    """Known actions with their days as whoever opens it counts them."""
    in_step(request, Step.COMMITMENT)
    plan = PlanId(request.part(0))
    if plan not in request.round.choices:
        raise Refused(Because.UNKNOWN_ITEM)
    calendar = members.calendar_of(await request.turn.uow.member(request.round.tenant, request.by))
    return Reply(form=forms.actions(request.round, plan, calendar.local_day))


def _date_form(action: str, heading: str) -> RoundAnswer:
    def opened(request: RoundRequest) -> Form:
        value = "|".join((request.round.id, *request.parts))
        return forms.date(action, value, heading)

    return _opens(opened)


BUTTONS = of_round(
    {
        "note.write": _opens(_note_form),
        "note.edit": _opens(_note_edit),
        "round.cancel": _opens(lambda request: forms.cancel(request.round)),
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
)
