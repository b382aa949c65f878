"""One id in the log for a happening, for what follows from it at once, and for what goes out because of it later."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import structlog
from structlog.contextvars import merge_contextvars
from structlog.testing import capture_logs

from coldframe import logs
from coldframe.domain.names import MemberId, Step
from tests.engine.reaching import at_step

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")


@pytest.fixture
def told() -> Iterator[list[Any]]:
    before = structlog.get_config()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.DEBUG))
    with capture_logs(processors=[merge_contextvars]) as lines:
        yield lines
    structlog.configure(**before)


def ids(told: list[Any], event: str) -> list[str]:
    return [line.get("happening", "") for line in told if line["event"] == event]


async def test_what_is_sent_bears_the_id_of_what_it_follows_from(tmp_path: Path, told: list[Any]) -> None:
    """Also when it goes out later, by whichever process; two happenings have two."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        told.clear()
        room = team.house.room
        for text in ("- retention: the bill comes as a surprise", "- retention: slow pages"):
            await room.say(JON, room.direct(JON), text)
        heard = ids(told, "happening.kept")
        assert len(set(heard)) == 2 and all(heard) and ids(told, "delivery.sent") == []
        with logs.following("somebody else's"):
            await team.settle()
        assert set(ids(told, "delivery.sent")) & set(heard)


async def test_what_breaks_can_be_traced_to_what_it_follows_from(
    tmp_path: Path, told: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:

        async def breaks(*_: object, **__: object) -> str:
            raise RuntimeError("something that somebody wrote")

        for way in ("post", "revise"):
            monkeypatch.setattr(team.house.engine.kit.chat, way, breaks)
        told.clear()
        await team.house.room.say(JON, team.house.room.direct(JON), "mine")
        await team.house.engine.deliver()
    broke = [line for line in told if line["event"] == "delivery.broke"]
    assert broke and {line["happening"] for line in broke} <= {*ids(told, "happening.kept"), *ids(told, "due.done")}
    assert "somebody wrote" not in str(told)


async def test_due_work_bears_an_id_of_its_own(tmp_path: Path, told: list[Any]) -> None:
    """A reveal is nobody's act, and its id leads to nobody's."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.say(JON, "- retention: the bill comes as a surprise")
        heard = set(ids(told, "happening.kept"))
        told.clear()
        due = (await team.current()).progress.due
        assert due is not None
        await team.until(due)
        carried = set(ids(told, "due.done"))
    assert carried and "" not in carried and not carried & heard


def test_the_id_stands_in_a_line_of_json(capsys: pytest.CaptureFixture[str]) -> None:
    before = structlog.get_config()
    try:
        logs.configure("json", "info")
        with logs.following("ab12"):
            structlog.get_logger().info("delivery.later")
        structlog.get_logger().info("alarm.outage")
    finally:
        structlog.configure(**before)
    first, second = (json.loads(line) for line in capsys.readouterr().err.splitlines())
    assert first["happening"] == "ab12" and "happening" not in second


def test_the_id_tells_nothing_of_the_key() -> None:
    """Keys of happenings begin with a platform's own ids; in another process the same key has another."""
    assert logs.id_of("Ev123/U0ANA") == logs.id_of("Ev123/U0ANA") != logs.id_of("Ev123/U0BEN")
    assert len(logs.id_of("Ev123/U0ANA")) == 12 and logs.followed() == ""
