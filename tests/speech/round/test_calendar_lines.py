"""A step's line in the calendar: until when at the latest, and if everybody is prompt."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from coldframe.message.nodes import plain
from coldframe.speech.people.time_words import latest_and_prompt

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.mark.parametrize(("prompt", "told"), [(NOW + HOUR, True), (NOW - HOUR, False), (NOW + 9 * HOUR, False)])
def test_an_earlier_end_is_told_while_it_can_come(prompt: datetime, told: bool) -> None:
    """Not when it has gone by, nor where it is no sooner."""
    assert ("(" in plain(latest_and_prompt(NOW + 9 * HOUR, prompt, NOW)).replace("(UTC)", "")) is told
