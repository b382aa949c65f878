"""Roles that change hands: passed on with the other's yes, taken over from somebody who does not move, deputies named.

Somebody can always go on: a role goes on by itself when its holder leaves (`people.seats`) and, where a step waits for
its decision, to the deputy at the deadline (`course`). What is left is here.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from coldframe.domain import checks
from coldframe.domain.commands import BOT, Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import RUNNING, HandOverReason, MemberId, OfferEnd, PauseReason, Role, Step
from coldframe.domain.people.seats import role_moved
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.moves import RoundResumed
from coldframe.domain.round.rules import RULES
from coldframe.domain.state import RoleOffer, Round
from coldframe.domain.who_may import Act

# --- what people ask ---


class OfferRole(Command):
    """Will you take this role? It stays where it is until they say yes. The engine reckons how long they have."""

    role: Role
    to: MemberId
    until: datetime


class AnswerRole(Command):
    """Yes or no to a role."""

    role: Role
    accept: bool


class KeepRole(Command):
    """Nobody is asked any more; by the bot when the time to answer is over."""

    role: Role


class OpenRole(Command):
    """Whoever has the role has not moved for long: any member may take it over."""

    role: Role


class TakeRole(Command):
    """I take over a role that is open."""

    role: Role


class NameDeputy(Command):
    """Who stands in for the role."""

    role: Role
    member: MemberId


# --- what becomes true ---


class RoleOffered(Fact):
    role: Role
    to: MemberId
    by: MemberId
    until: datetime


class RoleOfferEnded(Fact):
    role: Role
    to: MemberId
    how: OfferEnd


class RolePassed(Fact):
    """The role is somebody else's own now, or its holder's again."""

    role: Role
    member: MemberId
    before: MemberId
    why: HandOverReason


class RoleOpened(Fact):
    role: Role


class DeputyNamed(Fact):
    role: Role
    member: MemberId


# --- rulings ---


def offer(round_: Round, command: OfferRole, now: datetime) -> Facts:
    checks.in_step(round_, Step.SETUP, *RUNNING)
    role, acting = command.role, round_.roles.acting(command.role)
    _may_offer(round_, command)
    checks.member(round_, command.to)
    if command.to == acting:
        raise Refused(Because.HAS_THE_ROLE, who=round_.name_of(acting), role=role)
    if command.to == command.by:
        return _passed(round_, role, command.to, HandOverReason.ASKED)
    known = round_.role_offer(role)
    if known is not None and (known.to, known.by) == (command.to, command.by):
        return ()
    earlier = (RoleOfferEnded(role, known.to, OfferEnd.KEPT),) if known is not None else ()
    return (*earlier, RoleOffered(role, command.to, command.by, command.until))


def _may_offer(round_: Round, command: OfferRole) -> None:
    """Whoever has the role; the facilitator in place of a decision-maker who does not answer; the bot to somebody who
    came back."""
    theirs = command.by == round_.roles.acting(command.role)
    if round_.is_facilitator(command.by) and not theirs and not may_be_replaced(round_):
        raise Refused(Because.NOT_DECISION_MAKER, who=round_.acting_name(Role.DECISION_MAKER))
    checks.may(round_, command.by, Act.PASS_ON, given=theirs or round_.is_facilitator(command.by))


def may_be_replaced(round_: Round) -> bool:
    """Whether the facilitator may look for another decision-maker: nothing has begun, the present one is away, or the
    step waits for their decision past its deadline."""
    chief = round_.seats.get(round_.roles.acting(Role.DECISION_MAKER))
    if round_.step is Step.SETUP or chief is None or chief.away:
        return True
    late = round_.progress.extended or round_.paused is PauseReason.NOBODY_DECIDED
    return late and (RULES[round_.step].decides is Role.DECISION_MAKER or round_.step is Step.COMMITMENT)


def answer(round_: Round, command: AnswerRole, now: datetime) -> Facts:
    checks.in_step(round_, Step.SETUP, *RUNNING)
    checks.member(round_, command.by)
    found = round_.role_offer(command.role)
    if found is None or found.to != command.by:
        raise Refused(Because.NOT_ASKED)
    if not command.accept:
        return (RoleOfferEnded(command.role, command.by, OfferEnd.DECLINED),)
    why = HandOverReason.RETURNED if found.by == BOT else HandOverReason.ASKED
    return _passed(round_, command.role, command.by, why)


def _passed(round_: Round, role: Role, to: MemberId, why: HandOverReason) -> Facts:
    """A round that rests for want of this role's decision goes on with it."""
    passed = RolePassed(role, to, round_.roles.acting(role), why)
    waited = round_.paused is PauseReason.NOBODY_DECIDED and RULES[round_.step].decides is role
    return (passed, RoundResumed(round_.rests_since)) if waited else (passed,)


def keep(round_: Round, command: KeepRole, now: datetime) -> Facts:
    found = round_.role_offer(command.role)
    if found is None:
        raise Refused(Because.NOT_ASKED)
    if command.by == BOT:
        return (RoleOfferEnded(command.role, found.to, OfferEnd.LAPSED),) if now >= found.until else ()
    checks.member(round_, command.by)
    if command.by not in (found.by, round_.roles.acting(command.role)):
        raise Refused(Because.NOT_YOURS)
    return (RoleOfferEnded(command.role, found.to, OfferEnd.KEPT),)


def open_(round_: Round, command: OpenRole, now: datetime) -> Facts:
    """Only where nothing goes on by itself: in a round in setup, or one that rests."""
    checks.bot(command.by)
    waits = round_.step is Step.SETUP or (round_.step in RUNNING and round_.paused is not None)
    return (RoleOpened(command.role),) if waits and command.role not in round_.open_roles else ()


def is_open(round_: Round, role: Role) -> bool:
    """Whether any member may take it over. So it is with one whose holder takes no part in the round at all, such as
    an outsider who began its setup."""
    return role in round_.open_roles or round_.roles.acting(role) not in round_.active()


def concerns(round_: Round, member: MemberId) -> bool:
    """Whether there is something about roles that this member can do."""
    roles = round_.roles
    has = any(member in (roles.acting(role), roles.holder(role)) for role in Role)
    return member in round_.active() and (has or any(is_open(round_, role) for role in Role))


def take(round_: Round, command: TakeRole, now: datetime) -> Facts:
    checks.in_step(round_, Step.SETUP, *RUNNING)
    checks.member(round_, command.by)
    acting = round_.roles.acting(command.role)
    if command.by == acting:
        raise Refused(Because.HAS_THE_ROLE, who=round_.name_of(acting), role=command.role)
    if not is_open(round_, command.role):
        raise Refused(Because.ROLE_NOT_OPEN, who=round_.name_of(acting), role=command.role)
    return _passed(round_, command.role, command.by, HandOverReason.TAKEN)


def name_deputy(round_: Round, command: NameDeputy, now: datetime) -> Facts:
    checks.in_step(round_, Step.SETUP, *RUNNING)
    role, roles = command.role, round_.roles
    theirs = command.by == roles.acting(role)
    checks.may(round_, command.by, Act.PASS_ON, given=theirs or round_.is_facilitator(command.by))
    checks.member(round_, command.member)
    if roles.acting(role) != roles.holder(role) and roles.holder(role) in round_.active():
        raise Refused(Because.DEPUTY_ACTS, who=round_.name_of(roles.acting(role)), role=role)
    if command.member == roles.acting(role):
        raise Refused(Because.DEPUTY_SAME)
    return () if command.member == roles.deputy(role) else (DeputyNamed(role, command.member),)


# --- evolve ---


def role_offered(round_: Round, fact: RoleOffered) -> Round:
    others = tuple(o for o in round_.role_offers if o.role is not fact.role)
    return replace(round_, role_offers=(*others, RoleOffer(fact.role, fact.to, fact.by, fact.until)))


def role_offer_ended(round_: Round, fact: RoleOfferEnded) -> Round:
    return replace(round_, role_offers=tuple(o for o in round_.role_offers if o.role is not fact.role))


def role_passed(round_: Round, fact: RolePassed) -> Round:
    return role_moved(replace(round_, roles=round_.roles.passed(fact.role, fact.member)), fact.role)


def role_opened(round_: Round, fact: RoleOpened) -> Round:
    return replace(round_, open_roles=round_.open_roles | {fact.role})


def deputy_named(round_: Round, fact: DeputyNamed) -> Round:
    """A deputy who had the role for somebody who left has it as their own by that."""
    roles = round_.roles
    return replace(round_, roles=roles.given(fact.role, roles.acting(fact.role), fact.member))


DECIDE: Decide = {
    OfferRole: offer,
    AnswerRole: answer,
    KeepRole: keep,
    OpenRole: open_,
    TakeRole: take,
    NameDeputy: name_deputy,
}
EVOLVE: Evolve = {
    RoleOffered: role_offered,
    RoleOfferEnded: role_offer_ended,
    RolePassed: role_passed,
    RoleOpened: role_opened,
    DeputyNamed: deputy_named,
}
