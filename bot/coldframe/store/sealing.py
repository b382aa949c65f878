"""Encryption at rest of what was given in confidence: AES-GCM, bound to the row it belongs to."""

from __future__ import annotations

import hmac
import os
from dataclasses import dataclass, field

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from coldframe.errors import ColdframeError
from coldframe.ports.keys import KEY_ID, Key

_NONCE = 12
_KEYED = b"\x00keyed\x01\x00"
"""How a text begins that is sealed under a key of its own, too; one of the secret alone begins with chance."""
_NAMED = len(_KEYED) + KEY_ID
_LENGTH = 4  # bytes
LEAST = 1024  # bytes
GROWS = 4


class CannotUnseal(ColdframeError):
    """Sealed text cannot be opened: the secret is not this database's, or a row was changed by hand.

    Start the bot with the COLDFRAME_SECRET that the database was made with.
    """


class KeyGone(CannotUnseal):
    """The key of its own is not there: it was destroyed, or COLDFRAME_KEYS names another place than before."""


@dataclass(frozen=True, slots=True)
class Seal:
    """One secret of 32 bytes or more. Texts are bound to the row's name, so a copied row does not open elsewhere."""

    secret: bytes = field(repr=False)

    def close(self, row: str, plain: bytes, key: Key | None = None, least: int = LEAST) -> bytes:
        """Under a key of its own as well, a text tells nothing by its length either: it is filled up to a few sizes."""
        return self._closed(row, plain if key is None else _filled(plain, least), key)

    def open(self, row: str, cipher: bytes, key: Key | None = None) -> bytes:
        """With the key that it names, if it names one. Raises CannotUnseal, KeyGone."""
        plain = self._opened(row, cipher, key)
        return plain if key_of(cipher) is None else _emptied(plain)

    def anew(self, before: Seal, row: str, cipher: bytes, key: Key | None) -> bytes:
        """The same text, that another secret sealed until now. Raises CannotUnseal, KeyGone."""
        return self._closed(row, before._opened(row, cipher, key), key)

    def tag(self, *parts: str) -> str:
        """A keyed hash that nobody without the secret can make or guess."""
        return tag(self._derived(b"tag"), *parts)

    def _closed(self, row: str, plain: bytes, key: Key | None) -> bytes:
        nonce = os.urandom(_NONCE)
        head = b"" if key is None else _KEYED + key.id
        return head + nonce + self._aes(key).encrypt(nonce, plain, row.encode())

    def _opened(self, row: str, cipher: bytes, key: Key | None) -> bytes:
        named = key_of(cipher)
        if named is not None and (key is None or key.id != named):
            raise KeyGone
        bare = cipher if named is None else cipher[_NAMED:]
        try:
            return self._aes(key if named else None).decrypt(bare[:_NONCE], bare[_NONCE:], row.encode())
        except InvalidTag:
            raise CannotUnseal from None

    def _aes(self, key: Key | None) -> AESGCM:
        return AESGCM(self._derived(b"text" + (key.secret if key is not None else b"")))

    def _derived(self, purpose: bytes) -> bytes:
        return hmac.digest(self.secret, purpose, "sha256")


def tag(by: bytes, *parts: str) -> str:
    """A keyed hash that stands for something without naming it."""
    return hmac.digest(by, "\0".join(parts).encode(), "sha256").hex()


def key_of(cipher: bytes) -> bytes | None:
    """The id of the key without which it does not open; None where the secret is enough."""
    return cipher[len(_KEYED) : _NAMED] if cipher.startswith(_KEYED) else None


def _filled(plain: bytes, least: int) -> bytes:
    size = least
    while size < len(plain) + _LENGTH:
        size *= GROWS
    return (len(plain).to_bytes(_LENGTH, "big") + plain).ljust(size, b"\0")


def _emptied(filled: bytes) -> bytes:
    return filled[_LENGTH : _LENGTH + int.from_bytes(filled[:_LENGTH], "big")]
