"""The keys of the room's own file, in the same place as those of the database: one at a time, for a chapter of it."""

from __future__ import annotations

import secrets
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from coldframe.ports.keys import Covers, Key, Use
from coldframe.store.round_keys import KeyPlace
from coldframe.store.sealing import Seal, tag

_DIGITS = 15  # hexadecimal ones, of 64 bits


@dataclass(frozen=True, slots=True)
class SealOfKey:
    """The secret and a key."""

    seal: Seal
    key: Key = field(repr=False)

    def close(self, row: str, plain: bytes) -> bytes:
        return self.seal.close(row, plain, self.key)

    def open(self, row: str, cipher: bytes) -> bytes:
        """Raises CannotUnseal."""
        return self.seal.open(row, cipher, self.key)

    def number(self, *parts: str) -> int:
        """A keyed hash, as a positive number that fits into a row's."""
        return int(tag(self.key.secret, *parts)[:_DIGITS], 16)


@dataclass(frozen=True, slots=True)
class RoomKeys:
    """Of one room, by the name of its life."""

    place: KeyPlace
    seal: Seal
    life: str

    async def standing(self) -> Mapping[str, SealOfKey]:
        """All keys of this room, by name."""
        mine = [use for use in await self.place.uses() if self._use(use.which) == use]
        return {use.which: SealOfKey(self.seal, await self.place.of(use)) for use in mine}

    async def begin(self) -> tuple[str, SealOfKey]:
        name = secrets.token_hex(8)
        return name, SealOfKey(self.seal, await self.place.of(self._use(name)))

    async def destroy(self, names: Collection[str]) -> None:
        await self.place.destroy([self._use(name) for name in names])

    def _use(self, name: str) -> Use:
        return Use(self.life, Covers.ROOM, name)
