"""What too few wrote for it to stand without names: each of them is asked in private whether theirs is shown with their
name, and what they have shown is posted at once."""

from __future__ import annotations

from coldframe.domain.trial import signing
from coldframe.domain.trial.commands import Sign
from coldframe.domain.trial.facts import ShownSigned
from coldframe.domain.trial.state import Trial
from coldframe.engine.core import lives, trial_turn
from coldframe.engine.core.requests import TrialRequest, of_trial
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import registering
from coldframe.ports.chat import Reply
from coldframe.speech.trial import signing_words


def ask(turn: Turn, trial: Trial) -> None:
    """Everybody who may still choose; whoever says nothing within a week is asked no more."""
    what = signing.asked_about(trial)
    asked = sorted(trial.asked_to_sign & trial.people.keys())
    for member in asked:
        name = trial_turn.name(trial, lives.SIGN, member, what)
        turn.answer(trial.tenant, member, signing_words.ask(trial, member), about=trial, name=name, ask=True)
    if asked:
        turn.among(len(asked), trial.people)


async def shown(turn: Turn, before: Trial, after: Trial, fact: ShownSigned) -> None:
    said = fact.signed
    trial_turn.say(turn, after, "signed", signing_words.shown(after, said), said.by, said.what)
    if after.closing is not None:
        await registering.enter(turn, after)


async def _show(request: TrialRequest) -> Reply:
    await request.act(Sign(request.by, show=True))
    return request.passing(signing_words.is_shown())


async def _keep(request: TrialRequest) -> Reply:
    await request.act(Sign(request.by, show=False))
    return request.passing(signing_words.is_kept())


BUTTONS = of_trial({"trial.show_mine": _show, "trial.keep_mine": _keep})
