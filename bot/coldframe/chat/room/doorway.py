"""The room's door: a personal link is opened once and becomes a cookie, which no script reads and no foreign page
sends."""

from __future__ import annotations

import html
from collections.abc import Callable
from urllib.parse import quote

from aiohttp import web

from coldframe.chat.room import answers, passes
from coldframe.chat.room.admissions import Admission
from coldframe.chat.room.seats import Seat
from coldframe.chat.room.service import Room
from coldframe.chat.room.throttle import Throttle
from coldframe.message.harmless import harmless
from coldframe.ports.chat import Clock
from coldframe.speech import room_words

INSIDE = "/room"
_TRIES, _TRIES_PER_SECOND = 20, 1 / 3  # codes typed, of all browsers together


class Doorway:
    """Who comes in, and as whom. `room` gives the room as it is now; `acting`: whoever comes chooses from a list."""

    def __init__(self, room: Callable[[], Room], wall: Clock, *, acting: Callable[[], bool]) -> None:
        self._room = room
        self._acting = acting
        self._tries = Throttle(wall, _TRIES, _TRIES_PER_SECOND)

    def routes(self) -> list[web.RouteDef]:
        return [
            web.get("/", self._entrance),
            web.post("/in", self._by_code),
            web.get("/with/{word}", self._link),
            web.post("/with/{word}", self._by_link),
        ]

    # --- who is there -----------------------------------------------------------------------------------------

    def seat(self, request: web.Request) -> Seat:
        """For whom the browser speaks. One that speaks for nobody is forbidden."""
        found = self._chosen(request) if "person" in request.match_info else self._signed_in(request)
        if found is None or not self.knows(found.person):
            raise web.HTTPForbidden(reason=room_words.NOT_IN)
        return found

    def is_in(self, request: web.Request) -> bool:
        return (seat := self._signed_in(request)) is not None and self.knows(seat.person)

    def knows(self, person: str) -> bool:
        """Whether the person is here to be let in."""
        known = self._room().log.person(person)
        return known is not None and not known.is_gone and not known.is_bot

    def _chosen(self, request: web.Request) -> Seat | None:
        return Seat(Admission(request.match_info["person"])) if self._acting() else None

    def _signed_in(self, request: web.Request) -> Seat | None:
        room = self._room()
        for name in self._names():
            found = passes.signed_in(room.log, request.cookies.get(name, ""), room.clock.now())
            if found is not None:
                return Seat(found.admission, found.digest)
        return None

    def _names(self) -> tuple[str, str]:
        """Of the cookie, over TLS and without: cookies know no ports, so each room has names of its own."""
        name = f"coldframe-{self._room().log.life}"
        return f"__Host-{name}", name

    # --- coming in --------------------------------------------------------------------------------------------

    async def _entrance(self, request: web.Request) -> web.Response:
        if self._acting():
            return answers.entrance(room_words.WHOM, self._choices())
        if self.is_in(request):
            return answers.turn_to(INSIDE)
        return answers.entrance(room_words.OPEN_YOUR_LINK, _code_form())

    def _choices(self) -> str:
        people = (p for p in self._room().log.people() if not p.is_bot and not p.is_gone)
        return "".join(
            f'<li><a href="/as/{quote(p.id, safe="")}">{html.escape(harmless(p.name))}</a></li>' for p in people
        ).join(("<ul>", "</ul>"))

    async def _link(self, request: web.Request) -> web.Response:
        """Looking at a link does not use it up: chat services and mail readers look at links by themselves."""
        admission = self._bearer(request)
        if admission is not None:
            name = self._name(admission)
            return answers.entrance(room_words.ONCE.format(name=name), _come_in(room_words.COME_IN.format(name=name)))
        if self.is_in(request):
            return answers.turn_to(INSIDE)
        return answers.entrance(room_words.WRONG_LINK, _code_form(), status=403)

    def _bearer(self, request: web.Request) -> Admission | None:
        room = self._room()
        found = passes.bearer(room.log, request.match_info["word"], room.clock.now())
        return found if found is not None and self.knows(found.person) else None

    def _name(self, admission: Admission) -> str:
        known = self._room().log.person(admission.person)
        return harmless(known.name) if known else ""

    async def _by_link(self, request: web.Request) -> web.Response:
        own_page_only(request)
        if self._bearer(request) is None:
            return await self._link(request)
        return self._let_in(request, request.match_info["word"]) or await self._link(request)

    async def _by_code(self, request: web.Request) -> web.Response:
        own_page_only(request)
        if not self._tries.is_free():
            return answers.entrance(room_words.TOO_MANY_CODES, _code_form(), status=429)
        given = str((await request.post()).get("code", ""))
        refused = answers.entrance(room_words.WRONG_CODE, _code_form(), status=403)
        return self._let_in(request, passes.typed(given)) or refused

    def _let_in(self, request: web.Request, word: str) -> web.Response | None:
        """Inside, with a word of the browser's own. The browser says in its origin whether it sees us over TLS."""
        room = self._room()
        token = passes.redeem(room.log, word, room.clock.now())
        if token is None:
            return None
        safe = request.headers["Origin"].startswith("https:")
        response = answers.turn_to(INSIDE)
        lasts = int(passes.LASTS.total_seconds())
        name = self._names()[0 if safe else 1]
        response.set_cookie(name, token, max_age=lasts, path="/", httponly=True, samesite="Lax", secure=safe)
        return response


def own_page_only(request: web.Request) -> None:
    if request.headers.get("Origin") not in {f"http://{request.host}", f"https://{request.host}"}:
        raise web.HTTPForbidden(reason=room_words.OWN_PAGE_ONLY)


def _come_in(words: str) -> str:
    return f'<form method="post"><button class="primary" type="submit">{html.escape(words)}</button></form>'


def _code_form() -> str:
    label, send = html.escape(room_words.CODE), html.escape(room_words.TYPE_CODE)
    look = 'autocomplete="off" autocapitalize="none" spellcheck="false" required maxlength="40" size="14"'
    return (
        f'<form method="post" action="/in"><label for="code">{label}</label> <input id="code" name="code" {look}>'
        f' <button type="submit">{send}</button></form>'
    )
