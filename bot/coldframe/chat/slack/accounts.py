"""The bot's accounts: one workspace by its token, or every workspace that installed it through OAuth."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping
from copy import copy
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Protocol

import aiohttp
import structlog
from slack_bolt.authorization import AuthorizeResult
from slack_bolt.authorization.async_authorize import AsyncAuthorize
from slack_bolt.context.async_context import AsyncBoltContext
from slack_sdk.errors import SlackApiError, SlackClientError
from slack_sdk.oauth.installation_store import Bot
from slack_sdk.web.async_client import AsyncWebClient
from slack_sdk.web.async_slack_response import AsyncSlackResponse

from coldframe.chat.slack.calls import SCOPES_HEADER, Account, Accounts, scopes_in
from coldframe.chat.slack.inbound import Me
from coldframe.chat.slack.manifest import SCOPES
from coldframe.errors import FAILED, WRONG, ColdframeError
from coldframe.ports.chat import ChatError, Clock, NotDelivered, Unreachable
from coldframe.ports.clocks import require_in_time

if TYPE_CHECKING:
    from coldframe.chat.slack.installations import SealedInstallationStore

SLACK_API = "https://slack.com/api/"
SLACKS = "Slack's"
MAX_CALL = 10
"""Seconds for one call of the Web API; the sender's lease on a message is longer than three of them."""
ACCOUNT_FRESH = timedelta(minutes=1)
ROTATE_BEFORE = timedelta(hours=2)
"""Of the twelve hours that a token lasts where a workspace has it changed."""

MAKE_A_KEY = "Make a key with: python3 -c 'import base64, os; print(base64.urlsafe_b64encode(os.urandom(32)).decode())'"

log = structlog.get_logger()
sdk_log = logging.getLogger("slack_sdk")


class SetupError(ColdframeError, ValueError):
    """The platform cannot start; the message says what is wrong and what to do."""

    status = WRONG


class NotReached(SetupError):
    """Slack does not answer."""

    status = FAILED


@dataclass(frozen=True, slots=True)
class Options:
    """How to reach Slack. `client_id` and `client_secret` turn on installation by several workspaces."""

    bot_token: str = field(default="", repr=False)
    app_token: str = field(default="", repr=False)
    signing_secret: str = field(default="", repr=False)
    api_url: str = SLACK_API
    client_id: str = ""
    client_secret: str = field(default="", repr=False)
    token_keys: tuple[str, ...] = field(default=(), repr=False)
    host: str = "127.0.0.1"
    port: int = 3000
    ping_interval: float = 10.0
    authorize_url: str | None = None
    upload_hosts: tuple[str, ...] = ()

    @property
    def many(self) -> bool:
        """True when workspaces install the bot by themselves."""
        return bool(self.client_id)


def quiet_logs() -> None:
    """At DEBUG the SDK prints whole payloads and posts, private notes among them; so neither ever goes
    there.
    """
    for name in ("slack_bolt", "slack_sdk"):
        logger = logging.getLogger(name)
        logger.setLevel(max(logging.INFO, logger.getEffectiveLevel()))


def open_session() -> aiohttp.ClientSession:
    """The connections of one process to Slack, shared by all calls; the caller closes it."""
    return aiohttp.ClientSession(timeout=aiohttp.ClientTimeout(total=MAX_CALL, sock_connect=5))


def client(token: str | None, api_url: str, session: aiohttp.ClientSession) -> AsyncWebClient:
    """A client that never repeats a call by itself: a repeated post could be a second post."""
    made = AsyncWebClient(
        token=token, base_url=api_url, timeout=MAX_CALL, session=session, retry_handlers=[], logger=sdk_log
    )
    if made.retry_handlers:
        raise AssertionError("the SDK's own repeats must be off")
    return made


class OneWorkspace:
    """The workspace that a bot token belongs to."""

    def __init__(self, account: Account) -> None:
        self.account = account
        self._gone = False

    async def of(self, tenant: str) -> Account:
        if tenant != self.account.me.team or self._gone:
            raise Unreachable("the bot is not installed in this workspace")
        return self.account

    async def heard_from(self, tenant: str, enterprise: str | None) -> Account:
        return await self.of(tenant)

    async def gone(self, tenant: str, enterprise: str | None = None) -> None:
        """The workspace threw the bot out or took its token back."""
        self._gone = self._gone or tenant == self.account.me.team


class ManyWorkspaces:
    """Workspaces with an installation in the store, their own or their organisation's; looked up afresh every minute.
    A token that is about to end is changed for another one before it is used."""

    def __init__(
        self,
        store: SealedInstallationStore,
        api_url: str,
        session: aiohttp.ClientSession,
        clock: Clock,
        rotator: Rotator | None = None,
    ) -> None:
        self._store = store
        self._api_url = api_url
        self._session = session
        self._clock = clock
        self._rotator = rotator
        self._rotating = asyncio.Lock()
        self._known: dict[str, tuple[Account, datetime]] = {}

    async def of(self, tenant: str) -> Account:
        known = self._known.get(tenant)
        if known and known[1] > self._clock.now():
            return known[0]
        bot = await self._store.bot_of(tenant)
        if bot is None:
            raise Unreachable("the bot is not installed in this workspace")
        return await self._account(tenant, bot)

    async def heard_from(self, tenant: str, enterprise: str | None) -> Account:
        """Whom a payload comes from; of a workspace that is new here its organisation may have installed the bot."""
        try:
            return await self.of(tenant)
        except Unreachable:
            bot = await self._store.heard_from(tenant, enterprise) if enterprise and tenant else None
            if bot is None:
                raise
            return await self._account(tenant, bot)

    async def _account(self, tenant: str, bot: Bot) -> Account:
        bot = await self._fresh(tenant, bot)
        me = Me(tenant, str(bot.bot_user_id), bot.bot_id, bot.app_id, bot.enterprise_id)
        whole = bool(bot.is_enterprise_install)
        account = Account(me, client(bot.bot_token, self._api_url, self._session), whole)
        self._known[tenant] = (account, self._clock.now() + ACCOUNT_FRESH)
        return account

    async def _fresh(self, tenant: str, bot: Bot) -> Bot:
        """The bot with a token that lasts. A refresh token is used up by whoever comes first: who comes second reads
        what the first has stored. Raises NotDelivered while only an ended token is there."""
        if self._rotator is None or not self._ends_within(bot, ROTATE_BEFORE):
            return bot
        async with self._rotating:
            bot = await self._store.bot_of(tenant) or bot
            if not self._ends_within(bot, ROTATE_BEFORE):
                return bot
            try:
                fresh = await self._rotator(bot)
            except ChatError as trouble:
                log.warning("slack.token_not_changed", problem=str(trouble))
                bot = await self._store.bot_of(tenant) or bot
                if self._ends_within(bot, timedelta()):
                    raise
                return bot
            stored = copy(fresh)
            stored.team_id = None if bot.is_enterprise_install else bot.team_id
            await self._store.async_save_bot(stored)
            return fresh

    def _ends_within(self, bot: Bot, span: timedelta) -> bool:
        ends = bot.bot_token_expires_at
        return ends is not None and ends <= (self._clock.now() + span).timestamp()

    async def gone(self, tenant: str, enterprise: str | None = None) -> None:
        """A workspace took the bot out; where it was its organisation's, all its workspaces are without it."""
        known = self._known.get(tenant)
        whole = enterprise is not None and (known is None or known[0].whole)
        self._known = {
            t: k for t, k in self._known.items() if t != tenant and not (whole and k[0].me.enterprise == enterprise)
        }
        await self._store.ended(tenant, None)
        if whole:
            await self._store.ended(None, enterprise)


class Holder(Accounts, Protocol):
    """Accounts that can end."""

    async def heard_from(self, tenant: str, enterprise: str | None) -> Account:
        """Raises Unreachable, as `of` does."""
        ...

    async def gone(self, tenant: str, enterprise: str | None = None) -> None: ...


Rotator = Callable[[Bot], Awaitable[Bot]]


def rotator(options: Options, session: aiohttp.ClientSession, clock: Clock) -> Rotator:
    """Changes a bot's token by its refresh token. Raises ChatError."""

    async def rotated(bot: Bot) -> Bot:
        made = client(None, options.api_url, session)
        try:
            answer = await made.oauth_v2_access(
                client_id=options.client_id,
                client_secret=options.client_secret,
                grant_type="refresh_token",
                refresh_token=bot.bot_refresh_token,
            )
        except (SlackClientError, aiohttp.ClientError, TimeoutError, OSError) as error:
            raise NotDelivered(f"the token could not be changed ({type(error).__name__})") from None
        fresh = copy(bot)
        fresh.bot_token = str(answer["access_token"])
        fresh.bot_refresh_token = answer.get("refresh_token")
        fresh.bot_token_expires_at = int(clock.now().timestamp()) + int(answer["expires_in"])
        return fresh

    return rotated


class Authorize(AsyncAuthorize):
    """Bolt's question whose payload this is, answered without a call: foreign workspaces have no account."""

    def __init__(self, accounts: Holder) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._accounts = accounts

    async def __call__(
        self,
        *,
        context: AsyncBoltContext,
        enterprise_id: str | None,
        team_id: str | None,
        user_id: str | None,
        **_: Any,
    ) -> AuthorizeResult | None:
        try:
            account = await self._accounts.heard_from(team_id or "", enterprise_id)
        except ChatError:
            return None
        return AuthorizeResult(
            enterprise_id=enterprise_id,
            team_id=account.me.team,
            bot_user_id=account.me.bot_user,
            bot_id=account.me.bot,
            bot_token=account.client.token,
            user_id=user_id,
        )


async def sign_in(options: Options, session: aiohttp.ClientSession, clock: Clock | None = None) -> OneWorkspace:
    """The account behind the bot token. Raises SetupError with what to do when Slack does not know the
    token, and WrongClock when the clock is not Slack's.
    """
    if not options.bot_token.startswith("xoxb-"):
        raise SetupError(
            "COLDFRAME_SLACK_BOT_TOKEN must be the bot token, which begins with xoxb-; doctor says where it is"
        )
    made = client(options.bot_token, options.api_url, session)
    answer = await asked(made, "auth.test")
    _require_scopes(answer.headers)
    if clock is not None:
        require_in_time(told_date(answer.headers), clock.now(), SLACKS)
    app = options.app_token.split("-")[2] if options.app_token.count("-") >= 3 else None
    me = Me(
        team=str(answer["team_id"]),
        bot_user=str(answer["user_id"]),
        bot=answer.get("bot_id"),
        app=app or await _app_of(made, answer.get("bot_id")),
        enterprise=answer.get("enterprise_id"),
    )
    return OneWorkspace(Account(me, made))


def _require_scopes(headers: Mapping[str, str]) -> None:
    """A bot without a scope would start and fail at some step of a round. Raises SetupError."""
    missing = sorted(SCOPES.keys() - (granted(headers) or SCOPES.keys()))
    if missing:
        raise SetupError(
            f"the app may not do all that the bot needs; these scopes are missing: {', '.join(missing)}. "
            "Apply the newest manifest (coldframe slack-manifest) and install the app again"
        )


async def require_slacks_time(options: Options, session: aiohttp.ClientSession, clock: Clock) -> None:
    """The same of the clock where there is no token yet that Slack could know. Raises NotReached, WrongClock."""
    answer = await asked(client(None, options.api_url, session), "api.test")
    require_in_time(told_date(answer.headers), clock.now(), SLACKS)


def told_date(headers: Mapping[str, str]) -> str | None:
    """The time that Slack tells beside an answer."""
    return _told(headers, "date")


def granted(headers: Mapping[str, str]) -> set[str] | None:
    """The scopes that Slack tells beside an answer; None when it tells none."""
    return scopes_in(_told(headers, SCOPES_HEADER))


def _told(headers: Mapping[str, str], name: str) -> str | None:
    """However Slack writes its name."""
    return next((value for each, value in headers.items() if each.lower() == name.lower()), None)


async def asked(made: AsyncWebClient, method: str, **arguments: Any) -> AsyncSlackResponse:
    """A call at start, with its failure in words."""
    try:
        answer: AsyncSlackResponse = await getattr(made, method.replace(".", "_"))(**arguments)
    except SlackApiError as error:
        data = getattr(error.response, "data", None)
        code = data.get("error") if isinstance(data, dict) else "no readable answer"
        raise SetupError(f"Slack answered {method} with {code}; coldframe doctor says what to do") from None
    except (SlackClientError, aiohttp.ClientError, TimeoutError, OSError) as error:
        raise NotReached(
            f"Slack could not be reached at {made.base_url} ({type(error).__name__}); check the network, and "
            "COLDFRAME_SLACK_API_URL if it is set"
        ) from None
    return answer


async def _app_of(made: AsyncWebClient, bot: str | None) -> str | None:
    """The app's id, so that another app's presses are refused; without it the signature alone has to do."""
    try:
        answer = await made.bots_info(bot=bot)
        return str(answer["bot"]["app_id"])
    except (SlackClientError, aiohttp.ClientError, NotDelivered, TimeoutError, OSError, KeyError, TypeError):
        return None
