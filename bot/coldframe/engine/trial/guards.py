"""What people decide about a crossed harm limit or stop line, and that nothing happened."""

from __future__ import annotations

from coldframe.domain.trial.commands import SayCalm, SettleCrossing
from coldframe.engine.core.requests import TrialRequest, of_trial
from coldframe.ports.chat import Reply
from coldframe.speech.trial import guard_words


def _stops(request: TrialRequest) -> bool:
    return request.part(0) == guard_words.STOP


async def _open(request: TrialRequest) -> Reply:
    return Reply(form=guard_words.decide(request.trial, _stops(request)))


async def _settle(request: TrialRequest) -> None:
    await request.act(SettleCrossing(request.by, _stops(request), request.text("reason")))


async def _calm(request: TrialRequest) -> Reply:
    week = request.number(0)
    await request.act(SayCalm(request.by, week))
    return request.passing(guard_words.calm_noted(request.trial, week))


BUTTONS = of_trial({"trial.guard": _open, "trial.calm": _calm})
FORMS = of_trial({"trial.guard": _settle})
