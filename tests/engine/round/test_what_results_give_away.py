"""An adversary reads what the bot really published of a count: the message, the picture's words, the export, the
digest. They know their own ballot, and ask which ballots of the others would have made the bot say exactly this."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, Step
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.moves import Close
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.reopening import OpenAgain
from coldframe.speech.register.round_data import round_data
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, D, F, a_plan
from tests.engine.clockwork import Running, running
from tests.engine.reaching import reach
from tests.engine.seeing_through import CHANNEL, words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
RESULTS = ("The dots are counted", "The ballot is counted")


async def _published(folder: Path, step: Step, votes: Sequence[Sequence[int]]) -> list[str]:
    """All that is told of this count in a team of as many people, on every surface. The second decides."""
    team_of = {m: WorkingCalendar() for m in EVERYBODY[: len(votes)]}
    async with running(folder, MONDAY, team_of, weight_confirmed=True) as team:
        await reach(team, Step.PLANS if step is Step.BALLOT else Step.DOTS)
        if step is Step.BALLOT:
            await team.act("plans", *(HandInPlan(m, a_plan(f"p{n}")) for n, m in enumerate(EVERYBODY[:3])), Close(F))
            opens = (await team.current()).progress.opens
            assert opens is not None
            await team.until(opens)
        round_ = await team.current()
        options = round_.plan_order if step is Step.BALLOT else [f.id for f in round_.forces]
        await team.act("vote", *_marks(list(team_of), sorted(options), votes))
        await team.act("count", Close(F))
        return await _surfaces(team)


def _marks(people: Sequence[MemberId], options: Sequence[str], votes: Sequence[Sequence[int]]) -> list[CastVote]:
    return [
        CastVote(person, options[chosen], "button")
        for person, mine in zip(people, votes, strict=True)
        for chosen in mine
    ]


async def _surfaces(team: Running) -> list[str]:
    records = team.house.room.log.messages(team.house.room.channel(CHANNEL))
    said = [words(r.message) for r in records if r.message is not None]
    pictures = [f.alternative for r in records for f in r.files]
    await team.command(F, "digest", channel=False)
    digest = next(w for w in reversed(team.told(F)) if "Digest" in w)
    export = round_data(await team.current())
    found = [*said, *pictures, digest, str(export["forces"]), str(export["ballot"])]
    assert any(text.startswith(RESULTS) for text in found), found
    return found


# Members in the order of EVERYBODY: the facilitator, the decision-maker, then the others.
ALIKE_IN_PLACES = [
    ((0, 1), (0, 0), (0, 1)),
    ((0, 1), (0,), (0, 0)),
    ((0, 1), (0, 1), (0,)),
]
"""Teams of three with the same ballot of the facilitator and the same places (the first plan, the second, the third),
and with different ballots of both others; votes unused, for own plans and of different people differ as well."""


async def test_three_people_learn_no_more_than_the_places(tmp_path: Path) -> None:
    """Whatever the others voted, as long as the places are the same every surface says the very same."""
    found = []
    for number, votes in enumerate(ALIKE_IN_PLACES):
        (tmp_path / str(number)).mkdir()
        found.append(await _published(tmp_path / str(number), Step.BALLOT, votes))
    assert found[0] == found[1] == found[2]
    assert any("I show places only" in text for text in found[0])
    other = tmp_path / "other"
    other.mkdir()
    assert await _published(other, Step.BALLOT, ((0, 1), (2, 2), (2, 2))) != found[0]


@pytest.mark.parametrize("step", [Step.DOTS, Step.BALLOT])
async def test_six_people_learn_no_more_than_the_figures(tmp_path: Path, step: Step) -> None:
    """The same sums from other ballots, by other people, for other people's plans: the same words everywhere."""
    first = ((0, 0), (1,), (0, 1), (0, 1), (2, 2), (0, 2))
    other = ((0, 1), (1,), (0, 0), (1, 0), (2, 0), (2, 2))
    found = []
    for number, votes in enumerate((first, other)):
        (tmp_path / str(number)).mkdir()
        found.append(await _published(tmp_path / str(number), step, votes))
    assert found[0] == found[1]
    assert any("; the voters" in text for text in found[0])
    assert not any("own" in text and "vote" in text for text in found[0] if text.startswith(RESULTS))


@pytest.mark.parametrize("step", [Step.DOTS, Step.BALLOT])
async def test_a_count_after_another_one_tells_places_only(tmp_path: Path, step: Step) -> None:
    """Else whoever alone votes otherwise than before is read off the difference, both ballots of theirs; and the one
    whom the facilitator took off the roster in between."""
    votes = ((0, 0), (1,), (0, 1), (0, 1), (2, 2), (0, 2))
    team_of = {m: WorkingCalendar() for m in EVERYBODY[:6]}
    async with running(tmp_path, MONDAY, team_of, weight_confirmed=True) as team:
        await _counted(team, step, list(team_of), votes)
        assert any(" | " in text and "; the voters" in text for text in await _surfaces(team))
        await team.act("again", OpenAgain(F, step))
        await team.settle()
        said = len(team.channel())
        await _counted(team, step, list(team_of), (*votes[:5], (1, 1)))
        (result,) = [text for text in team.channel()[said:] if text.startswith(RESULTS)]
        assert "beside the figures of the count before" in result
        assert not [line for line in result.splitlines() if line.count(" | ") > 2]
        data = round_data(await team.current())
        told = data["forces"] if step is Step.DOTS else data["ballot"]
        assert "dots" not in str(told) and "group" not in str(told)


async def _counted(team: Running, step: Step, people: list[MemberId], votes: Sequence[Sequence[int]]) -> None:
    await reach(team, step)
    round_ = await team.current()
    assert round_.progress.opens is not None
    await team.until(max(team.clock.now(), round_.progress.opens))
    options = round_.plan_order if step is Step.BALLOT else [f.id for f in round_.forces]
    again = str(len(team.channel()))
    await team.act(f"vote/{again}", *_marks(people, sorted(options), votes))
    await team.act(f"count/{again}", Close(F))
    await team.settle()


async def test_the_figures_that_are_told_are_the_votes(tmp_path: Path) -> None:
    """What is read off the posted table is the sum of the ballots, the decision-maker's apart."""
    votes = ((0, 0), (1,), (0, 1), (0, 1), (2, 2), (0, 2))
    found = await _published(tmp_path, Step.BALLOT, votes)
    result = next(text for text in found if text.startswith(RESULTS[1]))
    rows = [line.split(" | ") for line in result.splitlines() if line.count(" | ") == 4]
    assert sorted(tuple(map(int, row[2:])) for row in rows) == sorted([(5, 0, 5), (2, 1, 4), (3, 0, 3)])
    assert EVERYBODY[1] == D
