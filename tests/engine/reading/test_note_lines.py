"""What a private text says, and that nothing inside a note is altered."""

from __future__ import annotations

import pytest

from coldframe.domain.names import LeverId, Side
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.texts import accepted
from coldframe.engine.reading.note_lines import read_notes

LEVERS = ((LeverId("activation"), "Activation"), (LeverId("retention"), "Retention"))


def test_each_signed_line_is_a_note_and_the_lever_may_stand_before_a_colon() -> None:
    """`-` holds back, `+` drives; the lever is the thread's or the one named."""
    heard = read_notes("- retention: the price\n+ activation: the tour", LEVERS)
    assert [(h.lever, h.side, h.text) for h in heard] == [
        ("retention", Side.RESTRAINING, "the price"),
        ("activation", Side.DRIVING, "the tour"),
    ]
    assert all(h.clear for h in heard)


@pytest.mark.parametrize("inside", ["first\n\nsecond", "first\u2028second", "first\x0csecond", "first\n  indented"])
def test_what_stands_inside_a_note_stays_as_it_was_written(inside: str) -> None:
    """Blank lines, odd separators and indents inside one note are not touched."""
    (heard,) = read_notes(f"- retention: {inside}", LEVERS)
    assert heard.text == inside


def test_an_unknown_lever_is_not_guessed() -> None:
    """The word before the colon is given back to be asked about; the text stays whole."""
    (heard,) = read_notes("- pricing: too much", LEVERS)
    assert not heard.clear
    assert heard.lever_tried == "pricing"
    assert heard.text == "pricing: too much"


@pytest.mark.parametrize("control", ["\x80", "\x9b", "\x9f", "\x00", "\x1b"])
def test_control_characters_are_refused(control: str) -> None:
    """Both ranges of control characters cannot be shown, so a text with one is refused and not altered."""
    with pytest.raises(Refused) as refused:
        accepted(f"a{control}b", 100)
    assert refused.value.code is Because.UNREADABLE
