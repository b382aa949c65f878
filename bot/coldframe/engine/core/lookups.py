"""What a turn must know from the platform: asked outside any transaction.

A transaction that waits for the platform would hold up everybody else for as long. So a turn is given up at its first
open question, with nothing written, and taken again with the answer.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from coldframe.errors import ColdframeError
from coldframe.ports.chat import Chat, Person, Place, Reply


@dataclass(frozen=True, slots=True)
class Question:
    """Who is in the channel or, with `person`, what the platform knows of them."""

    place: Place
    person: str | None = None


class Unasked(ColdframeError):
    """The turn cannot go on before this is asked."""

    def __init__(self, question: Question) -> None:
        super().__init__("a question to the platform is open")
        self.question = question


@dataclass(slots=True)
class Told:
    """What the platform has answered for one turn."""

    answers: dict[Question, tuple[Person, ...]] = field(default_factory=dict)

    def members(self, place: Place) -> tuple[Person, ...]:
        """Everybody in the channel. Raises Unasked."""
        return self._answer(Question(place.root()))

    def person(self, place: Place, person: str) -> Person:
        """The person as the platform knows them. Raises Unasked."""
        return self._answer(Question(place.root(), person))[0]

    def _answer(self, question: Question) -> tuple[Person, ...]:
        if question not in self.answers:
            raise Unasked(question)
        return self.answers[question]

    async def ask(self, chat: Chat, question: Question) -> None:
        """Raises ChatError."""
        place, person = question.place, question.person
        known = await chat.members(place) if person is None else (await chat.person(place.tenant, person),)
        self.answers[question] = known


async def asked(chat: Chat, take: Callable[[Told], Awaitable[Reply]]) -> Reply:
    """Takes the turn, again after each question that it leaves open. Raises ChatError."""
    told = Told()
    while True:
        try:
            return await take(told)
        except Unasked as unasked:
            question = unasked.question
        await told.ask(chat, question)
