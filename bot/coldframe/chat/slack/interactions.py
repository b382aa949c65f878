"""What people press, send, type after the command and make of a message -> one happening. Pure, as `inbound` is."""

from __future__ import annotations

import hashlib
import json
import re
from datetime import datetime

from coldframe.chat.slack import reading
from coldframe.chat.slack.inbound import Ignored, Me, Outcome, Payload, Refused, careful
from coldframe.message.packed import ButtonValue
from coldframe.ports.chat import Commanded, Inbound, Place, Pressed, Submitted
from coldframe.render.slack.views import NOTHING, PICKED
from coldframe.speech import surface

_TIME = re.compile(r"\d{1,2}[:.]\d\d")
_ORIGIN = re.compile(r"([CG][A-Z0-9]+)?(?:\|(\d+\.\d+))?")


def command(body: Payload, me: Me, received: datetime) -> Outcome:
    """A slash command."""
    return careful(_command, body, me, received)


def press(body: Payload, me: Me, received: datetime) -> Outcome:
    """A `block_actions` payload."""
    return careful(_press, body, me, received)


def form(body: Payload, me: Me, received: datetime) -> Outcome:
    """A `view_submission` payload."""
    return careful(_form, body, me, received)


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
    text = reading.words(str(body.get("text") or ""), ids=True).strip()
    group = str(body.get("channel_name") or "").startswith("mpdm-")  # of some people, which can hold no round
    where = reading.place(me.team, "" if group else channel, person)
    return Inbound(_key(body, me), person, where, received, Commanded(text))


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


def shortcut(body: Payload, me: Me, received: datetime) -> Outcome:
    """A `message_action` payload: somebody wants to make something of a message, in private."""
    return careful(_shortcut, body, me, received)


def _shortcut(body: Payload, me: Me, received: datetime) -> Outcome:
    message, person = body["message"], str(body["user"]["id"])
    text = reading.words(message.get("text") or "").strip()
    channel = str((body.get("channel") or {}).get("id") or "")
    value = ButtonValue(channel, (text,)).pack()
    what = Pressed(str(body["callback_id"]), value)
    return Inbound(_key(body, me), person, Place(me.team, "direct", person), received, what)


def opens_form(body: Payload) -> bool:
    """Whether a form is to open: by the sign on the button's label, or by the word after the command."""
    if body.get("type") == "message_action":
        return True
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
    """The values of a sent form by field; several choices are joined by newlines, an empty field is "". A day that was
    picked counts where none is written; a time that is written alone is that day's."""
    values = (view.get("state") or {}).get("values") or {}
    found = {str(name): _value(next(iter(inputs.values()))) for name, inputs in values.items() if inputs}
    for name in [name for name in found if name.endswith(PICKED)]:
        picked, plain = found.pop(name), name.removesuffix(PICKED)
        words = found.get(plain, "").strip()
        if picked and (not words or _TIME.fullmatch(words)):
            found[plain] = f"{picked} {words}".strip()
    return found


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
