"""What somebody types into the setup form: wrong texts are told at their field, and no lever is lost."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import pytest

from bot.engine.setup import read_levers
from bot.ports import Reply
from tests.domain.play import DD, FD, D, F
from tests.engine.clockwork import Running, running

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
RIGHT = {
    "question": "Why do they go?",
    "name": "June",
    "levers": "Retention",
    "weight": "2",
    "decision_maker": D,
    "decision_deputy": DD,
    "facilitator_deputy": FD,
}


async def _sends(team: Running, fields: Mapping[str, str]) -> Reply:
    form = (await team.command(F, "new")).form
    assert form is not None
    reply = await team.house.room.submit(F, form.action, form.value, RIGHT | fields)
    await team.settle()
    return reply


async def _names(team: Running) -> list[str]:
    async with team.house.store.begin() as uow:
        return [head.name for head in await uow.heads("room", channel="growth")]


@pytest.mark.parametrize(
    ("field", "text", "says"),
    [
        ("question", "Why do\x07 they go?", "control characters"),
        ("question", "\u200b", "nothing readable"),
        ("name", "\u200b", "nothing readable"),
    ],
)
async def test_a_wrong_text_is_told_at_its_field(tmp_path: Path, field: str, text: str, says: str) -> None:
    """No round is made of it, and the sentence says why."""
    async with running(tmp_path, MONDAY) as team:
        reply = await _sends(team, {field: text})
        assert list(reply.errors) == [field]
        assert says in reply.errors[field]
        assert await _names(team) == ["name of r1"]


async def test_a_name_that_is_taken_gets_a_number(tmp_path: Path) -> None:
    """Two rounds of a channel are never called the same, signs of ids in a name included."""
    async with running(tmp_path, MONDAY) as team:
        for _ in range(2):
            assert (await _sends(team, {"name": "June | north/south"})).errors == {}
        assert sorted(await _names(team)) == ["June | north/south", "June | north/south 2", "name of r1"]


def test_every_lever_is_kept_once() -> None:
    """Names that differ only in letters outside ASCII are levers of their own; the same name twice is one."""
    assert [name for _, name in read_levers("Über, Äber, über, Привлечение, Удержание")] == [
        "Über",
        "Äber",
        "Привлечение",
        "Удержание",
    ]
    ids = [key for key, _ in read_levers("Über, Äber, Привлечение, Удержание")]
    assert len(set(ids)) == 4
    assert [key for key, _ in read_levers("Acquisition, Retention, retention")] == ["acquisition", "retention"]
