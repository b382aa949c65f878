"""A CSV file of weekly numbers: the same columns as the form, any common delimiter, both decimal marks. Pure."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass

from coldframe.domain.state import ComparisonKind
from coldframe.domain.trial.state import Entry, Figures
from coldframe.engine.reading import Unreadable
from coldframe.engine.reading.numbers import decimal, whole
from coldframe.errors import ColdframeError
from coldframe.speech import reading_words as words

MAX_ROWS = 60  # of a file
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


class WrongFile(ColdframeError, ValueError):
    """The file as a whole cannot be taken; the message says which columns would do."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the file: an entry, or why there is none."""

    line: int
    entry: Entry | None
    problem: str = ""


def read_file(content: bytes, kind: ComparisonKind) -> tuple[Row, ...]:
    """Every row with its entry or its problem. Raises WrongFile for another file than the trial's."""
    lines = _lines(content)
    header = [name.strip().casefold().replace(" ", "_") for name in lines[0]] if lines else []
    wanted = COLUMNS[kind]
    if kind == "before-after" and tuple(header) == WEEKLY_VALUE:
        wanted = WEEKLY_VALUE
    if sorted(header) != sorted(wanted):
        raise WrongFile(words.other_columns(wanted, [name[:30] for name in header[:12]]))
    rows = [(number, cells) for number, cells in enumerate(lines[1:], 2) if any(c.strip() for c in cells)]
    if not rows:
        raise WrongFile(words.NO_WEEKS)
    if len(rows) > MAX_ROWS:
        raise WrongFile(words.too_many_rows(len(rows), MAX_ROWS))
    return tuple(_row(number, dict(zip(header, cells, strict=False)), wanted, kind) for number, cells in rows)


def _lines(content: bytes) -> list[list[str]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise WrongFile(words.NOT_UTF_8) from None
    if "\0" in text:
        raise WrongFile(words.NO_TEXT_FILE)
    first = text.partition("\n")[0]
    delimiter = max(",;\t", key=first.count)
    try:
        return list(csv.reader(text.splitlines(), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise WrongFile(words.no_csv(str(error))) from None


def _row(number: int, cells: dict[str, str], wanted: tuple[str, ...], kind: ComparisonKind) -> Row:
    missing = [name for name in wanted if not cells.get(name, "").strip()]
    if "week" in missing:
        return Row(number, None, words.WEEK_MISSING)
    if missing:
        return Row(number, None, words.empty_column(missing[0]))
    try:
        return Row(number, Entry(whole(cells["week"]), *_READERS[wanted](cells)))
    except Unreadable as error:
        return Row(number, None, str(error))


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
