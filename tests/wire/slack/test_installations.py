"""Several workspaces from one process: installed through Slack's pages, tokens sealed at rest, ended
cleanly.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import aiohttp
import pytest
from aiohttp import web
from cryptography.fernet import Fernet
from slack_sdk.oauth.installation_store import Installation
from sqlalchemy import Engine, create_engine

from coldframe.chat.slack.accounts import ManyWorkspaces, NotReached, SetupError, open_session, rotator
from coldframe.chat.slack.app import slack_platform
from coldframe.chat.slack.checkup import check_keys
from coldframe.chat.slack.installations import SealedInstallationStore, box, open_installations
from coldframe.config import SettingsError, load
from coldframe.errors import FAILED
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import NotDelivered, Reply, Said, Unreachable
from coldframe.ports.clocks import WrongClock
from coldframe.wiring import slack_options
from tests.wire.slack.people import IN_CHANNEL, Someone
from tests.wire.slack.service import ListIntake, RealClock, make, options
from tests.wire.slack.workspace import APP, BOT, BOT_TOKEN, BOT_USER, Workspace

KEYS = (Fernet.generate_key().decode(), Fernet.generate_key().decode())
CLIENT = {"client_id": "1.2", "client_secret": "client-secret", "token_keys": KEYS}

OAUTH = pytest.mark.filterwarnings("ignore:BasicAuth is deprecated:DeprecationWarning")  # inside the SDK


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Engine]:
    made = create_engine(f"sqlite:///{tmp_path}/installations.db")
    yield made
    made.dispose()


def installation(token: str = BOT_TOKEN, team: str = "T1") -> Installation:
    return Installation(app_id=APP, team_id=team, user_id="U1", bot_token=token, bot_id=BOT, bot_user_id=BOT_USER)


async def stored(store: SealedInstallationStore, engine: Engine) -> str:
    with engine.connect() as connection:
        bots = connection.execute(store.bots.select()).all()
        installations = connection.execute(store.installations.select()).all()
    return repr((bots, installations))


async def test_a_token_is_sealed_at_rest_and_comes_back_whole(engine: Engine) -> None:
    """Who reads the database reads no token, of any length; the store gives it back as it was."""
    store, _ = await open_installations("1.2", engine, KEYS)
    for token in (BOT_TOKEN, "xoxe.xoxb-" + "9" * 300):
        await store.async_save(installation(token))
        assert token not in await stored(store, engine)
        bot = await store.async_find_bot(enterprise_id=None, team_id="T1")
        found = await store.async_find_installation(enterprise_id=None, team_id="T1", user_id="U1")
        assert bot is not None and found is not None
        assert bot.bot_token == found.bot_token == token


async def test_a_new_key_is_put_before_the_old_one(engine: Engine) -> None:
    """After a change of keys old tokens still open; without any of their keys what is to be sent there waits."""
    old, _ = await open_installations("1.2", engine, KEYS[1:])
    await old.async_save(installation())
    both, _ = await open_installations("1.2", engine, KEYS)
    bot = await both.async_find_bot(enterprise_id=None, team_id="T1")
    assert bot is not None and bot.bot_token == BOT_TOKEN
    stranger, _ = await open_installations("1.2", engine, (Fernet.generate_key().decode(),))
    async with open_session() as session:
        accounts = ManyWorkspaces(stranger, "http://127.0.0.1/", session, RealClock())
        with pytest.raises(NotDelivered, match="opens with none of the keys"):
            await accounts.of("T1")


async def test_the_doctor_says_when_an_old_key_may_go(engine: Engine) -> None:
    """Before any installation, with all keys, with the new one alone, and after the workspace installed again."""
    new, old = KEYS

    async def looked(*keys: str) -> tuple[str, str]:
        found = await check_keys(options("http://127.0.0.1:9/api/", **{**CLIENT, "token_keys": keys}), engine)
        assert found.state == "ok" or found.remedy
        return found.state, found.detail

    assert await looked(old) == ("ok", "the newest key opens all of 0 workspaces")
    store, _ = await open_installations("1.2", engine, [old])
    await store.async_save(installation())
    assert await looked(new, old) == ("warning", "1 workspaces still need an older key")
    assert await looked(new) == ("broken", "the tokens of 1 workspaces open with none of the keys")
    store, _ = await open_installations("1.2", engine, [new, old])
    await store.async_save(installation("xoxb-again"))
    assert await looked(new) == ("ok", "the newest key opens all of 1 workspaces")
    assert (await looked())[0] == "broken"


def test_keys_come_from_the_settings_newest_first() -> None:
    """A list with commas; one that is no key is named by its place and never shown, spaces and lines do no harm."""
    settings = load({"COLDFRAME_SLACK_TOKEN_KEYS": f"{KEYS[0]},\n{KEYS[1]} "})
    assert slack_options(settings).token_keys == KEYS
    assert KEYS[0] not in repr(settings)
    with pytest.raises(SettingsError, match=r"key 2 is not 32 bytes") as wrong:
        load({"COLDFRAME_SLACK_TOKEN_KEYS": f"{KEYS[0]},a-passphrase"})
    assert "a-passphrase" not in str(wrong.value)
    assert slack_options(load({"COLDFRAME_SECRET": "a passphrase of some length"})).token_keys == ()


def test_a_key_that_is_none_is_named_without_being_shown() -> None:
    """The setting is named with its right form; its value stays out of the message."""
    with pytest.raises(SetupError, match="COLDFRAME_SLACK_TOKEN_KEYS") as told:
        box(("not-a-key",))
    assert "not-a-key" not in str(told.value)


async def test_a_clock_two_hours_off_is_told_before_any_workspace_installs(
    workspace: Workspace, engine: Engine
) -> None:
    """Where no token is there to ask by, as where one is."""
    workspace._now = lambda: datetime.now(UTC) + timedelta(hours=2)
    made = options(workspace.api_url, bot_token="", **CLIENT)
    with pytest.raises(WrongClock, match=r"(2:00:00|1:59:5\d) behind Slack's\. Set it by a time server") as told:
        async with slack_platform(made, RealClock(), make, engine, in_time=True):
            pass
    assert told.value.status == FAILED
    with pytest.raises(NotReached, match="COLDFRAME_SLACK_API_URL"):
        async with slack_platform(
            options("http://127.0.0.1:9/api/", bot_token="", **CLIENT), RealClock(), make, engine, in_time=True
        ):
            pass
    workspace._now = lambda: datetime.now(UTC) + timedelta(minutes=1)
    async with slack_platform(made, RealClock(), make, engine, in_time=True) as platform:
        assert platform.connected() is False


@OAUTH
async def test_a_workspace_installs_speaks_and_ends(
    workspace: Workspace, people: dict[str, Someone], engine: Engine
) -> None:
    """From the page of installation to the first message and to the removal, without a restart."""

    async def access(request: web.Request) -> web.Response:
        asked = await request.post()
        assert asked["code"] == "good"
        return web.json_response(
            {
                "ok": True,
                "access_token": BOT_TOKEN,
                "bot_user_id": BOT_USER,
                "app_id": APP,
                "scope": "chat:write",
                "team": {"id": "T1", "name": "Harbour Lights"},
                "authed_user": {"id": "U0ANA"},
            }
        )

    workspace.extra["oauth.v2.access"] = access
    intake = ListIntake()
    made = options(workspace.api_url, bot_token="", **CLIENT)
    async with slack_platform(made, RealClock(), make, engine) as platform:
        with pytest.raises(Unreachable):
            await platform.chat.post(IN_CHANNEL, Message(line("Too early.")), key="k0")
        stop = asyncio.Event()
        serving = asyncio.ensure_future(platform.serve(intake, stop, "http"))
        while not platform.address:
            await asyncio.sleep(0.01)
        workspace.delivery.addresses.append(platform.address)
        await _install(platform.address, "bad-state", expected=400)
        await _install(platform.address, None, expected=200)
        people["Ana"].says("hello")
        await workspace.delivery.settled()
        await platform.chat.post(IN_CHANNEL, Message(line("Here I am.")), key="k1")
        workspace.event({"type": "app_uninstalled"})
        await workspace.delivery.settled()
        with pytest.raises(Unreachable):
            await platform.chat.post(IN_CHANNEL, Message(line("Too late.")), key="k2")
        stop.set()
        await serving
    assert [event.what.text for event in intake.all(Said)] == ["hello"]
    assert len(workspace.said(IN_CHANNEL.id)) == 1
    store, _ = await open_installations("1.2", engine, KEYS)
    assert await store.async_find_bot(enterprise_id=None, team_id="T1") is None


async def _install(address: str, state: str | None, expected: int) -> None:
    """Goes through both pages as a browser does; a state that was not given out is refused."""
    async with aiohttp.ClientSession() as browser:
        async with browser.get(f"{address}/slack/install") as page:
            text, cookie = await page.text(), page.headers["Set-Cookie"].split(";")[0]
        (link,) = re.findall(r'href="([^"]*state=[^"]*)"', text)
        given: Any = parse_qs(urlsplit(unescape(link)).query)["state"][0]
        query = {"code": "good", "state": state or given}
        async with browser.get(f"{address}/slack/oauth_redirect", params=query, headers={"Cookie": cookie}) as answer:
            assert answer.status == expected


# --- organisations of several workspaces ---


def of_organisation(team: str | None, token: str = BOT_TOKEN) -> Installation:
    return Installation(
        app_id=APP, enterprise_id="E1", team_id=team, user_id="U1", bot_token=token, bot_id=BOT, bot_user_id=BOT_USER,
        is_enterprise_install=team is None,
    )  # fmt: skip


async def test_a_workspace_of_an_organisation_is_found_without_its_organisation(engine: Engine) -> None:
    """Stored with its enterprise, looked up by the workspace alone, as what is due has nothing else; and taken out."""
    store, _ = await open_installations("1.2", engine, KEYS)
    await store.async_save(of_organisation("T1"))
    async with open_session() as session:
        accounts = ManyWorkspaces(store, "http://127.0.0.1/", session, RealClock())
        account = await accounts.of("T1")
        assert (account.me.team, account.me.enterprise, account.whole) == ("T1", "E1", False)
        await accounts.gone("T1", "E1")
        with pytest.raises(Unreachable):
            await accounts.of("T1")
    assert await stored(store, engine) == "([], [])"


async def test_an_organisation_installs_for_all_its_workspaces(engine: Engine) -> None:
    """A workspace is known from the first that is heard from there, after a restart too; no other organisation's is."""
    store, _ = await open_installations("1.2", engine, KEYS)
    await store.async_save(of_organisation(None))
    async with open_session() as session:
        accounts = ManyWorkspaces(store, "http://127.0.0.1/", session, RealClock())
        with pytest.raises(Unreachable):
            await accounts.of("T7")
        with pytest.raises(Unreachable):
            await accounts.heard_from("T8", "E2")
        heard = await accounts.heard_from("T7", "E1")
        assert (heard.me.team, heard.whole, heard.client.token) == ("T7", True, BOT_TOKEN)
        again = ManyWorkspaces(store, "http://127.0.0.1/", session, RealClock())
        assert (await again.of("T7")).client.token == BOT_TOKEN
        await store.async_save(of_organisation(None, "xoxb-again"))
        assert (
            await ManyWorkspaces(store, "http://127.0.0.1/", session, RealClock()).of("T7")
        ).client.token == "xoxb-again"
        await again.gone("T7", "E1")
        with pytest.raises(Unreachable):
            await ManyWorkspaces(store, "http://127.0.0.1/", session, RealClock()).heard_from("T7", "E1")
    assert await stored(store, engine) == "([], [])"


async def test_what_an_organisation_sends_is_taken_and_answered(
    workspace: Workspace, people: dict[str, Someone], engine: Engine
) -> None:
    """Its payloads name the organisation where others name a workspace; lists of people are asked for by workspace."""
    store, _ = await open_installations("1.2", engine, KEYS)
    await store.async_save(of_organisation(None))
    intake, ana = ListIntake(lambda _: Reply(note=Message(line("Heard.")))), people["Ana"]
    async with slack_platform(
        options(workspace.api_url, bot_token="", **CLIENT), RealClock(), make, engine
    ) as platform:
        stop = asyncio.Event()
        serving = asyncio.ensure_future(platform.serve(intake, stop, "http"))
        while not platform.address:
            await asyncio.sleep(0.01)
        workspace.delivery.addresses.append(platform.address)
        for body in (
            {"type": "block_actions", "team": None, "enterprise": {"id": "E1"}, "is_enterprise_install": True,
             "user": {"id": ana.id, "team_id": "T1"}, "api_app_id": APP, "trigger_id": "t1",
             "container": {"type": "view"}, "response_url": "",
             "actions": [{"type": "button", "action_id": "now.show#0", "value": "", "text": {"text": "Now"}}]},
        ):  # fmt: skip
            assert (await workspace.delivery.interaction("interactive", body)).ok
        assert [event.place.tenant for event in intake.taken.values()] == ["T1"]
        await platform.chat.people._meet("T1", [f"U{n}" for n in range(20)])
        stop.set()
        await serving
    assert [arguments["team_id"] for method, arguments in workspace.calls if method == "users.list"] == ["T1"]


# --- tokens that end ---


class Later(RealClock):
    """So many hours from now."""

    hours = 0.0

    def now(self) -> datetime:
        return super().now() + timedelta(hours=self.hours)


def rotating(hours: float) -> Installation:
    ends = int((datetime.now(UTC) + timedelta(hours=hours)).timestamp())
    made = installation("xoxe.xoxb-first")
    made.bot_refresh_token, made.bot_token_expires_at = "xoxe-1-first", ends
    return made


@OAUTH
async def test_a_token_is_changed_before_it_ends(workspace: Workspace, engine: Engine) -> None:
    """Once, by whoever needs it first, for what is due as well as for what comes in; the new one is stored, sealed."""
    asked: list[str] = []

    async def access(request: web.Request) -> web.Response:
        form = await request.post()
        asked.append(str(form["refresh_token"]))
        fresh = {
            "access_token": f"xoxe.xoxb-{len(asked)}",
            "refresh_token": f"xoxe-1-{len(asked)}",
            "expires_in": 43200,
        }
        return web.json_response({"ok": True, "token_type": "bot", **fresh})

    workspace.extra["oauth.v2.access"] = access
    store, _ = await open_installations("1.2", engine, KEYS)
    await store.async_save(rotating(12))
    clock, made = Later(), options(workspace.api_url, bot_token="", **CLIENT)
    async with open_session() as session:

        def accounts() -> ManyWorkspaces:
            return ManyWorkspaces(store, workspace.api_url, session, clock, rotator(made, session, clock))

        assert (await accounts().of("T1")).client.token == "xoxe.xoxb-first" and asked == []
        clock.hours = 10.5
        several = accounts()
        tokens = {account.client.token for account in await asyncio.gather(*(several.of("T1") for _ in range(5)))}
        assert tokens == {"xoxe.xoxb-1"} and asked == ["xoxe-1-first"]
        assert (await accounts().of("T1")).client.token == "xoxe.xoxb-1", "another process reads what was stored"
        clock.hours = 21.5
        assert (await several.of("T1")).client.token == "xoxe.xoxb-2" and asked[1:] == ["xoxe-1-1"]
    assert "xoxe" not in await stored(store, engine)


@OAUTH
async def test_a_token_that_cannot_be_changed_is_used_as_long_as_it_lasts(workspace: Workspace, engine: Engine) -> None:
    """Then what is to be sent waits, and nothing is given up."""

    async def away(_: web.Request) -> web.Response:
        return web.json_response({"ok": False, "error": "internal_error"})

    workspace.extra["oauth.v2.access"] = away
    store, _ = await open_installations("1.2", engine, KEYS)
    await store.async_save(rotating(1))
    clock, made = Later(), options(workspace.api_url, bot_token="", **CLIENT)
    async with open_session() as session:
        accounts = ManyWorkspaces(store, workspace.api_url, session, clock, rotator(made, session, clock))
        assert (await accounts.of("T1")).client.token == "xoxe.xoxb-first"
        clock.hours = 2
        with pytest.raises(NotDelivered, match="could not be changed"):
            await accounts.of("T1")


async def test_installed_again_the_newest_token_counts_and_no_other_is_kept(engine: Engine) -> None:
    """Within a minute and without a restart; after a removal too."""
    store, _ = await open_installations("1.2", engine, KEYS)
    clock = Later()
    async with open_session() as session:
        accounts = ManyWorkspaces(store, "http://127.0.0.1/", session, clock)
        for number in range(3):
            await store.async_save(installation(f"xoxb-{number}"))
        assert (await accounts.of("T1")).client.token == "xoxb-2"
        await store.async_save(installation("xoxb-3"))
        clock.hours = 0.02
        assert (await accounts.of("T1")).client.token == "xoxb-3"
        with engine.connect() as connection:
            assert len(connection.execute(store.bots.select()).all()) == 1
            assert len(connection.execute(store.installations.select()).all()) == 1
        await accounts.gone("T1")
        await store.async_save(installation("xoxb-4"))
        assert (await accounts.of("T1")).client.token == "xoxb-4"
