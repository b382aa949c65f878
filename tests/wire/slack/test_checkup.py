"""The doctor's questions to Slack: each failure comes with what to do, and no secret is shown."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from coldframe.chat.slack.checkup import check_slack
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
async def test_a_good_setup_is_all_well(workspace: Workspace, mode: str) -> None:
    """Tokens, scopes, events and clock are looked at against what the workspace says."""
    found = await states(workspace, mode)
    assert {finding.state for finding in found.values()} == {"ok"}
    assert len(found) == 5


@pytest.mark.parametrize(
    ("more", "name", "says"),
    [
        ({"bot_token": ""}, "bot token", "is missing"),
        ({"bot_token": "xoxp-secret"}, "bot token", "does not begin with xoxb-"),
        ({"bot_token": "xoxb-secret"}, "bot token", "invalid_auth"),
        ({"api_url": "http://127.0.0.1:9/api/"}, "bot token", "no answer"),
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
