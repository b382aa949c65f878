"""What must be seen no more: the words of a hidden note, and the buttons of a round that has ended."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.round.choosing import AskOwner, ChoosePlan
from coldframe.domain.round.moves import Cancel
from coldframe.render.room import message_text
from tests.domain.play import D, F
from tests.engine.clockwork import Running
from tests.engine.reaching import TOPICS, at_step, reach, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")
SECRET = TOPICS[1]


def _said_anywhere(team: Running) -> list[str]:
    room = team.house.room
    places = [room.channel(team.round.channel), *(room.direct(m) for m in (F, D, JON))]
    said = [repr(r.message) for place in places for r in room.messages(place) if r.by_bot]
    return [words for words in said if SECRET in words and "what drives us?" not in words]


@pytest.mark.parametrize("step", [Step.FOCUS, Step.MERGE, Step.DOTS, Step.PRECEDENTS])
async def test_a_hidden_note_is_taken_out_wherever_it_stood(tmp_path: Path, step: Step) -> None:
    """Its words vanish from the lists, the merge, everybody's ballot and the questions, in every later step too."""
    async with at_step(tmp_path, MONDAY, step) as team:
        assert _said_anywhere(team)
        await team.command(F, f"hide {SECRET}")
        left = [w for w in _said_anywhere(team) if "Forces by dots" not in w]
        assert not left
        if step is Step.FOCUS:
            await reach(team, Step.PRECEDENTS)
            assert not _said_anywhere(team)


async def test_a_hidden_note_is_taken_out_of_what_a_step_has_left(tmp_path: Path) -> None:
    """The question that came of it stays in the channel when its step is over, without these words."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        (question,) = (await team.current()).questions
        text = (await team.current()).force_text(question.force)
        assert text in _question(team)
        await team.command(F, f"hide {text}")
        assert text not in _question(team)


def _question(team: Running) -> str:
    """The question's card, which says what it comes from."""
    room = team.house.room
    said = [message_text(r.message) for r in room.messages(room.channel(team.round.channel)) if r.message]
    return next(words for words in said if "comes from" in words)


async def test_a_round_cancelled_at_its_commitment_leaves_no_button(tmp_path: Path) -> None:
    """The commitment's card says that it is closed; nothing can be chosen on it any more."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        team.button(F, "choice.make")
        await team.act("end", ChoosePlan(F, PlanId("p0")), Cancel(F, "No budget."))
        with pytest.raises(LookupError):
            team.button(F, "choice.make")


async def test_an_offer_to_own_says_what_it_means(tmp_path: Path) -> None:
    """An offer is noted as one; for somebody who was asked already it is their yes, and they hear what comes next."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        await team.act("choose", ChoosePlan(F, PlanId("p0")))
        await team.press(D, "owner.offer")
        assert told(team, D)[-1].startswith("Noted")
        await team.act("ask", AskOwner(F, PlanId("p0"), JON))
        await team.press(JON, "owner.offer", "r1|p0")
        assert any(words.startswith("Thank you, you own it now") for words in told(team, JON))
