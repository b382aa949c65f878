"""Data as a file: JSON with every field explained, and the same to be read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

Explained = Mapping[str, str]


def as_data(held: Mapping[str, Any], explained: Explained) -> str:
    return json.dumps({"explained": dict(explained), **held}, indent=2, ensure_ascii=False, default=_plain) + "\n"


def in_words(title: str, held: Mapping[str, Any], explained: Explained) -> str:
    """What there is, each with what it is; what there is nothing of is left out."""
    return "\n".join([title, "", *_lines(held, 0, explained)]) + "\n"


def _lines(value: object, depth: int, explained: Explained) -> list[str]:
    if isinstance(value, Mapping):
        return [text for name, each in value.items() for text in _named(str(name), each, depth, explained)]
    if isinstance(value, list | tuple | frozenset):
        return [text for each in value for text in _item(each, depth, explained)]
    return ["  " * depth + text for text in _plain(value).splitlines()]


def _named(name: str, value: object, depth: int, explained: Explained) -> list[str]:
    if value in (None, "", 0, False, [], {}, ()):
        return []
    pad, words = "  " * depth, explained.get(name, "")
    head = f"{pad}{name}: {words}" if words else f"{pad}{name}:"
    if words or isinstance(value, Mapping | list | tuple | frozenset):
        return [head, *_lines("yes" if value is True else value, depth + 1, explained)]
    return [f"{head} {_plain(value)}"]


def _item(value: object, depth: int, explained: Explained) -> list[str]:
    """A dash before the first of its lines."""
    lines = _lines(value, depth + 1, explained)
    return ["  " * depth + "- " + lines[0].strip(), *lines[1:]] if lines else []


def _plain(value: object) -> str:
    return value.isoformat() if hasattr(value, "isoformat") else str(value)
