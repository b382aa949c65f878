"""Where programs send a trial's numbers. Whoever knows an address may send: it holds a keyed hash, is never logged, and
a wrong one is refused before the database is asked. A person's edition is part of it: with another one the address
before is nothing any more."""

from __future__ import annotations

import hashlib
import hmac
import json
import math
from collections.abc import Callable, Mapping
from itertools import count
from typing import Any
from urllib.parse import quote

from aiohttp import web

from coldframe.errors import ColdframeError
from coldframe.message.nodes import plain
from coldframe.ports.chat import Clock, Counted, Inbound, Intake, Place, Reply
from coldframe.ports.storage import NUMBERS_EDITION, Store
from coldframe.speech.trial import sent_words

Tag = Callable[..., str]
MAX_BODY = 64_000  # bytes
MAX_WEEKS = 60  # at once
_HEADERS = {"Cache-Control": "no-store", "X-Content-Type-Options": "nosniff", "X-Robots-Tag": "noindex"}
_PATH = "/numbers/{tenant}/{trial}/{person}/{edition:[0-9a-z]{1,32}}-{word:[0-9a-f]{64}}"


def addresses(base: str, tag: Tag) -> Callable[[str, str, str, str], str]:
    """Gives (tenant, trial, person, edition) an address below `base`."""

    def address(tenant: str, trial: str, person: str, edition: str) -> str:
        whose = "/".join(quote(part, safe="") for part in (tenant, trial, person))
        return f"{base.rstrip('/')}/numbers/{whose}/{edition}-{_word(tag, tenant, trial, person, edition)}"

    return address


def _word(tag: Tag, tenant: str, trial: str, person: str, edition: str) -> str:
    return tag("numbers", tenant, trial, person, edition)


class NotTaken(ColdframeError, ValueError):
    """What was sent cannot be read; the message says why."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status = status


def numbers_routes(store: Store, tag: Tag, clock: Clock, intake: Callable[[], Intake]) -> tuple[web.RouteDef, ...]:
    """Routes to mount where HTTP is served. `intake`: that which takes in what people do, with its limits."""

    requests = count()  # what is sent twice in one moment is two requests

    async def sent(request: web.Request) -> web.Response:
        tenant, trial, person, edition, word = (
            request.match_info[name] for name in ("tenant", "trial", "person", "edition", "word")
        )
        if not hmac.compare_digest(word, _word(tag, tenant, trial, person, edition)):
            return _said(404, {"error": sent_words.NO_SUCH_ADDRESS})
        if not await _is_current(store, tenant, person, edition):
            return _said(404, {"error": sent_words.NO_SUCH_ADDRESS})
        try:
            body = await _body(request)
            what = Counted(trial, _weeks(body))
        except NotTaken as why:
            return _said(why.status, {"error": str(why)})
        now = clock.now()
        key = hashlib.sha256(f"{word}/{now.isoformat()}/{next(requests)}".encode() + body).hexdigest()
        event = Inbound(f"numbers/{key}", person, Place(tenant, "direct", person), now, what)
        return _answer(await intake().receive(event))

    return (web.post(_PATH, sent),)


async def _is_current(store: Store, tenant: str, person: str, edition: str) -> bool:
    async with store.begin() as uow:
        member = await uow.member(tenant, person)
    return member is not None and member.facts.get(NUMBERS_EDITION) == edition


async def _body(request: web.Request) -> bytes:
    """No more of it is read than is taken."""
    found = bytearray()
    async for part in request.content.iter_chunked(8_192):
        found += part
        if len(found) > MAX_BODY:
            raise NotTaken(413, sent_words.too_large(MAX_BODY))
    return bytes(found)


def _weeks(body: bytes) -> tuple[Mapping[str, str], ...]:
    try:
        given = json.loads(body, object_pairs_hook=_once, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise NotTaken(400, sent_words.NO_JSON) from None
    weeks = given.get("weeks", [given]) if isinstance(given, dict) else given
    if not isinstance(weeks, list) or not all(isinstance(week, dict) for week in weeks):
        raise NotTaken(400, sent_words.NO_JSON)
    if not any(weeks):
        raise NotTaken(400, sent_words.NO_WEEKS)
    if len(weeks) > MAX_WEEKS:
        raise NotTaken(413, sent_words.too_many(len(weeks), MAX_WEEKS))
    return tuple({name: _text(name, value) for name, value in week.items()} for week in weeks)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A name that stands there twice has no one meaning."""
    if len({name for name, _ in pairs}) != len(pairs):
        raise ValueError(pairs)
    return dict(pairs)


def _no_number(name: str) -> float:
    raise ValueError(name)


def _text(name: str, value: object) -> str:
    """As it would be typed."""
    if isinstance(value, bool):
        return "yes" if value else ""
    if value is None:
        return ""
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float) and math.isfinite(value):  # written so that no mark can be one between thousands
        return str(int(value)) if value.is_integer() else f"{value:.12f}"
    if isinstance(value, str):
        return value[:1_000]
    raise NotTaken(400, sent_words.not_plain(name[:30]))


def _answer(reply: Reply) -> web.Response:
    """200: some are new; 409: all came before; 422: some could not be taken; 403: whoever's address it is may not log
    the trial, or it is over; 429: too many at once."""
    if reply.taken is None:
        words = plain(reply.note.summary) if reply.note is not None else sent_words.NO_SUCH_ADDRESS
        return _said(403, {"error": words})
    taken, already = reply.taken
    if reply.note is not None:
        return _said(429, {"error": plain(reply.note.summary)})
    said: dict[str, Any] = {"answer": sent_words.came(taken, already, len(reply.errors))}
    if reply.errors:
        return _said(422, {**said, "weeks": dict(reply.errors)})
    return _said(200 if taken else 409, said)


def _said(status: int, words: Mapping[str, Any]) -> web.Response:
    return web.json_response(
        words, status=status, headers=_HEADERS, dumps=lambda said: json.dumps(said, ensure_ascii=False) + "\n"
    )
