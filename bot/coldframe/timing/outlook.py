"""The round's calendar up front: when each step opens and closes, at the latest and if all are prompt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.windows import days_window, live_window
from coldframe.timing.zones import in_utc

WORTH_TELLING = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class StepPlan:
    """A step to come: `hours` for each of `who` (all members when empty), of which `prompt` is the share
    that prompt people need; `live` counts the hours on the wall clock."""

    name: str
    hours: float
    who: tuple[str, ...] = ()
    private: bool = False
    prompt: float = 0.5
    live: bool = False

    def __post_init__(self) -> None:
        if not 0 < self.prompt <= 1:
            raise ValueError(f"Step {self.name}: the prompt share {self.prompt} must be above 0 and at most 1.")


@dataclass(frozen=True, slots=True)
class StepDates:
    """`opens` and `latest` if every step takes its full window; `if_prompt`: the close when all are prompt
    throughout."""

    name: str
    opens: datetime
    latest: datetime
    if_prompt: datetime


@dataclass(frozen=True, slots=True)
class Change:
    """A step whose dates moved: as told before and as they are now."""

    name: str
    was: StepDates
    now: StepDates


def outlook(
    steps: Sequence[StepPlan], calendars: Mapping[str, WorkingCalendar], start: datetime
) -> tuple[StepDates, ...]:
    """Dates of all steps, one after the other from `start`. KeyError for somebody without a calendar."""
    opens = prompt = in_utc(start, "start")
    dates = []
    for step in steps:
        latest = _close(step, calendars, opens, step.hours, private=step.private)
        # A step ends early once everybody is done, so the shortest private window does not hold it open.
        prompt = min(_close(step, calendars, prompt, step.hours * step.prompt, private=False), latest)
        dates.append(StepDates(step.name, opens, latest, prompt))
        opens = latest
    return tuple(dates)


def _close(
    step: StepPlan, calendars: Mapping[str, WorkingCalendar], opens: datetime, hours: float, *, private: bool
) -> datetime:
    expected = {name: calendars[name] for name in step.who} if step.who else calendars
    if step.live:
        return live_window(expected, opens, hours * 60).due
    return days_window(expected, opens, hours, private=private).due


def changed_by_more_than_an_hour(old: Sequence[StepDates], new: Sequence[StepDates]) -> tuple[Change, ...]:
    """The steps in both calendars whose opening or latest close moved by more than an hour, in the new
    order."""
    before = {dates.name: dates for dates in old}
    return tuple(
        Change(dates.name, before[dates.name], dates)
        for dates in new
        if dates.name in before and _moved(before[dates.name], dates)
    )


def _moved(was: StepDates, now: StepDates) -> bool:
    return max(abs(now.opens - was.opens), abs(now.latest - was.latest)) > WORTH_TELLING
