"""The end of a message, in one place, whatever brought it: one line, taken back, or its words without its buttons."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from coldframe.engine.core import lives
from coldframe.engine.core.turn import TAKE_BACK, Carry, InOneTurn, Turn
from coldframe.message.nodes import Message
from coldframe.message.packed import MessageName
from coldframe.ports.chat import Place
from coldframe.ports.storage import Due, Posted, Send
from coldframe.speech import answers


@dataclass(frozen=True, slots=True)
class Ending:
    """A message that is over: what it becomes, or with which words it goes where nothing can be taken back."""

    posted: Posted
    end: lives.End
    words: Message


async def end(turn: Turn, endings: Sequence[Ending]) -> None:
    if not endings:
        return
    dropped = [e.posted.name for e in endings if e.end is not lives.End.READS]
    turn.sends = [s for s in turn.sends if s.name not in dropped or s.kind != "revise"]
    turn.sends += [_send(e) for e in endings if e.end is not lives.End.READS or not lives.is_file(e.posted.name)]
    await turn.uow.end_posts(dropped)
    await turn.uow.end_posts([e.posted.name for e in endings if e.end is lives.End.READS], drop=False)


def _send(ending: Ending) -> Send:
    posted = ending.posted
    out = posted.message_id or None
    send = Send("revise", posted.name, posted.place, ending.words, round_id=posted.round_id, open=False, ends=out)
    return replace(send, kind="withdraw") if ending.end is lives.End.GONE or lives.is_file(posted.name) else send


async def show_page(turn: Turn, tenant: str, person: str, message: Message) -> None:
    """How things stand now; what showed it before goes."""
    name = MessageName(lives.PEOPLE, lives.PAGE, (person, turn.kit.ids.new("")))
    turn.answer(tenant, person, message, name=name.pack())
    await end_pages(turn, tenant, person)


async def end_pages(turn: Turn, tenant: str, person: str, *, reminders: bool = False) -> None:
    """What showed this person how things stood goes, with `reminders` what reminded them too."""
    found = await turn.uow.open_posts(tenant, None, [person])
    await end(turn, [taken_back(p) for p in found if is_page(p) or (reminders and _reminds(p))])


def _reminds(posted: Posted) -> bool:
    return lives.named(posted.name).what == lives.REMINDED


async def end_earlier(turn: Turn, tenant: str, person: str, owner: str, what: str) -> None:
    """Earlier words of this kind to the same person about the same go."""
    found = [(p, lives.named(p.name)) for p in await turn.uow.open_posts(tenant, None, [person])]
    await end(turn, [taken_back(p) for p, name in found if (name.owner, name.what) == (owner, what)])


def is_page(posted: Posted) -> bool:
    return lives.named(posted.name).what == lives.PAGE


def taken_back(posted: Posted) -> Ending:
    return Ending(posted, lives.End.GONE, answers.is_over())


async def end_all(turn: Turn, tenant: str, person: str) -> None:
    """Whatever this person still has in private goes."""
    found = await turn.uow.open_posts(tenant, None, [person])
    await end(turn, [taken_back(p) for p in found if p.place == Place(tenant, "direct", person)])


async def _take_back(turn: Turn, due: Due) -> None:
    posted = await turn.uow.posted(due.subject)
    if posted is not None:
        await end(turn, [Ending(posted, lives.End.GONE, answers.not_kept())])


DUE: Mapping[str, Carry] = {TAKE_BACK: InOneTurn(_take_back)}
