"""Who owns a trial: yes, no, handing over; first-week actions, what is in the way; an unused plan that starts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from coldframe.domain.facts import Fact, OwnerAsked
from coldframe.domain.names import MemberId, PlanId, Role
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Criterion, Round
from coldframe.domain.trial import life as domain
from coldframe.domain.trial.commands import (
    AnswerOffer,
    DropTrial,
    ForgetIn,
    GiveUp,
    JoinTrial,
    LeaveTrial,
    MoveAction,
    OfferTrial,
    SayWhatBlocks,
)
from coldframe.domain.trial.commands import Tick as TickAction
from coldframe.domain.trial.state import UNDER_WAY, Trial, TrialAction, TrialStep
from coldframe.engine.core import members, sent_form, trial_turn
from coldframe.engine.core.requests import Answers, Request, RoundRequest, round_request, trial_of
from coldframe.engine.core.turn import Carry, Follow, InOneTurn, Turn
from coldframe.engine.reading import dates
from coldframe.engine.trial import nudging
from coldframe.message.nodes import Button, Option
from coldframe.ports.chat import Inbound, Reply
from coldframe.ports.storage import Due
from coldframe.speech.names import who
from coldframe.speech.people import time_words
from coldframe.speech.trial import owner_words, trial_forms, trial_words
from coldframe.timing.calendars import NoWorkingTime
from coldframe.timing.windows import add_working_hours

UNANSWERED = "owner unanswered"
WORKING_DAY = 8.0
LONG_ABSENCE_DAYS = 7


# --- at the commitment ----------------------------------------------------------------------------------------------


async def asked(turn: Turn, before: Round, round_: Round, fact: OwnerAsked) -> None:
    """Somebody was asked to own a chosen plan: after one of their working days the facilitator hears of silence."""
    calendar = members.calendar_of(await turn.uow.member(round_.tenant, fact.member))
    try:
        at = add_working_hours(calendar, turn.now, WORKING_DAY)
    except NoWorkingTime:
        at = turn.now
    turn.later(UNANSWERED, round_.id, f"{fact.plan}/{fact.member}", at)


async def unanswered(turn: Turn, due: Due) -> None:
    plan_id, _, member = due.occurrence.partition("/")
    round_ = await turn.round(due.subject)
    choice = round_.choices.get(PlanId(plan_id))
    if choice is None or choice.asked != member:
        return
    title = round_.plans[PlanId(plan_id)].title
    words = owner_words.unanswered(title, (who(round_, member),))
    at = await nudging.say_when_allowed(turn, round_.tenant, round_.roles.acting(Role.FACILITATOR), words)
    if at is not None:
        turn.later(UNANSWERED, due.subject, due.occurrence, at)


# --- answers --------------------------------------------------------------------------------------------------------


async def accept(request: Request) -> Reply:
    """Yes. A trial that waited for this yes takes a place now, if one is free."""
    from coldframe.engine.trial.places import places_of

    trial = await trial_of(request.turn, request.event, request.value)
    by = request.by
    calendar = await trial_turn.calendar_of(request.turn, trial, by)
    starts = calendar.local_day(request.turn.now)
    if trial.step is TrialStep.PROPOSED and trial.asked == by:
        await places_of(request.turn, trial.tenant, trial.team, refuse=True)
        _review_still_fits(trial, request.turn.now)
    await request.turn.act_on_trial(trial, AnswerOffer(by, accept=True, starts=starts))
    return Reply()


def _review_still_fits(trial: Trial, now: datetime) -> None:
    from datetime import timedelta

    earliest = now + timedelta(weeks=trial.planned) - timedelta(days=1)
    if trial.review is not None and trial.review < earliest:
        raise Refused(Because.REVIEW_TOO_EARLY, at=trial.review, earliest=earliest)


async def decline_form(request: Request) -> Reply:
    return Reply(form=trial_forms.decline(await trial_of(request.turn, request.event, request.value)))


async def declined(request: Request) -> Reply:
    trial = await trial_of(request.turn, request.event, request.value)
    answer = AnswerOffer(request.by, accept=False, reason=request.fields.get("reason", ""))
    trial = await request.turn.act_on_trial(trial, answer)
    instead = MemberId(request.fields.get("instead", ""))
    if instead and instead in trial.people and instead != trial.owner:
        await request.turn.act_on_trial(trial, OfferTrial(trial.facilitator, instead))
    request.answer(owner_words.no_noted())
    return Reply()


async def hand_over_form(request: Request) -> Reply:
    trial = await trial_of(request.turn, request.event, request.value)
    if request.by != trial.owner:
        raise Refused(Because.NOT_OWNER)
    return Reply(form=trial_forms.hand_over(trial))


async def handed_over(request: Request) -> Reply:
    """To somebody who is asked; without a name the trial has no owner and the facilitator is told."""
    trial = await trial_of(request.turn, request.event, request.value)
    by, to, reason = request.by, MemberId(request.fields.get("member", "")), request.fields.get("reason", "")
    if not to:
        await request.turn.act_on_trial(trial, GiveUp(by, reason))
        request.turn.answer(trial.tenant, by, owner_words.given_up())
        return Reply()
    await request.turn.act_on_trial(trial, OfferTrial(by, to, reason))
    request.turn.answer(trial.tenant, by, owner_words.asked_to_take_over())
    return Reply()


async def ask_form(request: Request) -> Reply:
    trial = await trial_of(request.turn, request.event, request.value)
    if request.by not in (trial.facilitator, trial.owner, trial.deputy):
        raise Refused(Because.NOT_FACILITATOR, who=trial.name_of(trial.facilitator))
    return Reply(form=trial_forms.ask_somebody(trial))


async def asked_somebody(request: Request) -> Reply:
    trial = await trial_of(request.turn, request.event, request.value)
    by = trial.facilitator if request.by == trial.deputy else request.by
    await request.turn.act_on_trial(trial, OfferTrial(by, MemberId(request.fields.get("member", ""))))
    request.answer(owner_words.asked())
    return Reply()


async def drop(request: Request) -> Reply:
    trial = await trial_of(request.turn, request.event, request.value)
    await request.turn.act_on_trial(trial, DropTrial(request.by))
    return Reply()


# --- people come and go ---------------------------------------------------------------------------------------------


async def left(turn: Turn, tenant: str, person: str, team: str | None = None) -> None:
    """Somebody left: what they owned is without an owner, and the facilitator is told."""
    from coldframe.domain.commands import BOT

    for channel in [team] if team is not None else await turn.uow.teams_of(tenant, person):
        for trial in await turn.uow.trials_of(tenant, channel):
            await turn.act_on_trial(trial, LeaveTrial(BOT, MemberId(person)))


async def came(turn: Turn, tenant: str, person: str, name: str, team: str) -> None:
    """A new colleague of the channel may own what runs."""
    from coldframe.domain.commands import BOT

    for trial in await turn.uow.trials_of(tenant, team):
        await turn.act_on_trial(trial, JoinTrial(BOT, MemberId(person), name))


async def forget(turn: Turn, tenant: str, person: str) -> None:
    """Chances and learnings of this person are deleted, in trials that are over too; that they owned one stays."""
    from coldframe.domain.commands import BOT

    for team in await turn.uow.teams_of(tenant, person):
        for trial in await turn.uow.trials_of(tenant, team, over=True):
            await turn.act_on_trial(trial, ForgetIn(BOT, MemberId(person)))


async def away(turn: Turn, tenant: str, person: str, back: datetime) -> None:
    """An owner goes away for longer than a week: somebody else may own it meanwhile."""
    from datetime import timedelta

    owned = [t for t in await turn.uow.trials_owned(tenant, person) if t.step in UNDER_WAY]
    if owned and back - turn.now > timedelta(days=LONG_ABSENCE_DAYS):
        turn.answer(tenant, person, owner_words.away_with_trials(owned))


# --- actions, obstacles ---------------------------------------------------------------------------------------------


async def tick(request: Request) -> Reply:
    trial_id, _, action = request.value.partition("|")
    trial = await trial_of(request.turn, request.event, trial_id)
    await request.turn.act_on_trial(trial, TickAction(request.by, action))
    request.answer(owner_words.ticked())
    return Reply()


async def move_form(request: Request) -> Reply:
    trial_id, _, action_id = request.value.partition("|")
    trial = await trial_of(request.turn, request.event, trial_id)
    action = next((a for a in trial.actions if a.id == action_id), None)
    if action is None:
        raise Refused(Because.UNKNOWN_ITEM)
    return Reply(form=trial_forms.move_action(trial, action))


async def moved(request: Request) -> Reply:
    """On a working day of whoever does it. Its entry in their calendar moves with it."""
    trial_id, _, action_id = request.value.partition("|")
    trial = await trial_of(request.turn, request.event, trial_id)
    by = request.by
    who_does = next((a.who for a in trial.actions if a.id == action_id), by)
    whose = await members.named_calendars(request.turn.uow, trial.tenant, {who_does: trial.name_of(who_does)})
    calendar = await trial_turn.calendar_of(request.turn, trial, by)
    try:
        day = dates.reading(request.fields.get("date", ""), request.turn.now, calendar, whose)
    except dates.UnclearDate as unclear:
        return Reply(errors={"date": str(unclear)})
    trial = await request.turn.act_on_trial(trial, MoveAction(by, action_id, day.at))
    again = Button("Set it again …", "trial.move", request.value)
    understood = time_words.date_understood("Action", day.words, again)
    entry = trial_words.calendar_of_action(trial, action_id)
    request.turn.answer(trial.tenant, by, replace(understood, attachments=(entry,) if who_does == by else ()))
    if who_does != by:
        trial_turn.tell(request.turn, trial, who_does, "moved", owner_words.action_moved(trial, action_id, by))
    return Reply()


async def block_form(request: Request) -> Reply:
    return Reply(form=trial_forms.in_the_way(await trial_of(request.turn, request.event, request.value)))


async def blocked(request: Request) -> Reply:
    trial = await trial_of(request.turn, request.event, request.value)
    await request.turn.act_on_trial(trial, SayWhatBlocks(request.by, request.fields.get("text", "")))
    request.answer(owner_words.obstacle_noted())
    return Reply()


# --- an unused plan starts ------------------------------------------------------------------------------------------


async def begin_form(request: Request) -> Reply:
    from coldframe.engine.trial.places import places_of
    from coldframe.speech.round import forms

    round_, plan_id = await _unused(request.turn, request.event, request.value)
    await places_of(request.turn, round_.tenant, round_.channel, refuse=True)
    options = [Option(m, round_.name_of(m)[:75]) for m in round_.active()]
    form = trial_forms.begin(round_, plan_id, options)
    plan = round_.plans[plan_id]
    extra = forms.criterion(round_, plan_id).fields if plan.criterion.missing() or _unchecked(round_, plan_id) else ()
    return Reply(form=replace(form, fields=(*form.fields, *extra)))


def _unchecked(round_: Round, plan_id: PlanId) -> bool:
    plan = round_.plans[plan_id]
    return bool(plan.caution) and not plan.checked_by


async def _unused(turn: Turn, event: Inbound, value: str) -> tuple[Round, PlanId]:
    round_id, _, plan = value.partition("|")
    round_ = await turn.round(round_id)
    plan_id = PlanId(plan)
    if event.person not in round_.seats or round_.tenant != event.place.tenant:
        raise Refused(Because.NOT_A_MEMBER)
    if not (round_.is_facilitator(MemberId(event.person)) or round_.is_decision_maker(MemberId(event.person))):
        raise Refused(Because.NOT_FACILITATOR, who=round_.name_of(round_.roles.acting(Role.FACILITATOR)))
    if plan_id not in round_.plan_order or plan_id in round_.choices:
        raise Refused(Because.UNKNOWN_ITEM)
    return round_, plan_id


async def begun(request: Request) -> Reply:
    """The plan waits for its owner's yes; then it takes the free place."""
    from coldframe.engine.trial.places import places_of, trial_id
    from coldframe.engine.trial.trial_reactions import ask

    round_, plan_id = await _unused(request.turn, request.event, request.value)
    await places_of(request.turn, round_.tenant, round_.channel, refuse=True)
    by, owner = request.by, MemberId(request.fields.get("owner", ""))
    if owner not in round_.active():
        return Reply(errors={"owner": owner_words.ONE_OF_THE_TEAM})
    sheet = await round_request(request)
    try:
        round_ = _completed(round_, plan_id, sheet)
        actions = await _actions(sheet)
        review = await sent_form.review_day(sheet, "review", owner)
    except sent_form.FieldError as error:
        return Reply(errors={error.field: error.sentence})
    known = await request.turn.uow.trial(trial_id(round_, plan_id))
    if known is not None and known.step is not TrialStep.DROPPED:
        raise Refused(Because.UNKNOWN_ITEM)
    trial = domain.proposed(round_, plan_id, trial_id(round_, plan_id), owner, actions, review.at)
    _review_still_fits(trial, request.turn.now)
    await request.turn.uow.add_trial(trial, request.turn.now)
    again = Button("Set it again …", "trial.review_date", trial.id)
    request.turn.answer(trial.tenant, by, time_words.date_understood("Review", review.words, again))
    await ask(request.turn, trial, by, "")
    request.turn.answer(round_.tenant, by, owner_words.asked_to_start())
    return Reply()


def _completed(round_: Round, plan_id: PlanId, request: RoundRequest) -> Round:
    """The plan with its criterion complete. Raises FieldError or Refused."""
    from coldframe.domain.round.plans import checked_criterion

    plan = round_.plans[plan_id]
    criterion: Criterion = plan.criterion
    if "measure" in request.fields:
        weeks = sent_form.weeks(request)
        criterion = checked_criterion(replace(sent_form.read_criterion(request, criterion), baseline_weeks=weeks))
    checked_by = request.text("checked_by").strip() or plan.checked_by
    if criterion.missing():
        raise Refused(Because.CRITERION_INCOMPLETE, plan=plan.title)
    if plan.caution and not checked_by:
        raise Refused(Because.CHECK_MISSING, plan=plan.title)
    plans = {**round_.plans, plan_id: replace(plan, criterion=criterion, checked_by=checked_by)}
    return replace(round_, plans=plans)


async def _actions(request: RoundRequest) -> tuple[TrialAction, ...]:
    from coldframe.domain.round.commitment import FIRST_WEEK
    from coldframe.domain.texts import accepted

    owner = MemberId(request.text("owner"))
    found = []
    for number, words in enumerate(request.text("actions").splitlines(), 1):
        if words.strip():
            what, _, by_when = words.partition("|")
            at = (await sent_form.action_day(request, by_when.strip(), owner)).at
            if at > request.turn.now + FIRST_WEEK:
                raise Refused(Because.ACTION_TOO_FAR, at=at, latest=request.turn.now + FIRST_WEEK)
            found.append(TrialAction(f"a{number}", accepted(what, 300, field="actions"), owner, at))
    if not found:
        raise Refused(Because.ACTIONS_MISSING, plan=request.round.plans[PlanId(request.part(0))].title)
    return tuple(found)


BUTTONS: Answers = {
    "trial.tick": tick,
    "trial.move": move_form,
    "trial.block": block_form,
    "trial.hand_over": hand_over_form,
    "trial.ask": ask_form,
    "trial.accept": accept,
    "trial.decline": decline_form,
    "trial.drop": drop,
    "trial.plan": begin_form,
}
FORMS: Answers = {
    "trial.move": moved,
    "trial.block": blocked,
    "trial.hand_over": handed_over,
    "trial.ask": asked_somebody,
    "trial.decline": declined,
    "trial.begin": begun,
}
FOLLOW: Mapping[type[Fact], Follow[Round]] = {OwnerAsked: asked}
DUE: Mapping[str, Carry] = {UNANSWERED: InOneTurn(unanswered)}
