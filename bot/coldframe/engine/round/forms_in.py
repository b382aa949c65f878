"""What the forms of a round mean: each name with the command that its fields make."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

from coldframe.domain.commands import (
    AnswerOwnership,
    AskOwner,
    Cancel,
    Command,
    CompleteCriterion,
    EditNote,
    Forecast,
    GivePrecedent,
    HandInPlan,
    JoinForces,
    NameChecker,
    PickFocus,
    SetActions,
    SetNextRound,
    SetReview,
    SplitForce,
    WriteNote,
    WriteQuestion,
)
from coldframe.domain.names import ForceId, LeverId, MemberId, NoteId, PlanId, PrecedentId, QuestionId, Role, Side
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.questions import lint
from coldframe.domain.state import Action, ComparisonKind, Criterion, Plan
from coldframe.engine.core import sent_form
from coldframe.engine.core.requests import RoundRequest, of_round
from coldframe.engine.register import registering
from coldframe.message.nodes import Button
from coldframe.speech import answers
from coldframe.speech.people import time_words
from coldframe.speech.round import work_prompts

# --- notes, focus, merge ---


async def _note(request: RoundRequest) -> None:
    """Several lines become several notes, as the form says."""
    lever, side = LeverId(request.text("lever")), _side(request.text("side"))
    pieces = [p.strip() for p in request.text("text").split("\n") if p.strip()] or [""]
    ids = [NoteId(request.turn.kit.ids.new("n")) for _ in pieces]
    notes = [WriteNote(request.by, note, lever, side, piece) for note, piece in zip(ids, pieces, strict=True)]
    await request.turn.act_all(request.round, notes)


def _side(word: str) -> Side:
    if word not in (Side.DRIVING, Side.RESTRAINING):
        raise sent_form.FieldError("side", "Choose one of the two directions.")
    return Side(word)


async def _note_edit(request: RoundRequest) -> None:
    await request.act(EditNote(request.by, NoteId(request.part(0)), request.text("text")))


async def _focus(request: RoundRequest) -> None:
    await request.act(PickFocus(request.by, LeverId(request.part(0)), request.text("reason")))


async def _join(request: RoundRequest) -> None:
    command = JoinForces(request.by, ForceId(request.text("first")), ForceId(request.text("second")))
    await request.act(command)


async def _split(request: RoundRequest) -> None:
    await request.act(SplitForce(request.by, ForceId(request.text("force"))))


# --- questions, precedents, plans ---


async def _question(request: RoundRequest) -> None:
    text = request.text("text")
    question = QuestionId(request.turn.kit.ids.new("q"))
    await request.act(WriteQuestion(request.by, question, ForceId(request.part(0)), text))
    doubts = lint(text.strip())
    if doubts:
        request.answer(work_prompts.question_doubts(text, doubts))


async def _precedent(request: RoundRequest) -> None:
    command = GivePrecedent(
        request.by,
        PrecedentId(request.turn.kit.ids.new("c")),
        QuestionId(request.text("question")),
        request.text("title"),
        request.text("idea"),
        request.text("details"),
        request.text("source"),
        request.text("outside") == "yes",
    )
    await request.act(command)


async def _plan(request: RoundRequest) -> None:
    plan_id = PlanId(request.parts[0]) if request.parts else PlanId(request.turn.kit.ids.new("p"))
    plan = Plan(
        id=plan_id,
        author=request.by,
        question=QuestionId(request.text("question")),
        title=request.text("title"),
        hypothesis=request.text("hypothesis"),
        steps=tuple(s.strip() for s in request.text("steps").splitlines() if s.strip()),
        criterion=sent_form.read_criterion(request, Criterion(kind=_kind(request.text("kind")))),
        weeks=sent_form.whole(request, "weeks") or 4,
        checked_by=request.text("checked_by"),
        might_fail=request.text("might_fail"),
        chance=sent_form.whole(request, "chance"),
    )
    alike = "" if request.parts else await registering.doubt_once(request.turn, request.round, plan)
    if alike:
        raise sent_form.FieldError("title", alike)
    await request.act(HandInPlan(request.by, plan))


def _kind(word: str) -> ComparisonKind:
    kinds: tuple[ComparisonKind, ...] = get_args(ComparisonKind)
    if word not in kinds:
        raise sent_form.FieldError("kind", "Choose how it is compared.")
    return kinds[kinds.index(word)]


# --- commitment ---


async def _ask_owner(request: RoundRequest) -> None:
    await request.act(AskOwner(request.by, PlanId(request.part(0)), MemberId(request.text("member"))))


async def _decline(request: RoundRequest) -> None:
    """No, with a reason; the person proposed instead is asked at once, in the name of whoever facilitates now."""
    plan = PlanId(request.part(0))
    commands: list[Command] = [AnswerOwnership(request.by, plan, accept=False, reason=request.text("reason"))]
    instead, choice = MemberId(request.text("instead")), request.round.choices.get(plan)
    can_be_asked = instead in request.round.active() and instead != request.by and request.round.paused is None
    if can_be_asked and choice is not None and instead != choice.owner:
        commands.append(AskOwner(request.round.roles.acting(Role.FACILITATOR), plan, instead))
    await request.turn.act_all(request.round, commands)


async def _actions(request: RoundRequest) -> None:
    plan = PlanId(request.part(0))
    choice = request.round.choices.get(plan)
    if choice is None:
        raise Refused(Because.UNKNOWN_ITEM)
    actions: list[Action] = []
    understood: list[tuple[str, str]] = []
    for number, words in enumerate(request.text("actions").splitlines(), 1):
        if words.strip():
            what, when, who = (*[p.strip() for p in words.split("|")], "", "")[:3]
            owner = _member_named(request, who) if who else (choice.owner or request.by)
            day = await sent_form.action_day(request, when, owner)
            actions.append(Action(f"a{number}", what, owner, day.at))
            understood.append((what, day.words))
    await request.act(SetActions(request.by, plan, tuple(actions)))
    if understood:
        again = Button("Set them again …", "actions.write", f"{request.round.id}|{plan}")
        request.answer(time_words.dates_understood(understood, again))


def _member_named(request: RoundRequest, name: str) -> MemberId:
    wanted = name.casefold()
    there = request.round.active()
    found = [m for m in there if request.round.name_of(m).casefold() == wanted]
    found = found or [m for m in there if m.casefold() == wanted]
    if len(found) != 1:
        raise sent_form.FieldError("actions", answers.no_single_person(name, len(found)))
    return found[0]


async def _criterion(request: RoundRequest) -> None:
    plan = PlanId(request.part(0))
    if plan not in request.round.choices:
        raise Refused(Because.UNKNOWN_ITEM)
    old = request.round.plans[plan].criterion
    criterion = replace(sent_form.read_criterion(request, old), baseline_weeks=sent_form.weeks(request))
    commands: list[Command] = [CompleteCriterion(request.by, plan, criterion)]
    if request.text("checked_by").strip():
        commands.append(NameChecker(request.by, plan, request.text("checked_by")))
    await request.turn.act_all(request.round, commands)


async def _forecast(request: RoundRequest) -> None:
    chance = sent_form.whole(request, "chance")
    if chance is None:
        raise sent_form.FieldError("chance", "Choose a chance.")
    plan = PlanId(request.part(0))
    await request.act(Forecast(request.by, plan, chance, request.text("fear")))
    request.answer(answers.said("Kept, for you alone until the commitment is sealed."))


async def _review(request: RoundRequest) -> None:
    choice = request.round.choices.get(PlanId(request.part(0)))
    if choice is None:
        raise Refused(Because.UNKNOWN_ITEM)
    day = await sent_form.review_day(request, "date", choice.owner or request.by)
    await request.act(SetReview(request.by, PlanId(request.part(0)), day.at))
    again = Button("Set it again …", "review.date", f"{request.round.id}|{request.part(0)}")
    request.answer(time_words.date_understood("Review", day.words, again))


async def _next_round(request: RoundRequest) -> None:
    whose = await sent_form.at_work(request, request.round.roles.acting(Role.FACILITATOR))
    day = await sent_form.typed_day(request, "date", request.text("date"), whose)
    await request.act(SetNextRound(request.by, day.at))
    again = Button("Set it again …", "nextround.date", request.round.id)
    request.answer(time_words.date_understood("Next round", day.words, again))


async def _cancel(request: RoundRequest) -> None:
    await request.act(Cancel(request.by, request.text("reason")))


FORMS = of_round(
    {
        "note.write": _note,
        "note.edit": _note_edit,
        "focus.pick": _focus,
        "merge.join": _join,
        "merge.object": _split,
        "question.write": _question,
        "precedent.write": _precedent,
        "plan.write": _plan,
        "owner.ask": _ask_owner,
        "owner.decline": _decline,
        "actions.write": _actions,
        "criterion.write": _criterion,
        "forecast.write": _forecast,
        "review.date": _review,
        "nextround.date": _next_round,
        "round.cancel": _cancel,
    }
)
