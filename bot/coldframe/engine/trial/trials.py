"""Trials as the rest of the engine meets them: places, the start at the commitment, and the tables of what is pressed,
sent, typed and due."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from coldframe.domain.facts import (
    Committed,
    CriterionCompleted,
    Fact,
    ForecastGiven,
    OwnerAsked,
    PlanChosen,
    PlanHandedIn,
)
from coldframe.domain.names import MemberId, PlanId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Round
from coldframe.domain.trial import life as domain
from coldframe.domain.trial.state import OPEN_STEPS, UNDER_WAY, Trial
from coldframe.engine.core import members, trial_turn
from coldframe.engine.core.kit import Kit
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import digest, funnel, leftovers, registering
from coldframe.engine.round import plan_sizes
from coldframe.engine.trial import forecasting, ownership, reviews, weekly
from coldframe.engine.trial.trial_reactions import begin
from coldframe.ports.chat import Inbound, Reply, Submitted
from coldframe.ports.storage import Due
from coldframe.speech.trial import trial_words

if TYPE_CHECKING:
    from coldframe.engine.intake.panel import Ask

Press = Callable[[Turn, Inbound, str], Awaitable[Reply]]
Form = Callable[[Turn, Inbound, Submitted], Awaitable[Reply]]


# --- places ---------------------------------------------------------------------------------------------------------


async def places(turn: Turn, round_: Round) -> tuple[int, datetime | None]:
    """How many trials the team runs, and when the next place is free (None when one is free now)."""
    running = await turn.uow.running_trials(round_.tenant, round_.channel)
    if len(running) < round_.settings.trials_at_once:
        return len(running), None
    return len(running), min(t.review for t in running)


async def measured_now(turn: Turn, round_: Round) -> tuple[tuple[str, str], ...]:
    """Measure and people of each trial that the team runs."""
    found = await turn.uow.trials_of(round_.tenant, round_.channel)
    return tuple((t.criterion.measure, t.criterion.counted) for t in found if t.step in UNDER_WAY)


async def places_of(turn: Turn, tenant: str, team: str, *, refuse: bool = False) -> int:
    """Places that are free now; with `refuse` none is a refusal with the date of the next one."""
    running = await turn.uow.running_trials(tenant, team)
    most = await digest.places_at_once(turn.uow, tenant, team)
    if refuse and len(running) >= most:
        free_on = min(t.review for t in running)
        raise Refused(Because.NO_FREE_PLACE, most=most, running=len(running), free_on=free_on)
    return most - len(running)


# --- the start ------------------------------------------------------------------------------------------------------


def trial_id(round_: Round, plan: PlanId) -> str:
    return f"{round_.id}-{plan}"


async def start(turn: Turn, round_: Round, fact: Committed) -> None:
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
        await begin(turn, trial)
    await forecasting.committed(turn, round_, fact)
    await digest.schedule(turn, round_.tenant, round_.channel)


async def _first_day(turn: Turn, round_: Round, plan: PlanId, owner: MemberId, review: datetime, at: datetime) -> date:
    """The owner's local day of the seal; a day earlier where the review was set just before it."""
    calendar = members.calendar_of(await turn.uow.member(round_.tenant, owner))
    weeks = timedelta(weeks=round_.plans[plan].weeks)
    return min(calendar.local_day(at), calendar.local_day(review) - weeks)


# --- words ----------------------------------------------------------------------------------------------------------


async def word(asked: Ask) -> Reply:
    """`trials`: what is under way here, with what this person can do about it."""
    teams = await registering.teams_at(asked.turn, asked.event.place, asked.event.person)
    found: list[tuple[Trial, date]] = []
    for team in teams:
        for trial in await asked.turn.uow.trials_of(asked.tenant, team):
            if trial.step in OPEN_STEPS:
                found.append((trial, await trial_turn.today(asked.turn, trial)))
    message = trial_words.under_way(found, asked.by)
    if asked.event.place.kind == "direct":
        asked.turn.answer(asked.tenant, asked.by, message)
        return Reply()
    return Reply(note=message)


async def _plan_handed_in(turn: Turn, round_: Round, fact: PlanHandedIn) -> None:
    await registering.plan_handed_in(turn, round_, fact)
    await plan_sizes.handed_in(turn, round_, fact)


PRESSES: dict[str, Press] = {
    "trial.log": weekly.open_form,
    "trial.take": weekly.pressed_line,
    "trial.check": weekly.check_form,
    "trial.tick": ownership.tick,
    "trial.move": ownership.move_form,
    "trial.block": ownership.block_form,
    "trial.hand_over": ownership.hand_over_form,
    "trial.ask": ownership.ask_form,
    "trial.accept": ownership.accept,
    "trial.decline": ownership.decline_form,
    "trial.drop": ownership.drop,
    "trial.plan": ownership.begin_form,
    "trial.learn": reviews.learn_form,
    "trial.stop": reviews.stop_form,
    "trial.close": reviews.close_form,
    "trial.review_date": reviews.date_form,
    "forecast.give": forecasting.pressed,
    "register.filter": registering.filter_form,
    "digest.more": digest.more,
    "digest.when": digest.when_form,
    "round.again": leftovers.setup_again,
    "leftovers.show": leftovers.show,
}
FORMS: dict[str, Form] = {
    "trial.log": weekly.sent,
    "trial.check": weekly.checked,
    "trial.move": ownership.moved,
    "trial.block": ownership.blocked,
    "trial.hand_over": ownership.handed_over,
    "trial.ask": ownership.asked_somebody,
    "trial.decline": ownership.declined,
    "trial.begin": ownership.begun,
    "trial.learn": reviews.learnt,
    "trial.stop": reviews.stopped,
    "trial.close": reviews.close,
    "trial.review_date": reviews.date_moved,
    "register.search": registering.searched,
    "digest.when": digest.when_set,
    "funnel.save": funnel.save,
}
DUE: dict[str, Callable[[Kit, Due], Awaitable[None]]] = {
    **reviews.DUE,
    **digest.DUE,
    **plan_sizes.DUE,
    ownership.UNANSWERED: ownership.unanswered,
    "next round": leftovers.date_has_come,
}
REACTIONS: dict[type[Fact], Callable[[Turn, Round, Any], Awaitable[None]]] = {
    OwnerAsked: ownership.asked,
    PlanChosen: forecasting.chosen,
    ForecastGiven: forecasting.given,
    PlanHandedIn: _plan_handed_in,
    CriterionCompleted: plan_sizes.completed,
}
WORDS: dict[str, Callable[[Ask], Awaitable[Reply]]] = {
    "trials": word,
    "digest": digest.word,
    "search": registering.search_word,
    "funnel": funnel.word,
}
