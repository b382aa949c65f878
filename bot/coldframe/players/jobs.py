"""Jobs of the scenario's people, and how a person presses and fills in."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from datetime import datetime

from coldframe.chat.room.records import Record
from coldframe.message.nodes import Form
from coldframe.players.company import Company
from coldframe.players.hand import NotFound
from coldframe.players.scenario import Person
from coldframe.speech.round.page_words import GO_ON

Act = Callable[[], Awaitable[object]]


@dataclass(frozen=True, slots=True)
class Job:
    """Something that a person does at a moment."""

    at: datetime
    key: str
    act: Act


def press(cast: Company, person: Person, record: Record, action: str, key: str) -> Act:
    """Presses the button under this very message: one like it elsewhere may belong to the next step."""

    async def act() -> object:
        return await cast.hand(person).press_under(record, action, key=key)

    return act


def press_value(cast: Company, person: Person, action: str, value: str, key: str) -> Act:
    async def act() -> object:
        return await cast.hand(person).press(action, value, key=key)

    return act


def fill(cast: Company, person: Person, action: str, fields: dict[str, str], says: str, key: str) -> Act:
    """Fills in a form; a field named `x#` takes the option of that number, `x~` the one that begins with the words."""

    async def act() -> object:
        hand = cast.hand(person)
        reply = await hand.open(action, says, key=key)
        if reply.form is None:
            return reply
        form, left = reply.form, dict(fields)
        while form.submit == GO_ON:  # a page in several forms; sent again, the first ones change nothing
            answer = await cast.room.submit(person.id, form.action, form.value, _chosen(form, left))
            if answer.form is None:
                return answer
            form = answer.form
        chosen = _chosen(form, left)
        answer = await cast.room.submit(person.id, form.action, form.value, chosen, key=key)
        better = proposed(answer.errors)
        if not better:
            return answer
        return await cast.room.submit(person.id, form.action, form.value, {**chosen, **better}, key=f"{key}/proposed")

    return act


def _chosen(form: Form, left: dict[str, str]) -> dict[str, str]:
    """What is left to write, as this form takes it; what a form that goes on does not ask for stays for the next."""
    chosen = {}
    for field in form.fields:
        if (number := left.pop(f"{field.name}#", None)) is not None:
            chosen[field.name] = field.options[min(int(number), len(field.options)) - 1].value
        if words := left.pop(f"{field.name}~", ""):
            there = next((o.value for o in field.options if o.label.startswith(words)), None)
            if there is None and field.required:
                raise NotFound(f"{field.label} has nothing that begins with {words!r}")
            chosen[field.name] = there or ""  # what somebody who is not played would have told was not told
        if (text := left.pop(field.name, None)) is not None:
            chosen[field.name] = text
    return chosen if form.submit == GO_ON else {**left, **chosen}


def proposed(errors: Mapping[str, str]) -> dict[str, str]:
    """The day that the bot proposes where somebody needed does not work on the one that was typed."""
    found = re.search(r"write ([\d-]+(?: [\d:]+)?)\.", errors.get("date", ""))
    return {"date": found[1]} if found else {}
