"""What somebody asks of the bot by a button, a form or a word, and the one shape of all that answers it.

Whether the asker belongs to the round or the trial is checked here, before an answer sees either.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Container, Mapping
from dataclasses import dataclass, field, fields
from typing import Any, TypeVar

from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Round
from coldframe.domain.trial.state import UNDER_WAY, Trial
from coldframe.engine.core.turn import Turn
from coldframe.message.nodes import Form, Message
from coldframe.message.packed import ButtonValue
from coldframe.ports.chat import Inbound, Reply


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

    def text(self, name: str) -> str:
        return self.fields.get(name, "")

    def answer(self, message: Message) -> None:
        """Posts to the person, in private."""
        self.turn.answer(self.tenant, self.by, message)

    def shown(self, message: Message) -> Reply | None:
        """In the direct messages an answer stays; in a channel it is a passing private note."""
        if self.event.place.kind != "direct":
            return Reply(note=message)
        self.answer(message)
        return None

    def noted(self, message: Message) -> Reply | None:
        """A passing private note beside a button in the channel; in the direct messages the card itself shows it."""
        return None if self.event.place.kind == "direct" else Reply(note=message)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundRequest(Request):
    """A request by a member of this round."""

    round: Round

    async def act(self, command: Command) -> Round:
        """Raises Refused."""
        return await self.turn.act(self.round, command)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialRequest(Request):
    """A request by a member of this trial's team."""

    trial: Trial

    async def act(self, command: Command) -> Trial:
        """Raises Refused."""
        return await self.turn.act_on_trial(self.trial, command)

    def under_way(self) -> None:
        """Raises Refused for a trial that is over, or not begun."""
        if self.trial.step not in UNDER_WAY:
            raise Refused(Because.TRIAL_OVER)

    def by_owner(self, *others: MemberId) -> None:
        """Raises Refused for whoever is neither the owner nor one of these others."""
        if self.by not in (self.trial.owner, *others):
            raise Refused(Because.NOT_OWNER)


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


def of_round(answers: Mapping[str, RoundAnswer]) -> Answers:
    """Answers that get the round which their value names first."""
    return {name: _of_round(answer) for name, answer in answers.items()}


def of_trial(answers: Mapping[str, TrialAnswer]) -> Answers:
    """Answers that get the trial which their value names first."""
    return {name: _of_trial(answer) for name, answer in answers.items()}


def _of_round(answer: RoundAnswer) -> Answer:
    async def answered(request: Request) -> Reply | None:
        return await answer(await round_request(request))

    return answered


async def round_request(request: Request) -> RoundRequest:
    """The request with its round. Raises Refused for a round that is not there, and for whoever is not in it."""
    round_ = await request.turn.round(ButtonValue.unpack(request.value).subject)
    members_only(request.event, round_.tenant, round_.seats)
    return RoundRequest(round=round_, **_values(request))


def _of_trial(answer: TrialAnswer) -> Answer:
    async def answered(request: Request) -> Reply | None:
        trial = await request.turn.trial(ButtonValue.unpack(request.value).subject)
        members_only(request.event, trial.tenant, trial.people)
        return await answer(TrialRequest(trial=trial, **_values(request)))

    return answered


def members_only(event: Inbound, tenant: str, people: Container[MemberId]) -> None:
    """Raises Refused for a person of another workspace or outside of these people."""
    if tenant != event.place.tenant or MemberId(event.person) not in people:
        raise Refused(Because.NOT_A_MEMBER)


def _values(request: Request) -> dict[str, Any]:
    return {f.name: getattr(request, f.name) for f in fields(Request)}


def in_step(request: RoundRequest, step: Step) -> None:
    """Raises Refused when the round is not there yet, or no more."""
    if request.round.step is not step:
        order = list(Step)
        late = order.index(request.round.step) > order.index(step)
        raise Refused(Because.TOO_LATE if late else Because.NOT_OPEN_YET, step=request.round.step, wanted=step)
