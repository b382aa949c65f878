"""Words of the command that open a form are known as such beforehand, by whichever platform has to open it in time."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from coldframe.engine.uses import USES
from coldframe.speech import surface
from tests.domain.play import F
from tests.engine.clockwork import running

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)


async def test_each_word_that_opens_a_form_alone_is_known(tmp_path: Path) -> None:
    """And no other: an argument behind it does the work without a form."""
    async with running(tmp_path, MONDAY) as team:
        opened = {word for word in USES.words if (await team.command(F, word)).form is not None}
    assert opened == surface.OPEN_FORMS
    assert surface.opens_form(" New ") and not surface.opens_form("away until next Monday")
