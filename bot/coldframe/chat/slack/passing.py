"""What is shown at once to whoever acts, and may get lost: forms, words in their place, passing words."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from coldframe.chat.slack.calls import Calls, Refusal
from coldframe.chat.slack.interactions import origin
from coldframe.message.nodes import Form, Message
from coldframe.ports.chat import Place
from coldframe.render.slack.blocks import message_parts
from coldframe.render.slack.views import modal, plain_modal
from coldframe.speech import surface


class Passing:
    """Answers to presses and commands in all workspaces."""

    def __init__(self, call: Calls, channel_of: Callable[[Place], Awaitable[str]]) -> None:
        self._call = call
        self._channel_of = channel_of

    async def open_form(self, tenant: str, trigger: str, form: Form, place: Place) -> bool:
        """Opens a form for a press; False when the press is too old or was used."""
        return await self._open(tenant, trigger, modal(form, origin(place))) is not None

    async def open_words(self, tenant: str, trigger: str, words: Message) -> str | None:
        """Opens words where a form will be; what they are filled by later, None when the press is too old."""
        return await self._open(tenant, trigger, plain_modal(words, surface.LOADING_TITLE))

    async def _open(self, tenant: str, trigger: str, view: Mapping[str, Any]) -> str | None:
        try:
            answer = await self._call(tenant, "views.open", trigger_id=trigger, view=view)
        except Refusal as refusal:
            if refusal.code not in ("expired_trigger_id", "exchanged_trigger_id", "invalid_trigger_id"):
                raise
            return None
        return str((answer.get("view") or {}).get("id") or "")

    async def fill(self, place: Place, view: str, shown: Form | Message) -> None:
        """The form, or words, in the place of the words that were opened; who closed them meanwhile sees nothing."""
        made = modal(shown, origin(place)) if isinstance(shown, Form) else plain_modal(shown, surface.LOADING_TITLE)
        try:
            await self._call(place.tenant, "views.update", view_id=view, view=made)
        except Refusal as refusal:
            if refusal.code not in ("not_found", "view_not_found"):
                raise

    async def whisper(self, place: Place, person: str, note: Message) -> None:
        """A passing word: for the person's eyes in a channel, as a message in direct messages. May get
        lost.
        """
        channel = await self._channel_of(place)
        for part in message_parts(note):
            shown: dict[str, Any] = {"text": part.text, "blocks": list(part.blocks), "thread_ts": place.thread}
            if place.kind == "channel":
                await self._call(place.tenant, "chat.postEphemeral", channel=channel, user=person, **shown)
            else:
                shown |= {"unfurl_links": False, "unfurl_media": False}
                await self._call(place.tenant, "chat.postMessage", lane=channel, channel=channel, **shown)
