"""Events into happenings. Pure: what an event alone does not tell (whose message was edited, what was taken back) comes
in as `Known`."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from coldframe.chat.matrix.calls import Json
from coldframe.message.emoji import bare
from coldframe.ports.chat import (
    ChannelLost,
    Commanded,
    Edited,
    Erased,
    Happening,
    Inbound,
    Joined,
    Left,
    Place,
    Reacted,
    Said,
)

WORDS = ("m.text", "m.emote")
FILES = ("m.file", "m.image", "m.audio", "m.video")
_COMMAND = re.compile(r"\s*[!/]coldframe\b\s*(.*)", re.DOTALL | re.IGNORECASE)
_QUOTED = re.compile(r"(?:> ?[^\n]*\n)+\n?")
"""What older clients put before an answer."""
_AFTER_NAME = r"\s*[:,]?\s*"
NEVER = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Known:
    """What was looked up for one event: who wrote what it edits, or what it took back."""

    writer: str | None = None
    reaction: tuple[str, str, str] | None = None
    """Message, emoji, person."""


def key(event: Json) -> str:
    return f"matrix:{event.get('event_id')}"


def relation(content: Json) -> Json:
    found = content.get("m.relates_to")
    return found if isinstance(found, dict) else {}


def thread_of(content: Json) -> str | None:
    """What an event hangs under: the message that it answers, else the head of its thread."""
    related = relation(content)
    answered = related.get("m.in_reply_to")
    to = str(answered.get("event_id") or "") if isinstance(answered, dict) else ""
    if related.get("rel_type") == "m.thread":
        head = str(related.get("event_id") or "") or None
        return to if to and not related.get("is_falling_back") else head
    return to or None


def edits(event: Json) -> str | None:
    """The event that this one changes."""
    related = relation(event.get("content") or {})
    return str(related.get("event_id")) if related.get("rel_type") == "m.replace" else None


def is_text(event: Json) -> bool:
    kind = (event.get("content") or {}).get("msgtype")
    return event.get("type") == "m.room.message" and kind in (*WORDS, *FILES)


def emoji_of(event: Json) -> str:
    """As it is kept; "" for a key that is no emoji."""
    return bare(str(relation(event.get("content") or {}).get("key") or ""))


def shown(emoji: str) -> str:
    """With the sign that asks for the coloured picture, as the digits want it."""
    return f"{emoji[0]}\ufe0f{emoji[1:]}" if emoji.endswith("\u20e3") and len(emoji) == 2 else emoji


def moment(event: Json, received: datetime = NEVER) -> datetime:
    """By the server's own stamp, never later than it came: another server may have another clock."""
    stamp: Any = event.get("origin_server_ts")
    if not isinstance(stamp, int | float) or isinstance(stamp, bool):
        return received
    try:
        return min(received, datetime.fromtimestamp(stamp / 1000, UTC))
    except (OverflowError, ValueError, OSError):
        return received


def words(content: Json, me: str) -> tuple[str, bool]:
    """What was written, and whether the bot was addressed; its name is cut from the front."""
    if content.get("msgtype") in FILES:
        body, name = str(content.get("body") or ""), content.get("filename")
        return (body if name and name != body else ""), False
    text = str(content.get("body") or "")
    if relation(content).get("m.in_reply_to"):
        text = _QUOTED.sub("", text, count=1) if text.startswith(">") else text
    local = me.removeprefix("@").partition(":")[0]
    plain, full = re.escape(local), re.escape(me)
    named = re.compile(rf"\s*(?:{full}|@?{plain}(?=\s*[:,])|@{plain}\b){_AFTER_NAME}", re.IGNORECASE)
    found = named.match(text)
    mentions = content.get("m.mentions")
    told = mentions.get("user_ids") if isinstance(mentions, dict) else None
    mentioned = found is not None or (isinstance(told, list) and me in told)
    if found is None and mentioned:
        found = re.match(rf"\s*@?{plain}\b{_AFTER_NAME}", text, re.IGNORECASE)
    return (text[found.end() :] if found is not None else text), mentioned


def happening(event: Json, place: Place, me: str, received: datetime, known: Known) -> Inbound | None:
    """None for what means nothing to the bot."""
    sender = str(event.get("sender") or "")
    of_member = event.get("type") == "m.room.member"
    if not sender or (sender == me and not of_member):
        return None
    match event.get("type"):
        case "m.room.message":
            return _message(event, place, me, received, known)
        case "m.reaction":
            return _reaction(event, place, received)
        case "m.room.redaction":
            return _taken_back(event, place, received, known)
        case "m.room.member" if place.kind == "channel":
            return _member(event, place, me, received)
        case _:
            return None


def _told(event: Json, place: Place, person: str, received: datetime, what: Happening) -> Inbound:
    return Inbound(key(event), person, place, moment(event, received), what)


def _message(event: Json, place: Place, me: str, received: datetime, known: Known) -> Inbound | None:
    """An edit counts if it is by the hand that wrote the message; anybody can send one."""
    content, sender = event.get("content") or {}, str(event["sender"])
    if not is_text(event) or (place.kind == "direct" and sender != place.id):
        return None
    changed = edits(event)
    if changed is not None:
        new = content.get("m.new_content")
        if known.writer != sender or not isinstance(new, dict):
            return None
        return _told(event, place, sender, received, Edited(changed, words(new, me)[0], str(event["event_id"])))
    text, mentioned = words(content, me)
    if command := _COMMAND.fullmatch(text):
        return _told(event, place, sender, received, Commanded(command[1].strip()))
    thread = thread_of(content)
    said = Said(text, str(event["event_id"]), thread, mentioned)
    return _told(event, replace(place, thread=thread), sender, received, said)


def as_told(event: Json, edit: Json | None, root: Place, me: str) -> Inbound:
    """A line read back as it stands now, with the key that it had when it was told."""
    content, thread = event.get("content") or {}, thread_of(event.get("content") or {})
    new = (edit.get("content") or {}).get("m.new_content") if edit is not None else None
    text, mentioned = words(new if isinstance(new, dict) else content, me)
    edition = str(edit["event_id"]) if edit is not None else ""
    said = Said(text, str(event["event_id"]), thread, mentioned, edition=edition)
    return Inbound(key(event), str(event["sender"]), replace(root, thread=thread), moment(event), said)


def _reaction(event: Json, place: Place, received: datetime) -> Inbound | None:
    emoji, message = emoji_of(event), str(relation(event.get("content") or {}).get("event_id") or "")
    sender = str(event["sender"])
    if not emoji or not message or (place.kind == "direct" and sender != place.id):
        return None
    return _told(event, place, sender, received, Reacted(message, emoji, added=True))


def redacts(event: Json) -> str:
    """Newer rooms say it in the content."""
    return str(event.get("redacts") or (event.get("content") or {}).get("redacts") or "")


def _taken_back(event: Json, place: Place, received: datetime, known: Known) -> Inbound | None:
    if known.reaction is not None:
        message, emoji, person = known.reaction
        return _told(event, place, person, received, Reacted(message, emoji, added=False))
    if known.writer is None or (place.kind == "direct" and known.writer != place.id):
        return None
    return _told(event, place, known.writer, received, Erased(redacts(event)))


def _member(event: Json, place: Place, me: str, received: datetime) -> Inbound | None:
    person = str(event.get("state_key") or "")
    now, before = _membership(event.get("content")), _membership((event.get("unsigned") or {}).get("prev_content"))
    if person == me:
        gone = now in ("leave", "ban")
        return _told(event, place, me, received, ChannelLost("removed")) if gone else None
    if now == "join" and before != "join":
        return _told(event, place, person, received, Joined())
    if now in ("leave", "ban") and before == "join":
        return _told(event, place, person, received, Left())
    return None


def _membership(content: Any) -> str:
    return str(content.get("membership") or "") if isinstance(content, dict) else ""
