"""Who may bring the bot into a room, and how often."""

from __future__ import annotations

from datetime import datetime, timedelta

import structlog

from coldframe.chat.matrix.adapter import MatrixChat
from coldframe.chat.matrix.calls import Json, path
from coldframe.chat.matrix.rooms import INVITED
from coldframe.ports.chat import ChatError, Clock, NotDelivered, OutcomeUnknown, SlowDown
from coldframe.speech import surface

log = structlog.get_logger()
MAX_A_DAY = 10
"""Rooms into which one person brings the bot in a day."""
WAITING = "invitation/"
GIVEN_UP_AFTER = timedelta(days=1)


class Invitations:
    """Those of people and servers that are let in are taken up; whoever else asks is refused, without a word."""

    def __init__(self, chat: MatrixChat, clock: Clock) -> None:
        self._chat = chat
        self._clock = clock

    async def came(self, room: str, invite: Json) -> None:
        """What cannot be answered now waits, as a server tells of it once. Raises SlowDown."""
        if not await self._settled(room, invite):
            self._chat.kept.put(WAITING + room, [invite, self._clock.now().isoformat()])

    async def again(self) -> None:
        """Those that waited, for a day at most. Raises SlowDown."""
        for room, (invite, since) in self._chat.kept.below(WAITING).items():
            waited = self._clock.now() - datetime.fromisoformat(since)
            if await self._settled(room, invite) or waited >= GIVEN_UP_AFTER:
                self._chat.kept.drop(WAITING + room)

    async def _settled(self, room: str, invite: Json) -> bool:
        try:
            await self._answered(room, invite)
        except SlowDown:
            raise
        except (NotDelivered, OutcomeUnknown) as trouble:
            log.warning("matrix.invitation_waits", problem=str(trouble))
            return False
        except ChatError as trouble:  # taken back meanwhile, or a room that nobody is in any more
            log.warning("matrix.invitation_lost", problem=str(trouble))
        return True

    async def _answered(self, room: str, invite: Json) -> None:
        chat, mine = self._chat, _own(invite, self._chat.me)
        inviter, content = str(mine.get("sender") or ""), mine.get("content") or {}
        welcome = chat.options.lets_in(inviter, chat.me)
        within = welcome and self._counts(inviter, room)
        log.info("matrix.invited", welcome=welcome, within=within)
        if not within:
            await chat.call.post(path("rooms", room, "leave"), {})
            if welcome:
                await self._too_many(inviter)
            return
        opens = bool(content.get("is_direct")) and self._opened_by(inviter, room)
        try:
            await chat.call.post(path("rooms", room, "join"), {})
        except ChatError:
            if opens:
                chat.rooms.forget(inviter)  # with how often they invited today, which is too few then
            raise

    def _counts(self, inviter: str, room: str) -> bool:
        """Whether it is within the day's; a room that takes another's place is no further one."""
        chat, today = self._chat, self._clock.now().date().isoformat()
        day, rooms = chat.kept.get(INVITED + inviter) or (today, [])
        rooms = rooms if day == today else []
        if room in rooms or chat.rooms.came_from(room) is not None:
            return True
        if len(rooms) < MAX_A_DAY:
            chat.kept.put(INVITED + inviter, [today, [*rooms, room]])
        return len(rooms) < MAX_A_DAY

    def _opened_by(self, person: str, room: str) -> bool:
        """Somebody opens direct messages: theirs, unless they have a room that they are still in. Noted before the bot
        is in it, since nothing there says whose it is."""
        known = self._chat.rooms.direct(person)
        if known is not None and person in self._chat.crypt.members(known):
            return False
        self._chat.rooms.opened(person, room)
        return True

    async def _too_many(self, inviter: str) -> None:
        """To whom the bot talks already; nobody is written to for the first time for it."""
        if self._chat.rooms.direct(inviter) is not None:
            await self._chat.say_in_passing(inviter, surface.too_many_invitations(MAX_A_DAY))


def _own(invite: Json, me: str) -> Json:
    """The event by which the bot is invited."""
    events = (invite.get("invite_state") or {}).get("events") or ()
    return next((e for e in events if e.get("type") == "m.room.member" and e.get("state_key") == me), {})
