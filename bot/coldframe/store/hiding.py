"""What an earlier release wrote in clear about people's acts is hidden at the start: keys of happenings, names and
places of messages, what waits in the outbox, who was reminded and when."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy
from sqlalchemy import and_, delete, insert, select, update

from coldframe.ports.chat import Place
from coldframe.ports.keys import is_of_an_act
from coldframe.ports.storage import Posted
from coldframe.store import tables as t
from coldframe.store.veil import MARK, Veil, recorded

TAKE_BACK = "take back"


def hide(connection: sqlalchemy.Connection, veil: Veil) -> None:
    """All of it in one transaction; a second time there is nothing to do."""
    _happenings(connection, veil)
    _posts(connection, veil)
    _outbox(connection, veil)
    _nudges(connection, veil)


def _happenings(connection: sqlalchemy.Connection, veil: Veil) -> None:
    inbox = t.inbox.c
    for row in connection.execute(select(t.inbox).where(~inbox.key.startswith(MARK))).all():
        hidden = {"key": veil.hidden("happening", row.key), "at": recorded(row.at, private=True)}
        connection.execute(update(t.inbox).where(inbox.key == row.key).values(hidden))


def _posts(connection: sqlalchemy.Connection, veil: Veil) -> None:
    posts = t.posts.c
    for row in connection.execute(select(t.posts).where(posts.kind == "direct", posts.body.is_(None))).all():
        if is_of_an_act(row.name):
            place = Place(row.tenant, row.kind, row.place, row.thread)
            hidden = veil.row(Posted(row.name, place, row.message_id, row.round_id, row.open))
            connection.execute(update(t.posts).where(posts.name == row.name).values(hidden))
            taken = update(t.due).where(t.due.c.kind == TAKE_BACK, t.due.c.subject == row.name)
            connection.execute(taken.values(subject=hidden["name"]))


def _outbox(connection: sqlalchemy.Connection, veil: Veil) -> None:
    box = t.outbox.c
    query = select(box.id, box.name, box.conversation).where(~box.conversation.startswith(MARK))
    for row in connection.execute(query).all():
        if Place.of_order_key(row.conversation).kind == "direct":
            hidden = {"name": veil.waiting(row.name), "conversation": veil.conversation(row.conversation)}
            connection.execute(update(t.outbox).where(box.id == row.id).values(hidden))


def _nudges(connection: sqlalchemy.Connection, veil: Veil) -> None:
    """Those of a person and day become one row, with what stands in it."""
    found: dict[tuple[str, str, datetime], set[datetime]] = {}
    nudges = t.nudges.c
    for row in connection.execute(select(t.nudges).where(nudges.body.is_(None))).all():
        found.setdefault((row.tenant, row.member, recorded(row.at, private=True)), set()).add(row.at)
    connection.execute(delete(t.nudges).where(nudges.body.is_(None)))
    for (tenant, person, day), moments in found.items():
        hidden = veil.nudges(tenant, person, day, moments)
        same = and_(*(nudges[name] == hidden[name] for name in ("tenant", "member", "at")))
        for row in connection.execute(select(t.nudges).where(same)).all():
            hidden = veil.nudges(tenant, person, day, {*moments, *veil.moments(row)})
        connection.execute(delete(t.nudges).where(same))
        connection.execute(insert(t.nudges).values(hidden))
