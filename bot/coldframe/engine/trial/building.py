"""From the commitment until a trial is live: its owner is asked on the planned day, moves it or says from when it is
live; what is two weeks late is decided by three people; going live sets the weeks, the words and the review."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from coldframe.domain.state import Round
from coldframe.domain.trial.building import Pace, pace
from coldframe.domain.trial.commands import DropTrial, GoLive, MakeSmaller, MoveLive
from coldframe.domain.trial.facts import LiveMoved, TrialDropped, TrialFact, WentLive
from coldframe.domain.trial.state import Trial, TrialStep
from coldframe.engine.core import members, review_dates, sent_form, trial_turn
from coldframe.engine.core.requests import TrialRequest, of_trial, opens
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.register import leftovers, registering
from coldframe.engine.trial import reviews, schedule
from coldframe.ports.chat import Reply
from coldframe.speech.trial import building_words

# --- by people ------------------------------------------------------------------------------------------------------


async def live_today(request: TrialRequest) -> Reply:
    return await _live(request, await trial_turn.today(request.turn, request.trial))


async def live_since(request: TrialRequest) -> Reply:
    try:
        since = date.fromisoformat(request.text("since"))
    except ValueError:
        raise sent_form.FieldError("since", building_words.CHOOSE_A_DAY) from None
    return await _live(request, since)


async def _live(request: TrialRequest, since: date) -> Reply:
    turn, trial = request.turn, request.trial
    today = await trial_turn.today(turn, trial)
    review = await review_dates.of_trial(turn, trial, trial.all_counted_if_live(since))
    after = await request.act(GoLive(request.by, since, today, review))
    return request.passing(building_words.live_noted(after, request.by, await _asked_on(turn, after)))


async def _asked_on(turn: Turn, trial: Trial) -> date:
    """The day on which its owner hears of the first week; of whoever never works, that on which it can be counted."""
    counted, calendar = trial.counted_from(1), await trial_turn.calendar_of(turn, trial)
    assert counted is not None
    first = next((at for word, at in schedule.week_moments(trial, calendar) if word.about() == ("week", "1")), None)
    return calendar.local_day(first) if first is not None else counted


async def since_form(request: TrialRequest) -> Reply:
    return Reply(form=building_words.since(request.trial, await trial_turn.today(request.turn, request.trial)))


async def moved(request: TrialRequest) -> Reply:
    return await _moved(request, agreed=False)


async def agreed(request: TrialRequest) -> Reply:
    return await _moved(request, agreed=True)


async def _moved(request: TrialRequest, *, agreed: bool) -> Reply:
    day, today, trial = await _planned(request), *await _now(request)
    review = await review_dates.of_trial(request.turn, trial, trial.all_counted_if_live(day))
    after = await request.act(MoveLive(request.by, day, request.text("reason"), today, review, agreed))
    return request.passing(building_words.day_noted(after, request.by))


async def made_smaller(request: TrialRequest) -> Reply:
    day, today, trial = await _planned(request), *await _now(request)
    review = await review_dates.of_trial(request.turn, trial, trial.all_counted_if_live(day))
    after = await request.act(MakeSmaller(request.by, request.text("left_out"), day, today, review))
    return request.passing(building_words.day_noted(after, request.by))


async def _now(request: TrialRequest) -> tuple[date, Trial]:
    return await trial_turn.today(request.turn, request.trial), request.trial


async def _planned(request: TrialRequest) -> date:
    """A typed day on which its owner works. Raises FieldError."""
    turn, trial = request.turn, request.trial
    owner = trial.owner or trial.facilitator
    whose = await members.named_calendars(turn.uow, trial.tenant, {owner: trial.name_of(owner)})
    calendar = await trial_turn.calendar_of(turn, trial, request.by)
    return sent_form.read_day("date", request.text("date"), turn.now, calendar, whose).day


async def given_up(request: TrialRequest) -> Reply:
    await request.act(DropTrial(request.by, request.text("reason")))
    return request.passing(building_words.drop_noted())


async def pace_of(turn: Turn, round_: Round) -> Pace | None:
    """How long the team's builds have taken."""
    return pace(await turn.uow.trials_of(round_.tenant, round_.channel, over=True))


# --- what follows ---------------------------------------------------------------------------------------------------


async def went_live(turn: Turn, before: Trial, after: Trial, fact: WentLive) -> None:
    await turn.drop_due(after.id, kind=schedule.WORD)
    await schedule.schedule(turn, after)
    await turn.uow.move_place(after.id, after.owner or "", fact.review)
    await reviews.schedule(turn, after)
    await registering.enter(turn, after)
    again = before.step is not TrialStep.BUILDING
    trial_turn.say(turn, after, "live", building_words.live(after, again), turn.kit.ids.new(""))


async def live_moved(turn: Turn, before: Trial, after: Trial, fact: LiveMoved) -> None:
    await schedule.schedule(turn, after)
    await turn.uow.move_place(after.id, after.owner or "", fact.review)
    words = building_words.moved(after, fact.moved)
    trial_turn.say(turn, after, "moved", words, turn.kit.ids.new(""))


async def dropped(turn: Turn, before: Trial, after: Trial, fact: TrialDropped) -> None:
    """What was being built leaves its place, and everybody hears why."""
    await turn.drop_due(after.id)
    if before.step is TrialStep.PROPOSED:
        return
    await turn.uow.free_place(after.id)
    await registering.enter(turn, after)
    trial_turn.say(turn, after, "dropped", building_words.dropped(after, fact.by))
    await leftovers.place_is_free(turn, after)


BUTTONS = of_trial(
    {
        "trial.live": live_today,
        "trial.live_since": since_form,
        "trial.live_move": opens(lambda r: building_words.move(r.trial)),
        "trial.live_agree": opens(lambda r: building_words.agree(r.trial)),
        "trial.smaller": opens(lambda r: building_words.smaller(r.trial)),
        "trial.give_up": opens(lambda r: building_words.give_up(r.trial)),
    }
)
FORMS = of_trial(
    {
        "trial.live_since": live_since,
        "trial.live_move": moved,
        "trial.live_agree": agreed,
        "trial.smaller": made_smaller,
        "trial.give_up": given_up,
    }
)
FOLLOW: Mapping[type[TrialFact], Follow[Trial]] = {WentLive: went_live, LiveMoved: live_moved, TrialDropped: dropped}
