"""One member's dates as a calendar to subscribe to."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from coldframe.calendar.ics import Entry, calendar_file

READ_AGAIN = timedelta(hours=1)
KEPT = timedelta(days=30)


def standing(entries: Iterable[Entry], now: datetime) -> tuple[Entry, ...]:
    """What a feed shows, in the order of the starts: of entries with one UID the one of the highest SEQUENCE, without
    what began more than 30 days ago."""
    newest: dict[str, Entry] = {}
    for entry in entries:
        known = newest.get(entry.uid)
        if entry.starts >= now - KEPT and (known is None or entry.sequence >= known.sequence):
            newest[entry.uid] = entry
    return tuple(sorted(newest.values(), key=lambda entry: (entry.starts, entry.uid)))


def member_feed(entries: Iterable[Entry], *, name: str, now: datetime) -> bytes:
    """The feed's bytes."""
    return calendar_file(standing(entries, now), name=name, now=now, refresh=READ_AGAIN)
