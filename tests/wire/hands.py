"""What one person of a scenario can do on a platform: find a button by what it says, press, fill in, write, react."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from coldframe.message.nodes import Button
from coldframe.players.hand import NotFound
from coldframe.ports.chat import Place


@dataclass(frozen=True)
class Hand:
    """`screen` shows what stands there and what can be pressed, and does as it is told."""

    screen: Any
    person: str

    def seen(self) -> list[Any]:
        return [seen for seen in self.screen.all_messages() if self.screen.sees(self.person, seen.place)]

    def find(self, action: str, says: str = "") -> tuple[Any, Button]:
        """Raises NotFound."""
        for seen in reversed(self.seen()):
            for button in self.screen.offered(self.person, seen.id):
                if button.action == action and any(says in w for w in (button.value, button.label, button.says or "")):
                    return seen, button
        raise NotFound(f"{self.person} sees no button {action} with {says!r}")

    async def press(self, action: str, says: str = "", *, key: str | None = None) -> Any:
        seen, button = self.find(action, says)
        return await self.screen.press(self.person, seen.id, action, button.value, key=key)

    async def press_under(self, record: Any, action: str, *, key: str | None = None) -> Any:
        """Raises NotFound."""
        now = any(seen.id == record.id for seen in self.seen())
        offered = self.screen.offered(self.person, record.id) if now else ()
        button = next((b for b in offered if b.action == action), None)
        if button is None:
            raise NotFound(f"{self.person} sees no button {action} under {record.id}")
        return await self.screen.press(self.person, record.id, action, button.value, key=key)

    async def open(self, action: str, says: str = "", *, key: str | None = None) -> Any:
        return await self.press(action, says, key=f"{key}/open")

    async def fill(self, action: str, fields: Mapping[str, str], says: str = "", *, key: str | None = None) -> Any:
        answer = await self.open(action, says, key=key)
        if answer.form is None:
            return answer
        return await self.screen.submit(self.person, answer.form.action, answer.form.value, fields, key=key)

    async def say(self, text: str, *, thread: str | None = None, key: str | None = None) -> str:
        said: str = await self.screen.say(self.person, self.screen.direct(self.person), text, thread, key=key)
        return said

    async def react(self, record: Any, emoji: str, *, added: bool = True, key: str | None = None) -> None:
        await self.screen.react_as(self.person, record.id, emoji, added, key=key)

    async def command(self, text: str, place: Place | None = None, *, key: str | None = None) -> Any:
        return await self.screen.command(self.person, place or self.screen.direct(self.person), text, key=key)
