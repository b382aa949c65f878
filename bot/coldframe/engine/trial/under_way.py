"""What is under way here, with what a person can do about it."""

from __future__ import annotations

from datetime import date

from coldframe.domain.trial.state import OPEN_STEPS, Trial
from coldframe.engine.core import trial_turn
from coldframe.engine.core.requests import Answers, Request
from coldframe.engine.register import registering
from coldframe.ports.chat import Reply
from coldframe.speech.trial import trial_words


async def word(request: Request) -> Reply:
    """`trials`: what is under way here, with what this person can do about it."""
    teams = await registering.teams_at(request.turn, request.event.place, request.by)
    found: list[tuple[Trial, date]] = []
    for team in teams:
        for trial in await request.turn.uow.trials_of(request.tenant, team):
            if trial.step in OPEN_STEPS:
                found.append((trial, await trial_turn.today(request.turn, trial)))
    message = trial_words.under_way(found, request.by)
    if request.event.place.kind == "direct":
        request.answer(message)
        return Reply()
    return Reply(note=message)


WORDS: Answers = {"trials": word}
