"""The commitment's desk for all plans that are not tried: its form as it comes back, and plans against the matrix."""

from __future__ import annotations

from coldframe.domain.fates import OF_A_PLAN, TO_BE_DONE, FateKind, PlanFate
from coldframe.domain.names import MemberId, PlanId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.fates import SettleFates, untried
from coldframe.engine.core import members, sent_form
from coldframe.engine.core.requests import RoundRequest
from coldframe.ports.chat import Reply
from coldframe.speech import answers
from coldframe.speech.refusals import refusal
from coldframe.speech.round import fate_desk_words
from coldframe.speech.round.fate_desk_words import FATE, WHO, WHY, field

AT_FIELD = {Because.AGAINST_THE_CORNER: WHY, Because.DROPPED_WHY: WHY, Because.FATE_INCOMPLETE: WHO}


async def form(request: RoundRequest) -> Reply:
    calendar = members.calendar_of(await request.turn.uow.member(request.tenant, request.by))
    return Reply(form=fate_desk_words.form(request.round, calendar.local_day))


async def settled(request: RoundRequest) -> Reply | None:
    """All that were filled in, or none; what was left open stays so."""
    fates = {plan: await _fate(request, plan) for plan in untried(request.round) if _kind(request, plan) is not None}
    try:
        await request.act(SettleFates(request.by, fates))
    except Refused as refused:
        at = AT_FIELD.get(refused.code)
        if at is None:
            raise
        plan = PlanId(str(refused.facts["of"]))
        return Reply(errors={field(plan, at): answers.sentence(refusal(refused))})
    return None


def _kind(request: RoundRequest, plan: PlanId) -> FateKind | None:
    chosen = request.text(field(plan, FATE))
    return next((kind for kind in OF_A_PLAN if kind.value == chosen), None)


async def _fate(request: RoundRequest, plan: PlanId) -> PlanFate:
    kind, why = _kind(request, plan), request.text(field(plan, WHY))
    assert kind is not None
    name, when, where = sent_form.between_bars(request.text(field(plan, WHO)))
    if kind not in TO_BE_DONE or not (name and when and where):
        return PlanFate(kind, reason=why)
    at = field(plan, WHO)
    owner = sent_form.member_named(request, name, at)
    day = await sent_form.typed_day(request, at, when, await sent_form.at_work(request, MemberId(owner)))
    return PlanFate(kind, owner, day.at, where, why)
