"""A form as it came in, and its fields read: numbers, a criterion, dates on which those who are needed work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from coldframe.domain.names import MemberId, Role
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.commitment import FIRST_WEEK
from coldframe.domain.state import Criterion, Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.engine.reading import dates
from coldframe.engine.reading.note_lines import percentage_or_number
from coldframe.ports.chat import Inbound
from coldframe.timing.dates import Reading


class FieldError(Exception):
    """A field that cannot be taken; the sentence says why and what the right form is."""

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(field)
        self.field = field
        self.sentence = sentence


@dataclass(frozen=True, slots=True)
class Sheet:
    """A form as it came in: who, which round, the rest of the value, the fields."""

    turn: Turn
    event: Inbound
    by: MemberId
    round: Round
    parts: tuple[str, ...]
    fields: Mapping[str, str]

    def text(self, name: str) -> str:
        return self.fields.get(name, "")

    def part(self, index: int) -> str:
        if index >= len(self.parts):
            raise Refused(Because.UNKNOWN_ITEM)
        return self.parts[index]


# --- numbers ---


def whole(sheet: Sheet, field: str) -> int | None:
    text = sheet.text(field).strip().rstrip("%").strip()
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) <= 3):
        raise FieldError(field, "Write a whole number, such as 40.")
    return int(text)


def read_criterion(sheet: Sheet, old: Criterion) -> Criterion:
    """The criterion's fields; an empty number stays unknown."""
    numbers = {name: _number(sheet, name) for name in ("baseline", "target", "weekly")}
    baseline, target = numbers["baseline"], numbers["target"]
    upwards = True if baseline is None or target is None else target >= baseline
    return replace(
        old,
        measure=sheet.text("measure"),
        baseline=baseline,
        target=target,
        weekly=numbers["weekly"],
        upwards=upwards,
        counted=sheet.text("counted"),
        stop_line=sheet.text("stop_line"),
        harm=sheet.text("harm"),
    )


def _number(sheet: Sheet, field: str) -> float | None:
    text = sheet.text(field)
    if not text.strip():
        return None
    try:
        return percentage_or_number(text)
    except ValueError as error:
        raise FieldError(field, f"{error}.") from None


def weeks(sheet: Sheet) -> tuple[tuple[float, float], ...]:
    weeks = []
    for words in sheet.text("baseline_weeks").splitlines():
        if not words.strip():
            continue
        first, slash, second = words.partition("/")
        try:
            pair = (percentage_or_number(first), percentage_or_number(second) if slash else 1.0)
        except ValueError as error:
            raise FieldError("baseline_weeks", f"{error}; one week a line, like 48/1200.") from None
        if slash and pair[0] > pair[1]:
            raise FieldError("baseline_weeks", "There are more successes than people in a week.")
        weeks.append(pair)
    return tuple(weeks)


# --- dates ---


async def action_day(sheet: Sheet, words: str, who: MemberId) -> Reading:
    """When a first-week action is due: on a working day of whoever does it."""
    whose = await at_work(sheet, who)
    if not words:
        return dates.within_first_week(sheet.turn.now, whose[0][1], FIRST_WEEK, whose)
    return await typed_day(sheet, "actions", words, whose)


async def at_work(sheet: Sheet, *people_: MemberId) -> dates.Whose:
    names = {member: sheet.round.name_of(member) for member in people_}
    return await members.named_calendars(sheet.turn.uow, sheet.round.tenant, names)


async def typed_day(sheet: Sheet, field: str, words: str, whose: dates.Whose) -> Reading:
    """A date in a field, read in the zone of who typed it, on a working day of those who are needed. Raises
    FieldError."""
    calendar = members.calendar_of(await sheet.turn.uow.member(sheet.round.tenant, sheet.by))
    try:
        return dates.reading(words, sheet.turn.now, calendar, whose)
    except dates.UnclearDate as unclear:
        raise FieldError(field, str(unclear)) from None


async def review_day(sheet: Sheet, field: str, owner: MemberId) -> Reading:
    """A review falls on a working day of the owner and of the decision-maker."""
    whose = await at_work(sheet, owner, sheet.round.roles.acting(Role.DECISION_MAKER))
    return await typed_day(sheet, field, sheet.text(field), whose)
