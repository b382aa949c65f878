"""Keys of a room in memory: they outlive the room's file being closed, and can be lost."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from coldframe.chat.room.log import Log
from coldframe.ports.keys import KEY_ID, Covers, Key, Use
from coldframe.store.room_keys import SealOfKey
from coldframe.store.sealing import Seal

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)


@dataclass
class KeysAtHand:
    """`made` counts the chapters that there were."""

    known: dict[str, SealOfKey] = field(default_factory=dict)
    made: int = 0

    def next(self) -> tuple[str, SealOfKey]:
        self.made += 1
        name = f"chapter {self.made}"
        key = Key(self.made.to_bytes(KEY_ID, "big"), Use("room", Covers.ROOM, name), name.encode())
        self.known[name] = SealOfKey(Seal(b"a secret of 32 bytes and some more"), key)
        return name, self.known[name]

    async def standing(self) -> Mapping[str, SealOfKey]:
        return dict(self.known)

    async def begin(self) -> tuple[str, SealOfKey]:
        return self.next()

    async def destroy(self, names: Collection[str]) -> None:
        for name in names:
            self.known.pop(name, None)


def open_log(path: str = ":memory:", keys: KeysAtHand | None = None) -> Log:
    """The file with its key, or with a first one."""
    keys = keys or KeysAtHand()
    log = Log(path)
    known = keys.known.get(log.chapter)
    log.unlock((log.chapter, known) if known else keys.next(), NOW)
    return log
