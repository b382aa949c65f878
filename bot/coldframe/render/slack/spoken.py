"""The text beside a message's blocks: what a push notice shows and a screen reader reads out."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from coldframe.render.slack.mrkdwn import as_marked, cut, escaped, length, tamed
from coldframe.speech import surface

MAX_TEXT = 3_900  # characters; of 4,000, above which an edit is refused

Element = dict[str, Any]


def spoken(lead: str, blocks: Sequence[Element]) -> str:
    """The text beside the blocks: the summary, then what the blocks say, as far as it may be long. What begins with
    the summary says it."""
    beyond = list(_said_beyond(lead, blocks))
    if beyond and _bare(beyond[0]).startswith(_bare(lead).removesuffix(".")):
        lead, *beyond = beyond
    text = "\n".join((lead, *beyond))
    if length(text) <= MAX_TEXT:
        return text
    room = MAX_TEXT - length(lead) - length(surface.TEXT_GOES_ON) - 2
    if room < 0:
        return _cut_lead(lead)
    whole = [lead]
    for sentence in beyond:
        room -= length(sentence) + 1
        if room < 0:
            break
        whole.append(sentence)
    return "\n".join((*whole, surface.TEXT_GOES_ON))


def _cut_lead(lead: str) -> str:
    """An overlong summary, cut where no token is torn: at the last space outside any `<…>`."""
    text = lead[: MAX_TEXT - 1]
    opened = text.rfind("<")
    return cut(text[:opened] if opened > text.rfind(">") else text, MAX_TEXT - 1) + "…"


def _said_beyond(lead: str, blocks: Sequence[Element]) -> Iterator[str]:
    """What the lead does not say already, each once."""
    said = {_bare(lead)}
    for block in blocks:
        for sentence in _sentences(block):
            bare = _bare(sentence)
            if bare and bare not in said and bare not in _bare(lead):
                said.add(bare)
                yield sentence


_MARKS = re.compile("[*`\u200b]")


def _bare(text: str) -> str:
    """Without what marks it up, to see whether two say the same."""
    return " ".join(_MARKS.sub("", text).split())


def _sentences(block: Element) -> Iterator[str]:
    match block["type"]:
        case "header":
            yield escaped(block["text"]["text"])
        case "context":
            yield from (element["text"] for element in block["elements"])
        case "rich_text":
            yield from _rich_sentences(block["elements"])
        case "table":
            yield from (" | ".join(_cell_text(cell) for cell in row) for row in block["rows"])
        case "actions":
            labels = ", ".join(escaped(button["text"]["text"]) for button in block["elements"])
            yield f"{surface.BUTTONS}: {labels}"
        case "divider":
            return
        case other:
            raise AssertionError(f"a block of the type {other} is not read out")


def _rich_sentences(parts: Sequence[Element]) -> Iterator[str]:
    for part in parts:
        if part["type"] == "rich_text_list":
            first = part.get("offset", 0) + 1
            for number, row in enumerate(part["elements"], first):
                mark = f"{number}." if part["style"] == "ordered" else "-"
                yield f"{mark} {_words(row['elements'])}"
        else:
            yield _words(part["elements"])


def _cell_text(cell: Element) -> str:
    return escaped(cell["text"]) if cell["type"] == "raw_text" else _words(cell["elements"][0]["elements"])


def _words(run: Sequence[Element]) -> str:
    return "".join(_word(element) for element in run)


def _word(element: Element) -> str:
    match element["type"]:
        case "date":
            return as_marked(element)
        case "user":
            return f"<@{element['user_id']}>"
        case "link":
            return f"<{escaped(element['url'])}|{tamed(element['text'])}>"
        case _:
            return escaped(element["text"])
