"""People's own pages that are open: who opened theirs lately sees it anew when something of theirs has changed.

What somebody does themselves on their page shows there at once; what others do comes a moment later, several together.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from datetime import timedelta

from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.message.packed import Occurrence
from coldframe.ports.storage import Due

OPEN, AGAIN = "home open", "home"
STAYS = timedelta(hours=8)
"""So long a page counts as looked at; whoever opens it later gets it as it is then."""
A_MOMENT = timedelta(seconds=2)


def opened(turn: Turn, tenant: str, person: str) -> None:
    turn.later(OPEN, Occurrence((tenant, person)).pack(), "", turn.now + STAYS)


async def closed(turn: Turn, tenant: str, person: str) -> None:
    """Nobody is left to look at it."""
    for kind in (OPEN, AGAIN):
        await turn.drop_due(Occurrence((tenant, person)).pack(), kind=kind)


async def follow(turn: Turn, tenant: str, people: Container[str]) -> None:
    """Something has changed that these people may see on their page."""
    for due in await turn.uow.dues(OPEN):
        of, person = Occurrence.unpack(due.subject).parts
        if of == tenant and person in people:
            turn.later(AGAIN, due.subject, "", turn.now + A_MOMENT)


async def _no_more(turn: Turn, due: Due) -> None:
    """It is not looked at any longer."""


DUE: Mapping[str, Carry] = {OPEN: InOneTurn(_no_more)}
