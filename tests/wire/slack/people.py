"""Somebody at the stand-in workspace: writes, reacts, presses, fills in forms, and sees what the bot shows."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

from coldframe.ports.chat import Place
from coldframe.render.slack.mrkdwn import escaped
from tests.wire.slack.delivery import Acknowledged
from tests.wire.slack.workspace import APP, BOT_USER, TEAM, Data, Workspace

EIGHT = (
    ("U0ANA", "Ana", "Europe/Lisbon"),
    ("U0BEN", "Ben", "America/New_York"),
    ("U0CHI", "Chi", "Asia/Tokyo"),
    ("U0DEV", "Dev", "Asia/Kathmandu"),
    ("U0EVA", "Eva", "Europe/Berlin"),
    ("U0FAY", "Fay", "America/New_York"),
    ("U0GIL", "Gil", "Europe/Lisbon"),
    ("U0HAN", "Han", "Asia/Tokyo"),
)
CHANNEL = "C0GROWTH"
IN_CHANNEL = Place(TEAM, "channel", CHANNEL)


def settle_in(workspace: Workspace) -> dict[str, Someone]:
    """Eight people in four zones, all in one channel with the bot."""
    for person, name, zone in EIGHT:
        workspace.add_person(person, name, zone)
    workspace.add_channel(CHANNEL, "growth", [person for person, _, _ in EIGHT])
    return {name: Someone(workspace, person) for person, name, _ in EIGHT}


class Someone:
    """One person. What they do goes out as Slack would tell it; what they see is what the bot did to them."""

    def __init__(self, workspace: Workspace, person: str) -> None:
        self.workspace = workspace
        self.id = person

    # --- writing --------------------------------------------------------------------------------------------

    @property
    def place(self) -> Place:
        return Place(TEAM, "direct", self.id)

    @property
    def direct(self) -> str:
        return self.workspace.direct(self.id).id

    def says(self, text: str, *, thread: str | None = None, files: list[Data] | None = None, **more: Any) -> str:
        """A direct message to the bot; returns its id."""
        message: Data = {"type": "message", "user": self.id, "text": escaped(text), "ts": self.workspace.ts()}
        if thread:
            message["thread_ts"] = thread
        if files:
            message |= {"subtype": "file_share", "files": files}
        self.workspace.direct(self.id).messages[message["ts"]] = message
        self.workspace.event({**message, "channel": self.direct, "channel_type": "im", **more})
        return str(message["ts"])

    def mentions(self, text: str, channel: str = CHANNEL, thread: str | None = None) -> str:
        """A message in a channel that addresses the bot."""
        message: Data = {
            "type": "message",
            "user": self.id,
            "text": f"<@{BOT_USER}> {escaped(text)}",
            "ts": self.workspace.ts(),
        }
        if thread:
            message["thread_ts"] = thread
        self.workspace.channels[channel].messages[message["ts"]] = message
        self.workspace.event({**message, "type": "app_mention", "channel": channel})
        return str(message["ts"])

    def edits(self, ts: str, text: str) -> None:
        old = dict(self.workspace.direct(self.id).messages[ts])
        new = old | {"text": escaped(text), "edited": {"user": self.id, "ts": self.workspace.ts()}}
        self.workspace.direct(self.id).messages[ts] = new
        self._changed({"subtype": "message_changed", "message": new, "previous_message": old})

    def erases(self, ts: str) -> None:
        old = self.workspace.direct(self.id).messages.pop(ts)
        self._changed({"subtype": "message_deleted", "deleted_ts": ts, "previous_message": old})

    def _changed(self, what: Data) -> None:
        self.workspace.event({"type": "message", "channel": self.direct, "channel_type": "im", **what})

    # --- reacting -------------------------------------------------------------------------------------------

    def reacts(self, ts: str, emoji: str, channel: str | None = None) -> None:
        where = channel or self.direct
        if self.workspace.reacted(where, ts, self.id, emoji):
            self._reaction("reaction_added", where, ts, emoji)

    def unreacts(self, ts: str, emoji: str, channel: str | None = None) -> None:
        where = channel or self.direct
        self.workspace.channels[where].messages[ts]["reactions"][emoji].remove(self.id)
        self._reaction("reaction_removed", where, ts, emoji)

    def _reaction(self, kind: str, channel: str, ts: str, emoji: str) -> None:
        item = {"type": "message", "channel": channel, "ts": ts}
        self.workspace.event({"type": kind, "user": self.id, "reaction": emoji, "item": item, "item_user": BOT_USER})

    # --- pressing and sending -------------------------------------------------------------------------------

    async def press(self, message: Data, label: str, channel: str | None = None) -> Acknowledged:
        """Presses the button with this label under a message."""
        where = channel or self.direct
        ts = message.get("ts")
        container: Data = {"type": "message", "channel_id": where, "message_ts": ts, "is_ephemeral": ts is None}
        return await self._pressed(message["blocks"], label, where, container, {"message": message})

    async def press_home(self, label: str) -> Acknowledged:
        view = self.workspace.homes[self.id]
        return await self._pressed(view["blocks"], label, "", {"type": "view"}, {"view": view})

    async def _pressed(self, blocks: list[Data], label: str, channel: str, container: Data, more: Data) -> Acknowledged:
        buttons = [e for b in blocks if b["type"] == "actions" for e in b["elements"]]
        found = [button for button in buttons if button["text"]["text"] == label]
        if not found:
            raise AssertionError(f"no button {label!r} among {[b['text']['text'] for b in buttons]}")
        payload = self._interaction("block_actions") | more
        payload |= {
            "container": container,
            "actions": [{**found[0], "block_id": "b", "action_ts": self.workspace.ts()}],
            "response_url": f"{self.workspace.address}/respond/{self.id}/{channel or 'home'}",
        }
        if channel:
            payload["channel"] = {"id": channel}
        return await self.workspace.delivery.interaction("interactive", payload)

    def _interaction(self, kind: str) -> Data:
        return {
            "type": kind,
            "team": {"id": TEAM},
            "user": {"id": self.id, "team_id": TEAM},
            "api_app_id": APP,
            "trigger_id": self.workspace.trigger(self.id),
        }

    async def commands(self, text: str = "", channel: str = CHANNEL) -> Acknowledged:
        """Gives the bot's command."""
        answer = await self.workspace.delivery.interaction(
            "slash_commands",
            {
                "command": "/coldframe",
                "text": escaped(text),
                "team_id": TEAM,
                "user_id": self.id,
                "channel_id": channel,
                "api_app_id": APP,
                "trigger_id": self.workspace.trigger(self.id),
                "response_url": f"{self.workspace.address}/respond/{self.id}/{channel}",
            },
        )
        if answer.body.get("text"):
            self.workspace.notes.append((self.id, channel, answer.body))
        return answer

    async def makes(self, what: str, text: str, channel: str = CHANNEL) -> Acknowledged:
        """Uses a shortcut on somebody's message."""
        payload = self._interaction("message_action") | {
            "callback_id": what,
            "channel": {"id": channel},
            "message": {"type": "message", "user": self.id, "text": escaped(text), "ts": self.workspace.ts()},
            "response_url": f"{self.workspace.address}/respond/{self.id}/{channel}",
        }
        return await self.workspace.delivery.interaction("interactive", payload)

    async def sends(self, **values: Any) -> Acknowledged:
        """Fills in the form that is open and sends it. A field not named keeps what it began with."""
        view = self.workspace.views[self.id]
        state = {
            block["block_id"]: {"in": _state(block["element"], values.get(block["block_id"]))}
            for block in view["blocks"]
            if block["type"] == "input"
        }
        unknown = values.keys() - state.keys()
        if unknown:
            raise AssertionError(f"no such fields: {unknown}; there are {sorted(state)}")
        payload = self._interaction("view_submission") | {"view": view | {"state": {"values": state}}}
        answer = await self.workspace.delivery.interaction("interactive", payload)
        self._follow(view, answer)
        return answer

    def _follow(self, view: Data, answer: Acknowledged) -> None:
        match answer.body.get("response_action"):
            case None if answer.ok:
                self.workspace.views.pop(self.id, None)
            case "clear":
                self.workspace.views.pop(self.id, None)
            case "update":
                self.workspace.views[self.id] = self.workspace.checked_view(answer.body["view"])
            case "errors":
                names = {block["block_id"] for block in view["blocks"] if block["type"] == "input"}
                if not answer.body["errors"] or answer.body["errors"].keys() - names:
                    self.workspace.complaints.append(f"errors at no field: {answer.body['errors']}")

    def opens_home(self) -> None:
        self.workspace.event({"type": "app_home_opened", "user": self.id, "channel": self.direct, "tab": "home"})

    def leaves(self, channel: str = CHANNEL) -> None:
        self.workspace.channels[channel].members.remove(self.id)
        self.workspace.event({"type": "member_left_channel", "user": self.id, "channel": channel})

    def joins(self, channel: str = CHANNEL) -> None:
        self.workspace.channels[channel].members.append(self.id)
        self.workspace.event({"type": "member_joined_channel", "user": self.id, "channel": channel})

    # --- seeing ---------------------------------------------------------------------------------------------

    def inbox(self) -> list[Data]:
        """What the bot says in the direct messages now, in threads too."""
        messages = self.workspace.direct(self.id).messages.values()
        return [message for message in messages if message["user"] == BOT_USER]

    def notes(self) -> list[str]:
        """Passing words for this person alone."""
        return [note["text"] for person, _, note in self.workspace.notes if person == self.id]

    def form(self) -> Data | None:
        """What is open to be filled in; words that stand in its place are none yet."""
        view = self.view()
        return view if view is not None and view.get("submit") else None

    def view(self) -> Data | None:
        return self.workspace.views.get(self.id)

    async def sees(self, what: Callable[[], Any], seconds: float = 10.0) -> Any:
        """Waits until something is there and returns it."""
        deadline = asyncio.get_running_loop().time() + seconds
        while not (found := what()):
            if asyncio.get_running_loop().time() > deadline:
                raise AssertionError(f"{self.id} did not come to see it")
            try:
                await asyncio.wait_for(self.workspace.changed.wait(), 0.02)
            except TimeoutError:
                continue
        return found


def _state(element: Data, value: Any) -> Data:
    kind = element["type"]
    state: Data = {"type": kind}
    offered = element.get("options") or [o for g in element.get("option_groups", ()) for o in g["options"]]
    match kind:
        case "static_select" | "radio_buttons":
            chosen = [o for o in offered if o["value"] == value] or [element.get("initial_option")]
            state["selected_option"] = chosen[0]
        case "checkboxes" | "multi_static_select":
            wanted = value if value is not None else [o["value"] for o in element.get("initial_options", ())]
            state["selected_options"] = [o for o in offered if o["value"] in wanted]
        case "datepicker":
            state["selected_date"] = value or element.get("initial_date")
        case "users_select":
            state["selected_user"] = value or element.get("initial_user")
        case _:
            text = value if value is not None else element.get("initial_value")
            if text is not None and len(str(text)) > element.get("max_length", 3000):
                raise AssertionError("the client does not let so much be typed")
            state["value"] = str(text) if text not in (None, "") else None
    return state
