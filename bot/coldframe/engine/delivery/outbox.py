"""Carrying out the outbox: in order per conversation, never twice what can be found out, tried as long as it matters.

A send fails alone. What the platform cannot do now is tried again with growing pauses until it goes or has been
overtaken. What the platform refuses is set aside at once, and what breaks again and again as soon as what follows in
its conversation goes; both are told (`troubles`), and tried again when the world has changed.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import partial
from typing import Any

import structlog

from coldframe.engine.core.again import again
from coldframe.engine.core.turn import Kit
from coldframe.engine.delivery import links, second_ways
from coldframe.logs import following
from coldframe.ports.chat import ChatError, OutcomeUnknown, Place, SlowDown, Unreachable
from coldframe.ports.storage import Done, Posted, Queued
from coldframe.ports.strays import Stray
from coldframe.timing.pauses import pause

log = structlog.get_logger()
SPEAKING = ("post", "upload")
STUBBORN = 5  # tries that broke, before what follows may show that the send itself is at fault
BLIND_FOR = timedelta(hours=1)
OLDEST_CLAIM = timedelta(seconds=20)  # a third of the lease
MAX_LOOK_UP = 2 * OLDEST_CLAIM  # after which there is still time for a call before the lease is over
MARKED_WITHIN = timedelta(milliseconds=100)
A_MOMENT = 0.05  # seconds that everybody waits for one send
LOOK_UP_SLACK = timedelta(minutes=2)
Aside = Callable[[Coroutine[Any, Any, None]], None]
"""Begins work of which nobody waits for the end."""


class CannotLookUp(ChatError):
    """Whether an earlier try brought the message out cannot be found out now."""


class TookTooLong(ChatError):
    """The lease is nearly over: somebody else could send it as well."""


async def deliver_some(kit: Kit, aside: Aside | None = None) -> int:
    """Sends a handful of what may go out now; returns how many were claimed. Files, which may have to be drawn, what
    ends messages, which waits long for its turn, and whatever else takes its time are given to `aside` with what
    follows in their conversation, so that others do not wait for them."""
    batch = _Batch(kit, kit.clock.now(), aside)
    claimed = await kit.store.claim_sends(batch.begun)
    await batch.take_all(claimed)
    return len(claimed)


@dataclass(frozen=True, slots=True)
class _Failure:
    """What a try came to: when the next may be made, and whether the message may be out all the same. `own`: it may be
    the send itself that fails, for ever, so that what follows need not wait for it."""

    queued: Queued
    unknown: bool
    wait: timedelta
    why: str
    own: bool = False


@dataclass
class _Batch:
    """Sends claimed together, each conversation's in their order. What is out is marked together, but never later than
    people could answer to it."""

    kit: Kit
    begun: datetime
    aside: Aside | None = None
    out: list[Done] = field(default_factory=list)
    back: list[Queued] = field(default_factory=list)
    held_up: set[str] = field(default_factory=set)
    """Conversations in which something is not out yet: what follows there waits."""
    doubtful: dict[str, _Failure] = field(default_factory=dict)
    """By conversation what fails by itself, or with everything there: what follows will tell."""
    beside: dict[str, list[Queued]] = field(default_factory=dict)
    whereabouts: dict[str, Posted | None] = field(default_factory=dict)
    """Messages of this batch by name; None where one was withdrawn."""
    slow: dict[str, asyncio.Task[None]] = field(default_factory=dict)
    """By conversation what is still on its way."""

    async def take_all(self, claimed: Sequence[Queued]) -> None:
        try:
            for queued in claimed:
                await self._take(queued)
            for failure in [each for place, each in self.doubtful.items() if place not in self.beside]:
                await self._later(failure)
            if self.back:  # untried: nothing was asked of the platform
                await self.kit.store.give_back(self.back)
        except asyncio.CancelledError:  # what is on its way, and what follows it, is left to the next process
            for trying in self.slow.values():
                trying.cancel()
            self.beside.clear()
            raise
        finally:
            await self.mark()
            for conversation, some in self.beside.items():
                assert self.aside is not None
                self.aside(self._go_on(conversation, some))

    async def _go_on(self, conversation: str, some: Sequence[Queued]) -> None:
        """What is on its way, and then what follows it in its conversation."""
        if conversation in self.slow:
            try:
                await self.slow[conversation]
            finally:
                await self.mark()
        rest = _Batch(self.kit, self.begun, held_up=self.held_up, whereabouts=self.whereabouts)
        if conversation in self.doubtful:
            rest.doubtful[conversation] = self.doubtful.pop(conversation)
        await rest.take_all(some)

    async def _take(self, queued: Queued) -> None:
        conversation, waited = queued.send.conversation(), self.kit.clock.now() - self.begun
        doubted = self.doubtful.get(conversation)
        if conversation in self.beside:
            self.beside[conversation].append(queued)
            return
        late = waited > OLDEST_CLAIM  # the lease may run out meanwhile: somebody else could send it as well
        if (
            conversation in self.held_up
            or late
            or (doubted is not None and not self._tells_about(doubted.queued, queued))
        ):
            self.back.append(queued)
            if doubted is None or queued.send.kind in SPEAKING:
                self.held_up.add(conversation)
            return
        if queued.send.kind == "upload" or waited > MARKED_WITHIN:
            await self.mark()
        queued = self._found(queued)
        if (queued.send.kind == "upload" or queued.send.beside) and self.aside is not None and doubted is None:
            self.beside[conversation] = [queued]
            return
        if self.aside is None or doubted is not None:
            await self._try(queued, conversation, doubted)
        else:
            await self._try_for_a_moment(queued, conversation)

    async def _try_for_a_moment(self, queued: Queued, conversation: str) -> None:
        """Others do not wait for a platform's pace, nor for its answer, longer than that."""
        trying = asyncio.ensure_future(self._try(queued, conversation, None))
        try:
            await asyncio.wait({trying}, timeout=A_MOMENT)
        except BaseException:
            trying.cancel()  # what became of it the next process finds out
            raise
        if trying.done():
            trying.result()
        else:
            self.slow[conversation], self.beside[conversation] = trying, []

    async def _try(self, queued: Queued, conversation: str, doubted: _Failure | None) -> None:
        came = await self._carried_out(queued)
        if isinstance(came, Done) and doubted is not None:
            del self.doubtful[conversation]
            await _park(self.kit, doubted.queued, f"set aside: {doubted.why}")
        elif isinstance(came, _Failure) and came.own and doubted is None:
            self.doubtful[conversation] = came
        elif isinstance(came, _Failure):
            await self._later(came)
            self.held_up.add(conversation)

    async def _later(self, failure: _Failure) -> None:
        moment = self.kit.clock.now() + failure.wait
        await self.kit.store.retry_send(failure.queued, moment, unknown=failure.unknown, why=failure.why)

    async def mark(self) -> None:
        done = tuple(self.out)
        self.out.clear()
        if done:
            await self.kit.store.sent(done)

    def _found(self, queued: Queued) -> Queued:
        """With the messages that went out, or away, since the claim."""
        root = self.whereabouts.get(queued.send.thread_of or "", queued.root)
        if queued.send.beside:
            return queued
        return replace(queued, root=root, posted=self.whereabouts.get(queued.send.name, queued.posted))

    async def _carried_out(self, queued: Queued) -> Done | _Failure | None:
        with following(queued.send.happening):
            came = await self._tried(queued)
            if isinstance(came, _Failure):
                log.info("delivery.later", kind=queued.send.kind, tries=queued.tries, seconds=came.wait.seconds)
            return came

    async def _tried(self, queued: Queued) -> Done | _Failure | None:
        """None when it is not out and nothing more is to be tried: it has been overtaken, or the platform will not take
        it."""
        kit = self.kit
        try:
            if (done := await _carry_out(kit, queued, self.begun)) is None:
                log.info("delivery.overtaken", kind=queued.send.kind, round=queued.send.round_id, tries=queued.tries)
                await kit.store.drop_send(queued)
            else:
                log.debug("delivery.sent", kind=queued.send.kind, round=queued.send.round_id)
                self._note(replace(done, choices=second_ways.choices(kit.chat.capabilities, queued)))
                await _besides(queued, again(kit.clock, lambda: second_ways.came_through(kit, queued)))
                return done
        except Unreachable as gone:
            await _besides(queued, again(kit.clock, partial(second_ways.ask_to_write, kit, queued, gone)))
            await _park(kit, queued, f"refused: {gone}")
        except TookTooLong as late:
            return _Failure(queued, queued.state == "unknown", timedelta(), str(late))
        except SlowDown as slow:
            return _Failure(queued, queued.state == "unknown", timedelta(seconds=slow.seconds), str(slow))
        except ChatError as problem:
            return _failed(kit, queued, problem)
        except Exception as bug:  # whatever it is, it concerns this send; nobody else waits for it
            return _broke(queued, bug)
        return None

    def _tells_about(self, doubted: Queued, queued: Queued) -> bool:
        """Whether it is the doubted send that fails, if this one goes: it asks for the same of another message, after
        an hour for anything that is new there."""
        send = queued.send
        new = send.kind in SPEAKING and _tried_for(self.kit, doubted) > BLIND_FOR
        asks = send.kind in (*SPEAKING, "home") or queued.posted is not None
        return asks and (new or send.kind == doubted.send.kind) and send.name != doubted.send.name

    def _note(self, done: Done) -> None:
        self.out.append(done)
        send = done.queued.send
        if send.beside:
            return
        if send.kind == "withdraw":
            self.whereabouts[send.name] = None
        elif done.message_id is not None and send.kind in SPEAKING:
            self.whereabouts[send.name] = Posted(send.name, send.place, done.message_id, send.round_id)


def _failed(kit: Kit, queued: Queued, problem: ChatError) -> _Failure:
    """A look-up that could not be made leaves the earlier outcome unknown. Where it cannot be made for long, although
    other things can be done there, nobody will know whether the message is out."""
    blind = isinstance(problem, CannotLookUp) and _tried_for(kit, queued) > BLIND_FOR
    unknown = queued.state == "unknown" or isinstance(problem, OutcomeUnknown)
    return _Failure(queued, unknown, pause(queued.tries, queued.key), str(problem), own=blind)


def _broke(queued: Queued, bug: Exception) -> _Failure:
    """Neither the platform nor we know what became of it, and another try may end alike. The error's text may quote
    what was to be said."""
    problem = type(bug).__name__
    log.error("delivery.broke", kind=queued.send.kind, round=queued.send.round_id, tries=queued.tries, problem=problem)
    stubborn = queued.tries + 1 >= STUBBORN
    return _Failure(queued, True, pause(queued.tries, queued.key), f"it breaks ({problem})", own=stubborn)


def _tried_for(kit: Kit, queued: Queued) -> timedelta:
    return kit.clock.now() - (queued.first_try or kit.clock.now())


async def _besides(queued: Queued, work: Coroutine[Any, Any, None]) -> None:
    """What else follows from a try; it changes nothing about what the try came to."""
    try:
        await work
    except Exception as bug:
        log.error("delivery.broke_besides", round=queued.send.round_id, problem=type(bug).__name__)


async def _carry_out(kit: Kit, queued: Queued, claimed: datetime) -> Done | None:
    """By the first way that the platform does not refuse. None when it has been overtaken and is not out."""
    queued = replace(queued, send=await links.with_links(kit, queued.send))
    way = second_ways.as_it_can(kit.chat.capabilities, queued)
    while way is not None:
        try:
            return await _by(kit, way, claimed)
        except Unreachable as refused:
            if second_ways.is_done_already(way, refused.denial):
                break
            way = second_ways.instead(way, refused.denial)
            if way is None:
                raise
    return Done(queued, None)


async def _by(kit: Kit, queued: Queued, claimed: datetime) -> Done | None:
    place = _where(queued)
    known = await _looked_up(kit, queued, place)
    if known is None and _is_overtaken(queued, kit.clock.now()):
        return None
    if known is None and queued.stray is not None and await _is_this_now(kit, queued, queued.stray):
        return Done(_at(queued, queued.stray.place), queued.stray.message_id)
    if known is None and kit.clock.now() - claimed > MAX_LOOK_UP:
        raise TookTooLong
    return Done(_at(queued, place), known or await _act(kit, queued, place))


async def _is_this_now(kit: Kit, queued: Queued, stray: Stray) -> bool:
    """What a restored copy said before, and has come to say again, is brought up to date instead. False where it cannot
    be any more."""
    if queued.send.message is None or not kit.chat.capabilities.edits:
        return True
    try:
        await kit.chat.revise(stray.place, stray.message_id, queued.send.message)
    except Unreachable:
        return False
    return True


async def _looked_up(kit: Kit, queued: Queued, place: Place) -> str | None:
    """The message, if an earlier try of which nobody knows brought it out. Raises CannotLookUp, or Unreachable."""
    if queued.state != "unknown" or queued.send.kind not in SPEAKING:
        return None
    assert queued.first_try is not None
    try:
        return await kit.chat.find(place, queued.key, queued.first_try - LOOK_UP_SLACK)
    except (Unreachable, SlowDown):
        raise
    except Exception as problem:
        raise CannotLookUp(f"it cannot be looked up ({type(problem).__name__})") from None


def _is_overtaken(queued: Queued, now: datetime) -> bool:
    """Never "vote now" after the close."""
    send = queued.send
    return send.only_in not in (None, queued.step) or (send.until is not None and send.until < now)


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
            if queued.stale is not None:
                await _taken_back(kit, queued.stale)
            return await kit.chat.upload(place, send.attachment, key=queued.key)
        case "forget":
            await kit.chat.forget(place.tenant, place.id)
            return None
        case "home":
            assert send.message is not None
            await kit.chat.home(place.tenant, place.id, send.message)
            return None
        case _:
            await _change(kit, queued)
            return None


async def _taken_back(kit: Kit, stale: Stray) -> None:
    """The file of this name that shows something else; where it cannot go, both stand."""
    with suppress(Unreachable):
        if kit.chat.capabilities.deletions:
            await kit.chat.withdraw(stale.place, stale.message_id)


async def _change(kit: Kit, queued: Queued) -> None:
    """Revises or withdraws a message that is out; one that was never posted is left alone."""
    send, posted = queued.send, queued.posted
    if posted is None or (send.open and not posted.open):  # a change from before its end would undo that
        return
    if send.kind == "withdraw" and not queued.emptied:
        await kit.chat.withdraw(posted.place, posted.message_id)
        return
    assert send.message is not None
    await kit.chat.revise(posted.place, posted.message_id, send.message)


async def _park(kit: Kit, queued: Queued, why: str) -> None:
    with following(queued.send.happening):
        send = queued.send
        log.error("delivery.parked", kind=send.kind, round=send.round_id, tries=queued.tries, why=why[:200])
    await kit.store.park_send(queued, why)
