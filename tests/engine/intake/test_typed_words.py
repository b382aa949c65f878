"""What people type in the direct messages: a command is the slash, the mention, or one of its words alone."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, Step
from coldframe.ports.chat import Inbound, Said
from tests.domain.play import F
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")


async def _drafts(team: Running) -> list[str]:
    return [d.text for d in (await team.current()).drafts.values()]


@pytest.mark.parametrize(
    "text",
    [
        "search is slow on phones",
        "New teams get no help",
        "mine is only a guess: the bill",
        "Close to nobody reads the first mail",
        "Away messages are too long",
        "status\nis never shown",
    ],
)
async def test_a_sentence_is_never_taken_for_a_command(tmp_path: Path, text: str) -> None:
    """Whatever word it begins with, it is a text for the notes and waits for its place."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(JON, text)
        assert await _drafts(team) == [text]
        assert told(team, JON)[-1] == "Where does this belong?"


async def test_one_word_alone_on_its_line_is_the_command(tmp_path: Path) -> None:
    """It does what the command does, at once, and is no note."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(JON, " Status ")
        assert told(team, JON)[-1] == "One round is open here."
        assert await _drafts(team) == []


@pytest.mark.parametrize(("typed", "meant"), [("digset", "digest"), ("serach", "search"), ("frobnicate", "")])
async def test_of_an_unknown_word_only_what_is_like_it_is_proposed(tmp_path: Path, typed: str, meant: str) -> None:
    async with running(tmp_path, MONDAY) as team:
        await team.command(JON, typed, channel=False)
        said = told(team, JON)[-1]
        assert f"I don't know “{typed}”" in said
        assert (f"Did you mean {meant}" in said) if meant else "Did you mean" not in said


async def test_the_command_and_the_mention_take_words(tmp_path: Path) -> None:
    """`search WORDS` searches when it is said to the bot as a command."""
    async with running(tmp_path, MONDAY) as team:
        await team.command(JON, "search slow phones", channel=False)
        asked = told(team, JON)[-1]
        assert "slow phones" in asked
        room = team.house.room
        said = Said("search slow phones", "m1", mentioned=True)
        await team.house.engine.receive(Inbound("m1", JON, room.direct(JON), team.clock.now(), said))
        await team.settle()
        assert told(team, JON)[-1] == asked
        assert await _drafts(team) == []


@pytest.mark.parametrize("word", ["close", "pause", "cancel", "forget"])
async def test_a_word_that_could_do_harm_is_asked_about_first(tmp_path: Path, word: str) -> None:
    """Typed alone it changes nothing; one question comes back, and the note is one of its answers."""
    async with running(tmp_path, MONDAY) as team:
        before = await team.current()
        await team.say(F, word)
        assert await team.current() == before
        assert told(team, F)[-1] == f"Is “{word}” the command, or a note? Nothing has happened yet."
        await team.press(F, "word.note")
        assert await _drafts(team) == [word]
        assert "Taken as a note." in told(team, F)


async def test_the_answer_do_it_does_what_the_command_does(tmp_path: Path) -> None:
    """The round rests when the facilitator says that the command was meant; the question has no buttons any more."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(F, "Pause")
        await team.press(F, "word.do")
        assert (await team.current()).paused is not None
        assert "Taken as the command pause." in told(team, F)
        with pytest.raises(LookupError):
            team.button(F, "word.do")


async def test_a_refused_command_leaves_the_question_open(tmp_path: Path) -> None:
    """Who may not pause hears why, and can still say that it was a note."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(JON, "pause")
        await team.press(JON, "word.do")
        assert (await team.current()).paused is None
        await team.press(JON, "word.note")
        assert await _drafts(team) == ["pause"]


async def test_cancel_opens_the_form_that_asks_why(tmp_path: Path) -> None:
    """The command of the facilitator; from anybody else it is refused."""
    async with running(tmp_path, MONDAY) as team:
        assert (await team.command(JON, "cancel")).form is None
        await team.say(F, "cancel")
        form = (await team.press(F, "word.do")).form
        assert form is not None
        await team.house.room.submit(F, form.action, form.value, {"reason": "no time"})
        assert (await team.current()).step is Step.CANCELLED


async def test_outside_of_the_notes_a_sentence_runs_no_command_either(tmp_path: Path) -> None:
    """Where nothing takes it, it is said how a command is given."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        await team.say(JON, "search is slow on phones")
        assert "`/coldframe` shows what you can do".replace("`", "") in told(team, JON)[-1]
