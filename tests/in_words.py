"""People at a platform without buttons and forms: they type the number of what they mean, and answer a form line by
line. What each number means on the screen is known from what the bot kept of it, as eyes would know it by reading."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from coldframe.chat.room.records import Record
from coldframe.chat.room.service import Room
from coldframe.domain.names import MemberId, PlanId
from coldframe.domain.state import Round
from coldframe.engine.engine import Engine
from coldframe.message.nodes import Button, Buttons, Field, Form, plain
from coldframe.players.hand import NotFound, Screen
from coldframe.ports.chat import Capabilities, Place, Reply
from coldframe.ports.spoken import Dialogue
from coldframe.ports.storage import Done
from coldframe.speech import spoken_words
from coldframe.store.sql import SqlStore

WORDS_ALONE = Capabilities(buttons=False, forms=False, home=False, clears=True, private_reactions=False)


class Meanings:
    """What can be chosen on each message that is out, by the platform's id of it."""

    def __init__(self, store: SqlStore) -> None:
        self.of: dict[str, tuple[Button, ...]] = {}
        self.words: dict[str, str] = {}
        """What each says in a line, by which the scenario's people know it."""
        self._store, self._sent = store, store.sent
        store.sent = self._heard  # type: ignore[method-assign]

    async def _heard(self, done: Sequence[Done]) -> None:
        await self._sent(done)
        for each in done:
            posted = each.queued.posted
            message = each.message_id or (posted.message_id if posted is not None else "")
            if each.choices is not None and message:
                self.of[message] = each.choices
            if message and each.queued.send.message is not None:
                self.words[message] = plain(each.queued.send.message.summary)

    async def form(self, tenant: str, person: str) -> Dialogue | None:
        async with self._store.begin() as uow:
            return await uow.dialogue(tenant, person)

    def number(self, message: str, action: str, value: str) -> int:
        """As which it stands there. Raises NotFound."""
        found = [n for n, b in enumerate(self.of.get(message, ()), 1) if (b.action, b.value) == (action, value)]
        if not found:
            raise NotFound(f"no {action} on {message}")
        return found[0]


def lines(form: Form, values: Mapping[str, str], fields: Mapping[str, str]) -> str:
    """What somebody types to have these fields read so; "" where they do already."""
    wanted = [(n, f) for n, f in enumerate(form.fields, 1) if fields.get(f.name, "") != values.get(f.name, "")]
    return "\n".join(f"{n}: {_typed(f, fields[f.name])}" for n, f in wanted if f.name in fields)


def _typed(field: Field, value: str) -> str:
    if not value:
        return spoken_words.NOTHING
    if field.shape not in ("choice", "choices"):
        return value
    marks = {option.value: spoken_words.mark(n) for n, option in enumerate(field.options)}
    return ", ".join(marks.get(each, each) for each in value.split("\n"))


class WordyRoom(Room):
    """The room without buttons and forms. `meanings` and `engine` are set once the bot is there."""

    capabilities = WORDS_ALONE
    meanings: Meanings
    engine: Engine

    def read(self, record: Record) -> Record:
        """As somebody understands it: a numbered line is what can be pressed."""
        offers = self.meanings.of.get(record.id, ())
        if record.message is None or not offers:
            return record
        return replace(record, message=replace(record.message, blocks=(*record.message.blocks, Buttons(offers))))

    async def press(self, person: str, message_id: str | None, action: str, value: str = "", **other: Any) -> Reply:
        assert message_id is not None
        number, place = self.meanings.number(message_id, action, value), self.message(message_id).place.root()
        key = other.get("key")
        await self.say(person, place, str(number), thread=message_id, key=key)
        if self.meanings.of[message_id][number - 1].confirm is not None:
            await self.engine.settle()
            await self.say(person, self.direct(person), "1", key=key and f"{key}/sure")
        open_ = await self.meanings.form(self.tenant, person)
        return Reply(form=open_.form if open_ is not None else None)

    async def submit(
        self, person: str, action: str, value: str, fields: Mapping[str, str], *, key: str | None = None, **_: Any
    ) -> Reply:
        open_ = await self.meanings.form(self.tenant, person)
        if open_ is None or (open_.form.action, open_.form.value) != (action, value):
            raise NotFound(f"{person} has no form {action} open")
        direct: Place = self.direct(person)
        if words := lines(open_.form, open_.values, fields):
            await self.say(person, direct, words, key=key)
        if await self.meanings.form(self.tenant, person) is not None:
            await self.say(person, direct, "send", key=key and f"{key}/send")
        left = await self.meanings.form(self.tenant, person)
        if left is None:
            return Reply()
        same = [f.name for f in left.form.fields] == [f.name for f in open_.form.fields]
        return Reply(errors=left.problems) if same else Reply(form=left.form)


class WordyScreen(Screen):
    """The room's messages with what their numbers mean."""

    room: WordyRoom

    def changes(self) -> list[Record]:
        return [self.room.read(record) for record in super().changes()]

    def messages(self) -> list[Record]:
        return [self.room.read(record) for record in super().messages()]


def came_to(round_: Round) -> dict[str, Any]:
    """Ranking, placement and commitment by what they say, as two plays on whichever platforms can be compared."""
    title = {plan.id: plan.title for plan in round_.plans.values()}
    return {
        "step": round_.step,
        "notes": sorted((note.lever, note.side.value, note.text) for note in round_.notes.values()),
        "ranking": [(title[PlanId(s.option)], s.place, s.weighted) for s in round_.plans_standing],
        "chosen": sorted(_committed(round_, plan) for plan in round_.choices),
    }


def _committed(round_: Round, plan: PlanId) -> tuple[object, ...]:
    """What is sealed of it, but the days, which hang on who answered when."""
    page, choice = round_.plans[plan], round_.choices[plan]
    actions = sorted((action.text, round_.name_of(action.who)) for action in choice.actions)
    return page.title, _named(round_, choice.owner), tuple(actions), page.weeks, page.criterion


def _named(round_: Round, owner: MemberId | None) -> str:
    return round_.name_of(owner) if owner is not None else ""


def sure_corners(round_: Round) -> dict[str, str]:
    """Which pairs each person compares is drawn by lot, so what is told as unsure may fall either way."""
    return {round_.plans[plan].title: placed.corner for plan, placed in round_.corners.items() if placed.sure}
