"""What a turn must know from the platform is asked while no transaction is open."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from coldframe.clock import ManualClock, SeededIds
from coldframe.engine.engine import Engine
from coldframe.engine.uses import front_door
from coldframe.message.nodes import plain
from coldframe.ports.chat import (
    Capabilities,
    Commanded,
    Happening,
    Hindrance,
    Inbound,
    Joined,
    NotDelivered,
    Person,
    Place,
    Pressed,
    Submitted,
)
from coldframe.store.database import SqliteFile
from coldframe.store.sql import SqlStore
from coldframe.wiring import for_tests

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
GROWTH = Place("t", "channel", "growth")
NEW = {"question": "Where do we leak?", "name": "Spring", "levers": "", "decision_maker": "asa", "weight": "2"}
NEW |= {"decision_deputy": "bo", "facilitator_deputy": "bo"}


@dataclass
class Asked:
    """A platform that notes whether the store's one writer was kept waiting while it was asked."""

    store: SqlStore
    capabilities = Capabilities()
    questions: list[str] = field(default_factory=list)
    away: bool = False

    async def members(self, place: Place) -> tuple[Person, ...]:
        self._note("members")
        return tuple(Person(name, name.title()) for name in ("asa", "bo", "cy"))

    async def person(self, tenant: str, person: str) -> Person:
        self._note("person")
        return Person(person, person.title())

    def members_known(self, place: Place) -> None:
        return None

    def person_known(self, tenant: str, person: str) -> None:
        return None

    async def check(self, place: Place, people: Sequence[str]) -> tuple[Hindrance, ...]:
        self._note("check")
        return ()

    def _note(self, question: str) -> None:
        assert isinstance(self.store.database, SqliteFile)
        assert not self.store.database._lock.locked(), "everybody else waits for the platform"
        self.questions.append(question)
        if self.away:
            raise NotDelivered("no connection")


@dataclass
class There:
    engine: Engine
    platform: Asked
    store: SqlStore
    count: int = 0

    async def happens(self, what: Happening, place: Place = GROWTH, person: str = "cy") -> Any:
        self.count += 1
        return await self.engine.receive(Inbound(f"e{self.count}", person, place, NOW, what))


@pytest.fixture
async def there(tmp_path: Path) -> AsyncIterator[There]:
    async with for_tests(ManualClock(NOW), tmp_path, SeededIds(1)) as house:
        platform = Asked(house.store)
        yield There(front_door(replace(house.kit, chat=platform)), platform, house.store)


async def test_a_round_is_set_up_with_nobody_waiting_for_the_platform(there: There) -> None:
    """The setup's form and its answer ask for the channel and its people before they begin to write, once each."""
    form = (await there.happens(Commanded("new"))).form
    assert form is not None
    await there.happens(Submitted("round.new", form.value, NEW))
    form_asks, answer_asks = ["person", "members", "check", "members"], ["person", "members", "members", "check"]
    assert there.platform.questions == [*form_asks, *answer_asks]
    async with there.store.begin() as uow:
        (head,) = await uow.heads("t", channel="growth")
        round_ = await uow.round(head.id)
    assert round_ is not None and set(round_.seats) == {"asa", "bo", "cy"}


async def test_somebody_new_is_asked_about_outside_too(there: There) -> None:
    """Who joins, and who tells their hours before the bot knows them."""
    await there.happens(Joined(), person="dee")
    assert (await there.happens(Pressed("hours.write", ""), Place("t", "direct", "eli"), "eli")).form is not None
    assert there.platform.questions == ["person", "person"]


async def test_what_could_not_be_asked_is_not_taken_in(there: There) -> None:
    """With the platform away nothing is written, so that the same delivery counts when it comes again."""
    there.platform.away = True
    with pytest.raises(NotDelivered):
        await there.happens(Joined(), person="dee")
    there.platform.away, there.count = False, 0
    await there.happens(Joined(), person="dee")
    async with there.store.begin() as uow:
        assert await uow.member("t", "dee") is not None


async def test_while_nobody_can_be_seen_nobody_unknown_is_let_in(there: There) -> None:
    """They are asked to try again; a minute later they are seen."""
    there.platform.away = True
    told = await there.happens(Commanded("new"))
    assert told.form is None and told.note is not None
    assert "try again in a minute" in plain(told.note.summary)
    there.platform.away = False
    assert (await there.happens(Commanded("new"))).form is not None
