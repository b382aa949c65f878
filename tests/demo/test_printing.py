"""The conversation as it is printed: everything is there, and what many are told alike stands once."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from coldframe.chat.room.records import BOT, Record
from coldframe.message.nodes import Message, Paragraph, line
from coldframe.ports.chat import Place
from demo.transcript import Printer, Transcript
from tests.demo.runs import scenario

AT = datetime(2026, 3, 23, 7, tzinfo=UTC)


def told(who: str, *lines: str) -> Record:
    """A message of the bot to one of the team."""
    message = Message(line(lines[0]), tuple(Paragraph(line(words)) for words in lines))
    return Record(f"m{who}", Place("room", "direct", who), BOT, AT, 1, message=message)


def printed(*records: Record) -> str:
    lines: list[str] = []
    Printer(Transcript(scenario("quillmarsh")), lines.append, colour=False).show(records)
    return "\n".join(lines)


def test_what_several_are_told_alike_is_printed_once_with_what_differs_for_whom() -> None:
    """One block with every reader's name and own time; the differing line stands beside the name."""
    page = printed(
        told("nadia", "Your view is needed.", "Write notes.", "Until 17:00."),
        told("owen", "Your view is needed.", "Write notes.", "Until 12:00."),
        told("ellis", "Your view is needed.", "Write notes.", "Until 17:00."),
    )
    assert page.count("Write notes.") == 1
    assert "Mon 23 Mar 07:00 (Europe/London), coldframe to Nadia, Ellis;" in page
    assert "Mon 23 Mar 03:00 (America/New_York), coldframe to Owen:" in page
    assert "(Owen: Until 12:00.)" in page


def test_different_words_and_people_s_own_are_never_put_together() -> None:
    """Two messages that share little, two moments, and what people write stay apart, each under its head."""
    one = told("nadia", "Your view is needed.", "Write notes.")
    assert printed(one, told("owen", "Thank you.", "It is kept.")).count("coldframe to") == 2
    assert (
        printed(one, replace(told("owen", "Your view is needed.", "Write notes."), at=AT.replace(hour=8))).count(
            "Write notes."
        )
        == 2
    )
    said = [replace(told(who, "x"), author=who, message=None, text="The same words") for who in ("nadia", "owen")]
    assert printed(*said).count("The same words") == 2
