"""One transaction: what a happening changes, what must be said, what must happen later. All of it or nothing."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from datetime import datetime
from typing import Any

import structlog
from pydantic import TypeAdapter
from sqlalchemy import Table, delete, select, update

from coldframe.domain.facts import Fact
from coldframe.domain.names import Step
from coldframe.domain.state import Ledger, Mark, Round
from coldframe.ports.chat import Place
from coldframe.ports.storage import Damaged, Due, Member, Posted, RoundHead, RunningTrial, Send
from coldframe.store import rounds as mapping
from coldframe.store import statements
from coldframe.store import tables as t
from coldframe.store.connection import Connection
from coldframe.store.register import FollowThroughWork
from coldframe.store.sealed_sends import SealedSends
from coldframe.store.sealing import Seal

log = structlog.get_logger()
CARDS = ("revise", "home")
AT_ONCE = 500  # names in one statement
MEMBER: TypeAdapter[Member] = TypeAdapter(Member)

Known = dict[str, tuple[int, Round, mapping.Rows]]


class SqlWork(FollowThroughWork):
    """The unit of work over one connection in one transaction."""

    def __init__(
        self,
        connection: Connection,
        dialect: str,
        seal: Seal,
        sends: SealedSends,
        owner: str,
        new_key: Callable[[], str],
        known: Known,
        damaged: set[str],
    ) -> None:
        self._db = connection
        self._dialect = dialect
        self._owner = owner
        self._seal = seal
        self._members: dict[tuple[str, str], Member | None] = {}
        self._sends = sends
        self._new_key = new_key
        self._known = known
        self._damaged = damaged  # rounds that could not be read: no list has them, so that the others go on
        # What this transaction read or wrote of rounds; the store keeps it once the transaction is committed.
        self.read: Known = {}

    def _insert(self, table: Table) -> Any:
        return statements.insert(self._dialect, table)

    async def first_time(self, key: str, at: datetime) -> bool:
        entered = await self._db.execute(statements.enter_happening(self._dialect), {"key": key, "at": at})
        return entered.first() is not None

    # --- rounds ---

    async def round(self, round_id: str) -> Round | None:
        """A round that did not change since this process last saw it is not read again: its version says so."""
        version = (await self._db.execute(statements.VERSION, {"round": round_id})).scalar()
        if version is None:
            return None
        known = self.read.get(round_id) or self._known.get(round_id)
        if known is None or known[0] != version:
            known = await self._read_round(round_id, version)
        self.read[round_id] = known
        return known[1]

    async def _read_round(self, round_id: str, version: int) -> tuple[int, Round, mapping.Rows]:
        doc = (await self._db.execute(select(t.rounds.c.doc).where(t.rounds.c.id == round_id))).scalar_one()
        sealed = select(t.sealed).where(t.sealed.c.round_id == round_id).order_by(t.sealed.c.kind, t.sealed.c.item)
        items = (await self._db.execute(sealed)).all()
        votes = select(t.votes).where(t.votes.c.round_id == round_id).order_by(t.votes.c.voter, t.votes.c.slot)
        marks = (await self._db.execute(votes)).all()
        try:
            round_ = self._opened(round_id, doc, items, marks)
        except Exception as problem:  # whatever is wrong with what was stored, it is wrong with this round alone
            self._damaged.add(round_id)
            log.error("round.damaged", round=round_id, problem=type(problem).__name__)
            raise Damaged("round", round_id) from None
        self._damaged.discard(round_id)
        return version, round_, mapping.to_rows(round_)

    def _opened(self, round_id: str, doc: str, sealed: Sequence[Any], votes: Sequence[Any]) -> Round:
        items = {(r.kind, r.item): self._seal.open(f"{round_id}/{r.kind}/{r.item}", r.body) for r in sealed}
        return mapping.from_rows(doc, items, self._marks(round_id, votes))

    def _marks(self, round_id: str, votes: Sequence[Any]) -> dict[str, dict[str, list[Mark]]]:
        marks: dict[str, dict[str, list[Mark]]] = defaultdict(lambda: defaultdict(list))
        for row in votes:
            voter, mark = mapping.read_mark(
                self._seal.open(f"{round_id}/{row.ballot}/{row.voter}/{row.slot}", row.body)
            )
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
        version, _, old = self.read[after.id]
        new = mapping.to_rows(after, old)
        values = {
            "of_id": after.id, "of_version": version, "doc": new.doc, "version": version + 1, "changed_at": at,
            "step": after.step.value, "channel": after.channel, "name": after.name,
        }  # fmt: skip
        changed = await self._db.execute(statements.SAVE_ROUND, values)
        if changed.rowcount != 1:
            raise RuntimeError(f"round {after.id} was changed by somebody else")
        self.read[after.id] = (version + 1, after, new)
        await self._save_items(after.id, old, new)
        await self._save_ledgers(after.id, old, new)
        if after.seats.keys() != before.seats.keys():
            await self._save_seats(after, frozenset(before.seats))
        await self._record(after.id, facts, at)

    async def _save_seats(self, round_: Round, known: frozenset[str]) -> None:
        new = [m for m in round_.seats if m not in known]
        if new:
            rows = [{"round_id": round_.id, "member": m, "tenant": round_.tenant} for m in new]
            await self._db.execute(t.seats.insert(), rows)

    async def _save_items(self, round_id: str, old: mapping.Rows, new: mapping.Rows) -> None:
        for kind, item in old.items.keys() - new.items.keys():
            await self._db.execute(statements.DROP_SEALED, {"of_round": round_id, "of_kind": kind, "of_item": item})
        changed = [(key, item.body) for key, item in new.items.items() if not _is_same(old.items.get(key), item)]
        if not changed:
            return
        rows = [
            {"round_id": round_id, "kind": k, "item": i, "body": self._seal.close(f"{round_id}/{k}/{i}", body)}
            for (k, i), body in changed
        ]
        await self._db.execute(statements.keep_sealed(self._dialect), rows)

    async def _save_ledgers(self, round_id: str, old: mapping.Rows, new: mapping.Rows) -> None:
        for ballot, ledger in new.ledgers.items():
            before = old.ledgers.get(ballot, Ledger(ledger.quota))
            for voter in sorted(before.marks.keys() | ledger.marks.keys()):  # who took the last one back stands no more
                marks = ledger.marks.get(voter, ())
                if marks != before.marks.get(voter, ()):
                    await self._save_marks(round_id, ballot, voter, ledger.quota, marks)

    async def _save_marks(self, round_id: str, ballot: str, voter: str, quota: int, marks: tuple[Mark, ...]) -> None:
        tag = self._seal.tag(round_id, ballot, voter)
        await self._db.execute(statements.DROP_VOTES, {"of_round": round_id, "of_ballot": ballot, "of_voter": tag})
        rows = [
            {
                "round_id": round_id, "ballot": ballot, "voter": tag, "slot": slot, "quota": quota,
                "counts": slot < quota,
                "body": self._seal.close(f"{round_id}/{ballot}/{tag}/{slot}", mapping.mark_body(voter, mark)),
            }
            for slot, mark in enumerate(marks)
        ]  # fmt: skip
        if rows:
            await self._db.execute(statements.ADD_VOTES, rows)

    async def _record(self, round_id: str, facts: Sequence[Fact], at: datetime) -> None:
        if facts:
            rows = [{"round_id": round_id, "at": at, "record": json.dumps(f.public_record())} for f in facts]
            await self._db.execute(statements.RECORD, rows)

    async def erase_votes(self, round_id: str, ballot: str) -> None:
        await self._db.execute(delete(t.votes).where(t.votes.c.round_id == round_id, t.votes.c.ballot == ballot))
        changed = update(t.rounds).where(t.rounds.c.id == round_id).values(version=t.rounds.c.version + 1)
        await self._db.execute(changed)
        self.read.pop(round_id, None)

    async def delete_round(self, round_id: str) -> None:
        for table in (t.facts, t.posts, t.outbox):
            await self._db.execute(delete(table).where(table.c.round_id == round_id))
        await self._db.execute(delete(t.rounds).where(t.rounds.c.id == round_id))

    async def heads(self, tenant: str, *, channel: str | None = None, member: str | None = None) -> list[RoundHead]:
        statement = statements.heads(by_channel=channel is not None, by_member=member is not None)
        wanted = {"of_tenant": tenant, "of_channel": channel, "of_member": member}
        rows = await self._db.execute(statement, {name: value for name, value in wanted.items() if value is not None})
        return [RoundHead(r.id, r.tenant, r.channel, r.name, Step(r.step)) for r in rows if r.id not in self._damaged]

    async def rounds_with(self, tenant: str, person: str, most: int = 10) -> list[str]:
        query = (
            select(t.rounds.c.id)
            .join(t.seats, t.seats.c.round_id == t.rounds.c.id)
            .where(t.seats.c.tenant == tenant, t.seats.c.member == person)
            .order_by(t.rounds.c.created_at.desc(), t.rounds.c.id)
            .limit(most)
        )
        return [r.id for r in await self._db.execute(query) if r.id not in self._damaged]

    async def ended_rounds(self, tenant: str, channel: str) -> list[str]:
        query = select(t.rounds.c.id).where(
            t.rounds.c.tenant == tenant, t.rounds.c.channel == channel, statements.ENDED
        )
        rows = await self._db.execute(query.order_by(t.rounds.c.changed_at.desc(), t.rounds.c.id))
        return [r.id for r in rows if r.id not in self._damaged]

    # --- people ---

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
        await self._db.execute(delete(t.members).where(t.members.c.tenant == tenant, t.members.c.id == person))
        await self._db.execute(delete(t.nudges).where(t.nudges.c.tenant == tenant, t.nudges.c.member == person))

    async def step_of(self, round_id: str) -> Step | None:
        row = (await self._db.execute(statements.STEPS, {"rounds": [round_id]})).first()
        return None if row is None else Step(row.step)

    async def running_trials(self, tenant: str, team: str) -> list[RunningTrial]:
        query = select(t.trial_places).where(t.trial_places.c.tenant == tenant, t.trial_places.c.team == team)
        rows = await self._db.execute(query.order_by(t.trial_places.c.place))
        return [RunningTrial(r.trial_id, r.tenant, r.team, r.owner, r.ends, r.review) for r in rows]

    async def start_trial(self, trial: RunningTrial) -> None:
        taken = (
            await self._db.execute(
                select(t.trial_places.c.place).where(
                    t.trial_places.c.tenant == trial.tenant, t.trial_places.c.team == trial.team
                )
            )
        ).scalars()
        used = set(taken)
        place = next(p for p in (1, 2, 3) if p not in used)
        await self._db.execute(
            t.trial_places.insert().values(
                tenant=trial.tenant, team=trial.team, place=place, trial_id=trial.id, owner=trial.owner,
                ends=trial.ends, review=trial.review,
            )
        )  # fmt: skip

    async def note_nudge(self, tenant: str, person: str, at: datetime) -> None:
        statement = self._insert(t.nudges).values(tenant=tenant, member=person, at=at)
        await self._db.execute(statement.on_conflict_do_nothing())

    async def nudges_since(self, tenant: str, person: str, since: datetime) -> list[datetime]:
        query = select(t.nudges.c.at).where(
            t.nudges.c.tenant == tenant, t.nudges.c.member == person, t.nudges.c.at >= since
        )
        return [r.at for r in await self._db.execute(query.order_by(t.nudges.c.at))]

    # --- what is to be said ---

    async def send(self, sends: Sequence[Send], at: datetime) -> None:
        """A card that has not gone out yet is not sent in an older state first."""
        waiting = await self._waiting_cards([s.name for s in sends if s.kind in CARDS])
        new: dict[Any, Send] = {}
        for number, send in enumerate(sends):
            card = (send.kind, send.name, send.conversation())
            if send.kind not in CARDS:
                new[number] = send
            elif card in new or card not in waiting or not await self._replaced(send):
                new[card] = send
        if new:
            await self._db.execute(statements.QUEUE, [self._row(send, at) for send in new.values()])

    async def _waiting_cards(self, names: Sequence[str]) -> set[tuple[str, str, str]]:
        if not names:
            return set()
        rows = await self._db.execute(statements.UNSENT, {"names": names})
        return {(row.kind, row.name, row.conversation) for row in rows}

    async def _replaced(self, send: Send) -> bool:
        newer = {
            "of_name": send.name, "of_kind": send.kind, "of_conversation": send.conversation(),
            "newer": self._sends.close(send),
        }  # fmt: skip
        return (await self._db.execute(statements.REPLACE, newer)).rowcount > 0

    def _row(self, send: Send, at: datetime) -> dict[str, Any]:
        return {
            "key": self._new_key(), "conversation": send.conversation(), "kind": send.kind, "name": send.name,
            "round_id": send.round_id, "only_in": send.only_in, "body": self._sends.close(send), "state": "todo",
            "try_at": at,
        }  # fmt: skip

    async def drop_sends(self, name: str) -> None:
        await self._db.execute(delete(t.outbox).where(t.outbox.c.name == name, t.outbox.c.state == "todo"))

    async def told_of(self, place: Place, at: datetime) -> None:
        mine = update(t.outbox).where(t.outbox.c.conversation == place.order_key(), t.outbox.c.first_try.is_not(None))
        await self._db.execute(mine.values(told_at=at))

    async def posted(self, name: str) -> Posted | None:
        row = (await self._db.execute(statements.POSTS, {"names": [name]})).first()
        return posted_of(row) if row else None

    async def knows_message(self, name: str) -> bool:
        return (await self._db.execute(statements.IS_KNOWN, {"of_name": name})).first() is not None

    async def posted_as(self, place: Place, message_id: str) -> Posted | None:
        where = {"of_tenant": place.tenant, "of_place": place.id, "of_message": message_id}
        row = (await self._db.execute(statements.POSTED_AS, where)).first()
        return posted_of(row) if row else None

    async def posted_like(self, prefix: str) -> list[Posted]:
        query = select(t.posts).where(t.posts.c.name.startswith(prefix, autoescape=True)).order_by(t.posts.c.name)
        return [posted_of(r) for r in await self._db.execute(query)]

    async def open_posts(self, tenant: str, round_id: str | None, people: Collection[str]) -> list[Posted]:
        which = {"of_round": round_id, "of_tenant": tenant, "people": list(people)}
        out = [posted_of(row) for row in await self._db.execute(statements.OPEN_POSTS, which)]
        unsent = {
            "of_round": round_id,
            "conversations": [Place(tenant, "direct", person).order_key() for person in people],
        }
        waiting = [self._looked(row) for row in await self._db.execute(statements.UNSENT_OF, unsent)]
        return out + [Posted(s.name, s.place.root(), "", s.round_id) for s in waiting if s is not None and s.open]

    def _looked(self, row: Any) -> Send | None:
        """A damaged one will not go out; whoever claims it says so."""
        try:
            return self._sends.look(row.kind, row.name, row.body)
        except Exception:
            return None

    async def end_posts(self, names: Sequence[str], *, drop: bool = True) -> None:
        for some in (names[at : at + AT_ONCE] for at in range(0, len(names), AT_ONCE)):
            await self._db.execute(statements.END_POSTS, {"names": some})
            if drop:
                await self._db.execute(statements.DROP_UNSENT, {"names": some})

    # --- what is to happen ---

    async def set_due(self, dues: Sequence[Due]) -> None:
        rows = [
            {"kind": d.kind, "subject": d.subject, "occurrence": d.occurrence, "at": d.at, "state": "todo"}
            for d in dues
        ]
        if rows:
            await self._db.execute(statements.set_due(self._dialect), rows)

    async def take_due(self, due: Due) -> bool:
        mine = {**statements.this_due(due), "of_at": due.at, "me": self._owner}
        return (await self._db.execute(statements.TAKE_DUE, mine)).rowcount > 0

    async def dues(self, kind: str) -> list[Due]:
        query = select(t.due).where(t.due.c.kind == kind).order_by(t.due.c.at, t.due.c.id)
        return [Due(r.kind, r.subject, r.occurrence, r.at) for r in await self._db.execute(query)]

    async def drop_due(self, subject: str, *, kind: str | None = None, occurrence: str | None = None) -> None:
        statement = statements.drop_due(by_kind=kind is not None, by_occurrence=occurrence is not None)
        which = {"of_subject": subject, "of_kind": kind, "of_occurrence": occurrence}
        await self._db.execute(statement, {name: value for name, value in which.items() if value is not None})

    async def count(self, what: str, amount: int = 1) -> None:
        await self._db.execute(statements.count(self._dialect), {"name": what, "value": amount})


def _is_same(old: mapping.Item | None, new: mapping.Item) -> bool:
    return old is new or (old is not None and old.body == new.body)


def posted_of(row: Any) -> Posted:
    place = Place(row.tenant, row.kind, row.place, row.thread)
    return Posted(row.name, place, row.message_id, row.round_id, row.open)
