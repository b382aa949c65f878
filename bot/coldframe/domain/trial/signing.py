"""What fewer than three people wrote is shown to nobody without names: each of them chooses whether it is shown with
theirs, or not at all. Whoever says nothing shows nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.trial import checks
from coldframe.domain.trial.commands import Sign
from coldframe.domain.trial.facts import Facts, KeptToSelf, ShownSigned, TrialFact
from coldframe.domain.trial.state import Signable, Signed, Trial, TrialStep
from coldframe.domain.who_may import Act


def asked_about(trial: Trial) -> Signable:
    """What the question is about by now: each has its time, and the next one ends the one before."""
    return "learning" if trial.step is TrialStep.REVIEWED else "fear"


def is_settled(trial: Trial, member: MemberId) -> bool:
    """Whether they have answered. Of somebody who was never asked that is not to be known."""
    what = asked_about(trial)
    kept = member in _of(trial, what) and member not in trial.asked_to_sign
    return kept or any(signed.what == what and signed.by == member for signed in trial.signed)


def sign(trial: Trial, command: Sign, now: datetime) -> Facts:
    checks.may(trial, command.by, Act.SIGN, own=command.by in trial.asked_to_sign)
    what = asked_about(trial)
    text = _of(trial, what).get(command.by, "")
    if command.by not in trial.asked_to_sign or not text:
        raise Refused(Because.NOT_ASKED)
    return (ShownSigned(Signed(what, command.by, text)) if command.show else KeptToSelf(command.by),)


# --- evolve ---


def shown_signed(trial: Trial, fact: ShownSigned) -> Trial:
    what, by = fact.signed.what, fact.signed.by
    left = {m: text for m, text in _of(trial, what).items() if m != by}
    shown = replace(trial, asked_to_sign=trial.asked_to_sign - {by}, signed=(*trial.signed, fact.signed))
    return replace(shown, learnings=left) if what == "learning" else replace(shown, feared=left)


def _of(trial: Trial, what: Signable) -> Mapping[MemberId, str]:
    return trial.learnings if what == "learning" else trial.feared


def kept_to_self(trial: Trial, fact: KeptToSelf) -> Trial:
    return replace(trial, asked_to_sign=trial.asked_to_sign - {fact.member})


DECIDE: dict[type[Command], Callable[[Trial, Any, datetime], Facts]] = {Sign: sign}
EVOLVE: dict[type[TrialFact], Callable[[Trial, Any], Trial]] = {ShownSigned: shown_signed, KeptToSelf: kept_to_self}
