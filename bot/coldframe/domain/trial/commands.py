"""What people (and time) ask of a trial: imperatives. `by` is who asks; `BOT` stands for time and the bot itself."""

from __future__ import annotations

from datetime import date, datetime

from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId
from coldframe.domain.state import Odds
from coldframe.domain.trial.state import Entry, Reading, Start


class OfferTrial(Command):
    """Ask somebody to own it from now on; the present owner stays until they accept."""

    to: MemberId
    reason: str = ""


class ForetellTrial(Command):
    """How likely each verdict of a trial is that waits for its owner: whoever is asked hears it with the question."""

    odds: Odds


class AnswerOffer(Command):
    """Yes or no to owning it. `start`: what a trial needs that begins with this yes."""

    accept: bool
    reason: str = ""
    start: Start | None = None


class GiveUp(Command):
    """I cannot own it any more, and know nobody who could."""

    reason: str = ""


class TakeTrial(Command):
    """I own it from now on: nobody does, or whoever does let its review pass."""


class LeaveTrial(Command):
    """The member left the firm or the channel for good."""

    member: MemberId


class JoinTrial(Command):
    """A new member of the team, who may be asked to own it."""

    member: MemberId
    name: str


class ForgetIn(Command):
    """Nothing that this person gave in confidence is kept, and their name stands nowhere. `unread`: what tells of an
    act of theirs, and has not gone out."""

    member: MemberId
    unread: frozenset[str] = frozenset()


class Sign(Command):
    """What I wrote, and too few others, is shown with my name, or not at all."""

    show: bool


class DropTrial(Command):
    """A proposed trial is not started after all; one that is being built is given up, with the reason."""

    reason: str = ""


class GoLive(Command):
    """It is live from this day on. `review`: when it is reviewed then; `today`: the trial's day."""

    since: date
    today: date
    review: datetime


class MoveLive(Command):
    """It should be live on another day. `agreed`: it was late, and those who decide chose this day."""

    to: date
    reason: str
    today: date
    review: datetime
    agreed: bool = False


class MakeSmaller(Command):
    """It is late: something is left out, so that it is live by the day."""

    text: str
    to: date
    today: date
    review: datetime


class ChangeDecisionMaker(Command):
    """Somebody else decides now."""

    member: MemberId


class Tick(Command):
    action: str
    done: bool = True


class MoveAction(Command):
    action: str
    due: datetime


class SayWhatBlocks(Command):
    """What is in the way; an empty text takes it back."""

    text: str


class LogWeek(Command):
    """One week's numbers, or that the week cannot count. `today` is the owner's local day.

    A week that was logged with other numbers needs `correct` and a reason. `review`: when it is reviewed if this entry
    makes the trial longer.
    """

    entry: Entry
    today: date
    correct: bool = False
    review: datetime | None = None


class TakeReading(Command):
    """What the numbers of `weeks` logged weeks support; shown to people, so it counts as a look."""

    reading: Reading


class MoveReview(Command):
    """Another date; `earliest` is the planned end as a moment."""

    at: datetime
    earliest: datetime


class OpenReview(Command):
    """Its date has come."""


class Learn(Command):
    """What I learnt: private until the review is closed."""

    text: str


class StopEarly(Command):
    """The stop line is crossed (or there is another good reason): the review comes now."""

    reason: str


class SettleCrossing(Command):
    """A harm limit or stop line is crossed: stop, or go on, and why."""

    stops: bool
    reason: str


class SayCalm(Command):
    """Nothing happened in this week: no harm, and the stop line not crossed."""

    week: int


class CheckCounting(Command):
    """Somebody looked at the counting of a result that seems too good; who and how."""

    text: str


class CloseReview(Command):
    """What was learnt, what follows, and why. The last reading becomes the verdict.

    `what` exactly is scaled, stays as it is in the next try, or is switched off; `owner` sees it done until `due`.
    """

    learning: str
    decision: str
    reason: str
    what: str = ""
    owner: MemberId | None = None
    due: datetime | None = None
