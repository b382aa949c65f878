"""Attachments made into files: the same bytes for every platform."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal, Protocol, assert_never

import structlog

from coldframe.calendar.ics import Entry, calendar_file
from coldframe.message.nodes import Appointment, Attachment, CalendarFile, Drawing, Page, TextFile, plain
from coldframe.message.pictures import Chart
from coldframe.render.page import page_html

logger = structlog.get_logger()
PICTURES_KEPT = 32  # of some 60 kB each: those of a round, which a report shows once more


@dataclass(frozen=True, slots=True)
class Artefact:
    """A finished file. `alternative` is a picture's whole meaning in words; empty where the file is text."""

    name: str
    media_type: str
    content: bytes = field(repr=False)
    title: str
    alternative: str = ""


class Draughtsman(Protocol):
    """Whoever draws; `coldframe.charts.studio.Studio` is one."""

    async def draw(self, chart: Chart, form: Literal["png", "svg"] = "png") -> bytes: ...


class Workshop:
    """Makes the file of an attachment. `now` gives the stamp of calendar files."""

    def __init__(self, draughtsman: Draughtsman, now: Callable[[], datetime]) -> None:
        self._draughtsman = draughtsman
        self._now = now
        self._lately: dict[Chart, bytes] = {}
        """Pictures drawn lately: one that is told twice, or whose way out failed, is not drawn again."""

    async def __call__(self, attachment: Attachment) -> Artefact:
        match attachment:
            case Drawing():
                return await self._drawn(attachment)
            case CalendarFile():
                return self._calendar(attachment)
            case TextFile():
                name = file_name(attachment.name, "txt")
                return Artefact(name, attachment.media_type, attachment.text.encode(), attachment.title)
            case Page():
                return await self._page(attachment)
            case _:
                assert_never(attachment)

    async def _drawn(self, drawing: Drawing) -> Artefact:
        words, picture = drawing.chart.alternative(), await self._if_it_can(drawing.chart)
        if picture is None:
            return Artefact(file_name(drawing.name, "txt"), "text/plain", words.encode(), _first_sentence(words))
        return Artefact(file_name(drawing.name, "png"), "image/png", picture, _first_sentence(words), words)

    async def _page(self, page: Page) -> Artefact:
        parts = (part for chapter in page.chapters for part in chapter.parts)
        charts = dict.fromkeys(part.chart for part in parts if isinstance(part, Drawing))
        drawn = {chart: picture for chart in charts if (picture := await self._if_it_can(chart)) is not None}
        return Artefact(
            file_name(page.name, "html"),
            "text/html",
            page_html(page, drawn).encode("utf-8", "replace"),
            plain(page.title),
        )

    async def _if_it_can(self, chart: Chart) -> bytes | None:
        try:
            return await self._picture(chart)
        except Exception as problem:  # a picture that cannot be drawn must not hold up what its numbers say
            logger.warning("artefact.not_drawn", problem=type(problem).__name__, chart=chart.kind)
            return None

    async def _picture(self, chart: Chart) -> bytes:
        if chart not in self._lately:
            self._lately[chart] = await self._draughtsman.draw(chart)
            while len(self._lately) > PICTURES_KEPT:
                del self._lately[next(iter(self._lately))]
        return self._lately[chart]

    def _calendar(self, file: CalendarFile) -> Artefact:
        content = calendar_file(map(entry_of, file.entries), name=file.title, now=self._now())
        return Artefact(file_name(file.name, "ics"), "text/calendar", content, file.title)


def entry_of(date: Appointment) -> Entry:
    return Entry(
        uid=date.uid,
        sequence=date.sequence,
        starts=date.starts,
        ends=date.ends,
        title=date.title,
        details=date.details,
        alarm_minutes=date.alarm_minutes,
        cancelled=date.cancelled,
        attendees=date.attendees,
    )


def _first_sentence(words: str) -> str:
    return re.split(r"(?<=[.!?]) ", words, maxsplit=1)[0]


_ENDING = re.compile(r"(.*)\.([A-Za-z0-9]{1,8})\Z", re.DOTALL)


def file_name(name: str, ending: str) -> str:
    """A name that every file system takes: small letters, digits, dashes, with its own ending or the given."""
    found = _ENDING.match(name)
    stem, ending = (found[1], found[2].lower()) if found else (name, ending)
    stem = re.sub(r"[^a-z0-9]+", "-", stem.lower()).strip("-")[:60].strip("-")
    return f"{stem or 'file'}.{ending}"
