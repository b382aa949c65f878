"""What a trial is: a plan under way, apart from the round that chose it, since it outlives that round."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Literal, NewType

from coldframe.domain.names import LeverId, MemberId, PlanId, RoundId
from coldframe.domain.state import GONE, Criterion, Odds

TrialId = NewType("TrialId", str)
NOBODY = MemberId("")


class TrialStep(StrEnum):
    """Where a trial stands."""

    PROPOSED = "proposed"
    """A plan that waits for somebody to own it."""
    BUILDING = "being built"
    """Committed: it takes its place, and is not live yet."""
    RUNNING = "running"
    """Live."""
    IN_REVIEW = "in review"
    REVIEWED = "reviewed"
    DROPPED = "dropped"
    """Never started."""


WENT_LIVE = (TrialStep.RUNNING, TrialStep.IN_REVIEW)
UNDER_WAY = (TrialStep.BUILDING, *WENT_LIVE)
OPEN_STEPS = (TrialStep.PROPOSED, *UNDER_WAY)
REVIEW_TAKES = timedelta(minutes=45)
Decision = Literal["scale", "change", "stop"]
DECISIONS: tuple[Decision, ...] = ("scale", "change", "stop")
Signable = Literal["fear", "learning"]
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
    stop: bool = False  # the stop line is crossed, in the words of whoever logged it
    calm: bool = False  # nothing happened: no harm, the stop line not crossed
    sent: bool = False  # by a program, to the web address of whoever it stands under

    def same_numbers(self, other: Entry) -> bool:
        """Whether both say the same about the week."""
        return (self.trial, self.control, self.state, self.harm, self.stop) == (
            other.trial,
            other.control,
            other.state,
            other.harm,
            other.stop,
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
class Start:
    """The day on which building begins, the zone of its days, and when it is reviewed if it is live as planned."""

    day: date
    zone: str
    review: datetime


@dataclass(frozen=True, slots=True)
class Postponed:
    """Another day on which it should be live. `agreed`: chosen because it was two weeks late, and from then on late is
    counted from that day; else whoever builds it moved it."""

    to: date
    reason: str
    by: MemberId
    at: datetime
    agreed: bool = False


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


GuardWord = Literal["harm", "stop"]


@dataclass(frozen=True, slots=True)
class Settled:
    """What was decided about a harm limit or stop line that was crossed in this week: to stop, or to go on. `figure`
    is the value that crossed it; a corrected week that crosses it with another one is decided anew."""

    what: GuardWord
    week: int
    figure: float | None
    stops: bool
    reason: str
    by: MemberId
    at: datetime


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
    what: str = ""
    """What exactly is scaled, stays as it is, or is switched off."""
    owner: MemberId | None = None
    """Who is to see it done, as it was said then."""
    due: datetime | None = None


@dataclass(frozen=True, slots=True)
class Signed:
    """What somebody wrote in private and then had shown with their name, since too few others wrote."""

    what: Signable
    by: MemberId
    text: str


@dataclass(frozen=True, slots=True)
class Trial:
    """One trial. `starts` is the first day of its first week, a Monday but in trials of earlier releases; `team` is the
    channel. Its days are those of `zone`, where an earlier release fixed none the owner's.

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
    decision_maker: MemberId | None = None
    zone: str = ""
    sealed: date | None = None  # since when it is being built
    planned_live: date | None = None
    postponed: tuple[Postponed, ...] = ()
    smaller: str = ""  # what was left out, since it would have taken too long
    live: date | None = None
    early: tuple[Entry, ...] = ()  # the days before the first whole week, which are shown and not judged
    starts: date | None = None
    review: datetime | None = None
    actions: tuple[TrialAction, ...] = ()
    weeks: Mapping[int, tuple[Entry, ...]] = field(default_factory=dict)
    looks: tuple[int, ...] = ()
    reading: Reading | None = None
    given: tuple[Given, ...] = ()
    settled: tuple[Settled, ...] = ()
    odds: Odds | None = None
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
    asked_to_sign: frozenset[MemberId] = frozenset()  # whether theirs is shown with their name
    signed: tuple[Signed, ...] = ()
    closing: Closing | None = None
    child_of: TrialId | None = None  # the trial that it tries in another way
    brought: str = ""  # where it comes from, if it ran before coldframe

    def name_of(self, member: MemberId | None) -> str:
        if member is None:
            return "nobody"
        return self.people.get(member, GONE)

    @property
    def only_counted(self) -> bool:
        """Brought in without all of its criterion: it takes a place, and nobody logs it."""
        return bool(self.brought) and bool(self.criterion.missing())

    def entries(self) -> tuple[Entry, ...]:
        """The entry that counts of each logged week, in order."""
        return tuple(self.weeks[week][-1] for week in sorted(self.weeks))

    def entry(self, week: int) -> Entry | None:
        """Of week 0, which is not judged, the days before the first whole one."""
        history = self.weeks.get(week, ()) if week else self.early
        return history[-1] if history else None

    def holders(self) -> tuple[MemberId, ...]:
        """Who holds its review, those first without whom it cannot be held. Trials of earlier releases do not know who
        decides."""
        found = (self.owner or self.asked or self.facilitator, self.decision_maker, self.facilitator)
        return tuple(dict.fromkeys(m for m in found if m is not None and m in self.people))

    # --- being built ---

    def live_since(self) -> date | None:
        """Trials of earlier releases were live from the first day of their first week."""
        return self.live or self.starts

    def live_expected(self) -> date | None:
        """The day on which it should be live, and on which its owner is asked."""
        return self.postponed[-1].to if self.postponed else self.planned_live

    def live_agreed(self) -> date | None:
        """The day from which it counts as late."""
        return next((p.to for p in reversed(self.postponed) if p.agreed), self.planned_live)

    # --- its weeks ---

    def week_begins(self, week: int) -> date | None:
        return None if self.starts is None else self.starts + timedelta(weeks=week - 1)

    def week_over(self, week: int) -> date | None:
        """The first day after the week."""
        return self.week_begins(week + 1)

    def counted_from(self, week: int) -> date | None:
        """The first day on which all people of the week can be counted: from then on it can be logged."""
        over = self.week_over(week)
        return None if over is None else over + timedelta(days=self.criterion.lag)

    def early_days(self) -> tuple[date, date] | None:
        """The days before the first whole week, first and last."""
        if self.live is None or self.starts is None or self.live >= self.starts:
            return None
        return self.live, self.starts - timedelta(days=1)

    def days_of(self, week: int) -> tuple[date, date] | None:
        """First and last day of a week; of week 0, the days before the first whole one."""
        begins, over = self.week_begins(week), self.week_over(week)
        if not week:
            return self.early_days()
        return None if begins is None or over is None else (begins, over - timedelta(days=1))

    def last_week(self) -> int:
        """A week that cannot be counted is made up for by one more, up to twice the planned ones."""
        lost = sum(entry.state != "whole" for entry in self.entries())
        return min(self.planned + lost, 2 * self.planned)

    def weeks_over(self, today: date) -> tuple[int, ...]:
        """Weeks that can be logged by now."""
        return tuple(
            week
            for week in range(1, self.last_week() + 1)
            if (counted := self.counted_from(week)) is not None and counted <= today
        )

    def unlogged(self, today: date) -> tuple[int, ...]:
        """Weeks of the trial that can be logged and have no entry."""
        return () if self.only_counted else tuple(week for week in self.weeks_over(today) if week not in self.weeks)

    def not_countable(self, today: date) -> int | None:
        """The next week to log, where it is over and its people cannot be counted yet."""
        week = next((n for n in range(1, self.last_week() + 1) if n not in self.weeks), None)
        over, counted = (self.week_over(week), self.counted_from(week)) if week is not None else (None, None)
        if over is None or counted is None or self.only_counted:
            return None
        return week if over <= today < counted else None

    def open_actions(self) -> tuple[TrialAction, ...]:
        return tuple(action for action in self.actions if action.done is None)

    def ends(self) -> date | None:
        """The first day after its last week."""
        return self.week_over(self.last_week())

    def all_counted(self) -> date | None:
        """The first day on which its last week can be counted: its review is not before."""
        return self.counted_from(self.last_week())

    def all_counted_if_live(self, since: date) -> date:
        """The same, if it were live from that day."""
        return first_whole_week(since) + timedelta(weeks=self.last_week(), days=self.criterion.lag)


def first_whole_week(since: date) -> date:
    """The Monday of the first week that is whole from this day on."""
    return since + timedelta(days=-since.weekday() % 7)
