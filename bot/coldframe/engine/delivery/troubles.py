"""What cannot be sent is said: once per conversation, to somebody who can act on it, by a way that works."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta

import structlog

from coldframe.domain.names import MemberId, Role
from coldframe.domain.state import Round
from coldframe.engine.core import damage, moments
from coldframe.engine.core.turn import Kit, Turn
from coldframe.ports.chat import Place
from coldframe.ports.storage import UNDELIVERED, Trouble, UnitOfWork
from coldframe.speech.round import undelivered

log = structlog.get_logger()
HELD_UP_FOR = timedelta(hours=1)
"""What waits for less is about to go."""


async def tell(kit: Kit) -> int:
    """Says what is not said yet; returns how many words went into the outbox."""
    found = await kit.store.troubles(kit.clock.now() - HELD_UP_FOR)
    broken = {trouble.place for trouble in found if trouble.how != "set aside"}  # where one is, what follows goes
    said = 0
    for trouble in found:
        if not trouble.told:
            said += await _tell_of(kit, trouble, broken)
    return said


async def _tell_of(kit: Kit, trouble: Trouble, broken: set[Place]) -> bool:
    async def once() -> bool:
        kit.ids.occasion(f"undelivered/{trouble.place.order_key()}/{trouble.since.isoformat()}")
        async with kit.store.begin() as uow:
            turn = Turn(kit, uow, kit.clock.now())
            round_ = await _round_of(uow, trouble)
            if round_ is None or not await _say(turn, round_, trouble, broken):
                return False
            await uow.told_of(trouble.place, turn.now)
            await turn.finish()
        return True

    try:
        return await damage.apart(once)
    except Exception as problem:
        log.error("delivery.trouble_not_said", round=trouble.round_id, problem=type(problem).__name__)
        return False


async def _round_of(uow: UnitOfWork, trouble: Trouble) -> Round | None:
    """The round that the sends belong to, else the newest of the person or the channel."""
    place = trouble.place
    if place.kind == "direct":
        others = await uow.rounds_with(place.tenant, place.id, 1)
    else:
        others = [head.id for head in await uow.heads(place.tenant, channel=place.id)][-1:]
    for round_id in (trouble.round_id, *others):
        if round_id and (round_ := await uow.round(round_id)) is not None:
            return round_
    return None


async def _say(turn: Turn, round_: Round, trouble: Trouble, broken: set[Place]) -> bool:
    """To the facilitator, else to whoever stands in or decides; else in the channel, with nobody's name. False when
    nobody may be spoken to now."""
    ways = [person for person in _ears(round_) if turn.direct(round_, person) not in broken]
    if not ways and turn.channel(round_) not in broken:
        turn.say(round_, UNDELIVERED, undelivered.in_channel(), rest=(turn.kit.ids.new(""),))
        return True
    if not ways or not await _is_at_work(turn, round_, ways[0]):
        return False
    words = undelivered.to_person(round_, trouble) if trouble.place.kind == "direct" else undelivered.channel(trouble)
    turn.tell(round_, ways[0], UNDELIVERED, words, rest=(turn.kit.ids.new(""),))
    if trouble.how == "held up":
        turn.holds_until(turn.now + HELD_UP_FOR)  # with everything down nobody can be told, and later nobody must
    return True


def _ears(round_: Round) -> Sequence[MemberId]:
    def everybody() -> Iterator[MemberId | None]:
        for role in (Role.FACILITATOR, Role.DECISION_MAKER):
            yield from (round_.roles.acting(role), round_.roles.deputy(role), round_.roles.holder(role))

    active = set(round_.active())
    return list(dict.fromkeys(person for person in everybody() if person in active and person is not None))


async def _is_at_work(turn: Turn, round_: Round, person: MemberId) -> bool:
    if round_.settings.pace == "live":
        return True
    return moments.at_work(await turn.uow.member(round_.tenant, person), turn.now) <= turn.now
