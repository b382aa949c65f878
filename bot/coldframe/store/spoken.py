"""Numbered choices and forms filled in by words, as rows: sealed, for values and fields hold what people wrote."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import delete, func, select, update

from coldframe.message.nodes import Button
from coldframe.ports.chat import Place
from coldframe.ports.keys import said
from coldframe.ports.spoken import Asked, Dialogue
from coldframe.ports.storage import Done
from coldframe.store import statements
from coldframe.store import tables as t
from coldframe.store.connection import Connection
from coldframe.store.sealer import Sealer
from coldframe.store.sealing import CannotUnseal, Seal
from coldframe.store.veil import Veil, recorded

_CHOICES: TypeAdapter[tuple[Button, ...]] = TypeAdapter(tuple[Button, ...])
_DIALOGUE: TypeAdapter[Dialogue] = TypeAdapter(Dialogue)
DIALOGUE_SIZE = 4096  # bytes to which one is filled up at least


def owner(veil: Veil, tenant: str, person: str) -> str:
    """Under which somebody's open form stands."""
    return veil.hidden("dialogue", tenant, person)


async def keep_choices(db: Connection, seal: Seal, sealer: Sealer, veil: Veil, done: Done) -> None:
    """What the message offers from now on, in the place of what it offered before; sealed as it waited."""
    send, last = done.queued.send, select(func.coalesce(func.max(t.posts.c.asked), 0) + 1).scalar_subquery()
    offers: dict[str, Any] = {"choices": None}
    if done.choices:
        plain = _CHOICES.dump_json(done.choices)
        body = await sealer.close(send.use, "choices", plain) if send.use else seal.close("choices", plain)
        offers = {"choices": body} | ({"asked": last} if send.kind == "post" else {})
    await db.execute(update(t.posts).where(t.posts.c.name == veil.name(send.name)).values(offers))


class SpokenWork:
    """The part of the unit of work that concerns it."""

    _db: Connection
    _dialect: str
    _sealer: Sealer
    _veil: Veil

    async def asked(self, place: Place, message: str | None = None) -> Asked | None:
        there = t.posts.c.place.in_((place.id, self._veil.person(place.tenant, place.id)))
        here = select(t.posts).where(t.posts.c.tenant == place.tenant, t.posts.c.kind == place.kind, there)
        if message is not None:
            here = here.where(t.posts.c.message_id.in_(self._veil.where(place, message)["messages"]))
        offers = here.where(t.posts.c.choices.is_not(None)).order_by(t.posts.c.asked.desc()).limit(1)
        row = (await self._db.execute(offers)).first()
        posted = self._veil.posted(row) if row is not None else None
        choices = await self._spoken(_CHOICES, "choices", row.choices) if row is not None else None
        return Asked(posted.name, posted.message_id, choices) if posted is not None and choices else None

    async def dialogue(self, tenant: str, person: str) -> Dialogue | None:
        mine = t.dialogues.c.id == owner(self._veil, tenant, person)
        body = (await self._db.execute(select(t.dialogues.c.body).where(mine))).scalar()
        found: Dialogue | None = await self._spoken(_DIALOGUE, "dialogues", body)
        return found

    async def keep_dialogue(self, tenant: str, person: str, dialogue: Dialogue) -> None:
        plain = _DIALOGUE.dump_json(dialogue)
        body = await self._sealer.close(said(dialogue.at), "dialogues", plain, DIALOGUE_SIZE)
        row = {"id": owner(self._veil, tenant, person), "at": recorded(dialogue.at, private=True), "body": body}
        await self._db.execute(statements.keep_dialogue(self._dialect), row)

    async def end_dialogue(self, tenant: str, person: str) -> None:
        await self._db.execute(delete(t.dialogues).where(t.dialogues.c.id == owner(self._veil, tenant, person)))

    async def _spoken(self, kind: TypeAdapter[Any], row: str, body: bytes | None) -> Any:
        """What was sealed by a key that is gone is over."""
        if body is None:
            return None
        await self._sealer.find([body])
        try:
            return kind.validate_json(self._sealer.open(row, body))
        except CannotUnseal:
            return None


async def forget_old(db: Connection, before: datetime) -> None:
    """Forms that nobody sent."""
    await db.execute(delete(t.dialogues).where(t.dialogues.c.at < before))
