"""What stands in a line: made from our templates, and read as plain text.

Three kinds of text are kept apart from the first moment, so that no renderer has to guess: our own words
(`Words`), what a person wrote (`Theirs`, never parsed as markup, never a mention), and a moment in time (`When`,
shown in each reader's own zone).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from typing import Literal, assert_never
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class Words:
    """Our own words."""

    text: str
    strong: bool = False
    kind: Literal["words"] = "words"


@dataclass(frozen=True, slots=True)
class Theirs:
    """What a person wrote, shown as it stands: no markup, no mention, no link in it comes alive. `by`: who wrote it,
    where the message says so; should they be forgotten before it goes out, it goes out without."""

    text: str
    by: str = ""
    kind: Literal["theirs"] = "theirs"


@dataclass(frozen=True, slots=True)
class When:
    """A moment (aware, UTC), shown in the reader's own zone; `form` says how much of it, `by` that a word such as “by”
    stands before it: “by 17:00 today”."""

    at: datetime
    form: Literal["moment", "day", "hour", "by"] = "moment"
    kind: Literal["when"] = "when"


@dataclass(frozen=True, slots=True)
class Who:
    """A person by id and display name; `notify` asks the platform to alert them."""

    person: str
    name: str
    notify: bool = False
    kind: Literal["who"] = "who"


@dataclass(frozen=True, slots=True)
class Code:
    """A command or form of words to type."""

    text: str
    kind: Literal["code"] = "code"


@dataclass(frozen=True, slots=True)
class Link:
    """An http(s) address; renderers refuse any other scheme."""

    url: str
    label: str
    kind: Literal["link"] = "link"


@dataclass(frozen=True, slots=True)
class To:
    """The way to one of the bot's own messages, by its name: a link where the message is out and the platform has one,
    else the words alone."""

    name: str
    label: str
    strong: bool = False
    kind: Literal["to"] = "to"

    def words(self) -> Words:
        return Words(self.label, self.strong)


Inline = Words | Theirs | When | Who | Code | Link | To
Line = tuple[Inline, ...]

_TEMPLATE_PART = re.compile(r"\{(?P<name>\w+)\}|\*(?P<strong>[^*]+)\*|`(?P<code>[^`]+)`")


def line(template: str, **parts: Inline | Line | str | int) -> Line:
    """Fills one of OUR templates: `{name}` takes a part, `*…*` is strong, a pair of back-ticks is code.

    A part may be an inline, a whole line, or a plain string or number, which is taken as our own words. What a
    person wrote must come in as `Theirs`; the template itself never holds it. Raises KeyError for a missing part.
    """
    out: list[Inline] = []
    for piece in _pieces(template):
        if isinstance(piece, Words):
            out.append(piece)
        else:
            out.extend(_behind(out, _filled(piece, parts)))
    return tuple(out)


_BEFORE_A_MOMENT = (" by ", " until ", " from ", " before ")


def _behind(out: Sequence[Inline], found: Line) -> Line:
    """What fills a place; a moment as it reads behind our own words there."""
    match found:
        case (When(form="moment") as when,) if out and isinstance(out[-1], Words):
            before = f" {out[-1].text.lower()}"
            return (replace(when, form="by"),) if before.endswith(_BEFORE_A_MOMENT) else found
    return found


@lru_cache(maxsize=1000)
def _pieces(template: str) -> tuple[Words | re.Match[str], ...]:
    out: list[Words | re.Match[str]] = []
    end = 0
    for found in _TEMPLATE_PART.finditer(template):
        if found.start() > end:
            out.append(Words(template[end : found.start()]))
        out.append(found)
        end = found.end()
    if end < len(template):
        out.append(Words(template[end:]))
    return tuple(out)


def _filled(found: re.Match[str], parts: dict[str, Inline | Line | str | int]) -> Line:
    if found["strong"]:
        inner = line(found["strong"], **parts)
        return tuple(Words(i.text, strong=True) if isinstance(i, Words) else i for i in inner)
    if found["code"]:
        return (Code(found["code"]),)
    part = parts[found["name"]]
    if isinstance(part, tuple):
        return part
    return (Words(str(part)),) if isinstance(part, str | int) else (part,)


# --- as plain text -----------------------------------------------------------------------------------------------


def plain(parts: Line, zone: str | None = None, now: datetime | None = None) -> str:
    """A line as plain text, moments in UTC or in the given zone; for logs of the demo, tests and exports. `now`: when
    it is read, if moments shall be told as people say them."""
    return "".join(_plain(part, zone, now) for part in parts)


def _plain(part: Inline, zone: str | None, now: datetime | None) -> str:
    match part:
        case Words() | Theirs() | Code():
            return part.text
        case When():
            return moment(part, zone) if now is None else spoken(part, zone, now)
        case Who():
            return part.name
        case Link():
            return f"{part.label} ({part.url})"
        case To():
            return part.label
        case _:
            assert_never(part)


_FORMS = {"moment": "%a %-d %b %Y, %H:%M", "by": "%a %-d %b %Y, %H:%M", "day": "%a %-d %b %Y", "hour": "%H:%M"}


def moment(when: When, zone: str | None = None) -> str:
    """A moment in words, with its zone: `Mon 2 Mar 2026, 09:30 (Europe/Berlin)`; a day carries no zone."""
    local = when.at.astimezone(ZoneInfo(zone or "UTC"))
    words = local.strftime(_FORMS[when.form])
    return words if when.form == "day" else f"{words} ({zone or 'UTC'})"


_NEAR = {-1: "yesterday", 0: "today", 1: "tomorrow"}
_A_WEEK, _HALF_A_YEAR = 7, 183  # days


def spoken(when: When, zone: str | None, now: datetime) -> str:
    """As people say it at that moment, in the reader's own zone: `today 17:00`, by `17:00 today`, `Tue 9:00`,
    `Tue 7 Apr, 9:00`; a year only where it is far from now."""
    local, today = (at.astimezone(ZoneInfo(zone or "UTC")) for at in (when.at, now))
    days = (local.date() - today.date()).days
    full = local.strftime("%a %-d %b %Y" if abs(days) > _HALF_A_YEAR else "%a %-d %b")
    if when.form == "day":
        return full
    clock = local.strftime("%-H:%M")
    if when.form == "hour":
        return clock
    if when.form == "by" and days in _NEAR:
        return f"{clock} {_NEAR[days]}"
    near = _NEAR.get(days) or (local.strftime("%a") if 0 < days < _A_WEEK else f"{full},")
    return f"{near} {clock}"
