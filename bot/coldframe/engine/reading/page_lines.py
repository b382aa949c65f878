"""A precedent or a plan that somebody sends as plain text: which of its lines is which field. Nothing is left out."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from coldframe.domain.state import Kind

LIMITS: Mapping[Kind, Sequence[tuple[str, int]]] = {
    "plan": (("title", 75), ("hypothesis", 1000), ("steps", 2000)),
    "precedent": (("title", 150), ("idea", 1000), ("details", 3000)),
}
"""By kind, the fields that a text fills, the first ones first, with their characters."""
MIN_WORDS = 4  # fewer are thanks and the like
_LISTED = re.compile(r"\s*(?:[-*•]|\d{1,2}[.)])\s+(?P<text>.+)")
_SOURCE = re.compile(r"\s*(?:source:\s*)?(?P<address>https?://\S+)\s*", re.IGNORECASE)
MAX_SOURCE = 500  # characters


def is_page(text: str) -> bool:
    return len(text.split()) >= MIN_WORDS


def read(kind: Kind, text: str, known: Mapping[str, str]) -> Mapping[str, str] | None:
    """The fields with the text in them, behind what stands there already; None where it is too long for them."""
    lines = [line.strip() for line in text.strip().splitlines() if line.strip()]
    found = dict(known)
    if kind == "precedent" and (source := _source(lines)) and not found.get("source"):
        lines.remove(source)
        found["source"] = _SOURCE.fullmatch(source)["address"]  # type: ignore[index]
    listed = [m["text"] for line in lines if (m := _LISTED.fullmatch(line))] if kind == "plan" else []
    plain = [line for line in lines if kind != "plan" or not _LISTED.fullmatch(line)]
    if listed:
        found["steps"] = "\n".join(filter(None, (found.get("steps", ""), *listed)))
    return _poured(kind, plain, found)


def _source(lines: Sequence[str]) -> str | None:
    return next((line for line in lines if len(line) <= MAX_SOURCE and _SOURCE.fullmatch(line)), None)


def _poured(kind: Kind, lines: Sequence[str], found: dict[str, str]) -> Mapping[str, str] | None:
    """Line by line into the first field that has room: the title takes one, the next what fits, the last the rest."""
    (title, most), (body, room), (last, limit) = LIMITS[kind]
    rest = list(lines)
    if rest and not found.get(title):
        first = rest[0]
        found[title] = first if len(first) <= most else _cut(first, most)
        rest = rest[1:] if len(first) <= most else rest
    while rest and len(found.get(body, "")) + len(rest[0]) < room:
        found[body] = "\n".join(filter(None, (found.get(body, ""), rest.pop(0))))
    if rest:
        found[last] = "\n".join(filter(None, (found.get(last, ""), *rest)))
    return found if len(found.get(last, "")) <= limit and len(found.get(body, "")) <= room else None


def _cut(text: str, most: int) -> str:
    """Its first words; the whole of it stands below."""
    kept = text[: most - 1].rsplit(" ", 1)[0].rstrip(" ,;:")
    return f"{kept}…"
