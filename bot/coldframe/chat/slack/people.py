"""What Slack knows of people, asked by the page where there are many, and remembered for some minutes."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, TypeVar

from coldframe.chat.slack import reading
from coldframe.chat.slack.calls import Calls
from coldframe.ports.chat import Clock, Person, Place

Key = TypeVar("Key")
Value = TypeVar("Value")

MAX_REMEMBERED = 20_000  # people
PERSON_FRESH = timedelta(minutes=10)
MEMBERS_FRESH = timedelta(minutes=1)
PAGE = 200  # people
FEW, LIST, MAX_LISTS = 8, 1_000, 3  # people asked for one by one where they are many; people a page; pages
SMALL = 200
"""People of a workspace that are best asked for together."""


class Recent(OrderedDict[Key, Value]):
    """What was learnt lately, the oldest forgotten first."""

    def __setitem__(self, key: Key, value: Value) -> None:
        super().__setitem__(key, value)
        self.move_to_end(key)
        while len(self) > MAX_REMEMBERED:
            self.popitem(last=False)


class People:
    """The people of all workspaces, as far as they were met."""

    def __init__(self, call: Calls, clock: Clock) -> None:
        self._call = call
        self._clock = clock
        self._known: Recent[tuple[str, str], tuple[Person, datetime]] = Recent()
        self._in: Recent[tuple[str, str], tuple[tuple[str, ...], datetime]] = Recent()
        self._large: set[str] = set()
        self._listed: set[str] = set()
        """Workspaces of which a page was asked for, and those that are more than one takes at a glance."""
        self._asking = asyncio.Semaphore(5)

    async def members(self, place: Place) -> tuple[Person, ...]:
        """Everybody in the channel with what Slack knows of them."""
        ids: list[str] = []
        cursor, asked_at = None, self._clock.now()
        while True:
            page = await self._call(place.tenant, "conversations.members", channel=place.id, limit=PAGE, cursor=cursor)
            ids += page.get("members") or ()
            cursor = (page.get("response_metadata") or {}).get("next_cursor")
            if not cursor:
                break
        await self._meet(place.tenant, ids)
        found = tuple(await asyncio.gather(*(self.person(place.tenant, person) for person in ids)))
        self._in[place.tenant, place.id] = (tuple(ids), asked_at + MEMBERS_FRESH)
        return found

    def members_known(self, place: Place) -> tuple[Person, ...] | None:
        """Who was in the channel a moment ago; None when that was longer ago, or something has changed since."""
        ids, until = self._in.get((place.tenant, place.id), ((), self._clock.now()))
        if until <= self._clock.now():
            return None
        found = tuple(self.person_known(place.tenant, person) for person in ids)
        return None if None in found else tuple(person for person in found if person is not None)

    def came_or_went(self, tenant: str, channel: str) -> None:
        """Slack told by itself that somebody did: the channel is asked for anew."""
        self._in.pop((tenant, channel), None)

    def person_known(self, tenant: str, person_id: str) -> Person | None:
        """As they were learnt to be lately."""
        known = self._known.get((tenant, person_id))
        return known[0] if known and known[1] > self._clock.now() else None

    async def _meet(self, tenant: str, ids: Sequence[str]) -> None:
        """Learns many people by the page instead of one by one, as far as a few pages go."""
        now = self._clock.now()
        strangers = {each for each in ids if (known := self._known.get((tenant, each))) is None or known[1] < now}
        cursor = None
        for _ in range(MAX_LISTS):
            if len(strangers) <= (FEW if tenant in self._large else 1):
                return
            page = await self._page(tenant, cursor)
            strangers -= {str(user.get("id")) for user in page.get("members") or ()}
            cursor = (page.get("response_metadata") or {}).get("next_cursor")
            if not cursor:
                return

    async def _page(self, tenant: str, cursor: str | None = None) -> Mapping[str, Any]:
        """Some of the workspace's people, all of whom are known from then on; and whether they are many."""
        page = await self._call(tenant, "users.list", limit=LIST, cursor=cursor)
        me = (await self._call.accounts.of(tenant)).me
        users = page.get("members") or ()
        for user in users:
            self.remember(tenant, reading.person(user, tenant, me.enterprise))
        if len(users) > SMALL or (page.get("response_metadata") or {}).get("next_cursor"):
            self._large.add(tenant)
        self._listed.add(tenant)
        return page

    async def person(self, tenant: str, person_id: str) -> Person:
        """The person as Slack knows them, remembered for some minutes; of a small workspace with all the others, since
        whoever acts is soon looked for among them."""
        if (known := self.person_known(tenant, person_id)) is not None:
            return known
        async with self._asking:
            if tenant in self._listed - self._large:
                await self._page(tenant)
                if (known := self.person_known(tenant, person_id)) is not None:
                    return known
            answer = await self._call(tenant, "users.info", user=person_id)
        me = (await self._call.accounts.of(tenant)).me
        person = reading.person(answer["user"], tenant, me.enterprise)
        self.remember(tenant, person)
        return person

    def remember(self, tenant: str, person: Person) -> None:
        """Slack told by itself what it knows of the person now."""
        self._known[tenant, person.id] = (person, self._clock.now() + PERSON_FRESH)

    def forget(self, tenant: str, person_id: str) -> None:
        self._known.pop((tenant, person_id), None)

    def remembered(self, tenant: str, person_id: str) -> Person | None:
        """What was told last, however old."""
        known = self._known.get((tenant, person_id))
        return known[0] if known else None
