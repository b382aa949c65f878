"""A verified payload of Slack -> one happening, or the reason why there is none. Pure.

The key of a happening is the same for every repetition of a delivery: `event_id` for events, the message's own id for
what people write in private, `trigger_id` for what they press and send. Order of arrival means nothing; every happening
carries the platform's own time.
"""

from __future__ import annotations

import hashlib
import json
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
    Pressed,
    Reacted,
    Said,
    Submitted,
)
from coldframe.render.slack.views import NOTHING
from coldframe.speech import surface

Payload = Mapping[str, Any]

_ORIGIN = re.compile(r"([CG][A-Z0-9]+)?(?:\|(\d+\.\d+))?")
_DIRECT = re.compile(r"D[A-Z0-9]+")


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
    return _careful(_event, body, me, received)


def command(body: Payload, me: Me, received: datetime) -> Outcome:
    """A slash command."""
    return _careful(_command, body, me, received)


def press(body: Payload, me: Me, received: datetime) -> Outcome:
    """A `block_actions` payload."""
    return _careful(_press, body, me, received)


def form(body: Payload, me: Me, received: datetime) -> Outcome:
    """A `view_submission` payload."""
    return _careful(_form, body, me, received)


def _careful(
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
    if where.kind == "direct":  # by its own id, which is the same when it is read back from the conversation
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


# --- what people press and send
# -------------------------------------------------------------------------------


def _key(body: Payload, me: Me) -> str:
    """Slack repeats no press, but a network may; without a trigger the content itself is the key."""
    trigger = body.get("trigger_id")
    if trigger:
        return f"slack:{me.team}:{trigger}"
    view = body.get("view") or {}
    shape = json.dumps([view.get("id"), view.get("hash"), view.get("state"), body.get("actions")], sort_keys=True)
    return f"slack:{me.team}:x{hashlib.sha256(shape.encode('utf-8', 'surrogatepass')).hexdigest()[:40]}"


def _command(body: Payload, me: Me, received: datetime) -> Outcome:
    person, channel = str(body["user_id"]), str(body.get("channel_id") or "")
    text = reading.words(str(body.get("text") or "")).strip()
    return Inbound(_key(body, me), person, reading.place(me.team, channel, person), received, Commanded(text))


def _press(body: Payload, me: Me, received: datetime) -> Outcome:
    pressed = body["actions"][0]
    if pressed.get("type") != "button" or pressed.get("url"):
        return Ignored("no button of ours")
    person, message = str(body["user"]["id"]), body.get("message") or {}
    container = body.get("container") or {}
    lasting = message.get("ts") and not container.get("is_ephemeral")
    channel = str((body.get("channel") or {}).get("id") or container.get("channel_id") or "")
    what = Pressed(
        action=str(pressed["action_id"]).rpartition("#")[0] or str(pressed["action_id"]),
        value=str(pressed.get("value") or ""),
        message=str(message["ts"]) if lasting else None,
    )
    where = reading.place(me.team, channel, person, reading.thread_of(message) or container.get("thread_ts"))
    return Inbound(_key(body, me), person, where, reading.moment(pressed.get("action_ts"), received), what)


def opens_form(body: Payload) -> bool:
    """Whether a form is to open: by the sign on the button's label, or by the word after the command."""
    if "command" in body:
        return surface.opens_form(str(body.get("text") or ""))
    actions = body.get("actions") or ()
    return any(str((each.get("text") or {}).get("text") or "").endswith(surface.FORM_SIGN) for each in actions)


def _form(body: Payload, me: Me, received: datetime) -> Outcome:
    view, person = body["view"], str(body["user"]["id"])
    try:
        carried = json.loads(view["private_metadata"])
        value, origin = str(carried["value"]), str(carried["origin"])
    except (KeyError, TypeError, ValueError):
        return Refused("a form that is not ours")
    what = Submitted(str(view["callback_id"]), value, fields(view))
    return Inbound(_key(body, me), person, _opened_at(origin, me, person), received, what)


def origin(place: Place) -> str:
    """Where a form is opened, as it travels in the form; direct messages are the empty text."""
    channel = place.id if place.kind == "channel" else ""
    return channel + (f"|{place.thread}" if place.thread else "")


def _opened_at(text: str, me: Me, person: str) -> Place:
    found = _ORIGIN.fullmatch(text)
    return reading.place(me.team, (found[1] if found else "") or "", person, found[2] if found else None)


def fields(view: Payload) -> dict[str, str]:
    """The values of a sent form by field; several choices are joined by newlines, an empty field is ""."""
    values = (view.get("state") or {}).get("values") or {}
    return {str(name): _value(next(iter(inputs.values()))) for name, inputs in values.items() if inputs}


def _value(state: Payload) -> str:
    match state.get("type"):
        case "static_select" | "radio_buttons":
            value = str((state.get("selected_option") or {}).get("value") or "")
            return "" if value == NOTHING else value
        case "checkboxes" | "multi_static_select":
            chosen = (str(option["value"]) for option in state.get("selected_options") or ())
            return "\n".join("" if value == NOTHING else value for value in chosen)
        case "datepicker":
            return str(state.get("selected_date") or "")
        case "users_select":
            return str(state.get("selected_user") or "")
        case _:
            return str(state.get("value") or "")
