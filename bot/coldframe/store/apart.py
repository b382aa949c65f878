"""The part of the store that keeps what leads to people apart, and throws it away in time: keys, hidden names, log."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import delete

from coldframe.ports.keys import NAMES
from coldframe.store import past, spoken
from coldframe.store import tables as t
from coldframe.store.connection import Database
from coldframe.store.hiding import hide
from coldframe.store.round_keys import KeyPlace
from coldframe.store.sealed_sends import SealedSends
from coldframe.store.sealer import Sealer
from coldframe.store.sealing import Seal
from coldframe.store.veil import Veil
from coldframe.store.work import SqlWork

HAPPENINGS_KEPT = timedelta(days=30)
DIALOGUES_KEPT = timedelta(days=8)  # their messages are taken back after seven, and a moment is kept by its day


class ApartStore:
    """Seals and hides with the place of keys."""

    def __init__(self, database: Database, seal: Seal, keys: KeyPlace) -> None:
        self.database = database
        self.keys = keys
        self._seal = seal
        self._sealer = Sealer(seal, keys)
        self.sends = SealedSends(seal, self._sealer)
        self._hides: Veil | None = None
        self._unscrubbed = False

    async def veil(self) -> Veil:
        """Its key is had once, before any transaction."""
        self._hides = self._hides or Veil(self._seal, await self.keys.of(NAMES))
        return self._hides

    async def conversation(self, key: str) -> str:
        """A conversation's key as rows have it."""
        return (await self.veil()).conversation(key) if key else ""

    async def tidy(self, now: datetime) -> None:
        """What is kept for a time only goes: by which happenings are known again, and keys of months that are over."""
        async with self.database.transaction() as db:
            await db.execute(delete(t.inbox).where(t.inbox.c.at < now - HAPPENINGS_KEPT))
            await spoken.forget_old(db, now - DIALOGUES_KEPT)
        await past.destroy(self.database, self.keys, now)

    async def _after(self, work: SqlWork) -> None:
        """What the transaction ended goes now that it is committed: its keys, and what the files still hold of it."""
        if work.ended or work.deleted:
            await self.keys.destroy(work.ended)
            for subject in work.deleted:
                await self.keys.destroy_all(subject)
        self._unscrubbed |= bool(work.ended or work.deleted or work.forgot)
        if self._unscrubbed:
            self._unscrubbed = not await self.database.scrub()

    async def _hide_earlier(self) -> None:
        veil = await self.veil()
        await self.database.run(lambda connection: hide(connection, veil))
