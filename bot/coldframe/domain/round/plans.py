"""One-page plans: private until their reveal, unsigned until the commitment."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import field, replace
from datetime import datetime
from math import isfinite

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.criterion import MOST_LAG
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.fates import ToChange
from coldframe.domain.names import MemberId, PlanId, Step, Touches
from coldframe.domain.order import shuffled
from coldframe.domain.refusals import Because, Impossible, Refused, known
from coldframe.domain.round import pages
from coldframe.domain.round.rule import StepRule, everybody
from coldframe.domain.settings import MAX_PLACED
from coldframe.domain.state import Criterion, Ledger, Plan, Round
from coldframe.domain.texts import accepted, optional
from coldframe.domain.who_may import Act

# --- what people ask ---


class HandInPlan(Command):
    """Hand a plan in, or replace an earlier version of it under the same id."""

    plan: Plan


class WithdrawPlan(Command):
    plan: PlanId


class KnowChanges(Command):
    """Trials that are to be tried in another way."""

    trials: tuple[ToChange, ...]


class FindCautions(Command):
    """What a plan touches by its meaning, and the words that say so, in the place of what its words alone gave."""

    plan: PlanId
    caution: tuple[Touches, ...]
    raised: tuple[str, ...]


class SayNotSo(Command):
    """The author's answer to a caution: the plan touches nothing of the kind."""

    plan: PlanId


# --- what becomes true ---


class PlanHandedIn(Fact):
    private = True
    plan: Plan
    replaces: bool


class PlanWithdrawn(Fact):
    private = True
    plan: PlanId


class ChangesKnown(Fact):
    trials: tuple[ToChange, ...]


class CautionsFound(Fact):
    private = True
    plan: PlanId
    caution: tuple[Touches, ...]
    raised: tuple[str, ...]


class SaidNotSo(Fact):
    private = True
    plan: PlanId


class PlansRevealed(Fact):
    """`names`: those that the plans had until then, and their new ones."""

    order: tuple[PlanId, ...]
    names: Mapping[PlanId, PlanId] = field(default_factory=dict)


# --- rulings ---

MIN_WEEKS, MAX_WEEKS = 3, 6
MAX_STEPS = 12
PLANS_EACH = 5
AFTER_PLANS = (Step.BALLOT, Step.PLACEMENT, Step.COMMITMENT)

# Words that ask for a caution and a named checker. A list of signs, not a judgement; local law decides.
_SIGNS: dict[Touches, str] = {
    Touches.PERSONAL_DATA: (
        r"personal data|e-?mail address|phone number|date of birth|track(s|ing)? (people|users)|profil(e|ing)"
    ),
    Touches.MARKETING: r"\b(e-?mails?|newsletters?|sms|text messages?|push notifications?)\b",
    Touches.PRICES: r"\b(price|prices|pricing|discounts?|fees?|surcharges?)\b",
    Touches.HEALTH: r"\b(health|medical|diagnos\w+|therap\w+|medicine|weight loss)\b",
    Touches.FINANCE: r"\b(credit|loans?|invest\w*|interest rate|returns? of \d)\b",
    Touches.VULNERABLE: r"\b(child(ren)?|minors?|pupils?|teenagers?|elderly|vulnerable)\b",
    Touches.HIDING: (
        r"\b(countdown|only today|hide (the )?cancel\w*|pre-?ticked|on by default|default on|without telling|"
        r"price by person)\b"
    ),
}
CAUTIONS = {name: re.compile(sign, re.IGNORECASE) for name, sign in _SIGNS.items()}


def cautions(*texts: str) -> tuple[Touches, ...]:
    """What the plan seems to touch that somebody responsible should check first."""
    whole = "\n".join(texts)
    return tuple(name for name, sign in CAUTIONS.items() if sign.search(whole))


def raised(*texts: str) -> tuple[str, ...]:
    """The words that say so, one for each caution."""
    whole = "\n".join(texts)
    return tuple(found[0] for sign in CAUTIONS.values() if (found := sign.search(whole)))


def hand_in(round_: Round, command: HandInPlan, now: datetime) -> Facts:
    """A plan, or a newer version of one's own. The page is complete here; the criterion may be completed later."""
    checks.may(round_, command.by, Act.PLAN)
    checks.in_step(round_, Step.PLANS)
    old = round_.plans.get(command.plan.id)
    if old is not None and old.author != command.by:
        raise Refused(Because.NOT_YOURS)
    if old is None and sum(p.author == command.by for p in round_.plans.values()) >= PLANS_EACH:
        raise Refused(Because.TOO_MANY, most=PLANS_EACH, lever="")
    return (PlanHandedIn(_checked(round_, command), replaces=old is not None),)


def _checked(round_: Round, command: HandInPlan) -> Plan:
    plan = command.plan
    if plan.question not in {q.id for q in round_.questions}:
        raise Refused(Because.UNKNOWN_ITEM)
    if plan.child_of and plan.child_of not in {change.trial for change in round_.to_change}:
        raise Refused(Because.UNKNOWN_ITEM)
    if plan.borrows and plan.borrows not in {p.id for p in round_.precedents}:
        raise Refused(Because.UNKNOWN_ITEM)
    if not MIN_WEEKS <= plan.weeks <= MAX_WEEKS:
        raise Refused(Because.DURATION, weeks=plan.weeks)
    steps = tuple(accepted(s, 300, field="steps") for s in plan.steps)
    if not steps:
        raise Refused(Because.EMPTY, field="steps")
    if len(steps) > MAX_STEPS:
        raise Refused(Because.TOO_MANY, most=MAX_STEPS, lever="", field="steps")
    title = accepted(plan.title, 75, field="title")
    hypothesis = accepted(plan.hypothesis, 1000, field="hypothesis")
    return replace(
        plan,
        author=command.by,
        title=title,
        hypothesis=hypothesis,
        steps=steps,
        criterion=checked_criterion(plan.criterion),
        caution=cautions(title, hypothesis, *steps),
        raised=raised(title, hypothesis, *steps),
        not_so=False,
        checked_by=optional(plan.checked_by, 100, field="checked_by"),
        might_fail=optional(plan.might_fail, 1000, field="might_fail"),
        chance=_percentage(plan.chance),
    )


def checked_criterion(criterion: Criterion) -> Criterion:
    """The criterion with its texts taken. Raises Refused BAD_NUMBERS for numbers that are none (infinite, not a
    number), a share beyond everybody, or a target that is the baseline itself."""
    weeks = [number for week in criterion.baseline_weeks for number in week]
    others = (criterion.spread, criterion.stop_at, criterion.harm_usual, criterion.harm_limit, criterion.planned_share)
    for number in (criterion.baseline, criterion.target, criterion.weekly, *weeks, *others):
        if number is not None and not isfinite(number):
            raise Refused(Because.BAD_NUMBERS, why=Impossible.NOT_FINITE, number=number)
    if criterion.kind in ("split", "share"):
        _shares(criterion)
    if criterion.target is not None and criterion.target == criterion.usual:
        raise Refused(Because.BAD_NUMBERS, field="target", why=Impossible.SAME_AS_BASELINE)
    _check_design(criterion)
    _check_guards(criterion)
    return replace(
        criterion,
        upwards=_upwards(criterion),
        source=optional(criterion.source, 200, field="source"),
        measure=accepted(criterion.measure, 200, field="measure"),
        counted=optional(criterion.counted, 300, field="counted"),
        stop_line=optional(criterion.stop_line, 300, field="stop_line"),
        harm=optional(criterion.harm, 300, field="harm"),
    )


def _upwards(criterion: Criterion) -> bool:
    """Lower is better where the target lies below the level that it starts from."""
    if criterion.usual is None or criterion.target is None:
        return criterion.upwards
    return criterion.target >= criterion.usual


def _check_design(criterion: Criterion) -> None:
    if not 0 < criterion.planned_share < 1:
        raise _impossible("planned_share", Impossible.NO_SPLIT, criterion.planned_share)
    if criterion.spread is not None and criterion.spread <= 0:
        raise _impossible("spread", Impossible.NO_SPREAD, criterion.spread)
    if criterion.kind == "rate" and criterion.baseline == 0:
        raise _impossible("baseline", Impossible.NO_RATE, 0)
    if not 0 <= criterion.lag <= MOST_LAG:
        raise _impossible("lag", Impossible.NO_LAG, criterion.lag, MOST_LAG)


def _check_guards(criterion: Criterion) -> None:
    if criterion.harm_limit is not None and criterion.harm_limit == criterion.harm_usual:
        raise _impossible("harm_limit", Impossible.LIMIT_IS_USUAL)
    stop, target = criterion.stop_at, criterion.target
    if stop is not None and target is not None and (stop >= target if _upwards(criterion) else stop <= target):
        raise _impossible("stop_at", Impossible.STOPS_AT_TARGET)


def _impossible(field_: str, why: Impossible, number: float = 0, most: int = 0) -> Refused:
    return Refused(Because.BAD_NUMBERS, field=field_, why=why, number=number, most=most)


def _shares(criterion: Criterion) -> None:
    """Two groups are compared by the share of people; 20 there is most probably meant as 20 %."""
    shares = {"baseline": criterion.baseline, "target": criterion.target, "stop_at": criterion.stop_at}
    for name, number in shares.items():
        if number is not None and not 0 <= number <= 1:
            raise Refused(Because.BAD_NUMBERS, field=name, why=Impossible.NO_SHARE, number=number)


def _percentage(chance: int | None) -> int | None:
    if chance is not None and not 0 <= chance <= 100:
        raise Refused(Because.BAD_SETTING, setting="chance", value=chance, allowed="0 to 100")
    return chance


def withdraw(round_: Round, command: WithdrawPlan, now: datetime) -> Facts:
    checks.in_step(round_, Step.PLANS)
    checks.own(round_, round_.plans.get(command.plan), command.by, Act.OWN_PLAN)
    return (PlanWithdrawn(command.plan),)


def know(round_: Round, command: KnowChanges, now: datetime) -> Facts:
    checks.bot(command.by)
    return () if command.trials == round_.to_change else (ChangesKnown(command.trials),)


def find_cautions(round_: Round, command: FindCautions, now: datetime) -> Facts:
    """Until the commitment is sealed; its author's "not so" stays."""
    checks.bot(command.by)
    checks.in_step(round_, Step.PLANS, *AFTER_PLANS)
    plan = known(round_.plans.get(command.plan))
    if (plan.caution, plan.raised) == (command.caution, command.raised):
        return ()
    return (CautionsFound(command.plan, command.caution, command.raised),)


def say_not_so(round_: Round, command: SayNotSo, now: datetime) -> Facts:
    checks.in_step(round_, Step.PLANS)
    checks.own(round_, round_.plans.get(command.plan), command.by, Act.OWN_PLAN)
    return () if round_.plans[command.plan].not_so else (SaidNotSo(command.plan),)


def close(round_: Round) -> Facts:
    if not round_.plans:
        raise Refused(Because.NOTHING_IN, step=round_.step)
    return (PlansRevealed(shuffled(round_.plans, round_.seed, "plans")),)


# --- evolve ---


def with_plan(round_: Round, plan: PlanId, **changes: object) -> Round:
    changed = replace(round_.plans[plan], **changes)  # type: ignore[arg-type]
    return replace(round_, plans={**round_.plans, plan: changed})


def plan_handed_in(round_: Round, fact: PlanHandedIn) -> Round:
    of = fact.plan.id if fact.replaces else fact.plan.child_of
    after = replace(round_, plans={**round_.plans, fact.plan.id: fact.plan})
    return pages.handed_in(after, fact.plan.author, "plan", of)


def plan_withdrawn(round_: Round, fact: PlanWithdrawn) -> Round:
    return replace(round_, plans={i: p for i, p in round_.plans.items() if i != fact.plan})


def changes_known(round_: Round, fact: ChangesKnown) -> Round:
    return replace(round_, to_change=fact.trials)


def cautions_found(round_: Round, fact: CautionsFound) -> Round:
    return with_plan(round_, fact.plan, caution=fact.caution, raised=fact.raised)


def said_not_so(round_: Round, fact: SaidNotSo) -> Round:
    return with_plan(round_, fact.plan, not_so=True)


def plans_revealed(round_: Round, fact: PlansRevealed) -> Round:
    plans = {name: replace(p, id=name) for i, p in round_.plans.items() if (name := fact.names.get(i, i))}
    return replace(
        round_,
        jottings={},
        begun={},
        plans={i: plans[i] for i in fact.order},
        plan_order=fact.order,
        to_place=_all_if_few(fact.order),
        ballot=Ledger(round_.settings.plan_votes),
        crowd=tuple(m for m in round_.active() if not round_.seats[m].away),
    )


def _all_if_few(order: tuple[PlanId, ...]) -> tuple[PlanId, ...]:
    return order if len(order) <= MAX_PLACED else ()


def can_go(round_: Round, now: datetime) -> bool:
    """Whether a revealed plan that nobody has read can still be taken out: until people vote, or choose it."""
    opens = round_.progress.opens
    if round_.step is Step.BALLOT:
        return opens is None or now < opens
    return round_.step is Step.COMMITMENT and len(round_.plan_order) == 1 and not round_.choices


def without(round_: Round, gone: frozenset[PlanId]) -> Round:
    """Revealed plans that nobody has read."""
    if not gone:
        return round_
    order = tuple(i for i in round_.plan_order if i not in gone)
    plans = {i: p for i, p in round_.plans.items() if i not in gone}
    standing = tuple(s for s in round_.plans_standing if s.option in order)
    return replace(round_, plans=plans, plan_order=order, to_place=_all_if_few(order), plans_standing=standing)


DECIDE: Decide = {
    HandInPlan: hand_in,
    WithdrawPlan: withdraw,
    KnowChanges: know,
    FindCautions: find_cautions,
    SayNotSo: say_not_so,
}
EVOLVE: Evolve = {
    ChangesKnown: changes_known,
    PlanHandedIn: plan_handed_in,
    PlanWithdrawn: plan_withdrawn,
    CautionsFound: cautions_found,
    SaidNotSo: said_not_so,
    PlansRevealed: plans_revealed,
}


def unsigned(plan: Plan) -> Plan:
    """The plan without what is its author's alone."""
    return replace(plan, author=None, might_fail="", chance=None)


def forget(round_: Round, gone: MemberId) -> Round:
    """Plans that nobody has read yet are deleted; the others lose their author and what was for the author alone."""
    unread = (i for i in round_.plans if i not in round_.plan_order)
    mine = {i for i, p in round_.plans.items() if p.author == gone}
    dropped = mine.intersection(unread)
    kept = {i: unsigned(p) if i in mine else p for i, p in round_.plans.items() if i not in dropped}
    return replace(pages.without(round_, gone), plans=kept)


RULE = StepRule(
    hours=16, minutes=40, read_hours=0, read_minutes=0, private=True, expected=everybody,
    gave=lambda r: frozenset(p.author for p in r.plans.values() if p.author),
    quorum=0.6, needs=None, decides=None, hands_over=False, close=close, enter=None,
    ends=PlansRevealed, decide=DECIDE, evolve=EVOLVE, forget=forget,
)  # fmt: skip
