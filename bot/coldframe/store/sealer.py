"""Closing and opening what is given in confidence: under the secret, and a key of its own."""

from __future__ import annotations

from collections.abc import Iterable

from coldframe.ports.keys import Key, Keys, Use
from coldframe.store.sealing import LEAST, KeyGone, Seal, key_of, tag


class Sealer:
    """A seal with the place of its keys at hand."""

    def __init__(self, seal: Seal, keys: Keys) -> None:
        self._seal = seal
        self.keys = keys

    async def close(self, use: Use, row: str, plain: bytes, least: int = LEAST) -> bytes:
        return self._seal.close(row, plain, await self.keys.of(use), least)

    async def find(self, bodies: Iterable[bytes]) -> None:
        """To be called before they are opened."""
        await self.keys.find({named for body in bodies if (named := key_of(body)) is not None})

    def open(self, row: str, body: bytes) -> bytes:
        """Raises CannotUnseal, and KeyGone where its key is not there any more."""
        return self._seal.open(row, body, self._key(body))

    def _key(self, body: bytes) -> Key | None:
        named = key_of(body)
        key = None if named is None else self.keys.at_hand(named)
        if named is not None and key is None:
            raise KeyGone
        return key

    async def tag(self, use: Use, *parts: str) -> str:
        """A hash that is no more than chance once the key is gone."""
        return tag((await self.keys.of(use)).secret, *parts)
