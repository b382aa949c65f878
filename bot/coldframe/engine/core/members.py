"""Members as the engine needs them: who they are, when they work, whether they may be reminded."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, datetime, time
from typing import Any

from pydantic import TypeAdapter

from coldframe.domain.names import MemberId
from coldframe.domain.round import rules
from coldframe.domain.state import Round
from coldframe.errors import ColdframeError
from coldframe.ports.chat import Person, Place
from coldframe.ports.storage import Member, UnitOfWork
from coldframe.speech import reading_words
from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.zones import ZoneChoice, zone_from_platform

_CALENDAR: TypeAdapter[WorkingCalendar] = TypeAdapter(WorkingCalendar)
DAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


class UnreadableHours(ColdframeError, ValueError):
    """A working time that cannot be read; the message names the field and the right form."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


def calendar_of(member: Member | None) -> WorkingCalendar:
    """The member's working time; the default week in their own zone until they have said otherwise."""
    if member is None:
        return WorkingCalendar()
    if member.calendar is None:
        return WorkingCalendar(zone=zone_from_platform(member.zone).zone.key)
    return _CALENDAR.validate_python(member.calendar)


async def named_calendars(
    uow: UnitOfWork, tenant: str, names: Mapping[MemberId, str]
) -> list[tuple[str, WorkingCalendar]]:
    """Calendars of these people, by name."""
    return [(name, calendar_of(await uow.member(tenant, person))) for person, name in names.items()]


def doubted_zone(member: Member) -> ZoneChoice | None:
    """The reported zone that cannot be used, of somebody who has not said theirs; None when all is well."""
    choice = zone_from_platform(member.zone)
    return None if member.zone_confirmed or choice.doubted is None else choice


def with_calendar(member: Member, calendar: WorkingCalendar, *, confirmed: bool = True) -> Member:
    kept: Mapping[str, Any] = _CALENDAR.dump_python(calendar, mode="json")
    return replace(member, calendar=kept, zone=calendar.zone, zone_confirmed=confirmed)


async def calendars(uow: UnitOfWork, tenant: str, people: Iterable[MemberId]) -> dict[str, WorkingCalendar]:
    """Calendars of these people by id."""
    asked = list(people)
    records = await uow.members(tenant, asked)
    return {person: calendar_of(records.get(person)) for person in asked}


async def upsert_member(uow: UnitOfWork, tenant: str, person: Person) -> Member:
    """The member's record, made or brought up to date from what the platform says."""
    found = await uow.member(tenant, person.id)
    if found is None:
        member = Member(tenant, person.id, person.name, person.zone)
        await uow.save_member(member)
        return member
    changed = replace(found, name=person.name)
    if not found.zone_confirmed:
        changed = _in_reported_zone(changed, person.zone or found.zone)
    if changed != found:
        await uow.save_member(changed)
    return changed


async def were_seen(uow: UnitOfWork, place: Place, there: Iterable[Person]) -> None:
    """These are in the channel, and nobody else."""
    team = await uow.team(place.tenant, place.id)
    present = frozenset(uow.mark(place.tenant, person.id) for person in there)
    if present != team.present:
        await uow.save_team(replace(team, present=present))


async def came_or_went(uow: UnitOfWork, place: Place, person: str, *, came: bool) -> None:
    """Of a channel of which nobody knows yet who is there, one does not say all."""
    team = await uow.team(place.tenant, place.id)
    mark = frozenset({uow.mark(place.tenant, person)})
    if team.present:
        await uow.save_team(replace(team, present=team.present | mark if came else team.present - mark))


def _in_reported_zone(member: Member, zone: str | None) -> Member:
    """Somebody who never said when they work is taken to work where the platform sees them."""
    moved = replace(member, zone=zone)
    if member.calendar is None:
        return moved
    calendar = replace(calendar_of(member), zone=zone_from_platform(zone).zone.key)
    return replace(with_calendar(moved, calendar, confirmed=False), zone=zone)


def hours_words(calendar: WorkingCalendar) -> str:
    """`Mon to Fri, 9 to 17, Berlin`, to be read; the forms have it as it is typed."""
    place = calendar.zone.rpartition("/")[2].replace("_", " ")
    spans = " and ".join(f"{_hour(a)} to {_hour(b, ends=True)}" for a, b in calendar.hours)
    return f"{days_words(calendar).replace('-', ' to ')}, {spans}, {place}"


def _hour(at: time, *, ends: bool = False) -> str:
    if ends and at == time(0):
        return "24"
    return f"{at.hour}:{at:%M}" if at.minute else str(at.hour)


def days_words(calendar: WorkingCalendar) -> str:
    """`Mon-Fri`, `Sun-Thu`, or a list where the days do not follow each other."""
    days = calendar.days
    firsts = [day for day in sorted(days) if (day - 1) % 7 not in days]
    if len(firsts) == 1 and len(days) > 2:
        return f"{DAY_NAMES[firsts[0]]}-{DAY_NAMES[(firsts[0] + len(days) - 1) % 7]}"
    return "Mon-Sun" if not firsts else ", ".join(DAY_NAMES[day] for day in sorted(days))


def spans_words(calendar: WorkingCalendar) -> str:
    return ", ".join(f"{a:%H:%M}-{'24:00' if b == time(0) else f'{b:%H:%M}'}" for a, b in calendar.hours)


def quiet_words(calendar: WorkingCalendar) -> str:
    return f"{calendar.quiet[0]:%H:%M}-{calendar.quiet[1]:%H:%M}" if calendar.quiet is not None else ""


def read_hours(zone: str, days: str, hours: str, country: str, quiet: str = "") -> WorkingCalendar:
    """What somebody typed about their working time. Raises UnreadableHours or timing's own errors (ValueError)."""
    code, _, subdivision = country.strip().upper().partition("-")
    return WorkingCalendar(
        zone=zone.strip(),
        days=read_days(days),
        hours=tuple(_span(s) for s in re.split(r"[,;]", hours) if s.strip()),
        country=code or None,
        subdivision=subdivision or None,
        quiet=_span(quiet, "quiet") if quiet.strip() else None,
    )


def read_days(words: str) -> frozenset[int]:
    """`Mon-Fri`, `Sun-Thu`, `Mon, Tue, Thu`."""
    days: set[int] = set()
    for part in re.split(r"[,;]|\band\b", words):
        ends = [_day(w) for w in re.split(r"\s*(?:-|–|\bto\b)\s*", part.strip()) if w]
        if len(ends) == 2:
            days.update((ends[0] + k) % 7 for k in range((ends[1] - ends[0]) % 7 + 1))
        else:
            days.update(ends)
    return frozenset(days)


def _day(word: str) -> int:
    for number, name in enumerate(DAY_NAMES):
        if len(word) >= 3 and word.lower().startswith(name.lower()):
            return number
    raise UnreadableHours("days", reading_words.no_weekday(word))


def _span(words: str, field: str = "hours") -> tuple[time, time]:
    ends = re.split(r"\s*(?:-|–|\bto\b)\s*", words.strip())
    if len(ends) != 2:
        raise UnreadableHours(field, reading_words.no_span(words.strip()))
    return _wall(ends[0], field), _wall(ends[1], field)


def _wall(word: str, field: str) -> time:
    found = re.fullmatch(r"([0-9]{1,2})(?::([0-9]{2}))?", word)
    hour, minute = (int(found[1]), int(found[2] or 0)) if found else (99, 0)
    if hour == 24 and minute == 0:
        return time(0)
    if hour > 23 or minute > 59:
        raise UnreadableHours(field, reading_words.no_time_of_day(word))
    return time(hour, minute)


def with_away(calendar: WorkingCalendar, first: date, last: date) -> WorkingCalendar:
    return replace(calendar, away=(*calendar.away, (first, last)))


async def expected_calendars(uow: UnitOfWork, round_: Round) -> dict[str, WorkingCalendar]:
    """Calendars of those whose answer the current step waits for; at least the facilitator's."""
    people = rules.expected(round_) or (round_.roles.facilitator,)
    return await calendars(uow, round_.tenant, people)


def is_reminded(member: Member | None, now: datetime) -> bool:
    """Whether this person may be reminded at all just now."""
    if member is None or member.muted:
        return member is None
    return member.away_until is None or member.away_until <= now
