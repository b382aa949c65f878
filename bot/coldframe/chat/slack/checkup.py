"""Whether Slack would work from here: tokens, scopes, the socket, the clock; for each failure what to do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import aiohttp
from slack_sdk.errors import SlackApiError, SlackClientError
from slack_sdk.web.async_client import AsyncWebClient

from coldframe.chat.slack.accounts import (
    MAKE_A_KEY,
    SLACKS,
    Options,
    SetupError,
    client,
    granted,
    open_session,
    told_date,
)
from coldframe.chat.slack.calls import TOO_FAST
from coldframe.chat.slack.manifest import EVENTS, OPTIONAL_SCOPES, SCOPES
from coldframe.ports.chat import Clock
from coldframe.ports.clocks import judged

if TYPE_CHECKING:
    from sqlalchemy import Engine
    from sqlalchemy.ext.asyncio import AsyncEngine


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at. `remedy` says what to do when it is not well."""

    name: str
    state: str  # "ok", "warning", "broken", or "unknown": it cannot be told from here
    detail: str
    remedy: str = ""


NO_ANSWER = "no answer"
REACH = "Check the address in COLDFRAME_SLACK_API_URL and whether this machine may reach it."


async def check_slack(options: Options, clock: Clock, mode: str = "socket") -> tuple[Finding, ...]:
    """Looks at everything that Slack itself can tell, and tries what nobody sees. Never raises; shows no secret."""
    async with open_session() as session:
        bot = client(options.bot_token, options.api_url, session)
        findings, answer = await _token(options, bot)
        if answer is not None:
            findings += [*_scopes(answer.headers), _events(answer.headers), _clock(answer.headers, clock)]
            findings += await _tried(bot, str(answer["user_id"]))
        elif options.many:
            findings.append(await _clock_alone(bot, clock))
        findings.append(await _socket(options, bot) if mode == "socket" else _secret(options))
        return tuple(findings)


# --- what is tried; nobody sees anything of it
MAX_NAMED = 5  # channels


async def _tried(bot: AsyncWebClient, me: str) -> list[Finding]:
    """A call of each kind that the scopes alone do not answer for: policies of a workspace are told by nothing else."""
    return [
        await _try(bot, "people", "users_info", "their names and zones can be read", user=me),
        await _try(
            bot, "files", "files_getUploadURLExternal", "they can be shared; without, all comes as text",
            filename="doctor.txt", length=1,
        ),
        await _channels(bot),
    ]  # fmt: skip


async def _try(bot: AsyncWebClient, name: str, call: str, well: str, **arguments: Any) -> Finding:
    answer, trouble = await _asked(bot, call, **arguments)
    return Finding(name, "ok", well) if answer is not None else _not_answered(name, trouble)


def _not_answered(name: str, trouble: str) -> Finding:
    if trouble.startswith(NO_ANSWER) or trouble in TOO_FAST:
        return Finding(name, "unknown", f"could not be tried: {trouble}", "Ask the doctor again in a minute.")
    remedy = "If it is a scope, apply the newest manifest and install again; else an admin of the workspace knows."
    return Finding(name, "broken", f"Slack says: {trouble}", remedy)


async def _channels(bot: AsyncWebClient) -> Finding:
    """Where a round could begin."""
    kinds = "public_channel,private_channel"
    answer, trouble = await _asked(bot, "users_conversations", types=kinds, exclude_archived=True, limit=200)
    if answer is None:
        return _not_answered("channels", trouble)
    names = [str(each.get("name") or each.get("id")) for each in answer.get("channels") or ()]
    if not names:
        return Finding("channels", "warning", "in none yet", "In the team's channel, type: /invite @coldframe")
    more = f" and {len(names) - MAX_NAMED} more" if len(names) > MAX_NAMED else ""
    return Finding("channels", "ok", f"in {', '.join(names[:MAX_NAMED])}{more}")


async def check_keys(options: Options, engine: Engine | AsyncEngine) -> Finding:
    """Whether the tokens of the installed workspaces can be opened. Never raises; reads only."""
    # heavy: SQLAlchemy, which one workspace by its token goes without
    from sqlalchemy.exc import SQLAlchemyError

    from coldframe.chat.slack.installations import look_at_seals

    name, variable = "token keys", "COLDFRAME_SLACK_TOKEN_KEYS"
    if not options.token_keys:
        return Finding(name, "broken", f"{variable} is missing", MAKE_A_KEY)
    try:
        sealed = await look_at_seals(engine, options.token_keys)
    except (SetupError, SQLAlchemyError, OSError) as problem:
        remedy = f"{variable} holds keys of 32 random bytes, and the database has to answer. {MAKE_A_KEY}"
        return Finding(name, "broken", f"cannot be tried ({type(problem).__name__})", remedy)
    if sealed.lost:
        remedy = f"Put the key that sealed them back at the end of {variable}, or let these workspaces install again."
        return Finding(name, "broken", f"the tokens of {sealed.lost} workspaces open with none of the keys", remedy)
    if sealed.by_older_keys:
        remedy = "Keep the older keys until these workspaces have installed again."
        return Finding(name, "warning", f"{sealed.by_older_keys} workspaces still need an older key", remedy)
    return Finding(name, "ok", f"the newest key opens all of {sealed.workspaces} workspaces")


async def _token(options: Options, bot: AsyncWebClient) -> tuple[list[Finding], Any]:
    name, variable = "bot token", "COLDFRAME_SLACK_BOT_TOKEN"
    if options.many:
        return [Finding(name, "ok", "each workspace brings its own when it installs the bot")], None
    if not options.bot_token.startswith("xoxb-"):
        what = "is missing" if not options.bot_token else "does not begin with xoxb-"
        remedy = "Install the app to the workspace, copy the bot user's token from its page and set it."
        return [Finding(name, "broken", f"{variable} {what}", remedy)], None
    answer, trouble = await _asked(bot, "auth_test")
    if answer is None and trouble.startswith(NO_ANSWER):
        away = Finding("Slack", "broken", f"{trouble} at {options.api_url}", REACH)
        return [away, Finding(name, "unknown", "could not be tried while Slack does not answer")], None
    if answer is None:
        remedy = f"Copy the token again and set {variable}; a token that was taken back needs a new installation."
        return [Finding(name, "broken", f"Slack says: {trouble}", remedy)], None
    return [Finding(name, "ok", f"workspace {answer['team_id']}, bot {answer['user_id']}")], answer


async def _asked(bot: AsyncWebClient, call: str, **arguments: Any) -> tuple[Any, str]:
    """The answer, or None with the reason."""
    try:
        return await getattr(bot, call)(**arguments), ""
    except SlackApiError as error:
        data = getattr(error.response, "data", None)
        return None, str(data.get("error")) if isinstance(data, dict) else "an answer that cannot be read"
    except (SlackClientError, aiohttp.ClientError, TimeoutError, OSError, ValueError) as error:
        return None, f"{NO_ANSWER} ({type(error).__name__})"


def _scopes(headers: Mapping[str, str]) -> list[Finding]:
    given = granted(headers)
    if given is None:
        return [Finding("scopes", "unknown", "Slack did not say which scopes the token has")]
    missing, optional = sorted(SCOPES.keys() - given), sorted(OPTIONAL_SCOPES.keys() - given)
    findings = [Finding("scopes", "ok", f"{len(SCOPES)} of {len(SCOPES)}")]
    if missing:
        reasons = "; ".join(f"{scope} (to {SCOPES[scope]})" for scope in missing)
        remedy = "Apply the newest manifest (coldframe slack-manifest) to the app, then install it again."
        findings = [Finding("scopes", "broken", f"missing: {reasons}", remedy)]
    if optional:
        reasons = "; ".join(f"{scope} (to {OPTIONAL_SCOPES[scope]})" for scope in optional)
        remedy = "Nothing has to be done; add them and install again if that is wanted."
        findings.append(Finding("optional scopes", "warning", f"not given: {reasons}", remedy))
    return findings


def _events(headers: Mapping[str, str]) -> Finding:
    """Slack does not tell which events are subscribed to, only scopes tell which of them can come."""
    given = granted(headers)
    if given is None:
        return Finding("events", "unknown", "Slack did not say which scopes the token has")
    silent = sorted(event for event, scope in EVENTS.items() if scope and scope not in given)
    if silent:
        remedy = "These events cannot come without their scopes: apply the newest manifest and install again."
        return Finding("events", "broken", f"cannot come: {', '.join(silent)}", remedy)
    return Finding("events", "ok", f"all {len(EVENTS)} can come, if the manifest is the newest (slack-manifest)")


def _clock(headers: Mapping[str, str], clock: Clock) -> Finding:
    refused = "; from 300 s on every signed request is refused"
    return Finding("clock", *judged(told_date(headers), clock.now(), SLACKS, refused))


async def _clock_alone(bot: AsyncWebClient, clock: Clock) -> Finding:
    """Where each workspace brings its token, by a call that needs none."""
    answer, trouble = await _asked(bot, "api_test")
    if answer is None:
        return Finding("clock", "unknown", f"could not be compared: {trouble}", REACH)
    return _clock(answer.headers, clock)


async def _socket(options: Options, bot: AsyncWebClient) -> Finding:
    name, variable = "app token", "COLDFRAME_SLACK_APP_TOKEN"
    make = f"On the app's page of basics, make an app-level token with connections:write and set {variable}."
    if not options.app_token.startswith("xapp-"):
        what = "is missing" if not options.app_token else "does not begin with xapp-"
        return Finding(name, "broken", f"{variable} {what}", make)
    answer, trouble = await _asked(bot, "apps_connections_open", app_token=options.app_token)
    if answer is not None:
        return Finding(name, "ok", "a socket may be opened")
    if trouble.startswith(NO_ANSWER):
        return Finding(name, "unknown", f"could not be tried: {trouble}", REACH)
    return Finding(name, "broken", f"Slack says: {trouble}", f"{make} Socket Mode must be on in the app's settings.")


def _secret(options: Options) -> Finding:
    name, variable = "signing secret", "COLDFRAME_SLACK_SIGNING_SECRET"
    if len(options.signing_secret.strip()) < 20:
        remedy = f"Copy the signing secret from the app's page of basics and set {variable}."
        return Finding(name, "broken", f"{variable} is missing or too short to be one", remedy)
    wrong = "If Slack's requests are refused once the bot runs, copy it again: the log says slack.request_refused."
    return Finding(name, "unknown", "set; whether it is the right one shows with Slack's first request", wrong)
