"""Events of Matrix as happenings: pure, and deaf to what is forged, foreign or not meant for the bot."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from coldframe.chat.matrix.history import is_edit
from coldframe.chat.matrix.inbound import NEVER, Known, as_told, happening, moment, words
from coldframe.ports.chat import ChannelLost, Commanded, Edited, Erased, Joined, Left, Place, Reacted, Said

ME, ANA = "@coldframe:example.org", "@ana/x:example.org:8448"
ROOM, DIRECT = Place("example.org", "channel", "!room"), Place("example.org", "direct", ANA)
NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)


def event(kind: str = "m.room.message", sender: str = ANA, **content: Any) -> dict[str, Any]:
    stamp = (NOW - timedelta(minutes=1)).timestamp() * 1000
    return {"type": kind, "event_id": "$1", "sender": sender, "origin_server_ts": stamp, "content": content}


def told(raw: dict[str, Any], place: Place = DIRECT, known: Known | None = None) -> Any:
    found = happening(raw, place, ME, NOW, known or Known())
    return found.what if found is not None else None


def text(body: str, **more: Any) -> dict[str, Any]:
    return event(msgtype="m.text", body=body, **more)


def test_a_message_comes_with_its_thread_and_key() -> None:
    hung = {
        "rel_type": "m.thread",
        "event_id": "$root",
        "is_falling_back": True,
        "m.in_reply_to": {"event_id": "$last"},
    }
    found = happening(text("- slow", **{"m.relates_to": hung}), DIRECT, ME, NOW, Known())
    assert found is not None and (found.key, found.person, found.place.thread) == ("matrix:$1", ANA, "$root")
    assert found.what == Said("- slow", "$1", "$root") and found.at == NOW - timedelta(minutes=1)


def test_an_answer_to_one_message_of_a_thread_is_under_that_one() -> None:
    hung = {"rel_type": "m.thread", "event_id": "$root", "is_falling_back": False, "m.in_reply_to": {"event_id": "$it"}}
    assert told(text("2", **{"m.relates_to": hung})) == Said("2", "$1", "$it")
    quoted = text("> <@bot> Which?\n> more\n\n2", **{"m.relates_to": {"m.in_reply_to": {"event_id": "$it"}}})
    assert told(quoted) == Said("2", "$1", "$it")


@pytest.mark.parametrize(
    ("body", "mentions", "left", "mentioned"),
    [
        ("coldframe: status", {}, "status", True),
        ("@coldframe status", {}, "status", True),
        ("@coldframe:example.org: status", {}, "status", True),
        ("Coldframe status", {"user_ids": [ME]}, "status", True),
        ("what of coldframe", {}, "what of coldframe", False),
        ("coldframes are nice", {"user_ids": ["@coldframes:x"]}, "coldframes are nice", False),
        ("hello", {"room": True}, "hello", False),
    ],
)
def test_the_bots_name_is_cut_from_what_is_said_to_it(
    body: str, mentions: dict[str, Any], left: str, mentioned: bool
) -> None:
    assert words({"msgtype": "m.text", "body": body, "m.mentions": mentions}, ME) == (left, mentioned)


def test_a_command_is_typed_with_an_exclamation_mark_or_a_slash() -> None:
    assert told(text("!coldframe status"), ROOM) == Commanded("status")
    assert told(text("/coldframe"), ROOM) == Commanded("")
    assert told(text("!coldframes")) == Said("!coldframes", "$1")


def test_an_edit_counts_only_by_the_hand_that_wrote_it() -> None:
    """Anybody can send an edit of anything; the server takes it."""
    edit = text("* new", **{"m.new_content": {"msgtype": "m.text", "body": "new"},
                            "m.relates_to": {"rel_type": "m.replace", "event_id": "$0"}})  # fmt: skip
    assert told(edit, known=Known(writer=ANA)) == Edited("$0", "new", "$1")
    assert told(edit, known=Known(writer="@ben:example.org")) is None
    assert told(edit, known=Known()) is None


def test_an_emoji_is_one_however_it_is_typed_and_a_word_is_none() -> None:
    def reaction(key: object) -> dict[str, Any]:
        return event("m.reaction", **{"m.relates_to": {"rel_type": "m.annotation", "event_id": "$0", "key": key}})

    assert told(reaction("👍🏽")) == told(reaction("👍\ufe0f")) == Reacted("$0", "👍", added=True)
    assert told(reaction("1\ufe0f\u20e3")) == Reacted("$0", "1\u20e3", added=True)
    assert told(reaction("a whole sentence")) is None and told(reaction({"x": 1})) is None


def test_what_is_taken_back_is_a_vote_or_a_message() -> None:
    gone = {**event("m.room.redaction"), "redacts": "$0"}
    assert told(gone, known=Known(reaction=("$m", "👍", ANA))) == Reacted("$m", "👍", added=False)
    assert told(gone, known=Known(writer=ANA)) == Erased("$0")
    assert told(gone) is None


def test_who_comes_and_goes_is_told_of_rooms_alone() -> None:
    def member(now: str, before: str, person: str = ANA) -> dict[str, Any]:
        found = event("m.room.member", membership=now)
        return {**found, "state_key": person, "unsigned": {"prev_content": {"membership": before}}}

    assert told(member("join", "invite"), ROOM) == Joined()
    assert told(member("join", "join"), ROOM) is None
    assert told(member("leave", "join"), ROOM) == Left() == told(member("ban", "join"), ROOM)
    assert told(member("leave", "invite"), ROOM) is None
    assert told(member("ban", "join", ME), ROOM) == ChannelLost("removed")
    assert told(member("leave", "join"), DIRECT) is None


def test_nobody_else_speaks_in_somebodys_direct_messages() -> None:
    """A third person who was let into the room is not heard there; neither is a bot, nor the bot itself."""
    assert told({**text("- slow"), "sender": "@ben:example.org"}) is None
    assert told({**text("- slow"), "sender": ME}) is None
    assert told(event(msgtype="m.notice", body="- slow")) is None


@pytest.mark.parametrize("stamp", [None, True, "x", 1e30, float("inf")])
def test_another_servers_clock_is_not_believed_beyond_now(stamp: object) -> None:
    assert moment({"origin_server_ts": stamp}, NOW) == NOW
    assert moment({"origin_server_ts": (NOW + timedelta(days=9)).timestamp() * 1000}, NOW) == NOW


@pytest.mark.parametrize(
    "content",
    [{}, {"msgtype": 5}, {"msgtype": "m.text"}, {"msgtype": "m.text", "body": None}, {"msgtype": "m.text", "body": {}},
     {"msgtype": "m.text", "body": "x", "m.relates_to": "x"}, {"msgtype": "m.text", "body": "x", "m.mentions": "x"},
     {"msgtype": "m.text", "body": "x", "m.relates_to": {"rel_type": "m.replace"}}],
)  # fmt: skip
def test_misshapen_events_break_nothing(content: dict[str, Any]) -> None:
    for kind in ("m.room.message", "m.reaction", "m.room.redaction", "m.room.member"):
        for place in (ROOM, DIRECT):
            happening(event(kind, **content), place, ME, NOW, Known(writer=ANA))


def test_a_line_read_back_has_the_newest_words_and_its_first_key() -> None:
    edit = text("* new", **{"m.new_content": {"msgtype": "m.text", "body": "new"}}) | {"event_id": "$2"}
    found = as_told(text("old"), edit, DIRECT, ME)
    assert found.key == "matrix:$1" and found.what == Said("new", "$1", edition="$2")


def test_what_is_misshapen_in_a_room_keeps_nobody_from_reading_it_back() -> None:
    assert not is_edit(text("x", **{"m.relates_to": "m.replace"})) and is_edit(
        text("x", **{"m.relates_to": {"rel_type": "m.replace", "event_id": "$0"}})
    )
    assert moment({"origin_server_ts": 1e300}) == moment({}) == NEVER
