"""Private words about trials: to the one person who can act, in their own working hours, at most two a day over
everything, bundled. What cannot be said now moves to the next moment when it may."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from datetime import date, datetime, time, timedelta

from coldframe.domain.names import MemberId
from coldframe.domain.trial.state import UNDER_WAY, Trial, TrialAction, TrialStep
from coldframe.engine.core import members, trial_turn
from coldframe.engine.core.trial_turn import later_working_day
from coldframe.engine.core.turn import Turn
from coldframe.message.nodes import Message
from coldframe.ports.chat import Place
from coldframe.ports.storage import Due
from coldframe.speech.trial import owner_words, review_words, trial_words
from coldframe.speech.trial.owner_words import Open
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar
from coldframe.timing.reminders import BUNDLE_WITHIN, next_nudge_time, within_daily_limit
from coldframe.timing.zones import instant

WORD = "trial word"
REPEAT_AFTER = 2  # working days
MISSED_AFTER = 3  # working days after the second week without numbers
APART = timedelta(minutes=30)
LOOK_BACK = timedelta(days=2)
_TRIES = 40


def moment_for(
    calendar: WorkingCalendar, sent: Sequence[datetime], now: datetime, away_until: datetime | None = None
) -> datetime | None:
    """When a private word may go out: now, the first later moment, or never.

    In own working hours, outside quiet hours, on no day off, not while away, and not a third time on a local day.
    """
    at = max(now, away_until) if away_until is not None else now
    try:
        for _ in range(_TRIES):
            at = next_nudge_time(calendar, at)
            if within_daily_limit(sent, at, calendar):
                return at
            at = instant(calendar.local_day(at) + timedelta(days=1), time(0), calendar.tz)
    except NoWorkingTime:
        pass
    return None


async def when(turn: Turn, tenant: str, person: str) -> datetime | None:
    """The moment for a word to this person; None for somebody who is muted or never there."""
    record = await turn.uow.member(tenant, person)
    if record is not None and record.muted:
        return None
    sent = await turn.uow.nudges_since(tenant, person, turn.now - LOOK_BACK)
    return moment_for(members.calendar_of(record), sent, turn.now, record.away_until if record else None)


# --- what becomes due -----------------------------------------------------------------------------------------------


def week_moments(trial: Trial, calendar: WorkingCalendar) -> list[tuple[str, datetime]]:
    """For every planned week: the nudge when it is over, one repeat, and when two weeks without numbers are told."""
    found: list[tuple[str, datetime]] = []
    for week in range(1, trial.planned + 1):
        over = trial.week_over(week)
        assert over is not None
        try:
            first = next_nudge_time(calendar, instant(over, time(0), calendar.tz))
            found.append((f"{trial.owner}/week/{week}/1", first))
            found.append((f"{trial.owner}/week/{week}/2", later_working_day(calendar, first, REPEAT_AFTER)))
            if week > 1:
                found.append((f"{trial.owner}/tell/{week}/1", later_working_day(calendar, first, MISSED_AFTER)))
        except NoWorkingTime:
            continue
    return found


def action_moment(action: TrialAction, calendar: WorkingCalendar) -> tuple[str, datetime]:
    """On the morning of its day."""
    morning = instant(calendar.local_day(action.due), time(0), calendar.tz)
    return f"{action.who}/action/{action.id}/1", next_nudge_time(calendar, morning)


async def schedule(turn: Turn, trial: Trial) -> None:
    """Sets the words to come for this owner and those who have first-week actions."""
    if trial.owner is None:
        return
    moments = week_moments(trial, await trial_turn.calendar_of(turn, trial))
    for action in trial.open_actions():
        await schedule_action(turn, trial, action)
    for occurrence, at in moments:
        if at >= turn.now:
            turn.later(WORD, trial.id, occurrence, at)


async def schedule_action(turn: Turn, trial: Trial, action: TrialAction) -> None:
    try:
        occurrence, at = action_moment(action, await trial_turn.calendar_of(turn, trial, action.who))
    except NoWorkingTime:
        return
    turn.later(WORD, trial.id, occurrence, max(at, turn.now))


def word_later(turn: Turn, trial: Trial, person: MemberId, what: str, key: str, at: datetime) -> None:
    """A word of this kind to this person at the moment, or when it may be said after it."""
    turn.later(WORD, trial.id, f"{person}/{what}/{key}/1", at)


# --- saying it ------------------------------------------------------------------------------------------------------


async def carry_out(turn: Turn, due: Due) -> None:
    """A word's moment has come: say it if it is still needed and may be said now; else move or drop it."""
    person, what, key, _ = due.occurrence.rsplit("/", 3)
    trial = await turn.uow.trial(due.subject)
    if trial is None or not await _needed(turn, trial, MemberId(person), what, key):
        await turn.uow.count("reminders dropped")
        return
    if what == "tell":
        _tell_of_missed_weeks(turn, trial, int(key))
        return
    at = await when(turn, trial.tenant, person)
    if at is None:
        await turn.uow.count("reminders dropped")
    elif at > turn.now:
        turn.later(WORD, due.subject, due.occurrence, at)
    elif what in ("week", "action"):
        await _nudge(turn, trial.tenant, person)
    else:
        await _word(turn, trial, MemberId(person), what, key)


async def _needed(turn: Turn, trial: Trial, person: MemberId, what: str, key: str) -> bool:
    if trial.step is TrialStep.PROPOSED:
        return what == "unanswered" and trial.asked == key
    if trial.step not in UNDER_WAY:
        return False
    match what:
        case "week":
            return trial.owner == person and int(key) in trial.unlogged(await trial_turn.today(turn, trial))
        case "tell" | "missed":
            missing = trial.unlogged(await trial_turn.today(turn, trial))
            return int(key) in missing and int(key) - 1 in missing
        case "action":
            return any(a.id == key and a.who == person for a in trial.open_actions())
        case "unowned":
            return trial.owner is None
        case "unanswered":
            return trial.asked == key
        case "brief":
            return trial.step is TrialStep.RUNNING and trial.owner == person
        case "close":
            return trial.step is TrialStep.IN_REVIEW
        case _:
            return False


def _tell_of_missed_weeks(turn: Turn, trial: Trial, week: int) -> None:
    """The owner is left in peace; the deputy and the facilitator hear of it, each when they may be spoken to."""
    for person in {trial.facilitator, trial.deputy} - {None, trial.owner}:
        assert person is not None
        word_later(turn, trial, person, "missed", str(week), turn.now)


async def _nudge(turn: Turn, tenant: str, person: str) -> None:
    sent = await turn.uow.nudges_since(tenant, person, turn.now - APART)
    if sent:  # the message of a moment ago held everything that is open
        await turn.uow.count("reminders dropped")
        return
    await send_bundle(turn, tenant, person)


async def send_bundle(turn: Turn, tenant: str, person: str, *, for_a_round: bool = False) -> None:
    """One message with everything that this person can do now, in rounds and in trials.

    For a round's reminder, of the trials only what has fallen due since the last private word, or will soon: whoever
    was told of a week twice is left in peace about it.
    """
    from coldframe.engine.reminding import reminders  # late: reminders send this bundle too

    rounds = await reminders.owed_in_rounds(turn, tenant, MemberId(person))
    open_ = await open_items(turn, tenant, person)
    if for_a_round:
        sent = await turn.uow.nudges_since(tenant, person, turn.now - LOOK_BACK)
        open_ = [one for one in open_ if await _falls_due(turn, one, person, max(sent, default=turn.now - LOOK_BACK))]
    if not rounds and not open_:
        return
    message = owner_words.bundle(rounds, open_)
    trials = {one.trial.id: one.trial for one in open_}
    if len(trials) == 1:
        trial_turn.tell(turn, next(iter(trials.values())), person, "nudge", message)
    else:
        turn.answer(tenant, person, message)
    await turn.uow.note_nudge(tenant, person, turn.now)
    await _drop_what_was_said(turn, open_, person)


async def _falls_due(turn: Turn, one: Open, person: str, since: datetime) -> bool:
    """Whether a word about this open thing fell due since then, or will fall due soon."""
    moments = await _moments_of(turn, one.trial, person)
    about = f"/{one.what}/{one.key}/"
    return any(since < at <= turn.now + BUNDLE_WITHIN for occurrence, at in moments if about in occurrence)


async def _moments_of(turn: Turn, trial: Trial, person: str) -> list[tuple[str, datetime]]:
    """All words to this person about the trial's weeks and their own first-week actions."""
    calendar = await trial_turn.calendar_of(turn, trial, MemberId(person))
    moments = week_moments(trial, calendar) if trial.owner == person else []
    return moments + [action_moment(a, calendar) for a in trial.open_actions() if a.who == person]


async def _drop_what_was_said(turn: Turn, said: Sequence[Open], person: str) -> None:
    """Nudges about the same things that would come now or soon are in the bundle; missed ones become this one."""
    for trial in {one.trial.id: one.trial for one in said}.values():
        about = {f"/{one.what}/{one.key}/" for one in said if one.trial.id == trial.id}
        for occurrence, at in await _moments_of(turn, trial, person):
            if at <= turn.now + BUNDLE_WITHIN and any(thing in occurrence for thing in about):
                await turn.drop_due(trial.id, kind=WORD, occurrence=occurrence)


async def open_items(turn: Turn, tenant: str, person: str) -> list[Open]:
    """What this person can do for trials now, the earliest first."""
    calendar = members.calendar_of(await turn.uow.member(tenant, person))
    today = calendar.local_day(turn.now)
    found: list[Open] = []
    owned = {trial.team for trial in await turn.uow.trials_owned(tenant, person)}
    for team in sorted({*owned, *await turn.uow.teams_of(tenant, person)}):
        for trial in await turn.uow.trials_of(tenant, team):
            if trial.step in UNDER_WAY:
                found += _open_of(trial, MemberId(person), calendar, today)
    return sorted(found, key=lambda one: one.due)


def _open_of(trial: Trial, person: MemberId, calendar: WorkingCalendar, today: date) -> list[Open]:
    found = [
        Open(trial, "action", a.id, a.due)
        for a in trial.open_actions()
        if a.who == person and calendar.local_day(a.due) <= today
    ]
    if trial.owner == person:
        for week in trial.unlogged(today):
            over = trial.week_over(week)
            assert over is not None
            found.append(Open(trial, "week", str(week), instant(over + timedelta(days=7), time(0), calendar.tz)))
    return found


async def _word(turn: Turn, trial: Trial, person: MemberId, what: str, key: str) -> None:
    message = await WORDS[what](turn, trial, person, key)
    trial_turn.tell(turn, trial, person, what, message)
    await turn.uow.note_nudge(trial.tenant, person, turn.now)
    if what == "unowned":  # every working day until somebody owns it
        calendar = await trial_turn.calendar_of(turn, trial, person)
        word_later(turn, trial, person, what, key, later_working_day(calendar, turn.now, 1))


async def _missed(turn: Turn, trial: Trial, person: MemberId, key: str) -> Message:
    return owner_words.weeks_missed(trial, (int(key) - 1, int(key)))


async def _unowned(turn: Turn, trial: Trial, person: MemberId, key: str) -> Message:
    return owner_words.unowned(trial)


async def _unanswered(turn: Turn, trial: Trial, person: MemberId, key: str) -> Message:
    return owner_words.unanswered(trial.title, trial_words.who(trial, MemberId(key)))


async def _brief(turn: Turn, trial: Trial, person: MemberId, key: str) -> Message:
    return review_words.brief_for_owner(trial, await trial_turn.today(turn, trial))


async def _close(turn: Turn, trial: Trial, person: MemberId, key: str) -> Message:
    return review_words.to_close(trial)


WORDS: dict[str, Callable[[Turn, Trial, MemberId, str], Awaitable[Message]]] = {
    "missed": _missed,
    "unowned": _unowned,
    "unanswered": _unanswered,
    "brief": _brief,
    "close": _close,
}


async def say_when_allowed(turn: Turn, tenant: str, person: str, message: Message) -> datetime | None:
    """A word that belongs to no trial: now if it may be said; else the moment when it may, for the caller to set."""
    at = await when(turn, tenant, person)
    if at is not None and at <= turn.now:
        name = turn.kit.ids.new("say-")
        turn.post_as(name, Place(tenant, "direct", person), message, "")
        await turn.uow.note_nudge(tenant, person, turn.now)
        return None
    return at
