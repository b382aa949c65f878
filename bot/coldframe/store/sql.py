"""The store: transactions, and the two queues (outbox, due rows) that outlive every process.

A claim is committed before the work begins and carries a lease, so that nobody's death blocks a row for longer than
that; a conversation's sends go out in order because only its oldest open row can be claimed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

from sqlalchemy import and_, select, update

from coldframe.domain.names import Step
from coldframe.ports.storage import Done, Due, Posted, Queued, Waiting
from coldframe.store import statements
from coldframe.store import tables as t
from coldframe.store.connection import Connection, Database
from coldframe.store.sealed_sends import SealedSends
from coldframe.store.sealing import Seal
from coldframe.store.work import Known, SqlWork, posted_of

LEASE = timedelta(seconds=60)
ROUNDS_KEPT = 64
CLAIMED_AT_ONCE = 20
LOOKED_AT = 100
TIME_SEEN = "highest time seen"


class SqlStore:
    """A `Store` over SQLite or PostgreSQL. `owner` names this process in claims."""

    def __init__(self, database: Database, seal: Seal, *, owner: str, new_key: Callable[[], str]) -> None:
        self.database = database
        self._seal = seal
        self._owner = owner
        self._new_key = new_key
        self._sends = SealedSends(seal)
        self._known: Known = {}

    def tag(self, *parts: str) -> str:
        """A keyed hash that nobody without the secret can make or guess."""
        return self._seal.tag(*parts)

    @asynccontextmanager
    async def begin(self) -> AsyncIterator[SqlWork]:
        async with self.database.transaction() as connection:
            work = SqlWork(
                connection, self.database.dialect, self._seal, self._sends, self._owner, self._new_key, self._known
            )
            yield work
        self._remember(work.read)

    def _remember(self, read: Known) -> None:
        """Keeps what a committed transaction knows of rounds; the oldest go when there are many."""
        for round_id, state in read.items():
            self._known.pop(round_id, None)
            self._known[round_id] = state
        while len(self._known) > ROUNDS_KEPT:
            del self._known[next(iter(self._known))]

    async def take_over(self) -> None:
        """At the start: frees what this process, or with SQLite any process before it, had claimed when it died."""
        async with self.database.transaction() as db:
            every = self.database.dialect == "sqlite"
            for table, open_state in ((t.outbox, "unknown"), (t.due, "todo")):
                claimed = "sending" if table is t.outbox else "claimed"
                statement = update(table).where(table.c.state == claimed)
                if not every:
                    statement = statement.where(table.c.owner == self._owner)
                await db.execute(statement.values(state=open_state, owner=None, lease_until=None))

    # --- outbox ---

    async def claim_sends(self, now: datetime, most: int = CLAIMED_AT_ONCE) -> list[Queued]:
        async with self.database.transaction() as db:
            first = (await db.execute(statements.NEXT_SENDS, {"now": now, "most": most})).all()
            if not first:
                return []
            rows = [*first, *await self._following(db, first, now, most - len(first))]
            claim = {"rows": [row.id for row in rows], "me": self._owner, "until": now + LEASE, "now": now}
            await db.execute(statements.CLAIM_SENDS, claim)
            return await self._with_surroundings(db, [self._queued(row, now) for row in rows])

    async def _following(self, db: Connection, first: Sequence[Any], now: datetime, room: int) -> list[Any]:
        """What comes next in the conversations whose oldest rows are ours, as nobody else can take it meanwhile: the
        second row of each, then the third of each, as far as there is room."""
        behind = {row.conversation: 0 for row in first}
        ranks: dict[int, list[Any]] = defaultdict(list)
        which = {"conversations": list(behind), "firsts": [row.id for row in first], "most": LOOKED_AT}
        for row in await db.execute(statements.NEXT_BEHIND, which) if room else ():
            if row.conversation in behind and row.state == "todo" and row.try_at <= now:
                behind[row.conversation] += 1
                ranks[behind[row.conversation]].append(row)
            else:
                behind.pop(row.conversation, None)
        found: list[Any] = []
        for rank in ranks.values():
            if len(found) + len(rank) > room:
                break
            found += rank
        return found

    def _queued(self, row: Any, now: datetime) -> Queued:
        state: Literal["todo", "unknown"] = "unknown" if row.state in ("sending", "unknown") else "todo"
        return Queued(row.id, row.key, self._sends.open(row.kind, row.name, row.body), row.tries, row.first_try or now, state)

    async def _with_surroundings(self, db: Connection, claimed: list[Queued]) -> list[Queued]:
        """Adds the messages that the sends refer to and their rounds' steps, read in the claim's own transaction."""
        names = {n for q in claimed for n in (q.send.thread_of, _changes(q)) if n}
        rounds = {q.send.round_id for q in claimed if q.send.only_in is not None and q.send.round_id}
        found: dict[str | None, Posted] = {}
        if names:
            rows = await db.execute(statements.POSTS, {"names": list(names)})
            found = {row.name: posted_of(row) for row in rows}
        steps: dict[str | None, Step] = {}
        if rounds:
            rows = await db.execute(statements.STEPS, {"rounds": list(rounds)})
            steps = {row.id: Step(row.step) for row in rows}
        return [
            replace(q, root=found.get(q.send.thread_of), posted=found.get(_changes(q)), step=steps.get(q.send.round_id))
            for q in claimed
        ]

    async def sent(self, done: Sequence[Done]) -> None:
        """A withdrawn message is nowhere any more, and of two with one name the later counts."""
        new = [_whereabouts(d) for d in done if d.message_id is not None and d.queued.send.kind in ("post", "upload")]
        gone = [d.queued.send.name for d in done if d.queued.send.kind == "withdraw"]
        async with self.database.transaction() as db:
            await db.execute(statements.SENT, {"rows": [d.queued.id for d in done]})
            if new:
                await db.execute(statements.keep_post(self.database.dialect), new)
            if gone:
                await db.execute(statements.FORGET_POSTS, {"names": gone})

    async def retry_send(self, queued: Queued, at: datetime, *, unknown: bool) -> None:
        async with self.database.transaction() as db:
            await db.execute(
                update(t.outbox)
                .where(self._still_mine(queued))
                .values(
                    state="unknown" if unknown else "todo", try_at=at, tries=queued.tries + 1, owner=None,
                    lease_until=None,
                )
            )  # fmt: skip

    async def park_send(self, queued: Queued, why: str) -> None:
        async with self.database.transaction() as db:
            await db.execute(
                update(t.outbox).where(self._still_mine(queued)).values(state="parked", why_parked=why[:200])
            )

    def _still_mine(self, queued: Queued) -> Any:
        """The claimed row, unless its lease ran out and somebody else is at it: their outcome counts then."""
        return and_(t.outbox.c.id == queued.id, t.outbox.c.state == "sending", t.outbox.c.owner == self._owner)

    # --- due rows ---

    async def claim_due(self, now: datetime) -> Due | None:
        claim = {"now": now, "me": self._owner, "until": now + LEASE}
        async with self.database.transaction() as db:
            row = (await db.execute(statements.CLAIM_DUE, claim)).first()
        return None if row is None else _due_of(row)

    async def finish_due(self, due: Due) -> None:
        """Done, unless the row was set anew for a later moment meanwhile, or somebody else is at it."""
        async with self.database.transaction() as db:
            await db.execute(statements.FINISH_DUE, {**statements.this_due(due), "me": self._owner})

    async def hold_due(self, due: Due, now: datetime) -> None:
        claim = {**statements.this_due(due), "me": self._owner, "until": now + LEASE}
        async with self.database.transaction() as db:
            await db.execute(statements.HOLD_DUE, claim)

    async def waiting(self) -> Waiting:
        async with self.database.looking() as db:
            row = (await db.execute(statements.WAITING)).one()
        if row.state == "claimed":
            return Waiting(_moment(row.send), await self._next_due())
        return Waiting(_moment(row.send), row.at, None if row.at is None else _due_of(row))

    async def _next_due(self) -> datetime | None:
        """The first free row's moment, or the end of a lease on one before it. Claimed rows are few and stand first."""
        most = CLAIMED_AT_ONCE
        while True:
            async with self.database.looking() as db:
                rows = (await db.execute(statements.FIRST_DUES, {"most": most})).all()
            leases = [row.lease_until for row in rows if row.state == "claimed"]
            free = next((row.at for row in rows if row.state == "todo"), None)
            if free is not None or len(rows) < most:
                return min((m for m in (free, *leases) if m is not None), default=None)
            most *= 10

    async def see_time(self, now: datetime) -> datetime:
        known = await self.last_time()
        if known is not None and known >= now:
            return known
        await self.note_number(TIME_SEEN, now.timestamp())
        return now

    async def last_time(self) -> datetime | None:
        async with self.database.transaction() as db:
            seconds = (await db.execute(select(t.counters.c.value).where(t.counters.c.name == TIME_SEEN))).scalar()
        return None if seconds is None else datetime.fromtimestamp(seconds, UTC)

    async def note_number(self, name: str, value: float) -> float | None:
        async with self.database.transaction() as db:
            before = (await db.execute(select(t.counters.c.value).where(t.counters.c.name == name))).scalar()
            await db.execute(statements.keep_number(self.database.dialect), {"name": name, "value": value})
        return before

    async def counter(self, name: str) -> float:
        async with self.database.transaction() as db:
            return (await db.execute(select(t.counters.c.value).where(t.counters.c.name == name))).scalar() or 0.0

    async def close(self) -> None:
        await self.database.close()


def _whereabouts(done: Done) -> dict[str, Any]:
    send, place = done.queued.send, done.queued.send.place
    return {
        "name": send.name, "tenant": place.tenant, "kind": place.kind, "place": place.id, "thread": place.thread,
        "message_id": done.message_id, "round_id": send.round_id,
    }  # fmt: skip


def _changes(queued: Queued) -> str | None:
    """The name of the message that a send changes, if it changes one."""
    return queued.send.name if queued.send.kind in ("revise", "withdraw") else None


def _due_of(row: Any) -> Due:
    return Due(row.kind, row.subject, row.occurrence, row.at)


def _moment(value: Any) -> datetime | None:
    return t.Instant().process_result_value(value, None) if isinstance(value, int) else value  # type: ignore[arg-type]
