"""The engine's front door and its two hands: happenings come in, due rows are carried out, the outbox goes out.

What fails, fails alone: a happening is answered without what is damaged, a due row is held back with growing pauses.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from datetime import datetime, timedelta

import structlog

from coldframe.engine.core import damage, receiving
from coldframe.engine.core.again import again
from coldframe.engine.core.turn import Aside, Carry, InOneTurn, Kit, Turn
from coldframe.engine.delivery import due_rows, outbox, restored, troubles
from coldframe.engine.intake import roster, views
from coldframe.engine.round import comparing, listening
from coldframe.logs import following, id_of
from coldframe.ports.bench import View
from coldframe.ports.chat import Inbound, Place, Reply
from coldframe.ports.storage import Damaged, Due, Waiting
from coldframe.speech import answers
from coldframe.timing.pauses import pause

log = structlog.get_logger()


class Engine:
    """Answers happenings; `on_change` is called after each commit, so that the alarm and delivery wake at once, and
    `aside` begins what need not be waited for: without it, one thing is done after the other. Once `stopping` it begins
    nothing more: what waits stands in the database, for whoever comes next."""

    def __init__(self, kit: Kit, due: Mapping[str, Carry]) -> None:
        self.kit = kit
        self.on_change: Callable[[], None] = lambda: None
        self.aside: outbox.Aside | None = None
        self.stopping = False
        self._due = due

    async def receive(self, event: Inbound) -> Reply:
        """One happening, one commit. A repetition of the same delivery has no second effect."""
        with following(id_of(event.key)):
            try:
                reply = await damage.apart(lambda: receiving.receive(self.kit, event))
            except Damaged:
                return Reply(note=answers.cannot_be_read())
            log.debug("happening.kept", kind=type(event.what).__name__)
            await self._heard_from(event)
        self.on_change()
        return reply

    async def view(self, tenant: str, person: str) -> View:
        """How all stands for this person, for a platform that shows it beside the talk. Raises ChatError."""
        return await again(self.kit.clock, lambda: views.view(self.kit, tenant, person))

    async def _heard_from(self, event: Inbound) -> None:
        """Whoever speaks can be spoken to: what could not be sent to them, or there, is tried again."""
        places = (event.place.root(), Place(event.place.tenant, "direct", event.person))
        if again := [place for place in places if self.kit.store.has_parked(place)]:
            await self.kit.store.try_parked_again(self.kit.clock.now(), again)

    async def returned(self, gone: timedelta = timedelta()) -> None:
        """The bot was away, however shortly, or so long as is known: what people did meanwhile is to be looked for."""
        await again(self.kit.clock, lambda: comparing.after_absence(self.kit))
        await again(self.kit.clock, lambda: listening.after_absence(self.kit, gone))
        await again(self.kit.clock, lambda: roster.after_absence(self.kit))
        self.on_change()

    async def act(self, occasion: str, work: Callable[[Turn], Awaitable[None]]) -> None:
        """A turn that no happening began: setting a round up from a file, an operator's command."""
        await again(self.kit.clock, lambda: self._act(occasion, work))
        self.on_change()

    async def _act(self, occasion: str, work: Callable[[Turn], Awaitable[None]]) -> None:
        self.kit.ids.occasion(occasion)
        async with self.kit.store.begin() as uow:
            turn = Turn(self.kit, uow, self.kit.clock.now())
            if not await uow.first_time(occasion, turn.now):
                return
            await work(turn)
            await turn.finish()

    async def do_due(self) -> int:
        """Carries out every row whose moment has come, in order, each once; returns how many."""
        if await restored.look_back(self.kit):
            return 0
        done = 0
        while await self._do_next(await self.kit.store.waiting()):
            done += 1
        return done

    async def _do_next(self, waiting: Waiting) -> bool:
        """The first row whose moment has come. Work that goes beyond one transaction is claimed first, with a lease."""
        now, first = self.kit.clock.now(), waiting.row
        if waiting.due is None or waiting.due > now:
            return False
        if first is not None and isinstance(self._due.get(first.kind), InOneTurn) and await self._do_alone(first):
            return True
        due = await self.kit.store.claim_due(now)
        if due is None:
            return False
        if self.aside is not None and isinstance(self._due.get(due.kind), Aside):
            self.aside(self._do_claimed(due))
        else:
            await self._do_claimed(due)
        return True

    async def _do_claimed(self, due: Due) -> None:
        await self._do_alone(due, claimed=True)

    async def _do_alone(self, due: Due, *, claimed: bool = False) -> bool:
        """False when somebody else does it. Whatever it raises concerns this row: the others go on."""
        with following(id_of(f"{due.kind}/{due.subject}/{due.occurrence}")):
            try:
                mine = await again(self.kit.clock, lambda: due_rows.carry_out(self._due, self.kit, due))
            except Exception as problem:
                await self._hold(due, type(problem).__name__)
                return True
            log.debug("due.done", kind=due.kind)
        if claimed:
            await self.kit.store.finish_due(due)
        return mine

    async def _hold(self, due: Due, problem: str) -> None:
        log.error("due.failed", kind=due.kind, subject=due.subject, tries=due.tries + 1, problem=problem)
        tries = due.tries if due.kind in self._due else 0  # a newer release's replicas look for it soon
        wait = pause(tries, f"{due.kind}/{due.subject}/{due.occurrence}/{due.tries}")
        await self.kit.store.fail_due(due, self.kit.clock.now() + wait, problem)

    async def deliver(self) -> int:
        """Sends whatever may go out now; returns how many sends were done or given up."""
        if await restored.look_back(self.kit):
            return 0
        done = 0
        while sent := await outbox.deliver_some(self.kit, self.aside):
            done += sent
        return done

    async def settle(self) -> datetime | None:
        """Does all that is due and sends all that may go out by now; returns the next moment that waits.

        What is due comes first, and is looked for again after every handful of sends.
        """
        if await restored.look_back(self.kit):
            return self.kit.clock.now() + restored.AGAIN
        while await self._step(waiting := await self.kit.store.waiting()):
            pass
        return waiting.first

    async def _step(self, waiting: Waiting) -> bool:
        """One due row, or a handful of sends. False when nothing waits by now, or somebody else holds all that does."""
        if self.stopping:
            return False
        if await self._do_next(waiting):
            return True
        if waiting.send is not None and waiting.send <= self.kit.clock.now():
            return bool(await outbox.deliver_some(self.kit, self.aside))
        return False

    async def started(self) -> None:
        """To be called at the start: what was set aside before may go now, with another token, release or secret."""
        await self.kit.store.try_parked_again(self.kit.clock.now())

    async def tell_of_troubles(self) -> None:
        """To be called once a minute: what cannot be sent is said to somebody who can do something about it."""
        if await troubles.tell(self.kit):
            self.on_change()

    async def next_moment(self) -> datetime | None:
        """When something is due or may be sent next; None when nothing waits."""
        return (await self.kit.store.waiting()).first
