"""How likely each verdict of a chosen plan is, told to its owner before anything is sealed."""

from __future__ import annotations

from datetime import datetime

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import PlanId
from coldframe.domain.round.choosing import with_choice
from coldframe.domain.state import Criterion, Odds, Round


class ShowOdds(Command):
    """How likely each verdict is under this criterion: its owner is told now."""

    plan: PlanId
    criterion: Criterion
    odds: Odds


class OddsShown(Fact):
    plan: PlanId
    odds: Odds


def show_odds(round_: Round, command: ShowOdds, now: datetime) -> Facts:
    """Nothing of a criterion that is another by now, or of a plan that is not chosen any more."""
    checks.bot(command.by)
    choice = round_.choices.get(command.plan)
    if choice is None or round_.plans[command.plan].criterion != command.criterion or choice.odds == command.odds:
        return ()
    return (OddsShown(command.plan, command.odds),)


def odds_unseen(round_: Round) -> tuple[PlanId, ...]:
    """Chosen plans whose owner has not seen how likely each verdict is."""
    return tuple(plan for plan, choice in round_.choices.items() if choice.owner is not None and choice.odds is None)


def odds_shown(round_: Round, fact: OddsShown) -> Round:
    return with_choice(round_, fact.plan, odds=fact.odds)


DECIDE: Decide = {ShowOdds: show_odds}
EVOLVE: Evolve = {OddsShown: odds_shown}
