"""One transaction: what a happening changes, what must be said, what must happen later. All of it or nothing."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Table, delete, select, update

from coldframe.domain.names import Step
from coldframe.ports.held import Held, HeldSend
from coldframe.ports.keys import Use
from coldframe.ports.places import IN_HOURS, WITH_NEXT, Place
from coldframe.ports.storage import Due, Member, Posted, RoundHead, RunningTrial, Send
from coldframe.store import statements
from coldframe.store import tables as t
from coldframe.store.connection import Connection
from coldframe.store.erasing import TeamWork
from coldframe.store.people import PeopleWork
from coldframe.store.register import FollowThroughWork
from coldframe.store.round_work import Known, RoundWork
from coldframe.store.sealed_sends import SealedSends
from coldframe.store.sealer import Sealer
from coldframe.store.spoken import SpokenWork
from coldframe.store.strays import StraysWork
from coldframe.store.veil import Veil, recorded

CARDS = ("revise", "home")
WAITING_WAYS = (IN_HOURS, WITH_NEXT)
AT_ONCE = 500  # names in one statement
UNSENT = ("todo", "parked")


class SqlWork(RoundWork, FollowThroughWork, PeopleWork, TeamWork, StraysWork, SpokenWork):
    """The unit of work over one connection in one transaction."""

    def __init__(
        self,
        connection: Connection,
        dialect: str,
        sealer: Sealer,
        sends: SealedSends,
        veil: Veil,
        owner: str,
        new_key: Callable[[], str],
        known: Known,
        damaged: set[str],
    ) -> None:
        self._db = connection
        self._dialect = dialect
        self._owner = owner
        self._sealer = sealer
        self._members: dict[tuple[str, str], Member | None] = {}
        self._nudges: dict[tuple[str, str], tuple[datetime, set[datetime]]] = {}
        # Documents as they were read, for what a newer release wrote beside what this one knows.
        self._stored: dict[tuple[str, ...], str] = {}
        self._sends = sends
        self._veil = veil
        self._new_key = new_key
        self._known = known
        self._damaged = damaged  # rounds that could not be read: no list has them, so that the others go on
        # What this transaction read or wrote of rounds; the store keeps it once the transaction is committed.
        self.read: Known = {}
        # Keys that nothing needs once it is committed.
        self.ended: list[Use] = []
        self.deleted: list[str] = []
        self.forgot = False

    def _insert(self, table: Table) -> Any:
        return statements.insert(self._dialect, table)

    async def first_time(self, key: str, at: datetime) -> bool:
        happened = {"key": self._veil.hidden("happening", key), "at": recorded(at, private=True)}
        entered = await self._db.execute(statements.enter_happening(self._dialect), happened)
        return entered.first() is not None

    # --- rounds ---

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
        rows = await self._db.execute(statements.ENDED_OF, {"of_tenant": tenant, "of_channel": channel})
        return [r.id for r in rows if r.id not in self._damaged]

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

    # --- what is to be said ---

    async def send(self, sends: Sequence[Send], at: datetime) -> None:
        """A card that has not gone out yet is not sent in an older state first."""
        waiting = await self._waiting_cards([s.name for s in sends if s.kind in CARDS])
        new: dict[Any, Send] = {}
        for number, send in enumerate(sends):
            card = (send.kind, self._veil.queued(send), self._veil.conversation(send.conversation()))
            if send.kind not in CARDS:
                new[number] = send
            elif card in new or card not in waiting or not await self._replaced(send):
                new[card] = send
        if new:
            rows = [await self._row(send, at) for send in new.values()]
            await self._db.execute(statements.QUEUE, rows)

    async def _waiting_cards(self, names: Sequence[str]) -> set[tuple[str, str, str]]:
        if not names:
            return set()
        rows = await self._db.execute(statements.UNSENT, {"names": self._veil.either(names)})
        return {(row.kind, row.name, row.conversation) for row in rows}

    async def _replaced(self, send: Send) -> bool:
        newer = {
            "of_name": self._veil.queued(send), "of_kind": send.kind,
            "of_conversation": self._veil.conversation(send.conversation()),
            "newer": await self._sends.close(send, self._veil.queued(send)),
        }  # fmt: skip
        return (await self._db.execute(statements.REPLACE, newer)).rowcount > 0

    async def _row(self, send: Send, at: datetime) -> dict[str, Any]:
        unique = self._new_key()
        key = unique if send.use is not None else self._sends.key_for(send, unique)
        return await self._sends.row(self._veil, send, key, at)

    async def held(self, people: Collection[Place]) -> list[HeldSend]:
        ways = {
            self._veil.conversation(Held.key(place, news)): (place, news) for place in people for news in (False, True)
        }
        rows = await self._db.execute(statements.HELD, {"conversations": list(ways)}) if ways else ()
        found = [(row, *ways[row.conversation]) for row in rows]
        return [HeldSend(row.id, row.name, place, row.round_id, Held(row.try_at, news)) for row, place, news in found]

    def waits_as(self, name: str) -> Sequence[str]:
        return self._veil.either([name])

    async def release(self, held: Sequence[HeldSend], at: datetime) -> None:
        await self._move(held, at, lambda place: place.order_key())

    async def hold_until(self, held: Sequence[HeldSend], at: datetime) -> None:
        await self._move(held, at, Held.key)

    async def _move(self, held: Sequence[HeldSend], at: datetime, conversation: Callable[[Place], str]) -> None:
        for place in dict.fromkeys(one.place for one in held):
            ids = [one.id for one in held if one.place == place]
            moved = {"rows": ids, "conversation": self._veil.conversation(conversation(place)), "at": at}
            await self._db.execute(statements.MOVE_HELD, moved)

    async def drop_sends(self, name: str) -> bool:
        return (await self._db.execute(delete(t.outbox).where(self._unsent(name)))).rowcount > 0

    async def is_unsent(self, name: str) -> bool:
        return (await self._db.execute(select(t.outbox.c.id).where(self._unsent(name)))).first() is not None

    def _unsent(self, name: str) -> Any:
        return t.outbox.c.name.in_(self._veil.either([name])) & t.outbox.c.state.in_(UNSENT)

    async def told_of(self, place: Place, at: datetime) -> None:
        here = t.outbox.c.conversation == self._veil.conversation(place.order_key())
        await self._db.execute(update(t.outbox).where(here, t.outbox.c.first_try.is_not(None)).values(told_at=at))

    async def posted(self, name: str) -> Posted | None:
        row = (await self._db.execute(statements.POSTS, {"names": [self._veil.name(name)]})).first()
        return self._veil.posted(row) if row else None

    def mark(self, tenant: str, person: str) -> str:
        return self._veil.mark(tenant, person)

    def hidden(self, name: str) -> str:
        return self._veil.name(name)

    async def knows_message(self, name: str) -> bool:
        known = {"of_name": self._veil.name(name), "waiting": self._veil.either([name])}
        return (await self._db.execute(statements.IS_KNOWN, known)).first() is not None

    async def posted_as(self, place: Place, message_id: str) -> Posted | None:
        where = self._veil.where(place, message_id)
        row = (await self._db.execute(statements.POSTED_AS, where)).first()
        return self._veil.posted(row) if row else None

    async def posts_in(self, place: Place) -> list[Posted]:
        there = t.posts.c.place.in_((place.id, self._veil.person(place.tenant, place.id)))
        here = (t.posts.c.tenant == place.tenant, t.posts.c.kind == place.kind, there)
        return self._veil.all_posted(await self._db.execute(select(t.posts).where(*here)))

    async def posted_like(self, prefix: str) -> list[Posted]:
        begins = t.posts.c.name.startswith(self._veil.name(prefix), autoescape=True)
        found = self._veil.all_posted(await self._db.execute(select(t.posts).where(begins)))
        return sorted(found, key=lambda posted: posted.name)

    async def open_posts(self, tenant: str, round_id: str | None, people: Collection[str]) -> list[Posted]:
        theirs = [form for person in people for form in (person, self._veil.person(tenant, person))]
        which = {"of_round": round_id, "of_tenant": tenant, "people": theirs}
        found = self._veil.all_posted(await self._db.execute(statements.OPEN_POSTS, which))
        out = sorted(found, key=lambda posted: posted.name)
        unsent = {
            "of_round": round_id,
            "conversations": [
                self._veil.conversation(Place(tenant, "direct", person).order_key() + how)
                for person in people
                for how in ("", *WAITING_WAYS)
            ],
        }
        rows = (await self._db.execute(statements.UNSENT_OF, unsent)).all()
        await self._sealer.find(row.body for row in rows)
        waiting = [self._looked(row) for row in rows]
        return out + [Posted(s.name, s.place.root(), "", s.round_id) for s in waiting if s is not None and s.open]

    def _looked(self, row: Any) -> Send | None:
        """A damaged one will not go out; whoever claims it says so."""
        try:
            return self._sends.look(row.kind, row.name, row.body)
        except Exception:
            return None

    async def end_posts(self, names: Sequence[str], *, drop: bool = True) -> None:
        for some in (names[at : at + AT_ONCE] for at in range(0, len(names), AT_ONCE)):
            await self._db.execute(statements.END_POSTS, {"names": [self._veil.name(name) for name in some]})
            if drop:
                await self._db.execute(statements.DROP_UNSENT, {"names": self._veil.either(some)})

    async def free_names(self, names: Sequence[str]) -> None:
        for some in (names[at : at + AT_ONCE] for at in range(0, len(names), AT_ONCE)):
            await self._db.execute(statements.FREE_NAMES, {"names": some})
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
        rows = await self._db.execute(statements.DUES, {"of_kind": kind})
        return [Due(r.kind, r.subject, r.occurrence, r.at) for r in rows]

    async def drop_due(self, subject: str, *, kind: str | None = None, occurrence: str | None = None) -> None:
        statement = statements.drop_due(by_kind=kind is not None, by_occurrence=occurrence is not None)
        which = {"of_subject": subject, "of_kind": kind, "of_occurrence": occurrence}
        await self._db.execute(statement, {name: value for name, value in which.items() if value is not None})

    async def count(self, what: str, amount: int = 1) -> None:
        await self._db.execute(statements.count(self._dialect), {"name": what, "value": amount})
