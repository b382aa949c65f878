"""Who owns a trial: yes, no, handing over; first-week actions, and what is in the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from coldframe.domain.commands import BOT
from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, PlanId, Role
from coldframe.domain.people.facts import MemberLeft
from coldframe.domain.refusals import known
from coldframe.domain.round.choosing import OwnerAsked
from coldframe.domain.state import Round
from coldframe.domain.trial import checks
from coldframe.domain.trial.commands import (
    AnswerOffer,
    ChangeDecisionMaker,
    DropTrial,
    GiveUp,
    JoinTrial,
    LeaveTrial,
    MoveAction,
    OfferTrial,
    SayWhatBlocks,
    TakeTrial,
)
from coldframe.domain.trial.commands import Tick as TickAction
from coldframe.domain.trial.facts import OwnerLost
from coldframe.domain.trial.state import UNDER_WAY, Start, Trial, TrialAction, TrialStep
from coldframe.domain.who_may import Act
from coldframe.engine.core import allowance, members, review_dates, sent_form, trial_turn
from coldframe.engine.core.requests import TrialRequest, acts, of_trial, opens
from coldframe.engine.core.turn import Carry, Follow, InOneTurn, Turn
from coldframe.engine.register import fates
from coldframe.engine.trial.places import refuse_without_place
from coldframe.engine.trial.schedule import word_later
from coldframe.message.packed import Occurrence
from coldframe.ports.chat import Reply
from coldframe.ports.storage import Due
from coldframe.speech.names import of_action, who
from coldframe.speech.people import time_words
from coldframe.speech.trial import owner_words, trial_dates, trial_forms
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar
from coldframe.timing.windows import add_working_hours

UNANSWERED, VOLUNTEERS = "owner unanswered", "trial volunteers"
TO_ANSWER = 8.0  # working hours before the facilitator hears of silence
ASK_EVERYBODY_AFTER = 2  # working days without an owner
LONG_ABSENCE = timedelta(days=7)


def answer_by(calendar: WorkingCalendar, now: datetime) -> datetime:
    """One working day of whoever is asked; now where they have none."""
    try:
        return add_working_hours(calendar, now, TO_ANSWER)
    except NoWorkingTime:
        return now


# --- at the commitment ----------------------------------------------------------------------------------------------


async def asked(turn: Turn, before: Round, round_: Round, fact: OwnerAsked) -> None:
    """Somebody was asked to own a chosen plan: after one of their working days the facilitator hears of silence."""
    calendar = members.calendar_of(await turn.uow.member(round_.tenant, fact.member))
    occurrence = Occurrence((fact.plan, fact.member)).pack()
    turn.later(UNANSWERED, round_.id, occurrence, answer_by(calendar, turn.now))


async def unanswered(turn: Turn, due: Due) -> None:
    plan_id, member = Occurrence.unpack(due.occurrence).parts
    round_ = await turn.round(due.subject)
    choice = round_.choices.get(PlanId(plan_id))
    if choice is None or choice.asked != member:
        return
    words = owner_words.unanswered(round_.plans[PlanId(plan_id)].title, (who(round_, member),))
    at = await allowance.say_when_allowed(turn, round_.tenant, round_.roles.acting(Role.FACILITATOR), words)
    if at is not None:
        turn.later(UNANSWERED, due.subject, due.occurrence, at)


# --- asking, answering ----------------------------------------------------------------------------------------------


async def ask(turn: Turn, trial: Trial, by: str, reason: str) -> None:
    """Asks somebody to own it; unanswered for one of their working days, the facilitator is told."""
    assert trial.asked is not None
    trial_turn.tell(turn, trial, trial.asked, "own", owner_words.offered(trial, MemberId(by), reason))
    calendar = await trial_turn.calendar_of(turn, trial, trial.asked)
    word_later(turn, trial, trial.facilitator, "unanswered", trial.asked, answer_by(calendar, turn.now))


async def accept(request: TrialRequest) -> None:
    """Yes. A trial that waited for this yes takes a place now, if one is free."""
    trial, turn = request.trial, request.turn
    start = None
    if trial.step is TrialStep.PROPOSED and trial.asked == request.by:
        await refuse_without_place(turn, trial.tenant, trial.team)
        start = await _start(turn, trial, request.by)
    await request.act(AnswerOffer(request.by, accept=True, start=start))


async def _start(turn: Turn, trial: Trial, owner: MemberId) -> Start:
    """It is built from today on, in the zone of whoever owns it."""
    calendar = await trial_turn.calendar_of(turn, trial, owner)
    today = calendar.local_day(turn.now)
    counted = trial.all_counted_if_live(max(trial.planned_live or today, today))
    people = replace(trial, owner=owner).holders()
    review = await review_dates.moment(turn, trial.tenant, people, counted, calendar.tz)
    return Start(today, calendar.zone, review)


async def declined(request: TrialRequest) -> Reply:
    trial = await request.act(AnswerOffer(request.by, accept=False, reason=request.text("reason")))
    instead = MemberId(request.text("instead"))
    if instead and instead in trial.people and instead != trial.owner:
        await request.turn.act_on_trial(trial, OfferTrial(trial.facilitator, instead))
    return request.passing(owner_words.no_noted())


async def handed_over(request: TrialRequest) -> Reply:
    """To somebody who is asked; without a name the trial has no owner and the facilitator is told."""
    to, reason = MemberId(request.text("member")), request.text("reason")
    after = await request.act(OfferTrial(request.by, to, reason) if to else GiveUp(request.by, reason))
    return request.passing(owner_words.asked_to_take_over(after) if to else owner_words.given_up())


async def asked_somebody(request: TrialRequest) -> Reply:
    after = await request.act(OfferTrial(request.by, MemberId(request.text("member"))))
    return request.passing(owner_words.asked(after))


# --- nobody owns it -------------------------------------------------------------------------------------------------


async def owner_lost(turn: Turn, before: Trial, after: Trial, fact: OwnerLost) -> None:
    """A trial without an owner cannot run unnoticed: the facilitator looks for somebody, and where that leads nowhere
    everybody is asked."""
    word_later(turn, after, after.facilitator, "unowned", "now", turn.now)
    calendar = await trial_turn.calendar_of(turn, after, after.facilitator)
    try:
        at = trial_turn.later_working_day(calendar, turn.now, ASK_EVERYBODY_AFTER)
    except NoWorkingTime:
        at = turn.now + timedelta(days=ASK_EVERYBODY_AFTER)
    turn.later(VOLUNTEERS, after.id, "owner", at)


async def _ask_everybody(turn: Turn, due: Due) -> None:
    trial = await turn.uow.trial(due.subject)
    if trial is not None and trial.step in UNDER_WAY and trial.owner is None:
        trial_turn.say(turn, trial, "volunteers", owner_words.volunteers(trial), turn.kit.ids.new(""))


# --- people come and go ---------------------------------------------------------------------------------------------


async def left(turn: Turn, tenant: str, person: str, team: str | None = None) -> None:
    """Somebody left: what they owned is without an owner, and the facilitator is told."""
    for channel in [team] if team is not None else await turn.uow.teams_of(tenant, person):
        for trial in await turn.uow.trials_of(tenant, channel):
            await turn.act_on_trial(trial, LeaveTrial(BOT, MemberId(person)))
        await fates.left(turn, tenant, MemberId(person), channel)


async def chief_left(turn: Turn, before: Round, round_: Round, fact: MemberLeft) -> None:
    """Who decides about what still runs has left: the facilitator is told who does now."""
    roles, role = round_.roles, Role.DECISION_MAKER
    facilitator, chief = roles.acting(Role.FACILITATOR), roles.acting(role)
    if before.roles.acting(role) != fact.member or not {facilitator, chief} <= set(round_.active()):
        return
    found = await turn.uow.trials_of(round_.tenant, round_.channel)
    trials = [t for t in found if t.round_id == round_.id and t.step in UNDER_WAY]
    for trial in trials:
        await turn.act_on_trial(trial, ChangeDecisionMaker(BOT, chief))
    if trials:
        words = owner_words.decides_now(trials, trials[0].name_of(fact.member), who(round_, chief))
        turn.answer(round_.tenant, facilitator, words, ask=True)


async def came(turn: Turn, tenant: str, person: str, name: str, team: str) -> None:
    """A new colleague of the channel may own what runs."""
    for trial in await turn.uow.trials_of(tenant, team):
        await turn.act_on_trial(trial, JoinTrial(BOT, MemberId(person), name))


async def away(turn: Turn, tenant: str, person: str, back: datetime) -> None:
    """An owner goes away for longer than a week: somebody else may own it meanwhile."""
    owned = [t for t in await turn.uow.trials_owned(tenant, person) if t.step in UNDER_WAY]
    to_do = [(team, fate) for team, fate in await fates.owned(turn.uow, tenant, MemberId(person)) if fate.due < back]
    if (owned or to_do) and back - turn.now > LONG_ABSENCE:
        turn.answer(tenant, person, owner_words.away_with(owned, to_do), ask=True)


# --- actions, obstacles ---------------------------------------------------------------------------------------------


async def tick(request: TrialRequest) -> Reply:
    await request.act(TickAction(request.by, request.part(0)))
    return request.passing(owner_words.ticked())


def _action(request: TrialRequest) -> TrialAction:
    """The action that the value names. Raises Refused, for whoever neither does it nor owns the trial too."""
    action = known(next((a for a in request.trial.actions if a.id == request.part(0)), None))
    checks.may(request.trial, request.by, Act.FIRST_WEEK, own=action.who == request.by)
    return action


async def moved(request: TrialRequest) -> None:
    """On a working day of whoever does it. Its entry in their calendar moves with it."""
    trial, action, turn = request.trial, _action(request), request.turn
    whose = await members.named_calendars(turn.uow, trial.tenant, {action.who: trial.name_of(action.who)})
    calendar = await trial_turn.calendar_of(turn, trial, request.by)
    day = sent_form.read_day("date", request.text("date"), turn.now, calendar, whose)
    trial = await request.act(MoveAction(request.by, action.id, day.at))
    again = time_words.set_again("trial.move", of_action(trial, action.id))
    own = action.who == request.by
    entry = (trial_dates.calendar_of_action(trial, action.id),) if own else ()
    request.answer(replace(time_words.date_understood(time_words.ACTION, day, again), attachments=entry))
    if not own:
        words = owner_words.action_moved(trial, action.id, request.by)
        trial_turn.tell(turn, trial, action.who, "action", words, action.id, turn.kit.ids.new(""))


async def blocked(request: TrialRequest) -> Reply:
    await request.act(SayWhatBlocks(request.by, request.text("text")))
    return request.passing(owner_words.obstacle_noted())


BUTTONS = of_trial(
    {
        "trial.tick": tick,
        "trial.move": opens(lambda r: trial_forms.move_action(r.trial, _action(r))),
        "trial.block": opens(lambda r: trial_forms.in_the_way(r.trial)),
        "trial.hand_over": opens(lambda r: trial_forms.hand_over(r.trial)),
        "trial.ask": opens(lambda r: trial_forms.ask_somebody(r.trial)),
        "trial.own": acts(lambda r: TakeTrial(r.by)),
        "trial.accept": accept,
        "trial.decline": opens(lambda r: trial_forms.decline(r.trial)),
        "trial.drop": acts(lambda r: DropTrial(r.by)),
    }
)
FORMS = of_trial(
    {
        "trial.move": moved,
        "trial.block": blocked,
        "trial.hand_over": handed_over,
        "trial.ask": asked_somebody,
        "trial.decline": declined,
    }
)
FOLLOW: Mapping[type[Fact], Follow[Round]] = {OwnerAsked: asked, MemberLeft: chief_left}
DUE: Mapping[str, Carry] = {UNANSWERED: InOneTurn(unanswered), VOLUNTEERS: InOneTurn(_ask_everybody)}
