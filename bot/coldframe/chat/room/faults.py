"""Troubles that the room can be told to make, for tests: what a real service does on a bad day."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Literal

from coldframe.ports.chat import ChatError, Denial, NotDelivered, OutcomeUnknown, SlowDown, Unreachable

Trouble = Literal["refuse", "slow", "gone", "lose_answer", "lose_request"]


@dataclass(slots=True)
class _Plan:
    trouble: Trouble
    skip: int
    times: int
    on: frozenset[str]
    seconds: float


class Faults:
    """Troubles to come, each for a number of calls of the bot to the service; nothing happens unless told.

    refuse: NotDelivered. slow: SlowDown(seconds). gone: Unreachable. lose_answer: done, then OutcomeUnknown.
    lose_request: not done, and OutcomeUnknown all the same.
    """

    def __init__(self) -> None:
        self._plans: list[_Plan] = []
        self._denied: set[tuple[Denial, str]] = set()
        self.met = 0

    def add(
        self,
        trouble: Trouble,
        *,
        times: int = 1,
        skip: int = 0,
        on: Iterable[str] = ("post", "upload"),
        seconds: float = 1.0,
    ) -> None:
        """Lets `skip` calls of the operations in `on` pass and troubles the next `times`."""
        self._plans.append(_Plan(trouble, skip, times, frozenset(on), seconds))

    def clear(self) -> None:
        self._plans.clear()
        self._denied.clear()

    def deny(self, what: Denial, where: str = "") -> None:
        """Refuses this for good, in the channel or to the person of this id; everywhere where none is named."""
        self._denied.add((what, where))

    def denies(self, what: Denial, where: str) -> bool:
        return not self._denied.isdisjoint({(what, where), (what, "")})

    def refuse(self, where: str, *reasons: Denial) -> None:
        """Raises Unreachable for the first of these reasons that was given."""
        for reason in reasons:
            if self.denies(reason, where):
                self.met += 1
                raise Unreachable(f"the room was told: {reason}", reason)

    def before(self, operation: str) -> ChatError | None:
        """Raises what happens instead of the operation; returns what is to be raised once it is done."""
        plan = self._due(operation)
        if plan is None:
            return None
        self.met += 1
        match plan.trouble:
            case "refuse":
                raise NotDelivered("the room was told to refuse")
            case "slow":
                raise SlowDown(plan.seconds)
            case "gone":
                raise Unreachable("the room was told to be out of reach")
            case "lose_request":
                raise OutcomeUnknown("the room was told to lose the request")
            case "lose_answer":
                return OutcomeUnknown("the room was told to lose the answer")

    @contextmanager
    def around(self, operation: str) -> Iterator[None]:
        """The operation, with what happens instead of it or after it."""
        trouble = self.before(operation)
        yield
        if trouble:
            raise trouble

    def _due(self, operation: str) -> _Plan | None:
        for plan in self._plans:
            if operation not in plan.on or plan.times == 0:
                continue
            if plan.skip:
                plan.skip -= 1
                return None
            plan.times -= 1
            return plan
        return None
