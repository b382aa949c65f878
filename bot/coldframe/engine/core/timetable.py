"""The round's dates as the channel knows them: told at the start, and anew when they move by more than an hour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from coldframe.domain.commands import BOT, TellDates
from coldframe.domain.facts import DatesTold, Fact, WindowSet
from coldframe.domain.names import RUNNING, Step
from coldframe.domain.state import Round
from coldframe.engine.core import members, windows
from coldframe.message.nodes import Line, When, line
from coldframe.speech.names import message_name, title
from coldframe.speech.people import time_words
from coldframe.speech.round import cards, commitment_words
from coldframe.timing.outlook import Change, StepDates, changed_by_more_than_an_hour

if TYPE_CHECKING:
    from coldframe.engine.core.turn import Turn


async def following(turn: Turn, round_: Round, facts: Sequence[Fact]) -> TellDates | None:
    """The dates to tell after these facts: all at the start, later only when one moved by more than an hour."""
    if round_.step not in RUNNING or not any(isinstance(f, WindowSet) for f in facts):
        return None
    latest = {Step(d.name): d.latest for d in await _ahead(turn, round_)}
    if not round_.dates_told:
        return TellDates(BOT, latest)
    if not _moved(round_.dates_told, latest):
        return None
    return TellDates(BOT, {**_over(round_, turn.now), **latest})


async def _ahead(turn: Turn, round_: Round) -> tuple[StepDates, ...]:
    return windows.calendar_ahead(round_, await members.calendars(turn.uow, round_.tenant, round_.active()), turn.now)


def _over(round_: Round, now: datetime) -> dict[Step, datetime]:
    """Steps behind the round: a deadline that was not needed stands at the moment when its step ended."""
    ended = [s for s in round_.dates_told if list(Step).index(s) < list(Step).index(round_.step)]
    return {s: min(round_.dates_told[s], now) for s in ended}


def _moved(told: Mapping[Step, datetime], now: Mapping[Step, datetime]) -> tuple[Change, ...]:
    return changed_by_more_than_an_hour(_as_dates(told), _as_dates(now))


def _as_dates(latest: Mapping[Step, datetime]) -> list[StepDates]:
    """Only the closes were told, so only they are compared."""
    return [StepDates(step.value, at, at, at) for step, at in latest.items()]


async def rows(turn: Turn, round_: Round) -> tuple[tuple[str, Line], ...]:
    """The calendar's lines: every step to come, at the latest and if all are prompt."""
    words = "{latest}; if all are prompt {prompt}"
    return tuple(
        (title(Step(d.name)), line(words, latest=When(d.latest), prompt=When(d.if_prompt)))
        for d in await _ahead(turn, round_)
    )


async def told(turn: Turn, before: Round, after: Round, fact: DatesTold) -> None:
    """Told anew: the first post is brought up to date, its thread says what moved, with the calendar file again."""
    if fact.times == 1:
        return
    card = message_name(after.id, "opened")
    turn.revise(card, turn.channel(after), cards.round_opened(after, await rows(turn, after)), after.id)
    coming = {s: at for s, at in fact.dates.items() if list(Step).index(s) >= list(Step).index(after.step)}
    moved = _moved(before.dates_told, coming)
    words = time_words.dates_moved(after, [(Step(c.name), c.was.latest, c.now.latest) for c in moved])
    number = str(fact.times)
    turn.say(after, "moved", words, rest=(number,), thread_of=card)
    name = message_name(after.id, "moved", number, "calendar")
    turn.attach(name, turn.channel(after), commitment_words.calendar_of_round(after), after.id, thread_of=card)
