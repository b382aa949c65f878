"""What somebody asks of the bot by a button, a form or a word, and the one shape of all that answers it.

Whether the table of `domain.who_may` lets the asker do it in that round or trial, and whether what was pressed or sent
is still open there, is checked here, before an answer sees either.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Collection, Mapping
from dataclasses import dataclass, field, fields
from typing import Any, TypeVar

from coldframe.domain import who_may
from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Round
from coldframe.domain.trial import checks
from coldframe.domain.trial.state import Trial
from coldframe.domain.who_may import Act
from coldframe.engine.core import access, endings, occurrences
from coldframe.engine.core.turn import Turn
from coldframe.errors import ColdframeError
from coldframe.message.nodes import Form, Line, Message
from coldframe.message.packed import ButtonValue, MessageName
from coldframe.ports.chat import Inbound, Pressed, Reply
from coldframe.speech import over_words
from coldframe.speech.names import step_of

MAX_DIGITS = 4  # of a number in a value


@dataclass(frozen=True, slots=True)
class Uses:
    """All that can be asked, by the name of the button or form, or by the word of the command."""

    buttons: Answers
    forms: Answers
    words: Answers


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """Who asked, where, and what the button, the form or the words after the command say."""

    uses: Uses
    turn: Turn
    event: Inbound
    value: str = ""
    fields: Mapping[str, str] = field(default_factory=dict)
    words: str = ""

    @property
    def tenant(self) -> str:
        return self.event.place.tenant

    @property
    def by(self) -> MemberId:
        return MemberId(self.event.person)

    @property
    def subject(self) -> str:
        """What the value is about: a round or a trial by its id, or a word."""
        return ButtonValue.unpack(self.value).subject

    @property
    def parts(self) -> tuple[str, ...]:
        """What the value names, beyond the round or trial it is about."""
        return ButtonValue.unpack(self.value).rest

    def part(self, index: int) -> str:
        """Raises Refused for a value that was made up."""
        if index >= len(self.parts):
            raise Refused(Because.UNKNOWN_ITEM)
        return self.parts[index]

    def number(self, index: int) -> int:
        """Such as that of a page. Raises Refused for a value that was made up."""
        part = self.part(index)
        if not part.isdecimal() or len(part) > MAX_DIGITS:
            raise Refused(Because.UNKNOWN_ITEM)
        return int(part)

    def text(self, name: str) -> str:
        return self.fields.get(name, "")

    def answer(self, message: Message) -> None:
        """Posts to the person, in private."""
        self.turn.answer(self.tenant, self.by, message, about=self.about())

    def about(self) -> Round | Trial | None:
        """What the request is about, so the answer too."""
        return None

    def shown(self, message: Message) -> Reply | None:
        """In the direct messages an answer stays; in a channel it is a passing private note."""
        if self.event.place.kind != "direct":
            return Reply(note=message)
        self.answer(message)
        return None

    async def page(self, message: Message) -> Reply | None:
        """How things stand now, in the place of what showed it before; a passing private note in a channel."""
        if self.event.place.kind != "direct":
            return Reply(note=message)
        await endings.show_page(self.turn, self.tenant, self.by, message)
        return None

    def passing(self, message: Message) -> Reply:
        """What only says that it is done and is not read again: the platform's own passing word, and no message."""
        return Reply(note=message)

    def noted(self, message: Message) -> Reply | None:
        """A passing private note beside a button in the channel; in the direct messages the card itself shows it."""
        return None if self.event.place.kind == "direct" else Reply(note=message)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundRequest(Request):
    """A request by a member of this round."""

    round: Round

    def about(self) -> Round:
        return self.round

    async def act(self, command: Command) -> Round:
        """Raises Refused."""
        return await self.turn.act(self.round, command)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialRequest(Request):
    """A request by a member of this trial's team."""

    trial: Trial

    def about(self) -> Trial:
        return self.trial

    async def act(self, command: Command) -> Trial:
        """Raises Refused."""
        return await self.turn.act_on_trial(self.trial, command)

    def under_way(self) -> None:
        """Raises Refused for a trial that is over, or not begun."""
        checks.under_way(self.trial)


Answer = Callable[[Request], Awaitable[Reply | None]]
RoundAnswer = Callable[[RoundRequest], Awaitable[Reply | None]]
TrialAnswer = Callable[[TrialRequest], Awaitable[Reply | None]]
Answers = Mapping[str, Answer]
R = TypeVar("R", RoundRequest, TrialRequest)


def acts(command: Callable[[R], Command]) -> Callable[[R], Awaitable[Reply | None]]:
    """A button or form that is one command."""

    async def acted(request: R) -> None:
        await request.act(command(request))

    return acted


def opens(make: Callable[[R], Form]) -> Callable[[R], Awaitable[Reply | None]]:
    """A button that opens a form."""

    async def opened(request: R) -> Reply:
        return Reply(form=make(request))

    return opened


def of_round(answers: Mapping[str, RoundAnswer], during: Collection[Step] = ()) -> Answers:
    """Answers that get the round which their value names first, as long as it is in one of these steps; in none of
    them: in the one step that the button or form was made for."""
    return {name: _of_round(who_may.BY_WAY[name], answer, during) for name, answer in answers.items()}


def of_trial(answers: Mapping[str, TrialAnswer]) -> Answers:
    """Answers that get the trial which their value names first, as long as what they were made for is open."""
    return {name: _of_trial(name, answer) for name, answer in answers.items()}


def _of_round(act: Act, answer: RoundAnswer, during: Collection[Step]) -> Answer:
    async def answered(request: Request) -> Reply | None:
        round_ = await request.turn.round(ButtonValue.unpack(request.value).subject)
        found = access.in_round(request.turn, request.event, round_)
        access.is_open(found, act, access.of_round(round_), was_here=request.by in round_.seats, given=True)
        await _still_in_step(request, round_, during)
        access.part_of_round(found, act, round_)
        return await answer(RoundRequest(round=round_, **_values(request)))

    return answered


def _of_trial(name: str, answer: TrialAnswer) -> Answer:
    async def answered(request: Request) -> Reply | None:
        act, trial = who_may.BY_WAY[name], await request.turn.trial(ButtonValue.unpack(request.value).subject)
        found = access.in_trial(request.turn, request.event, trial)
        access.is_open(found, act, access.of_trial(trial), was_here=request.by in trial.people)
        over = occurrences.over(trial, request.by, occurrences.made_for(name, ButtonValue.unpack(request.value)))
        if over:
            raise Over(trial, over)
        access.part_of_trial(found, act, trial)
        return await answer(TrialRequest(trial=trial, **_values(request)))

    return answered


# --- what it was made for ---


class Over(ColdframeError):
    """What was pressed or sent was made for something that is over, or not open yet; nothing changed."""

    def __init__(self, subject: Round | Trial, words: Line) -> None:
        super().__init__("over")
        self.subject, self.words = subject, words


async def _still_in_step(request: Request, round_: Round, during: Collection[Step]) -> None:
    """Raises Over when the round is not there yet, or no more; and where nobody knows what it was made for."""
    made_in = await _made_in(request)
    steps = during or (made_in,)
    if round_.step not in steps:
        belongs = made_in if made_in in steps else next(iter(steps))
        raise Over(round_, over_words.of_step(round_, belongs))


async def _made_in(request: Request) -> Step | None:
    """The step that the value carries; of an older release's button the step of the message that was pressed."""
    carried, what = ButtonValue.unpack(request.value).made_for, request.event.what
    if carried:
        return Step(carried) if carried in list(Step) else None
    if not isinstance(what, Pressed) or what.message is None:
        return None
    posted = await request.turn.uow.posted_as(request.event.place, what.message)
    return step_of(MessageName.unpack(posted.name)) if posted is not None else None


def _values(request: Request) -> dict[str, Any]:
    return {f.name: getattr(request, f.name) for f in fields(Request)}
