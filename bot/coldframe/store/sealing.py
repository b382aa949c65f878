"""Encryption at rest of what was given in confidence: AES-GCM, bound to the row it belongs to."""

from __future__ import annotations

import hashlib
import hmac
import os
from dataclasses import dataclass, field

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from coldframe.errors import ColdframeError

_NONCE = 12


class CannotUnseal(ColdframeError):
    """Sealed text cannot be opened: the secret is not this database's, or a row was changed by hand.

    Start the bot with the COLDFRAME_SECRET that the database was made with.
    """


@dataclass(frozen=True, slots=True)
class Seal:
    """One secret of 32 bytes or more. Texts are bound to the row's name, so a copied row does not open elsewhere."""

    secret: bytes = field(repr=False)

    def close(self, row: str, plain: bytes) -> bytes:
        nonce = os.urandom(_NONCE)
        return nonce + AESGCM(self._derived(b"text")).encrypt(nonce, plain, row.encode())

    def open(self, row: str, cipher: bytes) -> bytes:
        """Raises CannotUnseal."""
        try:
            return AESGCM(self._derived(b"text")).decrypt(cipher[:_NONCE], cipher[_NONCE:], row.encode())
        except InvalidTag:
            raise CannotUnseal from None

    def tag(self, *parts: str) -> str:
        """A keyed hash that stands for a person without naming them."""
        return hmac.new(self._derived(b"tag"), "\0".join(parts).encode(), hashlib.sha256).hexdigest()

    def _derived(self, purpose: bytes) -> bytes:
        return hmac.new(self.secret, purpose, hashlib.sha256).digest()
