"""What is worth finding for weeks is pinned in its channel, where the workspace lets the bot."""

from __future__ import annotations

import structlog

from coldframe.chat.slack.calls import Calls
from coldframe.ports.chat import ChatError, Place

log = structlog.get_logger()
SCOPE = "pins:write"


async def pin(call: Calls, place: Place, channel: str, message_id: str) -> None:
    """The message is out already; without the pin it says the same."""
    if SCOPE not in (call.granted(place.tenant) or ()):
        return
    try:
        await call(place.tenant, "pins.add", channel=channel, timestamp=message_id)
    except ChatError as trouble:
        log.info("slack.not_pinned", problem=str(trouble))
