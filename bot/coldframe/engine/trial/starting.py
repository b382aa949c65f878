"""Trials begin: the chosen plans when the round is committed, and later a plan that waited for a free place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta

from coldframe.domain.facts import Fact
from coldframe.domain.names import ENDS, MemberId, PlanId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.commitment import FIRST_WEEK, Committed
from coldframe.domain.round.plans import checked_criterion
from coldframe.domain.state import Criterion, Plan, Round
from coldframe.domain.texts import accepted
from coldframe.domain.trial import life as domain
from coldframe.domain.trial.state import Trial, TrialAction, TrialStep
from coldframe.engine.core import members, sent_form, trial_turn
from coldframe.engine.core.requests import RoundRequest, of_round
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.register import digest, leftovers, registering
from coldframe.engine.trial import ownership, reviews, schedule, signing
from coldframe.engine.trial.places import refuse_without_place, trial_id
from coldframe.message.nodes import Option
from coldframe.ports.chat import Reply
from coldframe.ports.storage import RunningTrial
from coldframe.speech.names import about_trial
from coldframe.speech.people import time_words
from coldframe.speech.round import forms
from coldframe.speech.trial import owner_words, trial_forms, trial_words

MAX_ACTION = 300  # characters of a first-week action


async def begin(turn: Turn, trial: Trial) -> None:
    """Takes a place, enters the register, sets everything that is to come."""
    assert trial.review is not None
    ends = await trial_turn.earliest_review(turn, trial)
    place = RunningTrial(trial.id, trial.tenant, trial.team, trial.owner or "", ends, trial.review)
    await turn.uow.start_trial(place)
    await registering.enter(turn, trial)
    await schedule.schedule(turn, trial)
    await reviews.schedule(turn, trial)


# --- when the round is committed ------------------------------------------------------------------------------------


async def committed(turn: Turn, before: Round, round_: Round, fact: Committed) -> None:
    """The chosen plans take their places, each with its card, its dues and its place in the register."""
    for plan, choice in round_.choices.items():
        assert choice.review is not None and choice.owner is not None
        starts = await _first_day(turn, round_, plan, choice.owner, choice.review, fact.at)
        trial = domain.from_commitment(round_, plan, trial_id(round_, plan), starts)
        await turn.uow.add_trial(trial, turn.now)
        await trial_turn.show_card(turn, trial)
        feared = trial_words.fears(trial)
        if feared is not None:
            trial_turn.say(turn, trial, "fears", feared)
        signing.ask(turn, trial)
        await begin(turn, trial)
    await digest.schedule(turn, round_.tenant, round_.channel)


async def _first_day(turn: Turn, round_: Round, plan: PlanId, owner: MemberId, review: datetime, at: datetime) -> date:
    """The owner's local day of the seal; a day earlier where the review was set just before it."""
    calendar = members.calendar_of(await turn.uow.member(round_.tenant, owner))
    weeks = timedelta(weeks=round_.plans[plan].weeks)
    return min(calendar.local_day(at), calendar.local_day(review) - weeks)


# --- an unused plan starts ------------------------------------------------------------------------------------------


async def begin_form(request: RoundRequest) -> Reply:
    plan = await _unused(request)
    round_ = request.round
    options = [Option(m, round_.name_of(m)) for m in round_.active()]
    form = trial_forms.begin(round_, plan.id, options)
    unchecked = plan.caution and not plan.checked_by
    extra = forms.criterion(round_, plan.id).fields if plan.criterion.missing() or unchecked else ()
    return Reply(form=replace(form, fields=(*form.fields, *extra)))


async def _unused(request: RoundRequest) -> Plan:
    """The plan that may start now. Raises Refused."""
    round_, plan_id = request.round, PlanId(request.part(0))
    if plan_id not in round_.plan_order or plan_id in round_.choices:
        raise Refused(Because.UNKNOWN_ITEM)
    await refuse_without_place(request.turn, round_.tenant, round_.channel)
    return round_.plans[plan_id]


async def begun(request: RoundRequest) -> Reply | None:
    """The plan waits for its owner's yes; then it takes the free place."""
    plan, owner = await _unused(request), MemberId(request.text("owner"))
    if owner not in request.round.active():
        return Reply(errors={"owner": owner_words.ONE_OF_THE_TEAM})
    try:
        round_ = _completed(request, plan)
        actions = await _actions(request, plan, owner)
        review = await sent_form.review_day(request, "review", owner)
    except sent_form.FieldError as error:
        return Reply(errors={error.field: error.sentence})
    trial = domain.proposed(round_, plan.id, trial_id(round_, plan.id), owner, actions, review.at)
    await _add(request.turn, trial)
    again = time_words.set_again("trial.review_date", about_trial(trial))
    request.answer(time_words.date_understood(time_words.REVIEW, review, again))
    await ownership.ask(request.turn, trial, request.by, "")
    found = await request.turn.uow.open_posts(trial.tenant, None, trial.people)
    await leftovers.follow(request.turn, trial.tenant, trial.team, found)
    return request.passing(owner_words.asked_to_start())


async def _add(turn: Turn, trial: Trial) -> None:
    """Raises Refused for a plan that is tried already, and for a review that comes too early."""
    known = await turn.uow.trial(trial.id)
    if known is not None and known.step is not TrialStep.DROPPED:
        raise Refused(Because.UNKNOWN_ITEM)
    ownership.review_still_fits(trial, turn.now)
    await turn.uow.add_trial(trial, turn.now)


def _completed(request: RoundRequest, plan: Plan) -> Round:
    """The round with the plan's criterion complete. Raises FieldError or Refused."""
    criterion = _criterion(request, plan.criterion)
    checked_by = request.text("checked_by").strip() or plan.checked_by
    if criterion.missing():
        raise Refused(Because.CRITERION_INCOMPLETE, plan=plan.title, fields=criterion.missing())
    if plan.caution and not checked_by:
        raise Refused(Because.CHECK_MISSING, plan=plan.title)
    whole = replace(plan, criterion=criterion, checked_by=checked_by)
    return replace(request.round, plans={**request.round.plans, plan.id: whole})


def _criterion(request: RoundRequest, known: Criterion) -> Criterion:
    if "measure" not in request.fields:
        return known
    return checked_criterion(sent_form.read_criterion(request, known))


async def _actions(request: RoundRequest, plan: Plan, owner: MemberId) -> tuple[TrialAction, ...]:
    lines = enumerate(request.text("actions").splitlines(), 1)
    found = [await _action(request, number, words, owner) for number, words in lines if words.strip()]
    if not found:
        raise Refused(Because.ACTIONS_MISSING, plan=plan.title)
    return tuple(found)


async def _action(request: RoundRequest, number: int, words: str, owner: MemberId) -> TrialAction:
    """One line of the form, `what | by when`."""
    what, _, by_when = words.partition("|")
    at = (await sent_form.action_day(request, by_when.strip(), owner)).at
    latest = request.turn.now + FIRST_WEEK
    if at > latest:
        raise Refused(Because.ACTION_TOO_FAR, at=at, latest=latest)
    return TrialAction(f"a{number}", accepted(what, MAX_ACTION, field="actions"), owner, at)


BUTTONS = of_round({"trial.plan": begin_form}, ENDS)
FORMS = of_round({"trial.begin": begun}, ENDS)
FOLLOW: Mapping[type[Fact], Follow[Round]] = {Committed: committed}
