"""Ids as other platforms have them: with the signs that names and values are packed with, and very long."""

from __future__ import annotations

from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from coldframe.clock import ManualClock, SeededIds
from coldframe.domain.names import MemberId, Step
from coldframe.players.hand import Hand, Screen, words_of
from coldframe.ports.chat import Person
from coldframe.wiring import for_tests
from tests.demo.runs import Blank
from tests.engine.round.test_round_by_its_surface import MONDAY, Table

LEAD, CHIEF, THIRD, LONG = (
    "@lead/ops:one.example",
    "@ch|ef:one.example",
    "@50%2Fx:one.example",
    "@" + "d/|%" * 63 + ":e",
)
TEAM = {LEAD: "Lea", CHIEF: "Chris", THIRD: "Theo", LONG: "Lou"}
HEARD = {LEAD: "The bill surprises", CHIEF: "Nobody can pause", THIRD: "The page is slow", LONG: "Too many mails"}


@pytest.fixture
async def table(tmp_path: Path) -> AsyncIterator[Table]:
    """A round of four whose ids hold every sign that separates parts."""
    async with for_tests(ManualClock(MONDAY), tmp_path, SeededIds(4), draughtsman=Blank()) as house:
        place = house.room.add_channel("growth", "growth")
        for person, name in TEAM.items():
            house.room.add_person(Person(person, name, "Europe/London"), "growth")
        screen = Screen(house.room)
        made = Table(house, {p: Hand(house.room, p, screen) for p in TEAM})
        form = (await made.hands[LEAD].command("new", place)).form
        assert form is not None
        fields = {"question": "Why do they go?", "name": "June", "levers": "Activation, Retention", "weight": "1"}
        fields |= {"decision_maker": CHIEF, "facilitator_deputy": THIRD, "decision_deputy": LONG}
        assert (await house.room.submit(LEAD, form.action, form.value, fields)).errors == {}
        await house.engine.settle()
        await made.hands[LEAD].press("round.start")
        assert (await made.round()).step is Step.NOTES
        yield made


async def _noted(table: Table) -> None:
    for person, text in HEARD.items():
        sheet = next(r for r in table.hands[person].seen() if "what drives us?" in words_of(r))
        await table.hands[person].say(f"- retention: {text}", thread=sheet.id)


async def test_everybody_is_asked_and_heard(table: Table) -> None:
    """The thread of one's sheet leads to its note, and a press to the list of whoever pressed."""
    await _noted(table)
    assert {n.author: n.text for n in (await table.round()).notes.values()} == HEARD


async def test_votes_by_button_and_by_emoji_count_until_the_close(table: Table) -> None:
    """The close reads the platform's reactions of every voter, whatever their ids hold, and keeps them all."""
    await _noted(table)
    await table.command(LEAD, "close")
    await table.command(LEAD, "announce")
    await table.hands[CHIEF].fill("focus.pick", {"reason": "It is the largest leak that we have."}, "retention")
    await table.command(CHIEF, "announce")
    await table.command(LEAD, "close")
    await table.command(LEAD, "announce")
    assert (await table.round()).step is Step.DOTS
    for person, text in HEARD.items():
        await table.vote(person, text, "🌿", "🌱")
    await table.hands[LONG].press("vote.cast", "f-")
    dots = (await table.round()).dots
    assert dots is not None
    assert {voter: len(marks) for voter, marks in dots.marks.items()} == {LEAD: 2, CHIEF: 2, THIRD: 2, LONG: 3}
    await table.command(LEAD, "close")
    await table.command(LEAD, "announce")
    counted = (await table.round()).dots
    assert counted is not None
    assert len(counted.marks[MemberId(LONG)]) == 3


async def test_who_comes_back_is_not_asked_twice(table: Table) -> None:
    """By the name of the message the bot knows whom it has asked."""
    before = len(await table.told(LONG))
    await table.command(LEAD, "pause")
    await table.command(LEAD, "resume")
    assert len(await table.told(LONG)) == before
