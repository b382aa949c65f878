"""Reactions go by the names that the open standard gives their characters."""

from __future__ import annotations

import re
from importlib import resources

from coldframe.message.emoji import DIGITS, bare, by_name

PAGE = resources.files("coldframe.chat.room").joinpath("page", "reactions.js").read_text(encoding="utf-8")
NAMES = {bare(sign): name for sign, name in re.findall(r'"([^"]+)": "([^"]+)"', PAGE.partition("};")[0])}
TYPED = ("+1", "tada", "pray", "joy", "wave", "muscle", "boom", "hankey", "facepunch", "zero", "keycap_ten")
"""Some of what chat services call them, under which the bot knows them when they are told so."""


def test_whatever_is_told_by_another_name_has_one_on_the_page() -> None:
    """Nobody reads the short form of a chat service, and no sign stands without a name."""
    shown = [NAMES[by_name(name)] for name in TYPED]
    assert shown[:4] == ["thumbs up", "party popper", "folded hands", "face with tears of joy"]
    assert not set(shown) & set(TYPED) and not any("_" in name for name in NAMES.values())


def test_a_digit_is_called_as_the_standard_calls_it() -> None:
    assert [NAMES[digit] for digit in DIGITS] == [f"keycap: {number}" for number in range(11)]
