"""Weekly numbers by column, as the form has them: from a CSV file (any common delimiter, both decimal marks) or as a
program sends them. Pure."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice

from coldframe.domain.state import ComparisonKind
from coldframe.domain.trial.state import Entry, Figures, WeekWord
from coldframe.engine.reading import Unreadable
from coldframe.engine.reading.numbers import decimal, whole
from coldframe.errors import WRONG, ColdframeError
from coldframe.speech import reading_words as words

MAX_ROWS = 60  # of a file of weeks
MAX_LINES = 2_000  # of any table, empty ones included, since spreadsheets write many of these behind what was filled in
MAX_LINE = 10_000  # characters
COLUMNS: dict[ComparisonKind, tuple[str, ...]] = {
    "split": ("week", "control_people", "control_successes", "trial_people", "trial_successes"),
    "before-after": ("week", "people", "successes"),
    "count": ("week", "count"),
    "mean": ("week", "control_mean", "control_sd", "control_people", "trial_mean", "trial_sd", "trial_people"),
    "rate": ("week", "control_units", "control_events", "trial_units", "trial_events"),
    "share": ("week", "people", "successes"),
}
WEEKLY_VALUE = ("week", "value")
"""For a before-after trial whose weekly value is not a share."""
BESIDE = ("harm", "stop_line", "state", "reason")
"""Columns that may be there as well, each empty where there is nothing to say."""
_YES, _NO = ("yes", "y", "1", "true", "crossed", "x"), ("", "no", "n", "0", "false")
_STATES: dict[str, WeekWord] = {"": "whole", "whole": "whole", "partial": "partial", "broken": "broken"}


class WrongFile(ColdframeError, ValueError):
    """The file as a whole cannot be taken; the message says which columns would do."""

    status = WRONG


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the file: an entry, or why there is none."""

    line: int
    entry: Entry | None
    problem: str = ""


def read_table(content: bytes) -> tuple[list[str], list[tuple[int, dict[str, str]]]]:
    """The columns by name, and each line that is not empty with its number. Raises WrongFile."""
    header, lines = _opened(content)
    return header, list(_filled(header, lines))


def read_file(content: bytes, kind: ComparisonKind) -> tuple[Row, ...]:
    """Every row with its entry or its problem. Raises WrongFile for another file than the trial's; no more of it is
    read than shows that."""
    header, lines = _opened(content)
    wanted = _wanted(header, kind)
    if set(header) - set(BESIDE) != set(wanted) or len(set(header)) != len(header):
        raise WrongFile(words.other_columns(wanted, BESIDE, [name[:30] for name in header[:12]]))
    rows = list(islice(_filled(header, lines), MAX_ROWS + 1))
    if not rows:
        raise WrongFile(words.NO_WEEKS)
    if len(rows) > MAX_ROWS:
        raise WrongFile(words.too_many_rows(MAX_ROWS))
    return tuple(_row(number, cells, wanted, kind) for number, cells in rows)


def read_week(number: int, cells: Mapping[str, str], kind: ComparisonKind) -> Row:
    """One week as a program sent it; of a week that does not count the numbers may be left out."""
    wanted = _wanted(cells, kind)
    unknown = [name for name in cells if name not in (*wanted, *BESIDE)]
    if unknown:
        return Row(number, None, words.unknown_column(unknown[0][:30], wanted, BESIDE))
    return _row(number, dict(cells), wanted, kind)


def _wanted(header: Collection[str], kind: ComparisonKind) -> tuple[str, ...]:
    return WEEKLY_VALUE if kind == "before-after" and "value" in header else COLUMNS[kind]


def _opened(content: bytes) -> tuple[list[str], Iterator[list[str]]]:
    """The columns by name, and what stands below them, line by line."""
    lines = _lines(content)
    return [name.strip().casefold().replace(" ", "_") for name in next(lines, [])], lines


def _filled(header: list[str], lines: Iterator[list[str]]) -> Iterator[tuple[int, dict[str, str]]]:
    for number, cells in enumerate(lines, 2):
        if any(c.strip() for c in cells):
            yield number, dict(zip(header, cells, strict=False))


def _lines(content: bytes) -> Iterator[list[str]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise WrongFile(words.NOT_UTF_8) from None
    if "\0" in text:
        raise WrongFile(words.NO_TEXT_FILE)
    first = text.partition("\n")[0]
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(_short(text), delimiter=delimiter, strict=True)
    try:
        yield from reader
    except csv.Error:
        raise WrongFile(words.no_csv(reader.line_num)) from None


def _short(text: str) -> Iterator[str]:
    """The lines of the text, as long as there are neither too many nor one that is too long."""
    for number, line in enumerate(io.StringIO(text, newline=None), 1):
        if number > MAX_LINES:
            raise WrongFile(words.too_many_rows(MAX_LINES))
        if len(line) > MAX_LINE:
            raise WrongFile(words.line_too_long(number, MAX_LINE))
        yield line.removesuffix("\n")


def _row(number: int, cells: dict[str, str], wanted: tuple[str, ...], kind: ComparisonKind) -> Row:
    missing = [name for name in wanted if not cells.get(name, "").strip()]
    if "week" in missing:
        return Row(number, None, words.WEEK_MISSING)
    try:
        said = _beside(Entry(whole(cells["week"]), None), cells)
        if said.state != "whole":
            return Row(number, said)
        if missing:
            return Row(number, None, words.empty_column(missing[0]))
        trial, control = _READERS[wanted](cells)
    except Unreadable as error:
        return Row(number, None, str(error))
    return Row(number, replace(said, trial=trial, control=control))


def _beside(entry: Entry, cells: Mapping[str, str]) -> Entry:
    """What is said beside the numbers. Raises Unreadable."""
    harm, reason = cells.get("harm", "").strip(), cells.get("reason", "").strip()
    stop, state = (cells.get(name, "").strip().casefold() for name in ("stop_line", "state"))
    if stop not in (*_YES, *_NO):
        raise Unreadable(words.yes_or_no("stop_line", stop[:30]), "stop_line")
    if state not in _STATES:
        raise Unreadable(words.no_state(state[:30]), "state")
    value = decimal(harm) if harm else None
    return replace(entry, harm=value, stop=stop in _YES, state=_STATES[state], reason=reason)


Read = tuple[Figures, Figures | None]


def _rate(cells: dict[str, str], prefix: str) -> Figures:
    return Figures(whole(cells[f"{prefix}events"]), whole(cells[f"{prefix}units"]))


def _split(cells: dict[str, str]) -> Read:
    return _share(cells, "trial_"), _share(cells, "control_")


def _share(cells: dict[str, str], prefix: str = "") -> Figures:
    return Figures(whole(cells[f"{prefix}successes"]), whole(cells[f"{prefix}people"]))


def _mean(cells: dict[str, str], prefix: str) -> Figures:
    return Figures(decimal(cells[f"{prefix}mean"]), whole(cells[f"{prefix}people"]), decimal(cells[f"{prefix}sd"]))


_READERS: dict[tuple[str, ...], Callable[[dict[str, str]], Read]] = {
    COLUMNS["split"]: _split,
    COLUMNS["before-after"]: lambda cells: (_share(cells), None),
    COLUMNS["count"]: lambda cells: (Figures(whole(cells["count"])), None),
    COLUMNS["rate"]: lambda cells: (_rate(cells, "trial_"), _rate(cells, "control_")),
    COLUMNS["mean"]: lambda cells: (_mean(cells, "trial_"), _mean(cells, "control_")),
    WEEKLY_VALUE: lambda cells: (Figures(decimal(cells["value"])), None),
}
