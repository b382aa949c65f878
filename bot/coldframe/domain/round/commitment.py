"""The commitment: at most two trials under way, an owner each who accepts, actions within a week, dates. It cannot
be sealed before everything is there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace
from datetime import date, datetime, timedelta

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import MemberId, NoteId, PlanId, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import choosing, fates, foretelling, likening
from coldframe.domain.round.choosing import (
    choice_of,
    owned_or_settling,
    settling,
    with_choice,
)
from coldframe.domain.round.overlapping import overlaps as overlaps
from coldframe.domain.round.plans import checked_criterion, with_plan
from coldframe.domain.round.plans import unsigned as plan_unsigned
from coldframe.domain.round.revealed_notes import unsigned_by_name
from coldframe.domain.round.rule import StepRule, both_roles, nobody
from coldframe.domain.state import Action, Choice, Criterion, Round
from coldframe.domain.texts import accepted, optional
from coldframe.domain.unsigned import said_last
from coldframe.domain.who_may import Act

PER_DIGIT = 10  # per cent

# --- what people ask ---


class SetActions(Command):
    plan: PlanId
    actions: tuple[Action, ...]


class SetLive(Command):
    """The day on which it should be live, and `at`, when it is reviewed then; `today` is that of whoever owns it."""

    plan: PlanId
    day: date
    today: date
    at: datetime


class CompleteCriterion(Command):
    plan: PlanId
    criterion: Criterion


class NameChecker(Command):
    """Who checked what the plan touches (personal data, prices, health ...)."""

    plan: PlanId
    name: str


class SetNextRound(Command):
    at: datetime


class AcceptOverlap(Command):
    """Yes, two trials on the same people and the same measure, knowing that they cannot be told apart."""


class Forecast(Command):
    """How likely the trial is to meet its criterion, in per cent, and what would most probably make it fail: None says
    nothing new about that, "" takes back what was said."""

    plan: PlanId
    chance: int
    fear: str | None = None


class SeeDigits(Command):
    """The emoji of digits that stand under one's own question: a new one is a forecast, 4 stands for 40 %."""

    plan: PlanId
    digits: tuple[int, ...]


class Commit(Command):
    """Seal it: the trials start."""

    running_trials: int


# --- what becomes true ---


class ActionsSet(Fact):
    plan: PlanId
    actions: tuple[Action, ...]


class LiveSet(Fact):
    plan: PlanId
    day: date
    at: datetime


class CriterionCompleted(Fact):
    plan: PlanId
    criterion: Criterion


class CheckerNamed(Fact):
    plan: PlanId
    name: str


class NextRoundSet(Fact):
    at: datetime


class OverlapAccepted(Fact):
    pass


class ForecastGiven(Fact):
    private = True
    plan: PlanId
    member: MemberId
    chance: int
    fear: str | None


class DigitsSeen(Fact):
    private = True
    plan: PlanId
    member: MemberId
    digits: tuple[int, ...]


class Committed(Fact):
    """`names`: those that late notes had until then, and their new ones."""

    trials: int
    at: datetime = field(kw_only=True)
    names: Mapping[NoteId, NoteId] = field(default_factory=dict)


# --- rulings ---

FIRST_WEEK = timedelta(days=7)
SETTLED_WITHIN = timedelta(days=1)  # what a day may lag behind a commitment that is sealed a little later


def set_actions(round_: Round, command: SetActions, now: datetime) -> Facts:
    """First-week actions: who, what, by which day within seven days."""
    choice = owned_or_settling(round_, command.by, command.plan)
    if not command.actions:
        raise Refused(Because.ACTIONS_MISSING, plan=round_.plans[command.plan].title)
    for action in command.actions:
        checks.member(round_, action.who)
        if action.due < now:
            raise Refused(Because.IN_THE_PAST, at=action.due)
        if action.due > now + FIRST_WEEK:
            raise Refused(Because.ACTION_TOO_FAR, at=action.due, latest=now + FIRST_WEEK)
    actions = tuple(replace(a, text=accepted(a.text, 300, field="actions")) for a in command.actions)
    return () if actions == choice.actions else (ActionsSet(command.plan, actions),)


def set_live(round_: Round, command: SetLive, now: datetime) -> Facts:
    """The review follows from it: after the weeks that the plan asks for, and the lag of its measure."""
    choice = owned_or_settling(round_, command.by, command.plan)
    checks.planned_day(command.day, command.today)
    plan = round_.plans[command.plan]
    earliest = now + timedelta(weeks=plan.weeks, days=plan.criterion.lag)
    if command.at < earliest:
        raise Refused(Because.REVIEW_TOO_EARLY, at=command.at, earliest=earliest)
    known = (choice.live, choice.review) == (command.day, command.at)
    return () if known else (LiveSet(command.plan, command.day, command.at),)


def complete(round_: Round, command: CompleteCriterion, now: datetime) -> Facts:
    owned_or_settling(round_, command.by, command.plan)
    return (CriterionCompleted(command.plan, checked_criterion(command.criterion)),)


def name_checker(round_: Round, command: NameChecker, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.CHECKER)
    checks.in_step(round_, Step.BALLOT, Step.PLACEMENT, Step.COMMITMENT)
    checks.plan(round_, command.plan)
    return (CheckerNamed(command.plan, accepted(command.name, 100, field="checked_by")),)


def set_next_round(round_: Round, command: SetNextRound, now: datetime) -> Facts:
    settling(round_, command.by)
    if command.at <= now:
        raise Refused(Because.IN_THE_PAST, at=command.at)
    return (NextRoundSet(command.at),)


def accept_overlap(round_: Round, command: AcceptOverlap, now: datetime) -> Facts:
    """A yes to the two trials as they are now; other plans or another criterion ask again."""
    settling(round_, command.by)
    return (OverlapAccepted(),) if overlaps(round_) and not round_.overlap_accepted else ()


def forecast(round_: Round, command: Forecast, now: datetime) -> Facts:
    """Private until the commitment is sealed; the last word of each member counts."""
    checks.may(round_, command.by, Act.FORECAST)
    checks.in_step(round_, Step.COMMITMENT)
    choice_of(round_, command.plan)
    if not 0 <= command.chance <= 100:
        raise Refused(Because.BAD_SETTING, setting="chance", value=command.chance, allowed="0 to 100")
    fear = None if command.fear is None else optional(command.fear, 1000, field="fear")
    return (ForecastGiven(command.plan, command.by, command.chance, fear),)


def see_digits(round_: Round, command: SeeDigits, now: datetime) -> Facts:
    """Only a digit that was not there before says something: one that stands was heard, and what was said after it is
    newer. Of earlier releases' forecasts nobody knows which digits were heard: these only begin to be known."""
    checks.may(round_, command.by, Act.FORECAST)
    checks.in_step(round_, Step.COMMITMENT)
    choice = choice_of(round_, command.plan)
    digits = tuple(sorted(set(command.digits)))
    before = choice.digits.get(command.by)
    new = [d for d in digits if d not in (before or ())]
    if before is None and command.by in choice.forecasts:
        new = []
    said: Facts = ()
    if new:
        said = forecast(round_, Forecast(command.by, command.plan, PER_DIGIT * new[-1]), now)
    return said if digits == before else (*said, DigitsSeen(command.plan, command.by, digits))


def missing(round_: Round) -> tuple[tuple[PlanId | None, Because], ...]:
    """Everything the commitment still needs, plan by plan."""
    if not round_.choices:
        return ((None, Because.NO_CHOICE),)
    found: list[tuple[PlanId | None, Because]] = []
    if len(round_.told_choices()) < len(round_.choices):
        found.append((None, Because.NOT_ANNOUNCED))
    for plan_id, choice in round_.told_choices().items():
        plan = round_.plans[plan_id]
        lacks = {
            Because.OWNER_MISSING: choice.owner is None,
            Because.CRITERION_INCOMPLETE: bool(plan.criterion.missing()),
            Because.CHECK_MISSING: plan.unchecked,
            Because.ACTIONS_MISSING: not choice.actions,
            Because.LIVE_MISSING: choice.live is None or choice.review is None,
        }
        found += [(plan_id, because) for because, lacking in lacks.items() if lacking]
    if fates.without_fate(round_):
        found.append((None, Because.FATES_MISSING))
    if round_.next_round is None:
        found.append((None, Because.NEXT_ROUND_MISSING))
    if overlaps(round_) and not round_.overlap_accepted:
        found.append((None, Because.OVERLAP_UNCONFIRMED))
    return tuple(found)


def commit(round_: Round, command: Commit, now: datetime) -> Facts:
    settling(round_, command.by)
    if command.running_trials + len(round_.choices) > round_.settings.trials_at_once:
        raise Refused(
            Because.NO_FREE_PLACE,
            most=round_.settings.trials_at_once,
            running=command.running_trials,
            free_on=None,
        )
    lacks = missing(round_)
    if lacks:
        plan, because = lacks[0]
        fields = round_.plans[plan].criterion.missing() if plan else ()
        raise Refused(because, plan=round_.plans[plan].title if plan else "", lacking=len(lacks), fields=fields)
    still_possible(round_, now)
    return (Committed(len(round_.choices), at=now),)


def still_possible(round_: Round, now: datetime) -> None:
    """Dates that were right when they were set may have passed while the rest was settled. Raises Refused."""
    for plan, choice in round_.choices.items():
        late = [a for a in choice.actions if not now <= a.due <= now + FIRST_WEEK]
        if late:
            raise Refused(Because.ACTIONS_MISSING, plan=round_.plans[plan].title)
        if choice.live is not None and choice.live < (now - SETTLED_WITHIN).date():
            raise Refused(Because.LIVE_MISSING, plan=round_.plans[plan].title)
    assert round_.next_round is not None
    if round_.next_round <= now:
        raise Refused(Because.IN_THE_PAST, at=round_.next_round)


# --- evolve ---


def actions_set(round_: Round, fact: ActionsSet) -> Round:
    return with_choice(round_, fact.plan, actions=fact.actions)


def live_set(round_: Round, fact: LiveSet) -> Round:
    return with_choice(round_, fact.plan, live=fact.day, review=fact.at)


def criterion_completed(round_: Round, fact: CriterionCompleted) -> Round:
    after = with_plan(round_, fact.plan, criterion=fact.criterion)
    return with_choice(replace(after, overlap_accepted=False), fact.plan, odds=None)


def checker_named(round_: Round, fact: CheckerNamed) -> Round:
    return with_plan(round_, fact.plan, checked_by=fact.name)


def next_round_set(round_: Round, fact: NextRoundSet) -> Round:
    return replace(round_, next_round=fact.at)


def overlap_accepted(round_: Round, fact: OverlapAccepted) -> Round:
    return replace(round_, overlap_accepted=True)


def forecast_given(round_: Round, fact: ForecastGiven) -> Round:
    choice = round_.choices[fact.plan]
    feared = choice.feared if fact.fear is None else said_last(choice.feared, fact.member, fact.fear)
    digits = {fact.member: (), **choice.digits}
    forecasts = {**choice.forecasts, fact.member: fact.chance}
    return with_choice(round_, fact.plan, forecasts=forecasts, feared=feared, digits=digits)


def digits_seen(round_: Round, fact: DigitsSeen) -> Round:
    digits = {**round_.choices[fact.plan].digits, fact.member: fact.digits}
    return with_choice(round_, fact.plan, digits=digits)


def committed(round_: Round, fact: Committed) -> Round:
    """Late notes that nobody settled are held for a later round, unsigned; nobody needs to know any more whose plans
    they were."""
    plans = {i: plan_unsigned(p) for i, p in round_.plans.items()}
    return replace(round_, late_notes=unsigned_by_name(round_.late_notes, fact.names), plans=plans)


DECIDE: Decide = {
    SetActions: set_actions,
    SetLive: set_live,
    CompleteCriterion: complete,
    NameChecker: name_checker,
    SetNextRound: set_next_round,
    AcceptOverlap: accept_overlap,
    Forecast: forecast,
    SeeDigits: see_digits,
    Commit: commit,
}
EVOLVE: Evolve = {
    ActionsSet: actions_set,
    LiveSet: live_set,
    CriterionCompleted: criterion_completed,
    CheckerNamed: checker_named,
    NextRoundSet: next_round_set,
    OverlapAccepted: overlap_accepted,
    ForecastGiven: forecast_given,
    DigitsSeen: digits_seen,
    Committed: committed,
}


def forget(round_: Round, gone: MemberId) -> Round:
    return replace(round_, choices={i: _without(choice, gone) for i, choice in round_.choices.items()})


def _without(choice: Choice, gone: MemberId) -> Choice:
    return replace(
        choice,
        declined=tuple((m, reason) for m, reason in choice.declined if m != gone),
        forecasts={m: chance for m, chance in choice.forecasts.items() if m != gone},
        feared={m: fear for m, fear in choice.feared.items() if m != gone},
        digits={m: digits for m, digits in choice.digits.items() if m != gone},
    )


RULE = StepRule(
    hours=8, minutes=15, read_hours=0, read_minutes=0, private=False, expected=both_roles, gave=nobody,
    quorum=None, needs=None, decides=Role.FACILITATOR, hands_over=False, close=None, enter=None,
    ends=Committed, decide={**choosing.DECIDE, **foretelling.DECIDE, **fates.DECIDE, **likening.DECIDE, **DECIDE},
    evolve={**choosing.EVOLVE, **foretelling.EVOLVE, **fates.EVOLVE, **likening.EVOLVE, **EVOLVE},
    forget=forget,
)  # fmt: skip
