"""What a trial is: a plan under way, apart from the round that chose it, since it outlives that round."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Literal, NewType

from coldframe.domain.names import LeverId, MemberId, PlanId, RoundId
from coldframe.domain.state import GONE, Criterion

TrialId = NewType("TrialId", str)
NOBODY = MemberId("")


class TrialStep(StrEnum):
    """Where a trial stands."""

    PROPOSED = "proposed"
    """A plan that waits for somebody to own it."""
    RUNNING = "running"
    IN_REVIEW = "in review"
    REVIEWED = "reviewed"
    DROPPED = "dropped"
    """Never started."""


OPEN_STEPS = (TrialStep.PROPOSED, TrialStep.RUNNING, TrialStep.IN_REVIEW)
UNDER_WAY = (TrialStep.RUNNING, TrialStep.IN_REVIEW)
Decision = Literal["scale", "change", "stop"]
DECISIONS: tuple[Decision, ...] = ("scale", "change", "stop")
WeekWord = Literal["whole", "partial", "broken"]


@dataclass(frozen=True, slots=True)
class Figures:
    """One group's numbers in one week.

    A share: `value` successes `of` people. A count: `value` events. A mean: `value` with its `sd` `of` people. A
    plain weekly value of a before-after trial: `value` alone.
    """

    value: float
    of: int | None = None
    sd: float | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """A week as somebody logged it. A corrected week keeps its earlier entries; a gap holds no figures that count."""

    week: int
    trial: Figures | None
    control: Figures | None = None
    state: WeekWord = "whole"
    harm: float | None = None
    by: MemberId = NOBODY
    at: datetime | None = None
    reason: str = ""

    def same_numbers(self, other: Entry) -> bool:
        """Whether both say the same about the week."""
        return (self.trial, self.control, self.state, self.harm) == (
            other.trial,
            other.control,
            other.state,
            other.harm,
        )


@dataclass(frozen=True, slots=True)
class TrialAction:
    """A first-week action; `done` is when it was ticked."""

    id: str
    text: str
    who: MemberId
    due: datetime
    done: datetime | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """What the numbers supported when they were last read: verdict, reason, chance of an effect at the end.

    `outcome` is the verdict that stands, or what is said while there is none; `alerts` what must be looked at now.
    """

    outcome: str
    reason: str
    sentence: str
    chance: float | None = None
    weeks: int = 0
    checked: bool = False  # whether the counting must be looked at before it is a verdict
    alerts: tuple[str, ...] = ()
    chance_high: float | None = None
    """The chance if many ideas work, where `chance` is that if few do; older readings have the one alone."""


@dataclass(frozen=True, slots=True)
class Given:
    """A verdict once given. `weeks` counted then; `rests_on`: each logged week, and how many entries it had."""

    outcome: str
    sentence: str
    weeks: int
    rests_on: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Closing:
    """How the review ended: what the numbers supported, what was learnt, what follows, and why."""

    outcome: str
    sentence: str
    decision: Decision
    reason: str
    learning: str
    by: MemberId
    at: datetime


@dataclass(frozen=True, slots=True)
class Trial:
    """One trial. `starts` is the first day of its first week, in the owner's zone; `team` is the channel.

    `looks` holds after how many logged weeks somebody was shown the state: a correction of the same weeks is the
    same look, several weeks imported at once are one.
    """

    id: TrialId
    tenant: str
    team: str
    round_id: RoundId
    round_name: str
    plan: PlanId
    title: str
    hypothesis: str
    question: str
    lever: LeverId
    lever_name: str
    steps: tuple[str, ...]
    criterion: Criterion
    planned: int
    facilitator: MemberId
    people: Mapping[MemberId, str]
    deputy: MemberId | None = None
    owner: MemberId | None = None
    asked: MemberId | None = None
    offers: int = 0  # how often somebody was asked to own it
    step: TrialStep = TrialStep.PROPOSED
    starts: date | None = None
    review: datetime | None = None
    actions: tuple[TrialAction, ...] = ()
    weeks: Mapping[int, tuple[Entry, ...]] = field(default_factory=dict)
    looks: tuple[int, ...] = ()
    reading: Reading | None = None
    given: tuple[Given, ...] = ()
    in_the_way: str = ""
    missed_reviews: int = 0
    dates_moved: int = 0
    stopped: str = ""
    stopped_at: datetime | None = None
    counting_checked: str = ""
    chances: Mapping[MemberId, int] = field(default_factory=dict)
    fears: tuple[str, ...] = ()  # shown unsigned
    feared: Mapping[MemberId, str] = field(default_factory=dict)  # by too few to be shown; each for its writer alone
    learnings: Mapping[MemberId, str] = field(default_factory=dict)
    shown_learnings: tuple[str, ...] = ()
    closing: Closing | None = None

    def name_of(self, member: MemberId | None) -> str:
        if member is None:
            return "nobody"
        return self.people.get(member, GONE)

    def entries(self) -> tuple[Entry, ...]:
        """The entry that counts of each logged week, in order."""
        return tuple(self.weeks[week][-1] for week in sorted(self.weeks))

    def entry(self, week: int) -> Entry | None:
        return self.weeks[week][-1] if week in self.weeks else None

    def week_over(self, week: int) -> date | None:
        """The first day after the week: from then on it can be logged."""
        return None if self.starts is None else self.starts + timedelta(weeks=week)

    def last_week(self) -> int:
        """A week that cannot be counted is made up for by one more, up to twice the planned ones."""
        lost = sum(entry.state != "whole" for entry in self.entries())
        return min(self.planned + lost, 2 * self.planned)

    def weeks_over(self, today: date) -> tuple[int, ...]:
        """Weeks that can be logged by now."""
        if self.starts is None:
            return ()
        return tuple(week for week in range(1, self.last_week() + 1) if self.starts + timedelta(weeks=week) <= today)

    def unlogged(self, today: date) -> tuple[int, ...]:
        """Weeks of the trial that are over and have no entry."""
        return tuple(week for week in self.weeks_over(today) if week not in self.weeks)

    def open_actions(self) -> tuple[TrialAction, ...]:
        return tuple(action for action in self.actions if action.done is None)

    def ends(self) -> date | None:
        """The first day after its last week."""
        return self.week_over(self.last_week())
