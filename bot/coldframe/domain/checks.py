"""Guards that the rulings share: who may, and when."""

from __future__ import annotations

from coldframe.domain.commands import BOT
from coldframe.domain.names import LeverId, MemberId, PlanId, Role, Step
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.state import Draft, Note, Plan, Round


def member(round_: Round, by: MemberId) -> None:
    """The person has a seat and has not left."""
    seat = round_.seats.get(by)
    if seat is None or seat.left:
        raise Refused(Because.NOT_A_MEMBER)


def bot(by: MemberId) -> None:
    """Only time and the bot itself."""
    if by != BOT:
        raise Refused(Because.NOT_YOURS)


def facilitator(round_: Round, by: MemberId) -> None:
    if by == BOT:
        return
    member(round_, by)
    if not round_.is_facilitator(by):
        raise Refused(Because.NOT_FACILITATOR, who=round_.acting_name(Role.FACILITATOR))


def decision_maker(round_: Round, by: MemberId) -> None:
    member(round_, by)
    if not round_.is_decision_maker(by):
        raise Refused(Because.NOT_DECISION_MAKER, who=round_.acting_name(Role.DECISION_MAKER))


def either_role(round_: Round, by: MemberId) -> None:
    """The facilitator or the decision-maker: the two who settle a commitment."""
    if not (round_.is_facilitator(by) or round_.is_decision_maker(by)):
        raise Refused(Because.NOT_FACILITATOR, who=round_.acting_name(Role.FACILITATOR))


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


def own(found: Draft | Note | Plan | None, by: MemberId) -> None:
    """What this person wrote."""
    if found is None:
        raise Refused(Because.UNKNOWN_ITEM)
    if found.author != by:
        raise Refused(Because.NOT_YOURS)


def lever(round_: Round, lever_id: LeverId) -> None:
    """A lever of this round."""
    levers = dict(round_.settings.levers)
    if lever_id not in levers:
        raise Refused(Because.UNKNOWN_LEVER, lever=lever_id, levers=tuple(levers.values()))
