"""Every kind of block and of inline text is drawn on every surface: nothing that was said is missing anywhere."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import get_args, get_type_hints

import pytest

import coldframe
from coldframe.message import nodes
from coldframe.message.nodes import Block, Chapter, Inline, Line, Message, Page, Paragraph, Theirs, line
from coldframe.render import matrix
from coldframe.render.page import page_html
from coldframe.render.room import message_json, message_text
from coldframe.render.slack.blocks import message_parts
from coldframe.render.slack.views import home

NOW = datetime(2026, 1, 1, tzinfo=UTC)
SAID = "sunlit"
"""The word by which what a block says is known again."""
SENTENCE = line("{it}", it=Theirs(SAID))

BLOCKS: dict[type, Block] = {
    nodes.Heading: nodes.Heading(SENTENCE),
    nodes.Paragraph: nodes.Paragraph(SENTENCE),
    nodes.Small: nodes.Small(SENTENCE),
    nodes.Facts: nodes.Facts((("Label", SENTENCE),)),
    nodes.Items: nodes.Items((SENTENCE,)),
    nodes.Grid: nodes.Grid("Caption", ("Column",), ((SENTENCE,),)),
    nodes.Quoted: nodes.Quoted(f"two lines\nand {SAID}"),
    nodes.Buttons: nodes.Buttons((nodes.Button(SAID, "a.b", "r1"),)),
    nodes.Rule: nodes.Rule(),
}
INLINES: dict[type, tuple[Inline, str]] = {
    nodes.Words: (nodes.Words(SAID), SAID),
    nodes.Theirs: (nodes.Theirs(SAID), SAID),
    nodes.When: (nodes.When(datetime(2026, 3, 2, 12, 0, tzinfo=UTC), "day"), "2026"),
    nodes.Who: (nodes.Who("ada", SAID), SAID),
    nodes.Code: (nodes.Code(SAID), SAID),
    nodes.Link: (nodes.Link("https://example.org/", SAID), SAID),
    nodes.To: (nodes.To("r1/ask/ada/notes", SAID), SAID),
}
SURFACES: dict[str, Callable[[Message], str]] = {
    "the room's page": lambda message: json.dumps(message_json(message)["blocks"]),
    "the room as text": message_text,
    "a Slack message": lambda message: json.dumps([part.blocks for part in message_parts(message)]),
    "what Slack reads out": lambda message: message_parts(message)[0].text,
    "a report": lambda message: page_html(
        Page(
            "report", message.summary, (), (Chapter(message.summary, message.blocks),), datetime(2026, 1, 1, tzinfo=UTC)
        ),
        {},
    ),
    "Matrix as text": lambda message: "".join(part.text for part in matrix.parts(message, matrix.Reader())),
    "Matrix as HTML": lambda message: "".join(part.html for part in matrix.parts(message, matrix.Reader())),
    "the page in Slack": lambda message: json.dumps(home(message)["blocks"]),
}
RULES = {
    "the room as text": "---",
    "Matrix as text": "---",
    "Matrix as HTML": "<hr>",
    "the room's page": '"rule"',
    "what Slack reads out": "",
    "a report": "<hr>",
}
"""A dividing line says nothing, so each surface has its own sign of it."""


PAGE = Path(coldframe.__file__).parent / "chat" / "room" / "page"


def _cases(file: str, function: str) -> set[str]:
    """The kinds that a function of the room's page tells apart."""
    script = (PAGE / file).read_text(encoding="utf-8")
    rest = script.split(f"function {function}(")[1]
    return set(re.findall(r'case "(\w+)":', re.split(r"\n(?:export )?function ", rest)[0]))


def test_the_page_draws_every_kind_that_the_wire_can_carry() -> None:
    """Its script knows every block and inline by name, and nothing besides; every field of a form has its control."""
    assert _cases("card.js", "blockOf") == {block.kind for block in BLOCKS.values()}
    assert _cases("card.js", "inline") == {inline.kind for inline, _ in INLINES.values()} - {"to"}  # sent as words
    controls = (PAGE / "forms.js").read_text(encoding="utf-8").split("const CONTROLS = {")[1]
    assert set(re.findall(r"^  (\w+):", controls, re.MULTILINE)) == set(get_args(get_type_hints(nodes.Field)["shape"]))


def test_there_is_a_sample_of_every_kind() -> None:
    """A block or inline that is added must be drawn below."""
    assert set(BLOCKS) == set(get_args(Block))
    assert set(INLINES) == set(get_args(Inline))


@pytest.mark.parametrize("surface", SURFACES)
@pytest.mark.parametrize("kind", BLOCKS, ids=lambda kind: kind.__name__)
def test_every_block_is_drawn_on_every_surface(kind: type, surface: str) -> None:
    """What a block says stands on each surface that shows messages."""
    if surface == "a report" and kind is nodes.Buttons:
        return  # on paper nothing can be pressed
    wanted = RULES.get(surface, "divider") if kind is nodes.Rule else SAID
    assert wanted in SURFACES[surface](Message(line("A summary."), (BLOCKS[kind],)))


@pytest.mark.parametrize("surface", SURFACES)
@pytest.mark.parametrize("kind", INLINES, ids=lambda kind: kind.__name__)
@pytest.mark.parametrize("holder", [Paragraph, nodes.Small], ids=lambda holder: holder.__name__)
def test_every_inline_is_drawn_on_every_surface(holder: Callable[[Line], Block], kind: type, surface: str) -> None:
    """What an inline says stands on each surface, in large words as in small ones."""
    inline, wanted = INLINES[kind]
    assert wanted in SURFACES[surface](Message(line("A summary."), (holder((inline,)),)))
