"""What a newer release wrote into a document beside what this one knows.

While replicas are replaced one after the other, two releases work on one database. The older reads a document without
what it does not know, and writes it with that again, as it found it.
"""

from __future__ import annotations

import json
from typing import Any

from pydantic import TypeAdapter

from coldframe.ports.follow_through import RegisterEntry, Team

ENTRY: TypeAdapter[RegisterEntry] = TypeAdapter(RegisterEntry)
TEAM: TypeAdapter[Team] = TypeAdapter(Team)


def kept(shape: TypeAdapter[Any], stored: str | None, now: str) -> str:
    """The document `now`, with what the one that is `stored` in its place holds beyond its shape."""
    if stored is None or stored == now:
        return now
    known = shape.dump_json(shape.validate_json(stored)).decode()
    return beside(stored, known, now)


def beside(stored: str, known: str, now: str) -> str:
    """The same, where what this release makes of the stored one is `known`."""
    return with_more(stored, known, now) if holds_more(stored, known) else now


def holds_more(stored: str, known: str) -> bool:
    """Whether a document holds more than what this release makes of it."""
    if stored == known:
        return False
    made = json.loads(known)
    return bool(together(json.loads(stored), made, made) != made)


def with_more(stored: str, known: str, now: str) -> str:
    return json.dumps(together(*map(json.loads, (stored, known, now))), ensure_ascii=False)


def together(stored: Any, known: Any, now: Any) -> Any:
    """`now`, with what `stored` holds beyond `known`, which is the same as this release reads and writes it. What
    stands in a list is found again as long as it has its id, or stays as it was."""
    if stored == known:
        return now
    if isinstance(stored, dict) and isinstance(known, dict) and isinstance(now, dict):
        both = stored.keys() & known.keys()
        after = {key: together(stored[key], known[key], value) if key in both else value for key, value in now.items()}
        return after | {key: value for key, value in stored.items() if key not in known and key not in now}
    if isinstance(stored, list) and isinstance(known, list) and isinstance(now, list) and len(stored) == len(known):
        return [_as_one_of(stored, known, value) for value in now]
    return now


def _as_one_of(stored: list[Any], known: list[Any], value: Any) -> Any:
    was = next((at for at, one in enumerate(known) if _is_same(one, value)), None)
    return value if was is None else together(stored[was], known[was], value)


def _is_same(one: Any, other: Any) -> bool:
    if isinstance(one, dict) and isinstance(other, dict) and "id" in one:
        return bool(one["id"] == other.get("id"))
    return bool(one == other)
