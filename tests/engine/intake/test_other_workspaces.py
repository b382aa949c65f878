"""A button or form from another workspace reaches no round, even where the ids of person and round are the same."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import NoteId, PlanId, Side, Step
from coldframe.domain.round.notes import WriteNote
from coldframe.engine.trial.places import trial_id
from coldframe.message.packed import ButtonValue
from coldframe.ports.chat import Happening, Inbound, Place, Pressed, Submitted
from tests.domain.play import FD, RETENTION, D, F, a_round
from tests.engine.clockwork import running
from tests.engine.reaching import at_step

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
NOTE = {"lever": "retention", "side": "restraining", "text": "From elsewhere"}
ACTS: dict[str, Happening] = {
    "close": Pressed("step.close", "r1"),
    "extend": Pressed("step.extend", "r1"),
    "consent": Pressed("note.consent", "r1"),
    "hold-up": Pressed("holdup.away", f"r1|notes|{D}"),
    "note": Submitted("note.write", "r1", NOTE),
    "cancel": Submitted("round.cancel", ButtonValue("r1", made_for="focus").pack(), {"reason": "From elsewhere"}),
    "trial": Pressed("trial.log", f"{trial_id(a_round(), PlanId('p0'))}|1"),
}


@pytest.mark.parametrize("what", ACTS.values(), ids=ACTS)
async def test_nothing_is_done_for_another_workspace(tmp_path: Path, what: Happening) -> None:
    """The person is told that they take no part, and the round stays as it was."""
    async with running(tmp_path, MONDAY) as team:
        for number, member in enumerate((F, D, FD)):
            note = WriteNote(member, NoteId(f"n{number}"), RETENTION, Side.RESTRAINING, "Ours")
            await team.act(f"note{number}", note)
        before = await team.current()
        place = Place("elsewhere", "channel", "growth")
        reply = await team.house.engine.receive(Inbound("other:1", F, place, MONDAY, what))
        await team.settle()
        assert reply.form is None
        assert await team.current() == before


async def test_the_same_acts_count_in_the_rounds_own_workspace(tmp_path: Path) -> None:
    """What is refused above is refused for the workspace alone."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        place = Place("room", "channel", "growth")
        event = Inbound("own:1", F, place, MONDAY, ACTS["cancel"])
        await team.house.engine.receive(event)
        assert (await team.current()).step is Step.CANCELLED
