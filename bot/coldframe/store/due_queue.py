"""Due rows as a queue, and what waits of either queue: when the next of it may be done, and what time it is by then."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from coldframe.ports.storage import Due, Waiting
from coldframe.store import statements
from coldframe.store import tables as t
from coldframe.store.again import begun_again
from coldframe.store.connection import Database

LEASE = timedelta(seconds=60)
SOME = 20  # rows that are looked at first


class DueQueue:
    """The part of the store that concerns what is due."""

    database: Database
    on_time: Callable[[datetime], None]
    _owner: str
    _waits: tuple[int | None, Waiting] | None = None

    async def tell_time(self, told: Callable[[datetime], None]) -> bool:
        """From now on it hears what time it is by the server's clock, with every look for what waits. False where there
        is none: a file has no clock."""
        self.on_time = told
        await self.waiting()
        return self.database.dialect != "sqlite"

    @begun_again
    async def claim_due(self, now: datetime) -> Due | None:
        claim = {"now": now, "me": self._owner, "until": now + LEASE}
        async with self.database.transaction() as db:
            row = (await db.execute(statements.CLAIM_DUE, claim)).first()
        return None if row is None else _due_of(row)

    @begun_again
    async def finish_due(self, due: Due) -> None:
        """Done, unless the row was set anew for a later moment meanwhile, or somebody else is at it."""
        async with self.database.transaction() as db:
            await db.execute(statements.FINISH_DUE, {**statements.this_due(due), "me": self._owner})

    @begun_again
    async def hold_due(self, due: Due, now: datetime) -> None:
        claim = {**statements.this_due(due), "me": self._owner, "until": now + LEASE}
        async with self.database.transaction() as db:
            await db.execute(statements.HOLD_DUE, claim)

    @begun_again
    async def fail_due(self, due: Due, until: datetime, problem: str) -> None:
        hold = {**statements.this_due(due), "of_at": due.at, "me": self._owner, "until": until, "what": problem[:100]}
        async with self.database.transaction() as db:
            await db.execute(statements.FAIL_DUE, hold)
            await db.execute(statements.count(self.database.dialect), {"name": "due rows failed", "value": 1})

    async def waiting(self) -> Waiting:
        """What was read is so until something is written, where nobody else writes."""
        written = self.database.written
        if written is None or self._waits is None or self._waits[0] != written:
            self._waits = (written, await self._read_waiting())
        return self._waits[1]

    async def _read_waiting(self) -> Waiting:
        async with self.database.looking() as db:
            row = (await db.execute(statements.waiting(self.database.dialect))).one()
        if row.there is not None:
            self.on_time(row.there)
        if row.state == "claimed":
            return Waiting(_moment(row.send), await self._next_due())
        return Waiting(_moment(row.send), row.at, None if row.at is None else _due_of(row))

    async def _next_due(self) -> datetime | None:
        """The first free row's moment, or the end of a lease on one before it. Claimed rows are few and stand first."""
        most = SOME
        while True:
            async with self.database.looking() as db:
                rows = (await db.execute(statements.FIRST_DUES, {"most": most})).all()
            leases = [row.lease_until for row in rows if row.state == "claimed"]
            free = next((row.at for row in rows if row.state == "todo"), None)
            if free is not None or len(rows) < most:
                return min((m for m in (free, *leases) if m is not None), default=None)
            most *= 10


def _due_of(row: Any) -> Due:
    return Due(row.kind, row.subject, row.occurrence, row.at, row.tries)


def _moment(value: Any) -> datetime | None:
    return t.Instant().process_result_value(value, None) if isinstance(value, int) else value  # type: ignore[arg-type]
