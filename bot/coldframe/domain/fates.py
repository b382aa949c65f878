"""What becomes of a plan that is not tried, and of a trial after its review. Whatever is to be done of it has an owner
and a date, and is followed until it is done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.texts import because


class FateKind(StrEnum):
    """Databases hold these values."""

    PROJECT = "project"
    ERRAND = "errand"
    KEPT = "kept"
    """For the next round."""
    DROPPED = "dropped"
    SCALE = "scale"
    """What a trial tried is done for everybody."""
    SWITCH_OFF = "switch off"
    """What a trial had built is taken away again."""


class Corner(StrEnum):
    """Of the effort-impact matrix, as the picture calls them."""

    TRIAL_NOW = "trial now"
    PROJECT = "make it a project"
    JUST_DO_IT = "just do it"
    SET_ASIDE = "set aside"


OF_A_PLAN = (FateKind.PROJECT, FateKind.ERRAND, FateKind.KEPT, FateKind.DROPPED)
TO_BE_DONE = (FateKind.PROJECT, FateKind.ERRAND, FateKind.SCALE, FateKind.SWITCH_OFF)
FITS: Mapping[Corner, FateKind] = {
    Corner.TRIAL_NOW: FateKind.KEPT,
    Corner.PROJECT: FateKind.PROJECT,
    Corner.JUST_DO_IT: FateKind.ERRAND,
    Corner.SET_ASIDE: FateKind.DROPPED,
}
"""What the corner speaks for, of a plan that is not tried now."""


@dataclass(frozen=True, slots=True)
class Position:
    """As the matrix showed it to everybody: scores with their errors, or steps from the cut, and then no certainty.
    `alone`: one person compared."""

    impact: float
    impact_error: float
    effort: float
    effort_error: float
    certainty: float | None
    alone: bool = False


@dataclass(frozen=True, slots=True)
class Placed:
    """Where the comparisons put a plan. Only a corner that is `sure` can be gone against. Rounds of earlier releases
    do not know its `position`."""

    corner: Corner
    sure: bool = False
    position: Position | None = None

    def speaks_against(self, fate: FateKind | None) -> bool:
        """Of this fate, or where there is none of a trial now."""
        fits = self.corner is Corner.TRIAL_NOW if fate is None else FITS[self.corner] is fate
        return self.sure and not fits


@dataclass(frozen=True, slots=True)
class PlanFate:
    """Of a plan that is not tried: `owner`, `due` and `where` (it is handed over) of what is to be done, `reason` of
    what is dropped, or goes against the matrix."""

    kind: FateKind
    owner: MemberId | None = None
    due: datetime | None = None
    where: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class ToChange:
    """A trial that is to be tried in another way, and what stays as it is then."""

    trial: str
    title: str
    stays: str = ""


@dataclass(frozen=True, slots=True)
class Fate:
    """Something decided that is to be done, after its round and its trial. Nobody owns it without a yes of their own;
    what scales waits for the decision-maker's as well."""

    id: str
    kind: FateKind
    title: str
    origin: str
    """The round's name."""
    due: datetime
    where: str = ""
    """Where it is handed over; of a trial, what exactly is done."""
    owner: MemberId | None = None
    asked: MemberId | None = None
    asked_at: datetime | None = None
    needs_yes: bool = False
    moved: int = 0  # times
    done: datetime | None = None
    ended: datetime | None = None  # given up, or the decision-maker said no
    reason: str = ""

    @property
    def open(self) -> bool:
        return self.done is None and self.ended is None


FARTHEST = timedelta(days=2 * 366)


# --- rulings: each gives the fate that follows, or raises Refused ---------------------------------------------------


def offered(fate: Fate, to: MemberId, now: datetime) -> Fate:
    """Somebody is asked; whoever owns it does so until they have accepted."""
    _still(fate)
    if to == fate.owner:
        raise Refused(Because.OWNS_ALREADY)
    return fate if to == fate.asked else replace(fate, asked=to, asked_at=now)


def answered(fate: Fate, by: MemberId, *, accept: bool) -> Fate:
    _still(fate)
    if by != fate.asked:
        raise Refused(Because.NOT_ASKED)
    return replace(fate, owner=by, asked=None) if accept else replace(fate, asked=None)


def agreed(fate: Fate) -> Fate:
    _still(fate)
    return replace(fate, needs_yes=False)


def done(fate: Fate, now: datetime) -> Fate:
    _still(fate)
    return replace(fate, done=now, asked=None, needs_yes=False)


def moved(fate: Fate, at: datetime, now: datetime) -> Fate:
    _still(fate)
    fitting(at, now)
    return fate if at == fate.due else replace(fate, due=at, moved=fate.moved + 1)


def ended(fate: Fate, reason: str, now: datetime) -> Fate:
    """It is given up, or not agreed to."""
    _still(fate)
    return replace(fate, ended=now, reason=because(reason), asked=None, needs_yes=False)


def left(fate: Fate, member: MemberId) -> Fate:
    """Whoever left owns it no more, and is not asked any more."""
    owner = None if fate.owner == member else fate.owner
    return replace(fate, owner=owner, asked=None if fate.asked == member else fate.asked)


def fitting(at: datetime, now: datetime) -> None:
    """Raises Refused for a date that has passed, or lies beyond two years."""
    if at <= now:
        raise Refused(Because.IN_THE_PAST, at=at)
    if at > now + FARTHEST:
        raise Refused(Because.TOO_FAR, at=at, latest=now + FARTHEST)


def _still(fate: Fate) -> None:
    if not fate.open:
        raise Refused(Because.UNKNOWN_ITEM)
