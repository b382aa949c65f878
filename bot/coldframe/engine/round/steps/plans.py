"""Plans: one page each, in private, shown together and without names."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import replace

from coldframe.domain.commands import BOT, Command
from coldframe.domain.fates import ToChange
from coldframe.domain.names import MemberId, PlanId, PrecedentId, QuestionId, Step
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.round.likening import EarlierFound, FindEarlier
from coldframe.domain.round.pages import PageDropped, PageKept
from coldframe.domain.round.plans import (
    AFTER_PLANS,
    CautionsFound,
    FindCautions,
    HandInPlan,
    PlanHandedIn,
    PlansRevealed,
    PlanWithdrawn,
    SayNotSo,
    WithdrawPlan,
)
from coldframe.domain.state import Criterion, Plan, Round
from coldframe.engine.core import sent_form
from coldframe.engine.core.requests import RoundRequest, acts
from coldframe.engine.core.turn import Kit, Turn, due_turn
from coldframe.engine.register import registering
from coldframe.engine.round import pages
from coldframe.engine.round.steps.play import Asking, Reads, StepPlay, read
from coldframe.engine.trial import building
from coldframe.engine.worker import explaining, likening
from coldframe.message.nodes import Form
from coldframe.ports.chat import Reply
from coldframe.ports.storage import Due
from coldframe.speech import answers
from coldframe.speech.names import message_name
from coldframe.speech.refusals import refusal
from coldframe.speech.round import change_words, delicate_words, forms, page_words, results, work_prompts
from coldframe.speech.trial import building_words

# --- opening ---


async def _ask(turn: Turn, round_: Round, member: MemberId) -> None:
    turn.tell(round_, member, "desk", work_prompts.plans_desk(round_, member), rest=(Step.PLANS.value,))


# --- buttons and forms ---


def _of(request: RoundRequest) -> str:
    """The plan or trial that the page is to take the place of; "" for a new one."""
    return request.parts[0] if request.parts else ""


def _whole(request: RoundRequest, pace: str = "") -> Form:
    """All of the page, which is asked for in two forms. `pace`: how long the team's builds took."""
    jotted = request.round.jottings.get(request.by, "")
    if not request.parts:
        return forms.plan(request.round, None, jotted, pace)
    plan = request.round.plans.get(PlanId(request.part(0)))
    if plan is None or plan.author != request.by:
        raise Refused(Because.NOT_YOURS)
    return forms.plan(request.round, plan, jotted, pace)


async def _whole_again(request: RoundRequest) -> Form:
    change = _to_change(request)
    return change_words.form(request.round, change, await request.turn.trial(change.trial))


async def _form(request: RoundRequest) -> Reply:
    pace = building_words.pace_line(await building.pace_of(request.turn, request.round))
    whole = pages.ordered(request, "plan", _whole(request, pace), _of(request))
    return Reply(form=page_words.first(whole, pages.typed_before(request, "plan", _of(request))))


async def _again_form(request: RoundRequest) -> Reply:
    whole = await _whole_again(request)
    return Reply(form=page_words.first(whole, pages.typed_before(request, "plan", _of(request))))


async def _in_two(request: RoundRequest, whole: Form, take: Callable[[RoundRequest], Awaitable[None]]) -> Reply | None:
    """Each of the two forms is kept when it is sent; with the second, or an earlier release's whole page, it is handed
    in. What is wrong in the first shows there."""
    sent = request.fields
    request = await pages.kept(request, "plan", _of(request))
    if not sent.keys() - set(page_words.FIRST):
        return Reply(form=page_words.second(whole, request.fields))
    try:
        await take(request)
    except (Refused, sent_form.FieldError) as wrong:
        field = wrong.field if isinstance(wrong, sent_form.FieldError) else str(wrong.facts.get("field", ""))
        if field not in page_words.FIRST or field in sent:
            raise
        words = wrong.sentence if isinstance(wrong, sent_form.FieldError) else answers.sentence(refusal(wrong))
        return Reply(form=page_words.first(whole, request.fields, words))
    return None


def _to_change(request: RoundRequest) -> ToChange:
    """The trial that a new version is written of. Raises Refused."""
    return known(next((c for c in request.round.to_change if c.trial == request.part(0)), None))


async def _again(request: RoundRequest) -> Reply | None:
    return await _in_two(request, await _whole_again(request), _take_again)


async def _hand_in(request: RoundRequest) -> Reply | None:
    return await _in_two(request, _whole(request), _take)


async def _take_again(request: RoundRequest) -> None:
    """It resembles what was tried, and should."""
    plan = _plan(request, PlanId(request.turn.kit.ids.new("p")))
    await request.act(HandInPlan(request.by, replace(plan, child_of=_to_change(request).trial)))


async def _take(request: RoundRequest) -> None:
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
    turn.later(CAUTION, after.id, fact.plan.id, turn.now)


async def _look_for_cautions(kit: Kit, due: Due) -> None:
    """By meaning, in the worker; then its author is asked whether it is so, and finds on the sheet what the team tried
    that resembles it. The row names the plan alone."""
    round_, plan_id = await read(kit, due.subject), PlanId(due.occurrence)
    if round_ is None or round_.step is not Step.PLANS or plan_id not in round_.plans:
        return
    plan = round_.plans[plan_id]
    found: list[Command] = [*await _found(kit, plan), await earlier_like(kit, round_, plan)]
    async with due_turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if now_round.step is not Step.PLANS or now_round.plans.get(plan_id) != plan:
            return
        now_round = await turn.act_all(now_round, found)
        _ask_whether(turn, now_round, now_round.plans[plan_id], due)


async def _found(kit: Kit, plan: Plan) -> list[FindCautions]:
    """Nothing where words alone can be compared: what they say holds then."""
    found = await kit.numbers.compute(explaining.delicate, (plan.title, plan.hypothesis, *plan.steps))
    if found is None:
        return []
    return [FindCautions(BOT, plan.id, tuple(touch for touch, _ in found), tuple(words for _, words in found))]


async def earlier_like(kit: Kit, round_: Round, plan: Plan) -> FindEarlier:
    """Trials of the team that resemble it; not the one that it tries in another way."""
    async with kit.store.begin() as uow:
        entries = [e for e in await registering.to_compare(uow, round_, plan) if e.trial_id != plan.child_of]
    texts = [registering.in_words(entry) for entry in entries]
    found = await kit.numbers.compute(likening.earlier_like, registering.in_words(plan), texts)
    return FindEarlier(BOT, plan.id, tuple(registering.as_earlier(entries[place]) for place in found))


async def _earlier_found(turn: Turn, before: Round, after: Round, fact: EarlierFound) -> None:
    author = after.plans[fact.plan].author
    assert author is not None
    own_card(turn, after, author)


async def _look_at_all(kit: Kit, due: Due) -> None:
    """Once they are revealed: what was handed in last may have been read by its words alone."""
    round_ = await read(kit, due.subject)
    if round_ is None:
        return
    found = [one for plan in round_.plan_order for one in await _found(kit, round_.plans[plan])]
    async with due_turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if now_round.step in AFTER_PLANS:
            await turn.act_all(now_round, [one for one in found if one.plan in now_round.plans])


async def _cautions_found(turn: Turn, before: Round, round_: Round, fact: CautionsFound) -> None:
    if fact.plan in round_.plan_order:
        page = results.plan_page(round_, round_.plans[fact.plan])
        turn.revise(message_name(round_.id, "plan", fact.plan), turn.channel(round_), page, round_.id, record=True)


def _ask_whether(turn: Turn, round_: Round, plan: Plan, due: Due) -> None:
    if plan.unchecked and plan.author is not None:
        turn.answers(round_.tenant, plan.author, due.at)
        turn.answer(round_.tenant, plan.author, delicate_words.question(round_, plan), about=round_)


async def _not_so(request: RoundRequest) -> Reply | None:
    await request.act(SayNotSo(request.by, PlanId(request.part(0))))
    return request.shown(answers.not_so_kept())


async def _withdrawn(turn: Turn, before: Round, after: Round, fact: PlanWithdrawn) -> None:
    author = before.plans[fact.plan].author
    assert author is not None
    own_card(turn, after, author)


def own_card(turn: Turn, round_: Round, member: MemberId) -> None:
    turn.revise_own(round_, member, "desk", work_prompts.plans_desk(round_, member), Step.PLANS.value)


async def _begun(turn: Turn, before: Round, after: Round, fact: PageKept | PageDropped) -> None:
    if fact.begun.kind == "plan":
        own_card(turn, after, fact.begun.author)


async def _revealed(turn: Turn, before: Round, round_: Round, fact: PlansRevealed) -> None:
    pages.hand_back(turn, before, "plan")
    root = turn.say(round_, "plans", results.plans_revealed(round_))
    for plan in fact.order:
        page = results.plan_page(round_, round_.plans[plan])
        turn.say(round_, "plan", page, rest=(plan,), thread_of=root)
    turn.later(CAUTIONS, round_.id, "plans", turn.now)


CAUTION, CAUTIONS = "caution plan", "caution plans"
READS: Mapping[str, Reads] = {"desk": lambda round_, rest: work_prompts.plans_desk(round_, MemberId(rest[0]))}
ASKING = Asking("desk", (Step.PLANS.value,), _ask)
PLAY = StepPlay(
    open=ASKING.open, asking=ASKING, desk=None, own_card=own_card, reads=READS, card_follows=False,
    buttons={
        "plan.write": _form,
        "plan.again": _again_form,
        "plan.edit": _form,
        "plan.not_so": _not_so,
        "plan.withdraw": acts(lambda r: WithdrawPlan(r.by, PlanId(r.part(0)))),
    },
    forms={"plan.write": _hand_in, "plan.again": _again},
    follow={
        PageKept: _begun,
        PageDropped: _begun,
        PlanHandedIn: _handed_in,
        PlanWithdrawn: _withdrawn,
        CautionsFound: _cautions_found,
        EarlierFound: _earlier_found,
        PlansRevealed: _revealed,
    },
    due={CAUTION: _look_for_cautions, CAUTIONS: _look_at_all},
)  # fmt: skip
