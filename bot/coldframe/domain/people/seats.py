"""Seats and roles: away, gone, new, handed over; and what the decision-maker's weight means."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from math import comb

from coldframe.domain import checks
from coldframe.domain.commands import BOT
from coldframe.domain.facts import Decide, Evolve, Facts
from coldframe.domain.names import RUNNING, HandOverReason, MemberId, PlanId, Role, Step
from coldframe.domain.people.commands import ConfirmWeight, HandOver, Join, Leave, SetAway
from coldframe.domain.people.facts import AwaySet, MemberJoined, MemberLeft, RoleFilled, RoleHandedOver, WeightConfirmed
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Choice, Round, Seat
from coldframe.domain.who_may import Act

MIN_PEOPLE = 3  # of a round
MAX_PEOPLE = 60  # of a round


def power_share(people: int, weight: int) -> float:
    """The decision-maker's normalised Banzhaf share in a majority between two plans, one vote for each other.

    With n others a coalition wins with more than half of the total weight n + w. The decision-maker is critical in
    the coalitions of k others with k <= q - 1 and k + w >= q; each other in those where one vote tips the scale.
    Checked against the table in the published method (4 people: weight 4 is all of the power).
    """
    others = people - 1
    if others <= 0:
        return 1.0
    quota = (others + weight) // 2 + 1
    critical = sum(comb(others, k) for k in range(others + 1) if k < quota <= k + weight)
    each = sum(comb(others - 1, k) for has_weight in (0, weight) for k in range(others) if k + has_weight == quota - 1)
    total = critical + others * each
    return critical / total if total else 1.0


def set_away(round_: Round, command: SetAway, now: datetime) -> Facts:
    checks.member(round_, command.member)
    if command.by != command.member:
        checks.may(round_, command.by, Act.HOLD_UP)
    if round_.seats[command.member].away == command.away:
        return ()
    return (AwaySet(command.member, command.away),)


def leave(round_: Round, command: Leave, now: datetime) -> Facts:
    checks.member(round_, command.member)
    if command.by != command.member:
        checks.may(round_, command.by, Act.ADMIT)
    left = member_left(round_, MemberLeft(command.member))
    vacant = (role for role in Role if left.active() and left.roles.acting(role) == command.member)
    return (MemberLeft(command.member), *(_successor(left, role) for role in vacant))


def _successor(left: Round, role: Role) -> RoleHandedOver | RoleFilled:
    """The role goes to its deputy, or back from the deputy to its holder, whoever of them is there; else to whoever has
    the other role, or to whoever has been there longest, so that somebody can always go on or end the round. Who is
    away comes last."""
    roles, there = left.roles, left.active()
    if roles.holder(role) in there or roles.deputy(role) in there:
        return RoleHandedOver(role, role not in roles.handed_over, HandOverReason.ASKED)
    other = Role.DECISION_MAKER if role is Role.FACILITATOR else Role.FACILITATOR
    near = (roles.acting(other), roles.holder(other), roles.deputy(other))
    candidates = [m for m in (*near, *there) if m in there]
    return RoleFilled(role, min(candidates, key=lambda m: left.seats[m].away))


def join(round_: Round, command: Join, now: datetime) -> Facts:
    seat = round_.seats.get(command.member)
    if command.by != BOT or seat is None:  # whoever took part is of the team again, though the round has ended
        checks.in_step(round_, Step.SETUP, *RUNNING)
    checks.may(round_, command.by, Act.ADMIT)
    if seat is not None and not seat.left:
        return ()
    return (MemberJoined(command.member, command.name, round_.step),)


def hand_over(round_: Round, command: HandOver, now: datetime) -> Facts:
    """The holder, the facilitator, or time may hand a role over; its holder may take it back."""
    holder = round_.roles.holder(command.role)
    if command.by != holder:
        checks.may(round_, command.by, Act.ROLE_BACK)
    else:
        checks.member(round_, command.by)
    if command.to_deputy and not deputy_ready(round_, command.role):
        raise Refused(Because.DEPUTY_MISSING, role=command.role)
    if not command.to_deputy and holder not in round_.active():
        raise Refused(Because.ROLE_NOT_ON_ROSTER, role=command.role)
    if (command.role in round_.roles.handed_over) == command.to_deputy:
        return ()
    return (RoleHandedOver(command.role, command.to_deputy, HandOverReason.ASKED),)


def deputy_ready(round_: Round, role: Role) -> bool:
    """Whether the role has a deputy who is still there."""
    return round_.roles.deputy(role) in round_.active()


def confirm_weight(round_: Round, command: ConfirmWeight, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.START)
    checks.in_step(round_, Step.SETUP)
    return (WeightConfirmed(round_.settings.weight),)


def roster_refusal(round_: Round) -> None:
    """Everything about people and weight that must hold before a round can start."""
    people = len(round_.active())
    if people < MIN_PEOPLE:
        raise Refused(Because.TOO_FEW_PEOPLE, people=people, fewest=MIN_PEOPLE)
    if people > MAX_PEOPLE:
        raise Refused(Because.TOO_MANY_PEOPLE, people=people, most=MAX_PEOPLE)
    roles = round_.roles
    for role in Role:
        _check_role(round_, role)
    if roles.facilitator_deputy == roles.facilitator or roles.decision_deputy == roles.decision_maker:
        raise Refused(Because.DEPUTY_SAME)
    share = power_share(people, round_.settings.weight)
    if share >= 1:
        raise Refused(Because.WEIGHT_DECIDES_ALONE, weight=round_.settings.weight, people=people)
    if share > 0.5 and not round_.settings.weight_confirmed:
        raise Refused(Because.WEIGHT_UNCONFIRMED, share=share, weight=round_.settings.weight)


def _check_role(round_: Round, role: Role) -> None:
    deputy = round_.roles.deputy(role)
    if deputy is None:
        raise Refused(Because.DEPUTY_MISSING, role=role)
    for person in (round_.roles.acting(role), deputy):
        if person not in round_.active():
            raise Refused(Because.ROLE_NOT_ON_ROSTER, role=role)


# --- evolve ---


def away_set(round_: Round, fact: AwaySet) -> Round:
    seats = {**round_.seats, fact.member: replace(round_.seats[fact.member], away=fact.away)}
    return replace(round_, seats=seats)


def member_left(round_: Round, fact: MemberLeft) -> Round:
    """Votes cast before leaving count until the close; what they owned, were asked to own or to do is free again. What
    was committed stays as it was sealed."""
    held = tuple(role for role in Role if round_.roles.holder(role) == fact.member)
    seats = {**round_.seats, fact.member: replace(round_.seats[fact.member], left=True, held=held)}
    if round_.step in (Step.COMMITTED, Step.CANCELLED):
        return replace(round_, seats=seats)
    offers = tuple(o for o in round_.role_offers if fact.member not in (o.to, o.by))
    return replace(round_, seats=seats, choices=_choices_without(round_, fact.member), role_offers=offers)


def _choices_without(round_: Round, gone: MemberId) -> dict[PlanId, Choice]:
    return {
        plan: replace(
            c,
            owner=None if c.owner == gone else c.owner,
            asked=None if c.asked == gone else c.asked,
            offers=tuple(m for m in c.offers if m != gone),
            actions=tuple(a for a in c.actions if a.who != gone),
        )
        for plan, c in round_.choices.items()
    }


def member_joined(round_: Round, fact: MemberJoined) -> Round:
    """At the end of the roster, which is in the order of coming. Who comes when everybody had left holds both roles."""
    joined_in = None if fact.step is Step.SETUP else fact.step
    others = {m: seat for m, seat in round_.seats.items() if m != fact.member}
    came = replace(round_, seats={**others, fact.member: Seat(fact.member, fact.name, joined_in=joined_in)})
    if round_.active():
        return came
    roles = came.roles
    for role in Role:
        roles = roles.given(role, fact.member)
    return replace(came, roles=roles)


def role_handed_over(round_: Round, fact: RoleHandedOver) -> Round:
    change = frozenset({fact.role})
    over = round_.roles.handed_over
    over = over | change if fact.to_deputy else over - change
    return role_moved(replace(round_, roles=replace(round_.roles, handed_over=over)), fact.role)


def role_filled(round_: Round, fact: RoleFilled) -> Round:
    return role_moved(replace(round_, roles=round_.roles.given(fact.role, fact.member)), fact.role)


def role_moved(round_: Round, role: Role) -> Round:
    """Nobody is asked any more whether they take it, and it is not there for the taking."""
    offers = tuple(o for o in round_.role_offers if o.role is not role)
    return replace(round_, role_offers=offers, open_roles=round_.open_roles - {role})


def weight_confirmed(round_: Round, fact: WeightConfirmed) -> Round:
    return replace(round_, settings=replace(round_.settings, weight_confirmed=True))


DECIDE: Decide = {
    SetAway: set_away,
    Join: join,
    HandOver: hand_over,
    ConfirmWeight: confirm_weight,
}
EVOLVE: Evolve = {
    AwaySet: away_set,
    MemberLeft: member_left,
    MemberJoined: member_joined,
    RoleHandedOver: role_handed_over,
    RoleFilled: role_filled,
    WeightConfirmed: weight_confirmed,
}
