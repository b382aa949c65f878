"""The chat protocol over Slack's Web API. Translates and sends; decides nothing.

Slack offers no key that makes a post happen once. So every post carries the sender's opaque key in its
metadata, and `find` looks it up in the conversation when an answer was lost. Files carry a digest of the
key in their name.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from typing import Any

import aiohttp
import structlog

from coldframe.chat.slack import history, pins, readiness, reading, uploads
from coldframe.chat.slack.calls import Accounts, Calls, Refusal
from coldframe.chat.slack.inbound import event
from coldframe.chat.slack.marks import (
    Sent,
    is_part,
    key_of,
    mark,
    mark_in,
    number_of,
    order,
    sorted_out,
    total_of,
)
from coldframe.chat.slack.passing import Passing
from coldframe.chat.slack.people import People, Recent
from coldframe.message.emoji import short_name
from coldframe.message.nodes import Attachment, Message
from coldframe.ports.chat import (
    Capabilities,
    ChatError,
    Clock,
    Denial,
    Hindrance,
    Inbound,
    Maker,
    NotDelivered,
    OutcomeUnknown,
    Own,
    Person,
    Place,
    Reaction,
    Unreachable,
)
from coldframe.ports.clearing import Kept
from coldframe.render.slack.blocks import MAX_LABEL, MAX_TEXT, Part, message_parts
from coldframe.render.slack.fit import FIT
from coldframe.render.slack.packing import MAX_BLOCKS
from coldframe.render.slack.views import home

log = structlog.get_logger()


LOOK_BACK = timedelta(minutes=2)
"""How far before the first try a look-up begins, for clocks that disagree."""
MAX_PAGES = 10  # pages of a history
PAGE = 200  # messages
RECENT = timedelta(days=1)
REACTIONS_FRESH = timedelta(seconds=1)


class SlackChat:
    """What one process does in all its workspaces."""

    capabilities = Capabilities(
        max_label=MAX_LABEL,
        max_text=MAX_TEXT,
        max_blocks=MAX_BLOCKS,
        invitation="/invite @coldframe",
        links=True,
    )

    def __init__(self, accounts: Accounts, session: aiohttp.ClientSession, clock: Clock, make: Maker) -> None:
        self.call = Calls(accounts, clock)
        self._accounts = accounts
        self._session = session
        self._clock = clock
        self._make = make
        self._directs: Recent[tuple[str, str], str] = Recent()
        self._fit = FIT
        self._links: Recent[tuple[str, str], str] = Recent()
        self._totals: Recent[tuple[str, str], int] = Recent()
        self._told: Recent[tuple[str, str], tuple[Sequence[Mapping[str, Any]], datetime]] = Recent()
        self.people = People(self.call, clock)
        self.passing = Passing(self.call, self.channel_of)

    # --- saying ---------------------------------------------------------------------------------------------

    async def post(self, place: Place, message: Message, *, key: str) -> str:
        """Posts the message, or what of its parts did not go out yet, and returns the id of the first part."""
        channel = await self.channel_of(place)
        first = await self._fitting(message, lambda parts: self._post(place, channel, parts, key))
        await self._offer(place, first, message.seeds)
        if message.stays:
            await pins.pin(self.call, place, channel, first, (await self._accounts.of(place.tenant)).me.bot_user)
        return first

    async def _fitting(self, message: Message, show: Callable[[Sequence[Part]], Awaitable[str]]) -> str:
        """What is refused for its size or its blocks is shown in smaller messages, or without tables, from then on."""
        while True:
            fit = self._fit
            try:
                return await show(message_parts(message, fit))
            except Refusal as refusal:
                if (smaller := fit.after(refusal.code)) is None:
                    raise
                log.warning("slack.fits_less", why=refusal.code, size=smaller.size, tables=smaller.tables)
                self._fit = smaller

    async def _post(self, place: Place, channel: str, parts: Sequence[Part], key: str) -> str:
        sent = await self._sent(place, channel, key, self._clock.now() - RECENT) if len(parts) > 1 else Sent({}, 0)
        if sent.ids and sent.total != len(parts):  # cut otherwise before
            for message_id in sent.ids.values():
                await self._take_back(place, channel, message_id)
            sent = Sent({}, 0)
        first = sent.ids.get(1) or await self._say(place, channel, parts[0], mark(key, 1, len(parts)), place.thread)
        for number, part in enumerate(parts[1:], 2):
            if number not in sent.ids:
                its_mark = mark(key, number, len(parts))
                await self._say(place, channel, part, its_mark, place.thread or first)
        self._totals[channel, first] = len(parts)
        return first

    async def _offer(self, place: Place, message_id: str, seeds: tuple[str, ...]) -> None:
        """The bot's own emoji as an offer. The message is out already; without them it says the same."""
        for emoji in seeds:
            try:
                await self.react(place, message_id, emoji)
            except ChatError as trouble:
                log.info("slack.offer_missing", problem=str(trouble))

    async def _say(
        self, place: Place, channel: str, part: Part, metadata: Mapping[str, Any], thread: str | None
    ) -> str:
        answer = await self.call(
            place.tenant,
            "chat.postMessage",
            lane=channel,
            channel=channel,
            text=part.text,
            blocks=list(part.blocks),
            metadata=metadata,
            thread_ts=thread,
            unfurl_links=False,
            unfurl_media=False,
        )
        return str(answer["ts"])

    async def revise(self, place: Place, message_id: str, message: Message) -> None:
        """Shows the new content in place; parts that carry it on are edited, added or taken away with it."""
        channel = await self.channel_of(place)
        await self._fitting(message, lambda parts: self._revise(place, channel, message_id, parts))

    async def _revise(self, place: Place, channel: str, message_id: str, parts: Sequence[Part]) -> str:
        await self._edit(place, channel, message_id, parts[0])
        if len(parts) == 1 and self._totals.get((channel, message_id)) == 1:
            return message_id
        key, sent = await self._carried_on(place, channel, message_id)
        for number, part in enumerate(parts[1:], 2):
            if number in sent.ids:
                await self._edit(place, channel, sent.ids[number], part)
            elif key:
                its_mark = mark(key, number, len(parts))
                await self._say(place, channel, part, its_mark, place.thread or message_id)
        for number in sent.ids.keys() - range(1, len(parts) + 1):
            await self._take_back(place, channel, sent.ids[number])
        self._totals[channel, message_id] = len(parts)
        return message_id

    async def _edit(self, place: Place, channel: str, message_id: str, part: Part) -> None:
        await self.call(
            place.tenant, "chat.update", channel=channel, ts=message_id, text=part.text, blocks=list(part.blocks)
        )

    async def withdraw(self, place: Place, message_id: str) -> None:
        """Takes a message or a file back; one that is gone already is fine."""
        channel = await self.channel_of(place)
        if message_id.startswith("F"):
            await self._unless({"file_not_found", "file_deleted"}, place.tenant, "files.delete", file=message_id)
            return
        if self._totals.get((channel, message_id)) != 1:
            _, sent = await self._carried_on(place, channel, message_id)
            for other in set(sent.ids.values()) - {message_id}:
                await self._take_back(place, channel, other)
        await self._take_back(place, channel, message_id)

    async def _take_back(self, place: Place, channel: str, message_id: str) -> None:
        await self._unless({"message_not_found"}, place.tenant, "chat.delete", channel=channel, ts=message_id)

    async def clear(self, tenant: str, kept: Mapping[str, Kept]) -> None:
        raise Unreachable("what people wrote is theirs to delete here", Denial.CANT_DELETE)

    async def react(self, place: Place, message_id: str, emoji: str) -> None:
        """Puts the bot's own emoji on a message; one that is there already is fine."""
        channel = await self.channel_of(place)
        arguments = {"channel": channel, "timestamp": message_id, "name": short_name(emoji)}
        await self._unless({"already_reacted"}, place.tenant, "reactions.add", **arguments)

    async def _unless(self, fine: set[str], tenant: str, method: str, **arguments: Any) -> None:
        try:
            await self.call(tenant, method, **arguments)
        except Refusal as refusal:
            if refusal.code not in fine:
                raise

    # --- files ----------------------------------------------------------------------------------------------

    async def upload(self, place: Place, attachment: Attachment, *, key: str) -> str:
        """Draws or writes the attachment and shares it. Nothing is seen before the last of the three calls."""
        document = await self._make(attachment)
        return await uploads.share(self.call, self._session, place, await self.channel_of(place), document, key)

    # --- looking up -----------------------------------------------------------------------------------------

    async def find(self, place: Place, key: str, since: datetime) -> str | None:
        """The message that went out with this key, None when it did not, or not all of it. Removes later doubles.

        When it cannot be looked up now, that is OutcomeUnknown: whether the message went out is as open as before.
        """
        channel = await self.channel_of(place)
        try:
            sent = await self._sent(place, channel, key, since - LOOK_BACK)
        except Refusal as refusal:
            if refusal.code != "missing_scope":
                raise
            log.warning("slack.history_scope_missing")
            raise OutcomeUnknown("the history cannot be read: a scope is missing") from None
        except NotDelivered as trouble:
            raise OutcomeUnknown(str(trouble)) from None
        for message_id in sent.surplus:
            await self._take_back(place, channel, message_id)
        return sent.ids[1] if sent.whole else None

    async def _sent(self, place: Place, channel: str, key: str, since: datetime) -> Sent:
        me = (await self._accounts.of(place.tenant)).me
        oldest = reading.stamp(since)
        found = [m async for m in self._messages(place, channel, place.thread, oldest) if is_part(m, me.bot_user, key)]
        heads = [m for m in found if number_of(m) == 1]
        if heads and not place.thread and total_of(heads[-1]) > 1:
            head = min(heads, key=order)
            found += [
                m
                async for m in self._messages(place, channel, str(head["ts"]), oldest)
                if is_part(m, me.bot_user, key) and m["ts"] != head["ts"]
            ]
        return sorted_out(found)

    async def _carried_on(self, place: Place, channel: str, message_id: str) -> tuple[str | None, Sent]:
        """The key of a message of ours and the parts that carry it on."""
        try:
            thread = [m async for m in self._messages(place, channel, place.thread or message_id, "0")]
        except Refusal as refusal:
            if refusal.code not in ("missing_scope", "thread_not_found"):
                raise
            return None, Sent({}, 0)
        key = next((key_of(message) for message in thread if message.get("ts") == message_id), None)
        me = (await self._accounts.of(place.tenant)).me
        return key, sorted_out([m for m in thread if key and is_part(m, me.bot_user, key)])

    async def _messages(
        self, place: Place, channel: str, thread: str | None, oldest: str
    ) -> AsyncIterator[Mapping[str, Any]]:
        method = "conversations.replies" if thread else "conversations.history"
        arguments: dict[str, Any] = {"channel": channel, "oldest": oldest, "inclusive": True, "limit": PAGE}
        if thread:
            arguments["ts"] = thread
        cursor = None
        for _ in range(MAX_PAGES):
            page = await self.call(place.tenant, method, include_all_metadata=True, cursor=cursor, **arguments)
            for message in page.get("messages") or ():
                yield message
            cursor = (page.get("response_metadata") or {}).get("next_cursor")
            if not cursor:
                return

    async def own(self, place: Place, since: datetime) -> tuple[Own, ...]:
        """Read back from the history with its threads; what carries a message on is a part of it."""
        channel, me = await self.channel_of(place), (await self._accounts.of(place.tenant)).me
        call = partial(self.call, place.tenant, include_all_metadata=True)
        said = await history.lines(call, channel, reading.stamp(since))
        root = place.root()
        return tuple(
            Own(str(m["ts"]), replace(root, thread=reading.thread_of(m)), reading.moment(m["ts"], since), its_mark,
                key_of(m) is None)
            for m in said
            if m.get("user") == me.bot_user and number_of(m) == 1 and (its_mark := mark_in(m)) is not None
        )  # fmt: skip

    async def link(self, place: Place, message_id: str) -> str | None:
        """Asked for once in this process; a file has another kind of address."""
        channel = await self.channel_of(place)
        known = self._links.get((channel, message_id))
        if known is None and not message_id.startswith("F"):
            answer = await self.call(place.tenant, "chat.getPermalink", channel=channel, message_ts=message_id)
            known = self._links[channel, message_id] = str(answer["permalink"])
        return known

    async def reactions(self, place: Place, message_id: str) -> tuple[Reaction, ...]:
        """What people have on the message now, each emoji of a person once whatever its skin tones.

        The options of a ballot stand in one conversation, and are asked for one after the other. One page of direct
        messages tells them all, so what it told is kept for a second, each answer to be used once.
        """
        channel = await self.channel_of(place)
        shown = self._told.pop((channel, message_id), None)
        if shown is None or shown[1] < self._clock.now():
            shown = (await self._reactions_on(place, channel, message_id), self._clock.now())
        me = (await self._accounts.of(place.tenant)).me
        seen = {
            Reaction(str(person), reading.emoji(each["name"]))
            for each in shown[0]
            for person in each.get("users") or ()
            if person != me.bot_user
        }
        return tuple(sorted(seen, key=lambda reaction: (reaction.person, reaction.emoji)))

    async def _reactions_on(self, place: Place, channel: str, message_id: str) -> Sequence[Mapping[str, Any]]:
        if place.kind == "direct":
            arguments: dict[str, Any] = {"channel": channel, "oldest": message_id, "inclusive": True, "limit": PAGE}
            arguments |= {"ts": place.thread} if place.thread else {}
            method = "conversations.replies" if place.thread else "conversations.history"
            page = await self.call(place.tenant, method, **arguments)
            until = self._clock.now() + REACTIONS_FRESH
            for message in page.get("messages") or ():
                self._told[channel, str(message["ts"])] = (message.get("reactions") or (), until)
            if (channel, message_id) in self._told:
                return self._told.pop((channel, message_id))[0]
        answer = await self.call(place.tenant, "reactions.get", channel=channel, timestamp=message_id, full=True)
        return (answer.get("message") or {}).get("reactions") or ()

    async def written(self, place: Place, since: datetime, known: Collection[str] = ()) -> tuple[Inbound, ...]:
        """What the person wrote since then, and what still stands of the messages known, as if told of it now."""
        channel, me = await self.channel_of(place), (await self._accounts.of(place.tenant)).me
        call = partial(self.call, place.tenant)
        found = {str(m["ts"]): m for m in await history.lines(call, channel, reading.stamp(since))}
        for message_id in [m for m in known if m not in found]:
            if (message := await history.one(call, channel, message_id)) is not None:
                found[message_id] = {"ts": message_id, **message}
        lines = (found[m] for m in sorted(found) if history.is_by(found[m], place.id))
        told = (event(history.as_event(place, channel, line), me, self._clock.now()) for line in lines)
        return tuple(each for each in told if isinstance(each, Inbound))

    # --- people ---------------------------------------------------------------------------------------------

    async def members(self, place: Place) -> tuple[Person, ...]:
        """Everybody in the channel with what Slack knows of them."""
        return await self.people.members(place)

    async def person(self, tenant: str, person_id: str) -> Person:
        """The person as Slack knows them, remembered for some minutes."""
        return await self.people.person(tenant, person_id)

    def members_known(self, place: Place) -> tuple[Person, ...] | None:
        """Who was in the channel a moment ago, as far as nothing has changed since."""
        return self.people.members_known(place)

    def person_known(self, tenant: str, person_id: str) -> Person | None:
        """The person as they were learnt to be lately."""
        return self.people.person_known(tenant, person_id)

    async def check(self, place: Place, people: Sequence[str]) -> tuple[Hindrance, ...]:
        """What would be refused in the channel and to these people."""
        return await readiness.hindrances(self.call, self.channel_of, place, people)

    async def home(self, tenant: str, person_id: str, message: Message) -> None:
        """The person's own page; a workspace that has it switched off goes without."""
        await self._unless({"not_enabled"}, tenant, "views.publish", user_id=person_id, view=home(message))

    async def forget(self, tenant: str, person_id: str) -> None:
        """Their direct messages are theirs in Slack; what this process remembers of them goes."""
        self.people.forget(tenant, person_id)
        self._directs.pop((tenant, person_id), None)

    def direct_known(self, place: Place) -> str | None:
        """The conversation with this person, as far as it was opened lately."""
        return self._directs.get((place.tenant, place.id))

    async def channel_of(self, place: Place) -> str:
        """Slack's id of the conversation; direct messages are opened where they are not yet."""
        if place.kind == "channel":
            return place.id
        known = self._directs.get((place.tenant, place.id))
        if known is None:
            answer = await self.call(place.tenant, "conversations.open", users=place.id)
            known = self._directs[place.tenant, place.id] = str(answer["channel"]["id"])
        return known
