"""A CSV file of weekly numbers: the same columns as the form, any common delimiter, both decimal marks. Pure."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass

from coldframe.domain.state import ComparisonKind
from coldframe.domain.trial.state import Entry, Figures
from coldframe.engine.reading.number_lines import Unreadable, decimal, whole
from coldframe.errors import ColdframeError

MAX_ROWS = 60  # of a file
COLUMNS: dict[ComparisonKind, tuple[str, ...]] = {
    "split": ("week", "control_people", "control_successes", "trial_people", "trial_successes"),
    "before-after": ("week", "people", "successes"),
    "count": ("week", "count"),
    "mean": ("week", "control_mean", "control_sd", "control_people", "trial_mean", "trial_sd", "trial_people"),
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
        found = ", ".join(name[:30] for name in header[:12]) or "none"
        raise WrongFile(f"The columns must be {', '.join(wanted)}; the file has {found}. Nothing was taken.")
    rows = [(number, cells) for number, cells in enumerate(lines[1:], 2) if any(c.strip() for c in cells)]
    if not rows:
        raise WrongFile("The file has a header and no weeks. Nothing was taken.")
    if len(rows) > MAX_ROWS:
        raise WrongFile(f"The file has {len(rows)} rows; at most {MAX_ROWS} are taken. Nothing was taken.")
    return tuple(_row(number, dict(zip(header, cells, strict=False)), wanted, kind) for number, cells in rows)


def _lines(content: bytes) -> list[list[str]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise WrongFile("The file is not UTF-8 text; save it as CSV in UTF-8. Nothing was taken.") from None
    if "\0" in text:
        raise WrongFile("The file is not a text file. Nothing was taken.")
    first = text.partition("\n")[0]
    delimiter = max(",;\t", key=first.count)
    try:
        return list(csv.reader(text.splitlines(), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise WrongFile(f"The file cannot be read as CSV ({error}). Nothing was taken.") from None


def _row(number: int, cells: dict[str, str], wanted: tuple[str, ...], kind: ComparisonKind) -> Row:
    missing = [name for name in wanted if not cells.get(name, "").strip()]
    if "week" in missing:
        return Row(number, None, "the week is missing")
    if missing:
        return Row(number, None, f"{missing[0]} is empty; an empty week is left out, never logged as zero")
    try:
        return Row(number, Entry(whole(cells["week"]), *_READERS[wanted](cells)))
    except Unreadable as error:
        return Row(number, None, str(error).removesuffix(" Nothing was kept."))


Read = tuple[Figures, Figures | None]


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
    COLUMNS["mean"]: lambda cells: (_mean(cells, "trial_"), _mean(cells, "control_")),
    WEEKLY_VALUE: lambda cells: (Figures(decimal(cells["value"])), None),
}
