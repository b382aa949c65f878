"""The statements that run all the time, made once: making one costs as much as running it."""

from __future__ import annotations

from functools import cache
from typing import Any

from sqlalchemy import Table, and_, bindparam, case, delete, func, literal, or_, select, text, true, type_coerce, update
from sqlalchemy.dialects import sqlite

from coldframe.domain.names import Step
from coldframe.domain.trial.state import OPEN_STEPS
from coldframe.ports.storage import Due
from coldframe.store import tables as t
from coldframe.store.ready import Ready


def insert(dialect: str, table: Table) -> Any:
    """The database's own insert, which knows what to do about a row that is there already."""
    if dialect == "postgresql":
        from sqlalchemy.dialects import postgresql  # late: a bot with a file needs no server's dialect

        return postgresql.insert(table)
    return sqlite.insert(table)


_OPEN_STEPS = tuple(step.value for step in OPEN_STEPS)


def _instant(name: str) -> Any:
    return bindparam(name, type_=t.Instant())


# --- people, rounds, messages ---

MEMBERS = Ready(
    select(t.members.c.id, t.members.c.doc).where(
        t.members.c.tenant == bindparam("of_tenant"), t.members.c.id.in_(bindparam("people", expanding=True))
    )
)
VERSION = Ready(select(t.rounds.c.version).where(t.rounds.c.id == bindparam("round")).with_for_update())
STEPS = Ready(select(t.rounds.c.id, t.rounds.c.step).where(t.rounds.c.id.in_(bindparam("rounds", expanding=True))))
ENDED, NOT_ENDED = (text(f"rounds.step {which} ('committed', 'cancelled')") for which in ("IN", "NOT IN"))
ENDED_OF = Ready(
    select(t.rounds.c.id)
    .where(t.rounds.c.tenant == bindparam("of_tenant"), t.rounds.c.channel == bindparam("of_channel"), ENDED)
    .order_by(t.rounds.c.changed_at.desc(), t.rounds.c.id)
)
NUDGES = Ready(
    select(t.nudges.c.at, t.nudges.c.body)
    .where(
        t.nudges.c.tenant == bindparam("of_tenant"), t.nudges.c.member.in_(bindparam("names", expanding=True)),
        t.nudges.c.at >= _instant("since"),
    )
)  # fmt: skip
SAVE_ROUND = Ready(
    update(t.rounds)
    .where(t.rounds.c.id == bindparam("of_id"), t.rounds.c.version == bindparam("of_version"))
    .values({name: bindparam(name) for name in ("doc", "version", "step", "channel", "name")})
    .values(changed_at=func.coalesce(_instant("changed"), t.rounds.c.changed_at))
)
DROP_SEALED = Ready(delete(t.sealed).where(
    t.sealed.c.round_id == bindparam("of_round"), t.sealed.c.kind == bindparam("of_kind"),
    t.sealed.c.item == bindparam("of_item"),
))  # fmt: skip
DROP_VOTES = Ready(delete(t.votes).where(
    t.votes.c.round_id == bindparam("of_round"), t.votes.c.ballot == bindparam("of_ballot"),
    t.votes.c.voter == bindparam("of_voter"),
))  # fmt: skip
ADD_VOTES = Ready(t.votes.insert())
RECORD = Ready(t.facts.insert())
POSTED_AS = Ready(select(t.posts).where(
    t.posts.c.tenant == bindparam("of_tenant"), t.posts.c.place.in_(bindparam("places", expanding=True)),
    t.posts.c.message_id.in_(bindparam("messages", expanding=True)),
))  # fmt: skip
# What is on its way is a message or a file of that name; a revision of one that was never posted is none.
_COMES = t.outbox.c.kind.in_(("post", "upload")) & (t.outbox.c.state != "parked")
IS_KNOWN = Ready(
    select(t.posts.c.name)
    .where(t.posts.c.name == bindparam("of_name"))
    .union_all(select(t.outbox.c.name).where(t.outbox.c.name.in_(bindparam("waiting", expanding=True)), _COMES))
    .limit(1)
)
POSTS = Ready(select(t.posts).where(t.posts.c.name.in_(bindparam("names", expanding=True))))
OPEN_POSTS = Ready(
    select(t.posts)
    .where(
        t.posts.c.open,
        or_(
            t.posts.c.round_id == bindparam("of_round"),
            and_(
                t.posts.c.tenant == bindparam("of_tenant"), t.posts.c.kind == "direct",
                t.posts.c.place.in_(bindparam("people", expanding=True)),
            ),
        ),
    )
    .order_by(t.posts.c.name)
)  # fmt: skip
FREE_NAMES = Ready(delete(t.posts).where(t.posts.c.name.in_(bindparam("names", expanding=True))))
END_POSTS = Ready(update(t.posts).where(t.posts.c.name.in_(bindparam("names", expanding=True))).values(open=False))


@cache
def heads(*, by_channel: bool, by_member: bool) -> Ready:
    """Rounds that have not ended, oldest first."""
    query = select(t.rounds.c.id, t.rounds.c.tenant, t.rounds.c.channel, t.rounds.c.name, t.rounds.c.step)
    query = query.where(t.rounds.c.tenant == bindparam("of_tenant"), NOT_ENDED)
    if by_channel:
        query = query.where(t.rounds.c.channel == bindparam("of_channel"))
    if by_member:
        query = query.join(t.seats, t.seats.c.round_id == t.rounds.c.id)
        query = query.where(t.seats.c.member == bindparam("of_member"))
    return Ready(query.order_by(t.rounds.c.created_at, t.rounds.c.id))


@cache
def keep_sealed(dialect: str) -> Ready:
    statement = insert(dialect, t.sealed)
    body = {"body": statement.excluded.body}
    return Ready(statement.on_conflict_do_update(index_elements=["round_id", "kind", "item"], set_=body))


@cache
def keep_member(dialect: str) -> Ready:
    statement = insert(dialect, t.members)
    later = {"name": statement.excluded.name, "doc": statement.excluded.doc}
    return Ready(statement.on_conflict_do_update(index_elements=["tenant", "id"], set_=later))


@cache
def count(dialect: str) -> Ready:
    """Adds to a number, from nothing where none stands."""
    statement = insert(dialect, t.counters)
    more = {"value": t.counters.c.value + statement.excluded.value}
    return Ready(statement.on_conflict_do_update(index_elements=["name"], set_=more))


@cache
def enter_happening(dialect: str) -> Ready:
    """Returns a row when the happening's key is new."""
    return Ready(insert(dialect, t.inbox).on_conflict_do_nothing().returning(t.inbox.c.key))


@cache
def keep_post(dialect: str) -> Ready:
    """A message's whereabouts under its name; of two with one name the later counts."""
    statement = insert(dialect, t.posts)
    later = {column: statement.excluded[column] for column in t.posts.c.keys() if column != "name"}  # noqa: SIM118
    return Ready(statement.on_conflict_do_update(index_elements=["name"], set_=later))


@cache
def keep_nudges(dialect: str) -> Ready:
    """Of one person and day."""
    statement = insert(dialect, t.nudges)
    of_day = ["tenant", "member", "at"]
    return Ready(statement.on_conflict_do_update(index_elements=of_day, set_={"body": statement.excluded.body}))


@cache
def keep_dialogue(dialect: str) -> Ready:
    """Somebody's open form, in the place of the one before."""
    statement = insert(dialect, t.dialogues)
    later = {"at": statement.excluded.at, "body": statement.excluded.body}
    return Ready(statement.on_conflict_do_update(index_elements=["id"], set_=later))


@cache
def keep_number(dialect: str) -> Ready:
    """A number under its name, whether one stands there or not; two processes may start at once."""
    statement = insert(dialect, t.counters)
    return Ready(statement.on_conflict_do_update(index_elements=["name"], set_={"value": statement.excluded.value}))


# --- trials, teams ---

TRIAL = Ready(select(t.trials).where(t.trials.c.id == bindparam("of_id")).with_for_update())


@cache
def trials(*, by_owner: bool, only_open: bool) -> Ready:
    """A team's or an owner's, oldest first."""
    whose = t.trials.c.owner if by_owner else t.trials.c.team
    query = select(t.trials).where(t.trials.c.tenant == bindparam("of_tenant"), whose == bindparam("of_whom"))
    if only_open:
        query = query.where(t.trials.c.step.in_(_OPEN_STEPS))
    return Ready(query.order_by(t.trials.c.created_at, t.trials.c.id))


TEAM = Ready(
    select(t.teams.c.doc).where(t.teams.c.tenant == bindparam("of_tenant"), t.teams.c.team == bindparam("of_team"))
)
TEAMS_OF = Ready(
    select(t.rounds.c.channel)
    .join(t.seats, t.seats.c.round_id == t.rounds.c.id)
    .where(
        t.seats.c.tenant == bindparam("of_tenant"), t.seats.c.member == bindparam("of_member"),
        t.rounds.c.step != Step.SETUP.value,  # what somebody sets up gives nobody anything to read
    )
    .distinct()
)  # fmt: skip

# --- outbox ---

QUEUE = Ready(t.outbox.insert())
UNSENT = Ready(
    select(t.outbox.c.kind, t.outbox.c.name, t.outbox.c.conversation).where(
        t.outbox.c.name.in_(bindparam("names", expanding=True)), t.outbox.c.state == "todo"
    )
)
REPLACE = Ready(
    update(t.outbox)
    .where(
        t.outbox.c.name == bindparam("of_name"), t.outbox.c.kind == bindparam("of_kind"),
        t.outbox.c.conversation == bindparam("of_conversation"), t.outbox.c.state == "todo",
    )
    .values(body=bindparam("newer"))
)  # fmt: skip
UNSENT_OF = Ready(
    select(t.outbox.c.kind, t.outbox.c.name, t.outbox.c.body)
    .where(
        t.outbox.c.kind.in_(("post", "upload")), t.outbox.c.state != "parked",
        or_(
            t.outbox.c.round_id == bindparam("of_round"),
            t.outbox.c.conversation.in_(bindparam("conversations", expanding=True)),
        ),
    )
    .order_by(t.outbox.c.id)
)  # fmt: skip
HELD = Ready(
    select(t.outbox.c.id, t.outbox.c.name, t.outbox.c.conversation, t.outbox.c.round_id, t.outbox.c.try_at)
    .where(t.outbox.c.conversation.in_(bindparam("conversations", expanding=True)), t.outbox.c.state == "todo")
    .order_by(t.outbox.c.id)
)
MOVE_HELD = Ready(
    update(t.outbox)
    .where(t.outbox.c.id.in_(bindparam("rows", expanding=True)))
    .values(conversation=bindparam("conversation"), try_at=_instant("at"))
)
DROP_UNSENT = Ready(
    delete(t.outbox).where(t.outbox.c.name.in_(bindparam("names", expanding=True)), t.outbox.c.state == "todo")
)
SENT = Ready(
    delete(t.outbox)
    .where(
        t.outbox.c.id.in_(bindparam("rows", expanding=True)), t.outbox.c.state == "sending",
        t.outbox.c.owner.in_(bindparam("claims", expanding=True)),
    )
    .returning(t.outbox.c.id)
)  # fmt: skip
FORGET_POSTS = Ready(
    delete(t.posts).where(
        t.posts.c.name.in_(bindparam("names", expanding=True)),
        t.posts.c.message_id.in_(bindparam("messages", expanding=True)),
    )
)
CLAIM_SENDS = Ready(
    update(t.outbox)
    .where(t.outbox.c.id.in_(bindparam("rows", expanding=True)))
    .values(
        state="sending", owner=bindparam("me"), lease_until=_instant("until"),
        first_try=func.coalesce(t.outbox.c.first_try, _instant("now")),
    )
)  # fmt: skip


NOT_PARKED = text("outbox.state <> 'parked'")  # as the index of open rows has it: a bound value would not match it


def _oldest_sends() -> Any:
    """Ids of each conversation's oldest row. Parked rows do not hold up the conversation; one that waits for its retry
    does, since order is promised."""
    return select(func.min(t.outbox.c.id)).where(NOT_PARKED).group_by(t.outbox.c.conversation)


def _next_sends() -> Any:
    free = or_(
        and_(t.outbox.c.state != "sending", t.outbox.c.try_at <= _instant("now")),
        and_(t.outbox.c.state == "sending", t.outbox.c.lease_until <= _instant("now")),
    )
    oldest = _oldest_sends().scalar_subquery()
    query = select(t.outbox).where(t.outbox.c.id.in_(oldest), free)
    return query.order_by(t.outbox.c.id).limit(bindparam("most")).with_for_update(skip_locked=True)


NEXT_SENDS = Ready(_next_sends())
NEXT_BEHIND = Ready(
    select(t.outbox)
    .where(
        NOT_PARKED, t.outbox.c.conversation.in_(bindparam("conversations", expanding=True)),
        t.outbox.c.id.not_in(bindparam("firsts", expanding=True)),
    )
    .order_by(t.outbox.c.id)
    .limit(bindparam("most"))
)  # fmt: skip

# --- due rows ---

DUES = Ready(select(t.due).where(t.due.c.kind == bindparam("of_kind")).order_by(t.due.c.at, t.due.c.id))
NOT_DONE = text("due.state <> 'done'")  # as the index of open rows has it: a bound value would not match it


def _this_due(row: Any) -> Any:
    return and_(
        row.kind == bindparam("of_kind"), row.subject == bindparam("of_subject"),
        row.occurrence == bindparam("of_occurrence"),
    )  # fmt: skip


def this_due(due: Due) -> dict[str, Any]:
    """The values by which a statement finds this row."""
    return {"of_kind": due.kind, "of_subject": due.subject, "of_occurrence": due.occurrence}


@cache
def drop_due(*, by_kind: bool, by_occurrence: bool) -> Ready:
    """Rows of a subject, all or some."""
    statement = delete(t.due).where(t.due.c.subject == bindparam("of_subject"))
    if by_kind:
        statement = statement.where(t.due.c.kind == bindparam("of_kind"))
    if by_occurrence:
        statement = statement.where(t.due.c.occurrence == bindparam("of_occurrence"))
    return Ready(statement)


FINISH_DUE = Ready(
    delete(t.due).where(_this_due(t.due.c), t.due.c.state == "claimed", t.due.c.owner == bindparam("me"))
)
_CLAIMED = {"state": "claimed", "owner": bindparam("me"), "lease_until": _instant("until")}
_FREE_OR_MINE = or_(t.due.c.state == "todo", t.due.c.owner == bindparam("me"))
HOLD_DUE = Ready(update(t.due).where(_this_due(t.due.c), _FREE_OR_MINE).values(_CLAIMED))
FAIL_DUE = Ready(
    update(t.due)
    .where(_this_due(t.due.c), t.due.c.at == _instant("of_at"), _FREE_OR_MINE)
    .values({**_CLAIMED, "tries": t.due.c.tries + 1, "problem": bindparam("what")})
)


def _take_due() -> Any:
    row = t.due.alias("d")
    mine = or_(row.c.state == "todo", row.c.owner == bindparam("me"))
    free = select(row.c.id).where(_this_due(row.c), row.c.at == _instant("of_at"), mine)
    return delete(t.due).where(t.due.c.id == free.with_for_update(skip_locked=True).scalar_subquery())


TAKE_DUE = Ready(_take_due())


@cache
def set_due(dialect: str) -> Ready:
    """Setting a row again moves it, and frees it."""
    statement = insert(dialect, t.due).values(state="todo")
    moved = {
        "at": statement.excluded.at,
        "state": "todo",
        "owner": None,
        "lease_until": None,
        "tries": 0,
        "problem": None,
    }
    return Ready(statement.on_conflict_do_update(index_elements=["kind", "subject", "occurrence"], set_=moved))


def _claim_due() -> Any:
    row = t.due.alias("d")
    free = or_(row.c.state == "todo", and_(row.c.state == "claimed", row.c.lease_until <= _instant("now")))
    query = select(row.c.id).where(text("d.state <> 'done'"), free, row.c.at <= _instant("now"))
    first = query.order_by(row.c.at, row.c.id).limit(1).with_for_update(skip_locked=True).scalar_subquery()
    return update(t.due).where(t.due.c.id == first).values(_CLAIMED).returning(t.due)


CLAIM_DUE = Ready(_claim_due())
FIRST_DUES = Ready(
    select(t.due.c.at, t.due.c.state, t.due.c.lease_until)
    .where(NOT_DONE)
    .order_by(t.due.c.at, t.due.c.id)
    .limit(bindparam("most"))
)


# What a server's clock says, in whole milliseconds that have passed; a file has no clock of its own.
_THERE = {"postgresql": text("floor(extract(epoch from clock_timestamp()) * 1000)::bigint"), "sqlite": text("NULL")}


@cache
def waiting(dialect: str) -> Ready:
    """When the first send may go out, beside the first open due row and what time it is there; one row, whether there
    is any or not."""
    send = case((t.outbox.c.state == "sending", t.outbox.c.lease_until), else_=t.outbox.c.try_at)
    # Rows behind the oldest of their conversation cannot go out yet: counting them would wake the alarm for nothing.
    sends = select(func.min(send)).where(t.outbox.c.id.in_(_oldest_sends())).scalar_subquery()
    first = select(t.due).where(NOT_DONE).order_by(t.due.c.at, t.due.c.id).limit(1).subquery()
    one = select(literal(1).label("one")).subquery()
    there = type_coerce(_THERE[dialect], t.Instant()).label("there")
    return Ready(select(sends.label("send"), there, first).select_from(one.outerjoin(first, true())))
