"""Neutral messages for Matrix: text, and the same in the subset of HTML that clients show.

The HTML is made of templates of our own with every value escaped, and goes through `nh3` once before it leaves, so that
nothing outside of the subset can slip through. Whatever people wrote is text: no tag, no link, no mention in it lives.
"""

from __future__ import annotations

import html
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import assert_never
from urllib.parse import quote
from zoneinfo import ZoneInfo

import nh3

from coldframe.message.nodes import (
    Block,
    Buttons,
    Code,
    Facts,
    Grid,
    Heading,
    Inline,
    Items,
    Line,
    Link,
    Message,
    Paragraph,
    Quoted,
    Rule,
    Small,
    Theirs,
    To,
    When,
    Who,
    Words,
)
from coldframe.message.nodes import (
    plain as plain_words,
)
from coldframe.render.room import is_web_address, tame

MAX_PART = 38_500
"""Bytes of a message's text and HTML as they travel, where a sign may take twelve. Encryption makes a third more of
them, and an event holds 65,536."""
MAX_TEXT = 1_600  # characters of one text of a person that stand in one piece
HALF_A_YEAR = timedelta(days=183)
COMMAND, TYPED = "/coldframe", "!coldframe"
"""Clients keep what begins with a slash to themselves."""
TAGS = frozenset({"h4", "p", "br", "hr", "strong", "em", "code", "a", "ul", "ol", "li", "blockquote"})
"""What is made here of the subset that clients show."""
_ATTRIBUTES = {"a": {"href"}}
_SCHEMES = {"https", "http"}
_FORMS = {"moment": "%a %-d %b, %-H:%M", "by": "%-H:%M on %a %-d %b", "day": "%a %-d %b", "hour": "%-H:%M"}


@dataclass(frozen=True, slots=True)
class Reader:
    """In which zone times are told; `named` where many read, who may live elsewhere. What is far from `now` has its
    year."""

    zone: str = "UTC"
    named: bool = True
    now: datetime | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """What goes into one event. `mentions`: whom it wakes."""

    text: str
    html: str
    mentions: tuple[str, ...] = ()


def parts(message: Message, reader: Reader) -> tuple[Part, ...]:
    """The message, carried on in as many parts as it needs."""
    blocks = message.blocks or (Paragraph(message.summary),)
    out: list[Part] = []
    for piece in (_block(small, reader) for block in blocks for small in _cut(block)):
        if out and _size(out[-1]) + _size(piece) <= MAX_PART:
            last = out[-1]
            out[-1] = Part(f"{last.text}\n{piece.text}", last.html + piece.html, (*last.mentions, *piece.mentions))
        else:
            out.append(piece)
    return tuple(replace(part, html=clean(part.html), mentions=tuple(dict.fromkeys(part.mentions))) for part in out)


def _size(part: Part) -> int:
    return len(json.dumps(part.text)) + len(json.dumps(part.html))


def clean(text: str) -> str:
    """Nothing but the subset, whatever came in."""
    return nh3.clean(
        text, tags=set(TAGS), attributes=_ATTRIBUTES, url_schemes=_SCHEMES, link_rel=None,
        clean_content_tags={"script", "style"},
    )  # fmt: skip


# --- in pieces that fit ---


def _cut(block: Block) -> Iterator[Block]:
    """A text of a person that is too long goes on in another block, and a list in another list."""
    match block:
        case Quoted():
            yield from (Quoted(piece) for piece in _pieces(block.text))
        case Heading() | Paragraph() | Small():
            yield from (replace(block, line=line) for line in _lines(block.line))
        case Items():
            yield from (replace(block, lines=some) for some in _some(block.lines)) if not block.ordered else (block,)
        case _:
            yield block


def _pieces(text: str) -> list[str]:
    return [text[at : at + MAX_TEXT] for at in range(0, len(text), MAX_TEXT)] or [""]


def _lines(line: Line) -> list[Line]:
    """Cut where it is longer than a piece."""
    out: list[list[Inline]] = [[]]
    room = MAX_TEXT
    for part in line:
        for small in _smaller(part):
            length = len(small.text) if isinstance(small, Theirs | Words | Code) else 100
            if length > room and out[-1]:
                out.append([])
                room = MAX_TEXT
            out[-1].append(small)
            room -= length
    return [tuple(each) for each in out]


def _smaller(part: Inline) -> list[Inline]:
    if isinstance(part, Theirs | Words):
        return [replace(part, text=piece) for piece in _pieces(part.text)]
    return [part]


def _some(lines: Sequence[Line]) -> Iterator[tuple[Line, ...]]:
    """Twenty at a time."""
    yield from (tuple(lines[at : at + 20]) for at in range(0, len(lines), 20))


# --- blocks ---


def _block(block: Block, reader: Reader) -> Part:
    wakes = tuple(who.person for who in _people(block) if who.notify)
    return Part(tame("\n".join(_text(block, reader))), _html(block, reader), wakes)


def _text(block: Block, reader: Reader) -> Iterable[str]:
    match block:
        case Heading() | Paragraph() | Small():
            yield plain(block.line, reader)
        case Facts():
            yield from (f"{label}: {plain(value, reader)}" for label, value in block.rows)
        case Items():
            for number, line in enumerate(block.lines, 1):
                yield f"{f'{number}.' if block.ordered else '-'} {plain(line, reader)}"
        case Grid():
            yield block.caption
            yield from (f"- {row}" for row in _rows(block, lambda line: plain(line, reader), str))
        case Quoted():
            yield from (f"> {row}" for row in block.text.split("\n"))
        case Buttons():
            yield " ".join(f"[{button.label}]" for button in block.buttons)
        case Rule():
            yield "-" * 8
        case _:
            assert_never(block)


def _html(block: Block, reader: Reader) -> str:
    match block:
        case Heading():
            return f"<h4>{marked_up(block.line, reader)}</h4>"
        case Paragraph():
            return f"<p>{marked_up(block.line, reader)}</p>"
        case Small():
            return f"<p><em>{marked_up(block.line, reader)}</em></p>"
        case Facts():
            facts = (f"<strong>{escaped(label)}:</strong> {marked_up(value, reader)}" for label, value in block.rows)
            return f"<p>{'<br>'.join(facts)}</p>"
        case Items():
            tag = "ol" if block.ordered else "ul"
            return f"<{tag}>{''.join(f'<li>{marked_up(line, reader)}</li>' for line in block.lines)}</{tag}>"
        case Grid():
            rows = _rows(block, lambda line: marked_up(line, reader), escaped)
            return f"<p>{escaped(block.caption)}</p><ul>{''.join(f'<li>{row}</li>' for row in rows)}</ul>"
        case Quoted():
            return f"<blockquote>{escaped(block.text)}</blockquote>"
        case Buttons():
            return f"<p>{' '.join(f'[{escaped(button.label)}]' for button in block.buttons)}</p>"
        case Rule():
            return "<hr>"
        case _:
            assert_never(block)


def _rows(grid: Grid, cell: Callable[[Line], str], name: Callable[[str], str]) -> Iterator[str]:
    """A table as a list, since phones show it so: the first cell, then the others under their names."""
    for first, *others in grid.rows:
        named = (f"{name(head)} {cell(each)}" for head, each in zip(grid.header[1:], others, strict=True))
        yield f"{cell(first)}: {', '.join(named)}" if others else cell(first)


def _people(block: Block) -> Iterator[Who]:
    match block:
        case Heading() | Paragraph() | Small():
            yield from (part for part in block.line if isinstance(part, Who))
        case Facts():
            yield from (part for _, line in block.rows for part in line if isinstance(part, Who))
        case Items():
            yield from (part for line in block.lines for part in line if isinstance(part, Who))
        case _:
            return


# --- lines ---


def plain(line: Line, reader: Reader) -> str:
    return "".join(_plain(part, reader) for part in line)


def _plain(part: Inline, reader: Reader) -> str:
    match part:
        case Code():
            return typed(part.text)
        case When():
            return moment(part, reader)
        case _:
            return plain_words((part,))


def marked_up(line: Line, reader: Reader) -> str:
    return "".join(_marked_up(part, reader) for part in line)


def _marked_up(part: Inline, reader: Reader) -> str:
    match part:
        case Words():
            return f"<strong>{escaped(part.text)}</strong>" if part.strong else escaped(part.text)
        case Theirs():
            return escaped(part.text)
        case Code():
            return f"<code>{escaped(typed(part.text))}</code>"
        case When():
            return escaped(moment(part, reader))
        case Who() if part.notify:
            return f'<a href="https://matrix.to/#/{quote(part.person, safe="@:")}">{escaped(part.name)}</a>'
        case Who():
            return escaped(part.name)
        case To():
            return f"<strong>{escaped(part.label)}</strong>" if part.strong else escaped(part.label)
        case Link() if is_web_address(part.url):
            return f'<a href="{html.escape(part.url)}">{escaped(part.label)}</a>'
        case Link():
            return escaped(f"{part.label} ({part.url})")
        case _:
            assert_never(part)


def escaped(text: str) -> str:
    return html.escape(tame(text)).replace("\n", "<br>")


def typed(words: str) -> str:
    """A command as it is typed here."""
    return TYPED + words.removeprefix(COMMAND) if words.startswith(COMMAND) else words


def moment(when: When, reader: Reader) -> str:
    """A date and a time that stay true as long as the message stands; the zone where it is not the reader's own."""
    local: datetime = when.at.astimezone(ZoneInfo(reader.zone))
    is_far = reader.now is None or abs(when.at - reader.now) > HALF_A_YEAR
    words = local.strftime(_FORMS[when.form].replace("%b", "%b %Y" if is_far else "%b"))
    return words if when.form == "day" or not reader.named else f"{words} ({reader.zone})"
