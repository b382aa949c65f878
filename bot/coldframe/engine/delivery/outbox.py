"""Carrying out the outbox: in order per conversation, never twice what can be found out, retried, parked loudly."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

import structlog

from coldframe.engine.core.turn import Kit
from coldframe.engine.delivery import second_ways
from coldframe.ports.chat import ChatError, NotDelivered, OutcomeUnknown, Place, SlowDown, Unreachable
from coldframe.ports.storage import Done, Posted, Queued

log = structlog.get_logger()
MOST_TRIES = 25
FIRST_WAIT, LONGEST_WAIT = 2.0, 600.0
OLDEST_CLAIM = timedelta(seconds=20)  # a third of the lease
MARKED_WITHIN = timedelta(milliseconds=100)
LOOK_UP_SLACK = timedelta(minutes=2)
Aside = Callable[[Coroutine[Any, Any, None]], None]
"""Begins work of which nobody waits for the end."""


async def deliver_some(kit: Kit, aside: Aside | None = None) -> int:
    """Sends a handful of what may go out now; returns how many were claimed. Files, which may have to be drawn, are
    given to `aside`, so that other conversations do not wait for them."""
    batch = _Batch(kit, kit.clock.now())
    claimed = await kit.store.claim_sends(batch.begun)
    try:
        for queued in claimed:
            await batch.take(queued, aside)
    finally:
        await batch.mark()
    return len(claimed)


@dataclass
class _Batch:
    """Sends claimed together, each conversation's in their order. What is out is marked together, but never later than
    people could answer to it."""

    kit: Kit
    begun: datetime
    out: list[Done] = field(default_factory=list)
    held_up: set[str] = field(default_factory=set)
    """Conversations in which something is not out yet: what follows there waits."""
    whereabouts: dict[str, Posted | None] = field(default_factory=dict)
    """Messages of this batch by name; None where one was withdrawn."""

    async def take(self, queued: Queued, aside: Aside | None) -> None:
        conversation, waited = queued.send.place.order_key(), self.kit.clock.now() - self.begun
        if conversation in self.held_up or waited > OLDEST_CLAIM:
            # A claim whose lease may run out meanwhile is not begun: somebody else could send it as well.
            await _give_back(self.kit, queued)
            self.held_up.add(conversation)
            return
        if queued.send.kind == "upload" or waited > MARKED_WITHIN:
            await self.mark()
        queued = self._found(queued)
        if queued.send.kind == "upload" and aside is not None:
            self.held_up.add(conversation)
            aside(self._alone(queued))
            return
        if not await self._carried_out(queued):
            self.held_up.add(conversation)

    async def _alone(self, queued: Queued) -> None:
        alone = _Batch(self.kit, self.begun)
        await alone._carried_out(queued)
        await alone.mark()

    async def mark(self) -> None:
        done = tuple(self.out)
        self.out.clear()
        if done:
            await self.kit.store.sent(done)

    def _found(self, queued: Queued) -> Queued:
        """With the messages that went out, or away, since the claim."""
        root = self.whereabouts.get(queued.send.thread_of or "", queued.root)
        return replace(queued, root=root, posted=self.whereabouts.get(queued.send.name, queued.posted))

    async def _carried_out(self, queued: Queued) -> bool:
        """False when it has to be tried again."""
        if queued.send.only_in not in (None, queued.step):  # never "vote now" after the close
            await self.kit.store.park_send(queued, "the step was over")
            return True
        try:
            self._note(await _carry_out(self.kit, queued))
            await second_ways.came_through(self.kit, queued)
        except NotDelivered as problem:
            return await _again(self.kit, queued, unknown=queued.state == "unknown", problem=problem)
        except OutcomeUnknown as problem:
            return await _again(self.kit, queued, unknown=True, problem=problem)
        except Unreachable as gone:
            await second_ways.ask_to_write(self.kit, queued, gone)
            await _park(self.kit, queued, str(gone))
        return True

    def _note(self, done: Done) -> None:
        self.out.append(done)
        send = done.queued.send
        if send.kind == "withdraw":
            self.whereabouts[send.name] = None
        elif done.message_id is not None and send.kind in ("post", "upload"):
            self.whereabouts[send.name] = Posted(send.name, send.place, done.message_id, send.round_id)


async def _give_back(kit: Kit, queued: Queued) -> None:
    untried = replace(queued, tries=queued.tries - 1)
    await kit.store.retry_send(untried, kit.clock.now(), unknown=queued.state == "unknown")


async def _carry_out(kit: Kit, queued: Queued) -> Done:
    """By the first way that the platform does not refuse."""
    way = second_ways.as_it_can(kit.chat.capabilities, queued)
    while way is not None:
        try:
            return await _by(kit, way)
        except Unreachable as refused:
            if second_ways.is_done_already(way, refused.denial):
                break
            way = second_ways.instead(way, refused.denial)
            if way is None:
                raise
    return Done(queued, None)


async def _by(kit: Kit, queued: Queued) -> Done:
    place = _where(queued)
    known = None
    if queued.state == "unknown" and queued.send.kind in ("post", "upload"):
        assert queued.first_try is not None
        known = await kit.chat.find(place, queued.key, queued.first_try - LOOK_UP_SLACK)
    return Done(_at(queued, place), known or await _act(kit, queued, place))


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
    if send.kind == "withdraw" and send.message is None:
        await kit.chat.withdraw(posted.place, posted.message_id)
        return
    assert send.message is not None
    await kit.chat.revise(posted.place, posted.message_id, send.message)


async def _again(kit: Kit, queued: Queued, *, unknown: bool, problem: ChatError) -> bool:
    """Later, as the platform or the number of tries says; True when it is given up. A look-up that could not be made
    leaves the earlier outcome unknown."""
    if not isinstance(problem, SlowDown) and queued.tries + 1 >= MOST_TRIES:
        await _park(kit, queued, "given up after many tries")
        return True
    wait = timedelta(seconds=problem.seconds) if isinstance(problem, SlowDown) else _wait(queued)
    await kit.store.retry_send(queued, kit.clock.now() + wait, unknown=unknown)
    return False


def _wait(queued: Queued) -> timedelta:
    """Exponential with full jitter; the jitter follows from the row's own random key."""
    most = min(LONGEST_WAIT, FIRST_WAIT * 2**queued.tries)
    spread = int(hashlib.sha256(f"{queued.key}/{queued.tries}".encode()).hexdigest()[:8], 16) / 0xFFFFFFFF
    return timedelta(seconds=max(0.5, most * spread))


async def _park(kit: Kit, queued: Queued, why: str) -> None:
    log.error("delivery.parked", kind=queued.send.kind, round=queued.send.round_id, tries=queued.tries, why=why[:200])
    await kit.store.park_send(queued, why)
