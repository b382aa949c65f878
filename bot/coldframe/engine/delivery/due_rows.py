"""Due rows: what each kind does when its moment has come. Reading the platform and heavy numbers come first, outside
any transaction; then one transaction decides and writes."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.refusals import Refused
from coldframe.engine.core.turn import Carry, Kit, Overtaken
from coldframe.errors import ColdframeError
from coldframe.ports.storage import Due


class OfANewerRelease(ColdframeError):
    """What is due is of a kind that this release does not know; a replica of the newer one carries it out."""


async def carry_out(table: Mapping[str, Carry], kit: Kit, due: Due) -> bool:
    """Does what is due. A refusal means that the round moved on meanwhile: the row is done. False when somebody else
    does it."""
    if due.kind not in table:
        raise OfANewerRelease
    kit.ids.occasion(f"due/{due.kind}/{due.subject}/{due.occurrence}/{due.at.isoformat()}")
    try:
        await table[due.kind](kit, due)
    except Refused:
        async with kit.store.begin() as uow:
            await uow.drop_due(due.subject, kind=due.kind, occurrence=due.occurrence)
            await uow.count("due rows overtaken")
    except Overtaken:
        return False
    return True
