"""Due work after downtime, and a clock that is never believed to go back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.timing.lateness import Due, Fate, Kind, catch_up, fate, steady_now

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def due(kind: Kind, late: timedelta, *, subject: str = "round 1", over: bool = False, key: str = "a") -> Due:
    return Due(key, kind, subject, NOW - late, over)


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        (due(Kind.CLOSE, timedelta(days=40)), Fate.RUN),
        (due(Kind.REVIEW, timedelta(days=40)), Fate.RUN),
        (due(Kind.REVIEW, timedelta(days=40), over=True), Fate.RUN),
        (due(Kind.REMINDER, 12 * HOUR), Fate.RUN),
        (due(Kind.REMINDER, 12 * HOUR + timedelta(seconds=1)), Fate.TOO_LATE),
        (due(Kind.REMINDER, timedelta(0), over=True), Fate.PHASE_OVER),
        (due(Kind.WEEKLY, timedelta(days=20)), Fate.RUN),
        (due(Kind.WEEKLY, HOUR, over=True), Fate.PHASE_OVER),
        (due(Kind.CLOSE, -HOUR), Fate.WAIT),
        (due(Kind.REMINDER, -HOUR, over=True), Fate.WAIT),
        (due(Kind.CLOSE, timedelta(0)), Fate.RUN),
    ],
)
def test_each_kind_has_its_rule_for_lateness(row: Due, expected: Fate) -> None:
    """Closes and reviews always happen; reminders die after twelve hours or with their phase; the future waits."""
    assert fate(row, NOW) is expected


def test_missed_weekly_nudges_merge_into_the_last() -> None:
    """Of three missed nudges for one trial the last runs and two merge into it; other trials are not touched."""
    week = timedelta(days=7)
    rows = [due(Kind.WEEKLY, n * week + HOUR, subject="trial 1", key=f"one {n}") for n in range(3)]
    rows.append(due(Kind.WEEKLY, 2 * week, subject="trial 2", key="two"))
    rows.append(due(Kind.WEEKLY, -week, subject="trial 1", key="next"))
    fates = {each.due.key: each.fate for each in catch_up(rows, NOW)}
    assert fates == {
        "one 2": Fate.MERGED,
        "one 1": Fate.MERGED,
        "one 0": Fate.RUN,
        "two": Fate.RUN,
        "next": Fate.WAIT,
    }


def test_what_fell_due_is_done_in_order() -> None:
    """After three days off, two closes come in the order in which they were due, and the reminder is dropped."""
    rows = [
        due(Kind.CLOSE, 10 * HOUR, key="second"),
        due(Kind.REMINDER, 70 * HOUR, key="nudge"),
        due(Kind.CLOSE, 60 * HOUR, key="first"),
    ]
    decided = catch_up(rows, NOW)
    assert [(each.due.key, each.fate) for each in decided] == [
        ("nudge", Fate.TOO_LATE),
        ("first", Fate.RUN),
        ("second", Fate.RUN),
    ]
    assert decided[1].late == 60 * HOUR


kinds = st.builds(
    Due,
    st.uuids().map(str),
    st.sampled_from(Kind),
    st.sampled_from(["one", "two"]),
    st.integers(-1000, 100_000).map(lambda minutes: NOW - timedelta(minutes=minutes)),
    st.booleans(),
)


@given(st.lists(kinds, unique_by=lambda row: row.key), st.randoms())
def test_catching_up_decides_each_row_once_whatever_the_order(rows: list[Due], source: object) -> None:
    """Every row gets one fate, in order of its moment, however they were read; one weekly per subject runs."""
    decided = catch_up(rows, NOW)
    source.shuffle(rows)  # type: ignore[attr-defined]
    assert catch_up(rows, NOW) == decided
    assert {each.due.key for each in decided} == {row.key for row in rows}
    assert [each.due.at for each in decided] == sorted(row.at for row in rows)
    weekly = [each.due.subject for each in decided if each.due.kind is Kind.WEEKLY and each.fate is Fate.RUN]
    assert len(weekly) == len(set(weekly))


def test_the_clock_never_goes_below_the_highest_seen() -> None:
    """A clock set back an hour is not followed, and the difference is told."""
    reading = steady_now(NOW, NOW - HOUR)
    assert (reading.now, reading.behind, reading.ahead) == (NOW, HOUR, timedelta(0))


def test_a_leap_ahead_is_told() -> None:
    """A clock that ran a day ahead while a minute passed is reported; one that kept time, or after sleep, is not."""
    minute = timedelta(minutes=1)
    assert steady_now(NOW, NOW + timedelta(days=1), minute).ahead == timedelta(days=1) - minute
    assert steady_now(NOW, NOW + minute, minute).ahead == timedelta(0)
    assert steady_now(NOW, NOW + timedelta(days=1)).ahead == timedelta(0)


@given(st.lists(st.integers(-(10**6), 10**6), min_size=1))
def test_time_is_monotonic_over_any_clock(readings: list[int]) -> None:
    """Whatever a clock reports, the present never goes back."""
    highest = NOW
    for seconds in readings:
        reading = steady_now(highest, NOW + timedelta(seconds=seconds))
        assert reading.now >= highest
        highest = reading.now
