"""Whether everything stored can be read, and what fails again and again: for `coldframe doctor`. Changes nothing."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select

from coldframe.ports.storage import Damaged
from coldframe.store import tables as t
from coldframe.store.sql import SqlStore


@dataclass(frozen=True, slots=True)
class Failing:
    """A due row that could not be carried out, by kind and subject (mostly a round's or a trial's id)."""

    kind: str
    subject: str
    tries: int
    problem: str


async def damaged(store: SqlStore) -> list[Damaged]:
    """Rounds and trials that cannot be read."""
    found: list[Damaged] = []
    for table, what in ((t.rounds, "round"), (t.trials, "trial")):
        async with store.database.looking() as db:
            ids = [row.id for row in await db.execute(select(table.c.id).order_by(table.c.created_at, table.c.id))]
        for subject in ids:
            try:
                async with store.begin() as uow:
                    await (uow.round(subject) if what == "round" else uow.trial(subject))
            except Damaged as problem:
                found.append(problem)
    return found


async def failing(store: SqlStore) -> list[Failing]:
    """Due rows that failed and are tried again."""
    query = select(t.due.c.kind, t.due.c.subject, t.due.c.tries, t.due.c.problem).where(t.due.c.tries > 0)
    async with store.database.looking() as db:
        rows = await db.execute(query.order_by(t.due.c.tries.desc(), t.due.c.id))
        return [Failing(row.kind, row.subject, row.tries, row.problem or "") for row in rows]
