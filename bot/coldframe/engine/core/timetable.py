"""The round's dates as the channel knows them: told at the start, and anew when they move by more than an hour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from coldframe.domain.commands import BOT
from coldframe.domain.facts import Fact
from coldframe.domain.names import RUNNING, Step
from coldframe.domain.round.correcting import LengthsSet
from coldframe.domain.round.moves import TellDates, WindowSet
from coldframe.domain.state import Round
from coldframe.engine.core import members, windows
from coldframe.message.nodes import Line
from coldframe.ports.storage import UnitOfWork
from coldframe.speech.names import title
from coldframe.speech.people import time_words
from coldframe.timing.outlook import Change, StepDates, changed_by_more_than_an_hour

WORTH_A_POST = timedelta(days=1)


async def following(uow: UnitOfWork, now: datetime, round_: Round, facts: Sequence[Fact]) -> TellDates | None:
    """The dates to tell after these facts: all at the start, later only when one moved by more than an hour."""
    if round_.step not in RUNNING or not any(isinstance(f, WindowSet | LengthsSet) for f in facts):
        return None
    latest = {Step(d.name): d.latest for d in await _ahead(uow, now, round_)}
    if not round_.dates_told:
        return TellDates(BOT, latest)
    if not moved(round_.dates_told, latest):
        return None
    return TellDates(BOT, {**_over(round_, now), **latest})


async def _ahead(uow: UnitOfWork, now: datetime, round_: Round) -> tuple[StepDates, ...]:
    return windows.calendar_ahead(round_, await members.calendars(uow, round_.tenant, round_.active()), now)


def _over(round_: Round, now: datetime) -> dict[Step, datetime]:
    """Steps behind the round: a deadline that was not needed stands at the moment when its step ended."""
    ended = [s for s in round_.dates_told if list(Step).index(s) < list(Step).index(round_.step)]
    return {s: min(round_.dates_told[s], now) for s in ended}


def moved(told: Mapping[Step, datetime], now: Mapping[Step, datetime]) -> tuple[Change, ...]:
    return changed_by_more_than_an_hour(_as_dates(told), _as_dates(now))


def binding_moved(before: Round, after: Round) -> bool:
    """Whether the close of the step that runs, by which everybody has to act, moved by a day or more since it was told.
    The closes of those behind it bind nobody yet: they move with every step."""
    step = after.step
    if step is not before.step or step not in before.dates_told or step not in after.dates_told:
        return False
    return abs(after.dates_told[step] - before.dates_told[step]) >= WORTH_A_POST


def _as_dates(latest: Mapping[Step, datetime]) -> list[StepDates]:
    """Only the closes were told, so only they are compared."""
    return [StepDates(step.value, at, at, at) for step, at in latest.items()]


async def rows(uow: UnitOfWork, now: datetime, round_: Round) -> tuple[tuple[str, Line], ...]:
    """The calendar's lines: every step to come, at the latest and if all are prompt."""
    return tuple(
        (title(Step(d.name)), time_words.latest_and_prompt(d.latest, d.if_prompt, now))
        for d in await _ahead(uow, now, round_)
    )
