"""The store: transactions, and the two queues (outbox, due rows) that outlive every process.

A claim is committed before the work begins and carries a lease, so that nobody's death blocks a row for longer than
that; a conversation's sends go out in order because only its oldest open row can be claimed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import AsyncIterator, Callable, Iterable, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count
from typing import Any, Literal

import structlog
from pydantic import ValidationError
from sqlalchemy import and_, delete, or_, select, update

from coldframe.domain.names import Step
from coldframe.ports.chat import Place
from coldframe.ports.storage import Done, Posted, Queued, Trouble
from coldframe.ports.strays import LOOKED_BACK, RESTORED, Stray
from coldframe.store import past, standing, statements, strays
from coldframe.store import tables as t
from coldframe.store.again import begun_again
from coldframe.store.apart import ApartStore
from coldframe.store.connection import Connection, Database
from coldframe.store.due_queue import LEASE, DueQueue
from coldframe.store.round_keys import KeyPlace, open_keys
from coldframe.store.round_work import Known
from coldframe.store.sealing import KeyGone, Seal
from coldframe.store.spoken import keep_choices
from coldframe.store.work import SqlWork
from coldframe.timing.pauses import MAX_PAUSE, pause

log = structlog.get_logger()
ROUNDS_KEPT = 64
CLAIMED_AT_ONCE = 20
LOOKED_AT = 100
FEW = 5
"""So many sends behind one that failed are claimed with it: they wait for it, or tell whether it fails by itself."""
TIME_SEEN = "highest time seen"
LEFT_TO_NEWER = timedelta(hours=1)
MAX_READINGS = 5
"""So often a send that cannot be opened is tried, before what follows in its conversation goes on without it."""


class SqlStore(ApartStore, DueQueue):
    """A `Store` over SQLite or PostgreSQL. `owner` names this process in claims. A server says what time it is with
    every look for what waits: `on_time` is called with it."""

    def __init__(
        self, database: Database, seal: Seal, *, owner: str, new_key: Callable[[], str], keys: KeyPlace | None = None
    ) -> None:
        super().__init__(database, seal, keys or open_keys("", database))
        self._owner = owner
        self._new_key = new_key
        self._known: Known = {}
        self._damaged: set[str] = set()
        self._parked: set[str] = set()
        self._copy: bool | None = None  # whether it was ever restored; not known before it is asked for
        self._looked_back = False
        self._claims = count(1)
        self.on_time: Callable[[datetime], None] = lambda _: None

    def tag(self, *parts: str) -> str:
        """A keyed hash that nobody without the secret can make or guess."""
        return self._seal.tag(*parts)

    @asynccontextmanager
    async def begin(self) -> AsyncIterator[SqlWork]:
        veil = await self.veil()
        async with self.database.transaction() as connection:
            work = SqlWork(
                connection, self.database.dialect, self._sealer, self.sends, veil, self._owner, self._new_key,
                self._known, self._damaged,
            )  # fmt: skip
            yield work
        self._remember(work.read)
        await self._after(work)

    def _remember(self, read: Known) -> None:
        """Keeps what a committed transaction knows of rounds; the oldest go when there are many."""
        for round_id, state in read.items():
            self._known.pop(round_id, None)
            self._known[round_id] = state
        while len(self._known) > ROUNDS_KEPT:
            del self._known[next(iter(self._known))]

    async def take_over(self) -> None:
        """At the start: hides what an earlier release wrote in clear, and frees what this process, or with SQLite any
        process before it, had claimed when it died."""
        await self._hide_earlier()
        async with self.database.transaction() as db:
            every = self.database.dialect == "sqlite"
            for table, open_state in ((t.outbox, "unknown"), (t.due, "todo")):
                claimed = "sending" if table is t.outbox else "claimed"
                statement = update(table).where(table.c.state == claimed)
                if not every:
                    mine = table.c.owner.startswith(f"{self._owner}/", autoescape=True)
                    statement = statement.where(or_(table.c.owner == self._owner, mine))
                await db.execute(statement.values(state=open_state, owner=None, lease_until=None))

    # --- outbox ---

    @begun_again
    async def claim_sends(self, now: datetime, most: int = CLAIMED_AT_ONCE) -> list[Queued]:
        async with self.database.transaction() as db:
            while first := (await db.execute(statements.NEXT_SENDS, {"now": now, "most": most})).all():
                rows = [*first, *await self._following(db, first, now, most - len(first))]
                await self._sealer.find(row.body for row in rows)
                if claimed := await self._readable(db, rows, now):
                    me = f"{self._owner}/{next(self._claims)}"
                    claim = {"rows": [q.id for q in claimed], "me": me, "until": now + LEASE, "now": now}
                    await db.execute(statements.CLAIM_SENDS, claim)
                    return await self._with_surroundings(db, [replace(q, claim=me) for q in claimed])
        return []

    async def _readable(self, db: Connection, rows: Sequence[Any], now: datetime) -> list[Queued]:
        """The sends that can be opened. One that cannot is held back, and with it what follows in its conversation."""
        claimed: list[Queued] = []
        held_up: set[str] = set()
        for row in rows:
            if row.conversation in held_up:
                continue
            try:
                claimed.append(self._queued(row, now))
            except KeyGone:
                await self._drop_keyless(db, row)
            except Exception as problem:
                held_up.add(row.conversation)
                await self._hold_unreadable(db, row, now, problem)
        return claimed

    async def _drop_keyless(self, db: Connection, row: Any) -> None:
        """It told of something that is over by now, or the place of keys is another: nobody can read it any more."""
        log.info("outbox.key_gone", send=row.id)
        await db.execute(delete(t.outbox).where(t.outbox.c.id == row.id))
        await db.execute(statements.count(self.database.dialect), {"name": "sends without a key", "value": 1})

    async def _hold_unreadable(self, db: Connection, row: Any, now: datetime, unread: Exception) -> None:
        """What is opened and not understood may be a newer release's, whose replicas send it meanwhile."""
        problem, first_try = type(unread).__name__, row.first_try or now
        log.error("outbox.unreadable", send=row.id, tries=row.tries + 1, problem=problem)
        may_be_newer = isinstance(unread, ValidationError) and now - first_try < LEFT_TO_NEWER
        given_up = row.tries + 1 >= MAX_READINGS and not may_be_newer
        state = "parked" if given_up else "unknown" if row.state in ("sending", "unknown") else "todo"
        held = update(t.outbox).where(t.outbox.c.id == row.id).values(state=state, owner=None, lease_until=None)
        soon = min(row.tries, MAX_READINGS) if may_be_newer else row.tries
        later = {"tries": row.tries + 1, "first_try": first_try, "try_at": now + pause(soon, row.key)}
        await db.execute(held.values(why_parked=f"{standing.UNREADABLE} ({problem})", **later))
        if given_up:
            await db.execute(statements.count(self.database.dialect), {"name": "sends unreadable", "value": 1})

    async def _following(self, db: Connection, first: Sequence[Any], now: datetime, room: int) -> list[Any]:
        """What comes next in the conversations whose oldest rows are ours, as nobody else can take it meanwhile: the
        second row of each, then the third of each, as far as there is room."""
        behind = {row.conversation: 0 for row in first}
        most = {row.conversation: FEW if row.tries else LOOKED_AT for row in first}
        ranks: dict[int, list[Any]] = defaultdict(list)
        which = {"conversations": list(behind), "firsts": [row.id for row in first], "most": LOOKED_AT}
        for row in await db.execute(statements.NEXT_BEHIND, which) if room else ():
            count = behind.get(row.conversation)
            if count is not None and count < most[row.conversation] and row.state == "todo" and row.try_at <= now:
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
        send = self.sends.open(row.kind, row.name, row.body)
        key = row.key if send.use is None else self.sends.key_for(send, row.key)  # it tells whose the message is
        return Queued(row.id, key, send, row.tries, row.first_try or now, state)

    async def _with_surroundings(self, db: Connection, claimed: list[Queued]) -> list[Queued]:
        """Adds the messages that the sends refer to and their rounds' steps, read in the claim's own transaction."""
        names = {n for q in claimed for n in (q.send.thread_of, _changes(q)) if n}
        rounds = {q.send.round_id for q in claimed if q.send.only_in is not None and q.send.round_id}
        found: dict[str | None, Posted] = {}
        if names:
            veil = await self.veil()
            rows = await db.execute(statements.POSTS, {"names": [veil.name(name) for name in names]})
            found = {posted.name: posted for posted in veil.all_posted(rows)}
        steps: dict[str | None, Step] = {}
        if rounds:
            rows = await db.execute(statements.STEPS, {"rounds": list(rounds)})
            steps = {row.id: Step(row.step) for row in rows}
        with_strays = strays.given_to(claimed, await _strays(db)) if self._copy else claimed
        return [
            replace(q, root=found.get(q.send.thread_of), posted=_meant(q, found), step=steps.get(q.send.round_id))
            for q in with_strays
        ]

    @begun_again
    async def sent(self, done: Sequence[Done]) -> None:
        """A withdrawn message is nowhere any more, and of two with one name the later counts. What a stray was is
        none any more."""
        veil = await self.veil()
        said = [d for d in done if d.message_id is not None and d.queued.send.kind in ("post", "upload")]
        gone = [d.queued.posted for d in done if d.queued.send.kind == "withdraw" and not d.queued.emptied]
        was = [stray for d in done for stray in (d.queued.stray, d.queued.stale)]
        out = [p for p in (*gone, *was) if p is not None]
        async with self.database.transaction() as db:
            rows = {"rows": [d.queued.id for d in done], "claims": list({d.queued.claim for d in done})}
            mine = {row.id for row in await db.execute(statements.SENT, rows)}
            if new := [veil.row(_whereabouts(d)) for d in said if d.queued.id in mine]:
                await db.execute(statements.keep_post(self.database.dialect), new)
            for late in [d.queued for d in said if d.queued.id not in mine]:
                await self._look_up_again(db, late)
            for each in [d for d in done if d.choices is not None and d.queued.id in mine]:
                await keep_choices(db, self._seal, self._sealer, veil, each)
            if out:
                ids = [form for p in out for form in veil.where(p.place, p.message_id)["messages"]]
                which = {"names": [veil.name(p.name) for p in out], "messages": ids}
                await db.execute(statements.FORGET_POSTS, which)

    async def _look_up_again(self, db: Connection, late: Queued) -> None:
        """It went out after its lease, when somebody else was at it, and may stand there twice. It is claimed once more
        as unknown, so that it is looked up, which leaves one; where none is left, none is made."""
        log.warning("outbox.late", send=late.id, round=late.send.round_id)
        first_try = late.first_try
        assert first_try is not None
        free = {"state": "unknown", "owner": None, "lease_until": None}
        if (await db.execute(update(t.outbox).where(t.outbox.c.id == late.id).values(free))).rowcount:
            return
        only_looked_up = replace(late.send, until=first_try)
        row = await self.sends.row(await self.veil(), only_looked_up, late.key, first_try)
        await db.execute(t.outbox.insert().values({**row, **free, "id": late.id, "first_try": first_try}))

    @begun_again
    async def retry_send(self, queued: Queued, at: datetime, *, unknown: bool, why: str = "") -> None:
        async with self.database.transaction() as db:
            await db.execute(
                update(t.outbox)
                .where(self._still_mine(queued))
                .values(
                    state="unknown" if unknown else "todo", try_at=at, tries=queued.tries + 1, owner=None,
                    lease_until=None, why_parked=why[: standing.MAX_WHY],
                )
            )  # fmt: skip

    @begun_again
    async def give_back(self, untried: Sequence[Queued]) -> None:
        ids = defaultdict(list)
        for queued in untried:
            ids[queued.state, queued.claim].append(queued.id)
        async with self.database.transaction() as db:
            for (state, claim), rows in ids.items():
                mine = and_(t.outbox.c.id.in_(rows), _claimed_as(claim))
                await db.execute(update(t.outbox).where(mine).values(state=state, owner=None, lease_until=None))

    @begun_again
    async def park_send(self, queued: Queued, why: str) -> None:
        async with self.database.transaction() as db:
            await db.execute(
                update(t.outbox)
                .where(self._still_mine(queued))
                .values(state="parked", why_parked=why[: standing.MAX_WHY])
            )
        self._parked.add(queued.send.place.order_key())

    @begun_again
    async def drop_send(self, queued: Queued) -> None:
        async with self.database.transaction() as db:
            await db.execute(delete(t.outbox).where(self._still_mine(queued)))
            await db.execute(statements.count(self.database.dialect), {"name": "sends overtaken", "value": 1})

    def has_parked(self, place: Place) -> bool:
        return place.order_key() in self._parked

    @begun_again
    async def try_parked_again(self, now: datetime, places: Iterable[Place] | None = None) -> None:
        conversations = None if places is None else {place.order_key() for place in places}
        self._parked -= conversations or self._parked
        veil = await self.veil()
        hidden = [veil.conversation(key) for key in conversations or ()]
        which = standing.lately(now) if conversations is None else standing.refused_lately(now, hidden)
        async with self.database.transaction() as db:
            await db.execute(standing.again(now, which))

    async def troubles(self, held_up_since: datetime) -> list[Trouble]:
        async with self.database.looking() as db:
            rows = (await db.execute(standing.in_trouble(held_up_since))).all()
        found = await standing.placed(self.sends, rows)
        self._parked = {place.order_key() for place, row in found if row.state == "parked"}
        return standing.by_conversation(found)

    def _still_mine(self, queued: Queued) -> Any:
        """The claimed row, unless its lease ran out and somebody else is at it: their outcome counts then."""
        return and_(t.outbox.c.id == queued.id, _claimed_as(queued.claim))

    @begun_again
    async def hurry(self, now: datetime, longest: timedelta = MAX_PAUSE) -> None:
        soonest = now + longest
        async with self.database.transaction() as db:
            retried = and_(t.outbox.c.try_at > soonest, t.outbox.c.tries > 0)  # what was tried never waits that long
            await db.execute(update(t.outbox).where(retried).values(try_at=now))
            for table in (t.outbox, t.due):
                held = update(table).where(table.c.lease_until > soonest)
                await db.execute(held.values(lease_until=now + LEASE))

    async def see_time(self, now: datetime) -> datetime:
        known = await self.last_time()
        if known is not None and known >= now:
            return known
        await self.note_number(TIME_SEEN, now.timestamp())
        return now

    async def restored(self) -> datetime | None:
        if self._copy is False or self._looked_back:
            return None
        names = (RESTORED, LOOKED_BACK)
        query = select(t.counters.c.name, t.counters.c.value).where(t.counters.c.name.in_(names))
        async with self.database.looking() as db:
            found = {row.name: row.value for row in await db.execute(query)}
        self._copy = RESTORED in found
        self._looked_back = self._copy and found.get(LOOKED_BACK) == found[RESTORED]
        return datetime.fromtimestamp(found[RESTORED], UTC) if self._copy and not self._looked_back else None

    async def lacks_keys(self) -> bool:
        return bool(await past.keyless(self.database, self.keys))

    @begun_again
    async def last_time(self) -> datetime | None:
        async with self.database.transaction() as db:
            seconds = (await db.execute(select(t.counters.c.value).where(t.counters.c.name == TIME_SEEN))).scalar()
        return None if seconds is None else datetime.fromtimestamp(seconds, UTC)

    @begun_again
    async def note_number(self, name: str, value: float) -> float | None:
        async with self.database.transaction() as db:
            before = (await db.execute(select(t.counters.c.value).where(t.counters.c.name == name))).scalar()
            await db.execute(statements.keep_number(self.database.dialect), {"name": name, "value": value})
        return before

    async def counter(self, name: str) -> float:
        async with self.database.transaction() as db:
            return (await db.execute(select(t.counters.c.value).where(t.counters.c.name == name))).scalar() or 0.0

    async def close(self) -> None:
        await self.keys.close()
        await self.database.close()


async def _strays(db: Connection) -> list[Stray]:
    return [strays.stray_of(row) for row in await db.execute(strays.KEPT)]


def _claimed_as(claim: str) -> Any:
    return and_(t.outbox.c.state == "sending", t.outbox.c.owner == claim)


def _whereabouts(done: Done) -> Posted:
    send = done.queued.send
    return Posted(send.name, send.place, done.message_id or "", send.round_id, send.open)


def _changes(queued: Queued) -> str | None:
    """The name of the message that a send changes, if it changes one."""
    return queued.send.name if queued.send.kind in ("revise", "withdraw") else None


def _meant(queued: Queued, found: Mapping[str | None, Posted]) -> Posted | None:
    """The message that a send changes: the very one that it ends, else the newest of its name."""
    send = queued.send
    if send.ends is not None:
        return Posted(send.name, send.place, send.ends, send.round_id, open=False)
    return found.get(_changes(queued))
