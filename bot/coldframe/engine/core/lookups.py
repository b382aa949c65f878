"""What a turn must know from the platform: asked outside any transaction.

A transaction that waits for the platform would hold up everybody else for as long. So a turn is given up at its first
open question, with nothing written, and taken again with the answer.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import Any, Protocol, TypeVar

from coldframe.domain.refusals import Because, Refused
from coldframe.errors import ColdframeError
from coldframe.ports.chat import Chat, ChatError, Denial, Hindrance, Person, Place, Unreachable

Result = TypeVar("Result")


class Question(Protocol):
    """Something that only the platform knows. Two that are equal have one answer."""

    async def ask(self, chat: Chat) -> Any: ...


@dataclass(frozen=True, slots=True)
class Members:
    """Who is in the channel."""

    place: Place

    async def ask(self, chat: Chat) -> tuple[Person, ...]:
        return await chat.members(self.place)


@dataclass(frozen=True, slots=True)
class Known:
    """What the platform knows of a person."""

    place: Place
    person: str

    async def ask(self, chat: Chat) -> Person:
        return await chat.person(self.place.tenant, self.person)


@dataclass(frozen=True, slots=True)
class Checked:
    """What would keep the bot from its work in the channel and with these people."""

    place: Place
    people: tuple[str, ...]

    async def ask(self, chat: Chat) -> tuple[Hindrance, ...]:
        return await chat.check(self.place, self.people)


@dataclass(frozen=True, slots=True)
class LookedAt:
    """The same for an overview, which goes without where the platform does not tell it now."""

    place: Place
    people: tuple[str, ...]

    async def ask(self, chat: Chat) -> tuple[Hindrance, ...]:
        try:
            return await chat.check(self.place, self.people)
        except ChatError:
            return ()


@dataclass(frozen=True, slots=True)
class There:
    """Who is in the channel, to know what somebody may; None where the platform does not tell it now, nobody where the
    bot was not let in."""

    place: Place

    async def ask(self, chat: Chat) -> tuple[Person, ...] | None:
        try:
            return await chat.members(self.place)
        except Unreachable as refused:
            if refused.denial is Denial.NO_CHANNEL:
                raise
            return () if refused.denial is Denial.NOT_IN_CHANNEL else None
        except ChatError:
            return None


@dataclass(frozen=True, slots=True)
class Seen:
    """Who asks; None where the platform does not tell it now."""

    tenant: str
    person: str

    async def ask(self, chat: Chat) -> Person | None:
        try:
            return await chat.person(self.tenant, self.person)
        except ChatError:
            return None


class Unasked(ColdframeError):
    """The turn cannot go on before this is asked."""

    def __init__(self, question: Question) -> None:
        super().__init__("a question to the platform is open")
        self.question = question


@dataclass(slots=True)
class Told:
    """What the platform has answered for one turn."""

    chat: Chat | None = None
    answers: dict[Question, Any] = field(default_factory=dict)

    def members(self, place: Place) -> tuple[Person, ...]:
        """Everybody in the channel. Raises Unasked, and Refused where the bot was not let in."""
        found: tuple[Person, ...] = self._answer(Members(place.root()))
        return found

    def person(self, place: Place, person: str) -> Person:
        """The person as the platform knows them. Raises Unasked."""
        seen: Person | None = self.answers.get(Seen(place.tenant, person))
        found: Person = seen or self._answer(Known(place.root(), person))
        return found

    def there(self, place: Place, person: str) -> tuple[Person, ...] | None:
        """Everybody in the channel; what the platform's side remembers is enough if this person is among them. None
        where it cannot be told now, nobody where the bot was not let in. Raises Unasked."""
        known = self.chat.members_known(place.root()) if self.chat is not None else ()
        if known is not None and (self.chat is None or any(each.id == person for each in known)):
            return known or None
        found: tuple[Person, ...] | None = self._answer(There(place.root()))
        return found

    def seen(self, tenant: str, person: str) -> Person | None:
        """Who asks, as the platform's side remembers them. None where it cannot be told now. Raises Unasked."""
        if self.chat is None:
            return None
        found: Person | None = self.chat.person_known(tenant, person) or self._answer(Seen(tenant, person))
        return found

    def hindrances(self, place: Place, people: tuple[str, ...]) -> tuple[Hindrance, ...]:
        """What would be refused there and to these people. Raises Unasked."""
        found: tuple[Hindrance, ...] = self._answer(Checked(place.root(), people))
        return found

    def looked_at(self, place: Place, people: tuple[str, ...]) -> tuple[Hindrance, ...]:
        """As far as the platform tells it now. Raises Unasked."""
        found: tuple[Hindrance, ...] = self._answer(LookedAt(place.root(), people))
        return found

    def _answer(self, question: Question) -> Any:
        if question not in self.answers:
            raise Unasked(question)
        answer = self.answers[question]
        if isinstance(answer, Refused):
            raise answer
        return answer

    async def ask(self, chat: Chat, question: Question) -> None:
        """Raises ChatError. That the bot is not in the channel is an answer, too, for whoever can let it in; and so is
        that it is no channel."""
        try:
            self.answers[question] = await question.ask(chat)
        except Unreachable as refused:
            if refused.denial is Denial.NO_CHANNEL:
                self.answers[question] = Refused(Because.NO_CHANNEL)
            elif refused.denial is Denial.NOT_IN_CHANNEL:
                self.answers[question] = not_in_channel(chat)
            else:
                raise


def not_in_channel(chat: Chat, channel: str = "") -> Refused:
    """`channel`: its name, where it is known."""
    return Refused(Because.NOT_IN_CHANNEL, invitation=chat.capabilities.invitation, channel=channel)


async def asked(chat: Chat, take: Callable[[Told], Awaitable[Result]]) -> Result:
    """Takes the turn, again after each question that it leaves open. Raises ChatError."""
    told = Told(chat)
    while True:
        try:
            return await take(told)
        except Unasked as unasked:
            question = unasked.question
        await told.ask(chat, question)
