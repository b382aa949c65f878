"""Calendar files by RFC 5545, read back by two independent parsers (vobject and ics) with the same moments."""

from __future__ import annotations

import re
import warnings
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.calendar.ics import BadEntry, Entry, calendar_file
from coldframe.timing.zones import NaiveMoment, UnknownZone
from tests.timing.drawn import ZONES

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import ics
    import vobject

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
REVIEW = Entry("review-1", 0, NOW, NOW + timedelta(hours=1), "Review", "Bring the numbers.")


def _file(*entries: Entry, **options: Any) -> str:
    return calendar_file(entries, name="Round", now=NOW, **options).decode("utf-8")


def _unfolded(text: str) -> list[str]:
    return re.sub("\r\n[ \t]", "", text).split("\r\n")


def _by_vobject(text: str) -> dict[str, tuple[datetime | date, datetime | date | None, str]]:
    events = vobject.readOne(text).vevent_list
    return {
        each.uid.value: (
            each.dtstart.value,
            each.dtend.value if hasattr(each, "dtend") else None,
            each.summary.value if hasattr(each, "summary") else "",
        )
        for each in events
    }


def _by_ics(text: str) -> dict[str, tuple[datetime, datetime, str]]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return {
            each.uid: (each.begin.datetime, each.end.datetime, each.name or "") for each in ics.Calendar(text).events
        }


# --- moments ----------------------------------------------------------------------------------------------------

moments = st.datetimes(datetime(2026, 1, 1), datetime(2030, 1, 1)).map(
    lambda moment: moment.replace(microsecond=0, tzinfo=UTC)
)


@given(moments, st.integers(0, 600), st.sampled_from([None, *ZONES]))
def test_two_other_parsers_find_the_same_moments(starts: datetime, minutes: int, zone: str | None) -> None:
    """Whatever the zone of the entry, both read the instants that went in."""
    ends = starts + timedelta(minutes=minutes) if minutes else None
    text = _file(Entry("uid", 3, starts, ends, "Close", zone=zone))
    assert _by_vobject(text) == {"uid": (starts, ends, "Close")}
    assert _by_ics(text) == {"uid": (starts, ends or starts, "Close")}


@pytest.mark.parametrize(
    "moment",
    [
        datetime(2026, 10, 25, 0, 30, tzinfo=UTC),  # both instants that are 1:30 in London (zone database)
        datetime(2026, 10, 25, 1, 30, tzinfo=UTC),
        datetime(2026, 4, 4, 14, 45, tzinfo=UTC),  # both that are 1:45 on Lord Howe
        datetime(2026, 4, 4, 15, 15, tzinfo=UTC),
        datetime(2028, 2, 29, 23, 59, 59, tzinfo=UTC),
        datetime(2026, 12, 31, 23, 59, 59, tzinfo=UTC),
    ],
)
def test_doubled_hours_and_turns_of_the_calendar_stay_apart(moment: datetime) -> None:
    """Two instants with one wall-clock time are two moments in the file, as are the ends of month and year."""
    text = _file(Entry("uid", 0, moment, None, "Close", zone="Europe/London"))
    assert f"DTSTART:{moment:%Y%m%dT%H%M%SZ}" in _unfolded(text)
    assert _by_vobject(text)["uid"][0] == _by_ics(text)["uid"][0] == moment


def test_whole_days_are_those_of_the_zone() -> None:
    """A day in Auckland that begins on the 24th in UTC is the 25th, and ends before the 26th (DTEND is exclusive)."""
    starts = datetime(2026, 11, 24, 11, tzinfo=UTC)
    entry = Entry("uid", 0, starts, None, "Review", zone="Pacific/Auckland", all_day=True)
    lines = _unfolded(_file(entry))
    assert "DTSTART;VALUE=DATE:20261125" in lines
    assert "DTEND;VALUE=DATE:20261126" in lines
    assert _by_vobject(_file(entry))["uid"][:2] == (date(2026, 11, 25), date(2026, 11, 26))
    two_days = replace(entry, ends=starts + timedelta(hours=25))
    assert "DTEND;VALUE=DATE:20261127" in _unfolded(_file(two_days))


def test_an_alarm_comes_before_the_start() -> None:
    """VALARM has action, description and a trigger in minutes before the start (RFC 5545, 3.6.6)."""
    text = _file(replace(REVIEW, alarm_minutes=90))
    alarm = vobject.readOne(text).vevent.valarm
    assert (alarm.action.value, alarm.description.value) == ("DISPLAY", "Review")
    assert alarm.trigger.value == -timedelta(minutes=90)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        (event,) = ics.Calendar(text).events
    assert event.alarms[0].trigger == -timedelta(minutes=90)


# --- updates and cancellations ----------------------------------------------------------------------------------


def test_a_moved_date_keeps_its_uid_and_raises_its_sequence() -> None:
    """RFC 5545, 3.8.4.7 and 3.8.7.4: the same UID with a higher SEQUENCE is the same entry, changed."""
    uid = "r7-review"
    first = _unfolded(_file(Entry(uid, 0, NOW, None, "Review")))
    moved = _unfolded(_file(Entry(uid, 1, NOW + timedelta(days=1), None, "Review")))
    assert [line for line in first if line.startswith("UID")] == [line for line in moved if line.startswith("UID")]
    assert "SEQUENCE:0" in first
    assert "SEQUENCE:1" in moved


def test_a_cancelled_entry_is_said_so() -> None:
    """STATUS is CANCELLED and no alarm rings; a file of cancelled entries alone has METHOD CANCEL (RFC 5546, 3.2.5)."""
    gone = replace(REVIEW, uid="gone", sequence=2, cancelled=True, alarm_minutes=30)
    mixed = _unfolded(_file(REVIEW, gone))
    assert "METHOD:PUBLISH" in mixed
    assert mixed.count("STATUS:CANCELLED") == mixed.count("STATUS:CONFIRMED") == 1
    assert "BEGIN:VALARM" not in mixed
    assert "METHOD:CANCEL" in _unfolded(_file(gone))


# --- form -------------------------------------------------------------------------------------------------------


def test_required_properties_are_there() -> None:
    """RFC 5545, 3.6 and 3.6.1: PRODID and VERSION once, UID and DTSTAMP in every event; CRLF ends every line."""
    text = _file(REVIEW, replace(REVIEW, uid="review-2"), refresh=timedelta(hours=6))
    lines = _unfolded(text)
    assert lines[0] == "BEGIN:VCALENDAR"
    assert text.endswith("END:VCALENDAR\r\n")
    assert "\n" not in text.replace("\r\n", "")
    counts = {name: sum(line.startswith(name) for line in lines) for name in ("PRODID:", "VERSION:2.0", "METHOD:")}
    assert set(counts.values()) == {1}
    assert lines.count("DTSTAMP:20261125T120000Z") == 2
    assert {"UID:review-1", "UID:review-2"} <= set(lines)
    # RFC 7986, 5.1 and 5.7: name of the calendar and how often to look again.
    assert {"NAME:Round", "REFRESH-INTERVAL;VALUE=DURATION:PT6H"} <= set(lines)


def test_text_is_escaped() -> None:
    """RFC 5545, 3.3.11: backslash, semicolon, comma and newline are escaped."""
    lines = _unfolded(_file(replace(REVIEW, details="a\\b;c,d\ne")))
    assert "DESCRIPTION:a\\\\b\\;c\\,d\\ne" in lines


# What both readers keep: text without the control characters that RFC 5545 forbids.
texts = st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"]) | st.sampled_from('\n;,\\:"é🎉'), max_size=180
)


@given(texts, texts)
def test_lines_are_folded_and_restored(title: str, details: str) -> None:
    """RFC 5545, 3.1: no line over 75 octets, no character split, and unfolding gives the text back."""
    data = calendar_file([replace(REVIEW, title=title, details=details)], name=title, now=NOW)
    for line in data.split(b"\r\n"):
        assert len(line) <= 75
        line.decode("utf-8")
    assert _by_vobject(data.decode())["review-1"][2] == title


@pytest.mark.parametrize(
    "hostile",
    [
        "Review\r\nATTENDEE:mailto:eve",
        "Review\rATTENDEE:mailto:eve",
        "Review\x85ATTENDEE:mailto:eve",
        "Review\nEND:VEVENT\nBEGIN:VEVENT",
        "Review\x00\x07\x1b[31m",
        "Review\ud800",
    ],
)
def test_no_text_can_add_a_line_of_its_own(hostile: str) -> None:
    """Line breaks, control characters and broken characters in a text stay within its property."""
    data = calendar_file([replace(REVIEW, title=hostile, details=hostile)], name=hostile, now=NOW)
    lines = _unfolded(data.decode("utf-8"))
    assert not [line for line in lines if line.startswith("ATTENDEE")]
    assert lines.count("BEGIN:VEVENT") == lines.count("END:VEVENT") == 1
    assert not re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", data.decode("utf-8"))


def test_long_texts_are_cut() -> None:
    """A title of a page is cut with a sign that it was; calendars show one line."""
    (summary,) = [line for line in _unfolded(_file(replace(REVIEW, title="x" * 5000))) if line[:7] == "SUMMARY"]
    assert summary == "SUMMARY:" + "x" * 199 + "…"


def test_the_order_of_entries_does_not_matter() -> None:
    """The file is the same however the entries came, so a feed that did not change does not change."""
    later = replace(REVIEW, uid="later", starts=NOW + timedelta(days=1), ends=None)
    beside = replace(REVIEW, uid="beside")
    assert _file(REVIEW, beside, later) == _file(later, beside, REVIEW)


def test_an_empty_feed_is_a_calendar() -> None:
    """A member without dates gets a calendar without entries, not an error."""
    assert "BEGIN:VEVENT" not in _file()
    assert _by_ics(_file()) == {}


# --- bad input --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "error"),
    [
        ({"uid": ""}, BadEntry),
        ({"uid": "a\r\nb"}, BadEntry),
        ({"sequence": -1}, BadEntry),
        ({"alarm_minutes": -5}, BadEntry),
        ({"ends": NOW - timedelta(minutes=1)}, BadEntry),
        ({"starts": datetime(2026, 11, 25)}, NaiveMoment),
        ({"ends": datetime(2026, 11, 25)}, NaiveMoment),
        ({"zone": "Mars/Olympus"}, UnknownZone),
    ],
)
def test_a_bad_entry_is_refused(fields: dict[str, Any], error: type[Exception]) -> None:
    """What cannot be written is refused when the entry is made, not when somebody opens the file."""
    with pytest.raises(error):
        replace(REVIEW, **fields)


def test_two_entries_of_one_uid_are_refused() -> None:
    """A reader would keep only one of them."""
    with pytest.raises(BadEntry, match="same UID"):
        _file(REVIEW, replace(REVIEW, title="Other"))
