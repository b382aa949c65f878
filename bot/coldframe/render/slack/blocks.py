"""Neutral message -> Slack messages of blocks: pure, within the platform's limits, nothing lost at a split.

A message that is too large for one becomes several; all but the first carry on in a thread. Each of them
has a `text` that says the same as its blocks, because push notices and screen readers read that and not the
blocks. Limits as published for blocks; the size of a whole message, which is not published, is kept well
below what has been seen to fail.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import assert_never

from coldframe.errors import ColdframeError
from coldframe.message.nodes import (
    Block,
    Button,
    Buttons,
    Facts,
    Grid,
    Heading,
    Items,
    Line,
    Message,
    Paragraph,
    Quoted,
    Rule,
    Small,
    Theirs,
    When,
    plain,
)
from coldframe.render.slack.aligned import columns
from coldframe.render.slack.fit import FIT, Fit
from coldframe.render.slack.mrkdwn import Element, cut, elements, length, mrkdwn, one_line, pieces, shown, text_element
from coldframe.render.slack.packing import BlockKit, packed, size
from coldframe.render.slack.spoken import spoken
from coldframe.speech import surface

MAX_VIEW_BLOCKS = 100  # blocks
MAX_HEADING = 150  # characters (UTF-16 units), as all lengths here
MAX_CONTEXT = 2_000
MAX_TEXT = 6_500  # one element of rich text; holds a note of 3,000 characters whole, even all in emoji
ROOM = 8_000  # size of one block
MAX_LABEL = 75
MAX_ACTION = 240
MAX_VALUE = 2_000
MAX_CONFIRM = 300
MAX_ELEMENTS = 25  # buttons in a row
MAX_ROWS = 100  # rows of a table, its header included
MAX_COLUMNS = 20  # columns
MAX_TABLE = 6_000
MAX_ALIGNED = 2_800  # characters of one block of text in columns


class Unrenderable(ColdframeError, ValueError):
    """A message that Slack could not take in any form, which is a mistake of ours; names no text."""


@dataclass(frozen=True, slots=True)
class Part:
    """One Slack message: `text` for notices and screen readers, `blocks` for the eye."""

    text: str
    blocks: tuple[BlockKit, ...]


def message_parts(message: Message, fit: Fit = FIT) -> tuple[Part, ...]:
    """The message as one or more Slack messages, in order. The first is the card; the others carry it on."""
    blocks = tuple(_numbered(list(_all_blocks(message.blocks, tables=fit.tables))))
    laid = packed(blocks or tuple(paragraph(message.summary)), fit.size)
    total = len(laid)
    if total > 1:
        laid[0].append(_context(surface.continues(total - 1)))
    lead = mrkdwn(message.summary)
    return tuple(
        Part(spoken(lead if number == 1 else surface.part_of(number, total), part), tuple(part))
        for number, part in enumerate(laid, 1)
    )


def page_blocks(blocks: Sequence[Block], most: int = MAX_VIEW_BLOCKS) -> list[BlockKit]:
    """Blocks for a view, which takes no tables and cannot go on elsewhere; what does not fit is counted."""
    out = list(_numbered(list(_all_blocks(blocks, tables=False))))
    if len(out) <= most:
        return out
    return [*out[: most - 1], _context(surface.left_out(len(out) - most + 1))]


# --- one neutral block --------------------------------------------------------------------------------------


def _all_blocks(blocks: Sequence[Block], *, tables: bool) -> Iterator[BlockKit]:
    for block in blocks:
        yield from _rendered(block, tables)


def _rendered(block: Block, tables: bool) -> Iterator[BlockKit]:
    match block:
        case Heading():
            yield from _heading(block.line)
        case Paragraph():
            yield from paragraph(block.line)
        case Small():
            yield from _small(block.line)
        case Facts():
            yield from _facts(block)
        case Items():
            yield from _items(block)
        case Grid():
            yield from _grid(block, tables)
        case Quoted():
            yield from _rich_blocks(_quotes(shown(block.text).strip("\n")))
        case Buttons():
            yield from _button_rows(block.buttons)
        case Rule():
            yield {"type": "divider"}
        case _:
            assert_never(block)


def _heading(parts: Line) -> Iterator[BlockKit]:
    """A time has to be the reader's own, which plain text cannot show."""
    text = one_line(plain(parts))
    if not text:
        return
    if any(isinstance(part, When) for part in parts):
        yield from _rich_blocks([_section([element | _BOLD for element in elements(parts)])])
    elif length(text) <= MAX_HEADING:
        yield {"type": "header", "text": _plain_text(text)}
    else:  # nothing is cut: a long one is a strong paragraph
        yield from _rich_blocks([_section([text_element(text, bold=True)])])


_BOLD: Element = {"style": {"bold": True}}


def paragraph(parts: Line) -> Iterator[BlockKit]:
    """A line as rich text; a person's words of several lines stand in a quote, so none passes for ours."""
    yield from _rich_blocks(_flow(parts))


def _flow(parts: Line, before: Sequence[Element | None] = ()) -> list[Element]:
    out: list[Element] = []
    run = [element for element in before if element]
    for part in parts:
        if isinstance(part, Theirs) and "\n" in shown(part.text).strip("\n"):
            out += _sections(run)
            out += _quotes(shown(part.text).strip("\n"))
            run = []
        else:
            run += elements((part,))
    return out + _sections(run)


def _sections(run: Sequence[Element]) -> list[Element]:
    return [_section(group) for group in _groups(run)] if run else []


def _quotes(text: str) -> list[Element]:
    return [
        {"type": "rich_text_quote", "elements": [{"type": "text", "text": piece}]}
        for piece in pieces(text, MAX_TEXT)
        if piece
    ]


def _groups(run: Sequence[Element]) -> Iterator[list[Element]]:
    """Elements in groups that each fit into one block; an overlong text is broken, its style kept."""
    group: list[Element] = []
    room = ROOM
    for element in run:
        for piece in _element_pieces(element):
            if group and size(piece) > room:
                yield group
                group, room = [], ROOM
            group.append(piece)
            room -= size(piece)
    yield group


def _element_pieces(element: Element) -> list[Element]:
    if element["type"] != "text":
        return [element]
    return [element | {"text": piece} for piece in pieces(element["text"], MAX_TEXT)]


def _small(parts: Line) -> Iterator[BlockKit]:
    text = mrkdwn(parts)
    if not text.strip():
        return
    if length(text) <= MAX_CONTEXT:
        yield {"type": "context", "elements": [{"type": "mrkdwn", "text": text}]}
    else:  # a token must not be cut in two, and rich text has no tokens
        yield from paragraph(parts)


def _facts(block: Facts) -> Iterator[BlockKit]:
    """Rows of one line share a section, so that they stand close; a value of several lines gets its quote."""
    out: list[Element] = []
    for label, value in block.rows:
        row = _flow(value, before=[text_element(f"{label}: ", bold=True)])
        if out and out[-1]["type"] == row[0]["type"] == "rich_text_section" and _fits(out[-1], row[0]):
            out[-1] = _section([*out[-1]["elements"], {"type": "text", "text": "\n"}, *row[0]["elements"]])
            row = row[1:]
        out += row
    yield from _rich_blocks(out)


def _fits(one: Element, other: Element) -> bool:
    return size(one) + size(other) < ROOM


def _items(block: Items) -> Iterator[BlockKit]:
    """A list, cut into blocks between its items; an ordered one keeps its numbers across the cuts."""
    style = "ordered" if block.ordered else "bullet"
    rows: list[Element] = []
    done = room = 0
    for parts in block.lines:
        first, *rest = _groups(elements(parts) or [{"type": "text", "text": surface.EMPTY_CELL}])
        row = _section(first)
        if rows and size(row) > room:
            yield _list(style, rows, done)
            done, rows, room = done + len(rows), [], 0
        rows.append(row)
        room = (room if len(rows) > 1 else ROOM) - size(row)
        if rest:  # an item that no block holds goes on below it
            yield _list(style, rows, done)
            yield from _rich_blocks([_section(group) for group in rest])
            done, rows = done + len(rows), []
    if rows:
        yield _list(style, rows, done)


def _list(style: str, rows: Sequence[Element], done: int) -> BlockKit:
    element: Element = {"type": "rich_text_list", "style": style, "elements": list(rows)}
    if style == "ordered" and done:
        element["offset"] = done
    return {"type": "rich_text", "elements": [element]}


def _grid(block: Grid, tables: bool) -> Iterator[BlockKit]:
    yield from _rich_blocks([_section([text_element(one_line(block.caption), bold=True)])])
    table = _table(block)
    if tables and len(block.rows) < MAX_ROWS and len(block.header) <= MAX_COLUMNS and size(table) <= MAX_TABLE:
        yield table
    else:
        yield from _aligned(block)


def _table(block: Grid) -> BlockKit:
    header = [{"type": "raw_text", "text": one_line(cell) or surface.EMPTY_CELL} for cell in block.header]
    return {"type": "table", "rows": [header, *([_cell(cell) for cell in row] for row in block.rows)]}


def _cell(parts: Line) -> Element:
    run = elements(_on_one_line(parts))
    if not run:
        return {"type": "raw_text", "text": surface.EMPTY_CELL}
    return {"type": "rich_text", "elements": [_section(run)]}


def _on_one_line(parts: Line) -> Line:
    return tuple(Theirs(one_line(part.text)) if isinstance(part, Theirs) else part for part in parts)


def _aligned(block: Grid) -> Iterator[BlockKit]:
    """The same rows as text in columns, cut into blocks between them, each with the header above."""
    head, *rows = columns(block)
    group: list[str] = []
    for row in rows:
        if group and length("\n".join((head, *group, row))) > MAX_ALIGNED:
            yield _preformatted("\n".join((head, *group)))
            group = []
        group.append(row)
    yield _preformatted("\n".join((head, *group)))


def _preformatted(text: str) -> BlockKit:
    part = {"type": "rich_text_preformatted", "elements": [{"type": "text", "text": text}]}
    return {"type": "rich_text", "elements": [part]}


def _button_rows(buttons: Sequence[Button]) -> Iterator[BlockKit]:
    row: list[Element] = []
    room = ROOM
    for element in map(_button, buttons):
        if len(row) == MAX_ELEMENTS or (row and size(element) > room):
            yield {"type": "actions", "elements": row}
            row, room = [], ROOM
        row.append(element)
        room -= size(element)
    if row:
        yield {"type": "actions", "elements": row}


def _button(button: Button) -> Element:
    if length(button.value) > MAX_VALUE or length(button.action) > MAX_ACTION:
        raise Unrenderable(f"the button {button.action[:40]!r} carries more than a button can")
    element: Element = {
        "type": "button",
        "text": _plain_text(cut(one_line(button.label), MAX_LABEL)),
        "action_id": button.action,
        "value": button.value,
    }
    if button.style != "plain":
        element["style"] = button.style
    if button.says:
        element["accessibility_label"] = cut(one_line(button.says), MAX_LABEL)
    if button.confirm:
        element["confirm"] = _confirm(button)
    return element


def _confirm(button: Button) -> Element:
    return {
        "title": _plain_text(surface.CONFIRM_TITLE),
        "text": _plain_text(cut(shown(button.confirm or ""), MAX_CONFIRM)),
        "confirm": _plain_text(surface.CONFIRM_YES),
        "deny": _plain_text(surface.CONFIRM_NO),
        "style": "danger" if button.style == "danger" else "primary",
    }


def _numbered(blocks: Sequence[BlockKit]) -> Iterator[BlockKit]:
    """Gives every button its own id within the message: two may do the same to different things."""
    number = 0
    for block in blocks:
        if block["type"] == "actions":
            for button in block["elements"]:
                button["action_id"] = f"{button['action_id']}#{number}"
                number += 1
        yield block


def _plain_text(text: str) -> Element:
    return {"type": "plain_text", "text": text, "emoji": False}


def _section(run: Sequence[Element | None]) -> Element:
    return {"type": "rich_text_section", "elements": [element for element in run if element]}


def _context(parts: Line) -> BlockKit:
    return {"type": "context", "elements": [{"type": "mrkdwn", "text": mrkdwn(parts)}]}


def _rich_blocks(parts: Sequence[Element]) -> Iterator[BlockKit]:
    group: list[Element] = []
    room = ROOM
    for part in parts:
        if not part["elements"]:
            continue
        if group and size(part) > room:
            yield {"type": "rich_text", "elements": group}
            group, room = [], ROOM
        group.append(part)
        room -= size(part)
    if group:
        yield {"type": "rich_text", "elements": group}
