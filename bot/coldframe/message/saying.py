"""Messages and blocks straight from our templates (see `nodes.line`)."""

from __future__ import annotations

from coldframe.message.nodes import (
    Attachment,
    Block,
    Button,
    Buttons,
    Heading,
    Inline,
    Line,
    Message,
    Paragraph,
    Small,
    line,
)

Part = Inline | Line | str | int


def said(template: str, /, **parts: Part) -> Message:
    """One thing said, as summary and as paragraph."""
    return told(line(template, **parts))


def told(words: Line, /, *more: Block, attachments: tuple[Attachment, ...] = ()) -> Message:
    """The words as summary and as first paragraph, then what follows."""
    return Message(words, (Paragraph(words), *more), attachments=attachments)


def heading(template: str, /, **parts: Part) -> Heading:
    return Heading(line(template, **parts))


def paragraph(template: str, /, **parts: Part) -> Paragraph:
    return Paragraph(line(template, **parts))


def small(template: str, /, **parts: Part) -> Small:
    return Small(line(template, **parts))


def offer(*buttons: Button) -> Buttons:
    return Buttons(buttons)
