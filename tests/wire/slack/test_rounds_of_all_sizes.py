"""Whole rounds of two to 25 people, by socket and by HTTP, at one process and at two, where the workspace lets the bot
share files and mark its posts, and where it does not: everything that was given counts, everything is said, and nothing
is refused."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from coldframe.domain.names import Step
from tests.demo import sizes
from tests.demo.large import PEOPLE
from tests.demo.runs import scenario
from tests.demo.sizes import FEWEST
from tests.engine.databases import POSTGRES, a_database
from tests.wire.slack.replicas import pair_at_work
from tests.wire.slack.test_whole_round import whole
from tests.wire.slack.whole_round import CHANNEL, Team, at_work

pytestmark = pytest.mark.timeout(900)


def _with_all(there: Team) -> None:
    """Everything that the manifest asks for is granted."""


def _no_uploads(there: Team) -> None:
    there.workspace.scopes -= {"files:write", "files:read"}


def _no_metadata(there: Team) -> None:
    there.workspace.faults.no_metadata = True


def _neither(there: Team) -> None:
    _no_uploads(there)
    _no_metadata(there)


LACKS: Mapping[str, Callable[[Team], None]] = {
    "all": _with_all, "no uploads": _no_uploads, "no metadata": _no_metadata, "neither": _neither
}  # fmt: skip
WAYS = tuple(product(LACKS, ("socket", "http")))
"""Every way to have it."""
EVERY = [(people, way) for people in range(FEWEST, PEOPLE + 1) for way in WAYS]
"""All that there is, at one process as at two: `tests.bench.slack_rounds` plays any part of it."""
QUICK = ((3, ("all", "socket")), (3, ("no uploads", "http")))
AT_ONE = (
    (4, ("neither", "socket")), (8, ("no uploads", "socket")), (8, ("no metadata", "http")), (12, ("neither", "http")),
    (25, ("all", "socket")), (25, ("no uploads", "http")), (25, ("no metadata", "socket")),
)  # fmt: skip
AT_TWO = ((3, ("all", "socket")), (8, ("neither", "http")), (25, ("all", "http")))


def _params(found: Iterable[tuple[int, tuple[str, str]]], *marks: pytest.MarkDecorator) -> list[Any]:
    return [
        pytest.param(people, lacks, mode, id=f"{people} people, {lacks}, {mode}", marks=marks)
        for people, (lacks, mode) in found
    ]


def _in_files(there: Team) -> bool:
    return any(message.get("files") for message in there.workspace.said(CHANNEL))


def _other_complaints(there: Team) -> list[str]:
    return [each for each in there.workspace.complaints if "missing_scope files" not in each]


@pytest.mark.parametrize(("people", "lacks", "mode"), _params(QUICK) + _params(AT_ONE, pytest.mark.slow))
async def test_a_whole_round(tmp_path: Path, people: int, lacks: str, mode: Any) -> None:
    await at_one_process(tmp_path, people, lacks, mode)


async def at_one_process(folder: Path, people: int, lacks: str, mode: Any) -> None:
    """Committed, everything once; what cannot be shared as a file is said in words."""
    async with at_work(folder, mode, scenario=sizes.of(people)) as there:
        LACKS[lacks](there)
        await whole(there)
        assert _in_files(there) is (lacks in ("all", "no metadata"))
        assert _other_complaints(there) == []


@pytest.mark.slow
async def test_a_round_in_one_sitting(tmp_path: Path) -> None:
    async with at_work(tmp_path, scenario=scenario("one-sitting")) as there:
        _no_metadata(there)
        await whole(there)
        assert there.workspace.complaints == []


@pytest.mark.slow
@pytest.mark.postgres
@pytest.mark.parametrize(("people", "lacks", "mode"), _params(AT_TWO))
async def test_a_whole_round_at_two_processes(tmp_path: Path, people: int, lacks: str, mode: Any) -> None:
    await at_two_processes(tmp_path, people, lacks, mode)


async def at_two_processes(folder: Path, people: int, lacks: str, mode: Any) -> None:
    """Whichever of them takes what comes."""
    with a_database(POSTGRES, folder) as database:
        async with pair_at_work(folder, database, sizes.of(people), mode) as there:
            LACKS[lacks](there)
            await there.set_up()
            round_ = await there.play()
            assert round_.step is Step.COMMITTED
            assert await there.waiting() == [] and await there.given_up() <= {"the step was over"}
            assert there.twice() == [] and await there.missing() == []
            assert there.workspace.delivery.undelivered == []
            complaints = _other_complaints(there)
            assert complaints == [], complaints
            assert len(round_.notes) == sum(not note.late for note in there.scenario.notes)
            assert len(round_.plans) == len(there.scenario.plans)
            assert _in_files(there) is (lacks in ("all", "no metadata"))


async def test_two_people_are_told_that_they_are_too_few(tmp_path: Path) -> None:
    """Nothing that was filled in is lost: once a third is there, the same proposal starts."""
    async with at_work(tmp_path, scenario=sizes.of(FEWEST)) as there:
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
