"""Trials begin: the chosen plans when the round is committed, and later a plan that waited for a free place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from coldframe.domain import checks
from coldframe.domain.commands import BOT
from coldframe.domain.facts import Fact
from coldframe.domain.names import ENDS, MemberId, PlanId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import overlapping
from coldframe.domain.round.commitment import FIRST_WEEK, Committed
from coldframe.domain.round.plans import checked_criterion
from coldframe.domain.state import Criterion, Plan, Round
from coldframe.domain.texts import accepted
from coldframe.domain.trial import life as domain
from coldframe.domain.trial.commands import DropTrial, ForetellTrial
from coldframe.domain.trial.state import Trial, TrialAction, TrialStep
from coldframe.engine.core import members, sent_form, trial_turn
from coldframe.engine.core.requests import RoundRequest, of_round
from coldframe.engine.core.turn import Carry, Follow, Kit, Turn, due_turn
from coldframe.engine.register import digest, leftovers, registering
from coldframe.engine.trial import building, ownership, reviews, schedule, signing
from coldframe.engine.trial.places import alongside, refuse_without_place, trial_id
from coldframe.engine.worker import foretelling
from coldframe.message.nodes import Field, Option
from coldframe.message.packed import Occurrence
from coldframe.ports.chat import Reply
from coldframe.ports.storage import Due, RunningTrial
from coldframe.speech.round import criterion_forms, forms
from coldframe.speech.trial import building_words, owner_words, trial_forms, trial_words
from coldframe.timing.dates import Reading

ODDS = "trial odds"
MAX_ACTION = 300  # characters of a first-week action


async def begin(turn: Turn, trial: Trial) -> None:
    """Takes a place, enters the register, sets what is to come."""
    assert trial.review is not None
    place = RunningTrial(trial.id, trial.tenant, trial.team, trial.owner or "", trial.review, trial.review)
    await turn.uow.start_trial(place)
    await registering.enter(turn, trial)
    await schedule.schedule(turn, trial)
    if trial.step is not TrialStep.BUILDING:  # it was brought in while it was running
        await reviews.schedule(turn, trial)


# --- when the round is committed ------------------------------------------------------------------------------------


async def committed(turn: Turn, before: Round, round_: Round, fact: Committed) -> None:
    """The chosen plans take their places, each with its card, its dues and its place in the register."""
    for plan, choice in round_.choices.items():
        assert choice.owner is not None
        calendar = members.calendar_of(await turn.uow.member(round_.tenant, choice.owner))
        sealed = calendar.local_day(fact.at)
        trial = domain.from_commitment(round_, plan, trial_id(round_, plan), sealed, calendar.zone)
        await turn.uow.add_trial(trial, turn.now)
        await trial_turn.show_card(turn, trial)
        feared = trial_words.fears(trial)
        if feared is not None:
            trial_turn.say(turn, trial, "fears", feared)
        signing.ask(turn, trial)
        await begin(turn, trial)
    await digest.schedule(turn, round_.tenant, round_.channel)


# --- an unused plan starts ------------------------------------------------------------------------------------------


async def begin_form(request: RoundRequest) -> Reply:
    plan = await _unused(request)
    round_ = request.round
    options = [Option(m, round_.name_of(m)) for m in round_.active()]
    pace = building_words.pace_line(await building.pace_of(request.turn, round_))
    beside = [each.title for each in await alongside(request.turn, round_)]
    form = trial_forms.begin(round_, plan.id, options, pace, beside)
    return Reply(form=replace(form, fields=(*form.fields, *_asked_besides(round_, plan))))


def _asked_besides(round_: Round, plan: Plan) -> Sequence[Field]:
    """What its criterion lacks; a harm measure without a limit warns nobody."""
    if plan.criterion.missing() or plan.unchecked:
        return forms.criterion(round_, plan.id).fields
    return () if plan.criterion.harm_limit is not None else criterion_forms.limit(plan.criterion)


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
        live = await _live_day(request, owner)
        await _refuse_overlap(request, round_.plans[plan.id], live.day)
    except sent_form.FieldError as error:
        return Reply(errors={error.field: error.sentence})
    trial = domain.proposed(round_, plan.id, trial_id(round_, plan.id), owner, actions, live.day)
    await _add(request.turn, trial)
    request.turn.later(ODDS, trial.id, Occurrence((request.by,)).pack(), request.turn.now)
    found = await request.turn.uow.open_posts(trial.tenant, None, trial.people)
    await leftovers.follow(request.turn, trial.tenant, trial.team, found)
    return request.passing(owner_words.asked_to_start(trial, live.day))


async def _live_day(request: RoundRequest, owner: MemberId) -> Reading:
    """The day on which it should be live: one on which its owner works. Raises FieldError and Refused."""
    whose = await sent_form.at_work(request, owner)
    day = await sent_form.typed_day(request, "live", request.text("live"), whose)
    checks.planned_day(day.day, whose[0][1].local_day(request.turn.now))
    return day


async def _refuse_overlap(request: RoundRequest, plan: Plan, live: date) -> None:
    """Two trials on the same people at the same time need a yes. Raises FieldError."""
    under_way = await alongside(request.turn, request.round)
    title = overlapping.met_by(plan.criterion, plan.weeks, live, under_way)
    if title and not request.text("overlap"):
        raise sent_form.FieldError("overlap", owner_words.same_people(title))


async def _add(turn: Turn, trial: Trial) -> None:
    """Raises Refused for a plan that is tried already."""
    known = await turn.uow.trial(trial.id)
    if known is not None and known.step is not TrialStep.DROPPED:
        raise Refused(Because.UNKNOWN_ITEM)
    await turn.uow.add_trial(trial, turn.now)


def _completed(request: RoundRequest, plan: Plan) -> Round:
    """The round with the plan's criterion complete. Raises FieldError or Refused."""
    criterion = _criterion(request, plan.criterion)
    checked_by = request.text("checked_by").strip() or plan.checked_by
    if criterion.missing():
        raise Refused(Because.CRITERION_INCOMPLETE, plan=plan.title, fields=criterion.missing())
    if plan.unchecked and not checked_by:
        raise Refused(Because.CHECK_MISSING, plan=plan.title)
    whole = replace(plan, criterion=criterion, checked_by=checked_by)
    return replace(request.round, plans={**request.round.plans, plan.id: whole})


def _criterion(request: RoundRequest, known: Criterion) -> Criterion:
    if not {"measure", "harm_limit"} & set(request.fields):
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


async def _foretell(kit: Kit, due: Due) -> None:
    """How likely each verdict is, reckoned in the worker; then somebody is asked to own it."""
    (by,) = Occurrence.unpack(due.occurrence).parts
    async with kit.store.begin() as uow:
        trial = await uow.trial(due.subject)
    if trial is None or trial.step is not TrialStep.PROPOSED:
        return
    found = await kit.numbers.compute(foretelling.odds_of, trial.criterion, trial.planned)
    async with due_turn(kit, due) as turn:
        trial = await turn.trial(due.subject)
        if trial.step is not TrialStep.PROPOSED or trial.asked is None:
            return
        turn.answers(trial.tenant, by, due.at)
        if isinstance(found, str):
            turn.answer(trial.tenant, by, owner_words.cannot_be_judged(trial, found))
            await turn.act_on_trial(trial, DropTrial(trial.facilitator))
        else:
            await ownership.ask(turn, await turn.act_on_trial(trial, ForetellTrial(BOT, found)), by, "")


BUTTONS = of_round({"trial.plan": begin_form}, ENDS)
FORMS = of_round({"trial.begin": begun}, ENDS)
FOLLOW: Mapping[type[Fact], Follow[Round]] = {Committed: committed}
DUE: Mapping[str, Carry] = {ODDS: _foretell}
