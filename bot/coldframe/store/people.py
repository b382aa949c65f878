"""People as rows: their records, when they were reminded, and what leads to them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from pydantic import TypeAdapter
from sqlalchemy import select

from coldframe.ports.storage import Member, Traces
from coldframe.store import newer, statements
from coldframe.store import tables as t
from coldframe.store.connection import Connection
from coldframe.store.forgetting import Forgetting, about
from coldframe.store.sealed_sends import SealedSends
from coldframe.store.veil import Veil, recorded

MEMBER: TypeAdapter[Member] = TypeAdapter(Member)


class PeopleWork:
    """The part of the unit of work that concerns people."""

    _db: Connection
    _dialect: str
    _sends: SealedSends
    _new_key: Callable[[], str]
    _damaged: set[str]
    forgot: bool
    """Whether somebody was, so that the files are to be overwritten once it is committed."""
    _veil: Veil
    _members: dict[tuple[str, str], Member | None]
    _nudges: dict[tuple[str, str], tuple[datetime, set[datetime]]]
    """Since which day they were read, and when they were."""
    _stored: dict[tuple[str, ...], str]

    async def member(self, tenant: str, person: str) -> Member | None:
        return (await self.members(tenant, [person])).get(person)

    async def members(self, tenant: str, people: Sequence[str]) -> dict[str, Member]:
        """Read once in a transaction: one happening asks for the same people again and again."""
        unread = [p for p in dict.fromkeys(people) if (tenant, p) not in self._members]
        if unread:
            self._members |= dict.fromkeys((tenant, p) for p in unread)
            rows = await self._db.execute(statements.MEMBERS, {"of_tenant": tenant, "people": unread})
            docs = {row.id: row.doc for row in rows}
            self._members |= {(tenant, p): MEMBER.validate_json(doc) for p, doc in docs.items()}
            self._stored |= {("member", tenant, p): doc for p, doc in docs.items()}
        found = {p: self._members[tenant, p] for p in people}
        return {p: member for p, member in found.items() if member is not None}

    async def save_member(self, member: Member) -> None:
        self._members[member.tenant, member.id] = member
        row = {"tenant": member.tenant, "id": member.id, "name": member.name[:200]}
        stored = self._stored.get(("member", member.tenant, member.id))
        row["doc"] = newer.kept(MEMBER, stored, MEMBER.dump_json(member).decode())
        await self._db.execute(statements.keep_member(self._dialect), row)

    async def forget_member(self, tenant: str, person: str) -> None:
        self._members[tenant, person] = None
        self._nudges.pop((tenant, person), None)
        self.forgot = True
        await self._forgetting().forget(tenant, person)

    def _forgetting(self) -> Forgetting:
        return Forgetting(self._db, self._dialect, self._sends, self._veil, self._new_key)

    async def rounds_about(self, tenant: str, person: str) -> list[str]:
        query = select(t.rounds.c.id).where(t.rounds.c.tenant == tenant, about(self._dialect, person))
        rows = await self._db.execute(query.order_by(t.rounds.c.created_at.desc(), t.rounds.c.id))
        return [r.id for r in rows if r.id not in self._damaged]

    async def traces(self, tenant: str, person: str) -> Traces:
        return await self._forgetting().traces(tenant, person)

    async def note_nudge(self, tenant: str, person: str, at: datetime) -> None:
        day = recorded(at, private=True)
        moments = await self._nudges_from(tenant, person, day)
        moments.add(at)
        of_day = [each for each in moments if recorded(each, private=True) == day]
        row = self._veil.nudges(tenant, person, day, of_day)
        await self._db.execute(statements.keep_nudges(self._dialect), row)

    async def nudges_since(self, tenant: str, person: str, since: datetime) -> list[datetime]:
        moments = await self._nudges_from(tenant, person, recorded(since, private=True))
        return sorted(at for at in moments if at >= since)

    async def _nudges_from(self, tenant: str, person: str, day: datetime) -> set[datetime]:
        """Read once in a transaction, unless more of the past is asked for."""
        known = self._nudges.get((tenant, person))
        if known is None or known[0] > day:
            names = [person, self._veil.reminded(tenant, person)]  # in clear, as an earlier release writes it
            rows = await self._db.execute(statements.NUDGES, {"of_tenant": tenant, "names": names, "since": day})
            known = self._nudges[tenant, person] = (day, {at for row in rows for at in self._veil.moments(row)})
        return known[1]
