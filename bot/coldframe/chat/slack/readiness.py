"""Whether a round could go well in a channel, asked beforehand and in a moment: nothing is posted, nobody is told.

That a channel takes announcements alone (`is_read_only`) is known from memory, not from Slack's pages; where
it is not told, the first post is refused and said so.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterator, Mapping, Sequence
from typing import Any

from coldframe.chat.slack.calls import Calls, Refusal
from coldframe.ports.chat import ChatError, Denial, Hindrance, Place, Unreachable

PATIENCE = 1.0
"""Seconds for all people together: whoever pressed waits for it, and Slack waits three in all."""
AT_ONCE = 5  # calls

Open = Callable[[Place], Awaitable[str]]


async def hindrances(call: Calls, opened: Open, place: Place, people: Sequence[str]) -> tuple[Hindrance, ...]:
    """What would be refused in the channel and to these people. Raises ChatError when it cannot be asked for."""
    return (*await _in_channel(call, place), *await _to_people(opened, place.tenant, people))


async def _in_channel(call: Calls, place: Place) -> tuple[Hindrance, ...]:
    try:
        answer = await call(place.tenant, "conversations.info", channel=place.id)
    except Refusal as refusal:
        if refusal.denial is not Denial.NOT_IN_CHANNEL:  # so Slack says of a private channel, too
            raise
        return (Hindrance(Denial.NOT_IN_CHANNEL),)
    channel: Mapping[str, Any] = answer["channel"]
    named = str(channel.get("name") or "")
    return tuple(Hindrance(what, channel=named) for what in _denied(channel, call.granted(place.tenant)))


def _denied(channel: Mapping[str, Any], granted: set[str] | None) -> Iterator[Denial]:
    if channel.get("is_archived") or channel.get("is_read_only"):
        yield Denial.NO_POST
    elif not channel.get("is_member"):
        yield Denial.NOT_IN_CHANNEL
    elif granted is not None and "chat:write" not in granted:
        yield Denial.NO_POST
    if granted is not None and "files:write" not in granted:
        yield Denial.NO_FILES


async def _to_people(opened: Open, tenant: str, people: Sequence[str]) -> tuple[Hindrance, ...]:
    """Who has no direct messages with the bot. Who could not be asked about in time is taken to be within reach."""
    turns = asyncio.Semaphore(AT_ONCE)
    asked = [asyncio.ensure_future(_is_closed(opened, turns, Place(tenant, "direct", person))) for person in people]
    if asked:
        _, late = await asyncio.wait(asked, timeout=PATIENCE)
        for each in late:
            each.cancel()
    closed = [person for person, each in zip(people, asked, strict=True) if each.done() and each.result()]
    return tuple(Hindrance(Denial.NO_DIRECT, person) for person in closed)


async def _is_closed(opened: Open, turns: asyncio.Semaphore, place: Place) -> bool:
    async with turns:
        try:
            await opened(place)
        except Unreachable:
            return True
        except ChatError:
            return False
    return False
