"""Neutral messages as the room shows them: every kind of block, and nothing that people wrote comes alive."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Literal

import pytest

from coldframe.message.nodes import (
    Button,
    Buttons,
    Facts,
    Field,
    Form,
    Grid,
    Heading,
    Items,
    Link,
    Message,
    Option,
    Paragraph,
    Quoted,
    Rule,
    Small,
    Theirs,
    When,
    Who,
    line,
)
from coldframe.render.room import form_json, message_json, message_text

CARD = Message(
    line("Notes close {when}.", when=When(datetime(2026, 3, 3, 9, 30, tzinfo=UTC))),
    (
        Heading(line("Notes")),
        Paragraph(line("Hello *{who}*, type `+ retention: …`.", who=Who("ada", "Ada"))),
        Small(line("Nobody reads them before the reveal.")),
        Facts((("Until", line("{when}", when=When(datetime(2026, 3, 3, 9, 30, tzinfo=UTC)))),)),
        Items((line("{it}", it=Theirs("first\nsecond")), line("other")), ordered=True),
        Grid("Votes", ("Plan", "Votes"), ((line("{it}", it=Theirs("A")), line("12")),)),
        Buttons((Button("Done", "notes.done", "r1", "primary", confirm="Sure?", says="Say that I am done"),)),
        Quoted("long words\nof a person"),
        Rule(),
    ),
)


def test_text_says_all_that_the_card_says() -> None:
    """The plain text holds every block in order, moments in the reader's zone."""
    assert message_text(CARD, "Asia/Kolkata").splitlines() == [
        "Notes",
        "Hello Ada, type + retention: ….",
        "Nobody reads them before the reveal.",
        "Until: Tue 3 Mar 2026, 15:00 (Asia/Kolkata)",
        "1. first",
        "   second",
        "2. other",
        "Votes",
        "Plan  Votes",
        "A     12",
        "[Done]",
        "| long words",
        "| of a person",
        "--------",
    ]


def test_text_of_a_card_without_blocks_is_its_summary() -> None:
    """A bare message is what its summary says."""
    assert message_text(Message(line("Back in a minute."))) == "Back in a minute."


def test_json_keeps_kind_order_and_words() -> None:
    """The page gets every block with its kind; people's words are marked as theirs, unchanged."""
    card = json.loads(json.dumps(message_json(CARD)))
    assert [block["kind"] for block in card["blocks"]] == [
        "heading",
        "paragraph",
        "small",
        "facts",
        "items",
        "grid",
        "buttons",
        "quoted",
        "rule",
    ]
    assert card["blocks"][4]["lines"][0] == [{"kind": "theirs", "text": "first\nsecond"}]
    assert card["summary"][1] == {"kind": "when", "at": "2026-03-03T09:30:00+00:00", "form": "moment"}
    assert card["blocks"][6]["buttons"][0]["confirm"] == "Sure?"


@pytest.mark.parametrize("url", ["javascript:alert(1)", "data:text/html,x", "file:///etc/passwd", "http://a b", "//x"])
def test_only_web_addresses_become_links(url: str) -> None:
    """Any other scheme is shown as text with its address in full."""
    card = message_json(Message(line("{it}", it=Link(url, "good"))))
    assert card["summary"] == [{"kind": "theirs", "text": f"good ({url})"}]


def test_terminal_controls_are_shown_and_not_obeyed() -> None:
    """Escape sequences, bells and carriage returns in people's words come out as visible signs."""
    text = message_text(Message(line("{it}", it=Theirs("a\x1b[2Jb\x07\rc\x9b31m\x00"))))
    assert text == "a␛[2Jb␇␍c\ufffd31m␀"


def test_form_goes_over_with_every_field() -> None:
    """Shape, hint, length, first value and options of each field reach the page."""
    field = Field("weeks", "Weeks", "choice", "Three to six", False, 10, "4", (Option("4", "4 weeks"),))
    (sent,) = form_json(Form("A plan", "plans.send", "r1", (field,)))["fields"]
    assert sent == {
        "name": "weeks",
        "label": "Weeks",
        "shape": "choice",
        "hint": "Three to six",
        "required": False,
        "most": 10,
        "initial": "4",
        "options": [{"value": "4", "label": "4 weeks"}],
        "day": False,
        "each": "",
    }


@pytest.mark.parametrize(
    ("at", "form", "said"),
    [
        (datetime(2026, 3, 3, 16, tzinfo=UTC), "moment", "today 17:00"),
        (datetime(2026, 3, 3, 23, 30, tzinfo=UTC), "moment", "tomorrow 0:30"),
        (datetime(2026, 3, 2, 8, 5, tzinfo=UTC), "moment", "yesterday 9:05"),
        (datetime(2026, 3, 9, 8, tzinfo=UTC), "moment", "Mon 9:00"),
        (datetime(2026, 3, 10, 8, tzinfo=UTC), "moment", "Tue 10 Mar, 9:00"),
        (datetime(2026, 2, 27, 8, tzinfo=UTC), "moment", "Fri 27 Feb, 9:00"),
        (datetime(2027, 1, 12, 8, tzinfo=UTC), "moment", "Tue 12 Jan 2027, 9:00"),
        (datetime(2026, 3, 3, 16, tzinfo=UTC), "day", "Tue 3 Mar"),
        (datetime(2027, 1, 12, 8, tzinfo=UTC), "day", "Tue 12 Jan 2027"),
        (datetime(2026, 3, 9, 8, tzinfo=UTC), "hour", "9:00"),
    ],
)
def test_a_moment_is_said_as_people_say_it(at: datetime, form: Literal["moment", "day", "hour"], said: str) -> None:
    """To somebody in Berlin who reads it on Tuesday 3 March: no zone, and a year only where it is far away."""
    card = Message(line("{w}", w=When(at, form)))
    assert message_text(card, "Europe/Berlin", datetime(2026, 3, 3, 9, tzinfo=UTC)) == said
