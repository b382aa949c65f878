"""However long the bot was away, what people did meanwhile comes to the same as if it had been there."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from contextlib import AbstractAsyncContextManager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from coldframe.domain.names import Step
from coldframe.message.packed import ButtonValue
from tests.domain.play import EVERYBODY, FD, D, F
from tests.engine.absence.hands import LENGTHS, MONDAY, Hands, away, closed, read_by, there
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step

While = Callable[[Running, timedelta], AbstractAsyncContextManager[None]]
Play = Callable[[Path, While, timedelta], Awaitable[Any]]
FOURTH, FIFTH, SIXTH = EVERYBODY[3:6]
A_DAY = timedelta(days=1)  # the step is still open after less


async def notes(folder: Path, meanwhile: While, length: timedelta) -> Any:
    """What is revealed, and what each writer's own list shows before it."""
    async with at_step(folder, MONDAY, Step.NOTES) as team:
        hands = Hands(team)
        kept = await hands.writes(F, "- retention: nobody rings back")
        wrong = await hands.writes(D, "- retention: the bil is late")
        gone = await hands.writes(FD, "- retention: told in anger")
        many = await hands.writes(FOURTH, "- retention: slow pages\n- retention: no pause button")
        unclear = await hands.writes(FIFTH, "people forget us")
        thrown = await hands.writes(FIFTH, "something vague")
        sheet = await hands.message("ask", D, "notes")
        await team.settle()
        async with meanwhile(team, length):
            await hands.edits(D, wrong, "- retention: the bill is late")
            await hands.erases(FD, gone)
            await hands.edits(FOURTH, many, "- retention: slow pages\n+ retention: friendly people")
            await hands.edits(FIFTH, unclear, "- retention: people forget us")
            await hands.erases(FIFTH, thrown)
            await hands.writes(FD, "- retention: no way to pause")
            added = await hands.writes(D, "- retention: too many mails", thread=sheet)
            twice = await hands.writes(F, "- retention: first wording")
            await hands.edits(F, twice, "- retention: second wording")
            await hands.edits(F, twice, "- retention: third wording")
            await hands.erases(FIFTH, await hands.writes(FIFTH, "- retention: written and deleted"))
            assert kept != added
        lists = {person: _own_notes(read_by(team, person)) for person in (F, D, FD, FIFTH)}
        await closed(team, Step.NOTES)
        round_ = await team.current()
        assert length > A_DAY or all(lists.values())
        shown = sorted((n.lever, n.side.value, n.text) for n in (round_.notes[i] for i in round_.revealed))
        assert len(shown) == 8 and not round_.drafts
        return shown, lists if length < A_DAY else None


def _own_notes(read: list[str]) -> list[str]:
    """The lines of one's sheet that hold one's notes; none once its step is over."""
    sheet = next((words for words in read if "Your notes" in words), "")
    return [row for row in sheet.split("\n") if row.startswith(("− ", "+ "))]


async def dots(folder: Path, meanwhile: While, length: timedelta) -> Any:
    """How the forces stand, and how many dots were not used."""
    async with at_step(folder, MONDAY, Step.DOTS) as team:
        return await _votes(team, meanwhile, length, [str(f.id) for f in (await team.current()).forces])


async def ballot(folder: Path, meanwhile: While, length: timedelta) -> Any:
    """How the plans stand."""
    async with at_step(folder, MONDAY, Step.BALLOT) as team:
        round_ = await team.current()
        assert round_.progress.opens is not None
        await team.until(round_.progress.opens)
        return await _votes(team, meanwhile, length, [str(p) for p in round_.plan_order])


async def _votes(team: Running, meanwhile: While, length: timedelta, options: list[str]) -> Any:
    """Emoji and buttons before; emoji added, taken and moved meanwhile; one more vote than there is, too."""
    hands = Hands(team)
    first, second, third = options[:3]
    step = (await team.current()).step
    for person in (F, D, FD, FOURTH):
        await hands.reacts(person, first, "🌿")
    await team.press(FIFTH, "vote.cast", ButtonValue("r1", (second,), step.value).pack())
    await team.settle()
    async with meanwhile(team, length):
        await hands.reacts(F, first, "🌿", added=False)
        await hands.reacts(F, second, "🌱")
        await hands.reacts(D, third, "🌵")
        await hands.reacts(FD, first, "🌿", added=False)
        await hands.reacts(FIFTH, third, "🍁")
        await hands.reacts(SIXTH, third, "🌳")
        await hands.reacts(SIXTH, third, "🍄")
        if step is Step.DOTS:
            await hands.reacts(SIXTH, third, "🌻")
    round_ = await team.current()
    ledger = round_.dots if step is Step.DOTS else round_.ballot
    assert ledger is not None
    marks = {voter: sorted((m.option, m.sign) for m in mine) for voter, mine in ledger.marks.items()}
    rows = {person: [row for w in read_by(team, person) for row in w.split("\n")] for person in round_.active()}
    cards = {person: [row for row in read if "from you" in row] for person, read in rows.items()}
    many = "3 dots" if step is Step.DOTS else "2 votes"
    assert length > A_DAY or any(many in w for w in cards[SIXTH])
    await closed(team, step)
    after = await team.current()
    standing = after.forces_standing if step is Step.DOTS else after.plans_standing
    assert sum(s.group + s.decision_maker for s in standing) == sum(map(len, marks.values()))
    return (
        marks,
        {str(s.option): (s.group, s.decision_maker, s.voters) for s in standing},
        cards if length < A_DAY else None,
    )


@pytest.mark.parametrize(
    ("play", "length"),
    [
        pytest.param(play, length, marks=pytest.mark.slow if length in later else (), id=f"{play.__name__}-{length}")
        for play, later in ((notes, LENGTHS[:2]), (dots, LENGTHS[1:3]), (ballot, LENGTHS[:3:2]))
        for length in LENGTHS
    ],
)
async def test_an_absence_changes_nothing(tmp_path: Path, play: Play, length: timedelta) -> None:
    """Lines written, changed and deleted, emoji added and taken while the bot was gone count as if it had heard."""
    (tmp_path / "there").mkdir()
    (tmp_path / "away").mkdir()
    assert await play(tmp_path / "away", away, length) == await play(tmp_path / "there", there, length)
