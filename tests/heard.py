"""How much the bot says to whom in a team's first round, counted as its people get it: from what stands in their chats
after each moment, beside what they did themselves.

An *answer* is what comes within a minute of an act of that very person: a line, a press, a form, an emoji, a command.
All else is told unasked. What is brought up to date in place, and what passes as a private note on the screen, makes no
message; lines in the thread of a message, such as those for emoji, are counted apart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, datetime, timedelta
from typing import Protocol

from coldframe.domain.names import Step
from coldframe.message.nodes import Buttons, Message
from coldframe.message.packed import MessageName
from coldframe.players.scenario import Scenario, calendar_of
from coldframe.ports.chat import Inbound, Place, Reply
from coldframe.render.room import message_text
from coldframe.speech.names import step_of
from coldframe.timing.calendars import WorkingCalendar

ANSWERED_WITHIN = timedelta(minutes=1)
OUTCOMES = frozenset({"reveal", "lever", "focus", "merged", "result", "question", "plans", "committed", "announced"})
"""Posts that tell the channel what came of a step; all others are beside the reveal's."""
ENDED = (Step.COMMITTED, Step.CANCELLED)


class Posted(Protocol):
    """A message of the bot, as it stands in a chat."""

    @property
    def id(self) -> str: ...
    @property
    def place(self) -> Place: ...
    @property
    def at(self) -> datetime: ...
    @property
    def message(self) -> Message | None: ...


def is_post(posted: Posted) -> bool:
    """In the channel, and in no thread."""
    return posted.place.kind == "channel" and posted.place.thread is None


class Intake(Protocol):
    async def receive(self, event: Inbound) -> Reply: ...


@dataclass(frozen=True)
class Told:
    """One message to one person, as it read when it came."""

    person: str
    at: datetime
    words: int
    answer: bool
    in_thread: bool
    text: str = ""
    asks: frozenset[str] = frozenset()
    """What can be pressed on it: each button with what it is about."""


@dataclass
class Ear:
    """Listens to one round. `ids`: what the platform calls each of the scenario's people."""

    scenario: Scenario
    ids: Mapping[str, str]
    told: list[Told] = field(default_factory=list)
    posts: list[tuple[Step, str]] = field(default_factory=list)
    """In the channel: the step of each, and what the bot calls it."""
    _acts: dict[str, list[datetime]] = field(default_factory=dict)
    _heard: set[str] = field(default_factory=set)
    _over: bool = False

    def beside(self, intake: Intake) -> Intake:
        """The same intake, with an ear for who acts when."""
        return _Overheard(intake, self)

    def acted(self, event: Inbound) -> None:
        self._acts.setdefault(self.ids.get(event.person, event.person), []).append(event.at)

    def fresh(self, standing: Iterable[Posted]) -> list[Posted]:
        """What was not heard yet, while the round goes on."""
        if self._over:
            return []
        return [each for each in standing if each.id not in self._heard and each.message is not None]

    def listen(self, fresh: Sequence[Posted], names: Mapping[str, str] | None = None, step: Step = Step.SETUP) -> None:
        """After a moment; where the channel has new posts, with what the bot calls them and the round's step then."""
        self._heard |= {each.id for each in fresh}
        self.told += [self._told(each) for each in fresh if each.place.kind == "direct"]
        self.posts += [_named((names or {}).get(each.id, ""), step) for each in fresh if is_post(each)]
        self._over = step in ENDED

    def _told(self, posted: Posted) -> Told:
        person = posted.place.id
        assert posted.message is not None
        text = message_text(posted.message, self._calendars()[person].zone, posted.at)
        acts = self._acts.get(person, ())
        answer = any(timedelta() <= posted.at - act < ANSWERED_WITHIN for act in acts)
        in_thread = posted.place.thread is not None
        return Told(person, posted.at, words_in(text), answer, in_thread, text, _asks(posted.message))

    def _calendars(self) -> dict[str, WorkingCalendar]:
        return {person.id: calendar_of(person) for person in self.scenario.team}

    def counts(self) -> list[Count]:
        """One for each person, as the scenario has them."""
        return [
            counted(name, [t for t in self.told if t.person == name], calendar, self.bound(name))
            for name, calendar in self._calendars().items()
        ]

    def bound(self, person: str) -> int:
        roles = self.scenario.roles
        return BOUNDS.get(
            {roles.facilitator: "facilitator", roles.decision_maker: "decision-maker"}.get(person, ""), 14
        )

    def posts_beside(self) -> Counter[str]:
        """By step, without what tells what came of it."""
        return Counter(step.value for step, what in self.posts if what not in OUTCOMES)


@dataclass(frozen=True)
class _Overheard:
    intake: Intake
    ear: Ear

    async def receive(self, event: Inbound) -> Reply:
        self.ear.acted(event)
        return await self.intake.receive(event)


REMINDS = "me.later"
"""A button that only reminders have."""
HELPS = frozenset({"guide.show", "now.show", "me.kept", "me.away", "hours.write", "jot.write", "merge.more"})
"""Buttons that ask nothing."""


def _asks(message: Message) -> frozenset[str]:
    pressed = (button for block in message.blocks if isinstance(block, Buttons) for button in block.buttons)
    return frozenset(f"{button.action} {button.value}" for button in pressed if button.action not in HELPS)


def asked_twice(told: Iterable[Told]) -> list[str]:
    """What two messages ask of the same person, or say to them in the same words. A reminder may repeat an ask, and an
    answer may offer to change what was just given."""
    found: list[str] = []
    known: dict[str, set[str]] = {}
    for one in told:
        if one.in_thread or any(ask.startswith(REMINDS) for ask in one.asks):
            continue
        earlier = known.setdefault(one.person, set())
        again = {*(() if one.answer else one.asks), one.text} & earlier
        found += [f"{one.person} {one.at:%a %H:%M}: {each}" for each in sorted(again)]
        earlier |= {*one.asks, one.text}
    return found


def words_in(text: str) -> int:
    """Those of buttons too, by each button; what has neither letter nor digit is none."""
    return sum(any(sign.isalnum() for sign in word) for word in text.split())


def _named(name: str, now: Step) -> tuple[Step, str]:
    try:
        message = MessageName.unpack(name)
    except ValueError:
        return now, name
    return step_of(message) or now, message.what


# --- counting -------------------------------------------------------------------------------------------------------

BOUNDS = {"facilitator": 22, "decision-maker": 18}
MOST_A_DAY = 3
MOST_WORDS = 900
MOST_POSTS = 2  # a step


@dataclass(frozen=True)
class Count:
    """Of one person. `bound`: how many may be told unasked in a round."""

    person: str
    bound: int
    unasked: int
    on_one_day: int
    words: int
    """Of what is told unasked."""
    in_all: int
    """Words with those of answers, which have no bound: whoever asks more reads more."""
    outside: int
    """Unasked and outside their hours."""
    away: int
    """Of any kind while they are away, but answers."""
    answers: int
    lines: int
    """In threads."""

    def row(self) -> list[str]:
        return [
            self.person, _against(self.unasked, self.bound), _against(self.on_one_day, MOST_A_DAY),
            _against(self.words, MOST_WORDS), str(self.in_all), _against(self.outside, 0),
            _against(self.away, 0), str(self.answers), str(self.lines),
        ]  # fmt: skip


def counted(person: str, told: Sequence[Told], calendar: WorkingCalendar, bound: int) -> Count:
    messages = [one for one in told if not one.in_thread]
    unasked = [one for one in messages if not one.answer]
    days = Counter[date](calendar.local_day(one.at) for one in unasked)
    outside = [one for one in unasked if not (calendar.is_working(one.at) or calendar.works_up_to(one.at))]
    away = [one for one in unasked if calendar.is_away(calendar.local_day(one.at))]
    return Count(
        person, bound, len(unasked), max(days.values(), default=0), sum(one.words for one in unasked),
        sum(one.words for one in messages), len(outside), len(away), len(messages) - len(unasked),
        len(told) - len(messages),
    )  # fmt: skip


def _against(figure: int, most: int) -> str:
    return f"{figure} / {most}{'' if figure <= most else ' over'}"


HEAD = ["", "unasked", "on one day", "words unasked", "words in all", "outside hours", "away", "answers", "lines"]


def table(ear: Ear) -> Iterator[str]:
    """The figures beside their bounds; `over` where one is not kept."""
    rows = [HEAD, *(count.row() for count in ear.counts())]
    widths = [max(len(row[place]) for row in rows) for place in range(len(HEAD))]
    for row in rows:
        yield "  ".join(f"{cell:>{width}}" for cell, width in zip(row, widths, strict=True)).rstrip()
    posts = ear.posts_beside()
    yield ""
    yield "posts in the channel, beside what came of the step: " + ", ".join(
        f"{step} {_against(number, MOST_POSTS)}" for step, number in posts.items()
    )
    every = [kept for count in ear.counts() for kept in _kept(count)] + [n <= MOST_POSTS for n in posts.values()]
    yield f"{sum(every)} of {len(every)} bounds are kept"


def _kept(count: Count) -> list[bool]:
    return [
        count.unasked <= count.bound, count.on_one_day <= MOST_A_DAY, count.words <= MOST_WORDS,
        count.outside == 0, count.away == 0,
    ]  # fmt: skip


# --- what is reached so far -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Worst:
    """The highest of each figure, whoever has it; `over`: how many more are told unasked than the bound allows."""

    over: int
    on_one_day: int
    words: int
    in_all: int
    outside: int
    away: int
    posts: int


ROOM = Worst(over=0, on_one_day=MOST_A_DAY, words=MOST_WORDS, in_all=1_304, outside=0, away=0, posts=MOST_POSTS)
SLACK = Worst(over=0, on_one_day=MOST_A_DAY, words=MOST_WORDS, in_all=1_740, outside=0, away=0, posts=2)
LARGE = Worst(over=0, on_one_day=MOST_A_DAY, words=MOST_WORDS, in_all=1_470, outside=0, away=0, posts=2)
"""How far the demo's conversation has come down to its bounds: a ratchet, no aim. Whoever lowers a figure lowers it
here, and nobody raises one, until these are the bounds, as the room's are. `LARGE` is the room with 25 people and 120
notes."""


def worst(ear: Ear) -> Worst:
    every = ear.counts()
    figures = {
        name: max(getattr(count, name) for count in every)
        for name in ("on_one_day", "words", "in_all", "outside", "away")
    }
    over = max(0, *(count.unasked - count.bound for count in every))
    return Worst(over, posts=max(ear.posts_beside().values(), default=0), **figures)


def risen(ear: Ear, reached: Worst) -> dict[str, tuple[int, int]]:
    """The figures that are higher than they were: what was reached, and what is now."""
    now = asdict(worst(ear))
    return {name: (was, now[name]) for name, was in asdict(reached).items() if now[name] > was}
