"""Before a round starts the bot looks whether it can: what has no other way stops the start, the rest is told."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.message.nodes import Buttons
from coldframe.ports.chat import Capabilities, Denial
from tests.domain.play import DD, EVERYBODY, FD, D, F
from tests.engine.clockwork import Running, running

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
SAM = EVERYBODY[5]
CHANNEL = "growth"
INVITATION = "/let in @coldframe"
RIGHT = {
    "question": "Why do they go?",
    "name": "June",
    "levers": "Retention",
    "weight": "2",
    "decision_maker": D,
    "decision_deputy": DD,
    "facilitator_deputy": FD,
}


async def proposed(team: Running) -> Round:
    """A round that its facilitator has set up and not started."""
    team.house.room.capabilities = Capabilities(invitation=INVITATION)
    form = (await team.command(F, "new")).form
    assert form is not None
    assert not (await team.house.room.submit(F, form.action, form.value, RIGHT)).errors
    await team.settle()
    return await june(team)


async def june(team: Running) -> Round:
    async with team.house.store.begin() as uow:
        head = next(h for h in await uow.heads("room", channel=CHANNEL) if h.name == "June")
        found = await uow.round(head.id)
    assert found is not None
    return found


async def starts(team: Running) -> Step:
    """Presses the newest Start that stands there; returns where the round is then."""
    buttons = [b for _, m in team._cards(F) for block in m.blocks if isinstance(block, Buttons) for b in block.buttons]
    start = next(b for b in buttons if b.action == "round.start")
    await team.press(F, "round.start", start.value)
    return (await june(team)).step


HARD = {
    Denial.NOT_IN_CHANNEL: ["not in #growth", f"Type {INVITATION} there"],
    Denial.NO_POST: ["may not post in #growth"],
}


@pytest.mark.parametrize("what", HARD)
async def test_what_has_no_other_way_keeps_the_round_from_starting(tmp_path: Path, what: Denial) -> None:
    """The facilitator reads what is missing and what to do; once it is put right the same button starts the round."""
    async with running(tmp_path, MONDAY) as team:
        await proposed(team)
        team.house.room.faults.deny(what, CHANNEL)
        assert await starts(team) is Step.SETUP
        assert [words for words in HARD[what] if words not in team.told(F)[-1]] == []
        team.house.room.faults.clear()
        assert await starts(team) is Step.NOTES


async def test_the_proposal_tells_beforehand_and_its_button_knows(tmp_path: Path) -> None:
    """What is told on the proposal is not asked about once more; the person is named to the facilitator alone."""
    async with running(tmp_path, MONDAY) as team:
        for what, where in ((Denial.NO_FILES, CHANNEL), (Denial.NO_DIRECT, SAM)):
            team.house.room.faults.deny(what, where)
        name = (await proposed(team)).name_of(SAM)
        proposal = next(w for w in team.told(F) if "June is ready to start" in w)
        assert "Before you start:" in proposal
        assert f"I can't reach {name} privately" in proposal and "come as text" in proposal
        assert await starts(team) is Step.NOTES
        others = [w for person in (D, DD, FD) for w in team.told(person)]
        assert not [w for w in others if "reach" in w and name in w]


async def test_what_came_up_since_is_asked_about_once(tmp_path: Path) -> None:
    """The round waits for a second press, which says that it goes on all the same."""
    async with running(tmp_path, MONDAY) as team:
        await proposed(team)
        team.house.room.faults.deny(Denial.NO_FILES, CHANNEL)
        assert await starts(team) is Step.SETUP
        assert "June hasn't started yet" in team.told(F)[-1] and "come as text" in team.told(F)[-1]
        assert await starts(team) is Step.NOTES


async def test_whoever_may_not_start_is_told_that_first(tmp_path: Path) -> None:
    """A press of somebody else is refused by the rules before the platform is asked."""
    async with running(tmp_path, MONDAY) as team:
        made = await proposed(team)
        team.house.room.faults.add("refuse", times=9, on=("check",))
        await team.house.room.press(D, None, "round.start", made.id, forged=True)
        await team.settle()
        assert "for the facilitator" in team.told(D)[-1]
        assert team.house.room.faults.met == 0
        assert (await june(team)).step is Step.SETUP


@pytest.mark.parametrize("what", HARD)
async def test_on_its_date_it_is_looked_at_again(tmp_path: Path, what: Denial) -> None:
    """What went wrong since the date was set is told to the facilitator, and the round waits for them."""
    async with running(tmp_path, MONDAY) as team:
        made = await proposed(team)
        assert not await team.fill(F, "round.start_on", {"date": "2026-03-05"}, made.id)
        team.house.room.faults.deny(what, CHANNEL)
        await team.until(datetime(2026, 3, 6, tzinfo=UTC))
        assert (await june(team)).step is Step.SETUP
        told = next(w for w in reversed(team.told(F)) if "couldn't start on its date" in w)
        assert [words for words in HARD[what] if words not in told] == []
        team.house.room.faults.clear()
        assert await starts(team) is Step.NOTES


async def test_on_its_date_it_starts_without_what_has_another_way(tmp_path: Path) -> None:
    """Nobody is there to press, so it starts, and the facilitator hears what goes another way."""
    async with running(tmp_path, MONDAY) as team:
        made = await proposed(team)
        assert not await team.fill(F, "round.start_on", {"date": "2026-03-05"}, made.id)
        team.house.room.faults.deny(Denial.NO_FILES, CHANNEL)
        await team.until(datetime(2026, 3, 5, 23, tzinfo=UTC))
        assert (await june(team)).step is Step.NOTES
        assert any("June has started, but not all is well" in w and "come as text" in w for w in team.told(F))


async def test_a_date_is_not_taken_where_the_bot_is_not_let_in(tmp_path: Path) -> None:
    """It would not start on that day either, so it is said at once."""
    async with running(tmp_path, MONDAY) as team:
        made = await proposed(team)
        team.house.room.faults.deny(Denial.NOT_IN_CHANNEL, CHANNEL)
        wrong = await team.fill(F, "round.start_on", {"date": "2026-03-05"}, made.id)
        assert INVITATION in wrong["date"]
        team.house.room.faults.clear()
        await team.until(datetime(2026, 3, 6, tzinfo=UTC))
        assert (await june(team)).step is Step.SETUP


async def test_the_start_on_a_date_waits_out_an_outage(tmp_path: Path) -> None:
    """A platform that does not answer is no refusal: the round starts as soon as it can be asked."""
    async with running(tmp_path, MONDAY) as team:
        made = await proposed(team)
        assert not await team.fill(F, "round.start_on", {"date": "2026-03-05"}, made.id)
        team.house.room.faults.add("refuse", times=1, on=("check",))
        for _ in range(2):
            try:
                await team.until(datetime(2026, 3, 5, 23, tzinfo=UTC))
            except Exception:  # the alarm logs it and comes again after the lease
                continue
        assert (await june(team)).step is Step.NOTES
        assert team.house.room.faults.met == 1


async def test_new_where_the_bot_is_not_let_in_says_what_to_type(tmp_path: Path) -> None:
    """No form is opened for a round that could not start."""
    async with running(tmp_path, MONDAY) as team:
        team.house.room.capabilities = Capabilities(invitation=INVITATION)
        team.house.room.faults.deny(Denial.NOT_IN_CHANNEL, CHANNEL)
        reply = await team.command(F, "new")
        assert reply.form is None and reply.note is not None
        assert INVITATION in str(reply.note)
