"""An attachment as a message, for platforms that take no files."""

from __future__ import annotations

from collections.abc import Iterable
from typing import assert_never

from coldframe.message.nodes import (
    Appointment,
    Attachment,
    Block,
    CalendarFile,
    Drawing,
    Items,
    Line,
    Message,
    Page,
    Quoted,
    TextFile,
    Theirs,
    When,
    line,
)
from coldframe.message.saying import heading, paragraph, said, told


def in_words(attachment: Attachment) -> Message:
    """What the file would show: a picture's meaning, the dates of a calendar, the text of a text."""
    match attachment:
        case Drawing():
            return said("{words}", words=attachment.chart.alternative())
        case CalendarFile():
            title = line("{title}", title=Theirs(attachment.title))
            return told(title, Items(tuple(map(_date, attachment.entries))))
        case TextFile():
            title = line("{title}", title=Theirs(attachment.title))
            return told(title, Quoted(attachment.text))
        case Page():
            return Message(attachment.title, (heading(attachment.title), *attachment.lead, *_chapters(attachment)))
        case _:
            assert_never(attachment)


def _chapters(page: Page) -> Iterable[Block]:
    for chapter in page.chapters:
        yield heading(chapter.title)
        for part in chapter.parts:
            yield paragraph("{w}", w=part.chart.alternative()) if isinstance(part, Drawing) else part


def _date(entry: Appointment) -> Line:
    return line("{when}: {title}", when=When(entry.starts), title=Theirs(entry.title))
