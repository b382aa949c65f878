"""The number of those who are in moves in batches: a due row moves it on every surface, at a quarter hour of somebody's
working time, so that no card changes at the act of one person, nor at night."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from coldframe.domain.commands import BOT
from coldframe.domain.round import counter, rules
from coldframe.domain.round.counter import TellCount
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.ports.storage import Due
from coldframe.timing.windows import closing_moment

COUNT = "count"


def follow(turn: Turn, before: Round, after: Round) -> None:
    """Sets the row of the next batch, unless it waits already."""
    if after.paused is None and counter.is_behind(after) and not _row_waits(before, after):
        turn.later(COUNT, after.id, after.step.value, counter.next_batch(after, turn.now))


def _row_waits(before: Round, after: Round) -> bool:
    """A step that an earlier release opened has none until the number moves."""
    if before.step is not after.step or before.paused is not None:
        return False
    if before.progress.told is None:
        return len(rules.came_in(before)) == len(rules.came_in(after))
    return counter.is_behind(before)


async def _tell(turn: Turn, due: Due) -> None:
    round_ = await turn.round(due.subject)
    if round_.step.value != due.occurrence or round_.paused is not None:
        return
    at = await _somebody_works(turn, round_)
    if at > turn.now:
        turn.later(COUNT, round_.id, due.occurrence, at)
    else:
        await turn.act(round_, TellCount(BOT))


async def _somebody_works(turn: Turn, round_: Round) -> datetime:
    """From when on somebody reads it."""
    if round_.settings.pace == "live":
        return turn.now
    return closing_moment(await members.expected_calendars(turn.uow, round_), turn.now)


DUE: Mapping[str, Carry] = {COUNT: InOneTurn(_tell)}
