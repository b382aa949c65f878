"""Print how long windows, calendars of a round and calendar files take.

Run from the repository: python -m tests.bench.timing

Forty members in eleven zones, with public holidays of three countries. "Days seen" reckons with days that the cache
holds, as in a running bot; "new days" with an empty cache of days; "all cold" reads the holiday lists, too. The
floor is what any reckoning needs: two conversions between zones for each member.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from coldframe.calendar.ics import Entry, calendar_file
from coldframe.timing import calendars, holiday_lists
from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.dates import read_date
from coldframe.timing.outlook import StepPlan, outlook
from coldframe.timing.reminders import reminder_times
from coldframe.timing.windows import days_window
from coldframe.timing.zones import pin_zone_data
from tests import figures
from tests.timing.drawn import ZONES

OPENS = datetime(2026, 12, 22, 14, tzinfo=UTC)
PLACES = (("GB", "ENG"), ("US", "NY"), ("DE", "BY"))


def main() -> None:
    """Print medians, in milliseconds, each beside its bar where there is one."""
    print(f"zone data {pin_zone_data()}")
    team = {f"member {number:2}": _member(number) for number in range(40)}
    floor = milliseconds(lambda: [OPENS.astimezone(each.tz).astimezone(UTC) for each in team.values()])
    holiday_lists.holidays_in.cache_clear()
    _show("window, 40 members, all cold", milliseconds(lambda: days_window(team, OPENS, 8, private=True), 1))
    _show("window, 40 members, new days", milliseconds(lambda: _on_new_days(team)), "bar 5")
    seen = milliseconds(lambda: days_window(team, OPENS, 8, private=True))
    _show("window, 40 members, days seen", seen, "bar 5")
    figures.note("a step's window over 40 people's hours", seen, "ms", floor, "80 conversions of zones", 5)
    _show("floor: 80 conversions", floor)
    steps = [StepPlan(str(number), 8, private=number % 2 == 0) for number in range(10)]
    _show("calendar of ten steps, 40 members", milliseconds(lambda: outlook(steps, team, OPENS)))
    one, window = team["member  0"], days_window(team, OPENS, 8, private=True)
    due = dict(window.personal)["member  0"]
    _show("reminders of one member", milliseconds(lambda: reminder_times(one, OPENS, due, window.due, OPENS)))
    _show("one date as written", milliseconds(lambda: read_date("next Tuesday 10:00", OPENS, one)))
    entries = [Entry(str(n), 0, OPENS + timedelta(days=n), None, "Step", "What is asked.") for n in range(12)]
    _show("calendar file of 12 entries", milliseconds(lambda: calendar_file(entries, name="Round", now=OPENS)))


def _member(number: int) -> WorkingCalendar:
    country, part = PLACES[number % len(PLACES)]
    return WorkingCalendar(zone=ZONES[number % len(ZONES)], country=country, subdivision=part)


def _on_new_days(team: dict[str, WorkingCalendar]) -> None:
    calendars._spans.cache_clear()
    days_window(team, OPENS, 8, private=True)


def milliseconds(work: Callable[[], object], times: int = 21) -> float:
    """The median of several runs."""
    spent = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        spent.append(time.perf_counter() - begin)
    return statistics.median(spent) * 1000


def _show(what: str, spent: float, bar: str = "") -> None:
    print(f"{what:36} {spent:8.3f} ms {bar and f'({bar})'}".rstrip())


if __name__ == "__main__":
    main()
