"""Who is let into the room, and by what: links that are good once, cookies, codes, and links that are made anew."""

from __future__ import annotations

import asyncio
import base64
import json
from datetime import timedelta
from http.cookies import Morsel, SimpleCookie
from pathlib import Path
from typing import Any

import pytest

from coldframe.chat.room import passes
from coldframe.chat.room.admissions import Admission
from coldframe.chat.room.log import Log
from coldframe.message.nodes import Message, TextFile, line
from coldframe.ports.bench import View
from coldframe.ports.chat import Person
from coldframe.ports.clearing import Kept
from tests.chat.room.earlier_files import FOURTH, made
from tests.chat.room.keys import NOW
from tests.chat.room.wires import Browser, Site, refused

INSIDE = "/room"


@pytest.fixture(autouse=True)
def by_links_alone(site: Site) -> None:
    site.world.server.acting = False


async def post(site: Site, path: str, *, origin: str = "", **form: str) -> tuple[int, Morsel[str] | None, str]:
    """What a form of the door brings: status, cookie, words."""
    headers = {"Origin": origin or site.base}
    async with site.session.post(site.base + path, data=form, headers=headers, allow_redirects=False) as answer:
        cookies: SimpleCookie = answer.cookies
        return answer.status, next(iter(cookies.values()), None), await answer.text()


async def come_in(site: Site, word: str) -> str:
    """By a link; the cookie as a browser sends it."""
    status, cookie, _ = await post(site, f"/with/{word}")
    assert status == 303 and cookie is not None
    return f"{cookie.key}={cookie.value}"


def link(site: Site, person: str = "ada") -> str:
    return passes.issue(site.world.room.log, Admission(person))


async def test_a_link_is_good_once_and_becomes_a_cookie(site: Site) -> None:
    """It may be looked at as often as one likes; opened, it lets that browser in, at an address that tells nothing."""
    word = link(site)
    assert [await site.status(f"/with/{word}") for _ in range(2)] == [200, 200]
    status, cookie, _ = await post(site, f"/with/{word}")
    assert status == 303 and cookie is not None and cookie["httponly"] and cookie["samesite"] == "Lax"
    assert cookie["path"] == "/" and not cookie["secure"] and word not in cookie.value
    mine = f"{cookie.key}={cookie.value}"
    assert await site.status(INSIDE, Cookie=mine) == 200
    assert (await (await site.browser(INSIDE, greet=False, cookie=mine)).ask(do="hello"))["me"] == "ada"
    assert await site.status(f"/with/{word}") == 403 and (await post(site, f"/with/{word}"))[0] == 403
    assert await site.status(f"/with/{word}", Cookie=mine) == 303
    assert await site.status("/", Cookie=mine) == 303 and await site.status(INSIDE) == 303


async def test_over_tls_the_cookie_is_for_tls_alone(site: Site) -> None:
    """The browser says in its origin how it sees the room."""
    _, cookie, _ = await post(site, f"/with/{link(site)}", origin=site.base.replace("http:", "https:"))
    assert cookie is not None and cookie["secure"] and cookie.key.startswith("__Host-")
    assert await site.status(INSIDE, Cookie=f"{cookie.key}={cookie.value}") == 200


@pytest.mark.parametrize("origin", ["http://evil.example", "null"])
async def test_no_foreign_page_signs_anybody_in(site: Site, origin: str) -> None:
    word = link(site)
    for path in (f"/with/{word}", "/in"):
        assert (await post(site, path, origin=origin, code="x"))[:2] == (403, None)
    assert await site.status(f"/with/{word}") == 200


async def test_whoever_left_is_let_in_no_more(site: Site) -> None:
    """Neither by the cookie nor by a link, and the line that is open ends."""
    mine, word = await come_in(site, link(site)), link(site)
    ended = (await site.browser(INSIDE, cookie=mine)).ends()
    await site.world.room.change_person(Person("ada", "Ada", is_gone=True))
    assert await ended == 4403
    assert await site.status(f"/with/{word}") == 403 and (await post(site, f"/with/{word}"))[0] == 403
    assert await site.status(f"{INSIDE}/files/f000001", Cookie=mine) == 403


@pytest.mark.parametrize("word", ["x", "A" * 43, "%00", "..%2f", "ada"])
async def test_a_forged_word_is_forbidden_everywhere(site: Site, word: str) -> None:
    """No page, no sign-in, no wire and no file for a made-up word, as link, cookie or code."""
    link(site)
    name = f"coldframe-{site.world.room.log.life}"
    assert await site.status(f"/with/{word}") == 403 and (await post(site, f"/with/{word}"))[:2] == (403, None)
    assert (await post(site, "/in", code=word))[:2] == (403, None)
    assert await site.status(f"{INSIDE}/files/f000001", Cookie=f"{name}={word}") == 403
    headers = {"Cookie": f"{name}={word}"}
    assert await refused(site, f"{INSIDE}/wire", origin=site.base, headers=headers) == 403


async def test_words_are_not_kept_in_words(site: Site) -> None:
    """Whoever reads the room's file comes in by nothing that stands there."""
    word, other = link(site), link(site)
    mine = await come_in(site, other)
    code = (await (await site.browser(INSIDE, cookie=mine)).ask(do="let_in"))["code"]
    dump = "\n".join(site.world.room.log._db.iterdump())
    assert not [w for w in (word, other, mine.partition("=")[2], passes.typed(code)) if w in dump]


# --- further browsers ---------------------------------------------------------------------------------------


async def test_a_second_browser_is_let_in_by_a_code_from_the_first(site: Site) -> None:
    """The code is good once and for minutes; each browser can be seen and ended from the other."""
    first = await site.browser(INSIDE, cookie=await come_in(site, link(site)))
    code = (await first.ask(do="let_in"))["code"]
    status, cookie, _ = await post(site, "/in", code=code.upper().replace("-", " "))
    assert status == 303 and cookie is not None
    assert (await post(site, "/in", code=code))[0] == 403
    second = await site.browser(INSIDE, cookie=f"{cookie.key}={cookie.value}")
    devices = (await second.ask(do="devices"))["devices"]
    assert [one["this"] for one in devices] == [False, True]
    ended = first.ends()
    await second.ask(do="sign_out", device=devices[0]["id"])
    assert await ended == 4403
    late = (await second.ask(do="let_in"))["code"]
    site.world.clock.moment += passes.CODE_LASTS
    assert (await post(site, "/in", code=late))[0] == 403


async def test_nobody_ends_another_persons_browser(site: Site) -> None:
    ada, ben = [await site.browser(INSIDE, cookie=await come_in(site, link(site, person))) for person in ("ada", "ben")]
    device = (await ada.ask(do="devices"))["devices"][0]["id"]
    assert (await ben.ask(do="sign_out", device=device))["devices"] != []
    assert len((await ada.ask(do="devices"))["devices"]) == 1
    await ada.ask(do="sign_out", device="")
    assert len((await ada.ask(do="devices"))["devices"]) == 1


async def test_codes_cannot_be_tried_out(site: Site) -> None:
    """After some wrong ones nobody can try for a while, right or wrong."""
    for _ in range(40):
        status = (await post(site, "/in", code="wrong"))[0]
    assert status == 429


async def test_a_sign_in_ends_by_itself(site: Site) -> None:
    mine = await come_in(site, link(site))
    site.world.clock.moment += passes.LASTS - timedelta(seconds=1)
    assert await site.status(INSIDE, Cookie=mine) == 200
    site.world.clock.moment += timedelta(seconds=1)
    assert await site.status(INSIDE, Cookie=mine) == 303


# --- a link that is made anew -------------------------------------------------------------------------------


async def _renewed(site: Site) -> tuple[asyncio.Task[int | None], Browser, dict[str, Any]]:
    """How Ada's first browser ends, then one that came by a new link, and what it is told; private things lie
    between."""
    room = site.world.room
    old = await site.browser(INSIDE, cookie=await come_in(site, link(site)))
    await old.ask(do="say", key="k1", place="d", text="canary-line", files=[])
    await room.upload(room.direct("ada"), TextFile("a.txt", "canary-file", "canary-file"), key="f1")
    await room.home("room", "ada", Message(line("canary-home")))
    await old.ask(do="command", key="k2", place="d", text="help")
    site.world.clock.moment += timedelta(minutes=1)
    ended = old.ends()
    word = passes.renew(room, "ada")
    site.world.clock.moment += timedelta(minutes=1)
    new = await site.browser(INSIDE, greet=False, cookie=await come_in(site, word))
    return ended, new, await new.ask(do="hello")


async def test_a_new_link_ends_the_other_sign_ins_and_is_told_to_the_channel(site: Site) -> None:
    waiting = link(site)
    ended, new, welcome = await _renewed(site)
    assert await ended == 4403 and await site.status(f"/with/{waiting}") == 403
    told = [item["card"]["summary"] for item in welcome["items"] if item["place"] == "c:growth" and item["card"]]
    assert "has a new link to this room" in json.dumps(told[-1])
    assert len((await new.ask(do="devices"))["devices"]) == 1


async def test_a_new_link_shows_nothing_that_was_written_before(site: Site) -> None:
    """No line, file, page, passing word or open form; nor is it read back, reached, changed, or pushed."""
    room = site.world.room
    before = next(r for r in room.messages(room.direct("ada")) if r.message is not None)
    _, new, welcome = await _renewed(site)
    assert welcome["hidden"] and welcome["forms"] == [] == welcome["notes"]
    earlier = await new.ask(do="earlier", place="d", before="m999999")
    await room.revise(room.direct("ada"), before.id, Message(line("canary-again")))
    await room.post(room.direct("ada"), Message(line("said after")), key="after")
    await new.until("messages")
    assert "said after" in json.dumps(new.pushed) and "canary" not in json.dumps([welcome, earlier, new.pushed])
    orders: tuple[dict[str, Any], ...] = (
        {"do": "react", "message": before.id, "emoji": "🌱", "added": True},
        {"do": "say", "place": "d", "text": "x", "thread": before.id, "files": []},
        {"do": "command", "place": "d", "text": "mine"},
        {"do": "command", "place": "d", "text": " export "},
        {"do": "press", "message": None, "action": "me.export", "value": ""},
    )
    for number, order in enumerate(orders):
        assert (await new.ask(key=f"x{number}", **order)).get("error"), order


class Pages:
    """A bot that has a page for whoever looks on."""

    async def view(self, tenant: str, person: str) -> View:
        return View(page=Message(line(f"canary of {person}")))


async def test_a_new_link_has_nothing_private_on_the_bench(site: Site) -> None:
    """What is laid over its line holds the person's page only once all that was private then is over."""
    site.world.room.bench.views = Pages()
    _, new, _ = await _renewed(site)
    assert "canary" not in json.dumps(await new.until("bench"))
    await site.world.room.clear("room", {"ada": Kept(site.world.clock.now())})
    new.pushed.clear()
    await new.ask(do="hello")
    assert "canary of ada" in json.dumps(await new.until("bench"))


async def test_files_of_before_are_not_there_for_a_new_link(site: Site) -> None:
    room = site.world.room
    await room.upload(room.direct("ada"), TextFile("a.txt", "canary", "canary"), key="f1")
    file = next(r.files[0].id for r in room.messages(room.direct("ada")) if r.files)
    mine = await come_in(site, link(site))
    assert await site.status(f"{INSIDE}/files/{file}", Cookie=mine) == 200
    word = passes.renew(room, "ada")
    assert await site.status(f"{INSIDE}/files/{file}", Cookie=await come_in(site, word)) == 404


async def test_what_is_over_is_read_back_again(site: Site) -> None:
    """Once all that was private when the link was made is gone, nothing is left to hide; nor by a code from it."""
    _, new, _ = await _renewed(site)
    code = (await new.ask(do="let_in"))["code"]
    _, cookie, _ = await post(site, "/in", code=code)
    assert cookie is not None
    further = await site.browser(INSIDE, cookie=f"{cookie.key}={cookie.value}")
    assert (await further.ask(do="command", key="c1", place="d", text="mine")).get("error")
    await site.world.room.clear("room", {"ada": Kept(site.world.clock.now())})
    assert "error" not in await further.ask(do="command", key="c2", place="d", text="mine")


# --- what browsers keep -------------------------------------------------------------------------------------


async def test_what_a_browser_keeps_opens_no_more_once_its_step_is_over(site: Site) -> None:
    """Its keys are the person's alone, the same in each of their browsers; that of the step goes with the step, the one
    for words on their way stays until everything of the person's goes. At rest they are sealed."""
    room = site.world.room
    mine = await site.browser(INSIDE, greet=False, cookie=await come_in(site, link(site)))
    twin = await site.browser(INSIDE, greet=False, cookie=await come_in(site, link(site)))
    other = await site.browser(INSIDE, greet=False, cookie=await come_in(site, link(site, "ben")))
    before, theirs = [(await one.ask(do="hello"))["seals"] for one in (mine, other)]
    assert before == (await twin.ask(do="hello"))["seals"] and before["step"] != theirs["step"]
    assert base64.b64decode(before["step"]["key"]).hex() not in "".join(room.log._db.iterdump()).lower()
    await room.clear("room", {"ada": Kept(site.world.clock.now() - timedelta(days=9))})
    after = (await mine.until("seals"))["seals"]
    assert after["step"]["name"] != before["step"]["name"] and after["sent"] == before["sent"]
    assert (await other.ask(do="hello"))["seals"] == theirs
    await room.forget("room", "ada")
    assert (await mine.ask(do="hello"))["seals"]["sent"]["key"] != before["sent"]["key"]


# --- names --------------------------------------------------------------------------------------------------


async def test_a_name_with_direction_marks_turns_no_line_round(site: Site) -> None:
    """Wherever a browser is told a name, at the door too, nothing in it hides or reorders what stands beside it."""
    await site.world.room.change_person(Person("ben", "\u202eneB\u2066\u200b"))
    async with site.session.get(f"{site.base}/with/{link(site, 'ben')}") as answer:
        assert "Come in as neB<" in await answer.text()
    mine = await site.browser(INSIDE, greet=False, cookie=await come_in(site, link(site)))
    names = [person["name"] for person in (await mine.ask(do="hello"))["people"]]
    assert "neB" in names and not any("\u202e" in name for name in names)
    site.world.server.acting = True
    async with site.session.get(f"{site.base}/") as answer:
        assert ">neB<" in await answer.text()


# --- earlier files ------------------------------------------------------------------------------------------


THIRD = """
    alter table passes drop column hidden; alter table passes drop column revision;
    alter table passes drop column until;
    drop table signins; drop table seals; alter table files drop column chart; pragma user_version = 3;
"""  # what a file of version 4 has that one of version 3 had not


def _third(path: str, link: tuple[str, tuple[object, ...]]) -> None:
    log = Log(path)
    log.put_person(Person("ada", "Ada"))
    log._db.executescript(FOURTH + THIRD)
    log._db.execute(*link)
    log.close()


@pytest.mark.parametrize("version", [1, 2, 3])
def test_links_of_an_earlier_release_let_in_once(tmp_path: Path, version: int) -> None:
    """One that was handed out goes on; opened, it becomes a sign-in as a new one does."""
    path = str(tmp_path / "room.db")
    link = ("insert into passes values (?, 'ada')", (passes._digest("a word"),))
    if version == 3:
        _third(path, link)
    else:
        made(path, version, link)
    log = Log(path)
    assert passes.bearer(log, "a word", NOW) == Admission("ada") and log.has_pass("ada")
    token = passes.redeem(log, "a word", NOW)
    assert token is not None and passes.bearer(log, "a word", NOW) is None and log.has_pass("ada")
    log.close()
