"""Who is let in: links that wait to be opened, sign-ins, and the keys of what somebody's browsers keep."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from coldframe.chat.room import rows
from coldframe.chat.room.own import OwnRows


@dataclass(frozen=True, slots=True)
class Admission:
    """For whom it is. Whoever comes in by a new link is not shown what was said to that person before: up to `hidden`,
    which was the room's `revision`."""

    person: str
    hidden: datetime | None = None
    revision: int = 0


@dataclass(frozen=True, slots=True)
class SignIn:
    """A browser that was let in, by the digest of its word."""

    digest: str
    admission: Admission
    since: datetime


_ADMISSION = "person, hidden, revision"


class Admissions(OwnRows):
    """Only digests are kept of what lets somebody in."""

    def put_pass(self, digest: str, admission: Admission, until: datetime | None) -> None:
        values = (digest, *_columns(admission), rows.stamp(until) if until else "")
        self._db.execute(f"insert into passes (digest, {_ADMISSION}, until) values (?, ?, ?, ?, ?)", values)

    def pass_of(self, digest: str, now: datetime) -> Admission | None:
        row = self._one(f"select {_ADMISSION}, until from passes where digest = ?", digest)
        return _admission(*row[:3]) if row and (not row[3] or now < datetime.fromisoformat(row[3])) else None

    def has_pass(self, person: str) -> bool:
        """Whether the person was ever given a way in that still is one."""
        sql = "select 1 from passes where person = ? union select 1 from signins where person = ?"
        return self._one(sql, person, person) is not None

    def drop_pass(self, digest: str) -> None:
        self._db.execute("delete from passes where digest = ?", (digest,))

    def drop_passes(self, person: str) -> None:
        self._db.execute("delete from passes where person = ?", (person,))

    def put_sign_in(self, digest: str, admission: Admission, since: datetime) -> None:
        values = (digest, *_columns(admission), rows.stamp(since))
        self._db.execute(f"insert into signins (digest, {_ADMISSION}, since) values (?, ?, ?, ?, ?)", values)

    def sign_in(self, digest: str) -> SignIn | None:
        row = self._one(f"select digest, since, {_ADMISSION} from signins where digest = ?", digest)
        return _sign_in(row) if row else None

    def sign_ins(self, person: str) -> tuple[SignIn, ...]:
        sql = f"select digest, since, {_ADMISSION} from signins where person = ? order by since, rowid"
        return tuple(map(_sign_in, self._rows(sql, person)))

    def drop_sign_in(self, digest: str) -> None:
        self._db.execute("delete from signins where digest = ?", (digest,))

    # --- keys of what browsers keep -------------------------------------------------------------------------

    def seal_key(self, person: str, kind: str) -> bytes:
        """Made when it is first asked for."""
        own = self._own(person)
        if kind not in own.keys:
            own = replace(own, keys={**own.keys, kind: secrets.token_hex(32)})
            self._keep(own)
        return bytes.fromhex(own.keys[kind])

    def drop_seals(self, person: str, *kinds: str) -> None:
        """What was closed with them opens no more."""
        own = self._own(person)
        self._keep(replace(own, keys={kind: key for kind, key in own.keys.items() if kind not in kinds}))


def _columns(admission: Admission) -> tuple[str, str, int]:
    return admission.person, rows.stamp(admission.hidden) if admission.hidden else "", admission.revision


def _admission(person: str, hidden: str, revision: int) -> Admission:
    return Admission(person, datetime.fromisoformat(hidden) if hidden else None, revision)


def _sign_in(row: Any) -> SignIn:
    digest, since, *admission = row
    return SignIn(digest, _admission(*admission), datetime.fromisoformat(since))
