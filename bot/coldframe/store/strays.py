"""Strays as rows: kept among the messages, under names that no message has."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import and_, func, select

from coldframe.domain.trial.state import OPEN_STEPS
from coldframe.message.nodes import Attachment, Message
from coldframe.message.packed import MessageName
from coldframe.ports.chat import Own, Place
from coldframe.ports.storage import Posted, Queued, Send
from coldframe.ports.strays import MARK, Stray, mark_of, marked
from coldframe.store import statements
from coldframe.store import tables as t
from coldframe.store.connection import Connection
from coldframe.store.sealing import Seal
from coldframe.store.veil import MARK as HIDDEN
from coldframe.store.veil import Veil

OWNER, FILE, MESSAGE = "stray", "file", "message"
KEPT = (
    select(t.posts)
    .where(and_(t.posts.c.name >= f"{OWNER}/", t.posts.c.name < f"{OWNER}0"))  # "0" is the sign after "/"
    .order_by(t.posts.c.name)
)
_DRAWN = re.compile("(?<![0-9a-f])[0-9a-f]{12,17}(?![0-9a-f])")
"""What was drawn by chance, and comes out otherwise when a copy comes to the same message: a plan's id at the reveal, a
nudge's own. The id of the round that a name begins with stays."""
_SAYS: TypeAdapter[tuple[Message | None, Attachment | None]] = TypeAdapter(tuple[Message | None, Attachment | None])


def key_for(seal: Seal, send: Send, unique: str) -> str:
    """Anybody in the conversation may read it, so it tells of the send only what nobody without the secret can read. A
    message is known again by its name; if that was drawn, by what it says too."""
    says = seal.tag("says", _DRAWN.sub("", _SAYS.dump_json((send.message, send.attachment)).decode()))
    owner, slash, rest = send.name.partition("/")
    called = (owner if slash else "") + _DRAWN.sub("", slash + rest)
    return marked(seal.tag("called", called, says if called != send.name else ""), says, unique)


def stray_of(row: Any) -> Stray:
    name = MessageName.unpack(row.name)
    place = Place(row.tenant, row.kind, row.place, row.thread)
    return Stray(row.name, place, row.message_id, name.rest[0], name.what == FILE)


class StraysWork:
    """The part of the unit of work that concerns them."""

    _db: Connection
    _dialect: str
    _veil: Veil

    async def conversations(self) -> list[Place]:
        """Those of acts alone are hidden, and known by their seals; without their key, by who has a seat."""
        in_clear = t.posts.c.body.is_(None)
        rows = await self._db.execute(
            select(t.posts.c.tenant, t.posts.c.kind, t.posts.c.place).where(in_clear).distinct()
        )
        found = {Place(row.tenant, row.kind, row.place) for row in rows}
        shown = ~t.outbox.c.conversation.startswith(HIDDEN)
        waiting = await self._db.execute(select(t.outbox.c.conversation).where(shown).distinct())
        found |= {Place.of_order_key(row.conversation) for row in waiting}
        seats = select(t.seats.c.tenant, t.rounds.c.channel, t.seats.c.member).join(t.rounds)
        for row in await self._db.execute(seats.where(statements.NOT_ENDED)):
            found |= {Place(row.tenant, "channel", row.channel), Place(row.tenant, "direct", row.member)}
        found |= {posted.place.root() for posted in await self._hidden()} | await self._of_trials()
        return sorted(found, key=Place.order_key)

    async def _hidden(self) -> list[Posted]:
        """One message of each place whose name is hidden."""
        one_of_each = select(func.min(t.posts.c.name)).where(t.posts.c.body.is_not(None))
        each = one_of_each.group_by(t.posts.c.tenant, t.posts.c.place).scalar_subquery()
        return self._veil.all_posted(await self._db.execute(select(t.posts).where(t.posts.c.name.in_(each))))

    async def _of_trials(self) -> set[Place]:
        """The rounds that they come from may have ended long ago."""
        open_ = select(t.trials.c.tenant, t.trials.c.team, t.trials.c.owner).where(t.trials.c.step.in_(OPEN_STEPS))
        rows = (await self._db.execute(open_)).all()
        owners = {Place(row.tenant, "direct", row.owner) for row in rows if row.owner}
        return owners | {Place(row.tenant, "channel", row.team) for row in rows}

    async def keep_strays(self, found: Sequence[Own]) -> int:
        rows = [_row(own) for own in found if await self._is_news(own)]
        if rows:
            await self._db.execute(statements.keep_post(self._dialect), rows)
        return len(rows)

    async def _is_news(self, own: Own) -> bool:
        where = self._veil.where(own.place, own.message)
        return (await self._db.execute(statements.POSTED_AS, where)).first() is None

    async def strays(self, tenant: str) -> list[Stray]:
        return [stray_of(row) for row in await self._db.execute(KEPT.where(t.posts.c.tenant == tenant))]


def _row(own: Own) -> dict[str, Any]:
    """It has no life of its own: what becomes of it is decided by whoever looked for it."""
    name = MessageName(OWNER, FILE if own.is_file else MESSAGE, (own.mark, own.message)).pack()
    return {
        "name": name, "tenant": own.place.tenant, "kind": own.place.kind, "place": own.place.id,
        "thread": own.place.thread, "message_id": own.message, "round_id": None, "open": False, "body": None,
    }  # fmt: skip


# --- what they become ---


def given_to(claimed: Sequence[Queued], found: Iterable[Stray]) -> list[Queued]:
    """Each send with the message that it became before, each message to one send."""
    left = list(found)
    out = []
    for queued in claimed:
        stray = _became(queued, left) if queued.send.kind in ("post", "upload") else None
        if stray is not None:
            left.remove(stray)
            is_same = queued.send.kind == "post" or stray.mark == mark_of(queued.key)
            queued = replace(queued, stray=stray) if is_same else replace(queued, stale=stray)
        out.append(queued)
    return out


def _became(queued: Queued, left: Sequence[Stray]) -> Stray | None:
    called, place, is_file = mark_of(queued.key)[:MARK], queued.send.place.root(), queued.send.kind == "upload"
    here = (s for s in left if s.place.root() == place and s.is_file == is_file)
    return next((stray for stray in here if stray.mark[:MARK] == called), None)
