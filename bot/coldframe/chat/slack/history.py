"""Direct messages read again, as they stand now."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from typing import Any

from coldframe.chat.slack import marks
from coldframe.chat.slack.calls import Refusal
from coldframe.ports.chat import Place

PAGE = 200  # messages
MAX_PAGES = 10
PLAIN = (None, "file_share", "thread_broadcast")

Call = Callable[..., Awaitable[Mapping[str, Any]]]
"""A call of the Web API in one workspace: its method, then its arguments."""


async def lines(call: Call, channel: str, oldest: str) -> list[Mapping[str, Any]]:
    """All messages since then in the order of their time, with the answers in threads that moved since: of the heads
    that are as new, and of the newest before them."""
    found: list[Mapping[str, Any]] = []
    async for head in _heads(call, channel, oldest):
        if _is_since(head.get("ts"), oldest):
            found.append(head)
        if _is_since(head.get("latest_reply"), oldest):
            where = {"channel": channel, "ts": head["ts"], "oldest": oldest, "inclusive": True}
            async for page in _pages(call, "conversations.replies", where):
                found += [m for m in page if m.get("ts") != head["ts"] and _is_since(m.get("ts"), oldest)]
    return sorted(found, key=marks.order)


async def _heads(call: Call, channel: str, oldest: str) -> AsyncIterator[Mapping[str, Any]]:
    """The newest first, to the end of the page on which an older one stands."""
    async for page in _pages(call, "conversations.history", {"channel": channel}):
        for head in page:
            yield head
        if page and not _is_since(page[-1].get("ts"), oldest):
            return


async def _pages(call: Call, method: str, where: Mapping[str, Any]) -> AsyncIterator[list[Mapping[str, Any]]]:
    cursor = None
    for _ in range(MAX_PAGES):
        answer = await call(method, limit=PAGE, cursor=cursor, **where)
        yield list(answer.get("messages") or ())
        cursor = (answer.get("response_metadata") or {}).get("next_cursor")
        if not cursor:
            return


def _is_since(stamp: object, oldest: str) -> bool:
    return bool(stamp) and marks.order({"ts": stamp}) >= marks.order({"ts": oldest})


async def one(call: Call, channel: str, message: str) -> Mapping[str, Any] | None:
    """The message if it stands, in whichever thread."""
    try:
        answer = await call("reactions.get", channel=channel, timestamp=message, full=True)
    except Refusal as refusal:
        if refusal.code != "message_not_found":
            raise
        return None
    found = answer.get("message")
    return found if isinstance(found, Mapping) else None


def is_by(message: Mapping[str, Any], person: str) -> bool:
    """Whether the person wrote it; what is left of a deleted head of a thread is no message any more."""
    return message.get("user") == person and message.get("subtype") in PLAIN


def as_event(place: Place, channel: str, message: Mapping[str, Any]) -> dict[str, Any]:
    """The event by which Slack would have told of the message."""
    return {
        "type": "event_callback",
        "team_id": place.tenant,
        "authorizations": [{"team_id": place.tenant}],
        "event_id": "read again",
        "event": {**message, "type": "message", "channel": channel, "channel_type": "im", "event_ts": message["ts"]},
    }
