"""Guards that the rulings share: who may, and when."""

from __future__ import annotations

from datetime import date, timedelta

from coldframe.domain import who_may
from coldframe.domain.commands import BOT
from coldframe.domain.fates import FateKind
from coldframe.domain.names import LeverId, MemberId, PlanId, Role, Step
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.state import Begun, Draft, Note, Plan, Round
from coldframe.domain.who_may import TABLE, Act, Who


def member(round_: Round, by: MemberId) -> None:
    """The person has a seat and has not left."""
    seat = round_.seats.get(by)
    if seat is None or seat.left:
        raise Refused(Because.NOT_A_MEMBER)


def bot(by: MemberId) -> None:
    """Only time and the bot itself."""
    if by != BOT:
        raise Refused(Because.NOT_YOURS)


def in_round(round_: Round, by: MemberId, plan: PlanId | None = None) -> frozenset[Who]:
    """What somebody is in the round; an owner of this chosen `plan`, or of any."""
    roles = round_.roles
    return who_may.parts(
        by,
        round_.active(),
        facilitator=roles.acting(Role.FACILITATOR),
        decision_maker=roles.acting(Role.DECISION_MAKER),
        deputies=(roles.facilitator_deputy, roles.decision_deputy),
        owners=[choice.owner for key, choice in round_.choices.items() if plan in (None, key)],
    )


def may(round_: Round, by: MemberId, act: Act, *, given: bool = False, plan: PlanId | None = None) -> None:
    """Raises Refused for whoever the table does not let do it. `given`: its condition holds for them."""
    row = TABLE[act]
    if by == BOT and row.by_itself:
        return
    found = in_round(round_, by, plan)
    if Who.SEATED not in found:
        raise Refused(Because.NOT_A_MEMBER)
    if not who_may.may(act, found, given=given):
        role = Role.DECISION_MAKER if row.refusal is Because.NOT_DECISION_MAKER else Role.FACILITATOR
        raise Refused(row.refusal, who=round_.acting_name(role))


def in_step(round_: Round, *steps: Step) -> None:
    """The round stands in one of the steps. Past the first of them is late, before it not yet."""
    if round_.step in (Step.COMMITTED, Step.CANCELLED):
        raise Refused(Because.ENDED, step=round_.step)
    if round_.step not in steps:
        order = list(Step)
        late = order.index(round_.step) > min(order.index(s) for s in steps)
        raise Refused(Because.TOO_LATE if late else Because.NOT_OPEN_YET, step=round_.step, wanted=steps[0])


def not_paused(round_: Round) -> None:
    if round_.paused is not None:
        raise Refused(Because.PAUSED)


def plan(round_: Round, plan_id: PlanId) -> Plan:
    return known(round_.plans.get(plan_id))


def own(round_: Round, found: Begun | Draft | Note | Plan | None, by: MemberId, act: Act) -> None:
    """What this person wrote. Whoever has left may do with it what the table leaves them."""
    if found is None:
        raise Refused(Because.UNKNOWN_ITEM)
    if found.author != by:
        raise Refused(Because.NOT_YOURS)
    if Who.LEFT not in TABLE[act].given:
        member(round_, by)


def lever(round_: Round, lever_id: LeverId) -> None:
    """A lever of this round."""
    levers = dict(round_.settings.levers)
    if lever_id not in levers:
        raise Refused(Because.UNKNOWN_LEVER, lever=lever_id, levers=tuple(levers.values()))


def with_the_corner(round_: Round, plan: PlanId, fate: FateKind | None) -> None:
    """Raises Refused for what the matrix speaks against; None: a trial now."""
    placed = round_.corners.get(plan)
    if placed is not None and placed.speaks_against(fate):
        title = round_.plans[plan].title
        raise Refused(Because.AGAINST_THE_CORNER, plan=title, of=plan, corner=placed.corner)


LONGEST_BUILD = timedelta(weeks=12)
"""What takes longer is a project: it would hold a place that a trial could have."""


def planned_day(day: date, today: date) -> None:
    """Raises Refused for a day on which nothing can be planned to be live."""
    if day < today:
        raise Refused(Because.IN_THE_PAST, at=day)
    if day > today + LONGEST_BUILD:
        raise Refused(Because.LIVE_TOO_FAR, day=day, latest=today + LONGEST_BUILD)
