"""What happens between a verified payload and its acknowledgement: translate, commit through the intake,
answer.

The acknowledgement goes out only after the intake returned. Events that could not be taken in are not
acknowledged, so that Slack sends them again; presses and forms are never sent again, so the person is told
and can do it again.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Coroutine, Mapping
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Any, TypeVar

import structlog
from slack_bolt.context.ack.async_ack import AsyncAck
from slack_bolt.response import BoltResponse

from coldframe.chat.slack import inbound, interactions
from coldframe.chat.slack.accounts import Holder
from coldframe.chat.slack.adapter import SlackChat
from coldframe.chat.slack.downloads import Downloads
from coldframe.chat.slack.inbound import Ignored, Me, Outcome, Refused
from coldframe.errors import ColdframeError
from coldframe.message.nodes import Form, Message, plain
from coldframe.ports.chat import (
    ChannelLost,
    ChatError,
    Clock,
    Inbound,
    Intake,
    Joined,
    Left,
    NotDelivered,
    PersonChanged,
    Place,
    Reply,
    Said,
    SlowDown,
    Unreachable,
)
from coldframe.render.slack.blocks import Unrenderable, message_parts
from coldframe.render.slack.views import modal
from coldframe.speech import surface

log = structlog.get_logger()

Payload = Mapping[str, Any]

MAX_COMMIT = 2.0
"""Seconds of Slack's three that the intake may take; after that nobody says the thing was taken in."""
LOADING_AFTER = 0.6
"""Seconds after which words open where a form is to be: of the three in which it can be opened at all."""
MAX_LOADING = 60.0  # seconds that a form may take to be asked together
MAX_DRAIN = 2.0  # seconds, twice at most; with what the alarm clock gets, a stop takes less than ten
PATIENCE, PAUSE, MAX_PAUSE = 2, 0.3, 1.5  # times, seconds, seconds
Result = TypeVar("Result")
Translate = Callable[[Payload, Me, Any], Outcome]
ENDINGS = ("app_uninstalled", "tokens_revoked")


class Closing(ColdframeError):
    """The bot is being stopped; what comes now is left to the next process."""


class Door:
    """The listeners of the app."""

    def __init__(self, chat: SlackChat, accounts: Holder, intake: Intake, clock: Clock, downloads: Downloads) -> None:
        self._chat = chat
        self._accounts = accounts
        self._intake = intake
        self._clock = clock
        self._downloads = downloads
        self._busy = 0
        self._idle = asyncio.Event()
        self._idle.set()
        self._closing = False
        self._after: set[asyncio.Task[Any]] = set()

    async def on_event(self, body: Payload, ack: AsyncAck) -> BoltResponse:
        """Commits the event, then acknowledges. Raises when it was not committed, so that Slack sends it
        again.
        """
        async with self._at_work():
            await self.take(body)
            return await ack()

    async def take(self, body: Payload) -> None:
        """Commits an event. Raises when it was not committed."""
        if await self._ended(body):
            return
        account = await self._accounts.heard_from(inbound.team_of(body) or "", inbound.enterprise_of(body))
        outcome = inbound.event(body, account.me, self._clock.now())
        if not isinstance(outcome, Inbound):
            self._let_go(outcome)
            return
        if not self._is_news(outcome):
            return
        if isinstance(outcome.what, Joined | Left | ChannelLost):
            self._chat.people.came_or_went(outcome.place.tenant, outcome.place.id)
        reply = await self._receive(await self._with_files(outcome, body))
        if isinstance(outcome.what, PersonChanged):
            self._chat.people.remember(outcome.place.tenant, outcome.what.person)
        if inbound.in_assistants_thread(body):
            reply = replace(reply, note=reply.note or surface.answered_in_private())
        self._answer(outcome, reply, trigger="")

    async def on_press(self, body: Payload, ack: AsyncAck) -> BoltResponse:
        """Commits the press, acknowledges, and shows at once what comes back."""
        return await self._pressed(body, ack, interactions.press)

    async def on_command(self, body: Payload, ack: AsyncAck) -> BoltResponse:
        """Commits the command; a passing note is the acknowledgement itself, which cannot get lost."""
        async with self._at_work():
            outcome = await self._translated(interactions.command, body)
            if not isinstance(outcome, Inbound):
                return await _say(ack, surface.of_another_workspace())
            reply = await self._reply(outcome, body)
            if reply.note is None:
                self._answer(outcome, reply, str(body.get("trigger_id") or ""))
                return await self._elsewhere(ack, outcome, reply, str(body.get("channel_id") or ""))
            self._answer(outcome, replace(reply, note=None), str(body.get("trigger_id") or ""))
            return await _say(ack, reply.note)

    async def on_form(self, body: Payload, ack: AsyncAck) -> BoltResponse:
        """Commits the form; what is wrong with it is shown at its fields, and the words stay there."""
        async with self._at_work():
            outcome = await self._translated(interactions.form, body)
            if not isinstance(outcome, Inbound):
                return await _keep_open(ack, body, {"": surface.FORM_OUTDATED})
            try:
                reply = await self._receive(outcome)
            except Closing:
                raise
            except Exception as error:
                log.error("slack.form_not_taken", problem=type(error).__name__)
                return await _keep_open(ack, body, {"": surface.FORM_NOT_KEPT})
            if reply.errors:
                return await _keep_open(ack, body, reply.errors)
            self._answer(outcome, replace(reply, form=None), trigger="")
            if reply.form is None:
                return await ack()
            return await ack(response_action="update", view=self._next_form(reply.form, outcome.place))

    async def on_shortcut(self, body: Payload, ack: AsyncAck) -> BoltResponse:
        """What somebody makes of a message is a form that opens for them alone."""
        return await self._pressed(body, ack, interactions.shortcut)

    async def _pressed(self, body: Payload, ack: AsyncAck, translate: Translate) -> BoltResponse:
        async with self._at_work():
            outcome = await self._translated(translate, body)
            if isinstance(outcome, Inbound):
                reply = await self._reply(outcome, body)
                self._answer(outcome, reply, str(body.get("trigger_id") or ""))
            elif isinstance(outcome, Refused):
                self._tell(body, surface.of_another_workspace())
            return await ack()

    async def on_other(self, ack: AsyncAck) -> BoltResponse:
        """Whatever else Slack sends needs an acknowledgement and nothing more."""
        return await ack()

    async def drain(self) -> None:
        """Takes nothing new in and waits for what is being done, for a while."""
        self._closing = True
        try:
            await asyncio.wait_for(self._idle.wait(), MAX_DRAIN)
            if self._after:
                await asyncio.wait(self._after, timeout=MAX_DRAIN)
        except TimeoutError:
            log.warning("slack.stopped_before_all_was_done")

    async def _elsewhere(self, ack: AsyncAck, asked: Inbound, reply: Reply, channel: str) -> BoltResponse:
        """Somebody gave the command where only people talk to each other: the answer stands in their own messages."""
        own = self._chat.direct_known(asked.place)
        if asked.place.kind == "channel" or reply.form is not None or own is None or own == channel:
            return await ack()
        return await _say(ack, surface.answered_in_private())

    # --- taking in ------------------------------------------------------------------------------------------

    @asynccontextmanager
    async def _at_work(self) -> AsyncIterator[None]:
        if self._closing:
            raise Closing
        self._busy += 1
        self._idle.clear()
        try:
            yield
        finally:
            self._busy -= 1
            if not self._busy:
                self._idle.set()

    async def _receive(self, happening: Inbound) -> Reply:
        """Waits as long as the acknowledgement can."""
        return await asyncio.wait_for(asyncio.shield(self._commit(happening)), MAX_COMMIT)

    def _commit(self, happening: Inbound) -> asyncio.Future[Reply]:
        """A commit under way is not broken off: when it comes late, the repetition finds it done."""
        commit = asyncio.ensure_future(self._intake.receive(happening))
        self._after.add(commit)
        commit.add_done_callback(self._after.discard)
        commit.add_done_callback(_seen)
        return commit

    async def _reply(self, happening: Inbound, body: Payload) -> Reply:
        """A failure is told to the person: nobody sends a press again. Where a form has to be asked together first,
        words open in its place before the press is too old, and the form follows into them."""
        commit = self._commit(happening)
        if interactions.opens_form(body):
            await asyncio.wait({commit}, timeout=LOADING_AFTER)
            if not commit.done() and (view := await self._loading(happening, str(body.get("trigger_id") or ""))):
                self._soon(self._fill(happening, view, commit))
                return Reply()
        return await self._told(commit, MAX_COMMIT)

    async def _told(self, commit: asyncio.Future[Reply], seconds: float) -> Reply:
        try:
            return await asyncio.wait_for(asyncio.shield(commit), seconds)
        except Exception as error:
            log.error("slack.press_not_taken", problem=type(error).__name__)
            return Reply(note=surface.not_kept())

    async def _loading(self, happening: Inbound, trigger: str) -> str | None:
        try:
            return await self._chat.passing.open_words(happening.place.tenant, trigger, surface.loading())
        except ChatError as trouble:  # the form may still be there in time
            log.info("slack.loading_not_shown", problem=str(trouble))
            return None

    async def _fill(self, happening: Inbound, view: str, commit: asyncio.Future[Reply]) -> None:
        reply = await self._told(commit, MAX_LOADING)
        shown = reply.form or reply.note or surface.nothing_to_fill_in()
        try:
            await self._patiently(lambda: self._chat.passing.fill(happening.place, view, shown))
        except (ChatError, Unrenderable) as trouble:
            log.warning("slack.form_not_shown", problem=str(trouble))
            await self._whisper(happening.place, happening.person, surface.not_shown())

    async def _translated(self, translate: Translate, body: Payload) -> Outcome:
        try:
            account = await self._accounts.heard_from(inbound.team_of(body) or "", inbound.enterprise_of(body))
        except Unreachable:
            return Refused("another workspace")
        outcome = translate(body, account.me, self._clock.now())
        self._let_go(outcome)
        return outcome

    def _let_go(self, outcome: Outcome) -> None:
        if isinstance(outcome, Refused):
            log.warning("slack.refused", why=outcome.reason)
        elif isinstance(outcome, Ignored) and outcome.reason.startswith("misshapen"):
            log.warning("slack.ignored", why=outcome.reason)

    def _is_news(self, happening: Inbound) -> bool:
        """A status or a picture changed is no news of a person; only what the rules need is."""
        what = happening.what
        if not isinstance(what, PersonChanged):
            return True
        return self._chat.people.remembered(happening.place.tenant, what.person.id) != what.person

    async def _ended(self, body: Payload) -> bool:
        inner = body.get("event") or {}
        if inner.get("type") not in ENDINGS:
            return False
        if inner["type"] == "app_uninstalled" or (inner.get("tokens") or {}).get("bot"):
            log.warning("slack.access_taken_back")
            await self._accounts.gone(inbound.team_of(body) or "", inbound.enterprise_of(body))
        return True

    async def _with_files(self, happening: Inbound, body: Payload) -> Inbound:
        if not isinstance(happening.what, Said) or not happening.what.files:
            return happening
        account = await self._accounts.of(happening.place.tenant)
        files = await self._downloads.read(account.client.token or "", body["event"]["files"])
        return replace(happening, what=replace(happening.what, files=files))

    # --- answering ------------------------------------------------------------------------------------------

    def _answer(self, happening: Inbound, reply: Reply, trigger: str) -> None:
        if reply.form is not None:
            self._soon(self._open(happening, reply.form, trigger))
        if reply.note is not None:
            self._soon(self._whisper(happening.place, happening.person, reply.note))

    async def _open(self, happening: Inbound, form: Form, trigger: str) -> None:
        """Opens the form within the press's three seconds, whatever is in the way; says so when it cannot."""
        place = happening.place
        opened = False
        try:
            opened = await self._patiently(lambda: self._chat.passing.open_form(place.tenant, trigger, form, place))
        except (ChatError, Unrenderable) as trouble:
            log.warning("slack.form_not_shown", problem=str(trouble))
            await self._whisper(place, happening.person, surface.not_shown())
            return
        if not opened:
            await self._whisper(place, happening.person, surface.form_came_too_late())

    async def _whisper(self, place: Place, person: str, note: Message) -> None:
        await self._patiently(lambda: self._chat.passing.whisper(place, person, note))

    async def _patiently(self, call: Callable[[], Awaitable[Result]]) -> Result:
        """Makes a passing call again while it is surely not done and a moment's wait may help."""
        for _ in range(PATIENCE):
            try:
                return await call()
            except SlowDown as slow:
                if slow.seconds > MAX_PAUSE:
                    raise
                await self._clock.sleep(slow.seconds)
            except NotDelivered:
                await self._clock.sleep(PAUSE)
        return await call()

    def _tell(self, body: Payload, note: Message) -> None:
        """A word to somebody whose press was refused, by the way that the press itself offers."""
        self._soon(self._downloads.respond(str(body.get("response_url") or ""), message_parts(note)[0]))

    def _next_form(self, form: Form, place: Place) -> dict[str, Any]:
        return modal(form, interactions.origin(place))

    def _soon(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.ensure_future(_quietly(work))
        self._after.add(task)
        task.add_done_callback(self._after.discard)


def _seen(commit: asyncio.Task[Reply]) -> None:
    """Asks for the error of a commit that nobody waits for any more, else asyncio would print it with its
    text.
    """
    if not commit.cancelled():
        commit.exception()


async def _quietly(work: Awaitable[None]) -> None:
    try:
        await work
    except (ChatError, Unrenderable) as trouble:
        log.warning("slack.answer_not_shown", problem=str(trouble))


async def _say(ack: AsyncAck, note: Message) -> BoltResponse:
    first, *rest = message_parts(note)
    blocks = [*first.blocks, *(block for part in rest for block in part.blocks)][:50]
    return await ack(text=first.text, blocks=blocks, response_type="ephemeral")


async def _keep_open(ack: AsyncAck, body: Payload, errors: Mapping[str, str]) -> BoltResponse:
    """Errors at their fields; one for no field of this form goes to the first, for Slack refuses unknown
    ones.
    """
    blocks = (body.get("view") or {}).get("blocks") or ()
    names = [str(block["block_id"]) for block in blocks if block.get("type") == "input"]
    if not names:
        return await ack(response_action="clear")
    shown: dict[str, str] = {}
    for name, sentence in errors.items():
        at = name if name in names else names[0]
        shown[at] = f"{shown[at]} {sentence}" if at in shown else sentence
    return await ack(response_action="errors", errors=shown)


FOREIGN = plain(surface.of_another_workspace().summary)
"""What bolt answers where there is no account."""
