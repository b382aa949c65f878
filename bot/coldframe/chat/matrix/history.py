"""Reading a room back: single events, what relates to them, and the timeline from its end; opened, edits and all."""

from __future__ import annotations

from collections.abc import AsyncIterator
from datetime import datetime

from coldframe.chat.matrix import inbound
from coldframe.chat.matrix.calls import Calls, Json, Refusal, path
from coldframe.chat.matrix.crypt import Crypt, Undecryptable
from coldframe.chat.matrix.login import server_of
from coldframe.chat.matrix.rooms import Rooms
from coldframe.ports.chat import Denial, Unreachable
from coldframe.render.matrix import Part

PAGE = 100  # events
MAX_PAGES = 300
KEY, NUMBER = "dev.coldframe.key", "dev.coldframe.part"
"""In our own events: the key of the outbox, and which part of a message it is."""


class History:
    """What stands in rooms."""

    def __init__(self, call: Calls, crypt: Crypt, rooms: Rooms) -> None:
        self._call = call
        self._crypt = crypt
        self._rooms = rooms

    async def known_line(self, room: str, message: str, person: str) -> Json | None:
        try:
            event = await self.standing(room, message)
        except Unreachable:
            return None
        return event if event.get("sender") == person and inbound.is_text(event) else None

    async def newest_edit(self, room: str, message: str, person: str) -> Json | None:
        edits = [e for e in await self.related(room, message, "m.replace") if e.get("sender") == person]
        return max(edits, key=lambda e: (e.get("origin_server_ts", 0), e.get("event_id", "")), default=None)

    async def standing(self, room: str, message_id: str) -> Json:
        """The event as it was sent, opened where that can be done. Raises ChatError; Unreachable where it is gone, or
        stands in the room that this one took the place of."""
        try:
            raw = await self._call.get(path("rooms", room, "event", message_id))
        except Refusal as refusal:
            moved = self._rooms.came_from(room) is not None
            raise refusal.as_(Denial.CANT_CHANGE if moved else Denial.MESSAGE_GONE) from None
        if not raw.get("content"):
            raise Refusal("redacted", 404, Denial.MESSAGE_GONE)
        try:
            return self._crypt.read(room, raw)
        except Undecryptable:
            return {"event_id": message_id, "content": {}}

    async def related(self, room: str, event: str, relation: str, kind: str = "") -> list[Json]:
        parts_ = ("rooms", room, "relations", event, relation, *((kind,) if kind else ()))
        where = path(*parts_).replace("/v3/", "/v1/", 1)
        found: list[Json] = []
        start: str | None = None
        for _ in range(MAX_PAGES):
            try:
                page = await self._call.get(where, limit=PAGE, **({"from": start} if start else {}))
            except Refusal as refusal:
                raise refusal.as_(Denial.MESSAGE_GONE) from None
            for each in page.get("chunk") or ():
                try:
                    found.append(self._crypt.read(room, each))
                except Undecryptable:
                    found.append(each)
            start = page.get("next_batch")
            if not start:
                break
        return found

    async def timeline(self, room: str, since: datetime) -> AsyncIterator[Json]:
        """What stands in the room, the newest first, to that moment, which is told by the own server's clock, since
        another's may be wrong by days; what cannot be opened is left out."""
        start: str | None = None
        for _ in range(MAX_PAGES):
            page = await self._call.get(path("rooms", room, "messages"), dir="b", limit=PAGE, **{"from": start})
            for raw in page.get("chunk") or ():
                if inbound.moment(raw) < since:
                    if server_of(str(raw.get("sender") or "")) == self._rooms.tenant:
                        return
                    continue
                try:
                    event = self._crypt.read(room, raw)
                except Undecryptable:
                    continue
                if event.get("content") and event.get("type") == "m.room.message":
                    yield event
            start = page.get("end")
            if not start:
                return


def marked(event: Json) -> tuple[str, int]:
    """The key of an event of ours, and in how many parts its message is."""
    content = event.get("content") or {}
    content = content.get("m.new_content") or content
    number = content.get(NUMBER)
    total = number[1] if isinstance(number, list) and len(number) == 2 and isinstance(number[1], int) else 1
    return str(content.get(KEY) or ""), total


def number_of(event: Json) -> int:
    number = (event.get("content") or {}).get(NUMBER)
    return number[0] if isinstance(number, list) and number and isinstance(number[0], int) else 1


def is_edit(event: Json) -> bool:
    return inbound.edits(event) is not None


def content_of(part: Part) -> Json:
    """`m.mentions` on every event: else a name or `@room` in somebody's note would wake people."""
    mentions = {"user_ids": list(part.mentions)} if part.mentions else {}
    return {"msgtype": "m.text", "body": part.text, "format": "org.matrix.custom.html", "formatted_body": part.html,
            "m.mentions": mentions}  # fmt: skip


def hung(content: Json, root: str) -> Json:
    if not root:
        return content
    hangs = {"rel_type": "m.thread", "event_id": root, "is_falling_back": True, "m.in_reply_to": {"event_id": root}}
    return {**content, "m.relates_to": hangs}
