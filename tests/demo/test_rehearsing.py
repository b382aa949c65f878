"""A rehearsal on a question of one's own: one person starts it, the others do their part, and a whole round follows."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import pytest

from coldframe.chat.room.pacing import Pacer
from coldframe.cli.playing import ScenarioStage
from coldframe.cli.team import SAMPLE
from coldframe.clock import SystemClock
from coldframe.domain.names import RoundId, Step
from coldframe.message.pictures import Chart
from coldframe.players.hand import Hand, Screen
from coldframe.players.recasting import any_question, recast
from coldframe.players.summing import summed
from coldframe.ports.chat import Person
from tests.chat.room.samples import picture
from tests.demo.runs import scenario

QUESTION = "Why do allotments lie fallow in the second year?"
MOST_TURNS = 40


class GreyPen:
    """Draws at once."""

    async def draw(self, chart: Chart, form: Literal["png", "svg"] = "png") -> bytes:
        return picture()


def team_of(*ids: str) -> list[Person]:
    return [Person(one, one.title(), "Europe/London") for one in ids]


TEAMS = {
    "the demo's": [],
    "the room's": SAMPLE.persons(),
    "three": team_of("ann", "bob", "cleo"),
    "ten": team_of(*"abcdefghij"),
}


@pytest.mark.parametrize("who", TEAMS)
async def test_a_whole_round_on_ones_own_question(tmp_path: Path, who: str) -> None:
    """With levers of its own and whatever team, too. Each press that lets the others do their part says what they did;
    between them only the clock is moved."""
    base = recast(any_question(), TEAMS[who]) if TEAMS[who] else scenario("quillmarsh")
    stage = ScenarioStage(base, tmp_path, GreyPen())
    await stage.open()
    try:
        pacer = Pacer(stage, SystemClock())
        await pacer.settled()
        lead = await _begun(stage)
        told: list[str] = []
        drawn: set[str] = set()
        last = ""
        for _ in range(MOST_TURNS):
            await pacer.settled()
            if (round_ := await stage.round()) is None:
                break
            last = round_.id
            if round_.step is Step.COMMITMENT:
                drawn = await _drawn_on_the_bench(stage, lead)
            told.append(f"{round_.step}: {await pacer.others(round_.step.value, '')}")
            await pacer.jump()
        async with stage.house.store.begin() as uow:
            ended = await uow.round(RoundId(last))
        assert ended is not None and ended.step is Step.COMMITTED, told
        assert ended.settings.question == QUESTION and len(ended.notes) == 15
        assert [title for _, title in ended.settings.levers] == ["Digging", "Keeping"]
        assert "vote_ranking" in drawn
        assert "15 notes" in "".join(told) and "comparison" in "".join(told)
    finally:
        await stage.close()


async def test_whoever_rehearses_alone_and_gives_nothing_still_sees_the_ballot(tmp_path: Path) -> None:
    """What the others build on what that person would have told is done without it."""
    stage = ScenarioStage(recast(any_question(), TEAMS["the room's"]), tmp_path, GreyPen())
    await stage.open()
    try:
        pacer = Pacer(stage, SystemClock())
        await pacer.settled()
        me = await _begun(stage)
        for _ in range(MOST_TURNS):
            await pacer.settled()
            round_ = await stage.round()
            assert round_ is not None
            if round_.step is Step.BALLOT:
                break
            await pacer.others(round_.step.value, me)
            await pacer.jump()
        assert round_.step is Step.BALLOT and len(round_.plans) == 2
    finally:
        await stage.close()


async def _begun(stage: ScenarioStage) -> str:
    """The facilitator starts a round on a question of their own; who that is."""
    room, roles = stage.house.room, stage.scenario.roles
    lead = roles.facilitator
    form = (await room.command(lead, room.channel("growth"), "new")).form
    assert form is not None
    given = {
        "question": QUESTION,
        "levers": "Digging, Keeping",
        "name": "Ours",
        "decision_maker": roles.decision_maker,
    }
    given |= {"decision_deputy": roles.decision_deputy, "facilitator_deputy": roles.facilitator_deputy}
    answer = await room.submit(lead, form.action, form.value, given)
    assert not answer.errors, answer.errors
    await stage.settle()
    more_than_half = len(stage.scenario.team) == 3  # of the power has a vote that counts twice
    await Hand(room, lead, Screen(room)).press("round.confirm" if more_than_half else "round.start")
    return lead


@pytest.mark.parametrize("size", range(2, 13))
def test_nobody_is_their_own_deputy_in_a_team_of_any_size(size: int) -> None:
    """Where a deputy's part falls to whoever they stand in for, another has it; the others keep theirs."""
    team = team_of(*"abcdefghijkl"[:size])
    roles = recast(any_question(), team).roles
    assert (roles.facilitator, roles.decision_maker) == ("a", "b")
    assert roles.facilitator_deputy == (team[3].id if size > 3 else "b")
    assert roles.decision_deputy == (team[2].id if size > 2 else "a")


async def _drawn_on_the_bench(stage: ScenarioStage, lead: str) -> set[str]:
    """Which pictures lie before the facilitator while plans are chosen."""
    laid = await stage.house.room.bench.lay(lead)
    assert laid is not None
    results = [one for bar in laid["bars"] for one in bar["beside"] if one["what"] == "result"]
    return {file["picture"]["figure"]["kind"] for one in results for file in one["files"]}


def test_what_the_others_did_is_told_in_one_sentence() -> None:
    """By name, with what they gave; who only said that they are done gave nothing to count."""
    names = {"ann": "Ann", "bob": "Bob"}
    keys = ["ann/note/1", "ann/note/2", "ann/notes/done", "bob/note/3"]
    assert summed(keys, names) == "Ann and Bob did their part: 3 notes."
    assert summed(["bob/ballot/m1/0", "bob/ballot/lock"], names) == "Bob did their part: 1 vote."
    assert summed(["ann/plans/done"], names) == "Ann did their part."
    assert summed([], names) == "The others have nothing to do here just now."
