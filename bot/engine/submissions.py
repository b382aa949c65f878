"""Forms: each action name with the command that its fields make. Wrong fields are told at the field."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, replace
from typing import get_args

from bot.domain.commands import (
    AnswerOwnership,
    AskOwner,
    Cancel,
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
from bot.domain.commitment import FIRST_WEEK
from bot.domain.names import ForceId, LeverId, MemberId, NoteId, PlanId, PrecedentId, QuestionId, Role, Side
from bot.domain.questions import lint
from bot.domain.refusals import Because, Refused
from bot.domain.state import Action, ComparisonKind, Criterion, Plan, Round
from bot.engine import dates, people, personal, registering, setup, trials
from bot.engine.dialogue import percentage_or_number
from bot.engine.turn import Turn
from bot.ports.chat import Inbound, Reply, Submitted
from bot.speech import answers, time_words, work_prompts
from bot.speech.message import Button
from bot.timing.dates import Reading


class FieldError(Exception):
    """A field that cannot be taken; the sentence says why and what the right form is."""

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(field)
        self.field = field
        self.sentence = sentence


@dataclass(frozen=True, slots=True)
class Sheet:
    """A form as it came in: who, which round, the rest of the value, the fields."""

    turn: Turn
    event: Inbound
    by: MemberId
    round: Round
    parts: tuple[str, ...]
    fields: Mapping[str, str]

    def text(self, name: str) -> str:
        return self.fields.get(name, "")

    def part(self, index: int) -> str:
        if index >= len(self.parts):
            raise Refused(Because.UNKNOWN_ITEM)
        return self.parts[index]


Handler = Callable[[Sheet], Awaitable[None]]


async def submitted(turn: Turn, event: Inbound, what: Submitted) -> Reply:
    """Takes a form. The same form sent twice has its effect once: items carry ids of their own."""
    try:
        return await _taken(turn, event, what)
    except FieldError as error:
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
    | {"facilitator_deputy", "decision_deputy"}
)


def typed(what: Submitted) -> str:
    """What somebody wrote into a form, field after field, to be handed back when the form is not taken."""
    return "\n\n".join(t.strip() for name, t in what.fields.items() if name not in PICKED and t.strip())


# --- notes, focus, merge ---


async def _note(sheet: Sheet) -> None:
    """Several lines become several notes, as the form says."""
    lever, side = LeverId(sheet.text("lever")), _side(sheet.text("side"))
    pieces = [p.strip() for p in sheet.text("text").split("\n") if p.strip()] or [""]
    round_ = sheet.round
    for piece in pieces:
        note = NoteId(sheet.turn.kit.ids.new("n"))
        round_ = await sheet.turn.act(round_, WriteNote(sheet.by, note, lever, side, piece))


def _side(word: str) -> Side:
    if word not in (Side.DRIVING, Side.RESTRAINING):
        raise FieldError("side", "Choose one of the two directions.")
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
        criterion=read_criterion(sheet, Criterion(kind=_kind(sheet.text("kind")))),
        weeks=_whole(sheet, "weeks") or 4,
        checked_by=sheet.text("checked_by"),
        might_fail=sheet.text("might_fail"),
        chance=_whole(sheet, "chance"),
    )
    alike = "" if sheet.parts else await registering.doubt_once(sheet.turn, sheet.round, plan)
    if alike:
        raise FieldError("title", alike)
    await sheet.turn.act(sheet.round, HandInPlan(sheet.by, plan))


def _kind(word: str) -> ComparisonKind:
    kinds: tuple[ComparisonKind, ...] = get_args(ComparisonKind)
    if word not in kinds:
        raise FieldError("kind", "Choose how it is compared.")
    return kinds[kinds.index(word)]


def _whole(sheet: Sheet, field: str) -> int | None:
    text = sheet.text(field).strip().rstrip("%").strip()
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) <= 3):
        raise FieldError(field, "Write a whole number, such as 40.")
    return int(text)


def read_criterion(sheet: Sheet, old: Criterion) -> Criterion:
    """The criterion's fields; an empty number stays unknown."""
    numbers = {name: _number(sheet, name) for name in ("baseline", "target", "weekly")}
    baseline, target = numbers["baseline"], numbers["target"]
    upwards = True if baseline is None or target is None else target >= baseline
    return replace(
        old,
        measure=sheet.text("measure"),
        baseline=baseline,
        target=target,
        weekly=numbers["weekly"],
        upwards=upwards,
        counted=sheet.text("counted"),
        stop_line=sheet.text("stop_line"),
        harm=sheet.text("harm"),
    )


def _number(sheet: Sheet, field: str) -> float | None:
    text = sheet.text(field)
    if not text.strip():
        return None
    try:
        return percentage_or_number(text)
    except ValueError as error:
        raise FieldError(field, f"{error}.") from None


# --- commitment ---


async def _ask_owner(sheet: Sheet) -> None:
    await sheet.turn.act(sheet.round, AskOwner(sheet.by, PlanId(sheet.part(0)), MemberId(sheet.text("member"))))


async def _decline(sheet: Sheet) -> None:
    """No, with a reason; the person proposed instead is asked at once."""
    plan = PlanId(sheet.part(0))
    round_ = await sheet.turn.act(
        sheet.round, AnswerOwnership(sheet.by, plan, accept=False, reason=sheet.text("reason"))
    )
    instead = MemberId(sheet.text("instead"))
    if instead and instead in round_.seats:
        await sheet.turn.act(round_, AskOwner(round_.roles.facilitator, plan, instead))


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
            day = await action_day(sheet, when, owner)
            actions.append(Action(f"a{number}", what, owner, day.at))
            understood.append((what, day.words))
    await sheet.turn.act(sheet.round, SetActions(sheet.by, plan, tuple(actions)))
    if understood:
        again = Button("Set them again …", "actions.write", f"{sheet.round.id}|{plan}")
        sheet.turn.answer(sheet.round.tenant, sheet.by, time_words.dates_understood(understood, again))


def _member_named(sheet: Sheet, name: str) -> MemberId:
    for member in sheet.round.active():
        if name.casefold() in (member.casefold(), sheet.round.name_of(member).casefold()):
            return member
    raise FieldError("actions", f"“{name[:40]}” does not take part in this round.")


async def action_day(sheet: Sheet, words: str, who: MemberId) -> Reading:
    """When a first-week action is due: on a working day of whoever does it."""
    whose = await _at_work(sheet, who)
    if not words:
        return dates.within_first_week(sheet.turn.now, whose[0][1], FIRST_WEEK, whose)
    return await typed_day(sheet, "actions", words, whose)


async def _at_work(sheet: Sheet, *people_: MemberId) -> dates.Whose:
    names = {member: sheet.round.name_of(member) for member in people_}
    return await people.named_calendars(sheet.turn.uow, sheet.round.tenant, names)


async def typed_day(sheet: Sheet, field: str, words: str, whose: dates.Whose) -> Reading:
    """A date in a field, read in the zone of who typed it, on a working day of those who are needed. Raises
    FieldError."""
    calendar = people.calendar_of(await sheet.turn.uow.member(sheet.round.tenant, sheet.by))
    try:
        return dates.reading(words, sheet.turn.now, calendar, whose)
    except dates.UnclearDate as unclear:
        raise FieldError(field, str(unclear)) from None


async def review_day(sheet: Sheet, field: str, owner: MemberId) -> Reading:
    """A review falls on a working day of the owner and of the decision-maker."""
    whose = await _at_work(sheet, owner, sheet.round.roles.acting(Role.DECISION_MAKER))
    return await typed_day(sheet, field, sheet.text(field), whose)


async def _criterion(sheet: Sheet) -> None:
    plan = PlanId(sheet.part(0))
    if plan not in sheet.round.choices:
        raise Refused(Because.UNKNOWN_ITEM)
    old = sheet.round.plans[plan].criterion
    criterion = replace(read_criterion(sheet, old), baseline_weeks=_weeks(sheet))
    round_ = await sheet.turn.act(sheet.round, CompleteCriterion(sheet.by, plan, criterion))
    if sheet.text("checked_by").strip():
        await sheet.turn.act(round_, NameChecker(sheet.by, plan, sheet.text("checked_by")))


def _weeks(sheet: Sheet) -> tuple[tuple[float, float], ...]:
    weeks = []
    for words in sheet.text("baseline_weeks").splitlines():
        if not words.strip():
            continue
        first, slash, second = words.partition("/")
        try:
            pair = (percentage_or_number(first), percentage_or_number(second) if slash else 1.0)
        except ValueError as error:
            raise FieldError("baseline_weeks", f"{error}; one week a line, like 48/1200.") from None
        if slash and pair[0] > pair[1]:
            raise FieldError("baseline_weeks", "There are more successes than people in a week.")
        weeks.append(pair)
    return tuple(weeks)


async def _forecast(sheet: Sheet) -> None:
    chance = _whole(sheet, "chance")
    if chance is None:
        raise FieldError("chance", "Choose a chance.")
    plan = PlanId(sheet.part(0))
    await sheet.turn.act(sheet.round, Forecast(sheet.by, plan, chance, sheet.text("fear")))
    sheet.turn.answer(sheet.round.tenant, sheet.by, answers.said("Kept, for you alone until the commitment is sealed."))


async def _review(sheet: Sheet) -> None:
    choice = sheet.round.choices.get(PlanId(sheet.part(0)))
    if choice is None:
        raise Refused(Because.UNKNOWN_ITEM)
    day = await review_day(sheet, "date", choice.owner or sheet.by)
    await sheet.turn.act(sheet.round, SetReview(sheet.by, PlanId(sheet.part(0)), day.at))
    again = Button("Set it again …", "review.date", f"{sheet.round.id}|{sheet.part(0)}")
    sheet.turn.answer(sheet.round.tenant, sheet.by, time_words.date_understood("Review", day.words, again))


async def _next_round(sheet: Sheet) -> None:
    whose = await _at_work(sheet, sheet.round.roles.acting(Role.FACILITATOR))
    day = await typed_day(sheet, "date", sheet.text("date"), whose)
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
    "round.cancel": _cancel,
}
