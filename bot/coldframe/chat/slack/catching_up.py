"""What people wrote to the bot while nobody was connected. Slack sends an event again for some minutes and then no
more; what it gave up is read back from the direct messages and goes the way of any other message.

A message has the same key however it comes, so that one which was taken in already is not taken in again.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, TypeVar

import structlog

from coldframe.chat.slack import history, reading
from coldframe.chat.slack.adapter import SlackChat
from coldframe.ports.chat import ChatError, Clock, Place, SlowDown

log = structlog.get_logger()

AWAY = timedelta(minutes=3)
"""A shorter absence is bridged by Slack's own repeats, the last of which comes after some five minutes; and whoever's
words are waited for is read by the engine, however short it was."""
MARGIN = timedelta(minutes=2)
MAX_BACK = timedelta(days=7)

Result = TypeVar("Result")
Directs = Callable[[], Awaitable[Sequence[Place]]]
Take = Callable[[Mapping[str, Any]], Awaitable[None]]


class CatchingUp:
    """Reads direct messages again. `directs` names the conversations, `take` is handed an event's body."""

    def __init__(self, chat: SlackChat, clock: Clock, directs: Directs, take: Take) -> None:
        self._chat = chat
        self._clock = clock
        self._directs = directs
        self._take = take

    async def since(self, last: datetime | None) -> int:
        """Hands on what was written since then, and how many messages; nothing after a short absence."""
        now = self._clock.now()
        if last is None or now - last < AWAY:
            return 0
        oldest = max(last - MARGIN, now - MAX_BACK)
        count = 0
        for place in await self._directs():
            try:
                count += await self._one(place, oldest)
            except ChatError as trouble:
                log.warning("slack.messages_not_read_again", problem=str(trouble))
        log.info("slack.read_again", messages=count)
        return count

    async def _one(self, place: Place, oldest: datetime) -> int:
        channel = await self._patiently(lambda: self._chat.channel_of(place))

        async def call(method: str, **arguments: Any) -> Mapping[str, Any]:
            return await self._patiently(lambda: self._chat.call(place.tenant, method, **arguments))

        written = [m for m in await history.lines(call, channel, reading.stamp(oldest)) if history.is_by(m, place.id)]
        for message in written:
            await self._take(history.as_event(place, channel, message))
        return len(written)

    async def _patiently(self, call: Callable[[], Awaitable[Result]]) -> Result:
        """Nobody waits for this: what Slack asks to do slower is done slower."""
        while True:
            try:
                return await call()
            except SlowDown as slow:
                await self._clock.sleep(slow.seconds)
