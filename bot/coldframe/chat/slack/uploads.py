"""Files: an address for the bytes, the bytes, then the sharing, which alone is seen."""

from __future__ import annotations

from io import BytesIO

import aiohttp

from coldframe.chat.slack.calls import Calls, outcome
from coldframe.chat.slack.marks import file_name, shared_as
from coldframe.ports.chat import Made, NotDelivered, Place
from coldframe.render.slack.mrkdwn import cut

MAX_ALTERNATIVE = 1_000  # characters


async def share(
    call: Calls, session: aiohttp.ClientSession, place: Place, channel: str, document: Made, key: str
) -> str:
    """Returns the id under which it is known. Raises ChatError."""
    asked = await call(
        place.tenant,
        "files.getUploadURLExternal",
        filename=file_name(document.name, key),
        length=len(document.content),
        alt_txt=cut(document.alternative, MAX_ALTERNATIVE) or None,
    )
    await _send_bytes(session, str(asked["upload_url"]), document.content)
    answer = await call(
        place.tenant,
        "files.completeUploadExternal",
        lane=channel,
        files=[{"id": asked["file_id"], "title": document.title}],
        channel_id=channel,
        thread_ts=place.thread,
    )
    return shared_as(answer, channel) or str(asked["file_id"])


async def _send_bytes(session: aiohttp.ClientSession, url: str, data: bytes) -> None:
    """Unshared bytes are seen by nobody, so they can be sent again."""
    try:
        async with session.post(url, data=BytesIO(data)) as response:
            if response.status != 200:
                raise NotDelivered(f"the upload was answered with status {response.status}")
    except (aiohttp.ClientError, TimeoutError, OSError) as error:
        raise NotDelivered(str(outcome(error, "upload"))) from None
