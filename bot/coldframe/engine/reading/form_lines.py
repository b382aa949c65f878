"""Answers to a form that is filled in by words: which field each is for, and what it says. Pure."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from coldframe.errors import ColdframeError
from coldframe.message.nodes import Field, Form
from coldframe.speech import spoken_words

_NUMBERED = re.compile(r"\s*#?(\d{1,2})\s*:\s*(.*)")
_NAMED = re.compile(r"\s*([^\s:][^:\n]{1,60}):(.*)")
_BETWEEN = re.compile(r"[\s,;]+")
Day = Callable[[str], str]
"""A typed day as ISO date. Raises ValueError."""


@dataclass(frozen=True, slots=True)
class Answers:
    """What was said of which fields; `problems`: what of it cannot be taken, and what belongs to no field under ""."""

    values: Mapping[str, str] = field(default_factory=dict)
    problems: Mapping[str, str] = field(default_factory=dict)

    @property
    def fields(self) -> tuple[str, ...]:
        return tuple(name for name in (*self.values, *self.problems) if name)


class _Unclear(ColdframeError, ValueError):
    """An answer that cannot be taken; the message says what would be."""


def missing(form: Form, values: Mapping[str, str], problems: Mapping[str, str]) -> str:
    """The first field that still needs an answer; "" where nothing is missing."""
    needs = (f.name for f in form.fields if f.name in problems or (f.required and not values.get(f.name, "").strip()))
    return next(needs, "")


def names_a_field(form: Form, text: str) -> bool:
    """Whether the text says by itself which field it is for."""
    return _named(form, text.split("\n")[0]) is not None


def read(form: Form, asked: str, text: str, day: Day) -> Answers:
    """Line by line; a line that names no field carries on the answer before it, the first is for what was asked."""
    values: dict[str, str] = {}
    problems: dict[str, str] = {}
    for name, words in _sorted_out(form, asked, text):
        if not name:
            problems[""] = spoken_words.WHICH_FIELD
            continue
        try:
            values[name] = _value(_by_name(form)[name], words, day)
        except _Unclear as unclear:
            problems[name] = str(unclear)
    return Answers(values, problems)


def _sorted_out(form: Form, asked: str, text: str) -> list[tuple[str, str]]:
    found: list[tuple[str, list[str]]] = []
    for piece in text.replace("\r\n", "\n").strip("\n").split("\n"):
        named = _named(form, piece)
        if named is not None:
            found.append((named[0], [named[1]]))
        elif found:
            found[-1][1].append(piece)
        elif piece.strip():
            found.append((asked, [piece]))
    return [(name, "\n".join(pieces).strip()) for name, pieces in found]


def _named(form: Form, piece: str) -> tuple[str, str] | None:
    """The field that a line is for, by its number or its label, and the rest of the line."""
    if (found := _NUMBERED.fullmatch(piece)) and 1 <= int(found[1]) <= len(form.fields):
        return form.fields[int(found[1]) - 1].name, found[2]
    if found := _NAMED.fullmatch(piece):
        said = found[1].strip().casefold()
        name = next((f.name for f in form.fields if said in _called(f)), None)
        return (name, found[2].lstrip()) if name is not None else None
    return None


def _called(field_: Field) -> tuple[str, ...]:
    label = field_.label.casefold()
    return (label.rstrip(":?"), re.split(r"[:,(?]", label)[0].strip())


def _by_name(form: Form) -> dict[str, Field]:
    return {f.name: f for f in form.fields}


def _value(field_: Field, words: str, day: Day) -> str:
    """Raises _Unclear."""
    if not words or words == spoken_words.NOTHING:
        return ""
    match field_.shape:
        case "choice":
            return _choice(field_, words)
        case "choices":
            return _choices(field_, words)
        case "tick":
            return _tick(words)
        case "date":
            return _day(words, day)
        case _:
            if len(words) > field_.most:
                raise _Unclear(spoken_words.shorten(len(words), field_.most))
            return words


def _choice(field_: Field, words: str) -> str:
    """By its letter, its label, or how only one label begins."""
    said = words.strip().rstrip(").").casefold()
    labels = [(option.value, option.label.casefold()) for option in field_.options]
    marks = {spoken_words.mark(n): value for n, (value, _) in enumerate(labels)}
    if said in marks:
        return marks[said]
    exact = [value for value, label in labels if said in (label, value.casefold())]
    near = exact or [value for value, label in labels if len(said) > 1 and label.startswith(said)]
    if len(near) != 1:
        raise _Unclear(spoken_words.A_LETTER)
    return near[0]


def _choices(field_: Field, words: str) -> str:
    marks = {spoken_words.mark(n) for n in range(len(field_.options))}
    parts = [part for part in _BETWEEN.split(words.casefold()) if part]
    if not set(parts) <= marks:
        parts = [part for part in re.split(r"[,;\n]", words) if part.strip()]
    try:
        return "\n".join(dict.fromkeys(_choice(field_, part) for part in parts))
    except _Unclear:
        raise _Unclear(spoken_words.LETTERS) from None


def _tick(words: str) -> str:
    said = words.strip().casefold()
    if said not in (*spoken_words.YES, *spoken_words.NO):
        raise _Unclear(spoken_words.YES_OR_NO)
    return "yes" if said in spoken_words.YES else ""


def _day(words: str, day: Day) -> str:
    try:
        return day(words)
    except ValueError:
        raise _Unclear(spoken_words.no_date(words)) from None
