"""A whole round with two real processes on one PostgreSQL behind one address, one of them killed on the way."""

from __future__ import annotations

import asyncio
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest

from coldframe.domain.names import Step
from tests.engine.databases import POSTGRES, a_database
from tests.wire.slack.replicas import PairTeam, Replica, pair_at_work

pytestmark = [pytest.mark.slow, pytest.mark.postgres, pytest.mark.timeout(280)]
KILLED_AT, BACK_AT = 100, 160


async def test_two_processes_share_a_round_and_one_is_killed_on_the_way(tmp_path: Path) -> None:
    """Nothing lost, nothing twice, in order in each conversation, whoever of the two lives and takes what comes."""
    with a_database(POSTGRES, tmp_path) as database:
        async with pair_at_work(tmp_path, database) as there:
            first, second = there.replicas
            there.happens = {KILLED_AT: lambda: alone_and_killed(there, first), BACK_AT: lambda: back(there, first)}
            await there.set_up()
            round_ = await there.play()
            assert round_.step is Step.COMMITTED
            assert there.happens == {}, "it was killed, and came back"
            assert await there.waiting() == [] and await there.given_up() <= {"the step was over"}
            assert there.twice() == [] and await there.missing() == []
            assert there.workspace.delivery.undelivered == [] and there.workspace.complaints == []
            assert len(round_.notes) == sum(not note.late for note in there.scenario.notes)
            assert len(round_.plans) == len(there.scenario.plans)
            assert await out_of_order(there) == []
            assert min(first.answered, second.answered) > 100, "both had their part"
            assert [await replica.stop() for replica in there.replicas] == [0, 0]


async def alone_and_killed(there: PairTeam, replica: Replica) -> None:
    """The one process has the work to itself until it posts, and dies before it learns that the post went out."""
    others = [each for each in there.front.behind if each is not replica]
    there.front.behind = [replica]
    for other in others:
        other.stand_still()  # else its own worker may take what waits, and the killed one dies with empty hands

    def dies(method: str, _: dict[str, Any]) -> bool:
        if method != "chat.postMessage":
            return False
        there.workspace.faults.no_answer_to = None
        replica.kill()
        there.burial = asyncio.ensure_future(there.bury(replica, others))
        return True

    there.workspace.faults.no_answer_to = dies


async def back(there: PairTeam, replica: Replica) -> None:
    assert there.burial is not None
    await there.burial
    await replica.start()


async def out_of_order(there: PairTeam) -> list[tuple[str, list[int]]]:
    """Conversations in which the posts stand otherwise than they were queued."""
    ids = {key: number for number, key, _ in await there.queued()}
    seen: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for channel in there.workspace.channels.values():
        for ts, message in channel.messages.items():
            key = message.get("metadata", {}).get("event_payload", {}).get("k")
            if key in ids:
                seen[channel.id].append((ts, ids[key]))
    orders = {channel: [number for _, number in sorted(posts)] for channel, posts in seen.items()}
    assert sum(map(len, orders.values())) > 40  # what is over is taken away
    return [(channel, order) for channel, order in orders.items() if order != sorted(order)]
