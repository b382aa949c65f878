"""What moves when somebody's working time is another: windows of rounds, words about trials, the weekly digest.

Only rows that still wait are moved: what was said once is not said again because a clock reads otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId
from coldframe.domain.round.moves import SetWindow
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Trial, TrialStep
from coldframe.engine.core import members, moments, trial_turn, windows
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.engine.register import digest, teams
from coldframe.engine.trial import ownership, reviews, schedule
from coldframe.engine.trial.schedule import Word
from coldframe.message.packed import Occurrence
from coldframe.ports.storage import Due, UnitOfWork
from coldframe.speech.people import time_words
from coldframe.speech.trial import review_words
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar
from coldframe.timing.outlook import WORTH_TELLING
from coldframe.timing.reminders import next_nudge_time
from coldframe.timing.windows import add_working_hours, rereckoned, working_hours_between

MOVED = "deadline moved"
KINDS = (schedule.WORD, reviews.BRIEF, reviews.LATE, reviews.SCORE, ownership.UNANSWERED)
Waiting = Mapping[tuple[str, str, str], datetime]  # (kind, subject, occurrence) to the moment that stands


async def waiting_rows(uow: UnitOfWork) -> Waiting:
    """The rows that depend on somebody's working time and still wait."""
    return {(d.kind, d.subject, d.occurrence): d.at for kind in KINDS for d in await uow.dues(kind)}


# --- one person's hours ---------------------------------------------------------------------------------------------


async def of_person(turn: Turn, tenant: str, person: str, before: WorkingCalendar) -> tuple[windows.OwnDeadline, ...]:
    """Everything of this person is reckoned by their new working time; gives their deadlines that moved by more than
    an hour."""
    after = members.calendar_of(await turn.uow.member(tenant, person))
    await moments.reckon_anew(turn.uow, tenant, person, turn.now)
    if after == before:
        return ()
    moved = await _windows_changed(turn, tenant, person, before)
    waiting = await waiting_rows(turn.uow)
    for team in await turn.uow.teams_of(tenant, person):
        for trial in await turn.uow.trials_of(tenant, team, over=True):
            await rows_of_trial(turn, trial, waiting, person)
            _review_on_a_day_off(turn, trial, person, before, after)
        if await teams.lead_of(turn.uow, tenant, team) == person:
            await digest.reckon_anew(turn, tenant, team)
    await _answers_owed(turn, tenant, person, waiting, before, after)
    return tuple(m for m in moved if abs(m.now - m.was) > WORTH_TELLING)


async def _windows_changed(
    turn: Turn, tenant: str, person: str, before: WorkingCalendar
) -> tuple[windows.OwnDeadline, ...]:
    """A person's working time is another from now on: what is left of running windows is counted by it.

    A team's deadline may move later by that, never earlier. Gives the person's own deadlines that moved.
    """
    found: list[windows.OwnDeadline] = []
    for head in await turn.uow.heads(tenant, member=person):
        round_ = await turn.uow.round(head.id)
        moved = await _window_changed(turn, round_, MemberId(person), before) if round_ is not None else None
        if moved is not None:
            found.append(moved)
    return tuple(found)


async def _window_changed(
    turn: Turn, round_: Round, member: MemberId, before: WorkingCalendar
) -> windows.OwnDeadline | None:
    window, was = windows.window_of(round_), windows.own_deadline(round_, member)
    if window is None or was is None:
        return None
    calendars = await members.expected_calendars(turn.uow, round_)
    moved = rereckoned(window, {**calendars, member: before}, calendars, turn.now)
    if moved == window:
        return None
    after = await turn.act(round_, SetWindow(BOT, moved.opens, moved.due, windows.as_personal(moved)))
    return windows.OwnDeadline(after, was, windows.own_deadline(after, member) or was)


def _review_on_a_day_off(
    turn: Turn, trial: Trial, person: str, before: WorkingCalendar, after: WorkingCalendar
) -> None:
    """The owner hears when a review that was fit now falls on a day on which they do not work."""
    review = trial.review
    if trial.step is not TrialStep.RUNNING or trial.owner != person or review is None or review < turn.now:
        return
    why = after.why_off(after.local_day(review))
    if why is not None and before.why_off(before.local_day(review)) is None:
        turn.answer(trial.tenant, person, review_words.on_a_day_off(trial, why), about=trial)


async def _answers_owed(
    turn: Turn, tenant: str, person: str, waiting: Waiting, before: WorkingCalendar, after: WorkingCalendar
) -> None:
    """Somebody who was asked to own a trial keeps what is left of their working day to answer."""
    for (kind, subject, occurrence), at in waiting.items():
        if at <= turn.now or not _waits_for_answer(kind, occurrence, person):
            continue
        about = await (turn.uow.trial(subject) if kind == schedule.WORD else turn.uow.round(subject))
        if about is not None and about.tenant == tenant:
            with suppress(NoWorkingTime):
                left = working_hours_between(before, turn.now, at)
                turn.later(kind, subject, occurrence, add_working_hours(after, turn.now, left))


def _waits_for_answer(kind: str, occurrence: str, person: str) -> bool:
    if kind == schedule.WORD:
        return Word.unpack(occurrence).about() == ("unanswered", person)
    return kind == ownership.UNANSWERED and Occurrence.unpack(occurrence).parts[1] == person


# --- a trial's rows -------------------------------------------------------------------------------------------------


async def rows_of_trial(turn: Turn, trial: Trial, waiting: Waiting, person: str | None = None) -> int:
    """Moves a trial's waiting rows to where its people's working time, or this person's, puts them now; gives how
    many moved."""
    moved = 0
    for kind, occurrence, at in await _moments(turn, trial, person):
        stands = waiting.get((kind, trial.id, occurrence))
        wanted = max(at, turn.now)
        if stands is not None and turn.now < stands != wanted:
            turn.later(kind, trial.id, occurrence, wanted)
            moved += 1
    return moved


async def _moments(turn: Turn, trial: Trial, person: str | None) -> list[tuple[str, str, datetime]]:
    found: list[tuple[str, str, datetime]] = []
    doers = (action.who for action in trial.open_actions())
    for member in dict.fromkeys((trial.owner or trial.facilitator, *doers, *trial.people)):
        if person in (None, member):
            calendar = await trial_turn.calendar_of(turn, trial, member)
            with suppress(NoWorkingTime):
                found += _moments_of(trial, member, calendar, turn.now)
    return found


def _moments_of(
    trial: Trial, member: MemberId, calendar: WorkingCalendar, now: datetime
) -> list[tuple[str, str, datetime]]:
    words = [schedule.action_moment(a, calendar) for a in trial.open_actions() if a.who == member]
    if member == trial.owner:
        words += schedule.owners_moments(trial, calendar)
    late = schedule.late_moment(trial, member, calendar)
    words += [late] if late is not None else []
    found = [(schedule.WORD, word.pack(), at) for word, at in words]
    if member == (trial.owner or trial.facilitator) and trial.review is not None:
        found.append((reviews.BRIEF, "brief", reviews.brief_at(calendar, trial.review)))
        found.append((reviews.LATE, "late", reviews.late_at(calendar, trial.review)))
    if member in trial.people:
        found.append((reviews.SCORE, Occurrence((member,)).pack(), next_nudge_time(calendar, now)))
    return found


# --- a zone that the platform reports -------------------------------------------------------------------------------


async def followed(turn: Turn, tenant: str, person: str, before: WorkingCalendar) -> None:
    """Somebody who never said when they work has moved to another zone: what moved is told in their working hours."""
    for moved in await of_person(turn, tenant, person, before):
        occurrence = Occurrence((moved.round.id, moved.was.isoformat()))
        turn.later(MOVED, Occurrence((tenant, person)).pack(), occurrence.pack(), turn.now)


async def _tell_moved(turn: Turn, due: Due) -> None:
    tenant, person = Occurrence.unpack(due.subject).parts
    round_id, said = Occurrence.unpack(due.occurrence).parts
    round_, was = await turn.uow.round(round_id), datetime.fromisoformat(said)
    own = windows.own_deadline(round_, MemberId(person)) if round_ is not None else None
    if round_ is None or own is None or abs(own - was) <= WORTH_TELLING:
        return
    calendar = members.calendar_of(await turn.uow.member(tenant, person))
    with suppress(NoWorkingTime):
        at = next_nudge_time(calendar, turn.now)
        if at > turn.now:
            turn.later(due.kind, due.subject, due.occurrence, at)
            return
        moved = time_words.own_deadline_moved(round_, was, own)
        turn.answer(tenant, person, time_words.zone_followed(members.hours_words(calendar), moved))


DUE: Mapping[str, Carry] = {MOVED: InOneTurn(_tell_moved)}
