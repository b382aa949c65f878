"""What is under way here, with what a person can do about it."""

from __future__ import annotations

from coldframe.domain.trial.state import OPEN_STEPS
from coldframe.domain.who_may import Act
from coldframe.engine.core import trial_turn
from coldframe.engine.core.requests import Answers, Request
from coldframe.engine.register import fates, teams
from coldframe.message.nodes import Block
from coldframe.ports.chat import Reply
from coldframe.speech.register import fate_words
from coldframe.speech.trial import trial_words


async def word(request: Request) -> Reply | None:
    """`trials`: what is under way here, with what this person can do about it."""
    turn = request.turn
    asked = await teams.asked_about(request, Act.TRIALS)
    trials = [t for team in asked for t in await turn.uow.trials_of(request.tenant, team)]
    shown = [(trial, await trial_turn.today(turn, trial)) for trial in trials if trial.step in OPEN_STEPS]
    decided = [block for team in asked for block in await _decided(request, team)]
    return await request.page(trial_words.under_way(shown, request.by, decided))


async def _decided(request: Request, team: str) -> list[Block]:
    """What the team decided and is to be done."""
    uow = request.turn.uow
    found = [fate for fate in (await uow.team(request.tenant, team)).fates.values() if fate.open]
    names = await fates.names_of(uow, request.tenant, found) if found else {}
    return fate_words.under_way(team, found, names, request.by)


WORDS: Answers = {"trials": word}
