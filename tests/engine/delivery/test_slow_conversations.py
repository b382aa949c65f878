"""A conversation that takes its time, by the platform's pace or its answer, holds up itself alone."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Coroutine
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from coldframe.domain.names import Step
from coldframe.engine.delivery import outbox
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import NotDelivered, Place
from coldframe.ports.storage import Send
from tests.domain.play import D, F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)


class Slow:
    """A platform that answers nobody's posts to D before `answers` is set, and then as it is told; a post to F ends the
    process while `stops` is set."""

    def __init__(self, team: Running, monkeypatch: pytest.MonkeyPatch) -> None:
        self.team = team
        self.answers = asyncio.Event()
        self.fails: list[Exception] = []
        self.stops = False
        self.taken: list[str] = []
        self.besides: list[Coroutine[Any, Any, None]] = []
        self._post = team.house.engine.kit.chat.post
        monkeypatch.setattr(team.house.engine.kit.chat, "post", self.post)
        team.house.engine.aside = self.besides.append

    async def post(self, place: Place, message: Message, *, key: str) -> str:
        if place.id == D:
            await self.answers.wait()
            if self.fails:
                raise self.fails.pop()
        if place.id == F and self.stops:
            raise asyncio.CancelledError
        self.taken.append(key)
        return await self._post(place, message, key=key)

    async def delivers(self, *sends: tuple[str, str]) -> None:
        """(to whom, what)."""
        posts = [Send("post", f"slow/{text}", Place("room", "direct", who), Message(line(text))) for who, text in sends]
        async with self.team.house.store.begin() as uow:
            await uow.send(posts, self.team.clock.now())
        await self.team.house.engine.deliver()

    async def answered(self) -> None:
        self.answers.set()
        while self.besides:
            await self.besides.pop()

    def heard(self, who: str, *texts: str) -> list[str]:
        return [words for words in told(self.team, who) if words in texts]


@pytest.fixture
async def slow(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Slow]:
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.settle()
        yield Slow(team, monkeypatch)
        team.house.engine.aside = None


async def test_others_do_not_wait_for_it_and_what_follows_there_keeps_its_order(slow: Slow) -> None:
    """What was to be said to somebody else after it is there before it."""
    await slow.delivers((D, "one"), (F, "two"), (D, "three"), (F, "four"))
    assert (slow.heard(D, "one", "three"), slow.heard(F, "two", "four")) == ([], ["two", "four"])
    await slow.answered()
    assert slow.heard(D, "one", "three") == ["one", "three"]
    await slow.team.until(slow.team.clock.now() + timedelta(hours=1))
    assert slow.heard(D, "one", "three") == ["one", "three"]


async def test_what_was_said_late_is_known_when_it_is_answered(slow: Slow) -> None:
    """Its whereabouts are kept as soon as it is out, though nothing follows it."""
    await slow.delivers((D, "one"))
    await slow.answered()
    async with slow.team.house.store.begin() as uow:
        assert await uow.posted("slow/one") is not None


async def test_what_fails_late_comes_again_before_what_follows_it(slow: Slow) -> None:
    """Nothing of the conversation goes out meanwhile."""
    slow.fails.append(NotDelivered("no answer"))
    await slow.delivers((D, "one"), (F, "two"), (D, "three"))
    await slow.answered()
    assert slow.heard(D, "one", "three") == []
    await slow.team.until(slow.team.clock.now() + timedelta(hours=1))
    await slow.answered()
    assert slow.heard(D, "one", "three") == ["one", "three"]


async def test_what_follows_a_late_break_tells_whose_fault_it_was(slow: Slow, monkeypatch: pytest.MonkeyPatch) -> None:
    """It goes, so what broke is set aside and not tried again."""
    monkeypatch.setattr(outbox, "STUBBORN", 1)
    slow.fails.append(RuntimeError())
    await slow.delivers((D, "one"), (D, "three"))
    await slow.answered()
    await slow.team.until(slow.team.clock.now() + timedelta(hours=1))
    await slow.answered()
    assert slow.heard(D, "one", "three") == ["three"]


async def test_what_is_on_its_way_at_a_stop_is_left_to_the_next_process(slow: Slow) -> None:
    """With what follows it; nothing of it is lost, or said twice."""
    slow.stops = True
    with pytest.raises(asyncio.CancelledError):
        await slow.delivers((D, "one"), (F, "two"), (D, "three"))
    assert slow.besides == []
    slow.stops = False
    slow.answers.set()
    for _ in range(2):  # what still went on would go out
        await asyncio.sleep(0)
    assert slow.taken == []
    await slow.team.until(slow.team.clock.now() + timedelta(hours=1))
    await slow.answered()
    assert (slow.heard(D, "one", "three"), slow.heard(F, "two")) == (["one", "three"], ["two"])
