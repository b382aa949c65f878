"""The manifest asks for what the bot uses, and for nothing else."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import yaml

from coldframe.chat.slack import inbound
from coldframe.chat.slack.manifest import EVENTS, OPTIONAL_SCOPES, SCOPES, as_yaml, manifest
from tests.wire.slack.workspace import METHODS

ROOT = Path(__file__).parents[3]


@pytest.mark.parametrize(("mode", "name"), [("socket", "slack-manifest.yaml"), ("http", "slack-manifest-http.yaml")])
def test_the_files_to_paste_are_the_generated_ones(mode: Any, name: str) -> None:
    """What stands in deploy/ is what `coldframe slack-manifest` prints."""
    assert (ROOT / "deploy" / name).read_text("utf-8") == as_yaml(mode)


@pytest.mark.parametrize("mode", ["socket", "http"])
def test_it_keeps_to_the_lengths_of_the_published_schema(mode: Any) -> None:
    """Slack's manifest schema: name 35, description 140, long description 175 to 4000, usage hint 1000."""
    made = manifest(mode, "https://bot.example.org/")
    shown = made["display_information"]
    assert len(shown["name"]) <= 35 and len(shown["description"]) <= 140
    assert 175 <= len(shown["long_description"]) <= 4000
    (command,) = made["features"]["slash_commands"]
    assert len(command["command"]) <= 32 and len(command["usage_hint"]) <= 1000
    assert made["settings"]["socket_mode_enabled"] == (mode == "socket")
    urls = re.findall(r"https://\S+", yaml.safe_dump(made))
    assert (len(urls) == 4) == (mode == "http")
    assert all(url.startswith("https://bot.example.org/slack/") for url in urls)


def test_every_event_is_handled_and_has_its_scope() -> None:
    """An event that nobody handles is sent three times for nothing; one without its scope never comes."""
    ended, unasked = {"tokens_revoked", "app_uninstalled"}, {"assistant_thread_started"}  # a workspace may switch it on
    assert {event.split(".")[0] for event in EVENTS} - ended <= inbound._EVENTS.keys()
    assert inbound._EVENTS.keys() - unasked <= {event.split(".")[0] for event in EVENTS}
    assert {scope for scope in EVENTS.values() if scope} <= SCOPES.keys()


def test_no_scope_is_asked_for_without_use() -> None:
    """Each scope serves a call that the bot makes or an event that it hears."""
    used = {scope for method in METHODS.values() for scope in method.scopes} | set(EVENTS.values()) | {"commands"}
    assert SCOPES.keys() <= used
    assert OPTIONAL_SCOPES.keys() == {"channels:history", "groups:history", "files:read", "pins:write", "pins:read"}
    assert not {"users:read.email", "chat:write.public", "channels:join"} & (SCOPES.keys() | OPTIONAL_SCOPES.keys())


def test_every_scope_is_explained_in_the_documentation() -> None:
    """A workspace's owner reads why each is wanted."""
    told = (ROOT / "deploy" / "SLACK.md").read_text("utf-8")
    for scope, reason in {**SCOPES, **OPTIONAL_SCOPES}.items():
        assert f"| `{scope}` | {reason} |" in told
