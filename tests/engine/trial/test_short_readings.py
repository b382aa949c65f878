"""The answer to a week's numbers is a few lines; the rest stands behind a button, in the same message."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from coldframe.chat.room.records import Record
from coldframe.players.hand import buttons_of
from coldframe.ports.follow_through import Wanted
from coldframe.render.room import message_text
from tests.domain.play import D
from tests.engine.seeing_through import CHANNEL, Team, a_team

HOUR = timedelta(hours=1)
LINES = 5


def _reading(team: Team) -> Record:
    room = team.house.room
    readings = [r for r in room.messages(room.direct(D)) if r.message is not None and "Progress so far" in _text(r)]
    return readings[-1]


def _text(record: Record) -> str:
    assert record.message is not None
    return message_text(record.message)


async def test_a_weekly_reading_is_five_lines_and_shows_more_in_place(tmp_path: Path) -> None:
    """What was understood, what it comes to, and how it may end; the measure, the evidence and cautions when asked."""
    async with a_team(tmp_path) as team:
        for week, numbers in ((1, "control 400/80, trial 390/96"), (2, "control 380/79, trial 400/99")):
            await team.weeks(week, at=HOUR)
            await team.say(D, f"week {week}: {numbers}")
        short = _reading(team)
        said = [row for row in _text(short).split("\n") if not row.startswith("[")]
        assert len(said) <= LINES, said
        assert "I noted: week 2" in _text(short) and "Difference: " in _text(short)
        assert "Measure: " not in _text(short)
        count = len(team.told(D))
        await team.press(D, "trial.more")
        full = _reading(team)
        assert full.id == short.id and len(team.told(D)) == count
        assert "Measure: " in _text(full) and "Evidence: " in _text(full) and "Weeks: 2 of" in _text(full)
        assert "trial.more" not in [b.action for b in buttons_of(full)]


async def test_the_chance_takes_the_teams_own_record_in(tmp_path: Path) -> None:
    """What was judged here and came to a verdict counts: not what was brought in, nor what could not tell."""
    async with a_team(tmp_path) as team:
        async with team.house.store.begin() as uow:
            (known,) = await uow.search("room", [CHANNEL], Wanted())
            for number, verdict in enumerate(("reached", "better", "not reached", "worse", "cannot tell")):
                await uow.enter(replace(known, trial_id=f"t{number}", verdict=verdict, decision="stop"))
            await uow.enter(replace(known, trial_id="b", verdict="reached", decision="stop", brought="an old sheet"))
        await team.weeks(1, at=HOUR)
        await team.say(D, "week 1: control 400/80, trial 390/88")
        await team.press(D, "trial.more")
        assert "elsewhere one idea in ten to one in three works, here 2 of 4 trials showed" in _text(_reading(team))
