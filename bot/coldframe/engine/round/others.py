"""What those do who are played in a rehearsal, step by step. It follows from the round as it stands, so that what was
done already is not done again, whenever it is looked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Literal

from coldframe.domain.commands import Command
from coldframe.domain.criterion import Criterion
from coldframe.domain.names import Axis, MemberId, NoteId, PlanId, PrecedentId, Role, Step
from coldframe.domain.people.played import is_played, played
from coldframe.domain.round import placement
from coldframe.domain.round.ballots import BUTTON, CastVote, LockBallot, options
from coldframe.domain.round.choosing import AnswerOwnership
from coldframe.domain.round.commitment import Forecast, NameChecker, SetActions
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import Done
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.round.placement import Compare
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import GivePrecedent
from coldframe.domain.round.roles import AnswerRole
from coldframe.domain.state import Action, Plan, Round
from coldframe.speech.round.rehearsal_words import CHECKED_BY, OTHERS, REASON, STOP_LINE, Other, Page

Part = tuple[Command, ...]
ACTION_WITHIN = timedelta(days=2)
CHANCE, APART = 40, 10
"""What the first of them foretells in per cent, and by how much each next one more."""
WHO: Mapping[MemberId, Other] = {played(key): other for key, other in OTHERS.items()}


def parts(round_: Round, now: datetime) -> tuple[Part, ...]:
    """What each of them has to do now; nothing once all are through, or while it rests."""
    opens = round_.progress.opens
    if round_.paused is not None or opens is None or opens > now:
        return ()
    found = (_part(round_, member, now) for member in round_.active() if is_played(member))
    return tuple(part for part in found if part)


def _part(round_: Round, me: MemberId, now: datetime) -> Part:
    asked = (offer.role for offer in round_.role_offers if offer.to == me)
    offered = tuple(AnswerRole(me, role, accept=role is Role.DECISION_MAKER) for role in asked)
    of_step = _PARTS.get(round_.step)
    return offered or (of_step(round_, me, now) if of_step is not None else ())


def _until_done(gives: Callable[[Round, MemberId], Part]) -> Callable[[Round, MemberId, datetime], Part]:
    """Everything at once, and then they are through."""

    def part(round_: Round, me: MemberId, now: datetime) -> Part:
        return () if me in round_.progress.done else (*gives(round_, me), Done(me))

    return part


def _number(me: MemberId) -> int:
    return list(WHO).index(me)


def _notes(round_: Round, me: MemberId) -> Part:
    levers = [lever for lever, _ in round_.settings.levers]
    return tuple(
        WriteNote(me, NoteId(f"{me}-{number}"), levers[min(lever, len(levers) - 1)], side, text)
        for number, (lever, side, text) in enumerate(WHO[me].notes)
        if f"{me}-{number}" not in round_.notes
    )


def _focus(round_: Round, me: MemberId, now: datetime) -> Part:
    if not round_.is_decision_maker(me) or round_.decided() is not None:
        return ()
    return (PickFocus(me, round_.settings.levers[-1][0], REASON),)


def _votes(round_: Round, me: MemberId) -> Part:
    """The first option has a vote of each; the others go round."""
    ledger, found = round_.ledger(), options(round_)
    left = 0 if ledger is None else ledger.quota - len(ledger.marks.get(me, ()))
    return tuple(CastVote(me, found[_number(me) * k % len(found)], BUTTON) for k in range(left))


def _precedents(round_: Round, me: MemberId) -> Part:
    told, question = WHO[me].precedent, round_.questions[_number(me) % len(round_.questions)]
    return (GivePrecedent(me, PrecedentId(f"{me}-1"), question.id, told.title, told.idea, source=told.source),)


def _plans(round_: Round, me: MemberId) -> Part:
    page = WHO[me].plan
    return () if page is None else (HandInPlan(me, _plan(round_, me, page)),)


def _plan(round_: Round, me: MemberId, page: Page) -> Plan:
    criterion = Criterion(
        page.measure, baseline=page.baseline, target=page.target, weekly=page.weekly, counted=page.counted,
        stop_line=STOP_LINE, harm=page.harm, harm_usual=page.harm_usual,
        harm_limit=page.harm_limit, population="new",
    )  # fmt: skip
    question = round_.questions[_number(me) % len(round_.questions)]
    return Plan(PlanId(f"{me}-1"), me, question.id, page.title, page.hypothesis, page.steps, criterion)


def _ballot(round_: Round, me: MemberId, now: datetime) -> Part:
    """The comparisons follow where they are asked in the same sitting."""
    ledger = round_.ledger()
    voted: Part = () if ledger is not None and me in ledger.locked else (*_votes(round_, me), LockBallot(me))
    return (*voted, *(_comparisons(round_, me) if placement.in_one_sitting(round_) else ()))


def _placement(round_: Round, me: MemberId, now: datetime) -> Part:
    return _comparisons(round_, me)


def _comparisons(round_: Round, me: MemberId) -> Part:
    """Who stands earlier does more; who stands later takes more."""
    answered = {(each.axis, frozenset((each.first, each.second))) for each in round_.comparisons.get(me, ())}
    return tuple(
        Compare(me, axis, first, second, _more(round_, axis, first, second))
        for axis in Axis
        for first, second in placement.assigned(round_, me, axis)
        if (axis, frozenset((first, second))) not in answered
    )


def _more(round_: Round, axis: Axis, first: PlanId, second: PlanId) -> Literal["first", "second"]:
    is_earlier = round_.plan_order.index(first) < round_.plan_order.index(second)
    return "first" if is_earlier == (axis is Axis.IMPACT) else "second"


def _commitment(round_: Round, me: MemberId, now: datetime) -> Part:
    """Whoever is asked to own a plan says yes, names who checked it, and draws up the first week."""
    found: list[Command] = []
    for plan, choice in round_.told_choices().items():
        if choice.asked == me:
            found.append(AnswerOwnership(me, plan, accept=True))
        if choice.owner == me and not choice.actions:
            found.append(SetActions(me, plan, _actions(me, now)))
        if choice.owner == me and round_.plans[plan].unchecked:
            found.append(NameChecker(me, plan, CHECKED_BY))
        if me not in choice.forecasts:
            found.append(Forecast(me, plan, CHANCE + APART * _number(me)))
    return tuple(found)


def _actions(me: MemberId, now: datetime) -> tuple[Action, ...]:
    due = now + ACTION_WITHIN
    return tuple(Action(f"a{number}", text, me, due) for number, text in enumerate(WHO[me].actions, 1))


def plan_without_day(round_: Round) -> tuple[MemberId, PlanId] | None:
    """Of whose plan the day has to be set on which it should be live: one of theirs."""
    chosen = round_.told_choices().items() if round_.step is Step.COMMITMENT else ()
    owned = ((c.owner, plan) for plan, c in chosen if c.owner is not None and c.live is None)
    return next(((owner, plan) for owner, plan in owned if is_played(owner)), None)


_PARTS: Mapping[Step, Callable[[Round, MemberId, datetime], Part]] = {
    Step.NOTES: _until_done(_notes),
    Step.FOCUS: _focus,
    Step.DOTS: _until_done(_votes),
    Step.PRECEDENTS: _until_done(_precedents),
    Step.PLANS: _until_done(_plans),
    Step.BALLOT: _ballot,
    Step.PLACEMENT: _placement,
    Step.COMMITMENT: _commitment,
}
