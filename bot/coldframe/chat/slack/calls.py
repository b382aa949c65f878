"""One call of the Web API: in its turn, once, and with its outcome told apart into done, not done and
unknown.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import aiohttp
from slack_sdk.errors import SlackApiError, SlackClientError
from slack_sdk.web.async_client import AsyncWebClient

from coldframe.chat.slack.denials import denial_of
from coldframe.chat.slack.inbound import Me
from coldframe.chat.slack.pace import MAX_WAIT, Pace
from coldframe.ports.chat import ChatError, Clock, NotDelivered, OutcomeUnknown, SlowDown, Unreachable

TOO_FAST = frozenset({"ratelimited", "rate_limited", "message_limit_exceeded"})
UNSURE = frozenset({"fatal_error", "internal_error", "service_unavailable", "request_timeout", "team_added_to_org"})
SCOPES_HEADER = "X-OAuth-Scopes"
PATIENCE = 2  # times
"""So often a read is made again at once: somebody may be waiting for a form, and a read asks for nothing."""

PAUSE_UNNAMED = 30.0
"""Seconds to wait when Slack says "too fast" without saying for how long."""

READS = frozenset(
    {
        "conversations.history",
        "conversations.replies",
        "conversations.members",
        "conversations.info",
        "conversations.open",
        "users.info",
        "users.list",
        "reactions.get",
        "chat.getPermalink",
        "files.getUploadURLExternal",
    }
)
"""Calls that change nothing that anybody sees, so that a lost answer is no question: they are made again."""


OF_A_TEAM = frozenset({"users.list", "users.conversations"})


@dataclass(frozen=True, slots=True)
class Account:
    """The bot in one workspace."""

    me: Me
    client: AsyncWebClient
    whole: bool = False
    """Installed by an organisation for all its workspaces: some calls have to be told which of them is meant."""


class Accounts(Protocol):
    """The workspaces that the bot is installed in."""

    async def of(self, tenant: str) -> Account:
        """Raises Unreachable where it is not, or no longer, installed."""
        ...


class Refusal(Unreachable):
    """Slack said no; `code` is its own word for why."""

    def __init__(self, method: str, code: str, channel: str = "") -> None:
        super().__init__(f"{method}: {code}", denial_of(method, code, channel))
        self.code = code


class Calls:
    """Makes calls; knows no message and no round."""

    def __init__(self, accounts: Accounts, clock: Clock) -> None:
        self.accounts = accounts
        self._pace = Pace(clock)
        self._scopes: dict[str, str] = {}

    def granted(self, tenant: str) -> set[str] | None:
        """The scopes that Slack named beside its last answer; None where it named none."""
        return scopes_in(self._scopes.get(tenant))

    async def __call__(self, tenant: str, method: str, *, lane: str = "", **arguments: Any) -> Mapping[str, Any]:
        """The answer's body. `lane` is the channel, for methods whose pace is per channel.

        Raises a ChatError; a plain refusal is a `Refusal` with Slack's code.
        """
        for _ in range(PATIENCE if method in READS else 0):
            try:
                return await self._once(tenant, method, lane, arguments)
            except SlowDown as slow:  # the next turn waits for as long as Slack asked
                if slow.seconds > MAX_WAIT:
                    raise
        return await self._once(tenant, method, lane, arguments)

    async def _once(self, tenant: str, method: str, lane: str, arguments: Mapping[str, Any]) -> Mapping[str, Any]:
        account = await self.accounts.of(tenant)
        if account.whole and method in OF_A_TEAM:
            arguments = {**arguments, "team_id": tenant}
        await self._pace.turn(tenant, method, lane)
        try:
            answer = await getattr(account.client, method.replace(".", "_"))(**arguments)
        except (SlackClientError, aiohttp.ClientError, TimeoutError, OSError) as error:
            channel = str(arguments.get("channel") or arguments.get("channel_id") or "")
            raise self._told(error, tenant, method, lane, channel) from None  # the original may quote what was sent
        self._note_scopes(tenant, answer.headers)
        data = answer.data
        return data if isinstance(data, dict) else {}

    def _note_scopes(self, tenant: str, headers: Mapping[str, str]) -> None:
        named = headers.get(SCOPES_HEADER)
        if named is not None:
            self._scopes[tenant] = named

    def _told(self, error: Exception, tenant: str, method: str, lane: str, channel: str) -> ChatError:
        trouble = outcome(error, method, channel)
        if isinstance(trouble, SlowDown):
            self._pace.hold(tenant, method, lane, trouble.seconds)
        return trouble


def scopes_in(named: str | None) -> set[str] | None:
    """Scopes as Slack lists them in a header."""
    return None if named is None else {scope.strip() for scope in named.split(",") if scope.strip()}


def outcome(error: Exception, method: str, channel: str = "") -> ChatError:
    """What a failed call means: for sure not done, or not known; never the text of what was sent."""
    if isinstance(error, SlackApiError):
        return _answered(error, method, channel)
    if isinstance(error, aiohttp.ClientConnectorError | aiohttp.ConnectionTimeoutError | aiohttp.InvalidURL):
        return NotDelivered(f"{method}: no connection ({type(error).__name__})")
    return _unsure(method, type(error).__name__)


def _unsure(method: str, why: str) -> ChatError:
    kind = NotDelivered if method in READS else OutcomeUnknown
    return kind(f"{method}: no answer ({why})")


def _answered(error: SlackApiError, method: str, channel: str) -> ChatError:
    response: Any = error.response
    status = int(getattr(response, "status_code", 0) or getattr(response, "status", 0))
    data = getattr(response, "data", None)
    code = str(data.get("error") or "") if isinstance(data, dict) else ""
    if status == 429 or code in TOO_FAST:
        return SlowDown(_pause(getattr(response, "headers", None) or {}))
    if status >= 500 or not code or code in UNSURE:
        return _unsure(method, code or f"status {status}")
    return Refusal(method, code, channel)


def _pause(headers: Mapping[str, str]) -> float:
    for name, value in headers.items():
        if name.lower() == "retry-after" and str(value).strip().isascii() and str(value).strip().isdigit():
            return min(max(float(value), 1.0), 3600.0)
    return PAUSE_UNNAMED
