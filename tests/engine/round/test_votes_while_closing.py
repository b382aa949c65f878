"""A vote that comes while the platform is being read for the close."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from coldframe.domain.names import MemberId, Step
from coldframe.domain.round.ballots import CastVote
from coldframe.engine.core.turn import Turn
from tests.domain.play import FD, D, F
from tests.engine.reaching import at_step

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")


async def test_a_vote_newer_than_the_reading_is_not_overwritten_by_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The reading shows how it was a moment ago; whose ledger moved meanwhile keeps what came in."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        round_ = await team.current()
        option = round_.forces[0].id
        await team.act("votes", *(CastVote(m, option, "button") for m in (F, D, FD)))
        read = team.house.kit.chat.reactions
        came = []

        async def cast(turn: Turn) -> None:
            await turn.act(await turn.round("r1"), CastVote(JON, option, "🌿"))

        async def reactions(place: Any, *args: Any) -> Any:
            shown = await read(place, *args)
            if not came and place.id == JON:
                came.append(JON)
                await team.house.engine.act("newer", cast)
            return shown

        monkeypatch.setattr(team.house.kit.chat, "reactions", reactions)
        await team.command(F, "close")
        await team.command(F, "announce")
        after = await team.current()
        assert after.step is Step.QUESTIONS
        assert next(s.weighted for s in after.forces_standing if s.option == option) == 4
