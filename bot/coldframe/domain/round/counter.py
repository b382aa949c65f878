"""How many are in, as it is told: the number moves in batches, so that nobody sees in it who has just answered.

In `days` it moves at quarter hours; in `live`, where all sit together, each minute or with every second person. The
last one is no exception: that all are in is told at the next quarter, and the early close falls on one as well, so that
it does not come a set while after the last answer.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import RUNNING
from coldframe.domain.round import rules
from coldframe.domain.state import Round

BATCH = {"days": timedelta(minutes=15), "live": timedelta(minutes=1)}
MIN_TOGETHER = 2
"""People after whom the number moves at once in a live round."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class TellCount(Command):
    """The moment for the next batch has come."""


class CountTold(Fact):
    came_in: int


def told_in(round_: Round) -> int:
    """How many are in, as everybody may read it. A step that an earlier release opened tells the number as it is until
    its first batch."""
    told = round_.progress.told
    return len(rules.came_in(round_)) if told is None else min(told, len(rules.expected(round_)))


def all_told(round_: Round) -> bool:
    return told_in(round_) == len(rules.expected(round_))


def is_behind(round_: Round) -> bool:
    """Whether the number has moved since it was told."""
    return round_.step in RUNNING and round_.progress.told != len(rules.came_in(round_))


def next_batch(round_: Round, after: datetime) -> datetime:
    """The first moment later than this at which the number may move."""
    batch = BATCH[round_.settings.pace]
    return _EPOCH + ((after - _EPOCH) // batch + 1) * batch


def closes_early(round_: Round, settled: datetime) -> datetime:
    """The first such moment at or after this; a live round waits for none, since all are there, nor does a step of one
    person, who answers in the open."""
    if round_.settings.pace == "live" or len(rules.expected(round_)) == 1:
        return settled
    return next_batch(round_, settled - timedelta(microseconds=1))


def tell(round_: Round, command: TellCount, now: datetime) -> Facts:
    checks.bot(command.by)
    return (CountTold(len(rules.came_in(round_))),) if is_behind(round_) else ()


def together(round_: Round) -> Facts:
    """After every command: in a live round two more are as good as a minute, and once all are in it closes anyway."""
    if round_.settings.pace != "live" or not is_behind(round_):
        return ()
    came_in = len(rules.came_in(round_))
    enough = abs(came_in - told_in(round_)) >= MIN_TOGETHER or round_.progress.settles_at is not None
    return (CountTold(came_in),) if enough else ()


def opened(round_: Round) -> Round:
    """A step begins with the number that it has then."""
    return count_told(round_, CountTold(len(rules.came_in(round_))))


def count_told(round_: Round, fact: CountTold) -> Round:
    return replace(round_, progress=replace(round_.progress, told=fact.came_in))


DECIDE: Decide = {TellCount: tell}
EVOLVE: Evolve = {CountTold: count_told}
