"""How long what people gave is kept: votes and comparisons a week after the count, a round a year after its end."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

from coldframe.domain.state import Round
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.ports.storage import Due

VOTES_KEPT = timedelta(days=7)
ROUND_KEPT = timedelta(days=365)
COUNTED = ("dots", "ballot", "comparisons")


def after_count(turn: Turn, round_: Round, ballot: str) -> None:
    """Who voted for what, or compared how, is erased a week after the count; the result stays."""
    turn.later("erase votes", round_.id, ballot, turn.now + VOTES_KEPT)


def after_end(turn: Turn, round_: Round) -> None:
    """The votes go as promised, and a year later the round itself; the register keeps its own record of trials."""
    for ballot in COUNTED:
        after_count(turn, round_, ballot)
    turn.later("retire round", round_.id, "year", turn.now + ROUND_KEPT)


async def _erase_votes(turn: Turn, due: Due) -> None:
    await turn.uow.erase_votes(due.subject, due.occurrence)


async def _retire(turn: Turn, due: Due) -> None:
    await turn.uow.delete_round(due.subject)


DUE: Mapping[str, Carry] = {"erase votes": InOneTurn(_erase_votes), "retire round": InOneTurn(_retire)}
