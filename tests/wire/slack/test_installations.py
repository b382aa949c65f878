"""Several workspaces from one process: installed through Slack's pages, tokens sealed at rest, ended
cleanly.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterator
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

from coldframe.chat.slack.accounts import ManyWorkspaces, SetupError, open_session
from coldframe.chat.slack.app import slack_platform
from coldframe.chat.slack.checkup import check_keys
from coldframe.chat.slack.installations import SealedInstallationStore, box, open_installations
from coldframe.config import SettingsError, load
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import NotDelivered, Said, Unreachable
from coldframe.wiring import slack_options
from tests.wire.slack.people import IN_CHANNEL, Someone
from tests.wire.slack.service import ListIntake, RealClock, make, options
from tests.wire.slack.workspace import APP, BOT, BOT_TOKEN, BOT_USER, Workspace

KEYS = (Fernet.generate_key().decode(), Fernet.generate_key().decode())
CLIENT = {"client_id": "1.2", "client_secret": "client-secret", "token_keys": KEYS}


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


@pytest.mark.filterwarnings("ignore:BasicAuth is deprecated:DeprecationWarning")  # inside the SDK
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
