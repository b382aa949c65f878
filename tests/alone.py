"""One person who tries a whole round alone, on whatever screen: they see what stands there and press what is there."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import Any

from coldframe.domain.names import RUNNING
from coldframe.domain.people.played import is_played
from coldframe.domain.round.rules import expected, through
from coldframe.domain.state import Round

QUESTION = "How might we greet whoever comes back?"
DELICATE = "Come with a second person"
"""The plan of the others that is chosen: it speaks of an invitation, so it needs the most before the seal."""


@dataclass
class Alone:
    """`hand` finds buttons and presses them; `forward` lets a moment pass and all that falls due in it happen."""

    hand: Any
    me: str
    current: Callable[[], Awaitable[Round]]
    forward: Callable[[], Awaitable[None]]
    seen: list[str] = field(default_factory=list)
    """The steps that were played, in their order."""

    async def play(self) -> Round:
        """From the proposal to the seal."""
        await self.hand.press("round.start")
        await self.forward()
        for step in RUNNING:
            await self._until(lambda round_: round_.step in RUNNING)
            if (await self.current()).step is not step:
                continue  # it was pointless
            self.seen.append(step.value)
            await self._until(_others_are_through)
            await getattr(self, f"_{step.value}")()
            await self._until(lambda round_, step=step: round_.step is not step)
        return await self.current()

    async def _until(self, holds: Callable[[Round], bool]) -> None:
        for _ in range(80):
            if holds(round_ := await self.current()):
                return
            await self.forward()
        raise AssertionError(f"the rehearsal stands still in {round_.step}")

    def offers(self, action: str) -> bool:
        try:
            self.hand.find(action)
        except LookupError:
            return False
        return True

    async def _done(self) -> None:
        """Where all is given, the step may have closed by itself."""
        if self.offers("step.done"):
            await self.hand.press("step.done")

    async def _notes(self) -> None:
        await self.hand.fill("note.write", {"side": "restraining", "text": "The second week is dull"}, "retention")
        await self._done()

    async def _focus(self) -> None:
        await self.hand.fill("focus.pick", {"reason": "It leaks most there."}, "retention")
        await self.forward()

    async def _merge(self) -> None:
        while self.offers("merge.yes"):
            await self.hand.press("merge.yes")
            await self.forward()
        await self.hand.press("step.close")

    async def _dots(self) -> None:
        for _ in range(3):
            await self.hand.press("vote.cast")
            await self.forward()
        await self._done()

    async def _questions(self) -> None:
        await self.hand.fill("question.write", {"text": QUESTION})
        await self.forward()
        await self.hand.press("step.close")

    async def _precedents(self) -> None:
        await self._done()

    async def _plans(self) -> None:
        await self._done()

    async def _ballot(self) -> None:
        for _ in range(2):
            await self.hand.press("vote.cast")
            await self.forward()
        await self.hand.press("ballot.lock")
        await self.forward()
        await self._compared()

    async def _placement(self) -> None:
        await self._compared()

    async def _compared(self) -> None:
        for _ in range(40):
            if not self.offers("compare.first"):
                return
            await self.hand.press("compare.first")
            await self.forward()

    async def _commitment(self) -> None:
        await self.hand.fill("choice.make", {"why": "To see what comes of it."}, DELICATE)
        await self._until(lambda round_: bool(round_.told_choices()))
        (plan,) = (await self.current()).choices
        owner = next(m for m in (await self.current()).active() if m != self.me)
        await self.hand.fill("owner.ask", {"member": owner})
        await self._until(lambda round_: round_.choices[plan].live is not None)
        await self._settle_the_others()
        await self.hand.fill("nextround.date", {"date": "in 6 weeks"})
        await self.forward()
        await self.hand.press("round.commit")

    async def _settle_the_others(self) -> None:
        opened = await self.hand.open("fate.settle", key="fates")
        names = [f.name for f in opened.form.fields]
        fields = {name: "kept" for name in names if name.endswith(".fate")}
        fields |= {name: "Later." for name in names if name.endswith(".why")}
        screen = self.hand.screen if hasattr(self.hand.screen, "submit") else self.hand.room
        await screen.submit(self.hand.person, opened.form.action, opened.form.value, fields)
        await self.forward()


def _others_are_through(round_: Round) -> bool:
    """Everybody for whom it waits, but the one who tries it."""
    played = set(filter(is_played, expected(round_)))
    return round_.progress.due is not None and played <= through(round_) | set(round_.progress.done)
