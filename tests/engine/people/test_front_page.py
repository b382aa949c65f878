"""Everybody's own page: all that is theirs in one place, and as it is now."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import Step
from coldframe.message.nodes import Button, Buttons, Message
from tests.domain.play import EVERYBODY, D, F
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, told
from tests.engine.seeing_through import a_team, words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
ANA = EVERYBODY[2]


def buttons(shown: Message) -> list[Button]:
    return [button for block in shown.blocks if isinstance(block, Buttons) for button in block.buttons]


async def opens(team: Running, person: str) -> None:
    await team.house.room.open_home(person)
    await team.settle()


def page(team: Running, person: str) -> str:
    shown = team.house.room.log.home(person)
    return "" if shown is None else words(shown)


def offered(team: Running, person: str) -> set[str]:
    shown = team.house.room.log.home(person)
    return set() if shown is None else {button.action for button in buttons(shown)}


async def test_a_writer_finds_their_notes_drafts_and_dates(tmp_path: Path) -> None:
    """What they gave can be changed there, what waits for its place has its buttons; nobody else's is seen."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(ANA, "- retention: the invoice surprises")
        await team.say(ANA, "something about the guided start")
        await team.say(EVERYBODY[3], "- retention: of somebody else")
        await opens(team, ANA)
        shown = page(team, ANA)
        assert "Your notes: 1" in shown
        assert "the invoice surprises" in shown and "something about the guided start" in shown
        assert "Your next dates" in shown and "of somebody else" not in shown
        assert {"note.edit", "note.withdraw", "draft.place", "me.away", "hours.write"} <= offered(team, ANA)


async def test_what_is_pressed_on_the_page_shows_on_it(tmp_path: Path) -> None:
    """A note withdrawn there is gone from it, and no message says so."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(ANA, "- retention: the invoice surprises")
        await opens(team, ANA)
        shown = team.house.room.log.home(ANA)
        assert shown is not None
        withdraw = next(b for b in buttons(shown) if b.action == "note.withdraw")
        await team.house.room.press(ANA, None, withdraw.action, withdraw.value)
        await team.settle()
        assert "the invoice surprises" not in page(team, ANA)


async def test_an_open_page_follows_what_others_do(tmp_path: Path) -> None:
    """The next step shows without its being opened again; a page that was never opened is never made."""
    async with running(tmp_path, MONDAY) as team:
        await opens(team, ANA)
        assert "is at Notes" in page(team, ANA)
        for person in EVERYBODY[:4]:
            await team.say(person, "- retention: the invoice surprises")
        await team.command(F, "close")
        await team.until(MONDAY + timedelta(hours=1))
        assert (await team.current()).step is Step.FOCUS
        assert "is at Focus" in page(team, ANA)
        assert page(team, D) == ""


async def test_hours_later_it_is_left_alone(tmp_path: Path) -> None:
    """Whoever looks again opens it again."""
    async with running(tmp_path, MONDAY) as team:
        await opens(team, ANA)
        await team.until(MONDAY + timedelta(hours=9))
        assert await team.dues("home open") == []


async def test_its_facilitator_reads_how_the_round_stands(tmp_path: Path) -> None:
    """What they can do about it stands there as on the panel."""
    async with running(tmp_path, MONDAY) as team:
        await opens(team, F)
        assert "Awaited: 6 of 6 answers" in page(team, F)
        assert {"step.close", "step.extend", "edit.show"} <= offered(team, F)
        await opens(team, ANA)
        assert "Awaited" not in page(team, ANA)


async def test_after_the_round_the_dates_are_those_of_its_trials_and_of_the_next_round(tmp_path: Path) -> None:
    """Whoever holds the review has it there; the next round stands with everybody who took part."""
    async with a_team(tmp_path) as team:
        for person, holds in ((D, True), (ANA, False)):
            await team.house.room.open_home(person)
            await team.settle()
            home = team.house.room.log.home(person)
            assert home is not None
            assert ("Review: Title of p0" in words(home)) is holds and "- Next round: " in words(home)


async def test_a_calendar_is_named_only_where_there_is_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a public address nobody can subscribe."""
    async with running(tmp_path, MONDAY) as team:
        await opens(team, ANA)
        assert "more later." in page(team, ANA) and "/coldframe calendar" not in page(team, ANA)
        engine = team.house.engine
        monkeypatch.setattr(engine, "kit", replace(engine.kit, feed=lambda *_: "https://coldframe.example/dates.ics"))
        await opens(team, ANA)
        assert "/coldframe calendar gives you all of them" in page(team, ANA)


@pytest.mark.parametrize("word", ["close", "extend", "pause", "roles", "edit", "done"])
async def test_when_no_round_is_open_the_words_of_rounds_say_so(tmp_path: Path, word: str) -> None:
    """Nobody who took part in the last one is told that they did not."""
    async with a_team(tmp_path) as team:
        for channel in (True, False):
            reply = await team.command(ANA, word, channel=channel)
            answer = words(reply.note) if reply.note is not None else team.told(ANA)[-1]
            assert "No round of yours is open here" in answer


async def test_the_team_s_data_are_its_facilitator_s_to_ask_for(tmp_path: Path) -> None:
    """Anybody else is told whose, in the channel as in private."""
    async with a_team(tmp_path) as team:
        for channel in (True, False):
            reply = await team.command(ANA, "team", channel=channel)
            answer = words(reply.note) if reply.note is not None else team.told(ANA)[-1]
            assert "That is for the facilitator, Faye, to do" in answer


async def test_what_is_over_is_no_next_date_and_nothing_joined_is_said_so(tmp_path: Path) -> None:
    """A step that closed early has a deadline that nobody waits for; what cannot be taken apart is told why."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        await opens(team, ANA)
        shown = page(team, ANA)
        assert "Merge closes" in shown and "Notes closes" not in shown and "Focus closes" not in shown
        home = team.house.room.log.home(ANA)
        assert home is not None
        button = next(each for each in buttons(home) if each.action == "merge.object")
        await team.house.room.press(ANA, None, button.action, button.value)
        await team.settle()
        assert any("nothing to take apart" in words for words in told(team, ANA))
