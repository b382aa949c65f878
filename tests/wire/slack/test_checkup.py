"""The doctor's questions to Slack: each failure comes with what to do, and no secret is shown."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from coldframe.chat.slack.checkup import check_slack
from tests.wire.slack.people import CHANNEL, Someone
from tests.wire.slack.service import RealClock, options
from tests.wire.slack.workspace import Workspace


class Late(RealClock):
    def __init__(self, seconds: float) -> None:
        self.seconds = seconds

    def now(self) -> datetime:
        return super().now() + timedelta(seconds=self.seconds)


async def states(workspace: Workspace, mode: str = "socket", late: float = 0, **more: Any) -> dict[str, Any]:
    given = {"api_url": workspace.api_url} | more
    findings = await check_slack(options(**given), Late(late), mode)
    for finding in findings:
        assert finding.state != "broken" or finding.remedy
    return {finding.name: finding for finding in findings}


@pytest.mark.parametrize("mode", ["socket", "http"])
async def test_a_good_setup_is_all_well(workspace: Workspace, people: dict[str, Someone], mode: str) -> None:
    """Tokens, scopes, events and clock are looked at against what the workspace says; what nobody sees is tried."""
    found = await states(workspace, mode)
    unknown = {name for name, finding in found.items() if finding.state == "unknown"}
    assert unknown == ({"signing secret"} if mode == "http" else set()), "which only a request can show"
    assert {finding.state for finding in found.values()} - {"unknown"} == {"ok"}
    assert len(found) == 8
    assert workspace.files == {} or all("content" not in file for file in workspace.files.values())


@pytest.mark.parametrize(
    ("more", "name", "says"),
    [
        ({"bot_token": ""}, "bot token", "is missing"),
        ({"bot_token": "xoxp-secret"}, "bot token", "does not begin with xoxb-"),
        ({"bot_token": "xoxb-secret"}, "bot token", "invalid_auth"),
        ({"api_url": "http://127.0.0.1:9/api/"}, "Slack", "no answer"),
        ({"app_token": ""}, "app token", "is missing"),
        ({"app_token": "xapp-secret"}, "app token", "invalid_auth"),
        ({"signing_secret": "", "mode": "http"}, "signing secret", "is missing"),
        ({"late": 200}, "clock", "s apart from"),
    ],
)
async def test_each_failure_is_named_with_what_to_do(
    workspace: Workspace, more: dict[str, Any], name: str, says: str
) -> None:
    """What is wrong is told by the name of the setting, never by its value."""
    found = await states(workspace, **more)
    assert found[name].state == "broken"
    assert says in found[name].detail
    assert "secret" not in " ".join(f"{f.detail}" for f in found.values())


async def test_missing_scopes_are_named_with_what_they_are_for(workspace: Workspace) -> None:
    """A missing scope breaks the bot and silences its events; a missing optional one is only mentioned."""
    workspace.scopes -= {"reactions:read", "files:read"}
    found = await states(workspace)
    assert found["scopes"].state == "broken" and "count emoji" in found["scopes"].detail
    assert "reaction_added" in found["events"].detail
    assert found["optional scopes"].state == "warning"


async def test_a_clock_somewhat_wrong_is_a_warning(workspace: Workspace) -> None:
    """Half a minute is told before it becomes five."""
    assert (await states(workspace, late=45))["clock"].state == "warning"


async def test_the_clock_is_looked_at_where_each_workspace_brings_its_token(workspace: Workspace) -> None:
    """By a call that needs none; without an answer it is not known."""
    many: dict[str, Any] = {"bot_token": "", "client_id": "1.2"}
    assert (await states(workspace, "http", **many))["clock"].state == "ok"
    assert (await states(workspace, "http", late=7200, **many))["clock"].state == "broken"
    nobody = await states(workspace, "http", api_url="http://127.0.0.1:9/api/", **many)
    assert nobody["clock"].state == "unknown" and nobody["clock"].remedy


async def test_what_cannot_be_told_is_unknown_and_not_broken(workspace: Workspace, people: dict[str, Someone]) -> None:
    """Without an answer nothing is said of tokens; a call that is asked to wait is no broken one."""
    found = await states(workspace, api_url="http://127.0.0.1:9/api/")
    assert (found["Slack"].state, found["bot token"].state, found["app token"].state) == ("broken", *["unknown"] * 2)
    workspace.faults.refusal = lambda method, _: "ratelimited" if method == "users.info" else None
    assert (await states(workspace))["people"].state == "unknown"


async def test_what_a_workspace_forbids_is_found_by_trying(workspace: Workspace, people: dict[str, Someone]) -> None:
    """A policy is no scope: only the call tells. Where the bot is nowhere, it is said how it is let in."""
    workspace.faults.refusal = lambda method, _: "not_allowed" if method.startswith("files.") else None
    found = await states(workspace)
    assert found["files"].state == "broken" and "not_allowed" in found["files"].detail
    assert found["channels"].detail == "in growth"
    workspace.channels.pop(CHANNEL)
    nowhere = (await states(workspace))["channels"]
    assert nowhere.state == "warning" and "/invite" in nowhere.remedy
