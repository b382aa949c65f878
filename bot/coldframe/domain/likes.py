"""What became of trials like a new one, as a base rate for whoever says how likely it is; and what the team told and
tried before that is like what it asks and plans now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coldframe.domain.names import QuestionId

FEWEST = 5
"""Trials like it; with fewer a share would say nothing."""


@dataclass(frozen=True, slots=True)
class Tried:
    """A trial that was judged here: its lever by name, how it was compared, how long it was planned."""

    lever: str
    kind: str
    weeks: int
    reached: bool


@dataclass(frozen=True, slots=True)
class Likes:
    """Of so many trials that are alike in what is named so many reached their target; empty or 0: not alike in that."""

    number: int
    reached: int
    lever: str = ""
    kind: str = ""
    weeks: int = 0


def like(tried: Sequence[Tried], lever: str, kind: str, weeks: int) -> Likes | None:
    """Alike in lever, design and length; else in lever and design, in design, in being the team's: the first of these
    that has five. None while none has."""
    for wanted in ((lever, kind, weeks), (lever, kind, 0), ("", kind, 0), ("", "", 0)):
        found = [one for one in tried if _fits(one, *wanted)]
        if len(found) >= FEWEST:
            return Likes(len(found), sum(one.reached for one in found), *wanted)
    return None


def _fits(one: Tried, lever: str, kind: str, weeks: int) -> bool:
    return lever in ("", one.lever) and kind in ("", one.kind) and weeks in (0, one.weeks)


@dataclass(frozen=True, slots=True)
class Kin:
    """What was told in an earlier round for a question like one of this round: titles of its precedents."""

    question: QuestionId
    round_name: str
    text: str
    told: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Earlier:
    """A trial of the team that a plan resembles, as the register tells it."""

    trial: str
    title: str
    verdict: str
    learning: str = ""
