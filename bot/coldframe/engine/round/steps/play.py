"""What a step is to the engine: one record, and the small things that the steps share."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, PlanId, Role, Step
from coldframe.domain.refusals import known
from coldframe.domain.round import rules
from coldframe.domain.state import Choice, Round
from coldframe.engine.core.requests import RoundAnswer, RoundRequest
from coldframe.engine.core.turn import Carry, Follow, Kit, Turn
from coldframe.message.nodes import Message
from coldframe.speech.names import message_name
from coldframe.speech.round import cards, guide_words

Reads = Callable[[Round, tuple[str, ...]], Message]
"""A message as it reads now, from the round and what stands in its name behind `what`."""


@dataclass(frozen=True, slots=True)
class Asking:
    """The question to each whom a step waits for. Who was asked has the message `round/what/person/rest`."""

    what: str
    rest: tuple[str, ...]
    ask: Callable[[Turn, Round, MemberId], Awaitable[None]]

    def name(self, round_: Round, member: MemberId) -> str:
        return message_name(round_.id, self.what, member, *self.rest)

    async def open(self, turn: Turn, round_: Round) -> None:
        """A step that begins with its card and this question."""
        post_card(turn, round_)
        await self.everybody(turn, round_)

    async def everybody(self, turn: Turn, round_: Round) -> None:
        for member in rules.expected(round_):
            await self.ask(turn, round_, member)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepPlay:
    """How one step is played. Tables of its names are merged by `engine.uses`."""

    open: Callable[[Turn, Round], Awaitable[None]]
    """What its opening brings: the channel's card, and who is asked."""
    asking: Asking | None
    """Its question to each, for those who come back or were not asked; None where it waits for roles alone."""
    desk: Callable[[Turn, Round], None] | None
    """Its question to whoever decides, put anew after a hand-over."""
    own_card: Callable[[Turn, Round, MemberId], None] | None
    """Brings a person's own card up to date."""
    reads: Mapping[str, Reads]
    """Its messages that can be said anew: after a rest, and when a note in them was hidden. The others are let go."""
    card_follows: bool
    """Its card in the channel is sent by a due row of its own, below the results before it."""
    buttons: Mapping[str, RoundAnswer]
    forms: Mapping[str, RoundAnswer]
    follow: Mapping[type[Fact], Follow[Round]]
    due: Mapping[str, Carry]
    whole: Mapping[str, Reads] = field(default_factory=dict)
    """Those of its messages that are cut into pages, whole: for where there is room for all of it."""
    following_card: Callable[[Round], Message] | None = None
    """That card, as far as the round alone tells it: it is brought up to date only when it reads differently, since the
    sign of an edit tells that somebody did something."""


def post_card(turn: Turn, round_: Round) -> None:
    turn.say(round_, "card", cards.step_card(round_), rest=(round_.step.value,))


@dataclass(frozen=True, slots=True)
class Desk:
    """The card of the facilitator, who works alone in a step: named `round/desk/person/step`."""

    step: Step
    card: Callable[[Round, MemberId], Message]

    async def open(self, turn: Turn, round_: Round) -> None:
        """A step that begins with its card in the channel and this one."""
        post_card(turn, round_)
        self.show(turn, round_)

    def show(self, turn: Turn, round_: Round) -> None:
        facilitator = round_.roles.acting(Role.FACILITATOR)
        turn.tell(round_, facilitator, "desk", self._guided(round_, facilitator), rest=(self.step.value,))

    def revise(self, turn: Turn, round_: Round, card: Message | None = None) -> None:
        """`card`: what is asked for, where it is not the usual."""
        facilitator = round_.roles.acting(Role.FACILITATOR)
        shown = guide_words.guided(round_, facilitator, card or self.card(round_, facilitator))
        turn.revise_own(round_, facilitator, "desk", shown, self.step.value)

    def reads(self) -> Mapping[str, Reads]:
        return {"desk": lambda round_, rest: self._guided(round_, MemberId(rest[0]))}

    def _guided(self, round_: Round, member: MemberId) -> Message:
        return guide_words.guided(round_, member, self.card(round_, member))


def chosen(request: RoundRequest) -> tuple[PlanId, Choice]:
    """The chosen plan that a request is about. Raises Refused."""
    plan = PlanId(request.part(0))
    return plan, known(request.round.choices.get(plan))


async def read(kit: Kit, round_id: str) -> Round | None:
    """The round as it is, before heavy numbers are reckoned outside any transaction."""
    async with kit.store.begin() as uow:
        return await uow.round(round_id)
