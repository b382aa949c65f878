"""A restored copy of the database knows nothing of what was said and heard since its moment. Before it says or does
anything it looks for what it said: what it comes to say again is brought up to date instead, and what nothing comes of
goes after a day. Who facilitates hears what it cannot know.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import datetime, timedelta
from functools import partial

import structlog

from coldframe.domain.names import RUNNING, Role
from coldframe.domain.trial.state import UNDER_WAY
from coldframe.engine.core import allowance, damage, endings, lives, trial_turn
from coldframe.engine.core.endings import Ending
from coldframe.engine.core.turn import Carry, InOneTurn, Kit, Turn
from coldframe.engine.round import course
from coldframe.message.packed import Occurrence
from coldframe.ports.chat import ChatError, Own, Place, SlowDown, Unreachable
from coldframe.ports.storage import Damaged, Due, Posted, UnitOfWork
from coldframe.ports.strays import AT_REST, LOOKED_BACK
from coldframe.speech.names import message_name
from coldframe.speech.people import restored_words
from coldframe.speech.round import commitment_words

log = structlog.get_logger()
BLIND, KEYLESS = "blind", "keyless"
TELL, CLEAR, DATES = "restored", "clear strays", "dates again"
MARGIN = timedelta(minutes=2)  # for clocks that disagree
SETTLED = timedelta(minutes=5)
"""By then what waited in the copy has become what it had been already."""
AGAIN = timedelta(seconds=30)
KEPT_FOR = timedelta(days=1)
"""So long what nothing comes of stays to be read: it may be all that is left of what people gave."""


async def look_back(kit: Kit) -> bool:
    """Whether a copy that was restored still has to wait before it says or does anything."""
    since = await kit.store.restored()
    if since is None:
        return False
    try:
        found, unread = await _found(kit, since)
    except ChatError as trouble:
        log.warning("restored.cannot_look", since=since.isoformat(), problem=str(trouble))
        return True
    kept = await _keep(kit, since, found, unread)
    await _say_anew(kit, since)
    await kit.store.note_number(LOOKED_BACK, since.timestamp())
    log.info("restored.looked_back", since=since.isoformat(), strays=kept, unread=len(unread))
    return False


async def _found(kit: Kit, since: datetime) -> tuple[list[Own], list[Place]]:
    """What the bot said since then, and where it cannot be read for good. Raises ChatError."""
    async with kit.store.begin() as uow:
        places = await uow.conversations()
    found: list[Own] = []
    unread: list[Place] = []
    for place in places:
        try:
            said = await _read(kit, place, since - MARGIN)
        except Unreachable:
            unread.append(place)
        else:
            found += [own for own in said if not own.is_file or own.at >= since]
    return found, unread


async def _read(kit: Kit, place: Place, since: datetime) -> Sequence[Own]:
    """What the platform asks to do slower is done slower: nobody is served before. Raises ChatError."""
    while True:
        try:
            return await kit.chat.own(place, since)
        except SlowDown as slow:
            await kit.clock.sleep(slow.seconds)


async def _keep(kit: Kit, since: datetime, found: Sequence[Own], unread: Sequence[Place]) -> int:
    """A copy of a bot that did not run, which has said nothing since, lacks nothing."""
    at_rest, keyless = await kit.store.counter(AT_REST), KEYLESS if await kit.store.lacks_keys() else ""
    occasion = f"restored/{since.isoformat()}"
    kit.ids.occasion(occasion)
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        if not await uow.first_time(occasion, turn.now):
            return 0  # another process was quicker, and may have said new things since these were read
        kept = await uow.keep_strays(found)
        for tenant in sorted({own.place.tenant for own in found}):
            turn.later(CLEAR, tenant, since.isoformat(), turn.now + KEPT_FOR)
        for tenant, person in await _who_hears(uow) if kept or keyless or not at_rest else ():
            blind = BLIND if any(p.kind == "channel" and p.tenant == tenant for p in unread) else ""
            parts = (person, since.isoformat(), turn.now.isoformat(), blind, keyless)
            turn.later(TELL, tenant, Occurrence(parts).pack(), turn.now)
        await turn.finish()
    return kept


# --- what had been ended since is open again ---


async def _say_anew(kit: Kit, since: datetime) -> None:
    """Each round by itself: one that cannot be read keeps nobody else waiting."""
    async with kit.store.begin() as uow:
        heads = [head for tenant, _ in await uow.all_teams() for head in await uow.heads(tenant)]
    for round_id in dict.fromkeys(head.id for head in heads):
        with suppress(Damaged):
            await damage.apart(partial(_of_round, kit, since, round_id))
    await _trials_anew(kit, since)


async def _trials_anew(kit: Kit, since: datetime) -> None:
    """The cards of trials that are under way, in one turn."""
    occasion = f"restored/{since.isoformat()}/trials"
    kit.ids.occasion(occasion)
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        for tenant, team in await uow.all_teams() if await uow.first_time(occasion, turn.now) else ():
            for trial in await uow.trials_of(tenant, team):
                if trial.step in UNDER_WAY:
                    await trial_turn.show_card(turn, trial)
        await turn.finish()


async def _of_round(kit: Kit, since: datetime, round_id: str) -> None:
    occasion = f"restored/{since.isoformat()}/{round_id}"
    kit.ids.occasion(occasion)
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        round_ = await uow.round(round_id)
        if round_ is not None and await uow.first_time(occasion, turn.now):
            await course.say_all_anew(turn, round_)
            turn.later(DATES, round_.id, f"{since.timestamp():.0f}", turn.now + SETTLED)
            await turn.finish()


async def _dates(turn: Turn, due: Due) -> None:
    """A file in the channel of which nothing came may show other dates than this copy's: its own stands below it."""
    round_ = await turn.round(due.subject)
    channel = turn.channel(round_)
    others = any(s.is_file and s.place.root() == channel for s in await turn.uow.strays(round_.tenant))
    if others and round_.step in RUNNING and round_.dates_told:
        file = commitment_words.calendar_of_round(round_)
        name = message_name(round_.id, "moved", due.occurrence, "calendar")
        turn.attach(name, channel, file, round_.id, thread_of=message_name(round_.id, "opened"))


# --- what it cannot know ---


async def _who_hears(uow: UnitOfWork) -> list[tuple[str, str]]:
    """Who facilitates a round, and who sees to a trial."""
    found: list[tuple[str, str]] = []
    for tenant, team in await uow.all_teams():
        for head in await uow.heads(tenant, channel=team):
            with suppress(Damaged):
                round_ = await uow.round(head.id)
                found += [(tenant, round_.roles.acting(Role.FACILITATOR))] if round_ is not None else []
        under_way = [trial for trial in await uow.trials_of(tenant, team) if trial.step in UNDER_WAY]
        found += [(tenant, p) for trial in under_way for p in (trial.facilitator, trial.owner) if p is not None]
    return list(dict.fromkeys(found))


async def _tell(turn: Turn, due: Due) -> None:
    """At their next working moment, once."""
    person, since, back, blind, keyless = Occurrence.unpack(due.occurrence).parts
    moments = (datetime.fromisoformat(since), datetime.fromisoformat(back))
    words = restored_words.cannot_know(*moments, blind=blind == BLIND, keyless=keyless == KEYLESS)
    at = await allowance.say_when_allowed(turn, due.subject, person, words)
    if at is not None:
        turn.later(due.kind, due.subject, due.occurrence, at)


async def _clear(turn: Turn, due: Due) -> None:
    """In private it goes; what the channel has read becomes a line, and may still become what it was."""
    over = []
    for stray in await turn.uow.strays(due.subject):
        goes = stray.is_file or stray.place.kind == "direct"
        posted = Posted(stray.name, stray.place, stray.message_id, open=False)
        over.append(Ending(posted, lives.End.GONE if goes else lives.End.LINE, restored_words.counts_no_more()))
    await endings.end(turn, over)


DUE: Mapping[str, Carry] = {TELL: InOneTurn(_tell), CLEAR: InOneTurn(_clear), DATES: InOneTurn(_dates)}
