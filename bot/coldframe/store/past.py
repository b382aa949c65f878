"""Keys that nothing needs any more, found at the start: whoever died between the commit that ended their use and their
destruction left them. And whether the place of keys is the one that the database knows."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

import structlog
from sqlalchemy import select
from sqlalchemy.exc import DBAPIError

from coldframe.domain.names import Step
from coldframe.domain.trial.state import OPEN_STEPS
from coldframe.errors import ColdframeError
from coldframe.ports.keys import NAMES, Covers, Use, said
from coldframe.store import rounds as mapping
from coldframe.store import tables as t
from coldframe.store.connection import Connection, Database
from coldframe.store.round_keys import KeyPlace
from coldframe.store.sealing import key_of

log = structlog.get_logger()
PLACE = "keys"
MOST = 500  # subjects in one statement
SAID_FOR = timedelta(days=31)
OF_ROUNDS = frozenset(Covers) - {Covers.TRIAL, Covers.SCORED, Covers.SAID, Covers.ROOM, Covers.PLACES}
TO_DO = (
    "What people gave in confidence and nobody has seen yet cannot be opened without it; rounds go on with the rest. "
    "If it still stands somewhere, stop the bot and let COLDFRAME_KEYS name it; else ask people to give it again."
)


CHECK_THE_PLACE = (
    "Check COLDFRAME_KEYS: where the keys of private texts stand, apart from the database. Without it they stand in a "
    "file beside the database's, or in a table of its server"
)


class NoKeys(ColdframeError, ValueError):
    """The place of keys does not answer."""

    def __init__(self, problem: str) -> None:
        super().__init__(f"{problem}. {CHECK_THE_PLACE}.")


# --- at the start -----------------------------------------------------------------------------------------------------


async def look_after(database: Database, keys: KeyPlace, now: datetime) -> None:
    """Destroys what is past, and says so when the place is another than before. Raises NoKeys."""
    try:
        mine = (await keys.of(NAMES)).id
    except (DBAPIError, OSError) as problem:
        shown = keys.database.url.render_as_string(hide_password=True)
        raise NoKeys(f"the place of keys {shown} does not answer ({type(problem).__name__})") from problem
    await destroy(database, keys, now)
    async with database.transaction() as db:
        known = (await db.execute(select(t.safeguards.c.body).where(t.safeguards.c.name == PLACE))).scalar()
        if known is not None and bytes(known) == mine:
            return
        await db.execute(t.safeguards.delete().where(t.safeguards.c.name == PLACE))
        await db.execute(t.safeguards.insert().values(name=PLACE, body=mine, at=now))
    if known is not None:
        log.warning("keys.missing", words=f"The place of keys is not the one that this database knows. {TO_DO}")


async def destroy(database: Database, keys: KeyPlace, now: datetime) -> None:
    """Destroys what is past."""
    waits = await _waiting(database, keys)
    past = [use for use in await _past(database, await keys.uses(), now) if use not in waits]
    await keys.destroy(past)
    if past:
        log.info("keys.past", number=len(past))
        await database.scrub()


async def _waiting(database: Database, keys: KeyPlace) -> set[Use]:
    """By which months what still waits to be said was sealed: for somebody who is away for long."""
    async with database.looking() as db:
        rows = await db.execute(select(t.outbox.c.body))
        named = {id for row in rows if (id := key_of(row.body)) is not None}
    await keys.find(named)
    uses = {key.use for id in named if (key := keys.at_hand(id)) is not None}
    return {use for use in uses if use.covers is Covers.SAID}


async def _past(database: Database, uses: Iterable[Use], now: datetime) -> list[Use]:
    uses = list(uses)
    async with database.looking() as db:
        steps = await _steps(db, t.rounds, {use.subject for use in uses if use.covers in OF_ROUNDS})
        trials = await _steps(db, t.trials, {use.subject for use in uses if use.covers is Covers.TRIAL})
    return [use for use in uses if _is_past(use, steps, trials, now)]


async def _steps(db: Connection, table: Any, subjects: set[str]) -> dict[str, str]:
    ids, found = sorted(subjects), dict[str, str]()
    for at in range(0, len(ids), MOST):
        rows = await db.execute(select(table.c.id, table.c.step).where(table.c.id.in_(ids[at : at + MOST])))
        found |= {row.id: row.step for row in rows}
    return found


def _is_past(use: Use, steps: dict[str, str], trials: dict[str, str], now: datetime) -> bool:
    if use.covers is Covers.SAID:
        return use.which < said(now - SAID_FOR).which
    if use.covers is Covers.TRIAL:
        return use.subject in trials and trials[use.subject] not in list(OPEN_STEPS)
    if use.covers not in OF_ROUNDS:
        return False
    return use.subject not in steps or mapping.past(Step(steps[use.subject]), use.covers)


# --- what cannot be opened --------------------------------------------------------------------------------------------


async def is_known(database: Database, keys: KeyPlace) -> bool:
    """Whether the place is the one that the database knows, or neither knows of the other. Changes nothing."""
    async with database.looking() as db:
        known = (await db.execute(select(t.safeguards.c.body).where(t.safeguards.c.name == PLACE))).scalar()
    if known is None:
        return True
    await keys.find([bytes(known)])
    return keys.at_hand(bytes(known)) is not None


async def keyless(database: Database, keys: KeyPlace) -> dict[str, int]:
    """How many texts of each round lack their key."""
    async with database.looking() as db:
        rows = [*await db.execute(select(t.sealed.c.round_id, t.sealed.c.body))]
        rows += [*await db.execute(select(t.votes.c.round_id, t.votes.c.body))]
    await keys.find({named for row in rows if (named := key_of(row.body)) is not None})
    found: dict[str, int] = {}
    for row in rows:
        named = key_of(row.body)
        if named is not None and keys.at_hand(named) is None:
            found[row.round_id] = found.get(row.round_id, 0) + 1
    return found


async def finding(database: Database, keys: KeyPlace) -> tuple[str, str, str, str]:
    """What `coldframe doctor` says of it: (name, ok | warning | broken, detail, what to do)."""
    name, shown = "place of keys", keys.database.url.render_as_string(hide_password=True)
    lacking = await keyless(database, keys)
    if not await is_known(database, keys):
        return (name, "broken", f"{shown} is not the one that this database knows", TO_DO)
    if lacking:
        rounds = ", ".join(f"round {round_id} ({texts} texts)" for round_id, texts in lacking.items())
        return (name, "warning", f"{shown} lacks the keys of private texts in {rounds}", TO_DO)
    return (name, "ok", f"{shown}; keep it out of back-ups", "")
