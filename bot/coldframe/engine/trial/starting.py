"""The chosen plans become trials when the round is committed."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from coldframe.domain.facts import Committed
from coldframe.domain.names import MemberId, PlanId
from coldframe.domain.state import Round
from coldframe.domain.trial import life as domain
from coldframe.engine.core import members, trial_turn
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import digest
from coldframe.engine.trial import forecasting
from coldframe.engine.trial.places import trial_id
from coldframe.engine.trial.trial_reactions import begin
from coldframe.speech.trial import trial_words


async def start(turn: Turn, before: Round, round_: Round, fact: Committed) -> None:
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


FOLLOW = {Committed: start}
