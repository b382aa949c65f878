"""Erasing all that is kept of a team: asked for by its facilitator, agreed to by another, and anybody may say no."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from coldframe.domain import checks
from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.state import Round
from coldframe.domain.who_may import Act

SECOND_WITHIN = timedelta(days=7)
"""How long a second person may think about it."""
WAITS = timedelta(days=3)
"""From the second yes on, so that everybody can export what they need, or object."""


@dataclass(frozen=True, slots=True)
class Erasing:
    """Two people have to say yes, each their own; `at` is when it happens, once the second has."""

    by: MemberId
    until: datetime
    second: MemberId | None = None
    at: datetime | None = None


def may_see_it_all(round_: Round | None, by: MemberId) -> None:
    """Raises Refused for whoever does not facilitate the team's newest round."""
    team = known(round_)
    checks.may(team, by, Act.WHOLE_TEAM)


def asked(erasing: Erasing | None, round_: Round | None, by: MemberId, now: datetime) -> Erasing:
    """Raises Refused for anybody but the facilitator, and while it is asked already."""
    may_see_it_all(round_, by)
    if is_open(erasing, now):
        raise Refused(Because.ERASING_ASKED)
    return Erasing(by, now + SECOND_WITHIN)


def agreed(erasing: Erasing | None, round_: Round | None, by: MemberId, now: datetime) -> Erasing:
    """Another member's own yes. Raises Refused for whoever asked, and when nothing is asked any more."""
    checks.may(known(round_), by, Act.ANSWER_ERASING)
    if erasing is None or not is_open(erasing, now):
        raise Refused(Because.UNKNOWN_ITEM)
    if by == erasing.by:
        raise Refused(Because.ERASING_NEEDS_ANOTHER)
    return erasing if erasing.second is not None else replace(erasing, second=by, at=now + WAITS)


def objected(erasing: Erasing | None, round_: Round | None, by: MemberId, now: datetime) -> None:
    """Any member's no ends it, whoever said yes. Raises Refused when nothing is asked any more."""
    checks.may(known(round_), by, Act.ANSWER_ERASING)
    if not is_open(erasing, now):
        raise Refused(Because.UNKNOWN_ITEM)


def is_open(erasing: Erasing | None, now: datetime) -> bool:
    """Whether it can still be agreed or objected to."""
    return erasing is not None and (erasing.second is not None or now < erasing.until)
