"""Neutral text as Slack reads it: escaped once, measured in the platform's unit, times in the reader's zone.

What a person wrote goes, wherever it can, into `text` elements of rich text, which Slack never parses;
`tamed` is for the few places that only take marked-up text.
"""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any, assert_never
from urllib.parse import urlsplit

from coldframe.message.characters import is_torn
from coldframe.message.nodes import Code, Inline, Line, Link, Theirs, To, When, Who, Words, moment

Element = dict[str, Any]

ELLIPSIS = "…"
MAX_ADDRESS = 3000  # characters

_ENTITIES = {"&": "&amp;", "<": "&lt;", ">": "&gt;"}
_TO_ESCAPE = re.compile(r"[&<>]")
# Slack has no escape for its marks; a zero-width space beside one keeps it from opening or closing anything.
_BREAKER = "\u200b"
_MARKS = re.compile(r"([*_~`:]|^&gt;|^•)", re.MULTILINE)
# Marks that turn text round, hide it, or are no text. Joiners stay: emoji and several scripts need them.
_NOT_SHOWN = re.compile("[\x00-\x08\x0b-\x1f\x7f\u00ad\u061c\u200b\u200e\u200f\u202a-\u202e\u2060\u2066-\u2069\ufeff]")
_LINE_ENDS = re.compile("\r\n|[\r\u0085\u2028\u2029]")
_BAD_IN_ADDRESS = re.compile(r"[\s<>|\x00-\x20\x7f]")

_DATE_FORMS = {"moment": "{day} {time}", "by": "{time} {day}", "day": "{day}", "hour": "{time}"}
_MARKED_DAY, _RICH_DAY = "{date_short_pretty}", "{day_divider_pretty}"
"""The day in marked-up text, and in rich text, which alone has it with its weekday, and without the year while it is
this one."""


def escaped(text: str) -> str:
    """Text in which `&`, `<` and `>` no longer mean anything to Slack: no mention, no link, no date."""
    return _TO_ESCAPE.sub(lambda found: _ENTITIES[found[0]], text)


def shown(text: str) -> str:
    """A person's text without characters that turn it round or hide it; every line end becomes `\\n`."""
    return _NOT_SHOWN.sub("", _LINE_ENDS.sub("\n", text))


def tamed(text: str) -> str:
    """A person's text for marked-up places: escaped, its `*_~` and emoji codes broken so that none works."""
    return _MARKS.sub(rf"\1{_BREAKER}", escaped(shown(text)))


def one_line(text: str) -> str:
    """Text with its line breaks as spaces, for places in which a new line could pass for ours."""
    return " ".join(shown(text).split())


def length(text: str) -> int:
    """Length in UTF-16 units, the strictest way in which a client may count."""
    return len(text.encode("utf-16-le", "surrogatepass")) // 2


def cut(text: str, most: int) -> str:
    """The text within `most` units, cut between whole characters, with an ellipsis where something fell."""
    if length(text) <= most:
        return text
    kept = text[: _border(text, most - 1)].rstrip()
    return ELLIPSIS if length(kept) >= most else kept + ELLIPSIS


def pieces(text: str, most: int) -> tuple[str, ...]:
    """The text in pieces of at most `most` units: broken at line ends, else spaces, else characters."""
    out = []
    while length(text) > most:
        end = _soft_border(text, _border(text, most))
        out.append(text[:end])
        text = text[end:]
    return (*out, text)


def _soft_border(text: str, end: int) -> int:
    for mark in ("\n", " "):
        found = text.rfind(mark, end // 2, end)
        if found > 0:
            return found + 1
    return end


def _border(text: str, most: int) -> int:
    """The last place, at most `most` units in, that tears no character from what belongs to it."""
    units = end = 0
    for char in text:
        units += 2 if char > "\uffff" else 1
        if units > most:
            break
        end += 1
    while 1 < end < len(text) and is_torn(text, end):
        end -= 1
    return max(end, 1)


def address(url: str) -> str | None:
    """The address if it may become a link: http(s), with a host, nothing in it that ends a link early."""
    if _BAD_IN_ADDRESS.search(url) or length(url) > MAX_ADDRESS:
        return None
    try:
        parts = urlsplit(url)
    except ValueError:
        return None
    return url if parts.scheme in ("http", "https") and parts.hostname else None


# --- marked-up text -----------------------------------------------------------------------------------------


def mrkdwn(parts: Line) -> str:
    """A line as marked-up text on one line, safe whatever its people wrote."""
    return "".join(_marked(part) for part in parts)


def _marked(part: Inline) -> str:
    match part:
        case Words():
            text = escaped(one_line_kept(part.text))
            return f"*{text}*" if part.strong and text == text.strip() != "" else text
        case Theirs():
            return tamed(one_line(part.text))
        case When():
            return date_token(part)
        case Who():
            return f"<@{part.person}>" if part.notify and is_id(part.person) else tamed(one_line(part.name))
        case Code():
            return f"`{escaped(one_line(part.text)).replace('`', _BREAKER)}`"
        case Link():
            return _marked_link(part)
        case To():
            return _marked(part.words())
        case _:
            assert_never(part)


def one_line_kept(text: str) -> str:
    """Our words with line breaks as spaces; spaces at the ends stay, so that parts do not run together."""
    return shown(text).replace("\n", " ")


def _marked_link(link: Link) -> str:
    label = tamed(one_line(link.label)).replace("|", "/")
    url = address(link.url)
    return f"<{escaped(url)}|{label or 'link'}>" if url else f"{label} ({tamed(one_line(link.url))})"


def is_id(text: str) -> bool:
    """True for a person's id that Slack could have given; nothing else may stand inside `<@…>`."""
    return re.fullmatch(r"[UW][A-Z0-9]{1,31}", text) is not None


def date_token(when: When) -> str:
    """The moment as Slack shows it in each reader's own zone, with UTC for clients that cannot."""
    form = _DATE_FORMS[when.form].replace("{day}", _MARKED_DAY)
    return f"<!date^{stamp(when.at)}^{form}|{escaped(moment(when))}>"


def as_marked(element: Element) -> str:
    """A date of rich text as a token."""
    form = str(element["format"]).replace(_RICH_DAY, _MARKED_DAY)
    return f"<!date^{element['timestamp']}^{form}|{escaped(element['fallback'])}>"


def stamp(at: datetime) -> int:
    """Whole seconds since 1970, as date tokens take them."""
    return int(at.timestamp())


# --- rich text ----------------------------------------------------------------------------------------------


def elements(parts: Line) -> list[Element]:
    """A line as elements of rich text. Slack parses none of it again, so no text of a person comes alive."""
    return [element for part in parts if (element := _element(part))]


def _element(part: Inline) -> Element | None:
    match part:
        case Words():
            return text_element(part.text, bold=part.strong)
        case Theirs():
            return text_element(shown(part.text))
        case When():
            return {
                "type": "date",
                "timestamp": stamp(part.at),
                "format": _DATE_FORMS[part.form].replace("{day}", _RICH_DAY),
                "fallback": moment(part),
            }
        case Who():
            if part.notify and is_id(part.person):
                return {"type": "user", "user_id": part.person}
            return text_element(one_line(part.name))
        case Code():
            return text_element(one_line(part.text), code=True)
        case Link():
            return _link_element(part)
        case To():
            return _element(part.words())
        case _:
            assert_never(part)


def _link_element(link: Link) -> Element | None:
    url = address(link.url)
    if url is None:
        return text_element(f"{one_line(link.label)} ({one_line(link.url)})")
    return {"type": "link", "url": url, "text": one_line(link.label) or url}


def text_element(text: str, **style: bool) -> Element | None:
    """A text element in the given style, None for empty text, which Slack refuses."""
    if not text:
        return None
    element: Element = {"type": "text", "text": text}
    marks = {name: True for name, wanted in style.items() if wanted}
    return element | {"style": marks} if marks else element
