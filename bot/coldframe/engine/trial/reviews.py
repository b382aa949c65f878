"""Reviews: the material the day before, the verdict at the date, what follows, scores; a missed one gets a new date."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from coldframe.domain.commands import BOT
from coldframe.domain.fates import Fate, FateKind
from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.disclosure import MIN_VOTERS
from coldframe.domain.trial.commands import CloseReview, Learn, MoveReview, OpenReview, StopEarly
from coldframe.domain.trial.state import Trial, TrialStep
from coldframe.engine.core import lives, members, sent_form, trial_turn
from coldframe.engine.core.requests import TrialRequest, acts, of_trial, opens
from coldframe.engine.core.trial_turn import earlier_working_day, later_working_day
from coldframe.engine.core.turn import Carry, InOneTurn, Kit, Turn, due_turn
from coldframe.engine.register import fates, leftovers, registering, teams
from coldframe.engine.trial import signing, weekly
from coldframe.engine.trial.schedule import word_later
from coldframe.engine.worker import judging
from coldframe.message.packed import Occurrence
from coldframe.message.pictures import Calibration
from coldframe.ports.chat import Reply
from coldframe.ports.follow_through import RegisterEntry, Wanted
from coldframe.ports.storage import Due
from coldframe.speech.names import about_trial
from coldframe.speech.people import time_words
from coldframe.speech.trial import review_words, trial_forms
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar
from coldframe.timing.reminders import next_nudge_time

BRIEF, OPEN, VERDICT, LATE = "trial brief", "trial review", "trial verdict", "trial review late"
CLOSED, SCORE = "trial closed", "trial score"
LATE_AFTER = 2  # working days
NEW_DATE_IN = 5  # working days
MAX_LATER = 15  # working days more, for a decision-maker who is away
BRIEF_WITHIN = timedelta(days=5)
MAX_ENTRIES = 1000  # of the register, for the picture over rounds


async def schedule(turn: Turn, trial: Trial) -> None:
    """The review's own due rows; setting them again moves them."""
    assert trial.review is not None
    calendar = await trial_turn.calendar_of(turn, trial)
    turn.later(BRIEF, trial.id, "brief", max(brief_at(calendar, trial.review), turn.now))
    turn.later(OPEN, trial.id, "review", trial.review)


def brief_at(calendar: WorkingCalendar, review: datetime) -> datetime:
    """When the material is posted: on the owner's last working day before the review."""
    try:
        return earlier_working_day(calendar, review)
    except NoWorkingTime:
        return review - timedelta(days=1)


def late_at(calendar: WorkingCalendar, opened: datetime) -> datetime:
    """When a review that nobody closed counts as missed."""
    try:
        return later_working_day(calendar, opened, LATE_AFTER)
    except NoWorkingTime:
        return opened + timedelta(days=LATE_AFTER)


async def open_(turn: Turn, trial: Trial) -> None:
    """The verdict is reckoned now; a review that nobody closes is not forgotten."""
    turn.later(VERDICT, trial.id, "verdict", turn.now)
    calendar = await trial_turn.calendar_of(turn, trial)
    turn.later(LATE, trial.id, "late", late_at(calendar, turn.now))


# --- due ------------------------------------------------------------------------------------------------------------


async def _brief(turn: Turn, due: Due) -> None:
    trial = await turn.trial(due.subject)
    if trial.step is not TrialStep.RUNNING or trial.review is None or trial.review - turn.now > BRIEF_WITHIN:
        return
    message = review_words.brief(trial, await trial_turn.today(turn, trial))
    trial_turn.say(turn, trial, "brief", message, str(trial.dates_moved))
    if trial.owner is not None:
        word_later(turn, trial, trial.owner, "brief", str(trial.dates_moved), turn.now)


async def _open(turn: Turn, due: Due) -> None:
    trial = await turn.trial(due.subject)
    if trial.step is TrialStep.RUNNING and trial.review is not None and turn.now >= trial.review:
        await turn.act_on_trial(trial, OpenReview(BOT))


async def _verdict(kit: Kit, due: Due) -> None:
    """In the channel for everybody, and one thing to do for the owner."""
    found, today = await weekly.judged(kit, due.subject)
    async with due_turn(kit, due) as turn:
        trial = await turn.trial(due.subject)
        if trial.step is not TrialStep.IN_REVIEW:
            return
        trial, which = await weekly.take_reading(turn, trial, found), str(trial.missed_reviews)
        trial_turn.say(turn, trial, "verdict", review_words.verdict(trial, found, today), which)
        word_later(turn, trial, trial.owner or trial.facilitator, "close", which, turn.now)


async def _late(turn: Turn, due: Due) -> None:
    """Nobody closed it: a new date, told to everybody, and the trial is not forgotten."""
    trial = await turn.trial(due.subject)
    if trial.step is not TrialStep.IN_REVIEW or trial.review is None:
        return
    at = await _new_date(turn, trial)
    await turn.act_on_trial(trial, MoveReview(BOT, at, await trial_turn.earliest_review(turn, trial)))


async def _new_date(turn: Turn, trial: Trial) -> datetime:
    """Five working days of the owner on, or the first day after that on which the decision-maker works as well."""
    calendar = await trial_turn.calendar_of(turn, trial)
    whose = [each for _, each in await trial_turn.at_review(turn, trial)]
    try:
        for days in range(NEW_DATE_IN, NEW_DATE_IN + MAX_LATER):
            at = later_working_day(calendar, turn.now, days)
            if all(each.spans(each.local_day(at)) for each in whose):
                return at
        return later_working_day(calendar, turn.now, NEW_DATE_IN)
    except NoWorkingTime:
        return turn.now + timedelta(days=7)


async def _closed(kit: Kit, due: Due) -> None:
    """Marks the result, scores the forecasts, frees the place; the picture over rounds once enough are resolved."""
    async with kit.store.begin() as uow:
        trial = await uow.trial(due.subject)
        assert trial is not None
        await registering.enter(Turn(kit, uow, kit.clock.now()), trial)
        entries = await uow.search(trial.tenant, [trial.team], Wanted(limit=MAX_ENTRIES))
    score = await _score_of_all(kit, trial)
    chart = await _calibration(kit, entries)
    async with due_turn(kit, due) as turn:
        trial_turn.say(turn, trial, "closed", review_words.closed(trial, score))
        signing.ask(turn, trial)
        if chart is not None and score is not None:
            trial_turn.say(turn, trial, "calibration", review_words.calibration(chart))
        if registering.was_met(trial) is not None:
            await _own_scores(turn, trial)
        await leftovers.place_is_free(turn, trial)


async def follow_up(turn: Turn, trial: Trial) -> None:
    """What scales or is switched off is followed from now on; what scales with the decision-maker's yes. Whoever closed
    the review and named themselves has said theirs."""
    closing = trial.closing
    assert closing is not None
    if closing.owner is None or closing.due is None:
        return
    scales, own = closing.decision == "scale", closing.owner == closing.by
    fate = Fate(
        id=trial.id,
        kind=FateKind.SCALE if scales else FateKind.SWITCH_OFF,
        title=trial.title,
        origin=trial.round_name,
        due=closing.due,
        where=closing.what,
        owner=closing.owner if own else None,
        asked=None if own else closing.owner,
        asked_at=None if own else turn.now,
        needs_yes=scales and closing.by != await teams.chief_of(turn.uow, trial.tenant, trial.team),
    )
    await fates.change(turn, trial.tenant, trial.team, [fate])


async def _score_of_all(kit: Kit, trial: Trial) -> float | None:
    """Of so many that nobody's own is read off it by whoever knows theirs and the middle one."""
    met = registering.was_met(trial)
    if met is None or len(trial.chances) < MIN_VOTERS:
        return None
    given = [c / 100 for c in trial.chances.values()]
    return await kit.numbers.compute(judging.brier, given, [int(met)] * len(given))


async def _calibration(kit: Kit, entries: Sequence[RegisterEntry]) -> Calibration | None:
    """The picture over the team's rounds."""
    resolved = [(chance, int(e.met)) for e in entries if e.met is not None for chance in e.chances]
    return await kit.numbers.compute(judging.calibration, [c for c, _ in resolved], [m for _, m in resolved])


async def _own_scores(turn: Turn, trial: Trial) -> None:
    """Each to the person alone, in their own working hours. A row for everybody: whether somebody gave a forecast is
    theirs."""
    for member in trial.people:
        calendar = members.calendar_of(await turn.uow.member(trial.tenant, member))
        try:
            turn.later(SCORE, trial.id, Occurrence((member,)).pack(), next_nudge_time(calendar, turn.now))
        except NoWorkingTime:
            continue


async def _score(turn: Turn, due: Due) -> None:
    trial = await turn.trial(due.subject)
    (person,) = Occurrence.unpack(due.occurrence).parts
    chance, met = trial.chances.get(MemberId(person)), registering.was_met(trial)
    if chance is not None and met is not None:
        message = review_words.own_score(trial, chance, met, (chance / 100 - met) ** 2)
        turn.answer(trial.tenant, person, message, about=trial, name=trial_turn.name(trial, lives.SCORE, person, "own"))


DUE: Mapping[str, Carry] = {
    BRIEF: InOneTurn(_brief),
    OPEN: InOneTurn(_open),
    VERDICT: _verdict,
    LATE: InOneTurn(_late),
    CLOSED: _closed,
    SCORE: InOneTurn(_score),
}


# --- by people ------------------------------------------------------------------------------------------------------


async def learn_form(request: TrialRequest) -> Reply:
    request.under_way()
    return Reply(form=trial_forms.learn(request.trial, request.by))


async def stop_form(request: TrialRequest) -> Reply:
    return Reply(form=trial_forms.stop(request.trial))


async def close_form(request: TrialRequest) -> Reply:
    trial = request.trial
    if trial.step is TrialStep.RUNNING:
        raise Refused(Because.REVIEW_NOT_DUE, at=trial.review)
    request.under_way()
    return Reply(form=trial_forms.close_review(trial, request.by))


async def closed_by(request: TrialRequest) -> None:
    """Forms of an earlier release do not ask who sees it done, and until when."""
    trial, asks = request.trial, "owner" in request.fields
    owner = MemberId(request.text("owner")) if asks else trial.owner or request.by
    calendar = await trial_turn.calendar_of(request.turn, trial, request.by)
    typed = request.text("date") if asks else trial_forms.UNTIL
    due = sent_form.read_day("date", typed, request.turn.now, calendar) if owner and typed.strip() else None
    learning, decision, reason = map(request.text, ("learning", "decision", "reason"))
    what = request.text("what") if asks else reason if decision == "change" else ""
    at = due.at if due is not None else None
    await request.act(CloseReview(request.by, learning, decision, reason, what, owner or None, at))


async def date_moved(request: TrialRequest) -> None:
    trial, turn = request.trial, request.turn
    calendar = await trial_turn.calendar_of(turn, trial, request.by)
    whose = await trial_turn.at_review(turn, trial)
    day = sent_form.read_day("date", request.text("date"), turn.now, calendar, whose)
    await request.act(MoveReview(request.by, day.at, await trial_turn.earliest_review(turn, trial)))
    again = time_words.set_again("trial.review_date", about_trial(trial))
    request.answer(time_words.date_understood(time_words.REVIEW, day, again))


BUTTONS = of_trial(
    {
        "trial.learn": learn_form,
        "trial.stop": stop_form,
        "trial.close": close_form,
        "trial.review_date": opens(lambda r: trial_forms.move_review(r.trial)),
    }
)
FORMS = of_trial(
    {
        "trial.learn": acts(lambda r: Learn(r.by, r.text("text"))),
        "trial.stop": acts(lambda r: StopEarly(r.by, r.text("reason"))),
        "trial.close": closed_by,
        "trial.review_date": date_moved,
    }
)
