"""Carrying out the outbox: in order per conversation, never twice what can be found out, retried, parked loudly."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Coroutine
from dataclasses import replace
from datetime import timedelta
from typing import Any

import structlog

from coldframe.engine.core.turn import Kit
from coldframe.message.in_words import in_words
from coldframe.ports.chat import Capabilities, NotDelivered, OutcomeUnknown, Place, SlowDown, Unreachable
from coldframe.ports.storage import Done, Queued

log = structlog.get_logger()
MOST_TRIES = 25
FIRST_WAIT, LONGEST_WAIT = 2.0, 600.0
OLDEST_CLAIM = timedelta(seconds=20)  # a third of the lease
MARKED_WITHIN = timedelta(milliseconds=100)
LOOK_UP_SLACK = timedelta(minutes=2)
Aside = Callable[[Coroutine[Any, Any, None]], None]
"""Begins work of which nobody waits for the end."""


async def deliver_some(kit: Kit, aside: Aside | None = None) -> int:
    """Sends a handful of what may go out now, one for each conversation; returns how many were claimed. What is out is
    marked together, but never later than people could answer to it. Files, which may have to be drawn, are given to
    `aside`, so that the others do not wait for them."""
    claimed = await kit.store.claim_sends(begun := kit.clock.now())
    out: list[Done] = []
    try:
        for queued in claimed:
            if queued.send.kind == "upload":
                await _mark(kit, out)
                if aside is not None:
                    aside(_deliver_alone(kit, queued))
                    continue
            elif kit.clock.now() - begun > MARKED_WITHIN:
                await _mark(kit, out)
            out += await _deliver(kit, queued, late=kit.clock.now() - begun > OLDEST_CLAIM)
    finally:
        await _mark(kit, out)
    return len(claimed)


async def _deliver_alone(kit: Kit, queued: Queued) -> None:
    await _mark(kit, await _deliver(kit, queued, late=False))


async def _mark(kit: Kit, out: list[Done]) -> None:
    done = tuple(out)
    out.clear()
    if done:
        await kit.store.sent(done)


async def _deliver(kit: Kit, queued: Queued, *, late: bool) -> list[Done]:
    """Carries out one claimed send: what is done of it, if it is."""
    now = kit.clock.now()
    unsure = queued.state == "unknown"  # a look-up that could not be made leaves the earlier outcome unknown
    if late:  # a claim whose lease may run out meanwhile is not begun: somebody else could send it as well
        await kit.store.retry_send(replace(queued, tries=queued.tries - 1), now, unknown=unsure)
        return []
    if queued.send.only_in is not None and queued.step is not queued.send.only_in:  # never "vote now" after the close
        await kit.store.park_send(queued, "the step was over")
        return []
    try:
        return [await _carry_out(kit, queued)]
    except SlowDown as slow:
        await kit.store.retry_send(queued, now + timedelta(seconds=slow.seconds), unknown=unsure)
    except NotDelivered:
        await _again(kit, queued, unknown=unsure)
    except OutcomeUnknown:
        await _again(kit, queued, unknown=True)
    except Unreachable as gone:
        await _park(kit, queued, str(gone))
    return []


async def _carry_out(kit: Kit, queued: Queued) -> Done:
    possible = as_it_can(kit.chat.capabilities, queued)
    if possible is None:
        return Done(queued, None)
    queued = possible
    send, place = queued.send, _where(queued)
    known = None
    if queued.state == "unknown" and send.kind in ("post", "upload"):
        assert queued.first_try is not None
        known = await kit.chat.find(place, queued.key, queued.first_try - LOOK_UP_SLACK)
    return Done(_at(queued, place), known or await _act(kit, queued, place))


def as_it_can(can: Capabilities, queued: Queued) -> Queued | None:
    """The send as the platform can carry it out; None where it can do nothing of it.

    What cannot be edited is posted anew below, and that is the message from then on; a file is told in words.
    """
    send, posted = queued.send, queued.posted
    if not can.threads:
        queued = replace(queued, root=None)
    match send.kind:
        case "upload" if send.attachment and not can.files:
            return replace(queued, send=replace(send, kind="post", message=in_words(send.attachment)))
        case "revise" if posted and not can.edits:
            return replace(queued, send=replace(send, kind="post", place=posted.place))
        case "withdraw" if not can.deletions:
            return None
        case "home" if not can.home:
            return None
    return queued


def _at(queued: Queued, place: Place) -> Queued:
    """The send with the place where it really went, thread included, so that answers find it."""
    return replace(queued, send=replace(queued.send, place=place))


def _where(queued: Queued) -> Place:
    """The conversation, in the thread of the message that the send belongs to."""
    root = queued.root
    if root is None:
        return queued.send.place
    return Place(root.place.tenant, root.place.kind, root.place.id, root.message_id)


async def _act(kit: Kit, queued: Queued, place: Place) -> str | None:
    send = queued.send
    match send.kind:
        case "post":
            assert send.message is not None
            return await kit.chat.post(place, send.message, key=queued.key)
        case "upload":
            assert send.attachment is not None
            return await kit.chat.upload(place, send.attachment, key=queued.key)
        case "home":
            assert send.message is not None
            await kit.chat.home(place.tenant, place.id, send.message)
            return None
        case _:
            await _change(kit, queued)
            return None


async def _change(kit: Kit, queued: Queued) -> None:
    """Revises or withdraws a message that is out; one that was never posted is left alone."""
    send, posted = queued.send, queued.posted
    if posted is None:
        return
    if send.kind == "withdraw":
        await kit.chat.withdraw(posted.place, posted.message_id)
        return
    assert send.message is not None
    await kit.chat.revise(posted.place, posted.message_id, send.message)


async def _again(kit: Kit, queued: Queued, *, unknown: bool) -> None:
    if queued.tries + 1 >= MOST_TRIES:
        await _park(kit, queued, "given up after many tries")
        return
    await kit.store.retry_send(queued, kit.clock.now() + _wait(queued), unknown=unknown)


def _wait(queued: Queued) -> timedelta:
    """Exponential with full jitter; the jitter follows from the row's own random key."""
    most = min(LONGEST_WAIT, FIRST_WAIT * 2**queued.tries)
    spread = int(hashlib.sha256(f"{queued.key}/{queued.tries}".encode()).hexdigest()[:8], 16) / 0xFFFFFFFF
    return timedelta(seconds=max(0.5, most * spread))


async def _park(kit: Kit, queued: Queued, why: str) -> None:
    log.error("delivery.parked", kind=queued.send.kind, round=queued.send.round_id, tries=queued.tries, why=why[:200])
    await kit.store.park_send(queued, why)
