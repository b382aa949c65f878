"""The app's manifest: what the bot asks of a workspace, each with its reason, for both ways of being
reached. Pure.
"""

from __future__ import annotations

from typing import Any, Literal

import yaml

COMMAND = "/coldframe"

SCOPES: dict[str, str] = {
    "app_mentions:read": "hear a mention of the bot in a channel it was invited to",
    "chat:write": "post and update its own messages, in conversations it is in",
    "commands": f"answer {COMMAND}",
    "im:write": "open the direct messages for prompts, ballots and nudges",
    "im:history": "hear notes given by direct message, and find its own posts again after a lost answer",
    "reactions:read": "count emoji on ballots",
    "reactions:write": "put its own emoji under a message as an offer",
    "users:read": "names, time zones, and who is a bot, a guest or gone; no e-mail addresses",
    "channels:read": "members of a public channel, and its end",
    "groups:read": "members of a private channel, and its end",
    "files:write": "share pictures, calendar files and exports",
}
"""Scope -> what the bot does with it."""

OPTIONAL_SCOPES: dict[str, str] = {
    "channels:history": "find its own posts again in a public channel after a lost answer, to post nothing twice",
    "groups:history": "the same in a private channel",
    "pins:write": "pin a round's calendar in its channel",
    "pins:read": "take away its own pin of the round before",
    "files:read": "read a small text file that somebody drops into the direct messages",
}
"""Scopes that a workspace may strike out, and what then goes."""

EVENTS: dict[str, str] = {
    "message.im": "im:history",
    "app_mention": "app_mentions:read",
    "reaction_added": "reactions:read",
    "reaction_removed": "reactions:read",
    "member_joined_channel": "channels:read",
    "member_left_channel": "channels:read",
    "channel_archive": "channels:read",
    "channel_deleted": "channels:read",
    "channel_left": "channels:read",
    "channel_id_changed": "channels:read",
    "group_archive": "groups:read",
    "group_deleted": "groups:read",
    "group_left": "groups:read",
    "user_change": "users:read",
    "app_home_opened": "",
    "tokens_revoked": "",
    "app_uninstalled": "",
}
"""Event -> the scope that it needs. Nothing is subscribed to that is not handled."""

SHORTCUTS: dict[str, tuple[str, str]] = {
    "make.note": ("Make this a note", "Of a message, a private note for the round that takes notes"),
    "make.precedent": ("Make this a precedent", "Of a message, a precedent for one of the round's questions"),
    "make.suggestion": ("Suggest as a question", "Of a message, a wording for one of the round's questions"),
}
"""What can be made of a message: by its action, the name (24 characters at most) and what it does."""

LONG_DESCRIPTION = (
    "coldframe takes a distributed team from the question where its growth leaks to at most two running, measurable "
    "trials. Notes, plans and votes are given in private by direct message and shown to all at one moment. It keeps "
    "the dates, reminds the one person who can act, and sees each trial through to an honest verdict."
)

Mode = Literal["socket", "http"]


def manifest(
    mode: Mode = "socket", address: str = "https://coldframe.example.com", *, organisation: bool = False
) -> dict[str, Any]:
    """The manifest. `address` is where Slack reaches the bot in HTTP mode; with a socket it needs none. `organisation`:
    it may be installed for all workspaces of one at once."""
    address = address.rstrip("/")
    command: dict[str, Any] = {
        "command": COMMAND,
        "description": "What you can do here and now",
        "usage_hint": "help | new | rehearse | status | mine | trials | digest | search WORDS",
        "should_escape": True,
    }
    interactivity: dict[str, Any] = {"is_enabled": True}
    events: dict[str, Any] = {"bot_events": sorted(EVENTS)}
    oauth: dict[str, Any] = {
        "scopes": {"bot": sorted([*SCOPES, *OPTIONAL_SCOPES]), "bot_optional": sorted(OPTIONAL_SCOPES)}
    }
    if mode == "http":
        requests = f"{address}/slack/events"
        command["url"] = interactivity["request_url"] = events["request_url"] = requests
        oauth["redirect_urls"] = [f"{address}/slack/oauth_redirect"]
    return {
        "_metadata": {"major_version": 2},
        "display_information": {
            "name": "coldframe",
            "description": "Takes a team from its leaks in growth to measurable trials",
            "long_description": LONG_DESCRIPTION,
        },
        "features": {
            "app_home": {
                "home_tab_enabled": True,
                "messages_tab_enabled": True,
                "messages_tab_read_only_enabled": False,
            },
            "bot_user": {"display_name": "coldframe", "always_online": True},
            "slash_commands": [command],
            "shortcuts": [
                {"name": name, "type": "message", "callback_id": action, "description": what}
                for action, (name, what) in SHORTCUTS.items()
            ],
        },
        "oauth_config": oauth,
        "settings": {
            "event_subscriptions": events,
            "interactivity": interactivity,
            "org_deploy_enabled": organisation,
            "socket_mode_enabled": mode == "socket",
            "token_rotation_enabled": False,
        },
    }


def as_yaml(
    mode: Mode = "socket", address: str = "https://coldframe.example.com", *, organisation: bool = False
) -> str:
    """The manifest as it is pasted into Slack's page for a new app."""
    return yaml.safe_dump(
        manifest(mode, address, organisation=organisation), sort_keys=False, allow_unicode=True, width=100
    )
