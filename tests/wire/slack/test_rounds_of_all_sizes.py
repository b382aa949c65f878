"""Whole rounds of few and many people, by socket and by HTTP, where the workspace lets the bot share files and mark its
posts, and where it does not: everything that was given counts, everything is said, and nothing is refused."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from coldframe.domain.names import Step
from coldframe.players.scenario import Scenario
from tests.demo.large import large
from tests.demo.runs import scenario
from tests.engine.databases import POSTGRES, a_database
from tests.wire.slack.replicas import pair_at_work
from tests.wire.slack.test_whole_round import whole
from tests.wire.slack.whole_round import CHANNEL, Team, at_work

pytestmark = pytest.mark.timeout(900)


def _three() -> Scenario:
    return scenario("three-people")


def _eight() -> Scenario:
    return scenario("quillmarsh")


def _sitting() -> Scenario:
    return scenario("one-sitting")


def _no_uploads(there: Team) -> None:
    there.workspace.scopes -= {"files:write", "files:read"}


def _no_metadata(there: Team) -> None:
    there.workspace.faults.no_metadata = True


def _with_all(there: Team) -> None:
    """Everything that the manifest asks for is granted."""


SLOW = pytest.mark.slow
ROUNDS: list[Any] = [
    pytest.param(_three, "socket", _with_all, id="3 people"),
    pytest.param(_three, "http", _no_uploads, id="3 people, no uploads, http"),
    pytest.param(_sitting, "socket", _no_metadata, id="one sitting, no metadata", marks=SLOW),
    pytest.param(_eight, "socket", _no_uploads, id="8 people, no uploads", marks=SLOW),
    pytest.param(_eight, "http", _no_metadata, id="8 people, no metadata, http", marks=SLOW),
    pytest.param(large, "socket", _with_all, id="25 people", marks=SLOW),
    pytest.param(large, "http", _no_uploads, id="25 people, no uploads, http", marks=SLOW),
    pytest.param(large, "socket", _no_metadata, id="25 people, no metadata", marks=SLOW),
]


@pytest.mark.parametrize(("people", "mode", "lacks"), ROUNDS)
async def test_a_whole_round(
    tmp_path: Path, people: Callable[[], Scenario], mode: Any, lacks: Callable[[Team], None]
) -> None:
    """Committed, everything once; what cannot be shared as a file is said in words."""
    async with at_work(tmp_path, mode, scenario=people()) as there:
        lacks(there)
        await whole(there)
        shared = [m for m in there.workspace.said(CHANNEL) if m.get("files")]
        assert bool(shared) == (lacks is not _no_uploads)
        refused = [c for c in there.workspace.complaints if "missing_scope files" not in c]
        assert refused == []


@pytest.mark.slow
@pytest.mark.postgres
async def test_a_round_of_many_at_two_processes(tmp_path: Path) -> None:
    """25 people, whatever process takes what comes."""
    with a_database(POSTGRES, tmp_path) as database:
        async with pair_at_work(tmp_path, database, large()) as there:
            await there.set_up()
            round_ = await there.play()
            assert round_.step is Step.COMMITTED
            assert await there.waiting() == [] and await there.given_up() <= {"the step was over"}
            assert there.twice() == [] and await there.missing() == []
            assert there.workspace.delivery.undelivered == [] and there.workspace.complaints == []
            assert len(round_.notes) == sum(not note.late for note in there.scenario.notes)


async def test_two_people_are_told_that_they_are_too_few(tmp_path: Path) -> None:
    """Nothing that was filled in is lost: once a third is there, the same proposal starts."""
    async with at_work(tmp_path, scenario=_three()) as there:
        third = next(p for p in there.people if p not in (there.scenario.roles.facilitator,
                                                          there.scenario.roles.decision_maker))  # fmt: skip
        there.workspace.channels[CHANNEL].members.remove(there.people[third].id)
        starter = there.people[there.scenario.roles.facilitator]
        await starter.commands("new", CHANNEL)
        view = await starter.sees(starter.form)
        chosen = next(b["element"] for b in view["blocks"] if b.get("block_id") == "decision_maker")
        assert len(chosen["options"]) == 2
        chief = there.people[there.scenario.roles.decision_maker].id
        await starter.sends(name="Two", question="Where?", weight="1", decision_maker=chief, decision_deputy=starter.id,
                            facilitator_deputy=chief)  # fmt: skip
        await there.until(lambda: there._offers(there.scenario.roles.facilitator, "round.start"))
        await there.press_start()
        assert any("at least 3 people; with 2 " in m["text"] for m in starter.inbox())
        assert (await there.round()).step is Step.SETUP
        there.people[third].joins(CHANNEL)
        await there.settle()
        await there.press_start()
        assert (await there.round()).step is Step.NOTES
        assert there.workspace.complaints == []
