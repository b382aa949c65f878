"""Calendar entries as an .ics file; UIDs are stable, so that a moved date updates the entry, never doubles it.

Folding and escaping are the icalendar library's work. Every moment is written in UTC, which each reader shows in
its own time. Wall-clock times with a VTIMEZONE would follow a change of zone rules, but independent readers of
such files were seen to be an hour off: they look the zone up in a database of their own, or read its changes
otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

import icalendar

from coldframe.errors import ColdframeError
from coldframe.timing.zones import in_utc, known_zone, local

_PRODUCT = "-//coldframe//coldframe//EN"
_MAX_TITLE = 200  # characters
_MAX_DETAILS = 4000  # characters
_MAX_NAME = 80  # characters
_NO_ADDRESS = "invalid:nomail"
"""Calendars write this for somebody of whom they know a name and no address; nobody is sent mail by it."""


class BadEntry(ColdframeError, ValueError):
    """A calendar entry that cannot be written: its UID and what is wrong with it."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One date.

    `uid` stays, `sequence` grows with every change (RFC 5545, 3.8.7.4). `ends` None: a moment, or one day
    when `all_day` (whose days are those of `zone`, UTC without one; `ends` is then the first moment after
    it). `alarm_minutes` before the start. `attendees`: names of those who are expected. Raises BadEntry, UnknownZone.
    """

    uid: str
    sequence: int
    starts: datetime
    ends: datetime | None
    title: str
    details: str = ""
    zone: str | None = None
    alarm_minutes: int | None = None
    cancelled: bool = False
    all_day: bool = False
    attendees: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.uid or not self.uid.isprintable():
            raise BadEntry(f"The UID {self.uid[:60]!r} must be one line of visible characters.")
        if self.sequence < 0:
            raise BadEntry(f"{self.uid}: the sequence {self.sequence} is below 0.")
        if self.alarm_minutes is not None and self.alarm_minutes < 0:
            raise BadEntry(f"{self.uid}: an alarm of {self.alarm_minutes} minutes would come after the start.")
        starts = in_utc(self.starts, "starts")
        if self.ends is not None and in_utc(self.ends, "ends") < starts:
            raise BadEntry(f"{self.uid}: ends {self.ends.isoformat()} before it starts.")
        if self.zone is not None:
            known_zone(self.zone)


def calendar_file(entries: Iterable[Entry], *, name: str, now: datetime, refresh: timedelta | None = None) -> bytes:
    """The entries as one iCalendar object (UTF-8, CRLF, lines of at most 75 octets), in the order of their
    starts.

    METHOD is PUBLISH, or CANCEL when every entry is cancelled; none where somebody is expected. `now` becomes the
    DTSTAMP; `refresh` is how often a subscriber should read the feed again. BadEntry when two entries share a UID.
    """
    ordered = sorted(entries, key=lambda entry: (in_utc(entry.starts), entry.uid))
    if len({entry.uid for entry in ordered}) < len(ordered):
        raise BadEntry("Two entries have the same UID; the later one would replace the other.")
    calendar = icalendar.Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    # What is published may name no attendees (RFC 5546, 3.2.1), and a request would have everybody answer by mail.
    if ordered and all(entry.cancelled for entry in ordered):
        calendar.add("method", "CANCEL")
    elif not any(entry.attendees for entry in ordered):
        calendar.add("method", "PUBLISH")
    # NAME is RFC 7986; readers that came before it know the X- property.
    for field in ("name", "x-wr-calname"):
        calendar.add(field, icalendar.vText(_clean(name, _MAX_TITLE)))
    if refresh is not None:
        calendar.add("refresh-interval", refresh, parameters={"VALUE": "DURATION"})
    for entry in ordered:
        calendar.add_component(_event(entry, in_utc(now, "now")))
    return bytes(calendar.to_ical())


def _event(entry: Entry, now: datetime) -> icalendar.Event:
    event = icalendar.Event()
    event.add("uid", entry.uid)
    event.add("dtstamp", now.replace(microsecond=0))
    event.add("last-modified", now.replace(microsecond=0))
    event.add("sequence", entry.sequence)
    event.add("summary", _clean(entry.title, _MAX_TITLE))
    if entry.details:
        event.add("description", _clean(entry.details, _MAX_DETAILS))
    first, last = _days(entry) if entry.all_day else _moments(entry)
    event.add("dtstart", first)
    if last is not None:
        event.add("dtend", last)
    for name in entry.attendees:
        event.add("attendee", _NO_ADDRESS, parameters={"CN": _clean(name, _MAX_NAME), "ROLE": "REQ-PARTICIPANT"})
    # A deadline or a whole day does not make its reader busy.
    event.add("transp", "TRANSPARENT" if entry.all_day or entry.ends is None else "OPAQUE")
    event.add("status", "CANCELLED" if entry.cancelled else "CONFIRMED")
    if entry.alarm_minutes is not None and not entry.cancelled:
        event.add_component(_alarm(entry, entry.alarm_minutes))
    return event


def _moments(entry: Entry) -> tuple[datetime, datetime | None]:
    starts = in_utc(entry.starts).replace(microsecond=0)
    return starts, in_utc(entry.ends).replace(microsecond=0) if entry.ends else None


def _days(entry: Entry) -> tuple[date, date]:
    zone = known_zone(entry.zone or "UTC")
    first = local(entry.starts, zone).date()
    if entry.ends is None:
        return first, first + timedelta(days=1)
    ends = local(entry.ends, zone)
    # DTEND is the first day after (3.6.1); a moment within a day means that this day belongs to it.
    after = ends.date() + timedelta(days=ends.time() > time(0))
    return first, max(after, first + timedelta(days=1))


def _alarm(entry: Entry, minutes: int) -> icalendar.Alarm:
    alarm = icalendar.Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", _clean(entry.title, _MAX_TITLE))
    alarm.add("trigger", -timedelta(minutes=minutes))
    return alarm


def _clean(text: str, longest: int) -> str:
    """Text without control characters (3.3.11 forbids them) and lone surrogates, every line break a
    newline."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").encode("utf-8", "replace").decode("utf-8")
    kept = "".join(sign for sign in lines if sign in "\n\t" or not (sign < " " or "\x7f" <= sign <= "\x9f"))
    return kept if len(kept) <= longest else kept[: longest - 1] + "…"
