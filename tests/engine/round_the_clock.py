"""Hours for tests that ask what is said and not when: whatever the time, these people work."""

from __future__ import annotations

from datetime import time

from coldframe.timing.calendars import WorkingCalendar

MIDNIGHT = time(0)
ALWAYS = WorkingCalendar(days=frozenset(range(7)), hours=((MIDNIGHT, MIDNIGHT),), quiet=None)
