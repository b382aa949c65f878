"""Forecasts, fears and learnings before they are shown: in no file, on nobody else's screen, in nobody else's export or
calendar, nor in the team's."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, PlanId
from coldframe.domain.round.choosing import AnnounceChoice, ChoosePlan
from coldframe.domain.round.commitment import Forecast
from coldframe.domain.trial.commands import Learn
from coldframe.engine.core.turn import Turn
from tests.domain.play import FD, D, F
from tests.engine.seeing_through import CHANNEL, Team, a_team
from tests.feeds.test_feed import client_of, path_of

INES, JON = MemberId("ines"), MemberId("jon")
CANARY = "canary nobody else may read"


async def _screens(team: Team, others: tuple[MemberId, ...]) -> str:
    """All that these people can read: messages, passing words, files in their messages and in the channel."""
    room = team.house.room
    places = [room.channel(CHANNEL), *(room.direct(person) for person in others)]
    said: list[str] = []
    for record in (each for place in places for each in room.messages(place)):
        said.append(f"{record.text} {record.message}")
        for file in record.files:
            found = room.log.file(file.id)
            said.append(found[2].decode("utf-8", "replace") if found is not None else "")
    return "\n".join([*said, *(str(note.message) for person in others for note in room.notes(person))])


async def _calendars(team: Team, others: tuple[MemberId, ...]) -> str:
    async with client_of(team) as client:
        return "\n".join([await (await client.get(await path_of(team, person))).text() for person in others])


async def _found(team: Team, folder: Path) -> list[str]:
    """Where it can be read, by somebody else than Jon."""
    others = (F, D, FD, INES)
    for person in others:
        await team.command(person, "export", channel=False)
    await team.command(F, "team")
    await team.press(F, "team.export")
    raw = b"".join(file.read_bytes() for file in folder.rglob("*.db*"))
    places = {
        "files": raw.decode("latin-1"),
        "screens and exports": await _screens(team, others),
        "calendars": await _calendars(team, others),
    }
    return [where for where, text in places.items() if CANARY in text]


async def test_forecasts_and_fears_before_the_seal(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """They are Jon's own; his export has them."""
    caplog.set_level(logging.DEBUG)
    async with a_team(tmp_path, sealed=False) as team:
        plan = PlanId("p0")
        await team.act("choose", ChoosePlan(F, plan, running_trials=0))
        if not (await team.current()).choices[plan].announced:
            await team.act("announce", AnnounceChoice(BOT, plan))
        await team.act("fears", Forecast(JON, plan, 37, CANARY))
        assert await _found(team, tmp_path) == []
        await team.command(JON, "export", channel=False)
        assert CANARY in await _screens(team, (JON,))
    assert CANARY not in caplog.text


async def test_learnings_before_the_review_is_closed(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Nor what was feared by too few to be shown, which stays its writer's."""
    caplog.set_level(logging.DEBUG)
    async with a_team(tmp_path, chances={JON: 70}, fears=(CANARY,)) as team:
        await team.weeks(1)
        trial = await team.trial()
        assert set(trial.feared) == {JON}

        async def work(turn: Turn) -> None:
            await turn.act_on_trial(await turn.trial(trial.id), Learn(JON, CANARY))

        await team.house.engine.act("learns", work)
        await team.settle()
        assert await _found(team, tmp_path) == []
    assert CANARY not in caplog.text
