"""A result stands in the channel before the card of the step that follows it, whatever holds the result up."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from coldframe.domain.names import Step
from coldframe.domain.round.moves import Pause, Resume
from coldframe.engine.worker import explaining
from tests.domain.play import F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, in_channel, reach, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
BROUGHT = {
    Step.FOCUS: "reveal",
    Step.MERGE: "focus",
    Step.DOTS: "merged",
    Step.QUESTIONS: "result/dots",
    Step.PRECEDENTS: "question/q1",
    Step.BALLOT: "plans",
    Step.PLACEMENT: "result/ballot",
    Step.COMMITMENT: "result/matrix",
}
"""What the channel hears before the card of each step, by the name of the message."""


async def _place(team: Running, name: str) -> int:
    """Where in the channel the message of this name stands."""
    async with team.house.store.begin() as uow:
        posted = await uow.posted(f"r1/{name}")
    assert posted is not None, name
    room = team.house.room
    return [r.id for r in room.messages(room.channel(team.round.channel))].index(posted.message_id)


def _cards(team: Running, step: Step) -> int:
    return len([w for w in in_channel(team) if w.startswith(f"name of r1, {step.value}: ")])


async def test_each_result_stands_before_the_card_that_follows_it(tmp_path: Path) -> None:
    """In every step of a whole round."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        for step, result in BROUGHT.items():
            assert await _place(team, result) < await _place(team, f"card/{step.value}"), step


@pytest.mark.parametrize(
    ("before", "step", "plainly"),
    [
        (Step.DOTS, Step.QUESTIONS, "The dots are counted: "),
        (Step.BALLOT, Step.PLACEMENT, "The ballot is counted: Title of p"),
    ],
)
async def test_a_result_that_cannot_be_reckoned_is_told_plainly_and_the_card_comes(
    tmp_path: Path, before: Step, step: Step, plainly: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who counted what is known without the heavy numbers; only how sure it is cannot be said."""
    async with at_step(tmp_path, MONDAY, before) as team:

        async def broken(function: Callable[..., Any], *args: object) -> Any:
            if function is explaining.sureness:
                raise RuntimeError("the worker died")
            return function(*args)

        monkeypatch.setattr(team.house.kit.numbers, "compute", broken)
        await reach(team, step)
        (result,) = [words for words in team.channel() if words.startswith(plainly)]
        assert "I couldn't work out how sure this is." in result
        assert await _place(team, BROUGHT[step]) < await _place(team, f"card/{step.value}")


async def test_a_result_in_the_hands_of_somebody_else_holds_the_card_back(tmp_path: Path) -> None:
    """Another replica has taken the row and died: the card waits until the result is told after all."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        kit = team.house.kit
        settle = team.house.engine.settle

        async def taken() -> datetime | None:
            while (waiting := await kit.store.waiting()).row is not None and waiting.row.at <= team.clock.now():
                if waiting.row.kind == "explain dots":
                    assert await kit.store.claim_due(team.clock.now()) is not None
                    break
                await team.house.engine._do_next(waiting)
            return await settle()

        team.house.engine.settle = taken  # type: ignore[method-assign]
        await reach(team, Step.QUESTIONS)
        assert _cards(team, Step.QUESTIONS) == 0
        assert not [w for w in in_channel(team) if "The dots are counted" in w]
        team.house.engine.settle = settle  # type: ignore[method-assign]
        await team.until(team.clock.now() + timedelta(minutes=5))
        assert await _place(team, "result/dots") < await _place(team, "card/questions")
        assert _cards(team, Step.QUESTIONS) == 1
        assert len([w for w in told(team, F) if "forces" in w and "question" in w.lower()]) == 1


async def test_a_pause_before_the_card_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The round rests between the close and the card: the card comes when it goes on, once."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        settle, paused = team.house.engine.settle, False

        async def rests_first() -> datetime | None:
            nonlocal paused
            if not paused and (await team.current()).step is Step.QUESTIONS:
                paused = True
                await team.act("rest", Pause(F))
            return await settle()

        team.house.engine.settle = rests_first  # type: ignore[method-assign]
        await reach(team, Step.QUESTIONS)
        assert await _place(team, "result/dots") > 0
        assert _cards(team, Step.QUESTIONS) == 0
        await team.act("go on", Resume(F))
        assert _cards(team, Step.QUESTIONS) == 1
