"""What a step is to the domain: one record, which its own module fills, and who may be waited for in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from coldframe.domain.facts import Decide, Evolve, Fact
from coldframe.domain.names import MemberId, PassReason, Role
from coldframe.domain.state import Round


@dataclass(frozen=True, slots=True, kw_only=True)
class Passing:
    """When a step is pointless, so that the round goes past it."""

    reasons: tuple[PassReason, ...]
    why: Callable[[Round], PassReason | None]
    """The reason, None where there is none or it is not known yet; asked of steps to come as well."""
    fact: Callable[[Round], Fact]
    """With which it ends, as if it had been played."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRule:
    """What holds in one step."""

    hours: float
    """Length of its window in the pace `days`: working hours of each member."""
    minutes: float
    """Length of its window in the pace `live`."""
    read_hours: float
    read_minutes: float
    """Time to read before it opens, in either pace."""
    private: bool
    """Everybody answers in private, so that nobody waits for anybody else's working day."""
    expected: Callable[[Round], tuple[MemberId, ...]]
    """Whose answer it waits for."""
    gave: Callable[[Round], frozenset[MemberId]]
    """Who has given something in it, expected or not."""
    quorum: float | None
    """The share of those expected who must be in at its deadline; None closes with whoever is."""
    needs: Callable[[Round], MemberId | None] | None
    """Who must be among those who are in."""
    decides: Role | None
    """The role whose decision it waits for."""
    hands_over: bool
    """A decision that does not come is the deputy's to take."""
    close: Callable[[Round], tuple[Fact, ...]] | None
    """What its close brings; raises Refused while it cannot close. None where the decision itself ends it."""
    enter: Callable[[Round], Round] | None
    """What changes as it begins, beyond a clean progress."""
    ends: type[Fact]
    """The fact with which the round goes on to the next step."""
    decide: Decide
    """What each command asked in it brings; raises Refused."""
    evolve: Evolve
    """What each of its facts changes."""
    forget: Callable[[Round, MemberId], Round]
    """What it deletes of a person who is forgotten; where they stand in what is left, they get an alias."""
    passing: Passing | None = None
    """When it is not played."""
    without: Callable[[Round], tuple[Fact, ...]] | None = None
    """What its close brings though nothing came in, if the facilitator says so; None where nothing can follow then."""


def everybody(round_: Round) -> tuple[MemberId, ...]:
    return round_.present()


def chief(round_: Round) -> tuple[MemberId, ...]:
    return (round_.roles.acting(Role.DECISION_MAKER),)


def facilitator(round_: Round) -> tuple[MemberId, ...]:
    return (round_.roles.acting(Role.FACILITATOR),)


def both_roles(round_: Round) -> tuple[MemberId, ...]:
    return tuple(dict.fromkeys(round_.roles.acting(role) for role in Role))


def keeps_nothing(round_: Round, gone: MemberId) -> Round:
    """Nothing in it is for its writer alone."""
    return round_


def nobody(round_: Round) -> frozenset[MemberId]:
    """Nobody gives anything in a step that is one decision."""
    return frozenset()
