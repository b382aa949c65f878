"""What lies beside the talk for each person, as the bot has it. Nothing of it is kept but what it offered last, so that
it can be pressed."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cache, partial
from typing import Any

from coldframe.chat.room.log import Log
from coldframe.chat.room.payloads import files_json
from coldframe.chat.room.records import Record
from coldframe.domain.people.played import who_is_alone
from coldframe.message.nodes import Block, Button, Buttons, Message
from coldframe.ports.bench import Bar, Laid, View, Views
from coldframe.ports.chat import Place
from coldframe.render.room import line_json, message_json

Json = dict[str, Any]
Seen = Callable[[str], Record | None]
"""What one person sees of a message, each read once in a look."""


_SHOWN_ALL_THE_SAME = frozenset({"card", "ballot", "compare"})


class Bench:
    """`views` is set once the bot is there; a room without it is a talk alone. `sees`: whether a person may read what
    stands in a place."""

    def __init__(self, log: Log, sees: Callable[[str, Place], bool]) -> None:
        self.views: Views | None = None
        self._log = log
        self._sees = sees
        self._offered: dict[str, tuple[Button, ...]] = {}
        self._looks: dict[tuple[str, bool, int], asyncio.Future[Json | None]] = {}

    async def lay(self, person: str, *, private: bool = True) -> Json | None:
        """How all stands for the person now; without what is `private` only what the channel may know. Browsers of
        theirs that ask at the same moment get the same look. Raises ChatError."""
        key = (person, private, self._log.revision())
        if key not in self._looks:
            self._looks[key] = look = asyncio.ensure_future(self._look(person, private=private))
            look.add_done_callback(lambda done: self._looked(key, done))
        return await asyncio.shield(self._looks[key])

    def _looked(self, key: tuple[str, bool, int], done: asyncio.Future[Json | None]) -> None:
        del self._looks[key]
        if not done.cancelled():
            done.exception()  # told to whoever waits; whoever went away is not missed

    async def _look(self, person: str, *, private: bool) -> Json | None:
        if self.views is None:
            return None
        view = await self.views.view(self._log.tenant, person)
        if not private:
            view = _without_private(view)
        seen = cache(partial(self._record, person))
        bars = [_bar(seen, bar) for bar in view.bars]
        trials = _laid(seen, view.trials)
        self._offered[person] = tuple(_buttons(seen, view))
        page = message_json(view.page) if view.page is not None else None
        return {"bars": bars, "trials": trials, "page": page, "open": view.open}

    def offered(self, person: str) -> tuple[Button, ...]:
        """What the person can press of all that was laid before them last."""
        return self._offered.get(person, ())

    def _record(self, person: str, message: str) -> Record | None:
        found = self._log.message(message) if message else None
        return found if found is not None and not found.gone and self._sees(person, found.place) else None


def _bar(seen: Seen, bar: Bar) -> Json:
    return {
        "round": bar.round,
        "place": "d" if who_is_alone(bar.channel) else f"c:{bar.channel}",
        "step": bar.step,
        "number": bar.number,
        "steps": bar.steps,
        "head": line_json(bar.head),
        "aim": line_json(bar.aim),
        "state": line_json(bar.state),
        "until": bar.until.isoformat() if bar.until is not None else None,
        "levers": dict(bar.levers),
        "leads": message_json(Message((), bar.leads))["blocks"],
        "before": _laid(seen, bar.before),
        "beside": _laid(seen, bar.beside),
    }


def _laid(seen: Seen, some: Iterable[Laid]) -> list[Json]:
    return [found for one in some if (found := _one(seen, one)) is not None]


def _one(seen: Seen, laid: Laid) -> Json | None:
    """What reads as it stands in the talk is taken from there, as far as the person sees it."""
    record = seen(laid.message)
    words = _words(seen, laid)
    if words is None:
        return None
    picture = seen(laid.picture)
    return {
        "what": laid.what,
        "message": record.id if record is not None else None,
        "about": laid.about,
        "example": laid.example,
        "card": message_json(words),
        "files": files_json(picture) if picture is not None else [],
    }


def _words(seen: Seen, laid: Laid) -> Message | None:
    record = seen(laid.message)
    return laid.words or (record.message if record is not None else None)


def _buttons(seen: Seen, view: View) -> Iterable[Button]:
    """Those of the messages, too: a sheet is pressed as it lay there before its message came."""
    sheets = [laid for bar in view.bars for laid in (*bar.before, *bar.beside)]
    words = [view.page, *(_words(seen, laid) for laid in (*sheets, *view.trials))]
    blocks: list[Block] = [block for message in words if message is not None for block in message.blocks]
    blocks += [block for bar in view.bars for block in bar.leads]
    return (button for block in blocks if isinstance(block, Buttons) for button in block.buttons)


def _without_private(view: View) -> View:
    """What somebody gave in private is not for whoever came by a new link to their seat; an open ballot still shows how
    it stands, or nobody could go on voting."""
    bars = (
        replace(bar, before=tuple(laid for laid in bar.before if laid.what in _SHOWN_ALL_THE_SAME)) for bar in view.bars
    )
    return View(tuple(bars), view.trials)
