"""The room's address: who is let in, what is told to whom, and what a hostile caller gets."""

from __future__ import annotations

import base64
import contextlib
import json
from dataclasses import replace
from typing import Any

import pytest

from coldframe.message.nodes import Message, TextFile, Theirs, line
from coldframe.ports import chat as ports
from coldframe.ports.chat import Person, Reply
from coldframe.ports.clearing import Kept
from tests.chat.room.samples import SampleRoom
from tests.chat.room.wires import Browser, Site, refused


async def test_fresh_browser_gets_what_its_person_may_see(site: Site) -> None:
    """The welcome holds the channel and one's own direct messages, and nobody else's."""
    welcome = await (await site.browser("/as/ben", greet=False)).ask(do="hello")
    assert [place["id"] for place in welcome["places"]] == ["c:growth", "d"]
    assert {item["place"] for item in welcome["items"]} == {"c:growth"}
    assert "privately" not in json.dumps(welcome)


async def test_both_browsers_hear_at_once_and_only_of_their_own(site: Site) -> None:
    """What is posted in the channel reaches both; a direct message reaches its person only."""
    ada, ben = await site.browser("/as/ada"), await site.browser("/as/ben")
    room = site.world.room
    await room.post(room.direct("ada"), Message(line("for Ada alone")), key="x1")
    await room.post(room.channel("growth"), Message(line("for all")), key="x2")
    await ada.until("messages")
    await ben.until("messages")
    assert [item["card"]["summary"][0]["text"] for item in ada.items()] == ["for Ada alone", "for all"]
    assert [item["card"]["summary"][0]["text"] for item in ben.items()] == ["for all"]
    assert "for Ada alone" not in json.dumps(ben.pushed)


async def test_browser_that_comes_back_gets_exactly_what_it_missed(site: Site) -> None:
    """After a lost line, the welcome holds what came or changed since, and no more."""
    ben = await site.browser("/as/ben", greet=False)
    first = await ben.ask(do="hello")
    await ben.socket.close()
    room = site.world.room
    new = await room.post(room.channel("growth"), Message(line("missed")), key="x1")
    await room.revise(room.channel("growth"), site.world.bot.card, Message(line("closed")))
    again = await site.browser("/as/ben", greet=False)
    back = await again.ask(do="hello", life=first["life"], since=first["rev"])
    assert back["whole"] is False
    assert sorted(item["id"] for item in back["items"]) == sorted([site.world.bot.card, new])


async def test_another_life_of_the_room_is_told_whole(site: Site) -> None:
    """Whoever remembers a room that was begun anew gets everything and is told to forget."""
    back = await (await site.browser("/as/ben", greet=False)).ask(do="hello", life="other", since=5)
    assert back["whole"] is True and len(back["items"]) > 3


async def test_mention_command_and_file_reach_the_bot(site: Site) -> None:
    """The bot's name in front is cut off and told; a command and a text file come through."""
    ada = await site.browser("/as/ada")
    content = base64.b64encode(b"a;b\n1;2\n").decode()
    files = [{"name": "a.csv", "size": 8, "content": content}, {"name": "big.bin", "size": 9**9, "content": None}]
    await ada.ask(do="say", key="k1", place="c:growth", text="@coldframe, status", thread=None, files=[])
    await ada.ask(do="say", key="k2", place="d", text="numbers", thread=None, files=files)
    await ada.ask(do="command", key="k3", place="d", text="help")
    mention, numbers, command = (event.what for event in site.world.bot.events[-3:])
    assert isinstance(mention, ports.Said) and mention.text == "status" and mention.mentioned
    assert isinstance(numbers, ports.Said)
    assert [(f.name, f.content, bool(f.problem)) for f in numbers.files] == [
        ("a.csv", b"a;b\n1;2\n", False),
        ("big.bin", None, True),
    ]
    assert command == ports.Commanded("help")


async def test_name_inside_a_word_is_no_mention(site: Site) -> None:
    """@coldframes is somebody's word, not the bot's name."""
    ada = await site.browser("/as/ada")
    await ada.ask(do="say", key="k1", place="c:growth", text="@coldframes are nice", thread=None, files=[])
    what = site.world.bot.events[-1].what
    assert isinstance(what, ports.Said) and not what.mentioned and what.text == "@coldframes are nice"


async def test_act_sent_again_after_a_lost_answer_acts_once(site: Site) -> None:
    """The page repeats an act with its key when the line broke; it stands once."""
    for _ in range(2):
        ada = await site.browser("/as/ada")
        answer = await ada.ask(do="say", key="same", place="d", text="once", thread=None, files=[])
        assert answer["taken"] is True
        await ada.socket.close()
    texts = [r.text for r in site.world.room.messages(site.world.room.direct("ada"))]
    assert texts.count("once") == 1


async def test_keys_of_two_people_never_meet(site: Site) -> None:
    """A key belongs to its person: another's act with the same key is another act."""
    for who in ("ada", "ben"):
        browser = await site.browser(f"/as/{who}")
        await browser.ask(do="say", key="same", place="c:growth", text=f"by {who}", thread=None, files=[])
    texts = [r.text for r in site.world.room.all_messages()]
    assert "by ada" in texts and "by ben" in texts


async def test_act_that_the_bot_cannot_take_is_said_to_be_kept(site: Site) -> None:
    """When the bot's door fails, the person learns that the words are kept."""

    class Broken:
        async def receive(self, _event: ports.Inbound) -> Reply:
            raise RuntimeError

    site.world.room.intake = Broken()
    ada = await site.browser("/as/ada")
    answer = await ada.ask(do="say", key="k1", place="d", text="kept", thread=None, files=[])
    assert answer["taken"] is False
    site.world.room.intake = site.world.bot
    assert await site.world.room.redeliver() == 1


async def test_form_errors_come_back_by_field(site: Site) -> None:
    """What the room or the bot finds wrong is told at the field, and the form stays open for a new try."""
    ada = await site.browser("/as/ada")
    card = site.world.bot.card
    opened = await ada.ask(do="press", key="k1", message=card, action="notes.write", value="r1")
    assert opened["form"]["title"] == "A note"
    for number, (text, wrong) in enumerate([("", ["text"]), ("again", ["text"]), ("a note", [])]):
        fields = {"text": text, "direction": "d1"}
        sent = await ada.ask(do="submit", key=f"s{number}", action="notes.send", value="r1", fields=fields)
        assert list(sent["errors"]) == wrong
    assert site.world.bot.kept == ["a note"]


async def test_open_form_is_there_after_a_reload(site: Site) -> None:
    """A form that was opened and not sent is offered again to whoever comes back; closed, it is gone."""
    ada = await site.browser("/as/ada")
    await ada.ask(do="press", key="k1", message=site.world.bot.card, action="notes.write", value="r1")
    back = await (await site.browser("/as/ada", greet=False)).ask(do="hello")
    assert [form["title"] for form in back["forms"]] == ["A note"]
    await ada.ask(do="close_form", action="notes.send", value="r1")
    back = await (await site.browser("/as/ada", greet=False)).ask(do="hello")
    assert back["forms"] == []


async def test_read_marks_travel_to_the_other_browser_of_the_same_person(site: Site) -> None:
    """What was read on one screen is read on the other."""
    one, other = await site.browser("/as/ada"), await site.browser("/as/ada")
    await one.ask(do="read", place="c:growth", message=site.world.bot.card)
    assert (await other.until("reads"))["reads"] == {"c:growth": site.world.bot.card}


async def test_earlier_messages_come_on_request(site: Site) -> None:
    """A long conversation is given from its end; what came before can be asked for."""
    room = site.world.room
    for number in range(200):
        await room.say("ben", room.channel("growth"), f"line {number}")
    browser = await site.browser("/as/ada", greet=False)
    first = min(i["id"] for i in (await browser.ask(do="hello"))["items"] if i["place"] == "c:growth")
    earlier = await browser.ask(do="earlier", place="c:growth", before=first)
    assert earlier["items"] and all(item["id"] < first for item in earlier["items"]) and earlier["more"] is False


# --- the door -----------------------------------------------------------------------------------------------


async def test_nobody_acts_as_another_where_personal_links_rule(site: Site) -> None:
    """With personal links the list of people and its addresses are closed."""
    site.world.server.acting = False
    assert await site.status("/as/ada") == 403
    async with site.session.get(f"{site.base}/") as answer:
        assert "Ada" not in await answer.text()


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1", None])
async def test_foreign_page_gets_no_wire(site: Site, origin: str | None) -> None:
    """Only the room's own page may open a wire: any other origin, or none, is forbidden."""
    assert await refused(site, "/as/ada/wire", origin=origin) == 403


async def test_foreign_name_of_the_server_is_refused(site: Site) -> None:
    """A name that somebody else's domain points here does not open the room."""
    assert await site.status("/as/ada", Host="evil.example") == 421
    assert await refused(site, "/as/ada/wire", origin="http://evil.example", headers={"Host": "evil.example"}) == 421


@pytest.mark.parametrize(
    "path",
    [
        "/as/{who}/messages",
        "/as/{who}/messages/{message}",
        "/as/{who}/{message}",
        "/as/{who}/files/{message}",
        "/as/{who}/files/{file}",
        "/page/{message}",
        "/page/../log.py",
        "/page/%2e%2e%2flog.py",
        "/messages/{message}",
        "/room.db",
    ],
)
@pytest.mark.parametrize("who", ["ben", "dee"])
async def test_private_words_have_no_address(site: Site, path: str, who: str) -> None:
    """A private note, and a file beside it, are not there for anybody else, whatever address is tried."""
    room = site.world.room
    note = await room.say("ada", room.direct("ada"), "- retention: secret words")
    sent = await room.upload(room.direct("ada"), TextFile("a.txt", "secret words", "secret words"), key="x1")
    file = room.message(sent).files[0].id
    async with site.session.get(site.base + path.format(who=who, message=note, file=file)) as answer:
        assert answer.status == 404 and "secret" not in await answer.text()


async def test_private_words_cannot_be_asked_for_over_the_wire(site: Site) -> None:
    """No question of another's browser brings out a private note: it is not there for them."""
    room = site.world.room
    note = await room.say("ada", room.direct("ada"), "- retention: secret words")
    ben = await site.browser("/as/ben")
    for order in (
        {"do": "earlier", "place": "d:ada", "before": "m999999"},
        {"do": "earlier", "place": "c:ada", "before": "m999999"},
        {"do": "read", "place": "d", "message": note},
        {"do": "react", "key": "k1", "message": note, "emoji": "👀", "added": True},
        {"do": "edit", "key": "k2", "message": note, "text": "x"},
        {"do": "say", "key": "k3", "place": "d", "text": "x", "thread": note, "files": []},
    ):
        assert (await ben.ask(**order))["error"]
    assert "secret" not in json.dumps(ben.pushed)


async def test_markup_goes_out_as_text_and_the_policy_forbids_scripts(site: Site) -> None:
    """Names with markup are escaped at the entrance; every page carries a policy without inline script."""
    await site.world.room.change_person(Person("ben", "<script>alert(1)</script>"))
    async with site.session.get(f"{site.base}/") as answer:
        assert "<script>alert" not in await answer.text()
        policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy and "trusted-types 'none'" in policy


async def test_file_names_cannot_break_out_of_the_header(site: Site) -> None:
    """A hostile file name is percent-encoded, and what is no picture is only ever downloaded."""
    room = site.world.room
    name = 'x"\r\nSet-Cookie: a=b\r\n.html'
    said = await room.say("ada", room.channel("growth"), "", files=[ports.IncomingFile(name, 1, b"<script>")])
    file = room.message(said).files[0].id
    async with site.session.get(f"{site.base}/as/ben/files/{file}") as answer:
        assert "Set-Cookie" not in answer.headers and "\r" not in answer.headers["Content-Disposition"]
        assert answer.headers["Content-Disposition"].startswith("attachment")
        assert "sandbox" in answer.headers["Content-Security-Policy"]
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(
    "words",
    [
        "{",
        "[]",
        '{"do":"say"}',
        '{"do":"fly","n":1}',
        '{"do":"ping","n":1,"more":2}',
        '{"do":"ping","n":-1}',
        '{"do":"ping","n":1e999}',
        "[" * 100_000,
        '{"do":"say","n":1,"key":"k","place":"d","text":"\\ud800","thread":null,"files":[]}',
        '{"do":"say","n":1,"key":"../k","place":"d","text":"x","thread":null,"files":[]}',
        json.dumps({"do": "say", "n": 1, "key": "k", "place": "d", "text": "x" * 40_002, "thread": None, "files": []}),
        json.dumps({"do": "rehearse", "n": 1, "what": "run", "speed": 1e9}),
    ],
)
async def test_nonsense_is_answered_and_changes_nothing(site: Site, words: str) -> None:
    """What cannot be read, or breaks a limit, is refused; the line and the room stay as they were."""
    before = len(site.world.room.all_messages())
    ada = await site.browser("/as/ada")
    await ada.socket.send_str(words)
    assert (await ada.hear())["error"]
    assert "error" not in await ada.ask(do="ping")
    assert len(site.world.room.all_messages()) == before


async def test_much_nonsense_and_huge_frames_end_the_line(site: Site) -> None:
    """A browser that sends nothing readable, or a frame beyond all limits, is cut off; others are not."""
    other = await site.browser("/as/ben")
    ada = await site.browser("/as/ada")
    for _ in range(20):
        await ada.socket.send_str("{")
    while not ada.socket.closed:
        await ada.socket.receive()
    assert ada.socket.close_code == 1008
    ada = await site.browser("/as/ada")
    with contextlib.suppress(ConnectionError):  # the line may be cut before all of it is sent
        await ada.socket.send_str("x" * (6 << 20))
    while not ada.socket.closed:
        await ada.socket.receive()
    assert ada.socket.close_code in {1009, 1006}  # 1006 when the cut came before the farewell was read
    assert "error" not in await other.ask(do="ping")


class Pace:
    """A real clock that stands still, and counts how long browsers are made to wait."""

    def __init__(self, world: SampleRoom) -> None:
        self.world = world
        self.waited = 0.0

    def now(self) -> Any:
        return self.world.clock.now()

    async def sleep(self, seconds: float) -> None:
        self.waited += seconds


async def test_flood_from_one_browser_is_slowed_and_told(site: Site) -> None:
    """Beyond the burst each question waits its turn, all are done in the end, and others wait for nothing."""
    pace = Pace(site.world)
    site.world.server.wall = pace
    ada = await site.browser("/as/ada")
    for number in range(60):
        await ada.ask(do="say", key=f"k{number}", place="d", text=f"{number}", thread=None, files=[])
    assert pace.waited > 5
    assert any(frame["push"] == "slow" for frame in ada.pushed)
    said = [r.text for r in site.world.room.messages(site.world.room.direct("ada")) if r.text]
    assert said == [str(number) for number in range(60)]
    waited = pace.waited
    ben = await site.browser("/as/ben")
    await ben.ask(do="say", key="k", place="d", text="hello", thread=None, files=[])
    assert pace.waited == waited


async def test_too_many_browsers_of_one_person_are_refused(site: Site) -> None:
    """One person cannot take all the lines."""
    open_lines = [await site.browser("/as/ada", greet=False) for _ in range(12)]
    assert await refused(site, "/as/ada/wire", origin=site.base) == 503
    assert len(open_lines) == 12 and await site.browser("/as/ben")


# --- the rehearsal ------------------------------------------------------------------------------------------


async def test_controls_reach_the_wiring_and_every_browser_sees_the_clock(site: Site) -> None:
    """Run, stop, jump, the others' part and starting again are handed on, and all browsers are told."""
    ada, ben = await site.browser("/as/ada"), await site.browser("/as/ben")
    for order in (
        {"what": "run", "speed": 600.0},
        {"what": "stop"},
        {"what": "jump"},
        {"what": "others", "step": "notes"},
        {"what": "again"},
    ):
        assert "error" not in await ada.ask(do="rehearse", **order)
    assert site.world.rehearsal.calls == ["run 600", "stop", "jump", "others notes ada", "again"]
    told = await ben.until("rehearsal")
    assert told["rehearsal"]["label"] == "notes close" and told["rehearsal"]["chores"][0]["key"] == "notes"


async def test_controls_are_refused_where_there_is_no_rehearsal(site: Site) -> None:
    """A real room's clock cannot be touched."""
    site.world.server._rehearsal = None
    ada = await site.browser("/as/ada")
    assert (await ada.ask(do="rehearse", what="jump"))["error"]
    assert site.world.rehearsal.calls == []


async def test_room_begun_anew_takes_the_place_of_the_old_one(site: Site) -> None:
    """After a new start every browser is told to begin anew, and then knows only the new room."""
    ada = await site.browser("/as/ada")
    site.world.open()
    site.world.furnish()
    site.world.server.replace(site.world.room)
    await ada.until("again")
    welcome = await ada.ask(do="hello")
    assert welcome["items"] == [] and welcome["whole"] is True
    site.world.room.add_person(replace(Person("new", "New")), "growth")
    assert (await ada.until("people"))["push"] == "people"


async def test_hostile_words_in_cards_arrive_as_they_were_written(site: Site) -> None:
    """Markup in people's words is data on the wire, whole and unaltered."""
    ada = await site.browser("/as/ada")
    words = "</script><img src=x onerror=alert(1)> \u202e \x00 @room"
    room = site.world.room
    await room.post(room.channel("growth"), Message(line("{it}", it=Theirs(words))), key="x1")
    await ada.until("messages")
    assert ada.items()[0]["card"]["summary"] == [{"kind": "theirs", "text": words}]


# --- what is private, on other people's screens ---


async def _private_things(site: Site, browser: Browser) -> None:
    """One of everything that a person does in private, over the wire."""
    world = site.world
    card_ = await world.room.post(world.room.direct("ada"), Message(line("canary-card")), key="k1")
    content = base64.b64encode(b"canary-content").decode()
    file = {"name": "canary-name.csv", "size": 14, "content": content}
    await browser.ask(do="say", key="a1", place="d", text="canary-line", files=[file])
    await browser.ask(do="say", key="a2", place="d", text="canary-thread", thread=card_)
    await browser.ask(do="react", key="a3", message=card_, emoji="🦜", added=True)
    await browser.ask(do="command", key="a4", place="d", text="canary-command")
    await world.room.home("room", "ada", Message(line("canary-home")))
    said = next(r.id for r in world.room.messages(world.room.direct("ada")) if r.text == "canary-thread")
    await browser.ask(do="edit", key="a5", message=said, text="canary-edit")


async def test_nothing_private_is_on_other_peoples_screens(site: Site) -> None:
    """Every frame that another browser of the same channel gets, from before, during and after, and when it comes
    again; nor can it ask for any of it."""
    ada, ben = await site.browser("/as/ada"), await site.browser("/as/ben")
    await _private_things(site, ada)
    await site.world.room.say("ada", site.world.room.channel("growth"), "for all")
    while not any(item["text"] == "for all" for item in ben.items()):
        await ben.hear()
    again = await (await site.browser("/as/ben", greet=False)).ask(do="hello")
    earlier = await ben.ask(do="earlier", place="d", before="m999999")
    theirs = json.dumps([ben.pushed, again, earlier], ensure_ascii=False)
    assert "canary" not in theirs and "🦜" not in theirs
    mine = json.dumps([ada.pushed, await ada.ask(do="hello")], ensure_ascii=False)
    assert [w for w in ("card", "name", "line", "edit", "home") if f"canary-{w}" not in mine] == []


async def test_a_page_forgets_what_is_over(site: Site) -> None:
    """An open page is told to begin anew, one that comes back gets all anew, and others go on as they were."""
    ada, ben = await site.browser("/as/ada"), await site.browser("/as/ben")
    welcome = await ada.ask(do="hello")
    await _private_things(site, ada)
    now = await ada.ask(do="hello")
    await site.world.room.clear("room", {person: Kept(site.world.clock.now()) for person in ("ada", "ben")})
    await ada.until("again")
    fresh = await ada.ask(do="hello", life=welcome["life"], since=now["rev"])
    assert fresh["whole"] and "canary" not in json.dumps(fresh)
    lines = [item["card"]["summary"] for item in fresh["items"] if item["place"] == "d"]
    assert len(lines) == 1 and "I've deleted what we wrote" in json.dumps(lines)
    later = await ada.ask(do="hello", life=welcome["life"], since=fresh["rev"])
    assert not later["whole"] and later["items"] == []
    bens = await ben.ask(do="hello", life=welcome["life"], since=now["rev"])
    assert not bens["whole"] and [frame for frame in ben.pushed if frame["push"] == "again"] == []


async def test_a_private_file_stays_in_no_browsers_store(site: Site) -> None:
    world = site.world
    for place, kept in ((world.room.direct("ada"), "no-store"), (world.room.channel("growth"), "max-age")):
        posted = await world.room.upload(place, TextFile("a.txt", "A", "a"), key=place.kind)
        file = world.room.message(posted).files[0].id
        async with site.session.get(f"{site.base}/as/ada/files/{file}") as answer:
            assert kept in answer.headers["Cache-Control"]
