"""What is worth finding for weeks is pinned in its channel, where the workspace lets the bot, in the place of what it
pinned there before."""

from __future__ import annotations

import structlog

from coldframe.chat.slack.calls import Calls
from coldframe.ports.chat import ChatError, Place

log = structlog.get_logger()
SCOPE, LOOK = "pins:write", "pins:read"


async def pin(call: Calls, place: Place, channel: str, message_id: str, me: str) -> None:
    """The message is out already; without the pin it says the same."""
    granted = call.granted(place.tenant) or ()
    if SCOPE not in granted:
        return
    try:
        await call(place.tenant, "pins.add", channel=channel, timestamp=message_id)
        if LOOK in granted:
            await _let_go(call, place.tenant, channel, message_id, me)
    except ChatError as trouble:
        log.info("slack.not_pinned", problem=str(trouble))


async def _let_go(call: Calls, tenant: str, channel: str, newest: str, me: str) -> None:
    """Of an earlier round, by the bot itself."""
    items = (await call(tenant, "pins.list", channel=channel)).get("items") or ()
    pinned = {str((each.get("message") or {}).get("ts")) for each in items if each.get("created_by") == me}
    for message_id in pinned - {newest, "None"}:
        await call(tenant, "pins.remove", channel=channel, timestamp=message_id)
