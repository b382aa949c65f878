"""Single values of Slack's payloads: text decoded once, times, emoji, people, places. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from coldframe.message.emoji import by_name
from coldframe.ports.chat import Person, Place

Payload = Mapping[str, Any]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_STAMP = re.compile(r"(\d{1,11})(?:\.(\d{1,6}))?")
_TOKEN = re.compile(r"<([^<>]*)>|&(amp|lt|gt);")
_CHARS = {"amp": "&", "lt": "<", "gt": ">"}


def emoji(name: str) -> str:
    """The emoji of a reaction, whichever of its short names a client used, and whatever its skin tone."""
    return by_name(name.strip(":").split("::", 1)[0])


def moment(stamp: object, otherwise: datetime) -> datetime:
    """The instant of a message's or an event's `ts`; it is text of seconds and microseconds and stays
    exact.
    """
    found = _STAMP.fullmatch(str(stamp))
    if found is None:
        return otherwise
    return _EPOCH + timedelta(seconds=int(found[1]), microseconds=int((found[2] or "").ljust(6, "0")))


def stamp(at: datetime) -> str:
    """An instant as Slack writes it in `ts`."""
    micros = (at - _EPOCH) // timedelta(microseconds=1)
    return f"{micros // 1_000_000}.{micros % 1_000_000:06}"


def words(text: str, bot_user: str = "", *, ids: bool = False) -> str:
    """What the person wrote: tokens as their readable text, the three entities decoded once, the bot's name
    cut out. `ids`: people by their ids, which their handles may not tell.
    """

    def readable(found: re.Match[str]) -> str:
        if found[2]:
            return _CHARS[found[2]]
        return found[1].partition("|")[0] if ids and found[1].startswith("@") else _readable(found[1], bot_user)

    return _TOKEN.sub(readable, text)


def mentions(text: str, bot_user: str) -> bool:
    """True when the text addresses the bot by name."""
    return f"<@{bot_user}>" in text or f"<@{bot_user}|" in text


def _readable(token: str, bot_user: str) -> str:
    target, _, label = token.partition("|")
    target, label = _entities(target), _entities(label)
    if target.startswith(("@", "#")):
        return "" if target[1:] == bot_user else target[0] + (label or target[1:]).lstrip("@#")
    if target.startswith("!"):
        return _special(target, label)
    if not label or label == target:
        return target
    bare = re.sub(r"^(https?://|mailto:|tel:)", "", target)
    return label if bare.rstrip("/") == label.rstrip("/") else f"{label} ({target})"


def _special(target: str, label: str) -> str:
    if target.startswith("!date"):
        return label or target
    return "@" + (label or target[1:].split("^", 1)[0]).lstrip("@")


def _entities(text: str) -> str:
    return re.sub("&(amp|lt|gt);", lambda found: _CHARS[found[1]], text)


def place(tenant: str, channel: str, person: str, thread: object = None) -> Place:
    """The conversation: a D… id is the direct messages with the person who acts, everything else a channel."""
    hangs = str(thread) if thread else None
    if channel.startswith("D") or not channel:
        return Place(tenant, "direct", person, hangs)
    return Place(tenant, "channel", channel, hangs)


def thread_of(message: Payload) -> str | None:
    """The message that this one hangs under; None for one that stands alone or heads a thread."""
    thread = message.get("thread_ts")
    return str(thread) if thread and thread != message.get("ts") else None


def person(user: Payload, team: str, enterprise: str | None = None) -> Person:
    """A user object as a person. Its zone is passed on as told; whoever reckons with it checks it."""
    profile = user.get("profile") or {}
    names = (profile.get("display_name"), profile.get("real_name"), user.get("real_name"), user.get("name"))
    home = user.get("team_id") or profile.get("team") or team
    organisation = (user.get("enterprise_user") or {}).get("enterprise_id")
    colleague = enterprise is not None and organisation == enterprise
    return Person(
        id=str(user["id"]),
        name=next((str(name).strip() for name in names if name and str(name).strip()), str(user["id"])),
        zone=user.get("tz") or None,
        is_bot=bool(user.get("is_bot")) or user["id"] == "USLACKBOT",
        is_guest=bool(user.get("is_restricted") or user.get("is_ultra_restricted")),
        is_foreign=bool(user.get("is_stranger")) or (home != team and not colleague),
        is_gone=bool(user.get("deleted")),
    )
