"""What is said of something typed or dropped that could not be read: what is wrong with it, and the right form."""

from __future__ import annotations

from collections.abc import Sequence

NOTHING_TAKEN = "Nothing was taken."
NOTHING_KEPT = "Nothing was kept."


# --- working time ---


def no_weekday(word: str) -> str:
    return f"“{word}” is no weekday; write them like Mon-Fri or Mon, Tue, Thu."


def no_span(words: str) -> str:
    return f"“{words}” is no span of hours; write it like 09:00-17:00."


def no_time_of_day(word: str) -> str:
    return f"“{word}” is no time of day; write it like 09:00."


# --- numbers in a form ---

WHOLE_NUMBER = "Write a whole number, such as 40."
SHARE = "Write a share, such as 4% or 0.04."
NUMBER_NEEDED = "A number is needed here; a week without numbers is a gap, not a zero."
MORE_SUCCESSES = "There are more successes than people in a week."


def one_week_a_line(problem: str) -> str:
    return f"{problem} One week a line, like 48/1200."


def allowed(range_: str) -> str:
    return f"Allowed is {range_}."


# --- a week's numbers in a line ---


def _like(example: str) -> str:
    return f"Write it like “{example}”."


def one_line(example: str) -> str:
    return f"One week in one line, please, such as `{example}`."


def group_missing(group: str, example: str) -> str:
    return f"The {group} group is missing. {_like(example)}"


def group_twice(group: str, example: str) -> str:
    return f"The {group} group is there twice. {_like(example)}"


def no_control_group(example: str) -> str:
    return f"This trial has no control group. {_like(example)}"


def no_number_found(example: str) -> str:
    return f"I found no number. {_like(example)}"


def unreadable(text: str, example: str) -> str:
    return f"I can't read “{text}”. {_like(example)}"


def more_than_people(successes: str, people: str) -> str:
    return f"More did it ({successes}) than there were people ({people})?"


def not_whole(number: str) -> str:
    return f"People and events are counted whole; {number} isn't."


def no_count(text: str) -> str:
    return f"“{text}” is no number; write it like 1200."


def no_decimal(text: str) -> str:
    return f"“{text}” is no number; write it like 4%, 0.04 or 22.5."


def no_division(text: str) -> str:
    return f"“{text}” divides by nothing; write how many of how many, like 48/1200."


def two_readings(written: str, joined: str, with_mark: float) -> str:
    return f"{written} can mean {joined} or {with_mark:g}. Write it as {joined} or as {with_mark:g}."


def below_zero(number: str) -> str:
    return f"{number} is below zero, which can't be."


# --- a file of weeks ---

NO_WEEKS = f"The file has a header and no weeks. {NOTHING_TAKEN}"
NOT_UTF_8 = f"The file isn't UTF-8 text; save it as CSV in UTF-8. {NOTHING_TAKEN}"
NO_TEXT_FILE = f"The file isn't a text file. {NOTHING_TAKEN}"
WEEK_MISSING = "the week is missing"
COULD_NOT_BE_READ = "it couldn't be read"


def other_columns(wanted: Sequence[str], beside: Sequence[str], found: Sequence[str]) -> str:
    return f"{_columns(wanted, beside)} The file has {', '.join(found) or 'none'}. {NOTHING_TAKEN}"


def _columns(wanted: Sequence[str], beside: Sequence[str]) -> str:
    return f"The columns must be {', '.join(wanted)}; {', '.join(beside)} may stand beside them."


def unknown_column(name: str, wanted: Sequence[str], beside: Sequence[str]) -> str:
    return f"“{name}” is no column. {_columns(wanted, beside)}"


def yes_or_no(name: str, text: str) -> str:
    return f"{name} is “{text}”; write yes, or leave it empty."


def no_state(text: str) -> str:
    return f"“{text}” is no state of a week; write whole, partial or broken."


def too_many_rows(most: int) -> str:
    return f"The file has more than {most:,} rows, and at most {most:,} are taken. {NOTHING_TAKEN}"


def line_too_long(number: int, most: int) -> str:
    return f"Line {number} of the file is longer than {most:,} characters. {NOTHING_TAKEN}"


def no_csv(number: int) -> str:
    return f"Line {number} of the file can't be read as CSV; look at its quotation marks. {NOTHING_TAKEN}"


def empty_column(name: str) -> str:
    return f"{name} is empty; an empty week is left out, never logged as zero"


def file_not_taken(name: str, problem: str) -> str:
    return f"{name} couldn't be taken: {problem or COULD_NOT_BE_READ}. {NOTHING_TAKEN}"


def which_trial(trials: int) -> str:
    return f"You own {trials} trials. Drop the file in the thread of the one that it is for. {NOTHING_TAKEN}"
