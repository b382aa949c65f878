"""An attachment as a message, for platforms that take no files."""

from __future__ import annotations

from typing import assert_never

from coldframe.message.nodes import (
    Appointment,
    Attachment,
    CalendarFile,
    Drawing,
    Items,
    Line,
    Message,
    Paragraph,
    Quoted,
    TextFile,
    Theirs,
    When,
    line,
)


def in_words(attachment: Attachment) -> Message:
    """What the file would show: a picture's meaning, the dates of a calendar, the text of a text."""
    match attachment:
        case Drawing():
            meaning = line("{words}", words=attachment.chart.alternative())
            return Message(meaning, (Paragraph(meaning),))
        case CalendarFile():
            title = line("{title}", title=Theirs(attachment.title))
            return Message(title, (Paragraph(title), Items(tuple(map(_date, attachment.entries)))))
        case TextFile():
            title = line("{title}", title=Theirs(attachment.title))
            return Message(title, (Paragraph(title), Quoted(attachment.text)))
        case _:
            assert_never(attachment)


def _date(entry: Appointment) -> Line:
    return line("{when}: {title}", when=When(entry.starts), title=Theirs(entry.title))
