"""Messages and blocks in short: from one of our templates (see `nodes.line`), or from a line that is made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

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


def told(words: Line, /, *more: Block, attachments: tuple[Attachment, ...] = (), private: bool = False) -> Message:
    """The words as summary and as first paragraph, then what follows."""
    return Message(words, (Paragraph(words), *more), attachments=attachments, private=private)


def in_private(message: Message) -> Message:
    """The same, marked: it holds what somebody gave in confidence."""
    return replace(message, private=True)


def heading(words: str | Line, /, **parts: Part) -> Heading:
    return Heading(_line(words, parts))


def paragraph(words: str | Line, /, **parts: Part) -> Paragraph:
    return Paragraph(_line(words, parts))


def small(words: str | Line, /, **parts: Part) -> Small:
    return Small(_line(words, parts))


def _line(words: str | Line, parts: Mapping[str, Part]) -> Line:
    return line(words, **parts) if isinstance(words, str) else words


def offer(*buttons: Button) -> Buttons:
    return Buttons(buttons)
