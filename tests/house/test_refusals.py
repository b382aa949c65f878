"""A refusal names every fact that its sentence tells, at every place that raises it."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import coldframe
from coldframe.domain.names import Touches
from coldframe.domain.refusals import Because, Impossible, Refused
from coldframe.message.nodes import plain
from coldframe.speech.names import TOUCHED
from coldframe.speech.refusals import IMPOSSIBLE, WORDS, refusal

MADE_THERE = {
    Because.NO_FREE_PLACE: {"free"},
    Because.NOT_IN_CHANNEL: {"there", "let_in"},
    Because.MAY_NOT_POST: {"there"},
    Because.NOT_LET_IN: {"lets_in"},
}
"""Parts that the sentence makes of other facts."""


def _raised() -> Iterator[tuple[str, Because, set[str]]]:
    """Where a refusal is made, its code, and the facts given; calls that pass facts on are left out."""
    top = Path(coldframe.__file__).parent
    for file in sorted(top.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and node.args and all(word.arg for word in node.keywords):
                code = re.fullmatch(r"Because\.(\w+)", ast.unparse(node.args[0]))
                if code and ast.unparse(node.func) == "Refused":
                    yield f"{file.name}:{node.lineno}", Because[code[1]], {str(word.arg) for word in node.keywords}


def test_every_refusal_gives_what_its_sentence_tells() -> None:
    """A name in braces without its fact would leave the person without an answer."""
    raised = list(_raised())
    assert len(raised) > 100
    told = {code: set(re.findall(r"\{(\w+)\}", words)) - MADE_THERE.get(code, set()) for code, words in WORDS.items()}
    assert {place: missing for place, code, given in raised if (missing := told[code] - given)} == {}


def test_every_refusal_has_a_sentence() -> None:
    """No code is left without words."""
    assert set(Because) == set(WORDS)
    assert set(Impossible) == set(IMPOSSIBLE)
    assert set(Touches) == set(TOUCHED)


@pytest.mark.parametrize(
    ("why", "facts", "says"),
    [
        (Impossible.NO_SHARE, {"number": 20.0}, "20 is no share of people; write 20% or 0.2."),
        (Impossible.NO_SHARE, {"number": 400.0}, "400 is no share of people; write it like 4% or 0.04."),
        (Impossible.NOT_FINITE, {"number": float("inf")}, "These numbers cannot be: inf."),
        (
            Impossible.MORE_THAN_PEOPLE,
            {"group": "control", "number": 50.0, "most": 48},
            "control has more successes (50) than people (48).",
        ),
    ],
)
def test_numbers_that_cannot_be_are_told_with_what_was_written(
    why: Impossible, facts: dict[str, object], says: str
) -> None:
    """The rule gives a code and the numbers; the sentence is made of them."""
    assert says in plain(refusal(Refused(Because.BAD_NUMBERS, why=why, **facts)).summary)
