"""What was written to the bot while nobody was connected, read back and taken in once."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from coldframe.chat.slack.app import SlackPlatform, slack_platform
from coldframe.chat.slack.sockets import Sockets
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import Place, Said
from tests.wire.slack.people import EIGHT, Someone
from tests.wire.slack.service import ListIntake, make, options, running
from tests.wire.slack.whole_round import FastClock
from tests.wire.slack.workspace import TEAM, Workspace

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


@asynccontextmanager
async def back(workspace: Workspace, clock: FastClock) -> AsyncIterator[SlackPlatform]:
    """The bot's process again, which knows in whose direct messages it has spoken."""

    async def directs() -> list[Place]:
        return [Place(TEAM, "direct", person) for person, _, _ in EIGHT]

    async with slack_platform(options(workspace.api_url), clock, make) as platform:
        platform.directs = directs
        yield platform


def texts(intake: ListIntake) -> list[str]:
    return [event.what.text for event in intake.all(Said)]


@pytest.fixture
def clock(workspace: Workspace) -> FastClock:
    made = FastClock(NOON)
    workspace._now = made.now
    return made


async def unheard(someone: Someone, text: str, thread: str | None = None) -> str:
    """Writes while nobody is connected, until Slack gives up telling of it."""
    sent, someone.workspace.event = someone.workspace.event, lambda _: None  # type: ignore[method-assign,assignment]
    try:
        return someone.says(text, thread=thread)
    finally:
        someone.workspace.event = sent  # type: ignore[method-assign]


async def test_what_was_written_meanwhile_is_read_again_once(
    workspace: Workspace, people: dict[str, Someone], clock: FastClock
) -> None:
    """New messages, answers in old threads too, each with its words and time; the bot's own and earlier ones not."""
    intake, ana, stop = ListIntake(), people["Ana"], asyncio.Event()
    async with running(workspace, intake, "socket", clock) as platform:
        prompt = await platform.chat.post(ana.place, Message(line("your notes?")), key="k")
        ana.says("heard at once")
        await workspace.delivery.settled()
    last = clock.now()
    clock.pass_by(HOUR)
    await unheard(ana, "+ retention: written <b>meanwhile</b>")
    await unheard(ana, "answered meanwhile", prompt)
    await unheard(people["Ben"], "me too")
    clock.pass_by(HOUR)
    async with back(workspace, clock) as platform:
        await platform.catch_up(intake, last, stop)
        await platform.catch_up(intake, last, stop)
    assert texts(intake) == [
        "heard at once",
        "+ retention: written <b>meanwhile</b>",
        "answered meanwhile",
        "me too",
    ]
    by_text = {event.what.text: event for event in intake.all(Said)}
    assert by_text["answered meanwhile"].place == Place(TEAM, "direct", ana.id, prompt)
    assert by_text["me too"].person == "U0BEN" and NOON + HOUR <= by_text["me too"].at < NOON + 2 * HOUR
    assert workspace.complaints == []


async def test_what_slack_tells_late_all_the_same_counts_once(
    workspace: Workspace, people: dict[str, Someone], clock: FastClock
) -> None:
    """A message that is read back and then told by Slack's last repeat is one happening, in either order."""
    intake, ana = ListIntake(), people["Ana"]
    ts = await unheard(ana, "one note")
    last = clock.now()
    clock.pass_by(HOUR)
    async with back(workspace, clock) as platform:
        await platform.catch_up(intake, last, asyncio.Event())
    async with running(workspace, intake, "socket", clock):
        message = workspace.direct(ana.id).messages[ts]
        workspace.event({**message, "channel": ana.direct, "channel_type": "im"})
        await workspace.delivery.settled()
    assert intake.deliveries == 2 and texts(intake) == ["one note"]


async def test_a_short_absence_and_the_first_start_read_nothing(
    workspace: Workspace, people: dict[str, Someone], clock: FastClock
) -> None:
    """Slack's own repeats bridge some minutes; a bot that never ran has missed nothing."""
    await unheard(people["Ana"], "hello")
    async with back(workspace, clock) as platform:
        for last in (None, clock.now() - timedelta(minutes=2)):
            await platform.catch_up(ListIntake(), last, asyncio.Event())
    assert not [method for method, _ in workspace.calls if method.startswith("conversations.")]


async def test_many_direct_messages_are_read_as_fast_as_slack_lets(
    workspace: Workspace, people: dict[str, Someone], clock: FastClock
) -> None:
    """A 429 in the middle holds it up for as long as Slack asks, and nobody's words are left out."""
    for someone in people.values():
        await unheard(someone, f"by {someone.id}")
    intake, last = ListIntake(), clock.now()
    clock.pass_by(HOUR)
    workspace.faults.too_fast_every = 3
    async with back(workspace, clock) as platform:
        await platform.catch_up(intake, last, asyncio.Event())
    assert sorted(texts(intake)) == sorted(f"by {person}" for person, _, _ in EIGHT)


async def test_somebody_who_cannot_be_read_holds_up_nobody(
    workspace: Workspace, people: dict[str, Someone], clock: FastClock
) -> None:
    """A person who was deactivated meanwhile is left out; the others are read."""
    await unheard(people["Ben"], "me too")
    workspace.users["U0ANA"]["deleted"] = True
    intake, last = ListIntake(), clock.now()
    clock.pass_by(HOUR)
    async with back(workspace, clock) as platform:
        await platform.catch_up(intake, last, asyncio.Event())
    assert texts(intake) == ["me too"]


async def test_the_bot_is_connected_from_its_first_connection_on(clock: FastClock) -> None:
    """However long Slack cannot be reached at the start, and not while the connection is lost."""
    states = [True, False]

    async def is_connected() -> bool:
        return states.pop(0)

    sockets = Sockets(None, options(""), None, clock, None, None)  # type: ignore[arg-type]  # nobody is back so soon
    handler: Any = SimpleNamespace(client=SimpleNamespace(is_connected=is_connected, current_session="one"))
    assert not sockets.connected()
    for connected in (True, False):
        await sockets._looked_after(handler, asyncio.Event())
        assert sockets.connected() == connected


@pytest.mark.parametrize(("minutes", "returns"), [(1, 0), (10, 1)])
async def test_a_socket_that_was_lost_for_long_is_a_return(clock: FastClock, minutes: int, returns: int) -> None:
    """Without any new start: when the connection stands again, what was written since it stood last is read."""
    seen: list[datetime] = []

    async def on_return(last: datetime) -> None:
        seen.append(last)

    states = [True, False, True]
    reconnected: list[bool] = []

    async def on_reconnect() -> None:
        reconnected.append(True)

    async def is_connected() -> bool:
        return states.pop(0)

    sockets = Sockets(None, options(""), None, clock, on_return, on_reconnect)  # type: ignore[arg-type]
    handler: Any = SimpleNamespace(client=SimpleNamespace(is_connected=is_connected, current_session="one"))
    for _ in range(3):
        await sockets._looked_after(handler, asyncio.Event())
        clock.pass_by(timedelta(minutes=minutes / 2))
    await asyncio.sleep(0)
    assert seen == [NOON] * returns


async def test_another_connection_is_a_return_however_short_the_gap(clock: FastClock) -> None:
    """The SDK replaces a connection by itself, as Slack wants it now and then."""
    seen: list[object] = []
    client = SimpleNamespace(current_session="one")

    async def is_connected() -> bool:
        return True

    async def on_return(_: datetime) -> None:
        raise AssertionError("that was no long absence")

    async def on_reconnect() -> None:
        seen.append(client.current_session)

    client.is_connected = is_connected
    sockets = Sockets(None, options(""), None, clock, on_return, on_reconnect)  # type: ignore[arg-type]
    handler: Any = SimpleNamespace(client=client)
    for session in ("one", "one", "two", "two", "three"):
        client.current_session = session
        await sockets._looked_after(handler, asyncio.Event())
    assert seen == ["two", "three"]
