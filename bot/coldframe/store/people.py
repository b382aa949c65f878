"""People as rows: their records, when they were reminded, and what leads to them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import select

from coldframe.ports.storage import Member, Traces
from coldframe.store import statements
from coldframe.store import tables as t
from coldframe.store.connection import Connection
from coldframe.store.forgetting import Forgetting, about
from coldframe.store.sealed_sends import SealedSends
from coldframe.store.veil import Veil

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

    def _insert(self, table: Any) -> Any:
        raise NotImplementedError

    async def member(self, tenant: str, person: str) -> Member | None:
        return (await self.members(tenant, [person])).get(person)

    async def members(self, tenant: str, people: Sequence[str]) -> dict[str, Member]:
        """Read once in a transaction: one happening asks for the same people again and again."""
        unread = [p for p in dict.fromkeys(people) if (tenant, p) not in self._members]
        if unread:
            self._members |= dict.fromkeys((tenant, p) for p in unread)
            rows = await self._db.execute(statements.MEMBERS, {"of_tenant": tenant, "people": unread})
            self._members |= {(tenant, row.id): MEMBER.validate_json(row.doc) for row in rows}
        found = {p: self._members[tenant, p] for p in people}
        return {p: member for p, member in found.items() if member is not None}

    async def save_member(self, member: Member) -> None:
        self._members[member.tenant, member.id] = member
        row = {"tenant": member.tenant, "id": member.id, "name": member.name[:200]}
        row["doc"] = MEMBER.dump_json(member).decode()
        await self._db.execute(statements.keep_member(self._dialect), row)

    async def forget_member(self, tenant: str, person: str) -> None:
        self._members[tenant, person] = None
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
        statement = self._insert(t.nudges).values(tenant=tenant, member=person, at=at)
        await self._db.execute(statement.on_conflict_do_nothing())

    async def nudges_since(self, tenant: str, person: str, since: datetime) -> list[datetime]:
        which = {"of_tenant": tenant, "of_member": person, "since": since}
        return [r.at for r in await self._db.execute(statements.NUDGES, which)]
