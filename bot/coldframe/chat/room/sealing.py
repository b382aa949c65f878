"""The room's private lines are sealed in its file, with a key that stands elsewhere and lasts for a chapter: until what
was private in it is out, counted or over. Then a new chapter begins, what remains is sealed anew, and the key before is
destroyed, so that no older copy of the file opens any more.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Protocol


class Sealer(Protocol):
    """Closes, opens and numbers with one key. A row's name binds what is closed to the row; no length tells what is in
    it, and no number what it was made from."""

    def close(self, row: str, plain: bytes) -> bytes: ...

    def open(self, row: str, cipher: bytes) -> bytes: ...

    def number(self, *parts: str) -> int: ...


Chapter = tuple[str, Sealer]
"""A key under its name."""


class Sealed(Protocol):
    """What is sealed with a chapter's key."""

    @property
    def chapter(self) -> str: ...

    def unlock(self, chapter: Chapter, now: datetime) -> None: ...


class Keys(Protocol):
    """Where the keys of this room stand: apart from its file, and from what back-ups copy."""

    async def standing(self) -> Mapping[str, Sealer]:
        """All that stand there, by name."""
        ...

    async def begin(self) -> Chapter:
        """A new one, which stands there for good before it is told."""
        ...

    async def destroy(self, names: Collection[str]) -> None: ...


async def unlocked(log: Sealed, keys: Keys, now: datetime) -> None:
    """Opens the file with its key, or begins its first chapter; what a crash left of others is destroyed."""
    standing = await keys.standing()
    known = standing.get(log.chapter)
    name, sealer = (log.chapter, known) if known is not None else await keys.begin()
    log.unlock((name, sealer), now)
    await keys.destroy(standing.keys() - {name})


def digest(key: str) -> str:
    """Stands for a key in the file. Keys are made by chance, or name nobody."""
    return hashlib.sha256(key.encode("utf-8", "replace")).hexdigest()
