"""What is kept of the time after the commitment: the register's entries and what a team has set for itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

from coldframe.domain.fates import Fate
from coldframe.domain.names import MemberId
from coldframe.domain.people.erasing import Erasing
from coldframe.domain.trial.facts import TrialFact
from coldframe.domain.trial.state import Trial
from coldframe.domain.unsigned import enough


@dataclass(frozen=True, slots=True)
class RegisterEntry:
    """One trial as the register tells it, without authors. `verdict` is "running" until the review is closed.

    `chances` and `met` are for the calibration over rounds: forecasts in per cent without names, and whether the
    criterion was met (None where the numbers could not tell).
    """

    trial_id: str
    tenant: str
    team: str
    round_name: str
    lever: str
    lever_name: str
    title: str
    hypothesis: str
    question: str
    measure: str
    owner: str
    verdict: str
    at: datetime
    sentence: str = ""
    decision: str = ""
    reason: str = ""
    learning: str = ""
    learnings: tuple[str, ...] = ()
    agreed: tuple[str, ...] = ()
    """Learnings of too few to be shown without names, whose writers had them shown with theirs."""
    planned: int = 0
    took_days: int | None = None
    chances: tuple[int, ...] = ()
    met: bool | None = None
    brought: str = ""
    """Where it comes from, if it was tried before coldframe: its verdict is in the team's own words."""
    child_of: str = ""
    """The trial that it tried in another way."""

    @property
    def of_others(self) -> tuple[str, ...]:
        """What others learnt. An earlier release entered what too few had written as well."""
        return (*(self.learnings if enough(self.learnings) else ()), *self.agreed)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What somebody looks for. All words must be there, by stem or as a part of a word, signs taken as they stand."""

    words: str = ""
    lever: str = ""
    verdict: str = ""
    owner: str = ""
    since: datetime | None = None
    until: datetime | None = None
    limit: int = 20


@dataclass(frozen=True, slots=True)
class Team:
    """What a team has set for itself. `lead` None: whoever facilitates its newest round. `weekday` Monday = 0."""

    tenant: str
    team: str
    lead: MemberId | None = None
    weekday: int = 0
    hour: int = 9
    digest_sent: datetime | None = None
    funnel: Mapping[str, float] = field(default_factory=dict)
    erasing: Erasing | None = None
    guests: Mapping[MemberId, bool] = field(default_factory=dict)
    """Guests of the channel about whom somebody was asked: whether they may take part."""
    present: frozenset[str] = frozenset()
    """Everybody who was in the channel when that was heard last, by marks that say no name (`People.mark`); none: that
    is not known."""
    fates: Mapping[str, Fate] = field(default_factory=dict)
    """What was decided and is to be done, by its id, in the order in which it was decided."""


class FollowThrough(Protocol):
    """The part of a unit of work that concerns trials, their register and their teams."""

    async def trial(self, trial_id: str) -> Trial | None:
        """The trial, locked until the transaction ends."""
        ...

    async def add_trial(self, trial: Trial, at: datetime) -> None: ...

    async def save_trial(self, after: Trial, facts: Sequence[TrialFact], at: datetime) -> None: ...

    async def trials_of(self, tenant: str, team: str, *, over: bool = False) -> list[Trial]:
        """Open trials of a team, oldest first; with `over` those that are over as well."""
        ...

    async def trials_about(self, tenant: str, person: str) -> list[Trial]:
        """Trials in which this person stands anywhere, those that are over as well."""
        ...

    async def trials_owned(self, tenant: str, person: str) -> list[Trial]:
        """Open trials that this person owns, oldest first."""
        ...

    async def move_place(self, trial_id: str, owner: str, review: datetime) -> None:
        """Brings a taken place up to date."""
        ...

    async def free_place(self, trial_id: str) -> None: ...

    async def enter(self, entry: RegisterEntry) -> None:
        """Writes a trial into the register, or brings its entry up to date."""
        ...

    async def entry(self, trial_id: str) -> RegisterEntry | None: ...

    async def search(self, tenant: str, teams: Sequence[str], wanted: Wanted) -> list[RegisterEntry]:
        """Entries of these teams, the newest first."""
        ...

    async def resembling(self, tenant: str, team: str, words: Sequence[str], limit: int = 30) -> list[RegisterEntry]:
        """Entries that share words (by stem) with a text, those that share most first."""
        ...

    async def team(self, tenant: str, team: str) -> Team: ...

    async def teams_with(self, tenant: str, person: str) -> list[Team]:
        """Teams in whose settings this person stands."""
        ...

    async def save_team(self, team: Team) -> None: ...

    async def teams_of(self, tenant: str, person: str) -> list[str]:
        """Channels in whose rounds this person has a seat."""
        ...

    async def all_teams(self) -> list[tuple[str, str]]:
        """(tenant, team) of every team with rounds."""
        ...
