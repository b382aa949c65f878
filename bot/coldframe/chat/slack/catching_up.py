"""What people wrote to the bot while nobody was connected. Slack sends an event again for some minutes and then no
more; what it gave up is read back from the direct messages and goes the way of any other message.

A message has the same key however it comes, so that one which was taken in already is not taken in again.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

import structlog

from coldframe.chat.slack import marks, reading
from coldframe.chat.slack.adapter import SlackChat
from coldframe.ports.chat import ChatError, Clock, Place, SlowDown

log = structlog.get_logger()

AWAY = timedelta(minutes=3)
"""A shorter absence is bridged by Slack's own repeats, the last of which comes after some five minutes."""
MARGIN = timedelta(minutes=2)
FARTHEST = timedelta(days=7)
PAGE = 200  # messages
PLAIN = (None, "file_share", "thread_broadcast")

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
        oldest = max(last - MARGIN, now - FARTHEST)
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
        count = 0
        async for message in self._written(place, channel, reading.stamp(oldest)):
            if message.get("user") == place.id and message.get("subtype") in PLAIN:
                await self._take(_event(place, channel, message))
                count += 1
        return count

    async def _written(self, place: Place, channel: str, oldest: str) -> AsyncIterator[Mapping[str, Any]]:
        """The newest messages since then, and the newest answers in the threads that moved since."""
        page = await self._page(place, "conversations.history", channel=channel)
        for head in reversed(page):
            if _is_since(head.get("ts"), oldest):
                yield head
            if _is_since(head.get("latest_reply"), oldest):
                answers = await self._page(
                    place, "conversations.replies", channel=channel, ts=head["ts"], oldest=oldest
                )
                for answer in answers:
                    if answer.get("ts") != head["ts"] and _is_since(answer.get("ts"), oldest):
                        yield answer

    async def _page(self, place: Place, method: str, **arguments: Any) -> list[Mapping[str, Any]]:
        page = await self._patiently(lambda: self._chat.call(place.tenant, method, limit=PAGE, **arguments))
        return list(page.get("messages") or ())

    async def _patiently(self, call: Callable[[], Awaitable[Any]]) -> Any:
        """Nobody waits for this: what Slack asks to do slower is done slower."""
        while True:
            try:
                return await call()
            except SlowDown as slow:
                await self._clock.sleep(slow.seconds)


def _is_since(stamp: object, oldest: str) -> bool:
    return bool(stamp) and marks.order({"ts": stamp}) >= marks.order({"ts": oldest})


def _event(place: Place, channel: str, message: Mapping[str, Any]) -> dict[str, Any]:
    """The event by which Slack would have told of the message."""
    return {
        "type": "event_callback",
        "team_id": place.tenant,
        "authorizations": [{"team_id": place.tenant}],
        "event_id": "read again",
        "event": {**message, "type": "message", "channel": channel, "channel_type": "im", "event_ts": message["ts"]},
    }
