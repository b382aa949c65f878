"""Personal links: an unguessable word in the address says who is there. Only its digest is kept."""

from __future__ import annotations

import hashlib
import secrets

from coldframe.chat.room.log import Log


def issue(log: Log, person: str) -> str:
    """A new word for the person; earlier ones stay good until `revoke`. It is told once and cannot be read back."""
    word = secrets.token_urlsafe(32)
    log.put_pass(_digest(word), person)
    return word


def revoke(log: Log, person: str) -> None:
    """None of the person's links opens any more."""
    log.drop_passes(person)


def bearer(log: Log, word: str) -> str | None:
    """The person to whom the word was given."""
    return log.pass_of(_digest(word))


def _digest(word: str) -> str:
    return hashlib.sha256(word.encode("utf-8", "replace")).hexdigest()
