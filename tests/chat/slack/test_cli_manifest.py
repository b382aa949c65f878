"""The verb that prints the manifest."""

from __future__ import annotations

import pytest
import yaml
from click.testing import CliRunner

from coldframe.chat.slack.manifest import manifest
from coldframe.cli import State, coldframe


def test_the_manifest_is_printed_to_be_pasted() -> None:
    """What is printed is YAML and nothing else."""
    printed = CliRunner().invoke(coldframe, ["slack-manifest"], obj=State())
    assert printed.exit_code == 0
    assert yaml.safe_load(printed.output) == manifest("socket")


def test_http_mode_takes_the_address() -> None:
    """Slack is told where to reach the bot."""
    arguments = ["slack-manifest", "--mode", "http", "--address", "https://bot.example.org/"]
    printed = CliRunner().invoke(coldframe, arguments, obj=State())
    assert yaml.safe_load(printed.output) == manifest("http", "https://bot.example.org")


@pytest.mark.parametrize("address", ["http://bot.example.org", "bot.example.org", "https://", "https://a.b/path"])
def test_an_address_that_slack_would_refuse_is_named(address: str) -> None:
    """Slack takes https only, and the path is the bot's own."""
    refused = CliRunner().invoke(coldframe, ["slack-manifest", "--mode", "http", "--address", address], obj=State())
    assert refused.exit_code == 2
    assert "--address" in refused.output


def test_an_address_that_would_be_ignored_is_refused() -> None:
    """Whoever gives one means HTTP."""
    arguments = ["slack-manifest", "--address", "https://bot.example.org"]
    refused = CliRunner().invoke(coldframe, arguments, obj=State())
    assert refused.exit_code == 2 and "--mode http" in refused.output
