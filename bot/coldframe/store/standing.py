"""What stands in the outbox and does not go out: found, tried again, dropped. No send is opened for it, so nothing of
what it says can be told."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta
from typing import Any, Literal

from sqlalchemy import and_, case, delete, func, or_, select, update

from coldframe.ports.chat import Place
from coldframe.ports.standing import COUNTED, Watched
from coldframe.ports.storage import UNDELIVERED, Standing, Trouble
from coldframe.store import tables as t
from coldframe.store.connection import Database
from coldframe.store.sealed_sends import SealedSends
from coldframe.store.statements import NOT_DONE
from coldframe.store.veil import MARK

REFUSED, SET_ASIDE, UNREADABLE = "refused", "set aside", "unreadable"
"""How the reason begins for which a send was parked: the platform will not take it, it breaks, it is damaged."""
MAX_WHY = 200
LATELY = timedelta(days=7)
"""What was parked longer ago is tried again only by hand."""
MAX_NAMED = 5  # by the doctor
MAX_LISTED = 1_000

_box = t.outbox.c
_PARKED = and_(
    _box.state == "parked", or_(*(_box.why_parked.startswith(why) for why in (REFUSED, SET_ASIDE, UNREADABLE)))
)
_SPEAKS = and_(_box.kind.in_(("post", "upload")), _box.name.not_like(f"%/{UNDELIVERED}/%"))


# --- for the bot itself -------------------------------------------------------------------------------------------


def lately(now: datetime) -> Any:
    return and_(_box.state == "parked", _box.first_try >= now - LATELY)


def refused_lately(now: datetime, conversations: Collection[str]) -> Any:
    """What only the conversation itself was in the way of."""
    return and_(lately(now), _SPEAKS, _box.why_parked.startswith(REFUSED), _box.conversation.in_(conversations))


def again(now: datetime, which: Any) -> Any:
    """Whether something of an earlier try went out is found out first."""
    was_tried = case((_box.first_try.is_(None), "todo"), else_="unknown")
    free = {"owner": None, "lease_until": None, "try_at": now}
    return update(t.outbox).where(which, _box.state != "sending").values(state=was_tried, **free)


def in_trouble(held_up_since: datetime) -> Any:
    held_up = and_(_box.state != "parked", _box.first_try <= held_up_since)
    return select(t.outbox).where(_SPEAKS, or_(_PARKED, held_up)).order_by(_box.id).limit(MAX_LISTED)


Placed = tuple[Place, Any]


async def placed(sends: SealedSends, rows: Sequence[Any]) -> list[Placed]:
    """With the conversation of each, as the send itself has it: its row hides whose it is. Nothing else is read."""
    await sends.find(rows)
    return [(place, row) for row in rows if (place := _place(sends, row)) is not None]


def _place(sends: SealedSends, row: Any) -> Place | None:
    if not row.conversation.startswith(MARK):
        return Place.of_order_key(row.conversation)
    try:
        return sends.look(row.kind, row.name, row.body).place.root()
    except Exception:  # a damaged one, or one without a key: it will go nowhere
        return None


def by_conversation(found: Sequence[Placed]) -> list[Trouble]:
    by_place: dict[Place, list[Any]] = {}
    for place, row in found:
        by_place.setdefault(place, []).append(row)
    return [
        Trouble(
            place,
            len(some),
            min(row.first_try for row in some),
            next((row.round_id for row in reversed(some) if row.round_id), None),
            _how(some),
            any(row.told_at for row in some),
        )
        for place, some in by_place.items()
    ]


def _how(rows: Sequence[Any]) -> Literal["held up", "refused", "set aside"]:
    if any(row.state != "parked" for row in rows):
        return "held up"
    return "refused" if any(row.why_parked.startswith(REFUSED) for row in rows) else "set aside"


# --- for those who run it -----------------------------------------------------------------------------------------


async def answers(database: Database) -> None:
    """Raises what the database does where it cannot be read: one row is looked at, however full it is."""
    async with database.looking() as db:
        await db.execute(select(t.counters.c.name).limit(1))


async def watched(database: Database, now: datetime) -> Watched:
    """The figures of this moment."""
    waits = func.min(case((_box.state != "parked", func.coalesce(_box.first_try, _box.try_at)))).label("since")
    sends = select(_box.state, func.count().label("number"), waits).group_by(_box.state)
    late = (NOT_DONE, t.due.c.at < now - timedelta(minutes=1))
    due = select(func.count().label("number"), func.min(t.due.c.at).label("first")).where(*late)
    kept = select(t.counters.c.name, t.counters.c.value).where(t.counters.c.name.in_(COUNTED))
    async with database.looking() as db:
        box = (await db.execute(sends)).all()
        dues = (await db.execute(due)).one()
        counted = {row.name: row.value for row in await db.execute(kept)}
    since = min((row.since for row in box if row.since is not None), default=now)
    return Watched(
        outbox={row.state: row.number for row in box},
        oldest=max(0.0, (now - since).total_seconds()),
        late=dues.number,
        latest=(now - dues.first).total_seconds() if dues.first is not None else 0.0,
        counted=counted,
    )


async def listed(database: Database, sends: SealedSends) -> list[Standing]:
    """All that stands in the outbox, oldest first."""
    async with database.looking() as db:
        rows = (await db.execute(select(t.outbox).order_by(_box.id))).all()
    return [_standing(place, row) for place, row in await placed(sends, rows)]


def _standing(place: Place, row: Any) -> Standing:
    states = {"parked": "set aside", "sending": "on its way"}
    state = states.get(row.state, "held up" if row.tries else "waits")
    since = row.first_try or row.try_at
    return Standing(row.id, place, row.kind, row.round_id, state, row.tries, since, row.try_at, row.why_parked or "")


def chosen(ids: Collection[int], conversation: str, *, every: bool) -> Any:
    """Sends by their numbers, of a conversation, or all."""
    if every:
        return _box.id.is_not(None)
    return or_(_box.id.in_(ids), _box.conversation == conversation)


async def try_again(database: Database, which: Any, now: datetime) -> int:
    """Lets these go now; returns how many."""
    async with database.transaction() as db:
        done: int = (await db.execute(again(now, which))).rowcount
    return done


async def drop(database: Database, which: Any) -> int:
    """Takes these out for good, but what is being sent at this moment; returns how many."""
    async with database.transaction() as db:
        return (await db.execute(delete(t.outbox).where(which, _box.state != "sending"))).rowcount


async def finding(database: Database, sends: SealedSends) -> tuple[str, str, str, str]:
    """What `coldframe doctor` says of it: (name, ok | warning | broken, detail, what to do)."""
    rows = [row for row in await listed(database, sends) if row.state in ("held up", "set aside")]
    if not rows:
        return ("outbox", "ok", "nothing is held up", "")
    aside, places = sum(row.state == "set aside" for row in rows), len({row.place for row in rows})
    since = min(row.since for row in rows)
    detail = (
        f"{len(rows) - aside} held up and {aside} set aside in {places} conversations, since {since:%Y-%m-%d %H:%M} UTC"
    )
    named = "".join(f"\n         {_in_a_line(row)}" for row in rows[:MAX_NAMED])
    more = f"\n         and {len(rows) - MAX_NAMED} more" if len(rows) > MAX_NAMED else ""
    remedy = "coldframe outbox lists them all; coldframe outbox retry and drop clear it."
    return ("outbox", "warning", detail + named + more, remedy)


def _in_a_line(row: Standing) -> str:
    why = row.why or f"tried {row.tries} times"
    return f"{row.id}: {row.kind} to {row.place.kind} {row.place.id}, since {row.since:%Y-%m-%d %H:%M} UTC ({why})"
