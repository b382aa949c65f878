"""Requests that Slack did not sign, or not lately, do nothing: 401, not logged, nothing reaches the intake."""

from __future__ import annotations

import json
import logging
import random
import time
from io import BytesIO
from typing import Any
from urllib.parse import urlencode

import aiohttp
import pytest
from structlog.testing import capture_logs

from coldframe.chat.slack.requests import is_signed
from coldframe.ports.chat import Said
from tests.wire.slack.people import Someone
from tests.wire.slack.service import ListIntake, running
from tests.wire.slack.workspace import SECRET, Workspace

People = dict[str, Someone]
BODY = json.dumps({"type": "event_callback", "event": {"text": "a secret note"}})


def test_the_published_example_of_a_signature_holds() -> None:
    """Slack's page "Verifying requests from Slack" prints a secret, a stamp, a body and their signature."""
    secret, stamp = "8f742231b10e8888abcd99yyyzzz85a5", "1531420618"
    body = (
        b"token=xyzz0WbapA4vBCDEFasx0q6G&team_id=T1DC2JH3J&team_domain=testteamnow&channel_id=G8PSS9T3V"
        b"&channel_name=foobar&user_id=U2CERLKJA&user_name=roadrunner&command=%2Fwebhook-collect&text="
        b"&response_url=https%3A%2F%2Fhooks.slack.com%2Fcommands%2FT1DC2JH3J%2F397700885554%2F96rGlfmibIGlgcZRskXaIFfN"
        b"&trigger_id=398738663015.47445629121.803a0bc887a14d10d2c447fce8b6703c"
    )
    signature = "v0=a2114d57b48eac39b9ad189dd8316235a7b4a8d21a10bd27519666489c69b503"
    assert is_signed(secret, stamp, signature, body, float(stamp))
    assert not is_signed(secret, stamp, signature, body + b" ", float(stamp))


@pytest.mark.parametrize(
    ("stamp", "signature"),
    [
        ("abc", None),
        ("", None),
        ("1e9", None),
        ("-1772452800", None),
        ("١٧٧٢٤٥٢٨٠٠", None),
        (None, ""),
        (None, "v0=é" + "0" * 63),
        (None, "v1=" + "0" * 64),
        (None, "v0=" + "0" * 63),
    ],
)
def test_a_stamp_or_signature_of_no_form_is_refused_without_raising(stamp: str | None, signature: str | None) -> None:
    """Non-numbers and letters beyond ASCII make the library raise, so their form is checked before."""
    now = time.time()
    stamp = str(int(now)) if stamp is None else stamp
    assert not is_signed(SECRET, stamp, "v0=" + "0" * 64 if signature is None else signature, b"{}", now)
    assert not is_signed("", stamp, "v0=" + "0" * 64, b"{}", now)


def mutations(workspace: Workspace, count: int) -> list[tuple[bytes, dict[str, str]]]:
    """Requests that are each wrong in one way."""
    draw = random.Random(3)
    now = int(time.time())
    out: list[tuple[bytes, dict[str, str]]] = []
    for number in range(count):
        body = bytearray(BODY.encode())
        headers = workspace.delivery.signed(BODY)
        match number % 6:
            case 0:
                body[draw.randrange(len(body))] ^= 1 << draw.randrange(7)
            case 1:
                digits = list(headers["X-Slack-Signature"])
                at = draw.randrange(3, len(digits))
                digits[at] = "0" if digits[at] != "0" else "1"
                headers["X-Slack-Signature"] = "".join(digits)
            case 2:
                headers = workspace.delivery.signed(BODY, str(now + draw.choice((-301, -900, 65, 299, 3600))))
            case 3:
                del headers[draw.choice(list(headers))]
            case 4:
                headers["X-Slack-Request-Timestamp"] = draw.choice(("abc", "", "1e9", "99999999999", "12 34"))
            case _:
                headers["X-Slack-Request-Timestamp"] = str(now - 1 - draw.randrange(200))
        out.append((bytes(body), headers))
    return out


async def test_two_hundred_forged_requests_are_refused(
    workspace: Workspace, people: People, caplog: pytest.LogCaptureFixture
) -> None:
    """Changed bodies, stamps, signatures and missing headers: 401 each, no row, no word of the body in the
    log.
    """
    caplog.set_level(logging.DEBUG)
    intake = ListIntake()
    with capture_logs() as events:
        await _forge(workspace, people, intake)
    assert intake.deliveries == 1
    told = caplog.text + str(events)
    assert "secret note" not in told and "true note" not in told
    refused = {"event": "slack.request_refused", "why": "bad signature or stamp", "log_level": "warning"}
    assert events.count(refused) == 202


async def _forge(workspace: Workspace, people: People, intake: ListIntake) -> None:
    async with running(workspace, intake, "http") as platform, aiohttp.ClientSession() as session:
        for body, headers in mutations(workspace, 200):
            headers |= {"Content-Type": "application/json"}
            async with session.post(f"{platform.address}/slack/events", data=body, headers=headers) as answer:
                assert answer.status == 401
        for form in ({"ssl_check": "1"}, {"payload": BODY}):
            async with session.post(f"{platform.address}/slack/events", data=form) as answer:
                assert answer.status == 401
        people["Ana"].says("a true note")
        await workspace.delivery.settled()


async def test_signed_bodies_of_no_sense_are_answered_and_harmless(workspace: Workspace, people: People) -> None:
    """Nested without end, not JSON, of another workspace, a giant: never 500, never a happening."""
    intake = ListIntake()
    foreign = {"type": "event_callback", "team_id": "T9", "event_id": "Ev", "event": {"type": "message"}}
    bodies = {
        "[" * 100_000: 400,
        "{not json": 400,
        '"text"': 400,
        "[1]": 400,
        json.dumps(foreign): 200,
        json.dumps(foreign | {"team_id": "T1"}): 200,
        json.dumps({"type": "something"}): 200,
        "x" * (1024 * 1024 + 1): 413,
    }
    async with running(workspace, intake, "http") as platform, aiohttp.ClientSession() as session:
        for body, status in bodies.items():
            headers = workspace.delivery.signed(body) | {"Content-Type": "application/json"}
            url = f"{platform.address}/slack/events"
            async with session.post(url, data=BytesIO(body.encode()), headers=headers) as answer:
                assert (answer.status, body[:40]) == (status, body[:40])
    assert intake.deliveries == 0


@pytest.mark.parametrize(("challenge", "status"), [("abc123", 200), ("x" * 300, 400), ("é", 400)])
async def test_the_address_is_proven_only_by_a_signed_challenge(
    workspace: Workspace, challenge: str, status: int
) -> None:
    """Slack proves the address once; only a short plain challenge is given back."""
    body = json.dumps({"type": "url_verification", "challenge": challenge})
    async with running(workspace, ListIntake(), "http") as platform, aiohttp.ClientSession() as session:
        url = f"{platform.address}/slack/events"
        headers = workspace.delivery.signed(body) | {"Content-Type": "application/json"}
        async with session.post(url, data=body, headers=headers) as answer:
            assert answer.status == status
            if status == 200:
                assert await answer.json() == {"challenge": challenge}
        async with session.post(url, data=body, headers={"Content-Type": "application/json"}) as answer:
            assert answer.status == 401


@pytest.mark.parametrize("mode", ["socket", "http"])
async def test_presses_and_forms_of_strangers_change_nothing_and_are_answered(
    workspace: Workspace, people: People, mode: Any
) -> None:
    """Another workspace's, another app's or another organisation's press gets a private word, and no
    happening.
    """
    intake, ana = ListIntake(), people["Ana"]

    def payload(**more: Any) -> dict[str, Any]:
        base = ana._interaction("block_actions") | {
            "container": {"type": "message", "channel_id": "C1", "message_ts": "1.0"},
            "actions": [{"type": "button", "action_id": "x.y#0", "value": "k", "action_ts": "1.0"}],
            "response_url": f"{workspace.address}/respond/{ana.id}/C1",
        }
        return base | more

    async with running(workspace, intake, mode):
        for stranger in (
            {"api_app_id": "A9"},
            {"user": {"id": "U9", "team_id": "T9"}},
            {"team": {"id": "T9"}},
        ):
            assert (await workspace.delivery.interaction("interactive", payload(**stranger))).ok
        await ana.sees(lambda: len(ana.notes()) >= 2)
        command = {"command": "/coldframe", "team_id": "T9", "user_id": "U9", "trigger_id": "t"}
        answer = await workspace.delivery.interaction("slash_commands", command)
        assert "this workspace" in answer.body["text"]
    assert intake.deliveries == 0
    assert all("this workspace" in note for note in ana.notes())


@pytest.mark.parametrize("mode", ["socket", "http"])
async def test_a_replayed_delivery_is_one_happening(workspace: Workspace, people: People, mode: Any) -> None:
    """The same signed request, or the same event in another envelope, has the same key."""
    intake = ListIntake()
    async with running(workspace, intake, mode):
        people["Ana"].says("once")
        await workspace.delivery.settled()
        (event,) = intake.taken.values()
        workspace._ids -= 1
        workspace.event(
            {
                "type": "message",
                "channel": "DU0ANA",
                "channel_type": "im",
                "user": "U0ANA",
                "text": "once",
                "ts": event.what.message,
            }
        )
        await workspace.delivery.settled()
    assert intake.deliveries == 2
    assert len(intake.all(Said)) == 1


def test_the_body_of_a_form_is_verified_as_it_came() -> None:
    """The signature is over the untouched bytes; a body read and written again would no longer fit."""
    body = urlencode({"payload": json.dumps({"a": "é ü"})})
    headers = Workspace().delivery.signed(body)
    signature, stamp = headers["X-Slack-Signature"], headers["X-Slack-Request-Timestamp"]
    assert is_signed(SECRET, stamp, signature, body.encode(), float(stamp))
