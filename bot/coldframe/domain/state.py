"""What a round is: frozen values, changed only by `evolve`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from coldframe.domain.beginnings import Begun as Begun
from coldframe.domain.beginnings import Kind as Kind
from coldframe.domain.criterion import TWO_GROUPS as TWO_GROUPS
from coldframe.domain.criterion import WITH_PEOPLE as WITH_PEOPLE
from coldframe.domain.criterion import Alongside as Alongside
from coldframe.domain.criterion import ComparisonKind as ComparisonKind
from coldframe.domain.criterion import Criterion as Criterion
from coldframe.domain.criterion import Odds as Odds
from coldframe.domain.criterion import Population as Population
from coldframe.domain.fates import Placed, PlanFate, ToChange
from coldframe.domain.ledgers import Ledger as Ledger
from coldframe.domain.ledgers import Mark as Mark
from coldframe.domain.ledgers import Standing as Standing
from coldframe.domain.likes import Earlier, Kin, Likes
from coldframe.domain.names import (
    Axis,
    BeginningId,
    Deciding,
    ForceId,
    LeverId,
    MemberId,
    NoteId,
    PassReason,
    PauseReason,
    PlanId,
    PrecedentId,
    QuestionId,
    Role,
    RoundId,
    Side,
    Step,
    Touches,
)
from coldframe.domain.roster import RoleOffer as RoleOffer
from coldframe.domain.roster import Roles as Roles
from coldframe.domain.roster import Seat as Seat
from coldframe.domain.settings import DEFAULT_LEVERS as DEFAULT_LEVERS
from coldframe.domain.settings import Settings as Settings

HIDDEN = "… (hidden)"
GONE = "somebody who left"
TAKEN_BACK = "(taken back)"


@dataclass(frozen=True, slots=True)
class Progress:
    """The current step's window and who is through with it. `due` is None only until the window is set."""

    opens: datetime | None = None
    due: datetime | None = None
    personal: Mapping[MemberId, datetime] = field(default_factory=dict)
    parts: Mapping[MemberId, datetime] = field(default_factory=dict)
    """Of whoever does not work when their part is due: the last moment before it at which they do."""
    extensions: int = 0
    extended: bool = False  # by the bot itself, which it does once
    done: frozenset[MemberId] = frozenset()
    told: int | None = None  # how many are in, as everybody was told last; None in steps opened by an earlier release
    settles_at: datetime | None = None  # everybody is in; closes then unless somebody changes their mind
    asks_consent: bool = False  # under three writers: "unsigned" would be a pretence
    stuck: bool = False  # below quorum after the extension
    nothing: bool = False  # everybody is done and nothing came: the facilitator was asked

    def part_due(self, member: MemberId) -> datetime | None:
        """Until when this member's part is asked for: within their own hours, and never after the close."""
        own = self.parts.get(member, self.personal.get(member))
        return self.due if own is None or self.due is None else min(own, self.due)


@dataclass(frozen=True, slots=True)
class Held:
    """A decision that is announced at `at`; until then it can be undone, and only whoever made it knows."""

    what: Deciding
    by: MemberId
    at: datetime
    lever: LeverId | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """One force, one idea. `author` is None from the reveal on."""

    id: NoteId
    lever: LeverId
    side: Side
    text: str
    author: MemberId | None = None
    hidden: bool = False
    agreed: bool = False  # its writer wants it shown though few wrote; kept with the note, since it tells who wrote
    origin: str = ""  # the chat message it came from and its edition, until the reveal: editing that edits the note

    def shown(self) -> str:
        """The text as others may read it."""
        return HIDDEN if self.hidden else self.text


@dataclass(frozen=True, slots=True)
class Draft:
    """A private text of which lever or direction is not clear yet; its writer was asked. One of them may have been
    said. `tried`: a word in the place of a lever that is none."""

    id: NoteId
    author: MemberId
    text: str
    origin: str = ""
    lever: LeverId | None = None
    side: Side | None = None
    tried: str = ""
    likely: tuple[LeverId, ...] = ()  # all levers, the likeliest first, once that is known


@dataclass(frozen=True, slots=True)
class Likeness:
    """What two notes share or what sets them apart, as the analysis calls it, and the words that it is about."""

    kind: str
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MergeProposal:
    """Two notes or more that look like the same point; `answer` stays None until a person has answered.

    `score` is how probable that is. `why` is a sentence in older databases, and empty where it was done by hand.
    """

    first: NoteId
    second: NoteId
    score: float
    why: tuple[Likeness, ...] | str
    answer: bool | None = None
    proposed_by: MemberId | None = None
    more: tuple[NoteId, ...] = ()
    apart: tuple[NoteId, ...] = ()  # of these, what a person found to be another point

    @property
    def notes(self) -> tuple[NoteId, ...]:
        """All that are proposed."""
        return (self.first, self.second, *self.more)

    @property
    def alike(self) -> tuple[NoteId, ...]:
        """Those that a yes joins."""
        return tuple(note for note in self.notes if note not in self.apart)


@dataclass(frozen=True, slots=True)
class Force:
    """One or more notes that say the same; the first note's wording stands for all, every wording is kept."""

    id: ForceId
    notes: tuple[NoteId, ...]


@dataclass(frozen=True, slots=True)
class Question:
    """A force turned round."""

    id: QuestionId
    force: ForceId
    text: str


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A question that somebody suggested in the thread."""

    by: MemberId
    text: str


@dataclass(frozen=True, slots=True)
class Precedent:
    """What somebody else did that bears on the question: a story, not evidence."""

    id: PrecedentId
    by: MemberId
    question: QuestionId
    title: str
    idea: str
    details: str = ""
    source: str = ""
    outside_trade: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """One page. `author` is sealed until the commitment, then told first."""

    id: PlanId
    author: MemberId | None
    question: QuestionId
    title: str
    hypothesis: str
    steps: tuple[str, ...]
    criterion: Criterion
    weeks: int = 4
    caution: tuple[Touches, ...] = ()  # what the plan touches that somebody should check
    raised: tuple[str, ...] = ()  # the words that raised each of these
    not_so: bool = False  # its author says that it touches none of it
    checked_by: str = ""
    might_fail: str = ""  # private to the author until the review
    chance: int | None = None
    borrows: PrecedentId | None = None
    """The precedent whose idea it takes over, if any."""
    child_of: str = ""
    """The trial that it tries in another way, if any."""
    earlier: tuple[Earlier, ...] = ()  # shown to its author alone

    @property
    def unchecked(self) -> bool:
        """Whether somebody has still to be named who checked it."""
        return bool(self.caution) and not self.checked_by and not self.not_so


@dataclass(frozen=True, slots=True)
class Comparison:
    """One judge's answer: the winner has more of the axis; `same` counts half each way."""

    judge: MemberId
    axis: Axis
    first: PlanId
    second: PlanId
    outcome: Literal["first", "second", "same"]


@dataclass(frozen=True, slots=True)
class Action:
    """A first-week action: who does what by when."""

    id: str
    text: str
    who: MemberId
    due: datetime


@dataclass(frozen=True, slots=True)
class Choice:
    """A plan that was chosen for a trial, and what it still needs."""

    plan: PlanId
    asked: MemberId | None = None
    owner: MemberId | None = None
    declined: tuple[tuple[MemberId, str], ...] = ()
    offers: tuple[MemberId, ...] = ()
    actions: tuple[Action, ...] = ()
    live: date | None = None  # the day on which it should be live
    review: datetime | None = None
    forecasts: Mapping[MemberId, int] = field(default_factory=dict)
    digits: Mapping[MemberId, tuple[int, ...]] = field(default_factory=dict)  # emoji under the question, as last seen
    feared: Mapping[MemberId, str] = field(default_factory=dict)  # why it would fail, in each one's last words
    likes: Likes | None = None
    why: str = ""  # though the matrix speaks against a trial
    announce_at: datetime | None = None  # when everybody hears of it; None once they have
    offers_sealed: bool = False  # shown together later: early ones would tell its author
    odds: Odds | None = None  # of its criterion as it stands, once the owner was told

    @property
    def announced(self) -> bool:
        return self.announce_at is None

    def offers_shown(self) -> tuple[MemberId, ...]:
        return () if self.offers_sealed else self.offers


@dataclass(frozen=True, slots=True)
class Round:
    """One pass from notes to commitment. Mappings keep the order in which things came."""

    id: RoundId
    tenant: str
    channel: str
    name: str
    settings: Settings
    seats: Mapping[MemberId, Seat]
    roles: Roles
    seed: int
    step: Step = Step.SETUP
    passed: Mapping[Step, PassReason] = field(default_factory=dict)  # steps that were not played
    progress: Progress = Progress()
    paused: PauseReason | None = None
    rests_since: datetime | None = None  # when it was stopped in a window that ran
    held: Mapping[Step, Held] = field(default_factory=dict)  # what was decided in the running step, one at most
    role_offers: tuple[RoleOffer, ...] = ()  # one of each role at most
    open_roles: frozenset[Role] = frozenset()  # whoever has them has not moved for long: any member may take them over
    dates_told: Mapping[Step, datetime] = field(default_factory=dict)  # when each step closes, as the channel knows it
    dates_told_times: int = 0
    notes: Mapping[NoteId, Note] = field(default_factory=dict)
    late_notes: Mapping[NoteId, Note] = field(default_factory=dict)
    drafts: Mapping[NoteId, Draft] = field(default_factory=dict)
    revealed: tuple[NoteId, ...] = ()
    writers: int = 0
    focus: LeverId | None = None
    focus_reason: str = ""
    proposals: tuple[MergeProposal, ...] = ()
    by_words: bool = False  # what is proposed was found without comparing meanings
    forces: tuple[Force, ...] = ()
    dots: Ledger | None = None
    forces_standing: tuple[Standing, ...] = ()
    counted: Mapping[Step, int] = field(default_factory=dict)  # voters whose votes were summed up; see `disclosure`
    told_before: Mapping[Step, tuple[str, ...]] = field(default_factory=dict)
    """Of steps that were opened again after figures were told: on which options."""
    questions: tuple[Question, ...] = ()
    suggestions: tuple[Suggestion, ...] = ()
    side_by_side: tuple[QuestionId, ...] = ()  # the questions, those most alike beside each other, once that is known
    kin: tuple[Kin, ...] = ()
    precedents: tuple[Precedent, ...] = ()
    jottings: Mapping[MemberId, str] = field(default_factory=dict)  # what struck each one while reading
    begun: Mapping[BeginningId, Begun] = field(default_factory=dict)  # pages that nobody has handed in yet
    plans: Mapping[PlanId, Plan] = field(default_factory=dict)
    plan_order: tuple[PlanId, ...] = ()
    to_change: tuple[ToChange, ...] = ()
    ballot: Ledger | None = None
    plans_standing: tuple[Standing, ...] = ()
    weighted_voter: MemberId | None = None  # who was decision-maker when the ballot opened
    crowd: tuple[MemberId, ...] = ()  # who was there to compare when the plans were revealed
    to_place: tuple[PlanId, ...] = ()
    comparisons: Mapping[MemberId, tuple[Comparison, ...]] = field(default_factory=dict)
    corners: Mapping[PlanId, Placed] = field(default_factory=dict)  # of the plans that were compared
    choices: Mapping[PlanId, Choice] = field(default_factory=dict)
    fates: Mapping[PlanId, PlanFate] = field(default_factory=dict)  # of the others
    next_round: datetime | None = None
    beside: tuple[tuple[str, str], ...] = ()  # (measure, who is counted) of trials that ran when a plan was chosen
    alongside: tuple[Alongside, ...] = ()
    same_people: tuple[tuple[str, str], ...] = ()  # wordings of who is counted that mean the same
    overlap_accepted: bool = False
    ended_because: str = ""  # in the words of whoever cancelled it

    # --- people ---

    def active(self) -> tuple[MemberId, ...]:
        """Members who have not left."""
        return tuple(m for m, s in self.seats.items() if not s.left)

    def present(self) -> tuple[MemberId, ...]:
        """Members who are there and did not join only in the current step."""
        there = (s for s in self.seats.values() if not s.left and not s.away)
        return tuple(s.member for s in there if s.joined_in is not self.step)

    def name_of(self, member: MemberId) -> str:
        return self.seats[member].name if member in self.seats else GONE

    def told_choices(self) -> dict[PlanId, Choice]:
        """Chosen plans of which everybody knows."""
        return {plan: choice for plan, choice in self.choices.items() if choice.announced}

    def acting_name(self, role: Role) -> str:
        """The name of whoever acts in this role now."""
        return self.name_of(self.roles.acting(role))

    def is_facilitator(self, member: MemberId) -> bool:
        return member == self.roles.acting(Role.FACILITATOR)

    def is_decision_maker(self, member: MemberId) -> bool:
        return member == self.roles.acting(Role.DECISION_MAKER)

    def role_offer(self, role: Role) -> RoleOffer | None:
        return next((o for o in self.role_offers if o.role is role), None)

    # --- the step's state ---

    def decided(self) -> Held | None:
        """What was decided in the running step and is not announced yet."""
        return self.held.get(self.step)

    def ledger(self) -> Ledger | None:
        """The ballot that runs now, if any."""
        return {Step.DOTS: self.dots, Step.BALLOT: self.ballot}.get(self.step)

    def restraining_in_focus(self) -> tuple[Note, ...]:
        return self._in_focus(Side.RESTRAINING)

    def driving_in_focus(self) -> tuple[Note, ...]:
        return self._in_focus(Side.DRIVING)

    def _in_focus(self, side: Side) -> tuple[Note, ...]:
        shown = (self.notes[i] for i in self.revealed)
        return tuple(n for n in shown if n.lever == self.focus and n.side is side and not n.hidden)

    def force_text(self, force: ForceId) -> str:
        """The wording that stands for the force: its first note's that is not hidden."""
        return self.wordings(force)[0]

    def wordings(self, force: ForceId) -> tuple[str, ...]:
        """Every wording of the force that is not hidden, the one that stands for it first; never empty."""
        notes = next([self.notes[n] for n in f.notes] for f in self.forces if f.id == force)
        return tuple(n.shown() for n in notes if not n.hidden) or (HIDDEN,)

    def force(self, force: str) -> Force | None:
        return next((f for f in self.forces if f.id == force), None)
