"""Direct messages after a step, on a platform that deletes what people wrote: nothing there shows any more whose a
note, a vote or a plan was. What somebody still needs stays: the bot's messages that have a name, and the lines of which
notes of other rounds are made.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from coldframe.domain.names import MemberId
from coldframe.domain.state import Round
from coldframe.engine.core import lives
from coldframe.engine.core.turn import PASSING, Aside, Carry, Kit, Turn
from coldframe.engine.round import comparing
from coldframe.message.packed import MessageName
from coldframe.ports.chat import Place
from coldframe.ports.clearing import Kept
from coldframe.ports.storage import Due, UnitOfWork

CLEAR = "clear"
_JUST_BEFORE = timedelta(milliseconds=1)


def after_step(turn: Turn, round_: Round) -> None:
    if turn.kit.chat.capabilities.clears:
        turn.later(CLEAR, round_.id, turn.now.isoformat(), turn.now)


async def _clear(kit: Kit, due: Due) -> None:
    async with kit.store.begin() as uow:
        round_ = await uow.round(due.subject)
        if round_ is None:
            return
        since = datetime.fromisoformat(due.occurrence)
        kept = {str(person): Kept(since, await _needed(uow, round_.tenant, person)) for person in round_.seats}
    await kit.chat.clear(round_.tenant, kept)


async def of_before(kit: Kit, tenant: str, people: Iterable[str]) -> None:
    """What stands there of steps that were over before anything was deleted: all but what came in the open ones."""
    async with kit.store.begin() as uow:
        kept = {p: Kept(await _begun(kit, uow, tenant, p), await _needed(uow, tenant, p)) for p in people}
    await kit.chat.clear(tenant, kept)


async def _begun(kit: Kit, uow: UnitOfWork, tenant: str, person: str) -> datetime:
    """When the first of the steps began that are open for this person."""
    rounds = [await uow.round(head.id) for head in await uow.heads(tenant, member=person)]
    opened = [r.progress.opens for r in rounds if r is not None and r.progress.opens is not None]
    return min(opened, default=kit.clock.now()) - _JUST_BEFORE


async def _needed(uow: UnitOfWork, tenant: str, person: str) -> frozenset[str]:
    posts = await uow.posts_in(Place(tenant, "direct", person))
    asked = [MessageName.unpack(p.name) for p in posts]
    found = {p.message_id for p in posts if not p.name.startswith(PASSING)}
    found |= {name.rest[0] for name in asked if name.owner == lives.WHICH and name.rest}
    for head in await uow.heads(tenant, member=person):
        if (round_ := await uow.round(head.id)) is not None:
            found |= comparing.made_of(round_, MemberId(person)).keys()
    return frozenset(found)


DUE: Mapping[str, Carry] = {CLEAR: Aside(_clear)}
