"""Second ways: what is done instead of a send that a platform cannot carry out, or refuses for good.

Nothing of it is remembered: every send tries the first way, so what works again is used again.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import structlog

from coldframe.domain.names import MemberId
from coldframe.domain.state import Round
from coldframe.engine.core.turn import Kit
from coldframe.message.in_words import in_words
from coldframe.message.nodes import Button
from coldframe.ports.chat import Capabilities, Denial, Place, Unreachable
from coldframe.ports.storage import Queued, Send, UnitOfWork
from coldframe.speech import spoken_words, surface
from coldframe.speech.names import message_name
from coldframe.speech.round import prompts

log = structlog.get_logger()
WORD = "reach"
"""What a message in the channel is called that asks somebody to write: `round/reach/person/step`."""


def as_it_can(can: Capabilities, queued: Queued) -> Queued | None:
    """The send as the platform can carry it out; None where it can do nothing of it."""
    if not can.threads:
        queued = replace(queued, root=None)
    if not can.buttons and queued.send.message is not None:
        by_emoji = can.reads_reactions and (can.private_reactions or queued.send.place.kind == "channel")
        queued = _as(queued, message=spoken_words.numbered(queued.send.message, by_emoji=by_emoji))
    match queued.send.kind:
        case "upload" if not can.files:
            return instead(queued, Denial.NO_FILES)
        case "revise" if not can.edits:
            return instead(queued, Denial.CANT_CHANGE)
        case "withdraw" if not can.deletions:
            return instead(queued, Denial.CANT_DELETE) if can.edits else None
        case "home" if not can.home:
            return None
        case _:
            return queued


def choices(can: Capabilities, queued: Queued) -> tuple[Button, ...] | None:
    """What can be chosen by number once it is out; None where there are buttons."""
    if can.buttons or queued.send.kind not in ("post", "revise", "withdraw"):
        return None
    return spoken_words.choices(queued.send.message) if queued.send.message is not None else ()


def instead(queued: Queued, denial: Denial | None) -> Queued | None:
    """Another way to the same end after this refusal; None where there is none.

    A file is told in words. What cannot be changed is posted anew below, says so, and is the message from then on. What
    cannot be taken back is emptied. What would hang under a message that is gone stands in the conversation.
    """
    send, posted = queued.send, queued.posted
    match send.kind, denial:
        case "upload", Denial.NO_FILES if send.attachment is not None:
            return _as(queued, kind="post", message=in_words(send.attachment))
        case "revise", Denial.CANT_CHANGE | Denial.MESSAGE_GONE if posted and send.message and send.open:
            anew = surface.in_place_of_an_earlier(send.message)
            return _as(queued, kind="post", place=posted.place, message=anew)
        case "withdraw", Denial.CANT_DELETE if not queued.emptied:
            return replace(_as(queued, message=send.message or surface.taken_back()), emptied=True)
        case "post" | "upload", Denial.MESSAGE_GONE if queued.root is not None or send.place.thread is not None:
            return replace(_as(queued, place=send.place.root()), root=None)
        case _:
            return None


def is_done_already(queued: Queued, denial: Denial | None) -> bool:
    """What should go is gone; and the last line of a message that is over is not worth a message of its own."""
    send = queued.send
    ends = send.kind == "revise" and not send.open and denial is Denial.CANT_CHANGE
    return ends or (denial is Denial.MESSAGE_GONE and (send.kind == "withdraw" or not send.open))


def _as(queued: Queued, **other: Any) -> Queued:
    return replace(queued, send=replace(queued.send, **other))


# --- where no private way leads to somebody ---


async def ask_to_write(kit: Kit, queued: Queued, refused: Unreachable) -> None:
    """A word in the channel, once per person and step: that they write to the bot. What waits for them comes then."""
    send = queued.send
    if refused.denial is not Denial.NO_DIRECT or send.kind not in ("post", "upload"):
        return
    async with kit.store.begin() as uow:
        round_ = await _round_of(uow, send)
        if round_ is None:
            return
        name = message_name(round_.id, WORD, send.place.id, round_.step)
        if await uow.knows_message(name):
            return
        log.info("delivery.asked_to_write", round=round_.id, step=round_.step.value)
        words = prompts.please_write(round_, MemberId(send.place.id))
        channel = Place(round_.tenant, "channel", round_.channel)
        word = [Send("post", name, channel, words, None, None, round_.id, round_.step)]
        await uow.send(word, kit.clock.now())


async def _round_of(uow: UnitOfWork, send: Send) -> Round | None:
    """The round that the send belongs to, else the newest that has not ended with this person in it."""
    others = await uow.heads(send.place.tenant, member=send.place.id)
    for round_id in (send.round_id, *(head.id for head in reversed(others))):
        round_ = await uow.round(round_id) if round_id else None
        if round_ is not None and MemberId(send.place.id) in round_.seats:
            return round_
    return None


async def came_through(kit: Kit, queued: Queued) -> None:
    """After an earlier try something reached the person: the words that asked them to write have done their work."""
    send = queued.send
    if send.place.kind != "direct" or queued.state != "unknown":
        return
    async with kit.store.begin() as uow:
        round_ = await _round_of(uow, send)
        if round_ is None:
            return
        words = await uow.posted_like(message_name(round_.id, WORD, send.place.id, ""))
        gone = [Send("withdraw", word.name, word.place, round_id=round_.id) for word in words]
        await uow.send(gone, kit.clock.now())
