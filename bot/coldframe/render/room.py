"""Neutral messages for the room: as JSON for its page, and as plain text for transcripts and terminals.

The page puts every string in as text, so nothing is escaped here; what must not come alive (an address that
is no web address) loses its meaning here already.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any, assert_never, get_args

from coldframe.charts.figures import figure_of
from coldframe.message import picture_words
from coldframe.message.nodes import (
    Block,
    Button,
    Buttons,
    Code,
    Facts,
    Field,
    Form,
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
    plain,
)
from coldframe.message.pictures import Chart, Corner
from coldframe.speech.round.page_words import GO_ON

Json = dict[str, Any]


# --- for the page -------------------------------------------------------------------------------------------


def message_json(message: Message) -> Json:
    """The card as the page reads it. Attachments are messages of their own and seeds are reactions."""
    return {"summary": line_json(message.summary), "blocks": [_block_json(block) for block in message.blocks]}


def line_json(parts: Line) -> list[Json]:
    return [_inline_json(part) for part in parts]


def form_json(form: Form) -> Json:
    """The form with its fields in order."""
    return {
        "title": form.title,
        "action": form.action,
        "value": form.value,
        "intro": line_json(form.intro),
        "submit": form.submit,
        "last": form.submit != GO_ON,
        "fields": [_field_json(field) for field in form.fields],
    }


def _field_json(field: Field) -> Json:
    return {
        "name": field.name,
        "label": field.label,
        "shape": field.shape,
        "hint": field.hint,
        "required": field.required,
        "most": field.most,
        "initial": field.initial,
        "options": [{"value": option.value, "label": option.label} for option in field.options],
        "day": field.day,
        "each": field.each,
    }


def _inline_json(part: Inline) -> Json:
    match part:
        case Words():
            return {"kind": "words", "text": part.text, "strong": part.strong}
        case Theirs():
            return {"kind": "theirs", "text": part.text}
        case When():
            return {"kind": "when", "at": part.at.astimezone(UTC).isoformat(), "form": part.form}
        case Who():
            return {"kind": "who", "person": part.person, "name": part.name}
        case Code():
            return {"kind": "code", "text": part.text}
        case Link():
            if not is_web_address(part.url):
                return {"kind": "theirs", "text": f"{part.label} ({part.url})"}
            return {"kind": "link", "url": part.url, "label": part.label}
        case To():
            return {"kind": "words", "text": part.label, "strong": part.strong}
        case _:
            assert_never(part)


_WEB = re.compile(r"https?://[^\s\x00-\x20\x7f]+\Z", re.IGNORECASE)


def is_web_address(url: str) -> bool:
    return _WEB.match(url) is not None


def _block_json(block: Block) -> Json:
    match block:
        case Paragraph():
            return {"kind": block.kind, "line": line_json(block.line), "mark": block.mark}
        case Heading() | Small():
            return {"kind": block.kind, "line": line_json(block.line)}
        case Facts():
            return {"kind": "facts", "rows": [[label, line_json(value)] for label, value in block.rows]}
        case Items():
            return {"kind": "items", "ordered": block.ordered, "lines": [line_json(one) for one in block.lines]}
        case Grid():
            rows = [[line_json(cell) for cell in row] for row in block.rows]
            return {"kind": "grid", "caption": block.caption, "header": list(block.header), "rows": rows}
        case Quoted():
            return {"kind": "quoted", "text": block.text}
        case Buttons():
            return {"kind": "buttons", "buttons": [_button_json(button) for button in block.buttons]}
        case Rule():
            return {"kind": "rule"}
        case _:
            assert_never(block)


def _button_json(button: Button) -> Json:
    return {
        "label": button.label,
        "action": button.action,
        "value": button.value,
        "style": button.style,
        "confirm": button.confirm,
        "says": button.says,
    }


def picture_json(chart: Chart) -> Json:
    """A picture for the page to draw: the same figures from which its file is drawn, its table, and its words."""
    header, *rows = chart.table()
    return {
        "heading": chart.heading(),
        "words": chart.alternative(),
        "header": list(header),
        "rows": [list(row) for row in rows],
        "figure": asdict(figure_of(chart)),
        "names": _NAMES,
    }


_NAMES = {
    "impact": picture_words.IMPACT, "effort": picture_words.EFFORT, "little": picture_words.LITTLE,
    "much": picture_words.MUCH, "sure": picture_words.SURE_KEY, "unsure": picture_words.UNSURE_KEY,
    "corners": get_args(Corner), "group": picture_words.GROUP_KEY,
    "decision_maker": picture_words.DECISION_MAKER_KEY, "tied": picture_words.TIED,
    "places_only": picture_words.PLACES_ONLY, "nothing_voted": picture_words.NOTHING_VOTED,
    "forward": picture_words.FORWARD, "back": picture_words.BACK, "no_driving": picture_words.NO_DRIVING,
    "no_restraining": picture_words.NO_RESTRAINING, "starts": picture_words.TRIAL_STARTS,
    "no_number": picture_words.NO_NUMBER, "said": picture_words.SAID, "came_true": picture_words.CAME_TRUE,
    "as_said": picture_words.AS_SAID, "with_interval": picture_words.WITH_INTERVAL,
}  # fmt: skip
"""Words that pictures share, so that the page has none of its own."""


# --- as text ------------------------------------------------------------------------------------------------


def message_text(message: Message, zone: str | None = None, now: datetime | None = None) -> str:
    """The card in plain lines, moments in the given zone, as they are said at `now`; safe to print, whatever people
    wrote."""
    blocks = [tame("\n".join(_block_text(block, zone, now))) for block in message.blocks]
    return "\n".join(blocks) or tame(plain(message.summary, zone, now))


_CONTROL = {code: 0x2400 + code for code in range(0x20) if code not in {0x09, 0x0A}} | {0x7F: 0x2421}
_CONTROL |= dict.fromkeys(range(0x80, 0xA0), 0xFFFD)


def tame(text: str) -> str:
    """Text whose control characters a terminal will show and not obey."""
    return text.translate(_CONTROL)


def _block_text(block: Block, zone: str | None, now: datetime | None) -> Iterable[str]:
    match block:
        case Heading() | Paragraph() | Small():
            yield plain(block.line, zone, now)
        case Facts():
            yield from (f"{label}: {plain(value, zone, now)}" for label, value in block.rows)
        case Items():
            for number, one in enumerate(block.lines, 1):
                mark = f"{number}." if block.ordered else "-"
                yield _hung(f"{mark} ", plain(one, zone, now))
        case Grid():
            yield from _grid_text(block, zone, now)
        case Quoted():
            yield from (f"| {row}" for row in block.text.split("\n"))
        case Buttons():
            yield " ".join(f"[{button.label}]" for button in block.buttons)
        case Rule():
            yield "-" * 8
        case _:
            assert_never(block)


def _hung(mark: str, text: str) -> str:
    return mark + text.replace("\n", "\n" + " " * len(mark))


def _grid_text(grid: Grid, zone: str | None, now: datetime | None) -> Iterable[str]:
    yield grid.caption
    rows = [grid.header, *(tuple(" ".join(plain(cell, zone, now).split()) for cell in row) for row in grid.rows)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
