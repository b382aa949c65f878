"""How people are let in. A personal link holds an unguessable word, which is good once: it becomes a sign-in of that
browser, and the address bar holds nothing any more. A browser that is in lets in another by a short code. Only digests
are kept."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta

from coldframe.chat.room.admissions import Admission, SignIn
from coldframe.chat.room.log import SENT, STEP, Log
from coldframe.chat.room.service import Room
from coldframe.speech import room_words

LASTS = timedelta(days=180)
"""How long a browser stays signed in."""

CODE_LASTS = timedelta(minutes=10)
_SIGNS = "abcdefghjkmnpqrstuvwxyz23456789"  # none that looks like another
_CODE = 10  # signs: 31 ** 10 are some 8e14, of which a guesser tries a few hundred while a code is good


def issue(log: Log, admission: Admission) -> str:
    """A new word; earlier ones stay good until `revoke`. It is told once and cannot be read back."""
    word = secrets.token_urlsafe(32)
    log.put_pass(_digest(word), admission, None)
    return word


def code(log: Log, admission: Admission, now: datetime) -> str:
    """For another browser of somebody who is in: short enough to be typed, and good for minutes."""
    made = "".join(secrets.choice(_SIGNS) for _ in range(_CODE))
    log.put_pass(_digest(made), admission, now + CODE_LASTS)
    return f"{made[: _CODE // 2]}-{made[_CODE // 2 :]}"


def typed(text: str) -> str:
    """A code as people type it."""
    return "".join(sign for sign in text.lower() if sign in _SIGNS)


def bearer(log: Log, word: str, now: datetime) -> Admission | None:
    """Whom the word would let in."""
    return log.pass_of(_digest(word), now)


def redeem(log: Log, word: str, now: datetime) -> str | None:
    """The word of a new sign-in for that of a link or a code, which is good no more."""
    admission = bearer(log, word, now)
    if admission is None:
        return None
    token = secrets.token_urlsafe(32)
    with log.together():
        log.drop_pass(_digest(word))
        log.put_sign_in(_digest(token), admission, now)
    return token


def signed_in(log: Log, token: str, now: datetime) -> SignIn | None:
    """The sign-in of a browser that shows this word."""
    return standing(log, _digest(token), now)


def standing(log: Log, digest: str, now: datetime) -> SignIn | None:
    found = log.sign_in(digest)
    return found if found is not None and now < found.since + LASTS else None


def revoke(log: Log, person: str) -> None:
    """None of the person's links opens any more, and none of their browsers is in."""
    log.drop_passes(person)
    for signed in log.sign_ins(person):
        log.drop_sign_in(signed.digest)


def renew(room: Room, person: str) -> str:
    """A new word for somebody who was let in before. Whoever makes it could open it, so all in the person's channels
    are told, and what was said to the person before is not shown to whoever does."""
    log, now = room.log, room.clock.now()
    with log.together():
        revoke(log, person)
        for form in log.forms(person):
            log.drop_form(person, form.action, form.value)
        log.keep_notes(person, 0)
        log.drop_home(person)
        log.drop_seals(person, STEP, SENT)
        word = issue(log, Admission(person, now, log.revision()))
    _tell_channels(room, person)
    return word


def _tell_channels(room: Room, person: str) -> None:
    known = room.log.person(person)
    for place in room.places(person):
        if place.kind == "channel" and known is not None:
            room.announce(place, room_words.new_link(known.name))


def _digest(word: str) -> str:
    return hashlib.sha256(word.encode("utf-8", "replace")).hexdigest()
