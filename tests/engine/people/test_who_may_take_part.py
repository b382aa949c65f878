"""People of every kind come, change and go, and the channel itself: who is on the roster, who is told what."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import pytest

from coldframe.chat.room.service import Room
from coldframe.domain.names import MemberId, Step
from coldframe.domain.round import rules
from coldframe.engine.engine import Engine
from coldframe.engine.uses import front_door
from coldframe.message.nodes import plain
from coldframe.ports.chat import (
    Capabilities,
    ChannelLost,
    Commanded,
    Happening,
    Hindrance,
    Inbound,
    Joined,
    Left,
    Person,
    PersonChanged,
    Place,
)
from tests.domain.play import FD, F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, reach, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")
KINDS = {
    "member": Person("new", "Newcomer"),
    "guest": Person("new", "Newcomer", is_guest=True),
    "foreign": Person("new", "Newcomer", is_foreign=True),
    "bot": Person("new", "Newcomer", is_bot=True),
    "gone": Person("new", "Newcomer", is_gone=True),
}


@dataclass
class Known:
    """The room, with one more person in its channel."""

    newcomer: Person
    room: Room
    capabilities = Capabilities()

    async def person(self, tenant: str, person: str) -> Person:
        return self.person_known(tenant, person) or self.newcomer

    def person_known(self, tenant: str, person: str) -> Person | None:
        return self.newcomer if person == self.newcomer.id else self.room.person_known(tenant, person)

    async def members(self, place: Place) -> tuple[Person, ...]:
        return self.members_known(place)

    def members_known(self, place: Place) -> tuple[Person, ...]:
        others = self.room.members_known(place) or ()
        return (self.newcomer, *(p for p in others if p.id != self.newcomer.id))

    async def check(self, place: Place, people: Sequence[str]) -> tuple[Hindrance, ...]:
        return ()


@dataclass
class There:
    team: Running
    engine: Engine
    count: int = 0

    async def happens(self, what: Happening, person: str = "new", *, direct: bool = False) -> Any:
        round_ = await self.team.current()
        where = self.team.house.room.direct(person) if direct else self.team.house.room.channel(round_.channel)
        self.count += 1
        event = Inbound(f"e{self.count}", person, Place(where.tenant, where.kind, where.id), MONDAY, what)
        reply = await self.engine.receive(event)
        await self.team.house.engine.settle()
        return plain(reply.note.summary) if reply.note else ""


@asynccontextmanager
async def there_is(tmp_path: Path, newcomer: Person) -> AsyncIterator[There]:
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        yield There(team, front_door(replace(team.house.kit, chat=Known(newcomer, team.house.room))))  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", KINDS)
async def test_who_comes_into_the_channel(tmp_path: Path, kind: str) -> None:
    """A member is on the roster at once; of a guest and a stranger the facilitator is told; bots are not noticed."""
    async with there_is(tmp_path, KINDS[kind]) as there:
        await there.happens(Joined())
        assert ("new" in (await there.team.current()).seats) == (kind == "member")
        words = [w for w in told(there.team, F) if "Newcomer came" in w]
        assert len(words) == (kind in ("guest", "foreign"))
        if words:
            assert ("Shall they take part" in words[0]) == (kind == "guest") and ("can't be put on it" in words[0]) == (
                kind == "foreign"
            )


async def test_the_acting_facilitator_hears_of_a_guest(tmp_path: Path) -> None:
    """When the facilitator has left, their deputy is told, who can put the guest on the roster."""
    async with there_is(tmp_path, KINDS["guest"]) as there:
        await there.happens(Left(), F)
        await there.happens(Joined())
        assert any("Newcomer came" in words for words in told(there.team, FD))
        assert not any("Newcomer came" in words for words in told(there.team, F))


@pytest.mark.parametrize("kind", KINDS)
async def test_whom_the_facilitator_can_put_on_the_roster(tmp_path: Path, kind: str) -> None:
    """Members and guests by name; strangers with the reason why not; nobody who is a bot or gone."""
    async with there_is(tmp_path, KINDS[kind]) as there:
        answer = await there.happens(Commanded("add Newcomer"), F)
        assert ("new" in (await there.team.current()).seats) == (kind in ("member", "guest"))
        assert ("another organisation" in answer) == (kind == "foreign")
        assert ("nobody of that name" in answer) == (kind in ("bot", "gone"))


@pytest.mark.parametrize("how", ["left", "deactivated"])
async def test_who_goes_is_awaited_no_longer(tmp_path: Path, how: str) -> None:
    """What they gave stays, the step no longer waits for them, and who comes back is awaited from the next step on."""
    async with there_is(tmp_path, Person(JON, "Jon")) as there:
        gone = PersonChanged(Person(JON, "Jon", is_gone=True))
        await there.happens(Left() if how == "left" else gone, JON, direct=how != "left")
        round_ = await there.team.current()
        assert JON not in rules.expected(round_) and round_.seats[JON].left
        await there.happens(Joined(), JON)
        assert not (await there.team.current()).seats[JON].left
        assert JON in rules.expected(await reach(there.team, Step.PRECEDENTS))


@pytest.mark.parametrize(
    ("reason", "why"), [("archived", "was archived"), ("deleted", "was deleted"), ("removed", "I was removed")]
)
async def test_a_channel_that_is_lost_makes_the_round_rest(
    tmp_path: Path, reason: Literal["archived", "deleted", "removed"], why: str
) -> None:
    """The round rests and the facilitator hears in private why, and how to go on."""
    async with there_is(tmp_path, KINDS["member"]) as there:
        await there.happens(ChannelLost(reason), "somebody")
        assert (await there.team.current()).paused is not None
        assert why in told(there.team, F)[-1] and "/coldframe resume" in told(there.team, F)[-1]
