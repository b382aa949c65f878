"""Forms: each action name with the command that its fields make. Wrong fields are told at the field."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
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
from coldframe.engine.core.sent_form import Sheet
from coldframe.engine.core.turn import Turn
from coldframe.engine.people import personal
from coldframe.engine.register import registering
from coldframe.engine.round import setup, starting
from coldframe.engine.trial import trials
from coldframe.message.nodes import Button
from coldframe.ports.chat import Inbound, Reply, Submitted
from coldframe.speech import answers
from coldframe.speech.people import time_words
from coldframe.speech.round import work_prompts

Handler = Callable[[Sheet], Awaitable[None]]


async def submitted(turn: Turn, event: Inbound, what: Submitted) -> Reply:
    """Takes a form. The same form sent twice has its effect once: items carry ids of their own."""
    try:
        return await _taken(turn, event, what)
    except sent_form.FieldError as error:
        return Reply(errors={error.field: error.sentence})


async def _taken(turn: Turn, event: Inbound, what: Submitted) -> Reply:
    for room in (personal.FORMS, setup.FORMS, trials.FORMS):
        if what.action in room:
            return await room[what.action](turn, event, what)
    handler = HANDLERS.get(what.action)
    if handler is None:
        raise Refused(Because.UNKNOWN_ITEM)
    round_id, *parts = what.value.split("|")
    round_ = await turn.round(round_id)
    if event.person not in round_.seats or round_.tenant != event.place.tenant:
        raise Refused(Because.NOT_A_MEMBER)
    await handler(Sheet(turn, event, MemberId(event.person), round_, tuple(parts), what.fields))
    return Reply()


def field_of(what: Submitted, refused: Refused) -> str | None:
    """The field beside which a refusal is shown: the one it names, or the one that it is about."""
    named = refused.facts.get("field")
    if isinstance(named, str) and named in what.fields:
        return named
    about = {
        Because.REASON_TOO_SHORT: "reason",
        Because.TOO_LONG: "text",
        Because.EMPTY: "text",
        Because.UNREADABLE: "text",
        Because.REVIEW_TOO_EARLY: "date",
        Because.IN_THE_PAST: "date",
        Because.ACTION_TOO_FAR: "actions",
        Because.ACTIONS_MISSING: "actions",
        Because.ALREADY_MERGED: "second",
        Because.DURATION: "weeks",
    }.get(refused.code)
    return about if about in what.fields else None


# Fields that are picked from a list, or hold a word or a number: nothing is lost with them.
PICKED = frozenset(
    {"lever", "side", "question", "kind", "weeks", "outside", "member", "owner", "instead", "first", "second", "force"}
    | {"chance", "week", "state", "stop", "decision", "pace", "weight", "decision_maker", "date", "review"}
    | {"facilitator_deputy", "decision_deputy", "dots", "plan_votes"}
)


def typed(what: Submitted) -> str:
    """What somebody wrote into a form, field after field, to be handed back when the form is not taken."""
    return "\n\n".join(t.strip() for name, t in what.fields.items() if name not in PICKED and t.strip())


# --- notes, focus, merge ---


async def _note(sheet: Sheet) -> None:
    """Several lines become several notes, as the form says."""
    lever, side = LeverId(sheet.text("lever")), _side(sheet.text("side"))
    pieces = [p.strip() for p in sheet.text("text").split("\n") if p.strip()] or [""]
    ids = [NoteId(sheet.turn.kit.ids.new("n")) for _ in pieces]
    notes = [WriteNote(sheet.by, note, lever, side, piece) for note, piece in zip(ids, pieces, strict=True)]
    await sheet.turn.act_all(sheet.round, notes)


def _side(word: str) -> Side:
    if word not in (Side.DRIVING, Side.RESTRAINING):
        raise sent_form.FieldError("side", "Choose one of the two directions.")
    return Side(word)


async def _note_edit(sheet: Sheet) -> None:
    await sheet.turn.act(sheet.round, EditNote(sheet.by, NoteId(sheet.part(0)), sheet.text("text")))


async def _focus(sheet: Sheet) -> None:
    await sheet.turn.act(sheet.round, PickFocus(sheet.by, LeverId(sheet.part(0)), sheet.text("reason")))


async def _join(sheet: Sheet) -> None:
    command = JoinForces(sheet.by, ForceId(sheet.text("first")), ForceId(sheet.text("second")))
    await sheet.turn.act(sheet.round, command)


async def _split(sheet: Sheet) -> None:
    await sheet.turn.act(sheet.round, SplitForce(sheet.by, ForceId(sheet.text("force"))))


# --- questions, precedents, plans ---


async def _question(sheet: Sheet) -> None:
    text = sheet.text("text")
    question = QuestionId(sheet.turn.kit.ids.new("q"))
    await sheet.turn.act(sheet.round, WriteQuestion(sheet.by, question, ForceId(sheet.part(0)), text))
    doubts = lint(text.strip())
    if doubts:
        sheet.turn.answer(sheet.round.tenant, sheet.by, work_prompts.question_doubts(text, doubts))


async def _precedent(sheet: Sheet) -> None:
    command = GivePrecedent(
        sheet.by,
        PrecedentId(sheet.turn.kit.ids.new("c")),
        QuestionId(sheet.text("question")),
        sheet.text("title"),
        sheet.text("idea"),
        sheet.text("details"),
        sheet.text("source"),
        sheet.text("outside") == "yes",
    )
    await sheet.turn.act(sheet.round, command)


async def _plan(sheet: Sheet) -> None:
    plan_id = PlanId(sheet.parts[0]) if sheet.parts else PlanId(sheet.turn.kit.ids.new("p"))
    plan = Plan(
        id=plan_id,
        author=sheet.by,
        question=QuestionId(sheet.text("question")),
        title=sheet.text("title"),
        hypothesis=sheet.text("hypothesis"),
        steps=tuple(s.strip() for s in sheet.text("steps").splitlines() if s.strip()),
        criterion=sent_form.read_criterion(sheet, Criterion(kind=_kind(sheet.text("kind")))),
        weeks=sent_form.whole(sheet, "weeks") or 4,
        checked_by=sheet.text("checked_by"),
        might_fail=sheet.text("might_fail"),
        chance=sent_form.whole(sheet, "chance"),
    )
    alike = "" if sheet.parts else await registering.doubt_once(sheet.turn, sheet.round, plan)
    if alike:
        raise sent_form.FieldError("title", alike)
    await sheet.turn.act(sheet.round, HandInPlan(sheet.by, plan))


def _kind(word: str) -> ComparisonKind:
    kinds: tuple[ComparisonKind, ...] = get_args(ComparisonKind)
    if word not in kinds:
        raise sent_form.FieldError("kind", "Choose how it is compared.")
    return kinds[kinds.index(word)]


# --- commitment ---


async def _ask_owner(sheet: Sheet) -> None:
    await sheet.turn.act(sheet.round, AskOwner(sheet.by, PlanId(sheet.part(0)), MemberId(sheet.text("member"))))


async def _decline(sheet: Sheet) -> None:
    """No, with a reason; the person proposed instead is asked at once, in the name of whoever facilitates now."""
    plan = PlanId(sheet.part(0))
    commands: list[Command] = [AnswerOwnership(sheet.by, plan, accept=False, reason=sheet.text("reason"))]
    instead, choice = MemberId(sheet.text("instead")), sheet.round.choices.get(plan)
    can_be_asked = instead in sheet.round.active() and instead != sheet.by and sheet.round.paused is None
    if can_be_asked and choice is not None and instead != choice.owner:
        commands.append(AskOwner(sheet.round.roles.acting(Role.FACILITATOR), plan, instead))
    await sheet.turn.act_all(sheet.round, commands)


async def _actions(sheet: Sheet) -> None:
    plan = PlanId(sheet.part(0))
    choice = sheet.round.choices.get(plan)
    if choice is None:
        raise Refused(Because.UNKNOWN_ITEM)
    actions: list[Action] = []
    understood: list[tuple[str, str]] = []
    for number, words in enumerate(sheet.text("actions").splitlines(), 1):
        if words.strip():
            what, when, who = (*[p.strip() for p in words.split("|")], "", "")[:3]
            owner = _member_named(sheet, who) if who else (choice.owner or sheet.by)
            day = await sent_form.action_day(sheet, when, owner)
            actions.append(Action(f"a{number}", what, owner, day.at))
            understood.append((what, day.words))
    await sheet.turn.act(sheet.round, SetActions(sheet.by, plan, tuple(actions)))
    if understood:
        again = Button("Set them again …", "actions.write", f"{sheet.round.id}|{plan}")
        sheet.turn.answer(sheet.round.tenant, sheet.by, time_words.dates_understood(understood, again))


def _member_named(sheet: Sheet, name: str) -> MemberId:
    wanted = name.casefold()
    there = sheet.round.active()
    found = [m for m in there if sheet.round.name_of(m).casefold() == wanted]
    found = found or [m for m in there if m.casefold() == wanted]
    if len(found) != 1:
        raise sent_form.FieldError("actions", answers.no_single_person(name, len(found)))
    return found[0]


async def _criterion(sheet: Sheet) -> None:
    plan = PlanId(sheet.part(0))
    if plan not in sheet.round.choices:
        raise Refused(Because.UNKNOWN_ITEM)
    old = sheet.round.plans[plan].criterion
    criterion = replace(sent_form.read_criterion(sheet, old), baseline_weeks=sent_form.weeks(sheet))
    commands: list[Command] = [CompleteCriterion(sheet.by, plan, criterion)]
    if sheet.text("checked_by").strip():
        commands.append(NameChecker(sheet.by, plan, sheet.text("checked_by")))
    await sheet.turn.act_all(sheet.round, commands)


async def _forecast(sheet: Sheet) -> None:
    chance = sent_form.whole(sheet, "chance")
    if chance is None:
        raise sent_form.FieldError("chance", "Choose a chance.")
    plan = PlanId(sheet.part(0))
    await sheet.turn.act(sheet.round, Forecast(sheet.by, plan, chance, sheet.text("fear")))
    sheet.turn.answer(sheet.round.tenant, sheet.by, answers.said("Kept, for you alone until the commitment is sealed."))


async def _review(sheet: Sheet) -> None:
    choice = sheet.round.choices.get(PlanId(sheet.part(0)))
    if choice is None:
        raise Refused(Because.UNKNOWN_ITEM)
    day = await sent_form.review_day(sheet, "date", choice.owner or sheet.by)
    await sheet.turn.act(sheet.round, SetReview(sheet.by, PlanId(sheet.part(0)), day.at))
    again = Button("Set it again …", "review.date", f"{sheet.round.id}|{sheet.part(0)}")
    sheet.turn.answer(sheet.round.tenant, sheet.by, time_words.date_understood("Review", day.words, again))


async def _next_round(sheet: Sheet) -> None:
    whose = await sent_form.at_work(sheet, sheet.round.roles.acting(Role.FACILITATOR))
    day = await sent_form.typed_day(sheet, "date", sheet.text("date"), whose)
    await sheet.turn.act(sheet.round, SetNextRound(sheet.by, day.at))
    again = Button("Set it again …", "nextround.date", sheet.round.id)
    sheet.turn.answer(sheet.round.tenant, sheet.by, time_words.date_understood("Next round", day.words, again))


async def _cancel(sheet: Sheet) -> None:
    await sheet.turn.act(sheet.round, Cancel(sheet.by, sheet.text("reason")))


HANDLERS: dict[str, Handler] = {
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
    "round.start_on": starting.on_date,
    "round.cancel": _cancel,
}
