"""Hostile inputs that need no long way: through the surfaces that people have, with what becomes of them."""

from __future__ import annotations

import asyncio
import io
import logging
from contextlib import redirect_stderr, redirect_stdout
from datetime import UTC, datetime
from pathlib import Path

import pytest
import structlog

from coldframe import logs
from coldframe.domain.names import MemberId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.notes import NOTES_PER_LEVER
from coldframe.domain.state import Roles, Settings
from coldframe.engine.core.members import UnreadableHours, read_hours
from coldframe.engine.core.turn import Turn
from coldframe.engine.reading import Unreadable, numbers, window_lines
from coldframe.engine.round.setup import MAX_OPEN_ROUNDS, open_round
from coldframe.message.harmless import harmless, theirs
from coldframe.ports.chat import Commanded, Happening, Inbound, IncomingFile, Person, Pressed, Said, Submitted
from coldframe.render.room import message_text
from tests.domain.play import EVERYBODY, D, F
from tests.engine.clockwork import running
from tests.engine.databases import a_database
from tests.engine.reaching import at_step

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")
BROKEN = ("a\0b", "half \ud800 of one", "\0", "\udfff")
BOTH = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]


@pytest.mark.parametrize("kind", BOTH)
async def test_what_no_database_can_hold_is_answered_and_changes_nothing(kind: str, tmp_path: Path) -> None:
    """NUL and half characters in lines, commands, searches, values and fields: neither an error nor without a word."""
    with a_database(kind, tmp_path) as address:
        async with running(tmp_path, MONDAY, url=address) as team:
            before = await team.current()
            place = team.house.room.direct(JON)
            number = 0
            for text in BROKEN:
                happened: tuple[Happening, ...] = (
                    Said(f"- retention: {text}", "m900001"), Said(text, "m900002"), Commanded(text),
                    Commanded(f"search {text}"), Commanded(f"away until {text}"), Pressed("note.write", text),
                    Pressed("step.close", f"r1%:{text}"), Submitted("note.write", "r1", {"text": text, "side": text}),
                    Submitted("hours.write", "", {"zone": text, "days": text, "hours": text, "country": text}),
                    Said("", "m900003", files=(IncomingFile(f"{text}.csv", 3, text.encode("utf-8", "replace")),)),
                )  # fmt: skip
                for what in happened:
                    number += 1
                    told = len(team.house.room.messages(place))
                    event = Inbound(f"k{number}", JON, place, team.clock.now(), what)
                    reply = await team.house.engine.receive(event)
                    await team.settle()
                    said = len(team.house.room.messages(place)) - told
                    assert said or reply.note or reply.form or reply.errors, what
            assert (await team.current()).notes == before.notes


async def test_five_hundred_lines_are_answered_in_a_sentence(tmp_path: Path) -> None:
    """More than may be kept is refused with the count, and comes back as the writer's own message alone."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.say(JON, "\n".join(f"- retention: line {n} of many" for n in range(500)))
        await team.settle()
        assert len((await team.current()).notes) <= NOTES_PER_LEVER
        (answer,) = team.told(JON)[-1:]
        assert str(NOTES_PER_LEVER) in answer and len(answer) < 400 and "line 400" not in answer


async def test_a_thousand_notes_of_one_person_stop_at_twenty_a_lever(tmp_path: Path) -> None:
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        for number in range(NOTES_PER_LEVER + 5):
            await team.say(JON, f"- retention: note {number}")
        await team.settle()
        assert len((await team.current()).notes) == NOTES_PER_LEVER
        assert "Withdraw one first" in team.told(JON)[-1]


@pytest.mark.parametrize(
    "name", ["<!channel>", "<@U1>\n*Fake* section", "👩\u200d🌾" * 80, "\u202eadA", "coldframe", "Аda"]
)
async def test_a_name_is_decoration(name: str, tmp_path: Path) -> None:
    """Whatever somebody calls themselves: it is cut, stays on its line, and nobody is mistaken for somebody else."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        known = team.house.room.log.person(F)
        assert known is not None
        await team.house.room.change_person(Person(F, name, known.zone))
        await team.command(JON, "status", channel=False)
        await team.settle()
        for record in team.house.room.all_messages():
            shown = message_text(record.message) if record.message is not None else ""
            assert "\u202e" not in shown and "\n*Fake*" not in shown
            assert shown.count("🌾") <= 40
        assert (await team.current()).roles.facilitator == F


NO_NUMBERS = ["nan", "inf", "1e999", "0x10", "٣", "１２", "9" * 5000, "-1", "1_000", "½", "", "²", "1 2 3 4"]


@pytest.mark.parametrize("text", NO_NUMBERS)
def test_a_number_is_read_by_ascii_digits_and_one_mark(text: str) -> None:
    """In weeks, plans, windows and hours alike."""
    with pytest.raises(Unreadable):
        numbers.whole(text)
    for read in (numbers.amount, numbers.decimal):
        with pytest.raises(Unreadable, match=r"\w"):
            read(text)
    if text:
        with pytest.raises(Unreadable):
            window_lines.read(f"notes {text}", "days")
        with pytest.raises((UnreadableHours, ValueError)):
            read_hours("Europe/Berlin", "Mon-Fri", f"{text}:{text}-17:00", "DE")


def test_what_hides_or_turns_a_line_is_not_shown() -> None:
    """Direction, zero width, soft hyphens, byte-order marks; joiners of emoji and scripts stay, eight marks a base."""
    assert harmless("a\u202eb\u2066c\u200bd\ufeffe\u00adf") == "abcdef"
    assert harmless("👩\u200d🌾 نمی\u200cخواهم") == "👩\u200d🌾 نمی\u200cخواهم"
    assert harmless("e" + "\u0301" * 10_000) == "e" + "\u0301" * 8
    assert harmless("e\u00ad" + "\u0301\u00ad" * 20) == "e" + "\u0301" * 8


@pytest.mark.parametrize("whole", ["👩\u200d🌾", "👍🏽", "🇫🇷", "e\u0301\u0302", "❤️"])
def test_a_cut_leaves_a_character_whole_or_out(whole: str) -> None:
    for before in range(12):
        shown = theirs("x" * before + whole * 6, 14).text
        assert len(shown) <= 14
        assert shown.rstrip("…").lstrip("x").replace(whole, "") == ""


async def test_fifty_presses_at_once_cast_no_vote_too_many(tmp_path: Path) -> None:
    """The quota holds under whatever comes at the same moment, and what is shown is what is stored."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        message, button = team.button(JON, "vote.cast")
        presses = (team.house.room.press(JON, message, button.action, button.value, forged=True) for _ in range(50))
        await asyncio.gather(*presses)
        await team.settle()
        dots = (await team.current()).dots
        assert dots is not None and len(dots.counted(JON)) == dots.quota


async def test_of_an_emoji_put_and_taken_a_hundred_times_the_last_state_counts(tmp_path: Path) -> None:
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        option = team.line(JON)
        for number in range(101):
            await team.house.room.react_as(JON, option, "🌿", number % 2 == 0)
        await team.settle()
        dots = (await team.current()).dots
        assert dots is not None and len(dots.counted(JON)) == 1


async def test_so_many_rounds_are_open_at_once_and_no_more(tmp_path: Path) -> None:
    """The next is refused with what to do; one that ends makes room."""
    async with running(tmp_path, MONDAY) as team:
        persons = [Person(m, m.title(), "UTC") for m in EVERYBODY[:6]]

        async def one_more(turn: Turn) -> None:
            roles = Roles(F, D, EVERYBODY[2], EVERYBODY[3])
            await open_round(
                turn, team.house.room.channel("growth"), "One more", Settings(question="Why?"), roles, persons
            )

        for number in range(MAX_OPEN_ROUNDS - 1):
            await team.house.engine.act(f"more/{number}", one_more)
        with pytest.raises(Refused) as refused:
            await team.house.engine.act("one too many", one_more)
        assert refused.value.code is Because.TOO_MANY_ROUNDS and refused.value.facts == {"most": MAX_OPEN_ROUNDS}


async def test_logs_at_debug_hold_no_private_word_and_nobody_beside_one(tmp_path: Path) -> None:
    """Lines, commands, forms, files, and a bot that breaks on them: events carry ids of rounds and kinds alone."""
    heard = io.StringIO()
    with redirect_stderr(heard), redirect_stdout(heard):
        logs.configure("json", "debug")
        async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
            await team.say(JON, "- retention: canary-note")
            await team.say(JON, "canary-unclear")
            await team.command(JON, "canary-command", channel=False)
            await team.say(JON, "", files=[IncomingFile("canary.csv", 6, b"canary")])
            room, receive = team.house.room, team.house.engine.receive
            room.intake = Breaking()
            await room.say(JON, room.direct(JON), "canary-untaken")
            await room.submit(JON, "note.write", "r1", {"text": "canary-form"}, forged=True)
            room.intake = team.house.engine
            assert receive is not None
            await room.redeliver()
            await team.settle()
            logging.getLogger("somebody.else").error("a library says so")
    structlog.reset_defaults()
    logging.basicConfig(force=True)
    told = heard.getvalue()
    assert "room.act_not_taken" in told and "a library says so" in told
    assert "canary" not in told and f'"{JON}"' not in told and f":{JON}:" not in told


class Breaking:
    """The bot's front door on a bad day: what it raises quotes what it was given."""

    async def receive(self, event: Inbound) -> object:
        raise RuntimeError(f"broke on {event.what!r} {getattr(event.what, 'text', '')}")
