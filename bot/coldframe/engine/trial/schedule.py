"""Words about a trial that come due: which, to whom and when. Each is one due row; `reminding` says them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time

from coldframe.domain.names import MemberId
from coldframe.domain.trial.building import late_from
from coldframe.domain.trial.state import Trial, TrialAction, TrialStep
from coldframe.engine.core import lives, trial_turn
from coldframe.engine.core.trial_turn import later_working_day
from coldframe.engine.core.turn import Turn
from coldframe.message.packed import Occurrence
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar
from coldframe.timing.reminders import next_nudge_time
from coldframe.timing.zones import instant

WORD = "trial word"
REPEAT_AFTER = 2  # working days
MISSED_AFTER = 3  # working days after the second week without numbers


@dataclass(frozen=True, slots=True)
class Word:
    """A word to one person: its kind, the week, action or person it is about, and its number."""

    person: str
    what: str
    key: str
    number: str = "1"

    def pack(self) -> str:
        """The occurrence of its due row: `person/what/key/number`."""
        return Occurrence((self.person, self.what, self.key, self.number)).pack()

    @classmethod
    def unpack(cls, occurrence: str) -> Word:
        return cls(*Occurrence.unpack(occurrence).parts)

    def about(self) -> tuple[str, str]:
        return self.what, self.key


Moments = list[tuple[Word, datetime]]


def live_moments(trial: Trial, calendar: WorkingCalendar) -> Moments:
    """While it is being built: the question on the planned day, and one repeat."""
    expected = trial.live_expected()
    if trial.step is not TrialStep.BUILDING or expected is None:
        return []
    try:
        first = next_nudge_time(calendar, instant(expected, time(0), calendar.tz))
        again = later_working_day(calendar, first, REPEAT_AFTER)
    except NoWorkingTime:
        return []
    owner = str(trial.owner)
    return [(Word(owner, "live", lives.LIVE), first), (Word(owner, "live", lives.LIVE, "2"), again)]


def late_moment(trial: Trial, person: MemberId, calendar: WorkingCalendar) -> tuple[Word, datetime] | None:
    """When somebody hears that it is two weeks late."""
    late = late_from(trial)
    if late is None:
        return None
    try:
        at = next_nudge_time(calendar, instant(late, time(0), calendar.tz))
    except NoWorkingTime:
        return None
    return Word(person, "late", str(trial.live_agreed())), at


def week_moments(trial: Trial, calendar: WorkingCalendar) -> Moments:
    """For every week of it: the reminder when its people can be counted, one repeat, and when two weeks without numbers
    are told."""
    found: Moments = []
    if trial.starts is None:
        return found
    for week in range(1, trial.last_week() + 1):
        try:
            found += _of_week(trial, week, calendar)
        except NoWorkingTime:
            continue
    return found


def _of_week(trial: Trial, week: int, calendar: WorkingCalendar) -> Moments:
    counted, owner, key = trial.counted_from(week), str(trial.owner), str(week)
    assert counted is not None
    first = next_nudge_time(calendar, instant(counted, time(0), trial_turn.zone_by(trial, calendar)))
    found = [
        (Word(owner, "week", key), first),
        (Word(owner, "week", key, "2"), later_working_day(calendar, first, REPEAT_AFTER)),
    ]
    if week > 1:
        found.append((Word(owner, "tell", key), later_working_day(calendar, first, MISSED_AFTER)))
    return found


def action_moment(action: TrialAction, calendar: WorkingCalendar) -> tuple[Word, datetime]:
    """On the morning of its day."""
    morning = instant(calendar.local_day(action.due), time(0), calendar.tz)
    return Word(action.who, "action", action.id), next_nudge_time(calendar, morning)


def owners_moments(trial: Trial, calendar: WorkingCalendar) -> Moments:
    return live_moments(trial, calendar) + week_moments(trial, calendar)


async def moments_of(turn: Turn, trial: Trial, person: str) -> Moments:
    """All words to this person about the trial's weeks and their own first-week actions."""
    calendar = await trial_turn.calendar_of(turn, trial, MemberId(person))
    moments = owners_moments(trial, calendar) if trial.owner == person else []
    return moments + [action_moment(a, calendar) for a in trial.open_actions() if a.who == person]


async def schedule(turn: Turn, trial: Trial) -> None:
    """Sets the words to come for this owner and those who have first-week actions."""
    if trial.owner is None:
        return
    calendar = await trial_turn.calendar_of(turn, trial)
    for action in trial.open_actions():
        await schedule_action(turn, trial, action)
    for word, at in week_moments(trial, calendar):
        if at >= turn.now:
            turn.later(WORD, trial.id, word.pack(), at)
    await _schedule_build(turn, trial, calendar)


async def _schedule_build(turn: Turn, trial: Trial, calendar: WorkingCalendar) -> None:
    """A day that has come is asked about now."""
    for word, at in live_moments(trial, calendar):
        turn.later(WORD, trial.id, word.pack(), max(at, next_nudge_time(calendar, turn.now)))
    for person in await trial_turn.holders(turn, trial):
        late = late_moment(trial, person, await trial_turn.calendar_of(turn, trial, person))
        if late is not None:
            turn.later(WORD, trial.id, late[0].pack(), max(late[1], turn.now))


async def schedule_action(turn: Turn, trial: Trial, action: TrialAction) -> None:
    try:
        word, at = action_moment(action, await trial_turn.calendar_of(turn, trial, action.who))
    except NoWorkingTime:
        return
    turn.later(WORD, trial.id, word.pack(), max(at, turn.now))


def word_later(turn: Turn, trial: Trial, person: MemberId, what: str, key: str, at: datetime) -> None:
    """A word of this kind to this person at the moment, or when it may be said after it."""
    turn.later(WORD, trial.id, Word(person, what, key).pack(), at)
