"""Payloads in the shapes that Slack's reference pages print -> happenings; foreign and misshapen ones
refused.
"""

from __future__ import annotations

import copy
import json
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.chat.slack import inbound, interactions, reading
from coldframe.chat.slack.inbound import Ignored, Me, Refused
from coldframe.ports.chat import (
    ChannelLost,
    Commanded,
    Edited,
    Erased,
    HomeOpened,
    Inbound,
    IncomingFile,
    Joined,
    Left,
    Person,
    PersonChanged,
    Place,
    Pressed,
    Reacted,
    Said,
    Submitted,
)

ME = Me(team="T1", bot_user="UBOT", bot="B1", app="A1")
NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
DIRECT = Place("T1", "direct", "U1")
CHANNEL = Place("T1", "channel", "C1")


def wrapped(event: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {
        "type": "event_callback",
        "team_id": "T1",
        "api_app_id": "A1",
        "event_id": "Ev1",
        "event_time": 1772452800,
        "authorizations": [{"team_id": "T1", "user_id": "UBOT", "is_bot": True}],
        "event": {"event_ts": "1772452800.000200", **event},
        **more,
    }


def said(**changes: Any) -> dict[str, Any]:
    base = {"type": "message", "channel": "D1", "channel_type": "im", "user": "U1", "text": "hi", "ts": "5.000001"}
    return base | changes


EVENTS = [
    (said(), DIRECT, Said("hi", "5.000001")),
    (said(text="&lt;b&gt; &amp;lt; &amp;amp;"), DIRECT, Said("<b> &lt; &amp;", "5.000001")),
    (
        said(thread_ts="4.000001"),
        Place("T1", "direct", "U1", "4.000001"),
        Said("hi", "5.000001", thread="4.000001"),
    ),
    (said(thread_ts="5.000001"), DIRECT, Said("hi", "5.000001")),
    (
        said(subtype="file_share", text="", files=[{"id": "F1", "name": "notes.txt", "size": 12}]),
        DIRECT,
        Said("", "5.000001", files=(IncomingFile("notes.txt", 12),)),
    ),
    (
        {
            "type": "message",
            "subtype": "message_changed",
            "channel": "D1",
            "ts": "6.0",
            "message": {"user": "U1", "text": "new &amp; old", "ts": "5.000001", "edited": {"user": "U1", "ts": "6.0"}},
            "previous_message": {"user": "U1", "text": "old", "ts": "5.000001"},
        },
        DIRECT,
        Edited("5.000001", "new & old", "6.0"),
    ),
    (
        {
            "type": "message",
            "subtype": "message_deleted",
            "channel": "D1",
            "deleted_ts": "5.000001",
            "previous_message": {"user": "U1", "text": "old", "ts": "5.000001", "thread_ts": "4.000001"},
        },
        Place("T1", "direct", "U1", "4.000001"),
        Erased("5.000001"),
    ),
    (
        {
            "type": "message",
            "subtype": "message_changed",
            "channel": "D1",
            "message": {"subtype": "tombstone", "user": "USLACKBOT", "ts": "5.000001", "text": "gone"},
            "previous_message": {"user": "U1", "text": "old", "ts": "5.000001"},
        },
        DIRECT,
        Erased("5.000001"),
    ),
    (
        {"type": "app_mention", "channel": "C1", "user": "U1", "text": "<@UBOT> status", "ts": "5.000001"},
        CHANNEL,
        Said("status", "5.000001", mentioned=True),
    ),
    (
        {
            "type": "app_mention",
            "channel": "C1",
            "user": "U1",
            "text": "<@UBOT|coldframe> close",
            "ts": "5.000001",
            "thread_ts": "4.000001",
        },
        Place("T1", "channel", "C1", "4.000001"),
        Said("close", "5.000001", thread="4.000001", mentioned=True),
    ),
    (
        {
            "type": "reaction_added",
            "user": "U1",
            "reaction": "thumbsup::skin-tone-3",
            "item": {"type": "message", "channel": "D1", "ts": "5.000001"},
        },
        DIRECT,
        Reacted("5.000001", "👍", True),
    ),
    (
        {
            "type": "reaction_removed",
            "user": "U1",
            "reaction": "seedling",
            "item": {"type": "message", "channel": "C1", "ts": "5.000001"},
        },
        CHANNEL,
        Reacted("5.000001", "🌱", False),
    ),
    ({"type": "app_home_opened", "user": "U1", "channel": "D1", "tab": "home"}, DIRECT, HomeOpened()),
    ({"type": "member_joined_channel", "user": "U1", "channel": "C1", "team": "T1"}, CHANNEL, Joined()),
    ({"type": "member_joined_channel", "user": "UBOT", "channel": "C1"}, CHANNEL, Joined()),
    ({"type": "member_left_channel", "user": "U1", "channel": "C1", "team": "T1"}, CHANNEL, Left()),
    ({"type": "member_left_channel", "user": "UBOT", "channel": "C1"}, CHANNEL, ChannelLost("removed")),
    ({"type": "channel_left", "channel": "C1", "actor_id": "U1"}, CHANNEL, ChannelLost("removed")),
    ({"type": "channel_archive", "channel": "C1", "user": "U1"}, CHANNEL, ChannelLost("archived")),
    ({"type": "group_archive", "channel": "C1", "user": "U1"}, CHANNEL, ChannelLost("archived")),
    ({"type": "channel_deleted", "channel": "C1"}, CHANNEL, ChannelLost("deleted")),
    (
        {"type": "channel_id_changed", "old_channel_id": "C1", "new_channel_id": "C2"},
        CHANNEL,
        ChannelLost("removed"),
    ),
    (
        {"type": "user_change", "user": {"id": "U1", "deleted": True, "name": "ana", "tz": "Europe/Lisbon"}},
        DIRECT,
        PersonChanged(Person("U1", "ana", "Europe/Lisbon", is_gone=True)),
    ),
]


@pytest.mark.parametrize(("payload", "place", "what"), EVENTS, ids=lambda value: type(value).__name__)
def test_each_event_becomes_its_happening(payload: dict[str, Any], place: Place, what: object) -> None:
    """Every event that the bot subscribes to is told in the words of the door, at Slack's own time, under its id; what
    is written under the message's.
    """
    got = inbound.event(wrapped(payload), ME, NOW)
    assert isinstance(got, Inbound)
    assert (got.place, got.what) == (place, what)
    where = "D1" if place.kind == "direct" else "C1"
    assert got.key == (f"slack:T1:{where}:{what.message}" if isinstance(what, Said) else "slack:T1:Ev1")
    assert got.at == datetime(2026, 3, 2, 12, 0, 0, 200, tzinfo=UTC)


SILENT = [
    said(bot_id="B9", subtype="bot_message"),
    said(user="UBOT"),
    said(channel="C1", channel_type="channel"),
    said(subtype="channel_join"),
    {
        "type": "message",
        "subtype": "message_changed",
        "channel": "D1",
        "message": {"user": "U1", "text": "same", "ts": "5.0", "attachments": [{}]},
        "previous_message": {"user": "U1", "text": "same", "ts": "5.0"},
    },
    {
        "type": "message",
        "subtype": "message_changed",
        "channel": "D1",
        "message": {"bot_id": "B1", "user": "UBOT", "text": "card", "ts": "5.0", "edited": {}},
    },
    {
        "type": "message",
        "subtype": "message_deleted",
        "channel": "D1",
        "deleted_ts": "5.0",
        "previous_message": {"bot_id": "B1", "user": "UBOT", "ts": "5.0"},
    },
    {"type": "app_mention", "channel": "D1", "user": "U1", "text": "<@UBOT> x", "ts": "5.0"},
    {
        "type": "reaction_added",
        "user": "UBOT",
        "reaction": "x",
        "item": {"type": "message", "channel": "D1", "ts": "5"},
    },
    {"type": "reaction_added", "user": "U1", "reaction": "x", "item": {"type": "file", "file": "F1"}},
    {"type": "channel_rename", "channel": {"id": "C1", "name": "new"}},
    {"type": "something_new"},
]


@pytest.mark.parametrize("payload", SILENT, ids=lambda value: f"{value['type']}-{value.get('subtype', '')}")
def test_echoes_and_foreign_matters_are_let_go(payload: dict[str, Any]) -> None:
    """Bots, own messages, previews, doubled mentions and names of channels change nothing."""
    assert isinstance(inbound.event(wrapped(payload), ME, NOW), Ignored)


PRESS = {
    "type": "block_actions",
    "team": {"id": "T1"},
    "user": {"id": "U1", "team_id": "T1"},
    "api_app_id": "A1",
    "trigger_id": "1.2.abc",
    "channel": {"id": "D1"},
    "container": {"type": "message", "message_ts": "5.000001", "channel_id": "D1"},
    "message": {"ts": "5.000001"},
    "actions": [{"type": "button", "action_id": "dots.add#3", "value": "k1", "action_ts": "1772452800.000200"}],
}
FORM = {
    "type": "view_submission",
    "team": {"id": "T1"},
    "user": {"id": "U1", "team_id": "T1"},
    "api_app_id": "A1",
    "trigger_id": "1.2.abc",
    "view": {
        "id": "V1",
        "hash": "h",
        "callback_id": "plans.add",
        "private_metadata": json.dumps({"value": "k1", "origin": "C1|4.000001"}),
        "state": {
            "values": {
                "title": {"in": {"type": "plain_text_input", "value": "A <!channel> title"}},
                "none": {"in": {"type": "plain_text_input", "value": None}},
                "many": {"in": {"type": "number_input", "value": "1.5"}},
                "day": {"in": {"type": "datepicker", "selected_date": "2026-03-02"}},
                "one": {"in": {"type": "static_select", "selected_option": {"value": "a"}}},
                "radio": {"in": {"type": "radio_buttons", "selected_option": None}},
                "some": {"in": {"type": "checkboxes", "selected_options": [{"value": "a"}, {"value": "b"}]}},
                "who": {"in": {"type": "users_select", "selected_user": "U2"}},
                "tick": {"in": {"type": "checkboxes", "selected_options": []}},
            }
        },
    },
}
COMMAND = {
    "command": "/coldframe",
    "text": "search &lt;b&gt; <@U2|ben>",
    "team_id": "T1",
    "user_id": "U1",
    "channel_id": "C1",
    "trigger_id": "1.2.abc",
    "api_app_id": "A1",
}


def changed(payload: dict[str, Any], **changes: Any) -> dict[str, Any]:
    return copy.deepcopy(payload) | changes


def test_a_press_tells_action_value_and_message() -> None:
    """The number that tells equal buttons apart is Slack's business and does not come in."""
    got = interactions.press(PRESS, ME, NOW)
    assert isinstance(got, Inbound)
    assert got.what == Pressed("dots.add", "k1", "5.000001")
    assert (got.key, got.place, got.person) == ("slack:T1:1.2.abc", DIRECT, "U1")


def test_a_press_on_the_page_or_on_a_passing_note_names_no_message() -> None:
    """Only a message that lasts can be revised, so only that is named."""
    page = changed(PRESS, container={"type": "view", "view_id": "V1"}, view={"type": "home"})
    del page["message"], page["channel"]
    note = changed(PRESS, container={"type": "message", "is_ephemeral": True, "channel_id": "C1"})
    for payload in (page, note):
        got = interactions.press(payload, ME, NOW)
        assert isinstance(got, Inbound) and isinstance(got.what, Pressed)
        assert got.what.message is None


def test_a_sent_form_tells_its_fields_and_where_it_was_opened() -> None:
    """Every shape of input comes in as text, what was left empty as the empty text."""
    got = interactions.form(FORM, ME, NOW)
    assert isinstance(got, Inbound) and isinstance(got.what, Submitted)
    assert got.place == Place("T1", "channel", "C1", "4.000001")
    assert (got.what.action, got.what.value) == ("plans.add", "k1")
    assert got.what.fields == {
        "title": "A <!channel> title",
        "none": "",
        "many": "1.5",
        "day": "2026-03-02",
        "one": "a",
        "radio": "",
        "some": "a\nb",
        "who": "U2",
        "tick": "",
    }


def test_a_command_tells_its_words_decoded() -> None:
    """What stands after the command comes in as the person sees it, but for people, who are named by their ids."""
    got = interactions.command(COMMAND, ME, NOW)
    assert isinstance(got, Inbound)
    assert (got.what, got.place) == (Commanded("search <b> @U2"), CHANNEL)


FOREIGN = [
    (inbound.event, wrapped(said(), authorizations=[{"team_id": "T2"}])),
    (inbound.event, wrapped(said(), api_app_id="A2")),
    (interactions.press, changed(PRESS, team={"id": "T2"})),
    (interactions.press, changed(PRESS, api_app_id="A2")),
    (interactions.press, changed(PRESS, user={"id": "U9", "team_id": "T2"})),
    (interactions.form, changed(FORM, team={"id": "T2"})),
    (interactions.form, changed(FORM, view=FORM["view"] | {"private_metadata": "not ours"})),
    (interactions.command, changed(COMMAND, team_id="T2")),
]


@pytest.mark.parametrize(("translate", "payload"), FOREIGN)
def test_another_workspace_app_or_organisation_is_refused(translate: Any, payload: dict[str, Any]) -> None:
    """Ids of another team mean nothing here, even when the signature is good."""
    assert isinstance(translate(payload, ME, NOW), Refused)


def test_another_organisation_is_refused_and_colleagues_of_the_own_one_are_not() -> None:
    """Inside one organisation a person's home workspace may differ; another organisation's id is refused."""
    me = Me("T1", "UBOT", app="A1", enterprise="E1")
    assert isinstance(interactions.press(changed(PRESS, enterprise={"id": "E2"}), me, NOW), Refused)
    colleague = changed(PRESS, enterprise={"id": "E1"}, user={"id": "U9", "team_id": "T7"})
    assert isinstance(interactions.press(colleague, me, NOW), Inbound)


def test_in_a_shared_channel_the_own_installation_counts() -> None:
    """`team_id` may be the other side's; the first authorization says whose installation it is."""
    assert isinstance(inbound.event(wrapped(said(), team_id="T2"), ME, NOW), Inbound)


def test_a_press_without_trigger_is_known_by_its_content() -> None:
    """The same press without an id gives the same key, another gives another."""
    bare = changed(PRESS)
    del bare["trigger_id"]
    other = changed(bare, actions=[PRESS["actions"][0] | {"action_ts": "7.0"}])
    keys = [interactions.press(payload, ME, NOW).key for payload in (bare, copy.deepcopy(bare), other)]  # type: ignore[union-attr]
    assert keys[0] == keys[1] != keys[2]


JSONS = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@given(JSONS, st.sampled_from(["event", "view", "actions", "user", "text", "trigger_id"]))
def test_a_misshapen_payload_never_breaks_the_door(value: Any, where: str) -> None:
    """Whatever stands in a payload, the answer is a happening, a refusal or silence, never an exception."""
    for translate, payload in (
        (inbound.event, wrapped(said())),
        (interactions.press, PRESS),
        (interactions.form, FORM),
        (interactions.command, COMMAND),
    ):
        assert translate(payload | {where: value}, ME, NOW) is not None
    for key in said():
        assert inbound.event(wrapped(said() | {key: value}), ME, NOW) is not None


@pytest.mark.parametrize(
    ("raw", "read"),
    [
        ("<https://a.example/x>", "https://a.example/x"),
        ("<http://a.example|a.example>", "a.example"),
        ("<https://evil.example|bank>", "bank (https://evil.example)"),
        ("<https://a.example?x=1&amp;y=2>", "https://a.example?x=1&y=2"),
        ("<mailto:a@b.example|a@b.example>", "a@b.example"),
        ("<!channel> <!here|here> <!subteam^S1|@team>", "@channel @here @team"),
        ("<@U2> <#C2|general>", "@U2 #general"),
        ("<!date^1^{date}|1970-01-01>", "1970-01-01"),
        ("+ retention: a &lt; b\n- activation: c", "+ retention: a < b\n- activation: c"),
        ("&amp;lt;!channel&amp;gt;", "&lt;!channel&gt;"),
    ],
)
def test_text_is_read_as_the_person_saw_it(raw: str, read: str) -> None:
    """Tokens become their readable text and entities are decoded once, so that an escaped entity stays one."""
    assert reading.words(raw) == read


def test_a_time_stamp_stays_exact() -> None:
    """A `ts` is text of microseconds; as a float it would lose its last digits."""
    for text in ("1772452800.000001", "1772452800.999999", "1772452800.123456"):
        assert reading.stamp(reading.moment(text, NOW)) == text
    assert reading.moment("not a time", NOW) == NOW


@pytest.mark.parametrize(
    ("user", "expected"),
    [
        (
            {"id": "U1", "profile": {"display_name": "Ana"}, "tz": "Asia/Kathmandu"},
            Person("U1", "Ana", "Asia/Kathmandu"),
        ),
        ({"id": "U1", "profile": {"display_name": " ", "real_name": "Ana B"}}, Person("U1", "Ana B")),
        ({"id": "USLACKBOT", "name": "slackbot"}, Person("USLACKBOT", "slackbot", is_bot=True)),
        ({"id": "U1", "name": "g", "is_ultra_restricted": True}, Person("U1", "g", is_guest=True)),
        ({"id": "U1", "name": "s", "team_id": "T2"}, Person("U1", "s", is_foreign=True)),
        ({"id": "U1", "name": "s", "is_stranger": True}, Person("U1", "s", is_foreign=True)),
        ({"id": "U1", "name": "d", "deleted": True}, Person("U1", "d", is_gone=True)),
    ],
)
def test_people_come_with_what_the_rules_need(user: dict[str, Any], expected: Person) -> None:
    """Bots, guests, strangers and people who left are told apart; the name is what others see."""
    assert reading.person(user, "T1") == expected
