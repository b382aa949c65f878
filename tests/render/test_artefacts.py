"""Attachments as files: safe names, words beside every picture, and readable calendar files."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Literal

import icalendar
import pytest

from coldframe.message.nodes import Appointment, CalendarFile, Drawing, TextFile
from coldframe.message.pictures import Chart, ForceField
from coldframe.render.artefacts import PICTURES_KEPT, Workshop, file_name

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
FORCES = ForceField("retention", ("weekly digest",), ("exports break", "set-up is long"))


class Pen:
    """Draws a picture of four bytes, or breaks."""

    broken = False
    drawn = 0

    async def draw(self, chart: Chart, form: Literal["png", "svg"] = "png") -> bytes:
        if self.broken:
            raise RuntimeError("no ink")
        self.drawn += 1
        return b"\x89PNG"


async def test_picture_comes_with_its_meaning_in_words() -> None:
    """A drawing carries the chart's own text alternative, and its first sentence as title."""
    made = await Workshop(Pen(), lambda: NOW)(Drawing(FORCES, "forces-retention"))
    assert (made.name, made.media_type, made.content) == ("forces-retention.png", "image/png", b"\x89PNG")
    assert made.alternative == FORCES.alternative() and made.alternative.startswith(made.title)


async def test_picture_that_cannot_be_drawn_is_sent_as_words() -> None:
    """A failing pen holds nothing up: the same meaning goes out as text."""
    pen = Pen()
    pen.broken = True
    made = await Workshop(pen, lambda: NOW)(Drawing(FORCES, "forces"))
    assert (made.name, made.media_type) == ("forces.txt", "text/plain")
    assert "exports break" in made.content.decode()


async def test_calendar_file_is_read_by_a_calendar_library() -> None:
    """The dates come back from icalendar's own parser (RFC 5545) with moment, title and UID."""
    date = Appointment("u1", "Review\r\nATTENDEE:x", "of the trial", NOW, sequence=2)
    made = await Workshop(Pen(), lambda: NOW)(CalendarFile("dates", "Round", (date,)))
    (event,) = icalendar.Calendar.from_ical(made.content).walk("VEVENT")
    assert made.name == "dates.ics" and made.media_type == "text/calendar"
    assert (event["uid"], event["dtstart"].dt, event["sequence"]) == ("u1", NOW, 2)
    assert "attendee" not in event


async def test_text_file_keeps_name_type_and_words() -> None:
    """A text goes out as it is."""
    made = await Workshop(Pen(), lambda: NOW)(TextFile("round.json", "Round", '{"a": 1}', "application/json"))
    assert (made.name, made.media_type, made.content) == ("round.json", "application/json", b'{"a": 1}')


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("../../etc/passwd", "etc-passwd.txt"),
        ("C:\\x", "c-x.txt"),
        ("", "file.txt"),
        (".", "file.txt"),
        ("a" * 300 + ".csv", "a" * 60 + ".csv"),
        ("x\x00y\r\n.png", "x-y.png"),
        ("ünï", "n.txt"),
    ],
)
def test_file_names_are_safe_everywhere(name: str, safe: str) -> None:
    """No path, no control character, no overlong name leaves the house."""
    assert file_name(name, "txt") == safe


async def test_a_picture_that_is_told_twice_is_drawn_once() -> None:
    """One of the latest few is at hand; an earlier one is drawn again."""
    pen = Pen()
    workshop = Workshop(pen, lambda: NOW)
    charts = [ForceField(f"lever {number}", ("help",), ("form",)) for number in range(PICTURES_KEPT + 1)]
    for chart in (*charts, replace(charts[1])):
        await workshop(Drawing(chart, "forces"))
    assert pen.drawn == len(charts)
    await workshop(Drawing(charts[0], "forces"))
    assert pen.drawn == len(charts) + 1
