"""The part of the unit of work that keeps rounds: one document for all, and sealed rows for what few may know."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

import structlog
from sqlalchemy import and_, delete, or_, select, update

from coldframe.domain.facts import Fact
from coldframe.domain.people.facts import PersonForgotten
from coldframe.domain.state import Ledger, Mark, Round
from coldframe.ports.keys import Covers, Use
from coldframe.ports.storage import Damaged
from coldframe.store import rounds as mapping
from coldframe.store import statements
from coldframe.store import tables as t
from coldframe.store.connection import Connection
from coldframe.store.forgetting import in_trail
from coldframe.store.sealer import Sealer
from coldframe.store.sealing import KeyGone, key_of
from coldframe.store.veil import changed_at, recorded

log = structlog.get_logger()
Known = dict[str, tuple[int, Round, mapping.Rows]]
NOTE_SIZE, VOTE_SIZE = 4096, 256  # bytes to which a sealed row is filled up at least
COUNTED = {"dots": Covers.DOTS, "ballot": Covers.BALLOT, "comparisons": Covers.COMPARISONS}


class RoundWork:
    """Rounds over one connection in one transaction."""

    _db: Connection
    _dialect: str
    _sealer: Sealer
    _known: Known
    _damaged: set[str]
    read: Known
    ended: list[Use]
    deleted: list[str]

    async def round(self, round_id: str) -> Round | None:
        """A round that did not change since this process last saw it is not read again: its version says so."""
        version = (await self._db.execute(statements.VERSION, {"round": round_id})).scalar()
        if version is None:
            return None
        known = self.read.get(round_id) or self._known.get(round_id)
        if known is None or known[0] != version:
            self._sealer.keys.look_again(round_id)
            known = await self._read_round(round_id, version)
        self.read[round_id] = known
        return known[1]

    async def _read_round(self, round_id: str, version: int) -> tuple[int, Round, mapping.Rows]:
        doc = (await self._db.execute(select(t.rounds.c.doc).where(t.rounds.c.id == round_id))).scalar_one()
        sealed = select(t.sealed).where(t.sealed.c.round_id == round_id).order_by(t.sealed.c.kind, t.sealed.c.item)
        items = [row for row in await self._db.execute(sealed) if mapping.is_known(row.kind)]
        votes = select(t.votes).where(t.votes.c.round_id == round_id).order_by(t.votes.c.voter, t.votes.c.slot)
        marks = (await self._db.execute(votes)).all()
        await self._sealer.find(row.body for row in (*items, *marks))
        try:
            opened = self._items(items)
            round_ = mapping.from_rows(doc, opened, self._marks(marks))
        except Exception as problem:  # whatever is wrong with what was stored, it is wrong with this round alone
            self._damaged.add(round_id)
            log.error("round.damaged", round=round_id, problem=type(problem).__name__)
            raise Damaged("round", round_id) from None
        self._damaged.discard(round_id)
        rows = mapping.as_stored(mapping.to_rows(round_, read=opened), doc)
        return version, round_, replace_earlier(rows, items, marks)

    def _items(self, rows: Sequence[Any]) -> list[mapping.Opened]:
        found = []
        for row in rows:
            body = self._opened(row, f"{row.round_id}/{row.kind}/{row.item}")
            if body is not None:
                found.append(mapping.Opened(row.kind, body, row.item if key_of(row.body) is None else None))
        return found

    def _opened(self, row: Any, name: str) -> bytes | None:
        """None where its key is gone: the round goes on with what can be opened. Raises CannotUnseal."""
        try:
            return self._sealer.open(name, row.body)
        except KeyGone:
            log.warning("round.key_gone", round=row.round_id)
            return None

    def _marks(self, rows: Sequence[Any]) -> dict[str, dict[str, list[Mark]]]:
        marks: dict[str, dict[str, list[Mark]]] = defaultdict(lambda: defaultdict(list))
        for row in rows:
            body = self._opened(row, _vote_row(row.round_id, row.ballot, row.voter, row.slot))
            if body is not None:
                voter, mark = mapping.read_mark(body)
                marks[row.ballot][voter].append(mark)
        return marks

    async def add_round(self, round_: Round, at: datetime) -> None:
        rows = mapping.to_rows(round_)
        await self._db.execute(
            t.rounds.insert().values(
                id=round_.id, tenant=round_.tenant, channel=round_.channel, name=round_.name, step=round_.step.value,
                version=1, doc=rows.doc, created_at=at, changed_at=at,
            )
        )  # fmt: skip
        await self._save_seats(round_, frozenset())
        self.read[round_.id] = (1, round_, rows)

    async def save_round(self, before: Round, after: Round, facts: Sequence[Fact], at: datetime) -> None:
        version, stored, old = self.read[after.id]
        forgets = any(isinstance(fact, PersonForgotten) for fact in facts)
        # Nobody can tell of whom that tells which a newer release wrote beside.
        new = mapping.to_rows(after, replace(old, known="") if forgets else old)
        values = {
            "of_id": after.id, "of_version": version, "doc": new.doc, "version": version + 1,
            "changed": changed_at(facts, at), "step": after.step.value, "channel": after.channel, "name": after.name,
        }  # fmt: skip
        changed = await self._db.execute(statements.SAVE_ROUND, values)
        if changed.rowcount != 1:
            raise RuntimeError(f"round {after.id} was changed by somebody else")
        self.read[after.id] = (version + 1, after, new)
        if old.earlier:
            old = await self._drop_earlier(after.id, old)
        await self._save_items(after.id, old, new)
        await self._save_ledgers(after.id, old, new)
        if after.seats.keys() != before.seats.keys():
            await self._save_seats(after, frozenset(before.seats))
        await self._record(after.id, facts, at)
        for fact in facts:
            if isinstance(fact, PersonForgotten):
                await in_trail(self._db, t.facts, t.facts.c.round_id == after.id, fact)
        self.ended += mapping.over(stored, after)

    async def _save_seats(self, round_: Round, known: frozenset[str]) -> None:
        new = [m for m in round_.seats if m not in known]
        if new:
            rows = [{"round_id": round_.id, "member": m, "tenant": round_.tenant} for m in new]
            await self._db.execute(t.seats.insert(), rows)
        gone = known - round_.seats.keys()
        if gone:
            await self._db.execute(delete(t.seats).where(t.seats.c.round_id == round_.id, t.seats.c.member.in_(gone)))

    async def _drop_earlier(self, round_id: str, old: mapping.Rows) -> mapping.Rows:
        """What was sealed by the secret alone goes, and is written anew with the rest."""
        named = [and_(t.sealed.c.kind == kind, t.sealed.c.item == item) for kind, item in old.earlier]
        cast = [and_(t.votes.c.ballot == ballot, t.votes.c.voter == voter) for ballot, voter in old.earlier]
        await self._db.execute(delete(t.sealed).where(t.sealed.c.round_id == round_id, or_(*named)))
        await self._db.execute(delete(t.votes).where(t.votes.c.round_id == round_id, or_(*cast)))
        return mapping.Rows(old.doc, {}, {}, old.open)

    async def _save_items(self, round_id: str, old: mapping.Rows, new: mapping.Rows) -> None:
        for (kind, key), item in old.items.items():
            now = new.items.get((kind, key))
            if now is None or now.use != item.use:
                await self._drop_item(round_id, kind, await self._item_name(item.use, kind, key))
        changed = [(at, item) for at, item in new.items.items() if not _is_same(old.items.get(at), item)]
        if not changed:
            return
        rows = [await self._item_row(round_id, kind, key, item) for (kind, key), item in changed]
        await self._db.execute(statements.keep_sealed(self._dialect), rows)

    async def _drop_item(self, round_id: str, kind: str, name: str) -> None:
        await self._db.execute(statements.DROP_SEALED, {"of_round": round_id, "of_kind": kind, "of_item": name})

    async def _item_name(self, use: Use, kind: str, key: str) -> str:
        """What a thing is called at rest: its own name would lead from an older copy to what is shown later."""
        return (await self._sealer.tag(use, kind, key))[:32]

    async def _item_row(self, round_id: str, kind: str, key: str, item: mapping.Item) -> dict[str, Any]:
        name = await self._item_name(item.use, kind, key)
        body = await self._sealer.close(item.use, f"{round_id}/{kind}/{name}", item.body, NOTE_SIZE)
        return {"round_id": round_id, "kind": kind, "item": name, "body": body}

    async def _save_ledgers(self, round_id: str, old: mapping.Rows, new: mapping.Rows) -> None:
        for ballot, ledger in new.ledgers.items():
            before = old.ledgers.get(ballot, Ledger(ledger.quota))
            for voter in sorted(before.marks.keys() | ledger.marks.keys()):  # who took the last one back stands no more
                marks = ledger.marks.get(voter, ())
                if marks != before.marks.get(voter, ()):
                    await self._save_marks(round_id, ballot, voter, ledger.quota, marks)

    async def _save_marks(self, round_id: str, ballot: str, voter: str, quota: int, marks: tuple[Mark, ...]) -> None:
        use = Use(round_id, COUNTED[ballot])
        tag = await self._sealer.tag(use, round_id, ballot, voter)
        await self._db.execute(statements.DROP_VOTES, {"of_round": round_id, "of_ballot": ballot, "of_voter": tag})
        rows = [
            {
                "round_id": round_id, "ballot": ballot, "voter": tag, "slot": slot, "quota": quota,
                "counts": slot < quota,
                "body": await self._sealer.close(
                    use, _vote_row(round_id, ballot, tag, slot), mapping.mark_body(voter, mark), VOTE_SIZE
                ),
            }
            for slot, mark in enumerate(marks)
        ]  # fmt: skip
        if rows:
            await self._db.execute(statements.ADD_VOTES, rows)

    async def _record(self, round_id: str, facts: Sequence[Fact], at: datetime) -> None:
        if facts:
            rows = [
                {"round_id": round_id, "at": recorded(at, f.private), "record": json.dumps(f.public_record())}
                for f in facts
            ]
            await self._db.execute(statements.RECORD, rows)

    async def erase_votes(self, round_id: str, ballot: str) -> None:
        use = Use(round_id, COUNTED[ballot])
        await self._db.execute(delete(t.votes).where(t.votes.c.round_id == round_id, t.votes.c.ballot == ballot))
        await self._drop_item(round_id, mapping.LOCKED, await self._item_name(use, mapping.LOCKED, ballot))
        if use.covers is Covers.COMPARISONS:
            compared = and_(t.sealed.c.round_id == round_id, t.sealed.c.kind == mapping.COMPARE)
            await self._db.execute(delete(t.sealed).where(compared))
        await self._read_anew(round_id)
        self.ended.append(use)

    async def _read_anew(self, round_id: str) -> None:
        changed = update(t.rounds).where(t.rounds.c.id == round_id).values(version=t.rounds.c.version + 1)
        await self._db.execute(changed)
        self.read.pop(round_id, None)

    async def delete_round(self, round_id: str) -> None:
        for table in (t.facts, t.posts, t.outbox):
            await self._db.execute(delete(table).where(table.c.round_id == round_id))
        await self._db.execute(delete(t.rounds).where(t.rounds.c.id == round_id))
        self.deleted.append(round_id)


def replace_earlier(rows: mapping.Rows, items: Collection[Any], marks: Collection[Any]) -> mapping.Rows:
    """With what an earlier release sealed among these rows."""
    earlier = {(row.kind, row.item) for row in items if key_of(row.body) is None}
    earlier |= {(row.ballot, row.voter) for row in marks if key_of(row.body) is None}
    return replace(rows, earlier=tuple(sorted(earlier)))


def _vote_row(round_id: str, ballot: str, voter: str, slot: int) -> str:
    return f"{round_id}/{ballot}/{voter}/{slot}"


def _is_same(old: mapping.Item | None, new: mapping.Item) -> bool:
    return old is new or (old is not None and old.body == new.body and old.use == new.use)
