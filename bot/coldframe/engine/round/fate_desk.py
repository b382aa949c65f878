"""The commitment's desk for all plans that are not tried: its form as it comes back, a second one for what is to be
done, and plans against the matrix."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from coldframe.domain import checks
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
from coldframe.speech.round.fate_desk_words import DUE, FATE, LINE, OWNER, WHERE, WHY, field

AT_FIELD = {Because.AGAINST_THE_CORNER: WHY, Because.DROPPED_WHY: WHY}


async def form(request: RoundRequest) -> Reply:
    return Reply(form=fate_desk_words.form(request.round))


async def settled(request: RoundRequest) -> Reply | None:
    """All that were filled in, or none; what was left open stays so, and what is to be done is asked about next."""
    found = {plan: kind for plan in untried(request.round) if (kind := _kind(request.text(field(plan, FATE))))}
    asked = {plan: kind for plan, kind in found.items() if kind in TO_BE_DONE and not _is_in_a_line(request, plan)}
    now = {plan: await _fate(request, plan, kind) for plan, kind in found.items() if plan not in asked}
    try:
        for plan, kind in asked.items():
            if not request.text(field(plan, WHY)).strip():
                checks.with_the_corner(request.round, plan, kind)
        request = request if not now else await _settle(request, now)
    except Refused as refused:
        return _at_its_field(refused, LINE)
    return await _details(request, {plan: (kind, request.text(field(plan, WHY))) for plan, kind in asked.items()})


async def _settle(request: RoundRequest, fates: Mapping[PlanId, PlanFate]) -> RoundRequest:
    return replace(request, round=await request.act(SettleFates(request.by, fates)))


async def _details(request: RoundRequest, todo: Mapping[PlanId, tuple[FateKind, str]]) -> Reply | None:
    if not todo:
        return None
    calendar = members.calendar_of(await request.turn.uow.member(request.tenant, request.by))
    return Reply(form=fate_desk_words.details(request.round, todo, calendar.local_day))


async def detailed(request: RoundRequest) -> Reply | None:
    """Who sees it done, until when and where: of all that the form asks about, or none."""
    named = list(zip(request.parts[::2], request.parts[1::2], strict=False))
    kinds = {PlanId(plan): kind for plan, word in named if (kind := _kind(word)) in TO_BE_DONE}
    fates = {plan: await _detail(request, plan, kind) for plan, kind in kinds.items() if kind is not None}
    try:
        await request.act(SettleFates(request.by, fates))
    except Refused as refused:
        return _at_its_field(refused, WHERE)
    return None


async def _detail(request: RoundRequest, plan: PlanId, kind: FateKind) -> PlanFate:
    owner = MemberId(request.text(field(plan, OWNER)))
    if owner not in request.round.active():
        raise Refused(Because.UNKNOWN_ITEM)
    whose = await sent_form.at_work(request, owner)
    day = await sent_form.typed_day(request, field(plan, DUE), request.text(field(plan, DUE)), whose)
    return PlanFate(kind, owner, day.at, request.text(field(plan, WHERE)), request.text(field(plan, WHY)))


def _at_its_field(refused: Refused, incomplete: str) -> Reply:
    """Raises Refused for what belongs to none."""
    at = incomplete if refused.code is Because.FATE_INCOMPLETE else AT_FIELD.get(refused.code)
    if at is None:
        raise refused
    plan = PlanId(str(refused.facts["of"]))
    return Reply(errors={field(plan, at): answers.sentence(refusal(refused))})


def _kind(word: str) -> FateKind | None:
    return next((kind for kind in OF_A_PLAN if kind.value == word), None)


def _is_in_a_line(request: RoundRequest, plan: PlanId) -> bool:
    return field(plan, LINE) in request.fields


async def _fate(request: RoundRequest, plan: PlanId, kind: FateKind) -> PlanFate:
    """Of what is to be done as forms of earlier releases have it, all in one line."""
    why, at = request.text(field(plan, WHY)), field(plan, LINE)
    name, when, where = sent_form.between_bars(request.text(at))
    if kind not in TO_BE_DONE or not (name and when and where):
        return PlanFate(kind, reason=why)
    owner = sent_form.member_named(request, name, at)
    day = await sent_form.typed_day(request, at, when, await sent_form.at_work(request, MemberId(owner)))
    return PlanFate(kind, owner, day.at, where, why)
