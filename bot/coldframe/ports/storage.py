"""What must not be lost: one transaction per happening, with the outbox and the due rows in it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal, Protocol

from coldframe.domain.facts import Fact
from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.errors import ColdframeError
from coldframe.message.nodes import Attachment, Button, Message
from coldframe.ports.chat import Place
from coldframe.ports.follow_through import FollowThrough
from coldframe.ports.held import Held, Holding
from coldframe.ports.keys import Use
from coldframe.ports.people import FEED_EDITION as FEED_EDITION
from coldframe.ports.people import NUMBERS_EDITION as NUMBERS_EDITION
from coldframe.ports.people import Member as Member
from coldframe.ports.people import People
from coldframe.ports.people import Traces as Traces
from coldframe.ports.places import BESIDE
from coldframe.ports.spoken import Spoken
from coldframe.ports.standing import Standing as Standing
from coldframe.ports.standing import Trouble as Trouble
from coldframe.ports.strays import Restored, Stray, Strays

# --- what is to be said ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Send:
    """One thing to be done on the platform, in order within its conversation.

    `name` is the bot's own name of the message (`r1/card/notes`), by which it is revised, replied to in a thread
    (`thread_of`) and recognised when people act on it. What is withdrawn is left with its `message` where it cannot be
    taken back. A send with `only_in` is dropped when the round has left that step by then, one with `until` after that
    moment. An `open` message has a life that will be over (`engine.core.lives`); what ends it goes `beside` its
    conversation, which does not wait for it. `forget` empties the direct messages where they are the bot's to empty.
    """

    kind: Literal["post", "upload", "revise", "withdraw", "home", "forget"]
    name: str
    place: Place
    message: Message | None = None
    attachment: Attachment | None = None
    thread_of: str | None = None
    round_id: str | None = None
    only_in: Step | None = None
    until: datetime | None = None
    open: bool = True
    ends: str | None = None
    """The platform's id of the very message that this ends: its name may be another one's by then."""
    use: Use | None = None  # the key under which it waits, where it tells of an act of somebody's
    ask: bool = False
    """Whoever gets it should know or do something now; what is not news goes by itself."""
    held: Held | None = None
    """In whose time it goes; None for at once."""
    happening: str = ""  # the id in the log of what it follows from, which tells nothing of who did that

    @property
    def beside(self) -> bool:
        return self.ends is not None

    def conversation(self) -> str:
        """What keeps its order: a conversation, or all that is ended in it."""
        if self.held is not None:
            return Held.key(self.place, self.held.news)
        return self.place.order_key() + BESIDE * self.beside


@dataclass(frozen=True, slots=True)
class Posted:
    """A message of the bot's that is out: its own name, where it stands, and the platform's id of it, which is empty
    of one that still waits in the outbox."""

    name: str
    place: Place
    message_id: str
    round_id: str | None = None
    open: bool = True


@dataclass(frozen=True, slots=True)
class Queued:
    """A send as it stands in the outbox, claimed for delivery, with what must be known to carry it out.

    `root` is the message under which it goes, `posted` the message that it changes, `step` where its round stands.
    What is withdrawn is `emptied` where the platform takes nothing back. In a restored copy `stray` is the message that
    this one became before, `stale` a file that it comes instead of. `claim` tells this claim from any other.
    """

    id: int
    key: str
    send: Send
    tries: int
    first_try: datetime | None
    state: Literal["todo", "sending", "unknown"]
    claim: str = ""
    root: Posted | None = None
    posted: Posted | None = None
    step: Step | None = None
    emptied: bool = False
    stray: Stray | None = None
    stale: Stray | None = None


@dataclass(frozen=True, slots=True)
class Done:
    """A send that was carried out, its place the one where it really went; `message_id` is what a new message got,
    `choices` what can be chosen on it by number, None where there are buttons."""

    queued: Queued
    message_id: str | None
    choices: tuple[Button, ...] | None = None


UNDELIVERED = "undelivered"
"""What a word about such a conversation is called, `round/undelivered/person/...`; it is no trouble of its own."""


class Damaged(ColdframeError):
    """Something stored cannot be read. It is left as it is; `coldframe doctor` names it."""

    def __init__(self, what: str, subject: str) -> None:
        super().__init__(f"the {what} {subject} cannot be read; coldframe doctor says more")
        self.what = what
        self.subject = subject


class Interrupted(ColdframeError):
    """The database gave a transaction up, or the way to it broke: nothing of it was kept, and it may be tried again."""

    def __init__(self, why: str) -> None:
        super().__init__(f"the database gave a transaction up ({why}); nothing of it was kept")


# --- what is to happen ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Due:
    """Something to be done at a moment, once per (kind, subject, occurrence). Setting it again moves it."""

    kind: str
    subject: str  # usually a round's or a trial's id
    occurrence: str
    at: datetime
    tries: int = field(default=0, compare=False)  # how often it failed


@dataclass(frozen=True, slots=True)
class Waiting:
    """The earliest moments at which something can be done: a send may go out, a row is due. None: nothing waits. `row`
    is the earliest due row, unless somebody holds it."""

    send: datetime | None
    due: datetime | None
    row: Due | None = None

    @property
    def first(self) -> datetime | None:
        return min((m for m in (self.send, self.due) if m is not None), default=None)


# --- rounds and places ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RoundHead:
    """What is needed to find a round."""

    id: str
    tenant: str
    channel: str
    name: str
    step: Step


@dataclass(frozen=True, slots=True)
class RunningTrial:
    """A trial that takes one of the team's places. The team is its channel."""

    id: str
    tenant: str
    team: str
    owner: str
    ends: datetime
    review: datetime


# --- the transaction ------------------------------------------------------------------------------------------


class UnitOfWork(FollowThrough, People, Strays, Holding, Spoken, Protocol):
    """One transaction. Leaving it normally commits; an exception rolls everything back."""

    async def first_time(self, key: str, at: datetime) -> bool:
        """Enters the happening's key; False when it was there already."""
        ...

    async def round(self, round_id: str) -> Round | None:
        """The round, locked until the transaction ends. Raises Damaged; from then on no list has it any more."""
        ...

    async def add_round(self, round_: Round, at: datetime) -> None: ...

    async def save_round(self, before: Round, after: Round, facts: Sequence[Fact], at: datetime) -> None: ...

    async def erase_votes(self, round_id: str, ballot: str) -> None:
        """Erases who voted for what, or compared how; counted results stay in the round."""
        ...

    async def delete_round(self, round_id: str) -> None:
        """Deletes the round with everything that hangs on it."""
        ...

    async def posts_of_team(self, tenant: str, team: str) -> list[Posted]:
        """Messages of the team's rounds and trials, and all in its channel."""
        ...

    async def rounds_of_team(self, tenant: str, team: str) -> list[str]:
        """Ids of all rounds of the channel, oldest first, ended ones too."""
        ...

    async def people_of_team(self, tenant: str, team: str) -> list[str]:
        """Everybody who has a seat in one of its rounds."""
        ...

    async def delete_team(self, tenant: str, team: str) -> None:
        """Deletes all that is kept of the team: rounds, trials, register, settings, and what hangs on them."""
        ...

    async def heads(self, tenant: str, *, channel: str | None = None, member: str | None = None) -> list[RoundHead]:
        """Rounds that have not ended, oldest first; of a channel, or with this person on the roster."""
        ...

    async def rounds_with(self, tenant: str, person: str, most: int = ...) -> list[str]:
        """Ids of the newest rounds with this person on the roster, ended ones too."""
        ...

    async def ended_rounds(self, tenant: str, channel: str) -> list[str]:
        """Ids of the rounds of the channel that have ended, newest first."""
        ...

    async def step_of(self, round_id: str) -> Step | None: ...

    async def knows_message(self, name: str) -> bool:
        """Whether a message of this name is out or on its way."""
        ...

    async def running_trials(self, tenant: str, team: str) -> list[RunningTrial]: ...

    async def start_trial(self, trial: RunningTrial) -> None:
        """Takes a free place. The database refuses a third at a time."""
        ...

    async def send(self, sends: Sequence[Send], at: datetime) -> None:
        """Puts sends into the outbox. A revision of a message replaces an earlier one that has not gone out."""
        ...

    async def drop_sends(self, name: str) -> bool:
        """Takes what has not gone out under this name from the outbox; whether there was anything."""
        ...

    async def is_unsent(self, name: str) -> bool:
        """Whether something of this name waits that has not gone out."""
        ...

    async def told_of(self, place: Place, at: datetime) -> None:
        """Somebody hears with this transaction that what stands in the outbox for this conversation cannot be sent."""
        ...

    async def posted(self, name: str) -> Posted | None: ...

    def hidden(self, name: str) -> str:
        """The name as it may stand in a due row: of a message that tells of somebody's act no more than a hash."""
        ...

    async def posted_as(self, place: Place, message_id: str) -> Posted | None: ...

    async def posts_in(self, place: Place) -> list[Posted]:
        """All messages in a conversation whose names are known."""
        ...

    async def posted_like(self, prefix: str) -> list[Posted]:
        """All messages whose name begins so, in order of name."""
        ...

    async def open_posts(self, tenant: str, round_id: str | None, people: Collection[str]) -> list[Posted]:
        """Messages whose life is not over, those in the outbox too: of a round and its trials, and all that these
        people have in private."""
        ...

    async def end_posts(self, names: Sequence[str], *, drop: bool = True) -> None:
        """Their life is over. With `drop`, what has not gone out of them never will."""
        ...

    async def free_names(self, names: Sequence[str]) -> None:
        """Others may have these names from now on: the messages stand where they are and are changed no more."""
        ...

    async def set_due(self, dues: Sequence[Due]) -> None: ...

    async def take_due(self, due: Due) -> bool:
        """Ends the row with this transaction; False when somebody else has it, or it was set for another moment."""
        ...

    async def dues(self, kind: str) -> list[Due]:
        """All rows of a kind, the earliest first."""
        ...

    async def drop_due(self, subject: str, *, kind: str | None = None, occurrence: str | None = None) -> None: ...

    async def count(self, what: str, amount: int = 1) -> None:
        """Adds to a counter that operators may read (stale reminders dropped, happenings ignored ...)."""
        ...


class Store(Restored, Protocol):
    """The database."""

    def begin(self) -> AbstractAsyncContextManager[UnitOfWork]: ...

    async def claim_sends(self, now: datetime, most: int = ...) -> list[Queued]:
        """Sends that may go out: of each conversation that is not waiting the oldest open one, then what follows it."""
        ...

    async def sent(self, done: Sequence[Done]) -> None:
        """The rows go, and the whereabouts of new messages are kept under their names. What somebody else has claimed
        since may stand there twice: it is looked up anew, which settles that."""
        ...

    async def retry_send(self, queued: Queued, at: datetime, *, unknown: bool, why: str = ...) -> None: ...

    async def give_back(self, untried: Sequence[Queued]) -> None:
        """Frees what was claimed as it was before."""
        ...

    async def park_send(self, queued: Queued, why: str) -> None:
        """Sets it aside: what follows in its conversation does not wait for it."""
        ...

    async def drop_send(self, queued: Queued) -> None:
        """It has been overtaken: the row goes, and is counted."""
        ...

    def has_parked(self, place: Place) -> bool:
        """Whether something that the platform refused stands aside for this conversation, as far as is known here."""
        ...

    async def try_parked_again(self, now: datetime, places: Sequence[Place] | None = None) -> None:
        """Puts what the platform refused lately in these conversations back in its place; without any, all that was
        set aside lately."""
        ...

    async def troubles(self, held_up_since: datetime) -> list[Trouble]:
        """Conversations in which posts or files were set aside, or wait since before that moment."""
        ...

    async def waiting(self) -> Waiting:
        """When the earliest send may go out, and when the earliest row is due."""
        ...

    async def claim_due(self, now: datetime) -> Due | None: ...

    async def finish_due(self, due: Due) -> None: ...

    async def hold_due(self, due: Due, now: datetime) -> None:
        """Keeps a row that is being carried out still for the time of a lease."""
        ...

    async def fail_due(self, due: Due, until: datetime, problem: str) -> None:
        """Keeps a row that could not be carried out back, unless it was set anew meanwhile."""
        ...

    async def hurry(self, now: datetime, longest: timedelta) -> None:
        """Nothing that failed waits longer than that from now; for a clock that was set back."""
        ...

    async def see_time(self, now: datetime) -> datetime:
        """Remembers the highest time seen and returns it: the clock never runs backwards below it."""
        ...

    async def tidy(self, now: datetime) -> None:
        """What is kept for a time only goes."""
        ...

    async def last_time(self) -> datetime | None:
        """The highest time seen; None before the first."""
        ...

    async def note_number(self, name: str, value: float) -> float | None:
        """Keeps a number under a name, for the next start; returns the one that stood there."""
        ...

    async def close(self) -> None: ...
