"""Where the bot has spoken with people in private."""

from __future__ import annotations

from sqlalchemy import func, select

from coldframe.ports.chat import Place
from coldframe.store import tables as t
from coldframe.store.connection import Database
from coldframe.store.veil import Veil

MAX_LISTED = 1_000


async def direct_places(database: Database, veil: Veil) -> list[Place]:
    """The direct messages in which something of the bot stands, hidden or not, at most a thousand."""
    one_of_each = select(func.min(t.posts.c.name)).where(t.posts.c.kind == "direct").group_by(t.posts.c.place)
    query = select(t.posts).where(t.posts.c.name.in_(one_of_each.limit(2 * MAX_LISTED).scalar_subquery()))
    async with database.looking() as db:
        rows = (await db.execute(query)).all()
    places = {posted.place.root() for posted in veil.all_posted(rows)}
    return sorted(places, key=Place.order_key)[:MAX_LISTED]
