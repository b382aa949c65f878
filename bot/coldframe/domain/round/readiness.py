"""Whether a step can close: who is in, whether anything came, and what is lacking."""

from __future__ import annotations

from coldframe.domain.names import MoreTime
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import notes, rules
from coldframe.domain.round.rules import RULES
from coldframe.domain.state import Round


def everybody_in(round_: Round) -> bool:
    """All expected people are done. Steps of one person end with that person's decision instead."""
    return everybody_done(round_) and can_close(round_)


def everybody_done(round_: Round) -> bool:
    if RULES[round_.step].decides or notes.awaits_consent(round_):
        return False
    expected = set(rules.expected(round_))
    return bool(expected) and expected <= round_.progress.done


def nothing_in(round_: Round) -> bool:
    """Whether the step cannot close since nothing came that the next one could begin with."""
    return _refused(round_) in (Because.NOTHING_IN, Because.NOTHING_HOLDS_BACK)


def can_close(round_: Round) -> bool:
    return RULES[round_.step].close is not None and _refused(round_) is None


def _refused(round_: Round) -> Because | None:
    """Why the step cannot close, if it closes by more than one decision."""
    close = RULES[round_.step].close
    try:
        if close is not None:
            close(round_)
    except Refused as refused:
        return refused.code
    return None


def quorum_met(round_: Round) -> bool:
    """Enough people are in, and among them whoever has the role that the step cannot do without."""
    needs = RULES[round_.step].needs
    needed = needs(round_) if needs is not None else None
    if needed is not None and needed not in rules.through(round_):
        return False
    return len(rules.came_in(round_)) >= rules.quorum(round_)


def lacking(round_: Round) -> MoreTime:
    """What keeps the step from closing at its deadline, the plainest reason first."""
    if notes.awaits_consent(round_):
        return MoreTime.CONSENT
    if len(rules.came_in(round_)) < rules.quorum(round_):
        return MoreTime.QUORUM
    return MoreTime.NOTHING if nothing_in(round_) else MoreTime.ROLE
