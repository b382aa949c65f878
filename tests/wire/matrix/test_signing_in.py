"""Each way to sign in, at a real homeserver; single sign-on by way of a service that vouches for whoever comes."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.cookiejar import CookieJar
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.parse import parse_qs, quote, urlsplit
from urllib.request import HTTPCookieProcessor, HTTPRedirectHandler, build_opener

import pytest

from coldframe.chat.matrix.app import matrix_platform
from coldframe.chat.matrix.checkup import check_matrix
from coldframe.chat.matrix.login import Options, SetupError
from coldframe.clock import SystemClock
from coldframe.store.sealing import Seal
from tests.chat.room.conftest import copy_out
from tests.wire.matrix.bench import SECRET
from tests.wire.matrix.homeserver import PASSWORD, Homeserver, needs_synapse, started, the_server

pytestmark = [needs_synapse, pytest.mark.matrix, pytest.mark.slow, pytest.mark.timeout(900)]
HERE = "http://localhost/"
"""Where deploy/MATRIX.md has the browser sent in the end."""


def platform(folder: Path, options: Options) -> Any:
    return matrix_platform(options, folder / "matrix", Seal(SECRET), SECRET, SystemClock(), copy_out)


async def signed_in_as(folder: Path, options: Options) -> tuple[str, str, bool]:
    """Account, device, and whether the device is vouched for by the account's own keys."""
    async with platform(folder, options) as there:
        login = there.chat.kept.get("login")
        return login["user"], login["device"], there.verified


async def test_by_password_once_and_by_the_device_that_is_kept_from_then_on(tmp_path: Path) -> None:
    server = the_server()
    bot = server.register("by-password").user
    first = await signed_in_as(tmp_path, Options(server.url, bot, PASSWORD))
    assert first[0] == bot and first[2]
    assert await signed_in_as(tmp_path, Options(server.url, bot)) == first


async def test_nothing_that_lets_anybody_in_or_read_stands_open_in_its_files(tmp_path: Path) -> None:
    """Neither token nor signing keys, nor what the encryption's library keeps."""
    server = the_server()
    async with platform(tmp_path, Options(server.url, server.register("sealed").user, PASSWORD)) as there:
        kept, olm = there.chat.kept, there.chat.crypt._client.olm
        secrets = [kept.get("login")["token"], *kept.get("signing").values(), *olm.account.one_time_keys.values()]
    held = b"".join(file.read_bytes() for file in (tmp_path / "matrix").rglob("*") if file.is_file())
    assert len(held) > 10_000 and len(secrets) > 3
    assert [word for word in secrets if str(word).encode() in held] == []
    assert (tmp_path / "matrix" / "keys").stat().st_mode & 0o077 == 0


async def test_by_the_token_of_a_device(tmp_path: Path) -> None:
    server = the_server()
    bot = server.register("by-token")
    assert await signed_in_as(tmp_path, Options(server.url, token=bot.token)) == (bot.user, bot.device, True)


async def test_by_single_sign_on(tmp_path: Path) -> None:
    """The steps of deploy/MATRIX.md; the token is taken once, and the device kept."""
    with vouching_for("single") as service:
        server = started(cas_config={"enabled": True, "server_url": service}, sso={"client_whitelist": [HERE]})
        try:
            token = signed_on(server)
            options = Options(server.url, login_token=token)
            (account,) = [f for f in await check_matrix(options, SystemClock()) if f.name == "account"]
            assert account.state == "ok"
            first = await signed_in_as(tmp_path, options)
            assert first[0] == f"@single:{server.name}" and first[2]
            assert await signed_in_as(tmp_path, Options(server.url)) == first
            with pytest.raises(SetupError, match="does not let the bot in"):
                await signed_in_as(tmp_path / "again", options)
        finally:
            server.stop()


async def test_a_wrong_password_and_a_token_that_is_over_say_so(tmp_path: Path) -> None:
    server = the_server()
    bot = server.register("refused")
    with pytest.raises(SetupError, match=r"does not let the bot in \(M_FORBIDDEN\); it takes: .*m\.login\.password"):
        await signed_in_as(tmp_path / "one", Options(server.url, bot.user, "another"))
    server.call("POST", "/_matrix/client/v3/logout", {}, bot.token)
    with pytest.raises(SetupError, match="COLDFRAME_MATRIX_TOKEN is not taken any more"):
        await signed_in_as(tmp_path / "two", Options(server.url, token=bot.token))
    with pytest.raises(SetupError, match="no Matrix server answers at"):
        await signed_in_as(tmp_path / "three", Options("http://127.0.0.1:1", bot.user, PASSWORD))


async def test_whoever_was_signed_out_comes_back_as_another_device_that_is_vouched_for(tmp_path: Path) -> None:
    """By the same keys, so that nobody has to verify the bot again."""
    server = the_server()
    bot = server.register("signed-out").user
    options = Options(server.url, bot, PASSWORD)
    async with platform(tmp_path, options) as there:
        fingerprint, login = there.fingerprint, there.chat.kept.get("login")
    server.call("POST", "/_matrix/client/v3/logout", {}, login["token"])
    async with platform(tmp_path, options) as again:
        assert again.verified and again.fingerprint == fingerprint
        assert again.chat.kept.get("login")["device"] != login["device"]


async def test_keys_of_somebody_elses_making_are_replaced_by_the_password_alone(tmp_path: Path) -> None:
    """Without it the bot runs all the same, and is not vouched for."""
    server = the_server()
    bot = server.register("two-minds")
    assert (await signed_in_as(tmp_path / "before", Options(server.url, token=bot.token)))[2]
    other = server.call("POST", "/_matrix/client/v3/login", {
        "type": "m.login.password", "identifier": {"type": "m.id.user", "user": bot.user}, "password": PASSWORD,
    })["access_token"]  # fmt: skip
    assert not (await signed_in_as(tmp_path / "one", Options(server.url, token=other)))[2]
    assert (await signed_in_as(tmp_path / "two", Options(server.url, bot.user, PASSWORD)))[2]


# --- a service that knows everybody ---


@contextmanager
def vouching_for(name: str) -> Iterator[str]:
    """It says of whoever comes that they are `name`, as such services do by CAS."""

    class Service(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked = urlsplit(self.path)
            if asked.path == "/login":
                self.send_response(302)
                self.send_header("Location", parse_qs(asked.query)["service"][0] + "&ticket=ST-1")
                self.end_headers()
                return
            body = (
                '<cas:serviceResponse xmlns:cas="http://www.yale.edu/tp/cas"><cas:authenticationSuccess>'
                f"<cas:user>{name}</cas:user></cas:authenticationSuccess></cas:serviceResponse>"
            ).encode()
            self.send_response(200)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: Any) -> None:
            pass

    service = ThreadingHTTPServer(("127.0.0.1", 0), Service)
    serving = threading.Thread(target=service.serve_forever, daemon=True)
    serving.start()
    try:
        yield f"http://127.0.0.1:{service.server_port}"
    finally:
        service.shutdown()
        service.server_close()
        serving.join()


class _ToTheEnd(HTTPRedirectHandler):
    """Goes where it is sent, but for the last place, which is nobody's."""

    def redirect_request(self, request: Any, fp: Any, code: int, msg: str, headers: Any, newurl: str) -> Any:
        if newurl.startswith(HERE):
            raise HTTPError(newurl, code, msg, headers, fp)
        return super().redirect_request(request, fp, code, msg, headers, newurl)


def signed_on(server: Homeserver) -> str:
    """The token, out of the address that a browser is sent to in the end."""
    opener = build_opener(_ToTheEnd, HTTPCookieProcessor(CookieJar()))
    try:
        opener.open(f"{server.url}/_matrix/client/v3/login/sso/redirect?redirectUrl={quote(HERE, safe='')}")
    except HTTPError as sent:
        found = parse_qs(urlsplit(sent.filename or sent.url).query).get("loginToken")
        assert found, f"sent to {sent.url} ({sent.code}): {sent.read()[:500]!r}"
        return found[0]
    raise AssertionError("the browser was sent nowhere")
