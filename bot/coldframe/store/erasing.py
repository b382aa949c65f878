"""Deleting all that is kept of a team."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from sqlalchemy import ColumnElement, Table, and_, delete, or_, select

from coldframe.ports.chat import Place
from coldframe.ports.storage import Posted
from coldframe.store import tables as t
from coldframe.store.connection import Connection
from coldframe.store.forgetting import PARTS
from coldframe.store.veil import Veil


class TeamWork:
    """The part of the unit of work that erases teams."""

    _db: Connection
    _veil: Veil
    deleted: list[str]
    _damaged: set[str]
    forgot: bool

    async def delete_round(self, round_id: str) -> None:
        raise NotImplementedError

    async def _team(self, tenant: str, team: str) -> Erasing:
        of_team = and_(t.rounds.c.tenant == tenant, t.rounds.c.channel == team)
        rounds = [row.id for row in await self._db.execute(select(t.rounds.c.id).where(of_team))]
        of_team = and_(t.trials.c.tenant == tenant, t.trials.c.team == team)
        trials = [row.id for row in await self._db.execute(select(t.trials.c.id).where(of_team))]
        return Erasing(self._db, tenant, team, rounds, trials)

    async def posts_of_team(self, tenant: str, team: str) -> list[Posted]:
        return self._veil.all_posted(await (await self._team(tenant, team)).posts())

    async def rounds_of_team(self, tenant: str, team: str) -> list[str]:
        query = select(t.rounds.c.id).where(t.rounds.c.tenant == tenant, t.rounds.c.channel == team)
        rows = await self._db.execute(query.order_by(t.rounds.c.created_at, t.rounds.c.id))
        return [row.id for row in rows if row.id not in self._damaged]

    async def people_of_team(self, tenant: str, team: str) -> list[str]:
        query = select(t.seats.c.member).join(t.rounds, t.rounds.c.id == t.seats.c.round_id).distinct()
        rows = await self._db.execute(query.where(t.rounds.c.tenant == tenant, t.rounds.c.channel == team))
        return sorted(row.member for row in rows)

    async def delete_team(self, tenant: str, team: str) -> None:
        all_of_it = await self._team(tenant, team)
        await all_of_it.delete()
        for round_id in all_of_it.rounds:
            await self.delete_round(round_id)
        self.deleted += all_of_it.trials
        self.forgot = True


class Erasing:
    """One team, in one transaction: the ids of its rounds and trials, and the rows in which they stand."""

    def __init__(
        self, db: Connection, tenant: str, team: str, rounds: Collection[str], trials: Collection[str]
    ) -> None:
        self._db, self._tenant, self._team = db, tenant, team
        self.rounds, self.trials = rounds, trials
        self._about = {*rounds, *trials, team}

    async def posts(self) -> list[Any]:
        channel = and_(t.posts.c.tenant == self._tenant, t.posts.c.kind == "channel", t.posts.c.place == self._team)
        return await self._rows(t.posts, "name", or_(t.posts.c.round_id.in_(self.rounds), channel))

    async def delete(self) -> None:
        for row in await self._rows(t.posts, "name", t.posts.c.round_id.in_(self.rounds)):
            await self._db.execute(delete(t.posts).where(t.posts.c.name == row.name))
        channel = Place(self._tenant, "channel", self._team).order_key()
        waiting = or_(t.outbox.c.round_id.in_(self.rounds), t.outbox.c.conversation.startswith(channel))
        for table, column, theirs in ((t.outbox, "name", waiting), (t.due, "subject", None), (t.inbox, "key", None)):
            for row in await self._rows(table, column, theirs):
                (key,) = table.primary_key
                await self._db.execute(delete(table).where(key == getattr(row, key.name)))
        for table in (t.trial_facts, t.trial_places, t.register):
            await self._db.execute(delete(table).where(table.c.trial_id.in_(self.trials)))
        await self._db.execute(delete(t.trials).where(t.trials.c.id.in_(self.trials)))
        for table in (t.trial_places, t.register, t.teams):
            await self._db.execute(delete(table).where(table.c.tenant == self._tenant, table.c.team == self._team))
        in_channel = and_(t.posts.c.tenant == self._tenant, t.posts.c.kind == "channel", t.posts.c.place == self._team)
        await self._db.execute(delete(t.posts).where(in_channel))

    async def _rows(self, table: Table, column: str, theirs: ColumnElement[bool] | None) -> list[Any]:
        """Those that are the team's, and those whose packed text names one of its rounds or trials, or the team."""
        mine = [] if theirs is None else (await self._db.execute(select(table).where(theirs))).all()
        named = or_(*(table.c[column].contains(part, autoescape=True) for part in sorted(self._about)))
        others = await self._db.execute(select(table).where(named))
        also = [row for row in others if self._names(getattr(row, column))]
        return [*mine, *(row for row in also if row not in mine)]

    def _names(self, text: str) -> bool:
        """The team's own id may be anything, so it counts beside its workspace or in a message's name alone."""
        parts = PARTS.split(text)
        return not {*self.rounds, *self.trials}.isdisjoint(parts) or (
            self._team in parts and (parts[0] in (self._tenant, "people"))
        )
