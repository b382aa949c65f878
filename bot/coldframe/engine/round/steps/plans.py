"""Plans: one page each, in private, shown together and without names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from coldframe.domain.fates import ToChange
from coldframe.domain.names import MemberId, PlanId, PrecedentId, QuestionId, Step
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.round.plans import HandInPlan, PlanHandedIn, PlansRevealed, PlanWithdrawn, WithdrawPlan
from coldframe.domain.state import Criterion, Plan, Round
from coldframe.engine.core import sent_form
from coldframe.engine.core.requests import RoundRequest, acts, opens
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import registering
from coldframe.engine.round.steps.play import Asking, Reads, StepPlay
from coldframe.message.nodes import Form
from coldframe.ports.chat import Reply
from coldframe.speech.round import change_words, forms, results, work_prompts

# --- opening ---


async def _ask(turn: Turn, round_: Round, member: MemberId) -> None:
    turn.tell(round_, member, "desk", work_prompts.plans_desk(round_, member), rest=(Step.PLANS.value,))


# --- buttons and forms ---


def _form(request: RoundRequest) -> Form:
    jotted = request.round.jottings.get(request.by, "")
    if not request.parts:
        return forms.plan(request.round, None, jotted)
    plan = request.round.plans.get(PlanId(request.part(0)))
    if plan is None or plan.author != request.by:
        raise Refused(Because.NOT_YOURS)
    return forms.plan(request.round, plan, jotted)


async def _again_form(request: RoundRequest) -> Reply:
    change = _to_change(request)
    return Reply(form=change_words.form(request.round, change, await request.turn.trial(change.trial)))


def _to_change(request: RoundRequest) -> ToChange:
    """The trial that a new version is written of. Raises Refused."""
    return known(next((c for c in request.round.to_change if c.trial == request.part(0)), None))


async def _again(request: RoundRequest) -> None:
    """It resembles what was tried, and should."""
    plan = _plan(request, PlanId(request.turn.kit.ids.new("p")))
    await request.act(HandInPlan(request.by, replace(plan, child_of=_to_change(request).trial)))


async def _hand_in(request: RoundRequest) -> None:
    new = not request.parts
    plan = _plan(request, PlanId(request.turn.kit.ids.new("p") if new else request.part(0)))
    before = request.round.plans.get(plan.id)
    plan = replace(plan, child_of=before.child_of if before is not None else "")
    alike = await registering.doubt_once(request.turn, request.round, plan) if new else ""
    if alike:
        raise sent_form.FieldError("title", alike)
    await request.act(HandInPlan(request.by, plan))


def _plan(request: RoundRequest, plan: PlanId) -> Plan:
    return Plan(
        id=plan,
        author=request.by,
        question=QuestionId(request.text("question")),
        title=request.text("title"),
        hypothesis=request.text("hypothesis"),
        steps=tuple(s.strip() for s in request.text("steps").splitlines() if s.strip()),
        criterion=sent_form.read_criterion(request, Criterion(kind=sent_form.kind(request.text("kind")))),
        weeks=sent_form.whole(request, "weeks") or 4,
        checked_by=request.text("checked_by"),
        might_fail=request.text("might_fail"),
        chance=sent_form.whole(request, "chance"),
        borrows=PrecedentId(request.text("borrows")) or None,
    )


# --- what follows ---


async def _handed_in(turn: Turn, before: Round, after: Round, fact: PlanHandedIn) -> None:
    author = fact.plan.author
    assert author is not None
    own_card(turn, after, author)
    if fact.plan.caution and not fact.plan.checked_by:
        turn.answer(after.tenant, author, work_prompts.plan_caution(fact.plan), about=after)


async def _withdrawn(turn: Turn, before: Round, after: Round, fact: PlanWithdrawn) -> None:
    author = before.plans[fact.plan].author
    assert author is not None
    own_card(turn, after, author)


def own_card(turn: Turn, round_: Round, member: MemberId) -> None:
    turn.revise_own(round_, member, "desk", work_prompts.plans_desk(round_, member), Step.PLANS.value)


async def _revealed(turn: Turn, before: Round, round_: Round, fact: PlansRevealed) -> None:
    root = turn.say(round_, "plans", results.plans_revealed(round_))
    for plan in fact.order:
        page = results.plan_page(round_, round_.plans[plan])
        turn.say(round_, "plan", page, rest=(plan,), thread_of=root)


READS: Mapping[str, Reads] = {"desk": lambda round_, rest: work_prompts.plans_desk(round_, MemberId(rest[0]))}
ASKING = Asking("desk", (Step.PLANS.value,), _ask)
PLAY = StepPlay(
    open=ASKING.open, asking=ASKING, desk=None, own_card=own_card, reads=READS, card_follows=False,
    buttons={
        "plan.write": opens(_form),
        "plan.again": _again_form,
        "plan.edit": opens(_form),
        "plan.withdraw": acts(lambda r: WithdrawPlan(r.by, PlanId(r.part(0)))),
    },
    forms={"plan.write": _hand_in, "plan.again": _again},
    follow={PlanHandedIn: _handed_in, PlanWithdrawn: _withdrawn, PlansRevealed: _revealed}, due={},
)  # fmt: skip
