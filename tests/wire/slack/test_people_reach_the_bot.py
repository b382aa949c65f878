"""What people do at the stand-in workspace arrives, once, over a real websocket and over signed requests."""

from __future__ import annotations

import asyncio
import logging
import random
from typing import Any

import pytest
from structlog.testing import capture_logs

from coldframe.message.nodes import Button, Buttons, Field, Form, Message, Option, Theirs, line
from coldframe.ports.chat import (
    ChannelLost,
    Commanded,
    Edited,
    Erased,
    HomeOpened,
    Joined,
    Left,
    PersonChanged,
    Pressed,
    Reacted,
    Reply,
    Said,
    Submitted,
)
from tests.wire.slack.people import CHANNEL, IN_CHANNEL, Someone
from tests.wire.slack.service import ListIntake, running
from tests.wire.slack.workspace import BOT_USER, Workspace

MODES = pytest.mark.parametrize("mode", ["socket", "http"])
People = dict[str, Someone]

CARD = Message(
    line("What helps, what hinders?"),
    (Buttons((Button("Write", "notes.write", "k1"), Button("I am done", "notes.done", "k1"))),),
)
FORM = Form(
    "A note",
    "notes.add",
    "k1",
    (
        Field("text", "Your note", "long", most=2000),
        Field("lever", "Lever", "choice", options=(Option("a", "activation"), Option("r", "retention"))),
    ),
)


@MODES
async def test_every_kind_of_doing_arrives_as_it_was_meant(workspace: Workspace, people: People, mode: Any) -> None:
    """Messages, threads, edits, deletions, emoji, mentions, the page, comings and goings: each one
    happening.
    """
    intake, ana = ListIntake(), people["Ana"]
    async with running(workspace, intake, mode) as platform:
        card = await platform.chat.post(IN_CHANNEL, CARD, key="k")
        first = ana.says("- retention: invoices <b>surprise</b>\n+ activation: a guided start")
        ana.says("in a thread", thread=first)
        ana.edits(first, "- retention: invoices come as a surprise")
        ana.erases(first)
        ana.reacts(card, "seedling::skin-tone-2", CHANNEL)
        ana.unreacts(card, "seedling::skin-tone-2", CHANNEL)
        ana.mentions("status")
        ana.opens_home()
        ana.leaves()
        ana.joins()
        workspace.event({"type": "channel_archive", "channel": CHANNEL, "user": ana.id})
        workspace.event({"type": "member_left_channel", "channel": CHANNEL, "user": BOT_USER})
        workspace.event({"type": "user_change", "user": workspace.users[ana.id] | {"deleted": True}})
        workspace.event({"type": "channel_rename", "channel": {"id": CHANNEL, "name": "new"}})
        workspace.event({"type": "never_seen_before"})
        await workspace.delivery.settled()
        await ana.commands("help")
    assert workspace.delivery.undelivered == []
    said, threaded, mention = sorted(intake.all(Said), key=lambda event: event.what.message)
    assert said.what.text == "- retention: invoices <b>surprise</b>\n+ activation: a guided start"
    assert threaded.what.thread == first
    assert (mention.what.text, mention.what.mentioned, mention.place.id) == ("status", True, CHANNEL)
    (edited,) = intake.all(Edited)
    assert edited.what == Edited(first, "- retention: invoices come as a surprise", edited.what.edition)
    assert edited.what.edition > first, "which of its editions it is"
    assert [event.what for event in intake.all(Erased)] == [Erased(first)]
    assert {event.what for event in intake.all(Reacted)} == {
        Reacted(card, "🌱", True),
        Reacted(card, "🌱", False),
    }
    assert len(intake.all(HomeOpened)) == len(intake.all(Left)) == len(intake.all(Joined)) == 1
    assert {event.what.reason for event in intake.all(ChannelLost)} == {"archived", "removed"}
    assert intake.all(PersonChanged)[0].what.person.is_gone
    assert [event.what for event in intake.all(Commanded)] == [Commanded("help")]
    assert workspace.complaints == []


@MODES
async def test_a_press_opens_a_form_and_its_errors_stand_at_their_fields(
    workspace: Workspace, people: People, mode: Any
) -> None:
    """Button, form, correction, next form: the whole way of a form, with the words kept until they are
    taken.
    """

    def reply(event: Any) -> Reply:
        match event.what:
            case Pressed(action="notes.write"):
                return Reply(form=FORM)
            case Submitted(fields=fields) if len(fields["text"]) < 5:
                return Reply(errors={"text": "Please say a little more.", "gone": "And this."})
            case Submitted(fields=fields) if fields["text"] == "one more":
                return Reply(form=Form("Another", "notes.add", "k2", FORM.fields))
        return Reply()

    intake, ben = ListIntake(reply), people["Ben"]
    async with running(workspace, intake, mode) as platform:
        await platform.chat.post(ben.place, CARD, key="k")
        (card,) = ben.inbox()
        assert (await ben.press(card, "Write")).ok
        view = await ben.sees(ben.form)
        answer = await ben.sends(text="hm", lever="r")
        assert answer.body["errors"] == {"text": "Please say a little more. And this."}
        assert ben.form() is view
        await ben.sends(text="one more", lever="r")
        assert ben.form()["title"]["text"] == "Another"
        assert (await ben.sends(text="that is all, <!channel>", lever="a")).ok
        assert ben.form() is None
    texts = [event.what.fields["text"] for event in intake.all(Submitted)]
    assert texts == ["hm", "one more", "that is all, <!channel>"]
    assert intake.all(Submitted)[-1].what.value == "k2"
    assert workspace.complaints == []


@MODES
async def test_a_private_word_reaches_only_who_asked(workspace: Workspace, people: People, mode: Any) -> None:
    """In a channel it is for one person's eyes; a command is answered in its acknowledgement; a DM in the
    DM.
    """
    intake = ListIntake(lambda event: Reply(note=Message((Theirs("only you <!channel>"),))))
    async with running(workspace, intake, mode) as platform:
        ts = await platform.chat.post(IN_CHANNEL, CARD, key="k")
        ana = people["Ana"]
        await ana.press(workspace.channels[CHANNEL].messages[ts], "Write", CHANNEL)
        await ana.sees(lambda: len(ana.notes()) == 1)
        await ana.commands("status")
        assert len(ana.notes()) == 2
        ana.says("hello")
        await ana.sees(ana.inbox)
        assert all("only you &lt;!channel&gt;" in note for note in ana.notes())
        assert people["Ben"].notes() == []
    assert workspace.complaints == []


@MODES
async def test_three_copies_in_any_order_are_one(workspace: Workspace, people: People, mode: Any) -> None:
    """Each event three times and shuffled: taken in once by its key, with the platform's own time to order
    by.
    """
    workspace.faults.repeat, workspace.faults.shuffle = 3, random.Random(7)
    intake = ListIntake()
    async with running(workspace, intake, mode):
        for number in range(40):
            for someone in people.values():
                someone.says(f"+ activation: idea {number}")
        await workspace.delivery.settled()
    assert intake.deliveries >= 3 * 40 * 8  # more when this machine is slow to acknowledge
    assert len(intake.all(Said)) == 40 * 8
    ordered = sorted(intake.all(Said), key=lambda event: event.at)
    assert [e.what.message for e in ordered] == sorted(e.what.message for e in ordered)


async def test_a_socket_dropped_every_fifty_events_loses_nothing(workspace: Workspace, people: People) -> None:
    """The bot connects again and Slack sends again what was not acknowledged."""
    workspace.faults.drop_socket_every = 50
    intake = ListIntake()
    async with running(workspace, intake):
        for number in range(25):
            for someone in people.values():
                someone.says(f"{number}")
            await asyncio.sleep(0.01)
        await workspace.delivery.settled()
    assert len(intake.all(Said)) == 200
    assert workspace.delivery.undelivered == []


async def test_a_refreshed_socket_is_replaced_without_loss(workspace: Workspace, people: People) -> None:
    """Slack asks every few hours for a new connection; the bot follows."""
    intake = ListIntake()
    async with running(workspace, intake):
        await workspace.delivery.refresh_sockets()
        for someone in people.values():
            someone.says("during the change")
        await workspace.delivery.settled()
    assert len(intake.all(Said)) == 8


@MODES
async def test_what_was_not_committed_is_not_acknowledged(
    workspace: Workspace, people: People, mode: Any, caplog: pytest.LogCaptureFixture
) -> None:
    """When the store is away, Slack keeps the event and sends it again; nothing of its text is logged."""
    left = [1, 1]
    intake = ListIntake(fail=lambda event: isinstance(event.what, Said) and bool(left) and bool(left.pop()))
    caplog.set_level(logging.DEBUG)
    with capture_logs() as events:
        async with running(workspace, intake, mode):
            people["Ana"].says("a secret note")
            await workspace.delivery.settled()
    assert intake.deliveries == 3
    assert len(intake.all(Said)) == 1
    lost = {"event": "slack.not_taken", "kind": "message", "problem": "RuntimeError", "log_level": "error"}
    assert events.count(lost) == 2
    assert "secret note" not in caplog.text + str(events)


@MODES
async def test_a_press_that_could_not_be_taken_in_is_told_and_a_form_keeps_its_words(
    workspace: Workspace, people: People, mode: Any
) -> None:
    """Slack repeats no press, so the person hears of it; the form stays open with what was written."""

    def reply(event: Any) -> Reply:
        return Reply(form=FORM) if isinstance(event.what, Pressed) else Reply()

    away = [False]
    intake, ana = ListIntake(reply, fail=lambda _: away[0]), people["Ana"]
    async with running(workspace, intake, mode) as platform:
        await platform.chat.post(ana.place, CARD, key="k")
        await ana.press(ana.inbox()[0], "Write")
        await ana.sees(ana.form)
        away[0] = True
        answer = await ana.sends(text="my note", lever="a")
        assert "still here" in answer.body["errors"]["text"]
        assert (await ana.press(ana.inbox()[0], "I am done")).ok
        await ana.sees(lambda: "try again" in ana.inbox()[-1]["text"])
        assert "try again" in (await ana.commands("mine")).body["text"]
        away[0] = False
        assert (await ana.sends(text="my note", lever="a")).body == {}
    assert len(intake.all(Submitted)) == 1
    assert workspace.complaints == []


@MODES
async def test_a_stop_finishes_what_is_in_hand_and_leaves_the_rest_to_the_next(
    workspace: Workspace, people: People, mode: Any
) -> None:
    """What was taken in before the stop is acknowledged; what comes later is not lost but sent again."""
    intake = ListIntake(pause=0.3)
    async with running(workspace, intake, mode):
        people["Ana"].says("just before the stop")
        while not intake.deliveries:
            await asyncio.sleep(0.01)
    workspace.delivery.addresses.clear()
    assert len(workspace.delivery.ack_seconds) == 1
    people["Ben"].says("while nobody is there")
    second = ListIntake()
    async with running(workspace, second, mode):
        await workspace.delivery.settled()
    assert [event.what.text for event in second.all(Said)] == ["while nobody is there"]


async def test_a_dropped_text_file_is_read_and_others_say_why_not(workspace: Workspace, people: People) -> None:
    """Small text comes with its content; a picture, a giant and a file from elsewhere come with the reason."""
    workspace.files["F1"] = {"content": b"+ activation: from a file"}

    def file(name: str, **more: Any) -> dict[str, Any]:
        given = {"id": "F1", "name": name, "size": 25, "mimetype": "text/plain"}
        return given | {"url_private_download": f"{workspace.address}/files/F1"} | more

    intake = ListIntake()
    async with running(workspace, intake):
        people["Ana"].says(
            "",
            files=[
                file("notes.txt"),
                file("photo.png", mimetype="image/png"),
                file("giant.csv", size=10**9),
                file("elsewhere.txt", url_private_download="https://evil.example/x"),
            ],
        )
        await workspace.delivery.settled()
    (event,) = intake.all(Said)
    contents = [file.content for file in event.what.files]
    problems = [file.problem for file in event.what.files]
    assert contents == [b"+ activation: from a file", None, None, None]
    assert problems == ["", "it isn't a text file", "it is too large", "it couldn't be read"]


async def test_a_person_s_status_is_no_news(workspace: Workspace, people: People) -> None:
    """Slack tells every change of status; only what the rules need comes in, and once."""
    intake = ListIntake()
    async with running(workspace, intake):
        for status in ("lunch", "back", "away"):
            user = dict(workspace.users["U0ANA"])
            user["profile"] = user["profile"] | {"status_text": status}
            workspace.event({"type": "user_change", "user": user})
            await workspace.delivery.settled()
        workspace.event({"type": "user_change", "user": workspace.users["U0ANA"] | {"tz": "Asia/Tokyo"}})
        await workspace.delivery.settled()
    assert [event.what.person.zone for event in intake.all(PersonChanged)] == ["Europe/Lisbon", "Asia/Tokyo"]


async def test_after_the_workspace_took_access_back_nothing_is_sent(workspace: Workspace, people: People) -> None:
    """A removed app is acknowledged and its account ends, so that no call is tried again."""
    from coldframe.ports.chat import Unreachable

    async with running(workspace, ListIntake()) as platform:
        workspace.event({"type": "app_uninstalled"})
        await workspace.delivery.settled()
        with pytest.raises(Unreachable):
            await platform.chat.post(IN_CHANNEL, CARD, key="k")
    assert workspace.delivery.undelivered == []
