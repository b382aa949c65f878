"""What those who run the bot see: it lives, it can work, and its figures as a real parser of Prometheus reads them."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import aiohttp
import pytest
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy.exc import DBAPIError

from coldframe import logs
from coldframe.config import Settings
from coldframe.domain.names import Step
from coldframe.listening import CannotListen
from coldframe.ports.standing import COUNTED, Watched
from coldframe.store import standing
from coldframe.watch.meter import Meter, Metered
from coldframe.watch.service import Eyes, served
from coldframe.wiring import watched
from tests.domain.play import D
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
NOTHING = Watched({}, 0.0, 0, 0.0, {})
SOURCE = Path(__file__).resolve().parents[2] / "bot" / "coldframe"


def read(text: bytes | str) -> dict[tuple[str, tuple[str, ...]], float]:
    """By name and the labels' values, in the order of the labels' names."""
    families = text_string_to_metric_families(text if isinstance(text, str) else text.decode())
    return {
        (s.name, tuple(value for _, value in sorted(s.labels.items()))): s.value
        for family in families
        for s in family.samples
    }


@dataclass
class Sight:
    """What the eyes see; a test changes it."""

    found: Watched | None = NOTHING
    still: float = 0.0
    connected: bool = True
    stopping: bool = False
    reckoned: int = 0
    meter: Meter = field(default_factory=lambda: Meter(dict))

    async def answers(self) -> None:
        if self.found is None:
            raise ConnectionError

    async def watched(self) -> Watched:
        self.reckoned += 1
        if self.found is None:
            raise ConnectionError
        return self.found

    async def get(self, path: str) -> tuple[int, str]:
        eyes = Eyes(self.watched, self.answers, lambda: self.still, lambda: self.connected, lambda: self.stopping)
        async with (
            served(eyes, self.meter, "127.0.0.1", 0) as port,
            aiohttp.ClientSession() as session,
            session.get(f"http://127.0.0.1:{port}{path}") as answer,
        ):
            return answer.status, await answer.text()


# --- alive and able ---------------------------------------------------------------------------------------------------


async def test_a_bot_at_work_is_healthy_and_ready() -> None:
    assert (await Sight().get("/healthz"))[0] == (await Sight().get("/readyz"))[0] == 200


@pytest.mark.parametrize(
    ("change", "says"),
    [({"found": None}, "does not answer"), ({"connected": False}, "is not connected"), ({"stopping": True}, "stops")],
    ids=str,
)
async def test_what_cannot_work_now_is_not_ready_but_lives(change: dict[str, Any], says: str) -> None:
    """To start it again would not help: only what sends it work is told."""
    sight = replace(Sight(), **change)
    status, told = await sight.get("/readyz")
    assert status == 503 and says in told
    assert (await sight.get("/healthz"))[0] == 200


async def test_figures_are_reckoned_for_those_alone_who_ask_for_them() -> None:
    """Whether it is ready is asked every few seconds."""
    sight = Sight()
    assert (await sight.get("/readyz"))[0] == 200 and sight.reckoned == 0
    assert (await sight.get("/metrics"))[0] == 200 and sight.reckoned == 1


async def test_a_database_that_is_gone_does_not_answer(tmp_path: Path) -> None:
    """Really asked, both ways."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        database = team.house.store.database
        await standing.answers(database)
        await database.run(lambda connection: connection.exec_driver_sql("DROP TABLE counters"))
        with pytest.raises(DBAPIError):
            await standing.answers(database)


async def test_a_bot_whose_alarm_stands_still_is_to_be_started_again() -> None:
    status, told = await Sight(still=301.0).get("/healthz")
    assert status == 503 and "has not worked for 301 s" in told


async def test_a_port_that_is_taken_names_its_setting() -> None:
    """One line, with what names another."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        sight = Sight()
        eyes = Eyes(sight.watched, sight.answers, lambda: 0.0, lambda: True, lambda: False)
        with pytest.raises(CannotListen, match=r"in use.*COLDFRAME_WATCH_PORT names another port"):
            async with served(eyes, sight.meter, "127.0.0.1", taken.getsockname()[1]):
                pass


# --- figures ----------------------------------------------------------------------------------------------------------


async def test_figures_of_the_database_are_there_and_left_out_when_it_is_away() -> None:
    """A figure that is not known is not said to be 0."""
    counted = {"reminders dropped": 3.0}
    sight = Sight(Watched({"todo": 4, "parked": 1}, 90.5, 2, 600.0, counted))
    found = read((await sight.get("/metrics"))[1])
    assert found["coldframe_outbox_sends", ("todo",)] == 4 and found["coldframe_outbox_sends", ("parked",)] == 1
    assert found["coldframe_outbox_oldest_seconds", ()] == 90.5
    assert (found["coldframe_due_late", ()], found["coldframe_due_latest_seconds", ()]) == (2, 600.0)
    assert found["coldframe_counted_total", ("reminders dropped",)] == 3
    sight.found = None
    status, text = await sight.get("/metrics")
    assert status == 200 and not [
        name for name, _ in read(text) if name.startswith(("coldframe_outbox", "coldframe_due"))
    ]


async def test_happenings_are_counted_by_platform_and_kind_with_how_long_they_took(tmp_path: Path) -> None:
    """Also those that failed, apart; nothing of who did what is told."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        meter, seconds = Meter(lambda: {("outbox.late", "warning"): 2}), iter([0.0, 0.2, 1.0, 1.004])
        team.house.room.intake = Metered(team.house.engine, meter, "room", lambda: next(seconds))
        await team.say(D, "- retention: the bill comes as a surprise")
        text = meter.text(await standing.watched(team.house.store.database, team.clock.now()))
        team.house.room.intake = Metered(_Broken(), meter, "room", lambda: next(seconds))
        with pytest.raises(RuntimeError):
            await team.house.room.intake.receive(await _something(team))
    found = read(text)
    assert found["coldframe_happenings_total", ("said", "room")] == 1
    assert found["coldframe_happening_seconds_sum", ("room",)] == pytest.approx(0.2)
    assert found["coldframe_log_events_total", ("outbox.late", "warning")] == 2
    assert read(meter.text(None))["coldframe_happenings_failed_total", ("said", "room")] == 1
    members = team.round.active()
    words = (*members, *map(team.round.name_of, members), "retention", "bill", team.round.channel)
    assert not [word for word in words if re.search(rf'"[^"]*\b{re.escape(word)}\b[^"]*"', text.decode())]


class _Broken:
    async def receive(self, event: Any) -> Any:
        raise RuntimeError


async def _something(team: Running) -> Any:
    """A happening as the room tells of it."""
    heard: list[Any] = []

    class Listening:
        async def receive(self, event: Any) -> Any:
            heard.append(event)
            return await team.house.engine.receive(event)

    team.house.room.intake = Listening()
    await team.say(D, "- retention: slow pages")
    return heard[0]


async def test_what_is_late_and_what_waits_is_measured(tmp_path: Path) -> None:
    """By the moment that is asked for: a deadline that passed while nobody worked is late."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        database, now = team.house.store.database, team.clock.now()
        at_rest = await standing.watched(database, now)
        assert (at_rest.outbox, at_rest.oldest, at_rest.late) == ({}, 0.0, 0)
        (close,) = await team.dues("close")
        then = await standing.watched(database, close.at + timedelta(hours=2))
        assert then.late >= 1 and then.latest >= timedelta(hours=2).total_seconds()


async def test_what_is_late_is_so_by_the_clock_by_which_it_falls_due(tmp_path: Path) -> None:
    """Several processes go by the server's time, whatever each of their machines says."""
    alarm: Any = SimpleNamespace(still=lambda: 0.0)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    async with (
        at_step(tmp_path, MONDAY, Step.NOTES) as team,
        watched(Settings(watch_port=port), team.house.store, team.clock, alarm, lambda: True, asyncio.Event(), "room"),
        aiohttp.ClientSession() as session,
        session.get(f"http://127.0.0.1:{port}/metrics") as answer,
    ):
        assert read(await answer.text())["coldframe_due_late", ()] == 0


def test_all_that_the_bot_counts_is_shown() -> None:
    """What is counted in a new place has to be on the list."""
    texts = [path.read_text(encoding="utf-8") for path in SOURCE.rglob("*.py")]
    counted = {
        name for text in texts for name in re.findall(r'\.count\("([a-z ]+)"\)|"name": "([a-z ]+)", "value": 1', text)
    }
    assert {first or second for first, second in counted} == set(COUNTED)


def test_the_log_counts_its_events_by_name_and_level(capsys: pytest.CaptureFixture[str]) -> None:
    """Below the least level that is logged nothing is counted, but what is noted always is."""
    logs.configure("json", "warning")
    before = logs.told.copy()
    logs.structlog.get_logger().warning("some.event", number=1)
    logs.structlog.get_logger().info("some.event")
    logs.note("some.event")
    assert logs.told - before == {("some.event", "warning"): 1, ("some.event", "note"): 1}


# --- as it is started -------------------------------------------------------------------------------------------------


def test_a_room_is_watched_on_a_port_of_its_own(tmp_path: Path) -> None:
    """Beside its own address, which shows nothing of it."""
    (tmp_path / "team.yaml").write_text("people: [{id: a, name: A}, {id: b, name: B}]", encoding="utf-8")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = ["room", "--data", str(tmp_path / "data"), "--port", "0", "--team", str(tmp_path / "team.yaml")]
    clean = {name: value for name, value in os.environ.items() if not name.startswith("COLDFRAME_")}
    command, environment = [sys.executable, "-m", "coldframe", *words], {**clean, "COLDFRAME_WATCH_PORT": str(port)}
    run = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    assert run.stdout is not None
    try:
        base = next(found[1] for line in run.stdout if (found := re.search(r"open at (http://\S+?)\. Ctrl-C", line)))
        for path in ("/healthz", "/readyz", "/metrics"):
            with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}") as answer:
                assert answer.status == 200
            with pytest.raises(urllib.error.HTTPError, match="404"):
                urllib.request.urlopen(base + path)
    finally:
        run.send_signal(signal.SIGTERM)
        assert run.wait(20) == 0
        run.stdout.close()
