"""How a message of ours is known again: an opaque key in its metadata, a digest of it in a file's name.
Pure.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

from coldframe.ports.strays import MARK, mark_of

_MARKED = re.compile(rf"-([0-9a-f]{{{2 * MARK}}})[0-9a-f]{{4}}(?:\.\w+)?$")
EVENT_TYPE = "coldframe_message"
"""Letters, digits, `_` and `-` only: with a dot Slack drops the metadata in silence."""


@dataclass(frozen=True, slots=True)
class Sent:
    """The parts of one message that went out: message ids by number, and how many there should be."""

    ids: Mapping[int, str]
    total: int
    surplus: tuple[str, ...] = ()

    @property
    def whole(self) -> bool:
        return self.total > 0 and all(number in self.ids for number in range(1, self.total + 1))


def mark(key: str, number: int, total: int) -> dict[str, Any]:
    """Metadata of a part. Any app and member of the workspace can read it, so it holds nothing but the key."""
    payload = {"k": key} if total == 1 else {"k": key, "part": number, "of": total}
    return {"event_type": EVENT_TYPE, "event_payload": payload}


def _payload(message: Mapping[str, Any]) -> Mapping[str, Any]:
    metadata = message.get("metadata") or {}
    return metadata.get("event_payload") or {} if metadata.get("event_type") == EVENT_TYPE else {}


def key_of(message: Mapping[str, Any]) -> str | None:
    key = _payload(message).get("k")
    return str(key) if key else None


def is_part(message: Mapping[str, Any], bot_user: str, key: str) -> bool:
    if message.get("user") != bot_user:
        return False
    digest = _digest(key)
    return key_of(message) == key or any(digest in str(f.get("name")) for f in message.get("files") or ())


def number_of(message: Mapping[str, Any]) -> int:
    return int(_payload(message).get("part") or 1)


def total_of(message: Mapping[str, Any]) -> int:
    return int(_payload(message).get("of") or 1)


def order(message: Mapping[str, Any]) -> tuple[int, str]:
    ts = str(message["ts"])
    return len(ts.partition(".")[0]), ts


def sorted_out(found: list[Mapping[str, Any]]) -> Sent:
    ids: dict[int, str] = {}
    surplus = []
    for message in sorted(found, key=order):
        number, ts = number_of(message), str(message["ts"])
        if number in ids and ids[number] != ts:
            surplus.append(ts)
        else:
            ids[number] = ts
    return Sent(ids, max(map(total_of, found), default=0), tuple(surplus))


def _digest(key: str) -> str:
    """What of the key stands in a file's name: its mark whole, if it has one."""
    mark, unique = mark_of(key), hashlib.sha256(key.encode()).hexdigest()
    return unique[:12] if mark == key else mark + unique[:4]


def mark_in(message: Mapping[str, Any]) -> str | None:
    """The mark of a message or a file of ours, whatever key it had."""
    key = key_of(message)
    if key is not None:
        return mark_of(key)
    named = (_MARKED.search(str(f.get("name"))) for f in message.get("files") or ())
    return next((found[1] for found in named if found is not None), None)


def file_name(name: str, key: str) -> str:
    path = PurePosixPath(name)
    return f"{path.stem[:80]}-{_digest(key)}{path.suffix}"


def shared_as(answer: Mapping[str, Any], channel: str) -> str | None:
    """The message that a file was shared as, when Slack tells it: sharing is not always done with the
    answer.
    """
    for uploaded in answer.get("files") or ():
        for shares in (uploaded.get("shares") or {}).values():
            for share in shares.get(channel) or ():
                return str(share["ts"])
    return None
