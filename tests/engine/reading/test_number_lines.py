"""Weekly numbers as people type them: what is read, what is asked about, what is refused."""

from __future__ import annotations

import pytest

from coldframe.domain.state import ComparisonKind
from coldframe.domain.trial.state import Entry, Figures
from coldframe.engine.reading import Unreadable, week_files
from coldframe.engine.reading.number_lines import Doubtful, looks_like_numbers, read_line
from coldframe.engine.reading.numbers import decimal, whole

CONTROL, TRIAL = Figures(48, 1200), Figures(61, 1180)

SPLITS = [
    "control 1200/48, trial 1180/61",
    "Control: 1200 / 48; Trial: 1180 / 61",
    "trial 1180/61 control 1200/48",
    "control 1,200/48, trial 1,180/61",
    "control 1.200/48, trial 1.180/61",
    "control 1 200/48, trial 1 180/61",
    "control 48 of 1200, trial 61 out of 1180",
    "without 1200/48, with 1180/61",
]


@pytest.mark.parametrize("text", SPLITS)
def test_a_split_is_read_in_every_usual_way_of_writing(text: str) -> None:
    """People before those who did it, or after `of`; with either mark between thousands, in either order."""
    written = read_line(text, "split")
    assert (written.control, written.trial, written.week) == (CONTROL, TRIAL, None)
    assert looks_like_numbers(text)


READ: list[tuple[ComparisonKind, str, Figures]] = [
    ("count", "7", Figures(7)),
    ("count", "1,204", Figures(1204)),
    ("before-after", "1180/61", Figures(61, 1180)),
    ("before-after", "5,2 %", Figures(0.052)),
    ("before-after", "22.5", Figures(22.5)),
]


@pytest.mark.parametrize(("kind", "text", "figures"), READ)
def test_a_bare_number_is_the_trials(kind: ComparisonKind, text: str, figures: Figures) -> None:
    """Where there is no control group, no name is needed."""
    found = read_line(text, kind).trial
    assert found is not None and found.of == figures.of
    assert found.value == pytest.approx(figures.value)


def test_means_are_read_with_either_decimal_mark() -> None:
    """Mean, standard deviation, people."""
    written = read_line("control 20,5/15/300, trial 22.1 sd 14,8 n 310", "mean")
    assert (written.control, written.trial) == (Figures(20.5, 300, 15.0), Figures(22.1, 310, 14.8))


@pytest.mark.parametrize("text", ["week 2: 7", "Week 2, 7", "w2 7"])
def test_the_week_may_stand_in_front(text: str) -> None:
    """Without it the earliest week that is over and not logged is meant."""
    assert (read_line(text, "count").week, read_line(text, "count").trial) == (2, Figures(7))


@pytest.mark.parametrize(("text", "state"), [("week 3 broken: tracking lost", "broken"), ("w3 half a week", "partial")])
def test_a_week_that_cannot_count_is_said_in_words(text: str, state: str) -> None:
    """A gap, with its reason; never a zero."""
    written = read_line(text, "split")
    assert (written.week, written.state, written.trial) == (3, state, None)


def test_more_successes_than_people_are_asked_about_and_never_turned_in_silence() -> None:
    """The question holds the whole line the other way round, for one tap."""
    with pytest.raises(Doubtful) as caught:
        read_line("week 1: control 48/1200, trial 61/1180", "split")
    assert caught.value.instead == "week 1: control 1200/48, trial 1180/61"


@pytest.mark.parametrize(
    ("kind", "text", "said"),
    [
        ("split", "control 1200/48", "trial group is missing"),
        ("split", "control 1200/48, control 2/1", "twice"),
        ("split", "control many/48, trial 3/2", "no number"),
        ("split", "1200/48", "can't read"),
        ("count", "-4", "below zero"),
        ("count", "7,5", "counted whole"),
        ("count", "control 4", "no control group"),
        ("count", "seven", "no number"),
        ("mean", "control 1,200/15/300, trial 1/1/3", "can mean 1200 or 1.2"),
        ("before-after", "1/2/3", "can't read"),
        ("before-after", "5\n6", "one line"),
    ],
)
def test_what_cannot_be_read_is_told_with_the_right_form(kind: ComparisonKind, text: str, said: str) -> None:
    """A sentence that says why; nothing is guessed."""
    with pytest.raises(Unreadable, match=said):
        read_line(text, kind)


@pytest.mark.parametrize(
    "text",
    ["retention is bad", "we lost 50 of 60 teams", "week 3 was awful", "- 5", "+ retention: 7", "", "control freaks"],
)
def test_a_note_is_not_taken_for_numbers(text: str) -> None:
    """Only lines of groups and numbers are; everything else stays a text."""
    assert not looks_like_numbers(text)


@pytest.mark.parametrize(
    ("text", "value"), [("22.5", 22.5), ("22,5", 22.5), ("1.234,5", 1234.5), ("1,234.5", 1234.5), ("4 %", 0.04)]
)
def test_both_decimal_marks_are_read(text: str, value: float) -> None:
    """A number with both marks has only one reading."""
    assert decimal(text) == pytest.approx(value)


def test_a_whole_number_may_be_grouped() -> None:
    """A count cannot be 1.2, so 1,200 and 1.200 are the same count."""
    assert {whole(t) for t in ("1200", "1,200", "1.200", "1 200", "1'200")} == {1200}


# --- files ----------------------------------------------------------------------------------------------------------

HEADER = "week,control_people,control_successes,trial_people,trial_successes\n"


def test_a_file_gives_an_entry_for_each_right_row_and_a_problem_for_each_wrong_one() -> None:
    """Row by row, with the line that people see in their table."""
    rows = week_files.read_file((HEADER + "1,1200,48,1180,61\n2,1200,,1180,61\n3,1200,x,1180,61\n").encode(), "split")
    assert rows[0].entry is not None and (rows[0].entry.control, rows[0].entry.trial) == (CONTROL, TRIAL)
    assert [(r.line, bool(r.entry)) for r in rows] == [(2, True), (3, False), (4, False)]
    assert "empty" in rows[1].problem and "no number" in rows[2].problem


def test_a_file_may_come_from_any_table_program() -> None:
    """Semicolons, a byte-order mark, spaces in headings, columns in another order."""
    text = "\ufefftrial successes;trial people;week;control people;control successes\r\n61;1.180;1;1.200;48\r\n"
    (row,) = week_files.read_file(text.encode(), "split")
    assert row.entry is not None and (row.entry.week, row.entry.trial) == (1, TRIAL)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"date,visits\n1,2\n", "columns must be week"),
        (b"", "columns must be"),
        (HEADER.encode(), "no weeks"),
        (b"\xff\xfe\x00", "UTF-8"),
        (HEADER.encode() + b"1,1,1,1,1\n" * 80, "more than 60 rows, and at most 60"),
        (HEADER.encode() + b'1,"1,1,1,1\n', "^Line 2 of the file can't be read as CSV; look at its quotation marks"),
        (HEADER.encode() + b'1,"1"2,1,1,1\n', "^Line 2 of the file can't be read as CSV; look at its quotation marks"),
    ],
)
def test_another_file_is_refused_as_a_whole(content: bytes, said: str) -> None:
    """With the columns that would do; nothing of it is taken."""
    with pytest.raises(week_files.WrongFile, match=said):
        week_files.read_file(content, "split")


def test_a_file_says_harm_stop_line_gaps_and_reasons_beside_the_numbers() -> None:
    """In columns that may be there; of a week that does not count the numbers may be missing."""
    head = HEADER.strip() + ",harm,stop_line,state,reason\n"
    rows = week_files.read_file(
        (head + "1,1200,48,1180,61,3.5,,,\n2,1200,48,1180,61,,yes,,\n3,,,,,2,,broken,no mail\n"
         "4,1200,48,1180,61,,maybe,,\n5,,,,,,,whole,\n6,1200,48,1180,61,,,lost,\n").encode(), "split")  # fmt: skip
    taken = [row.entry for row in rows]
    assert taken[0] is not None and (taken[0].harm, taken[0].stop, taken[0].calm) == (3.5, False, False)
    assert taken[1] is not None and taken[1].stop and taken[1].harm is None
    assert taken[2] == Entry(3, None, state="broken", harm=2, reason="no mail")
    assert [row.problem for row in rows[3:]] == [
        "stop_line is “maybe”; write yes, or leave it empty.",
        "control_people is empty; an empty week is left out, never logged as zero",
        "“lost” is no state of a week; write whole, partial or broken.",
    ]
    with pytest.raises(week_files.WrongFile, match="harm, stop_line, state, reason may stand beside"):
        week_files.read_file((HEADER.strip() + ",damage\n1,1,1,1,1,1\n").encode(), "split")
