"""A form as it came in, and its fields read: numbers, a criterion, dates on which those who are needed work."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any, get_args

from coldframe.domain.criterion import KIND_BY_NAME
from coldframe.domain.names import MemberId
from coldframe.domain.round.commitment import FIRST_WEEK
from coldframe.domain.state import ComparisonKind, Criterion, Population
from coldframe.engine.core import members
from coldframe.engine.core.requests import RoundRequest
from coldframe.engine.reading import Unreadable, dates
from coldframe.engine.reading.numbers import amount, decimal, level
from coldframe.errors import ColdframeError
from coldframe.speech import answers, reading_words
from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.dates import Reading


class FieldError(ColdframeError):
    """A field that cannot be taken; the sentence says why and what the right form is."""

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(field)
        self.field = field
        self.sentence = sentence


# --- numbers ---


def whole(request: RoundRequest, field: str) -> int | None:
    text = request.text(field).strip().rstrip("%").strip()
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) <= 3):
        raise FieldError(field, reading_words.WHOLE_NUMBER)
    return int(text)


_NUMBERS = ("baseline", "target", "weekly", "planned_share", "spread", "stop_at", "harm_usual", "harm_limit")
_TEXTS = ("measure", "counted", "stop_line", "harm", "source", "population")


def read_criterion(request: RoundRequest, old: Criterion) -> Criterion:
    """The criterion's fields, as far as the form has them; an empty number stays unknown."""
    found: dict[str, Any] = {name: _number(request, name) for name in _NUMBERS if name in request.fields}
    found |= {name: request.text(name) for name in _TEXTS if name in request.fields}
    if "planned_share" in found:
        found["planned_share"] = HALF if found["planned_share"] is None else found["planned_share"]
    if "lag" in request.fields:
        found["lag"] = whole(request, "lag") or 0
    if found.get("population", "") not in get_args(Population):
        del found["population"]
    if "baseline_weeks" in request.fields:
        found["baseline_weeks"] = weeks(request)
    return replace(old, **found)


HALF = 0.5  # of the people, unless another split was planned


def _number(request: RoundRequest, field: str) -> float | None:
    text = request.text(field)
    if not text.strip():
        return None
    try:
        return amount(text) if field == "weekly" else level(text)
    except Unreadable as error:
        raise FieldError(field, str(error)) from None


def weeks(request: RoundRequest) -> tuple[tuple[float, float], ...]:
    weeks = []
    for words in request.text("baseline_weeks").splitlines():
        if not words.strip():
            continue
        first, slash, second = words.partition("/")
        try:
            pair = (amount(first), amount(second)) if slash else (decimal(first), 1.0)
        except Unreadable as error:
            raise FieldError("baseline_weeks", reading_words.one_week_a_line(str(error))) from None
        if slash and pair[0] > pair[1]:
            raise FieldError("baseline_weeks", reading_words.MORE_SUCCESSES)
        weeks.append(pair)
    return tuple(weeks)


def kind(word: str) -> ComparisonKind:
    if word not in KIND_BY_NAME:
        raise FieldError("kind", answers.A_KIND)
    return KIND_BY_NAME[word]


def between_bars(line: str) -> tuple[str, str, str]:
    """A line of three parts, “a | b | c”; empty where nothing was typed."""
    first, second, third = (*(part.strip() for part in line.split("|")), "", "")[:3]
    return first, second, third


# --- people ---


def member_named(request: RoundRequest, name: str, field: str) -> MemberId:
    """By the name or the id that was typed. Raises FieldError."""
    wanted, there = name.strip().lstrip("@").casefold(), request.round.active()
    found = [m for m in there if request.round.name_of(m).casefold() == wanted]
    found = found or [m for m in there if m.casefold() == wanted]
    if len(found) != 1:
        raise FieldError(field, answers.no_single_person(name, len(found)))
    return found[0]


# --- dates ---


async def action_day(request: RoundRequest, words: str, who: MemberId) -> Reading:
    """When a first-week action is due: on a working day of whoever does it."""
    whose = await at_work(request, who)
    if not words:
        return dates.within_first_week(request.turn.now, whose[0][1], FIRST_WEEK, whose)
    return await typed_day(request, "actions", words, whose)


async def at_work(request: RoundRequest, *people_: MemberId) -> dates.Whose:
    names = {member: request.round.name_of(member) for member in people_}
    return await members.named_calendars(request.turn.uow, request.round.tenant, names)


async def typed_day(request: RoundRequest, field: str, words: str, whose: dates.Whose) -> Reading:
    """A date in a field, read in the zone of who typed it, on a working day of those who are needed. Raises
    FieldError."""
    calendar = members.calendar_of(await request.turn.uow.member(request.round.tenant, request.by))
    return read_day(field, words, request.turn.now, calendar, whose)


def read_day(field: str, words: str, now: datetime, calendar: WorkingCalendar, whose: dates.Whose = ()) -> Reading:
    """A date in a field. Raises FieldError."""
    try:
        return dates.reading(words, now, calendar, whose)
    except dates.UnclearDate as unclear:
        raise FieldError(field, str(unclear)) from None
