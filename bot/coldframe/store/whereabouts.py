"""Where the bot has spoken with people in private."""

from __future__ import annotations

from sqlalchemy import select

from coldframe.ports.chat import Place
from coldframe.store import tables as t
from coldframe.store.connection import Database

MAX_LISTED = 1_000


async def direct_places(database: Database) -> list[Place]:
    """The direct messages in which something of the bot stands, at most a thousand."""
    query = (
        select(t.posts.c.tenant, t.posts.c.place).where(t.posts.c.kind == "direct", t.posts.c.body.is_(None)).distinct()
    )
    async with database.looking() as db:
        rows = await db.execute(query.order_by(t.posts.c.tenant, t.posts.c.place).limit(MAX_LISTED))
        return [Place(row.tenant, "direct", row.place) for row in rows]
