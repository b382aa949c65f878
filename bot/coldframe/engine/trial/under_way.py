"""What is under way here, with what a person can do about it."""

from __future__ import annotations

from coldframe.domain.trial.state import OPEN_STEPS
from coldframe.domain.who_may import Act
from coldframe.engine.core import trial_turn
from coldframe.engine.core.requests import Answers, Request
from coldframe.engine.register import teams
from coldframe.ports.chat import Reply
from coldframe.speech.trial import trial_words


async def word(request: Request) -> Reply | None:
    """`trials`: what is under way here, with what this person can do about it."""
    turn = request.turn
    asked = await teams.asked_about(request, Act.TRIALS)
    trials = [t for team in asked for t in await turn.uow.trials_of(request.tenant, team)]
    shown = [(trial, await trial_turn.today(turn, trial)) for trial in trials if trial.step in OPEN_STEPS]
    return await request.page(trial_words.under_way(shown, request.by))


WORDS: Answers = {"trials": word}
