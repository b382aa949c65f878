"""What stands in for buttons and forms on a platform that has none. A number, typed or as an emoji, is the press of the
button that stands under it; a form is a message that is filled in by answers, and sent by a word.

Nothing else knows of it: what is meant goes on as `Pressed` or `Submitted`, through the same doors as everybody's.
"""

from __future__ import annotations

import re
from dataclasses import replace

from coldframe.engine.core import endings, lives, members
from coldframe.engine.core.requests import Uses
from coldframe.engine.core.turn import Turn
from coldframe.engine.intake import happenings
from coldframe.engine.reading import dates, form_lines, note_lines
from coldframe.message.emoji import DIGITS, FINISHED
from coldframe.message.nodes import Form
from coldframe.message.packed import MessageName
from coldframe.ports.chat import Edited, Erased, Inbound, Pressed, Reacted, Reply, Said, Submitted
from coldframe.ports.spoken import Asked, Dialogue
from coldframe.speech import spoken_words

_NUMBER = re.compile(r"[#(]?(\d{1,3})[.)]?")
_TAKES_DIGITS = ("option", "forecast")
"""Messages on which the emoji of a digit says something else."""


async def hear(uses: Uses, turn: Turn, event: Inbound) -> Reply:
    """As `happenings.hear`, for whatever the platform can show."""
    can = turn.kit.chat.capabilities
    if can.buttons and can.forms:
        return await happenings.hear(uses, turn, event)
    meant = await _meant(uses, turn, event)
    if isinstance(meant, Reply):
        return meant
    return await _in_words(turn, meant, await happenings.hear(uses, turn, meant))


async def _meant(uses: Uses, turn: Turn, event: Inbound) -> Inbound | Reply:
    match event.what:
        case Said() as said:
            return await _said(uses, turn, event, said)
        case Reacted() as reacted:
            return await _reacted(turn, event, reacted)
        case Edited() as edited:
            return await _said_anew(turn, event, edited.message, edited.text)
        case Erased() as erased:
            return await _said_anew(turn, event, erased.message, None)
        case _:
            return event


# --- choices ---


async def _said(uses: Uses, turn: Turn, event: Inbound, said: Said) -> Inbound | Reply:
    dialogue = await _open(turn, event)
    if dialogue is not None and await _is_for(uses, turn, event, dialogue, said):
        return await _answered(turn, event, dialogue, said.text, said.message)
    text, direct = said.text.strip(), event.place.kind == "direct"
    number = _NUMBER.fullmatch(text)
    if not text or (said.thread is None and not (direct and number)):
        return event
    asked = await turn.uow.asked(event.place, said.thread)
    if asked is None:
        return event
    if number is None:
        labels = [spoken_words.called(button) for button in asked.choices]
        at = labels.index(text.casefold()) + 1 if labels.count(text.casefold()) == 1 else 0
    else:
        at = int(number[1])
    if not 1 <= at <= len(asked.choices):
        return event if number is None or said.thread is None else _no_such(turn, event, asked)
    return _chosen(turn, event, asked, at)


async def _reacted(turn: Turn, event: Inbound, reacted: Reacted) -> Inbound | Reply:
    posted = await turn.uow.posted_as(event.place, reacted.message)
    name = lives.named(posted.name) if posted is not None else None
    if name is None or name.what in _TAKES_DIGITS:
        return event
    dialogue = await _open(turn, event) if name.what == lives.FORM else None
    if dialogue is not None:
        sends = reacted.added and reacted.emoji in FINISHED
        return await _sent(turn, event, dialogue) if sends else Reply()
    asked = await turn.uow.asked(event.place, reacted.message) if reacted.emoji in DIGITS else None
    if asked is None or not reacted.added:
        return event if asked is None else Reply()
    at = DIGITS.index(reacted.emoji)
    return _chosen(turn, event, asked, at) if 1 <= at <= len(asked.choices) else _no_such(turn, event, asked)


def _chosen(turn: Turn, event: Inbound, asked: Asked, at: int) -> Inbound | Reply:
    """The press; of what asks to be confirmed the question first."""
    button = asked.choices[at - 1]
    if button.confirm is not None:
        turn.answer(event.place.tenant, event.person, spoken_words.sure(button))
        return Reply()
    return replace(event, what=Pressed(button.action, button.value, asked.message))


def _no_such(turn: Turn, event: Inbound, asked: Asked) -> Reply:
    turn.answer(event.place.tenant, event.person, spoken_words.no_such_choice(len(asked.choices)))
    return Reply()


# --- forms ---


async def _open(turn: Turn, event: Inbound) -> Dialogue | None:
    """The form that this person is filling in; it waits a week, as its message does."""
    if event.place.kind != "direct":
        return None
    found = await turn.uow.dialogue(event.place.tenant, event.person)
    return found if found is not None and turn.now - found.at < lives.HANDED_BACK_FOR else None


async def _is_for(uses: Uses, turn: Turn, event: Inbound, dialogue: Dialogue, said: Said) -> bool:
    """What stands under the form's message, and a line by itself that is not plainly something else."""
    if said.thread is not None:
        posted = await turn.uow.posted_as(event.place, said.thread)
        return posted is not None and lives.named(posted.name).what == lives.FORM
    text = said.text.strip()
    if not text or said.mentioned:
        return False
    if text.casefold() in (*spoken_words.SEND, *spoken_words.STOP) or form_lines.names_a_field(dialogue.form, text):
        return True
    return text.casefold() not in uses.words and not note_lines.is_signed(text)


async def _answered(turn: Turn, event: Inbound, dialogue: Dialogue, text: str, message: str) -> Inbound | Reply:
    word = text.strip().casefold()
    if word in spoken_words.STOP:
        await _close(turn, event)
        turn.answer(event.place.tenant, event.person, spoken_words.left())
        return Reply()
    if word in spoken_words.SEND:
        return await _sent(turn, event, dialogue)
    asked = form_lines.missing(dialogue.form, dialogue.values, dialogue.problems)
    filled = await _with(turn, event, dialogue, asked or _alone(dialogue.form), text, message)
    if len(filled.form.fields) == 1 and not form_lines.missing(filled.form, filled.values, filled.problems):
        return await _sent(turn, event, filled)
    await _show(turn, event, filled)
    return Reply()


def _alone(form: Form) -> str:
    """A form of one field needs no number."""
    return form.fields[0].name if len(form.fields) == 1 else ""


async def _with(turn: Turn, event: Inbound, dialogue: Dialogue, asked: str, text: str, message: str) -> Dialogue:
    """With what the text says, in the place of what the same message said before."""
    member = await turn.uow.member(event.place.tenant, event.person)
    calendar = members.calendar_of(member)

    def day(words: str) -> str:
        return calendar.local_day(dates.reading(words, turn.now, calendar).at).isoformat()

    found = form_lines.read(dialogue.form, asked, text, day)
    open_still = {name: words for name, words in dialogue.problems.items() if name and name not in found.fields}
    return replace(
        dialogue,
        values={**dialogue.values, **found.values},
        problems={**open_still, **found.problems},
        lines={**dialogue.lines, message: found.fields},
    )


async def _said_anew(turn: Turn, event: Inbound, message: str, text: str | None) -> Inbound | Reply:
    """A message of theirs that gave answers was changed, or deleted: what it gave then counts no more."""
    dialogue = await _open(turn, event)
    gave = dialogue.lines.get(message) if dialogue is not None else None
    if dialogue is None or gave is None:
        return event
    at_first = {f.name: f.initial for f in dialogue.form.fields}
    without = replace(
        dialogue,
        values={name: at_first[name] if name in gave else value for name, value in dialogue.values.items()},
        problems={name: words for name, words in dialogue.problems.items() if name not in gave},
        lines={known: names for known, names in dialogue.lines.items() if known != message},
    )
    anew = await _with(turn, event, without, next(iter(gave), ""), text, message) if text is not None else without
    await _show(turn, event, anew)
    return Reply()


async def _sent(turn: Turn, event: Inbound, dialogue: Dialogue) -> Inbound | Reply:
    """The form, if it is whole; where it was opened it is sent."""
    form, values = dialogue.form, dialogue.values
    lacking = {f.name: spoken_words.FILL_IN for f in form.fields if f.required and not values.get(f.name, "").strip()}
    unclear = _beside_fields(dialogue)
    if lacking or unclear:
        await _show(turn, event, replace(dialogue, problems={**lacking, **unclear}))
        return Reply()
    return replace(event, place=dialogue.place, what=Submitted(form.action, form.value, dict(values)))


async def _in_words(turn: Turn, event: Inbound, reply: Reply) -> Reply:
    """What would be shown otherwise: a form that opens or stays open, and a passing word that offers something."""
    tenant, person, what = event.place.tenant, event.person, event.what
    if isinstance(what, Submitted):
        dialogue = await turn.uow.dialogue(tenant, person)
        if reply.errors and dialogue is not None:
            await _show(turn, event, replace(dialogue, values=what.fields, problems=reply.errors))
            return replace(reply, errors={})
        await _close(turn, event)
    if reply.form is not None:
        await _begin(turn, event, reply.form)
        reply = replace(reply, form=None)
    if reply.note is not None and lives.offers(reply.note):
        turn.answer(tenant, person, reply.note)
        reply = replace(reply, note=None)
    return reply


async def _begin(turn: Turn, event: Inbound, form: Form) -> None:
    """Opened anew, a form goes on with what it has; another one takes its place."""
    known = await turn.uow.dialogue(event.place.tenant, event.person)
    same = known is not None and (known.form.action, known.form.value) == (form.action, form.value)
    values = {f.name: f.initial for f in form.fields}
    if known is not None and same:
        values |= {name: value for name, value in known.values.items() if name in values and value}
    await _show(turn, event, Dialogue(form, event.place, turn.now, values))


async def _show(turn: Turn, event: Inbound, dialogue: Dialogue) -> None:
    """As it stands now, below what was said last; the message that showed it before goes."""
    tenant, person = event.place.tenant, event.person
    unknown = {n: w for n, w in dialogue.problems.items() if n and n not in {f.name for f in dialogue.form.fields}}
    if unknown:  # beside no field of this form: beside the first, as other platforms do
        first = dialogue.form.fields[0].name
        shown = {first: " ".join(unknown.values()), **{n: w for n, w in dialogue.problems.items() if n not in unknown}}
        dialogue = replace(dialogue, problems=shown)
    stays = _beside_fields(dialogue)
    asked = form_lines.missing(dialogue.form, dialogue.values, stays)
    card = spoken_words.form(dialogue.form, dialogue.values, dialogue.problems, asked)
    name = MessageName(lives.PEOPLE, lives.FORM, (person, turn.kit.ids.new(""))).pack()
    await endings.end_earlier(turn, tenant, person, lives.PEOPLE, lives.FORM)
    turn.answer(tenant, person, card, name=name)
    await turn.uow.keep_dialogue(tenant, person, replace(dialogue, at=turn.now, problems=stays))


def _beside_fields(dialogue: Dialogue) -> dict[str, str]:
    """Problems that stay until their field is answered anew; what belonged to none is said once."""
    return {name: words for name, words in dialogue.problems.items() if name}


async def _close(turn: Turn, event: Inbound) -> None:
    await turn.uow.end_dialogue(event.place.tenant, event.person)
    await endings.end_earlier(turn, event.place.tenant, event.person, lives.PEOPLE, lives.FORM)
