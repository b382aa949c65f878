"""Deleting what leads to a person from the tables, by the list of all of it (`ports.kept`). What stands in rounds
and trials changes there, by the facts with which they forget somebody; the trail of facts follows them here."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import ColumnElement, Table, delete, func, or_, select, update

from coldframe.domain.people.facts import PersonForgotten
from coldframe.domain.trial.facts import MemberForgotten
from coldframe.message.packed import MessageName
from coldframe.ports.kept import Then, columns
from coldframe.ports.places import BESIDES, Place
from coldframe.ports.storage import Send, Traces
from coldframe.store import newer, spoken
from coldframe.store import tables as t
from coldframe.store.connection import Connection
from coldframe.store.sealed_sends import SealedSends
from coldframe.store.veil import Veil

SOMEBODY = "~"
"""Before the new word that stands in the name of a message in the place of somebody who was forgotten."""
NOBODY = ""
PARTS = re.compile(r"[/:|]")
Rule = Callable[[Veil, str, str], ColumnElement[bool]]


def _conversations(veil: Veil, tenant: str, person: str) -> ColumnElement[bool]:
    key = veil.conversation(Place(tenant, "direct", person).order_key())
    return t.outbox.c.conversation.in_([key, *(key + beside for beside in BESIDES)]) & (t.outbox.c.state != "sending")


def _direct(veil: Veil, tenant: str, person: str) -> ColumnElement[bool]:
    theirs = t.posts.c.place.in_((person, veil.person(tenant, person)))
    return (t.posts.c.tenant == tenant) & (t.posts.c.kind == "direct") & theirs


def _reminded(veil: Veil, tenant: str, person: str) -> ColumnElement[bool]:
    return (t.nudges.c.tenant == tenant) & t.nudges.c.member.in_((person, veil.reminded(tenant, person)))


def _open_form(veil: Veil, tenant: str, person: str) -> ColumnElement[bool]:
    return t.dialogues.c.id == spoken.owner(veil, tenant, person)


THEIRS: dict[tuple[str, str], Rule] = {
    ("outbox", "conversation"): _conversations,
    ("posts", "place"): _direct,
    ("dialogues", "id"): _open_form,
    ("nudges", "member"): _reminded,
}
"""Where a row is a person's not by the person alone."""


class Forgetting:
    """One person, in one transaction."""

    def __init__(
        self, db: Connection, dialect: str, sends: SealedSends, veil: Veil, new_key: Callable[[], str]
    ) -> None:
        self._db, self._dialect, self._sends, self._veil, self._new_key = db, dialect, sends, veil, new_key

    async def traces(self, tenant: str, person: str) -> Traces:
        sent, waiting = [
            (await self._db.execute(select(func.count()).select_from(table).where(mine))).scalar_one()
            for table, mine in (
                (t.posts, _direct(self._veil, tenant, person)),
                (t.outbox, _conversations(self._veil, tenant, person)),
            )
        ]
        due = [await self._packed_with(t.due, column, person) for column in ("subject", "occurrence")]
        rows = {row.id: row for found in due for row in found}
        return Traces(sent, waiting, sorted((row.kind, row.at) for row in rows.values()))

    async def forget(self, tenant: str, person: str) -> None:
        for name, column in columns(Then.ROW_GOES):
            table = t.metadata.tables[name]
            await self._db.execute(delete(table).where(self._is_theirs(table, column, tenant, person)))
        for name, column in columns(Then.EMPTIED):
            table = t.metadata.tables[name]
            theirs = self._is_theirs(table, column, tenant, person)
            await self._db.execute(update(table).where(theirs).values({column: NOBODY}))
        for name, column in columns(Then.PACKED_ROW_GOES):
            table = t.metadata.tables[name]
            found = await self._packed_with(table, column, person)
            for row in found:
                await self._db.execute(delete(table).where(*_same(table, row)))
        await self._name_others_messages(tenant, person)
        await self._say_it_without(tenant, person)
        await self._drop_what_is_beside(tenant, person)

    def _is_theirs(self, table: Table, column: str, tenant: str, person: str) -> ColumnElement[bool]:
        rule = THEIRS.get((table.name, column))
        if rule is not None:
            return rule(self._veil, tenant, person)
        theirs = table.c[column] == person
        return theirs & (table.c.tenant == tenant) if "tenant" in table.c else theirs

    async def _packed_with(self, table: Table, column: str, person: str) -> list[Any]:
        rows = await self._db.execute(select(table).where(self.holds(table.c[column], person)))
        return [row for row in rows if person in PARTS.split(getattr(row, column))]

    def holds(self, column: Any, text: str) -> ColumnElement[bool]:
        find = func.strpos if self._dialect == "postgresql" else func.instr
        return find(column, text) > 0

    async def _name_others_messages(self, tenant: str, person: str) -> None:
        """Messages to others, and in channels, whose name says that they are about this person."""
        for row in await self._packed_with(t.posts, "name", person):
            if row.tenant == tenant:
                other = self._another_name(row.name, person)
                await self._db.execute(update(t.posts).where(t.posts.c.name == row.name).values(name=other))

    def _another_name(self, name: str, person: str) -> str:
        known = MessageName.unpack(name)
        parts = tuple(SOMEBODY + self._new_key() if part == person else part for part in known.rest)
        return MessageName(known.owner, known.what, parts).pack()

    async def _say_it_without(self, tenant: str, person: str) -> None:
        """What waits to be said to others says somebody who left."""
        rows = (await self._db.execute(select(t.outbox).where(t.outbox.c.state != "sending"))).all()
        await self._sends.find(rows)
        for row in rows:
            try:
                send = self._sends.look(row.kind, row.name, row.body)
            except Exception:  # whoever claims it says so; it never goes out
                continue
            other = self._without(send, person) if send.place.tenant == tenant else send
            if other is not send:
                name = self._veil.queued(other)
                values = {"name": name, "body": await self._sends.close(other, name)}
                await self._db.execute(update(t.outbox).where(t.outbox.c.id == row.id).values(values))

    async def _drop_what_is_beside(self, tenant: str, person: str) -> None:
        """What a newer release wrote beside what this one knows goes where it names them."""
        for table, shape in BESIDE.items():
            named = self.holds(table.c.doc, json.dumps(person, ensure_ascii=False))
            for row in (await self._db.execute(select(table).where(table.c.tenant == tenant, named))).all():
                known = shape.dump_json(shape.validate_json(row.doc)).decode()
                await self._db.execute(update(table).where(*_same(table, row)).values(doc=known))

    def _without(self, send: Send, person: str) -> Send:
        if person in PARTS.split(send.name):
            send = replace(send, name=self._another_name(send.name, person))
        return self._sends.without(send, person)


BESIDE: Mapping[Table, TypeAdapter[Any]] = {t.teams: newer.TEAM, t.register: newer.ENTRY}
"""Documents that are saved without a fact; by then they name nobody who was forgotten but in what is beside."""


def _same(table: Table, row: Any) -> list[ColumnElement[bool]]:
    return [column == getattr(row, column.name) for column in table.primary_key]


async def in_trail(db: Connection, table: Table, of: Any, fact: PersonForgotten | MemberForgotten) -> None:
    """The trail of a round or a trial says the alias from now on."""
    was, is_ = json.dumps(fact.member), json.dumps(fact.alias)
    await db.execute(update(table).where(of).values(record=func.replace(table.c.record, was, is_)))


def about(dialect: str, person: str) -> ColumnElement[bool]:
    """Rounds in whose document the person stands, with a seat or without one."""
    find = func.strpos if dialect == "postgresql" else func.instr
    seated = select(t.seats.c.round_id).where(t.seats.c.member == person)
    written = find(t.rounds.c.doc, json.dumps(person, ensure_ascii=False)) > 0
    return or_(t.rounds.c.id.in_(seated), written)
