"""A verified payload of Slack -> one happening, or the reason why there is none. Pure.

The key of a happening is the same for every repetition of a delivery: `event_id` for events, the message's own id for
what people write in private, `trigger_id` for what they press and send. Order of arrival means nothing; every happening
carries the platform's own time.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from coldframe.chat.slack import reading
from coldframe.ports.chat import (
    ChannelLost,
    Commanded,
    Edited,
    Erased,
    Happening,
    HomeOpened,
    Inbound,
    IncomingFile,
    Joined,
    Left,
    PersonChanged,
    Place,
    Reacted,
    Said,
)

Payload = Mapping[str, Any]

_DIRECT = re.compile(r"D[A-Z0-9]+")
_ASSISTANT = "assistant_thread_started"


@dataclass(frozen=True, slots=True)
class Me:
    """Who the bot is in the workspace that a payload is for."""

    team: str
    bot_user: str
    bot: str | None = None
    app: str | None = None
    enterprise: str | None = None


@dataclass(frozen=True, slots=True)
class Ignored:
    """Nothing to do: acknowledged and counted by its reason, which holds no text of a person."""

    reason: str


@dataclass(frozen=True, slots=True)
class Refused:
    """Not ours to act on: no state changes, and who acted is told so where that is possible."""

    reason: str


Outcome = Inbound | Ignored | Refused


def event(body: Payload, me: Me, received: datetime) -> Outcome:
    """An `event_callback` of the Events API."""
    return careful(_event, body, me, received)


def careful(
    translate: Callable[[Payload, Me, datetime], Outcome], body: Payload, me: Me, received: datetime
) -> Outcome:
    try:
        return Refused(reason) if (reason := _foreign(body, me)) else translate(body, me, received)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError) as error:
        return Ignored(f"misshapen: {type(error).__name__}")  # its message could quote what a person wrote


# --- whose it is
# ----------------------------------------------------------------------------------------------


def team_of(body: Payload) -> str | None:
    """The workspace whose installation a payload is for; in shared channels `team_id` can be the other
    side's.
    """
    for authorization in body.get("authorizations") or ():
        if authorization.get("team_id"):
            return str(authorization["team_id"])
    user = body.get("user")
    named = (
        (body.get("view") or {}).get("app_installed_team_id"),
        (body.get("team") or {}).get("id"),
        body.get("team_id"),
        user.get("team_id") if isinstance(user, Mapping) else None,  # all that an organisation's installation tells
    )
    return next((str(team) for team in named if team and not str(team).startswith("E")), None)


def _foreign(body: Payload, me: Me) -> str | None:
    if team_of(body) != me.team:
        return "another workspace"
    if me.app and body.get("api_app_id") not in (None, me.app):
        return "another app"
    enterprise = enterprise_of(body)
    if me.enterprise and enterprise not in (None, me.enterprise):
        return "another organisation"
    return _foreign_person(body, me)


def enterprise_of(body: Payload) -> str | None:
    """The organisation of several workspaces that a payload is from."""
    for authorization in body.get("authorizations") or ():
        return str(authorization.get("enterprise_id") or "") or None
    found = (body.get("enterprise") or {}).get("id") or body.get("enterprise_id")
    return str(found) if found else None


def _foreign_person(body: Payload, me: Me) -> str | None:
    """Presses and forms tell the person's own team; inside one organisation it may differ, elsewhere it
    must not.
    """
    user = body.get("user")
    home = user.get("team_id") if isinstance(user, Mapping) else None
    return "a person of another organisation" if home and home != me.team and not me.enterprise else None


def in_assistants_thread(body: Payload) -> bool:
    """Whether somebody writes beside a channel, in a thread that Slack keeps for assistants: what the bot says to them
    stands under its messages, which are not in sight there."""
    inner = body.get("event") or {}
    return inner.get("type") == _ASSISTANT or "assistant_thread" in inner


# --- events
# ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Heard:
    """An event with what is needed to place it."""

    key: str
    event: Payload
    me: Me
    at: datetime

    def happened(self, person: str, place: Place, what: Happening) -> Inbound:
        return Inbound(self.key, person, place, self.at, what)

    def in_channel(self, person: str, what: Happening) -> Inbound:
        return self.happened(person, Place(self.me.team, "channel", str(self.event["channel"])), what)


def _event(body: Payload, me: Me, received: datetime) -> Outcome:
    inner = body["event"]
    translate = _EVENTS.get(inner["type"])
    if translate is None:
        return Ignored(f"event {str(inner['type'])[:40]}")
    at = reading.moment(inner.get("event_ts") or body.get("event_time"), received)
    return translate(_Heard(f"slack:{me.team}:{body['event_id']}", inner, me, at))


def _message(heard: _Heard) -> Outcome:
    """Direct messages. Everything by bots, this one included, is an echo."""
    inner = heard.event
    if not _DIRECT.fullmatch(inner["channel"]):
        return Ignored("a message in a channel")
    match inner.get("subtype"):
        case None | "file_share" | "thread_broadcast":
            return _said(heard, mentioned=False)
        case "message_changed":
            return _edited(heard)
        case "message_deleted":
            return _erased(heard, inner.get("previous_message") or {}, inner.get("deleted_ts"))
        case other:
            return Ignored(f"message {str(other)[:40]}")


def _said(heard: _Heard, *, mentioned: bool) -> Outcome:
    inner, me = heard.event, heard.me
    if inner.get("bot_id") or not inner.get("user") or inner["user"] == me.bot_user:
        return Ignored("a bot's message")
    person, thread = str(inner["user"]), reading.thread_of(inner)
    raw = inner.get("text") or ""
    said = Said(
        text=reading.words(raw, me.bot_user).strip(),
        message=str(inner["ts"]),
        thread=thread,
        mentioned=mentioned or reading.mentions(raw, me.bot_user),
        files=tuple(
            IncomingFile(str(each.get("name") or "file"), int(each.get("size") or 0))
            for each in inner.get("files") or ()
        ),
        edition=_edition(inner),
    )
    where = reading.place(me.team, inner["channel"], person, thread)
    # By its own id, which is the same when it is read back from the conversation, or told once more as another event.
    heard = replace(heard, key=f"slack:{me.team}:{inner['channel']}:{said.message}")
    return heard.happened(person, where, said)


def _mention(heard: _Heard) -> Outcome:
    if _DIRECT.fullmatch(heard.event["channel"]):
        return Ignored("a mention in direct messages, which comes as a message too")
    return _said(heard, mentioned=True)


def _edited(heard: _Heard) -> Outcome:
    new, old = heard.event["message"], heard.event.get("previous_message") or {}
    if new.get("subtype") == "tombstone":  # the head of a thread was deleted
        return _erased(heard, old, new.get("ts"))
    if new.get("bot_id") or new.get("user") == heard.me.bot_user:
        return Ignored("a bot's message")
    if "edited" not in new or new.get("text") == old.get("text"):
        return Ignored("a message changed by no person")
    person = str(new["user"])
    where = reading.place(heard.me.team, heard.event["channel"], person, reading.thread_of(new))
    text = reading.words(new.get("text") or "").strip()
    return heard.happened(person, where, Edited(str(new["ts"]), text, _edition(new)))


def _edition(message: Payload) -> str:
    """The time of its last change."""
    return str((message.get("edited") or {}).get("ts") or "")


def _erased(heard: _Heard, old: Payload, message: object) -> Outcome:
    if old.get("bot_id") or not old.get("user") or old["user"] == heard.me.bot_user:
        return Ignored("a bot's message")
    person = str(old["user"])
    where = reading.place(heard.me.team, heard.event["channel"], person, reading.thread_of(old))
    return heard.happened(person, where, Erased(str(message or old["ts"])))


def _reaction(heard: _Heard) -> Outcome:
    inner, item = heard.event, heard.event["item"]
    if item.get("type") != "message":
        return Ignored("a reaction to no message")
    if inner["user"] == heard.me.bot_user:
        return Ignored("the bot's own reaction")
    person = str(inner["user"])
    what = Reacted(str(item["ts"]), reading.emoji(inner["reaction"]), inner["type"] == "reaction_added")
    return heard.happened(person, reading.place(heard.me.team, item["channel"], person), what)


def _home(heard: _Heard) -> Outcome:
    person = str(heard.event["user"])
    return heard.happened(person, Place(heard.me.team, "direct", person), HomeOpened())


def _assistant(heard: _Heard) -> Outcome:
    """Somebody opened such a thread: as if they had given the command alone."""
    thread = heard.event["assistant_thread"]
    person, hangs = str(thread["user_id"]), str(thread["thread_ts"])
    return heard.happened(person, Place(heard.me.team, "direct", person, hangs), Commanded(""))


def _joined(heard: _Heard) -> Outcome:
    """The bot's own arrival too: what could not be said in the channel may be said now."""
    return heard.in_channel(str(heard.event["user"]), Joined())


def _left(heard: _Heard) -> Outcome:
    person = str(heard.event["user"])
    return heard.in_channel(person, ChannelLost("removed") if person == heard.me.bot_user else Left())


def _lost(reason: str) -> Callable[[_Heard], Outcome]:
    def lost(heard: _Heard) -> Outcome:
        what = ChannelLost(reason)  # type: ignore[arg-type]  # one of the three, from the table below
        channel = heard.event.get("old_channel_id") or heard.event["channel"]
        where = Place(heard.me.team, "channel", str(channel))
        return heard.happened(str(heard.event.get("user") or heard.event.get("actor_id") or ""), where, what)

    return lost


def _changed(heard: _Heard) -> Outcome:
    who = reading.person(heard.event["user"], heard.me.team, heard.me.enterprise)
    return heard.happened(who.id, Place(heard.me.team, "direct", who.id), PersonChanged(who))


_EVENTS: dict[str, Callable[[_Heard], Outcome]] = {
    "message": _message,
    "app_mention": _mention,
    "reaction_added": _reaction,
    "reaction_removed": _reaction,
    "app_home_opened": _home,
    _ASSISTANT: _assistant,
    "member_joined_channel": _joined,
    "member_left_channel": _left,
    "channel_left": _lost("removed"),
    "group_left": _lost("removed"),
    "channel_archive": _lost("archived"),
    "group_archive": _lost("archived"),
    "channel_deleted": _lost("deleted"),
    "group_deleted": _lost("deleted"),
    "channel_id_changed": _lost("removed"),
    "user_change": _changed,
}
