"""Trials under way, as far as a round needs them: how many places are taken, and when one is free."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import datetime, timedelta

from bot.domain.facts import Committed
from bot.domain.state import Round
from bot.engine.kit import Kit
from bot.engine.turn import Turn
from bot.ports.chat import Inbound, Reply, Submitted
from bot.ports.storage import Due, RunningTrial

PRESSES: dict[str, Callable[[Turn, Inbound, str], Awaitable[Reply]]] = {}
FORMS: dict[str, Callable[[Turn, Inbound, Submitted], Awaitable[Reply]]] = {}


async def places(turn: Turn, round_: Round) -> tuple[int, datetime | None]:
    """How many trials the team runs, and when the next place is free (None when one is free now)."""
    running = await turn.uow.running_trials(round_.tenant, round_.channel)
    if len(running) < round_.settings.trials_at_once:
        return len(running), None
    return len(running), min(t.review for t in running)


async def start(turn: Turn, round_: Round, fact: Committed) -> None:
    """The chosen plans take their places; the database refuses a third."""
    for plan, choice in round_.choices.items():
        assert choice.review is not None and choice.owner is not None
        ends = fact.at + timedelta(weeks=round_.plans[plan].weeks)
        trial = RunningTrial(f"{round_.id}-{plan}", round_.tenant, round_.channel, choice.owner, ends, choice.review)
        await turn.uow.start_trial(trial)


async def _next_round(kit: Kit, due: Due) -> None:
    """The date of the next round has come: its facilitator is asked to start it."""
    from bot.speech.answers import said

    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        round_ = await turn.round(due.subject)
        words = said("Today is the date you set for the next round. Type `/coldframe new` in the channel to start it.")
        turn.answer(round_.tenant, round_.roles.facilitator, words)
        await turn.finish()


DUE: dict[str, Callable[[Kit, Due], Awaitable[None]]] = {"next round": _next_round}
