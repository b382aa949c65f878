"""Emoji by their characters: one name for each, whatever a client or an earlier release called it."""

from __future__ import annotations

import pytest

from coldframe.message.emoji import DIGITS, bare, by_name, short_name


@pytest.mark.parametrize(
    ("typed", "kept"),
    [("🌱", "🌱"), ("👍🏽", "👍"), ("❤️", "❤"), ("1️⃣", DIGITS[1]), ("🔟", DIGITS[10]), ("🇮🇳", "🇮🇳"), ("👩🏽‍🌾", "👩‍🌾")],
)
def test_an_emoji_is_kept_without_tone_and_colour(typed: str, kept: str) -> None:
    """One person's vote is one, whichever keyboard typed it."""
    assert bare(typed) == kept == by_name(kept)


@pytest.mark.parametrize("name", ["+1", "thumbsup", "thumbs_up"])
def test_all_short_names_of_an_emoji_are_one(name: str) -> None:
    """Two clients may call the same emoji differently; it goes out by one of its names."""
    assert by_name(name) == "👍"
    assert short_name("👍") == "+1"


def test_every_digit_has_a_short_name() -> None:
    """A chance may be given by a digit's emoji wherever emoji come by short names."""
    assert [by_name(short_name(digit)) for digit in DIGITS] == list(DIGITS)


def test_a_custom_emoji_keeps_its_name() -> None:
    """What has no character is known by its name in colons, which is nothing that a button could leave."""
    assert by_name("button") == ":button:"
    assert short_name(":party-parrot:") == "party-parrot"
    assert by_name("button:1") == "button:1"
