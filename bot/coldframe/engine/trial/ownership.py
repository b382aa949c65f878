"""Who owns a trial: yes, no, handing over; first-week actions, what is in the way; an unused plan that starts."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from coldframe.domain.facts import OwnerAsked
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
from coldframe.engine.core.due_turns import due_turn
from coldframe.engine.core.kit import Kit
from coldframe.engine.core.turn import Turn
from coldframe.engine.reading import dates
from coldframe.engine.trial import nudging
from coldframe.message.nodes import Button, Option
from coldframe.ports.chat import Inbound, Reply, Submitted
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


async def asked(turn: Turn, round_: Round, fact: OwnerAsked) -> None:
    """Somebody was asked to own a chosen plan: after one of their working days the facilitator hears of silence."""
    calendar = members.calendar_of(await turn.uow.member(round_.tenant, fact.member))
    try:
        at = add_working_hours(calendar, turn.now, WORKING_DAY)
    except NoWorkingTime:
        at = turn.now
    turn.later(UNANSWERED, round_.id, f"{fact.plan}/{fact.member}", at)


async def unanswered(kit: Kit, due: Due) -> None:
    plan_id, _, member = due.occurrence.partition("/")
    async with due_turn(kit, due) as turn:
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


async def accept(turn: Turn, event: Inbound, value: str) -> Reply:
    """Yes. A trial that waited for this yes takes a place now, if one is free."""
    from coldframe.engine.trial.trials import places_of

    trial = await trial_turn.of_member(turn, event, value)
    by = MemberId(event.person)
    calendar = await trial_turn.calendar_of(turn, trial, by)
    starts = calendar.local_day(turn.now)
    if trial.step is TrialStep.PROPOSED and trial.asked == by:
        await places_of(turn, trial.tenant, trial.team, refuse=True)
        _review_still_fits(trial, turn.now)
    await trial_turn.act(turn, trial, AnswerOffer(by, accept=True, starts=starts))
    return Reply()


def _review_still_fits(trial: Trial, now: datetime) -> None:
    from datetime import timedelta

    earliest = now + timedelta(weeks=trial.planned) - timedelta(days=1)
    if trial.review is not None and trial.review < earliest:
        raise Refused(Because.REVIEW_TOO_EARLY, at=trial.review, earliest=earliest)


async def decline_form(turn: Turn, event: Inbound, value: str) -> Reply:
    return Reply(form=trial_forms.decline(await trial_turn.of_member(turn, event, value)))


async def declined(turn: Turn, event: Inbound, what: Submitted) -> Reply:
    trial = await trial_turn.of_member(turn, event, what.value)
    answer = AnswerOffer(MemberId(event.person), accept=False, reason=what.fields.get("reason", ""))
    trial = await trial_turn.act(turn, trial, answer)
    instead = MemberId(what.fields.get("instead", ""))
    if instead and instead in trial.people and instead != trial.owner:
        await trial_turn.act(turn, trial, OfferTrial(trial.facilitator, instead))
    turn.answer(trial.tenant, event.person, owner_words.no_noted())
    return Reply()


async def hand_over_form(turn: Turn, event: Inbound, value: str) -> Reply:
    trial = await trial_turn.of_member(turn, event, value)
    if event.person != trial.owner:
        raise Refused(Because.NOT_OWNER)
    return Reply(form=trial_forms.hand_over(trial))


async def handed_over(turn: Turn, event: Inbound, what: Submitted) -> Reply:
    """To somebody who is asked; without a name the trial has no owner and the facilitator is told."""
    trial = await trial_turn.of_member(turn, event, what.value)
    by, to, reason = MemberId(event.person), MemberId(what.fields.get("member", "")), what.fields.get("reason", "")
    if not to:
        await trial_turn.act(turn, trial, GiveUp(by, reason))
        turn.answer(trial.tenant, by, owner_words.given_up())
        return Reply()
    await trial_turn.act(turn, trial, OfferTrial(by, to, reason))
    turn.answer(trial.tenant, by, owner_words.asked_to_take_over())
    return Reply()


async def ask_form(turn: Turn, event: Inbound, value: str) -> Reply:
    trial = await trial_turn.of_member(turn, event, value)
    if event.person not in (trial.facilitator, trial.owner, trial.deputy):
        raise Refused(Because.NOT_FACILITATOR, who=trial.name_of(trial.facilitator))
    return Reply(form=trial_forms.ask_somebody(trial))


async def asked_somebody(turn: Turn, event: Inbound, what: Submitted) -> Reply:
    trial = await trial_turn.of_member(turn, event, what.value)
    by = trial.facilitator if event.person == trial.deputy else MemberId(event.person)
    await trial_turn.act(turn, trial, OfferTrial(by, MemberId(what.fields.get("member", ""))))
    turn.answer(trial.tenant, event.person, owner_words.asked())
    return Reply()


async def drop(turn: Turn, event: Inbound, value: str) -> Reply:
    trial = await trial_turn.of_member(turn, event, value)
    await trial_turn.act(turn, trial, DropTrial(MemberId(event.person)))
    return Reply()


# --- people come and go ---------------------------------------------------------------------------------------------


async def left(turn: Turn, tenant: str, person: str, team: str | None = None) -> None:
    """Somebody left: what they owned is without an owner, and the facilitator is told."""
    from coldframe.domain.commands import BOT

    for channel in [team] if team is not None else await turn.uow.teams_of(tenant, person):
        for trial in await turn.uow.trials_of(tenant, channel):
            await trial_turn.act(turn, trial, LeaveTrial(BOT, MemberId(person)))


async def came(turn: Turn, tenant: str, person: str, name: str, team: str) -> None:
    """A new colleague of the channel may own what runs."""
    from coldframe.domain.commands import BOT

    for trial in await turn.uow.trials_of(tenant, team):
        await trial_turn.act(turn, trial, JoinTrial(BOT, MemberId(person), name))


async def forget(turn: Turn, tenant: str, person: str) -> None:
    """Chances and learnings of this person are deleted, in trials that are over too; that they owned one stays."""
    from coldframe.domain.commands import BOT

    for team in await turn.uow.teams_of(tenant, person):
        for trial in await turn.uow.trials_of(tenant, team, over=True):
            await trial_turn.act(turn, trial, ForgetIn(BOT, MemberId(person)))


async def away(turn: Turn, tenant: str, person: str, back: datetime) -> None:
    """An owner goes away for longer than a week: somebody else may own it meanwhile."""
    from datetime import timedelta

    owned = [t for t in await turn.uow.trials_owned(tenant, person) if t.step in UNDER_WAY]
    if owned and back - turn.now > timedelta(days=LONG_ABSENCE_DAYS):
        turn.answer(tenant, person, owner_words.away_with_trials(owned))


# --- actions, obstacles ---------------------------------------------------------------------------------------------


async def tick(turn: Turn, event: Inbound, value: str) -> Reply:
    trial_id, _, action = value.partition("|")
    trial = await trial_turn.of_member(turn, event, trial_id)
    await trial_turn.act(turn, trial, TickAction(MemberId(event.person), action))
    turn.answer(trial.tenant, event.person, owner_words.ticked())
    return Reply()


async def move_form(turn: Turn, event: Inbound, value: str) -> Reply:
    trial_id, _, action_id = value.partition("|")
    trial = await trial_turn.of_member(turn, event, trial_id)
    action = next((a for a in trial.actions if a.id == action_id), None)
    if action is None:
        raise Refused(Because.UNKNOWN_ITEM)
    return Reply(form=trial_forms.move_action(trial, action))


async def moved(turn: Turn, event: Inbound, what: Submitted) -> Reply:
    """On a working day of whoever does it. Its entry in their calendar moves with it."""
    trial_id, _, action_id = what.value.partition("|")
    trial = await trial_turn.of_member(turn, event, trial_id)
    by = MemberId(event.person)
    who_does = next((a.who for a in trial.actions if a.id == action_id), by)
    whose = await members.named_calendars(turn.uow, trial.tenant, {who_does: trial.name_of(who_does)})
    calendar = await trial_turn.calendar_of(turn, trial, by)
    try:
        day = dates.reading(what.fields.get("date", ""), turn.now, calendar, whose)
    except dates.UnclearDate as unclear:
        return Reply(errors={"date": str(unclear)})
    trial = await trial_turn.act(turn, trial, MoveAction(by, action_id, day.at))
    again = Button("Set it again …", "trial.move", what.value)
    understood = time_words.date_understood("Action", day.words, again)
    entry = trial_words.calendar_of_action(trial, action_id)
    turn.answer(trial.tenant, by, replace(understood, attachments=(entry,) if who_does == by else ()))
    if who_does != by:
        trial_turn.tell(turn, trial, who_does, "moved", owner_words.action_moved(trial, action_id, by))
    return Reply()


async def block_form(turn: Turn, event: Inbound, value: str) -> Reply:
    return Reply(form=trial_forms.in_the_way(await trial_turn.of_member(turn, event, value)))


async def blocked(turn: Turn, event: Inbound, what: Submitted) -> Reply:
    trial = await trial_turn.of_member(turn, event, what.value)
    await trial_turn.act(turn, trial, SayWhatBlocks(MemberId(event.person), what.fields.get("text", "")))
    turn.answer(trial.tenant, event.person, owner_words.obstacle_noted())
    return Reply()


# --- an unused plan starts ------------------------------------------------------------------------------------------


async def begin_form(turn: Turn, event: Inbound, value: str) -> Reply:
    from coldframe.engine.trial.trials import places_of
    from coldframe.speech.round import forms

    round_, plan_id = await _unused(turn, event, value)
    await places_of(turn, round_.tenant, round_.channel, refuse=True)
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


async def begun(turn: Turn, event: Inbound, what: Submitted) -> Reply:
    """The plan waits for its owner's yes; then it takes the free place."""
    from coldframe.engine.trial.trial_reactions import ask
    from coldframe.engine.trial.trials import places_of, trial_id

    round_, plan_id = await _unused(turn, event, what.value)
    await places_of(turn, round_.tenant, round_.channel, refuse=True)
    by, owner = MemberId(event.person), MemberId(what.fields.get("owner", ""))
    if owner not in round_.active():
        return Reply(errors={"owner": owner_words.ONE_OF_THE_TEAM})
    sheet = sent_form.Sheet(turn, event, by, round_, (plan_id,), what.fields)
    try:
        round_ = _completed(round_, plan_id, sheet)
        actions = await _actions(sheet)
        review = await sent_form.review_day(sheet, "review", owner)
    except sent_form.FieldError as error:
        return Reply(errors={error.field: error.sentence})
    known = await turn.uow.trial(trial_id(round_, plan_id))
    if known is not None and known.step is not TrialStep.DROPPED:
        raise Refused(Because.UNKNOWN_ITEM)
    trial = domain.proposed(round_, plan_id, trial_id(round_, plan_id), owner, actions, review.at)
    _review_still_fits(trial, turn.now)
    await turn.uow.add_trial(trial, turn.now)
    again = Button("Set it again …", "trial.review_date", trial.id)
    turn.answer(trial.tenant, by, time_words.date_understood("Review", review.words, again))
    await ask(turn, trial, by, "")
    turn.answer(round_.tenant, by, owner_words.asked_to_start())
    return Reply()


def _completed(round_: Round, plan_id: PlanId, sheet: sent_form.Sheet) -> Round:
    """The plan with its criterion complete. Raises FieldError or Refused."""
    from coldframe.domain.round.plans import checked_criterion

    plan = round_.plans[plan_id]
    criterion: Criterion = plan.criterion
    if "measure" in sheet.fields:
        weeks = sent_form.weeks(sheet)
        criterion = checked_criterion(replace(sent_form.read_criterion(sheet, criterion), baseline_weeks=weeks))
    checked_by = sheet.text("checked_by").strip() or plan.checked_by
    if criterion.missing():
        raise Refused(Because.CRITERION_INCOMPLETE, plan=plan.title)
    if plan.caution and not checked_by:
        raise Refused(Because.CHECK_MISSING, plan=plan.title)
    plans = {**round_.plans, plan_id: replace(plan, criterion=criterion, checked_by=checked_by)}
    return replace(round_, plans=plans)


async def _actions(sheet: sent_form.Sheet) -> tuple[TrialAction, ...]:
    from coldframe.domain.round.commitment import FIRST_WEEK
    from coldframe.domain.texts import accepted

    owner = MemberId(sheet.text("owner"))
    found = []
    for number, words in enumerate(sheet.text("actions").splitlines(), 1):
        if words.strip():
            what, _, by_when = words.partition("|")
            at = (await sent_form.action_day(sheet, by_when.strip(), owner)).at
            if at > sheet.turn.now + FIRST_WEEK:
                raise Refused(Because.ACTION_TOO_FAR, at=at, latest=sheet.turn.now + FIRST_WEEK)
            found.append(TrialAction(f"a{number}", accepted(what, 300, field="actions"), owner, at))
    if not found:
        raise Refused(Because.ACTIONS_MISSING, plan=sheet.round.plans[PlanId(sheet.part(0))].title)
    return tuple(found)
