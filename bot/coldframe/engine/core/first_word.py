"""The first word to a person: what is kept about them, and what working time was assumed. It comes before anything else
that the bot says to them, whichever way they came to it, so it is put in where all that is said passes by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coldframe.engine.core import lives, members
from coldframe.message.nodes import Message
from coldframe.message.packed import MessageName
from coldframe.ports.chat import Capabilities, Ids, Place
from coldframe.ports.storage import Member, Send, UnitOfWork
from coldframe.speech.people import time_words
from coldframe.speech.round import prompts


async def put_first(uow: UnitOfWork, names: Ids, sends: Sequence[Send], can: Capabilities) -> list[Send]:
    """The sends, with the first word before the first message to everybody who has not had it. Of somebody without a
    record nothing is kept."""
    people: dict[str, list[str]] = {}
    for send in filter(_speaks_to_one, sends):
        people.setdefault(send.place.tenant, []).append(send.place.id)
    known = [m for tenant, ids in people.items() for m in (await uow.members(tenant, ids)).values()]
    out = list(sends)
    for member in [m for m in known if not m.told_privacy]:
        place = Place(member.tenant, "direct", member.id)
        first = next(n for n, s in enumerate(out) if _speaks_to_one(s) and s.place.root() == place)
        name = MessageName(lives.PEOPLE, lives.SAID, (member.id, names.new(""))).pack()
        out.insert(first, Send("post", name, place, words(member, can), open=True))
        await uow.save_member(replace(member, told_privacy=True))
    return out


def _speaks_to_one(send: Send) -> bool:
    return send.kind == "post" and send.place.kind == "direct"


def words(member: Member, can: Capabilities, *, confirmed: bool = False) -> Message:
    """As it reads to this person; `confirmed`: since they have said that their hours are right."""
    doubted = members.doubted_zone(member)
    doubt = time_words.zone_unknown(doubted.doubted or "", doubted.nearest) if doubted is not None else ()
    hours = members.hours_words(members.calendar_of(member))
    return prompts.first_word(hours, doubt, confirmed=confirmed, seen_emoji=not can.private_reactions)
