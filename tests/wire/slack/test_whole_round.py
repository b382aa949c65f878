"""A whole round over real HTTP and a real websocket, as eight people, with and without faults."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bot.domain.names import Step
from tests.wire.slack.whole_round import at_work


@pytest.mark.slow
@pytest.mark.parametrize("mode", ["socket", "http"])
async def test_a_round_from_the_command_to_the_commitment(tmp_path: Path, mode: Any) -> None:
    """Every step through Slack's own surfaces, and nothing that the bot sends is refused by the workspace."""
    async with at_work(tmp_path, mode) as there:
        await there.set_up()
        round_ = await there.play()
        assert round_.step is Step.COMMITTED
        assert there.workspace.complaints == []
