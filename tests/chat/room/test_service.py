"""The room as people and the bot use it: who may do what, what the bot hears, and that nothing is lost."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from structlog.testing import capture_logs

from coldframe.chat.room.records import BOT, MAX_TEXT, NotThere, Refused
from coldframe.message.nodes import Button, Buttons, Field, Form, Message, Option, TextFile, Theirs, line
from coldframe.ports import chat as ports
from coldframe.ports.chat import Inbound, IncomingFile, Person, Reaction, Reply
from tests.chat.room.conftest import START, World

CARD = Message(
    line("Please vote on {it}.", it=Theirs("<b>*bold*</b>")),
    (
        Buttons(
            (Button("Vote", "ballot.vote", "p1"), Button("Done", "ballot.done", "")),
        ),
    ),
    seeds=("🌱",),
)
FORM = Form(
    "A plan",
    "plans.send",
    "r1",
    (
        Field("title", "Title", most=20),
        Field("weeks", "Weeks", "choice", initial="4", options=(Option("3", "3 weeks"), Option("4", "4 weeks"))),
        Field("why", "Why", "long", required=False),
    ),
)


async def test_bot_hears_what_is_said_with_place_person_and_time(world: World) -> None:
    """A message reaches the bot as it was written, with who, where and when."""
    said = await world.room.say("ada", world.room.direct("ada"), "- retention: exports break\nsecond line")
    (event,) = world.door.events
    assert event == Inbound(
        event.key,
        "ada",
        world.room.direct("ada"),
        START,
        ports.Said("- retention: exports break\nsecond line", said),
    )


async def test_mention_and_thread_come_through(world: World) -> None:
    """A mention in a thread is told as such, and the message hangs in the thread."""
    root = await world.room.post(world.room.channel("growth"), CARD, key="k1")
    await world.room.say("ben", world.room.channel("growth"), "status", thread=root, mentioned=True)
    what = world.door.events[0].what
    assert isinstance(what, ports.Said) and what.mentioned and what.thread == root
    assert [r.text for r in world.room.messages(world.room.channel("growth"), thread=root)] == [
        None,
        "status",
    ]


async def test_ids_are_ordered_and_the_same_on_every_run(world: World) -> None:
    """Message ids count up over the whole room, whoever writes."""
    ids = [
        await world.room.say("ada", world.room.direct("ada"), "one"),
        await world.room.post(world.room.channel("growth"), CARD, key="k1"),
        await world.room.say("ben", world.room.channel("growth"), "two"),
    ]
    assert ids == ["m000001", "m000002", "m000003"]
    assert [r.id for r in world.room.all_messages()] == ids


async def test_same_key_acts_once(world: World) -> None:
    """The same act sent again with its key is written once and heard once."""
    place = world.room.direct("ada")
    first = await world.room.say("ada", place, "hello", key="browser-1")
    again = await world.room.say("ada", place, "hello", key="browser-1")
    assert first == again and len(world.room.messages(place)) == 1 and len(world.door.events) == 1


async def test_broken_door_loses_nothing(world: World) -> None:
    """What the bot could not take is handed over after a restart, in order, with its first key and time."""
    card = await world.room.post(world.room.channel("growth"), CARD, key="k1")
    world.door.broken = True
    await world.room.say("ada", world.room.direct("ada"), "kept", files=[IncomingFile("a.csv", 3, b"\xff\x00a")])
    await world.room.press("ben", card, "ballot.vote", "p1")
    await world.room.react_as("cas", card, "❤")
    assert world.room.failures == {"RuntimeError": 3} and not world.door.events
    world.clock.moment += timedelta(days=1)
    world.door.broken = False
    world.restart()
    assert await world.room.redeliver() == 3
    assert [type(e.what) for e in world.door.events] == [ports.Said, ports.Pressed, ports.Reacted]
    said = world.door.events[0].what
    assert isinstance(said, ports.Said) and said.files[0].content == b"\xff\x00a"
    assert {e.at for e in world.door.events} == {START}
    assert await world.room.redeliver() == 0


async def test_words_of_an_act_are_gone_once_it_is_taken(world: World) -> None:
    """A sent form is not kept by the room after the bot has it: it is the bot that seals it."""
    await world.room.submit("ada", "plans.send", "r1", {"title": "my secret plan"}, forged=True)
    dump = "\n".join(world.room.log._db.iterdump())  # the only way to look for what must not be there
    assert "my secret plan" not in dump


async def test_failures_are_logged_without_words(world: World) -> None:
    """The log names the class of a failure and never what was written."""
    world.door.broken = True
    with capture_logs() as events:
        await world.room.say("ada", world.room.direct("ada"), "private words")
    assert [(e["event"], e["problem"], e["log_level"]) for e in events] == [
        ("room.act_not_taken", "RuntimeError", "warning")
    ]
    assert "private words" not in str(events)


async def test_nobody_writes_or_looks_into_others_messages(world: World) -> None:
    """Direct messages are for the two in them; everybody else gets the answer for what is not there."""
    card = await world.room.post(world.room.direct("ada"), CARD, key="k1")
    with pytest.raises(NotThere):
        await world.room.say("ben", world.room.direct("ada"), "hi")
    with pytest.raises(NotThere):
        await world.room.press("ben", card, "ballot.vote", "p1")
    with pytest.raises(NotThere):
        await world.room.react_as("ben", card, "❤")
    with pytest.raises(NotThere):
        await world.room.say("ben", world.room.direct("ben"), "hi", thread=card)
    assert not world.door.events


async def test_strangers_and_the_departed_cannot_vote(world: World) -> None:
    """Only members of the channel react there, and nobody who is gone for good."""
    card = await world.room.post(world.room.channel("growth"), CARD, key="k1")
    for stranger in ("eve", "nobody"):
        with pytest.raises(NotThere):
            await world.room.react_as(stranger, card, "❤")
    await world.room.change_person(Person("cas", "Cas Rivera", is_gone=True))
    with pytest.raises(NotThere):
        await world.room.react_as("cas", card, "❤")
    assert await world.room.reactions(world.room.channel("growth"), card) == ()


async def test_only_buttons_that_are_there_can_be_pressed(world: World) -> None:
    """A made-up button is refused; a test may forge one to see what the bot says."""
    card = await world.room.post(world.room.channel("growth"), CARD, key="k1")
    with pytest.raises(NotThere):
        await world.room.press("ada", card, "ballot.vote", "p2")
    await world.room.press("ada", card, "ballot.vote", "p2", forged=True)
    await world.room.press("ada", card, "ballot.vote", "p1")
    assert [e.what for e in world.door.events] == [
        ports.Pressed("ballot.vote", "p2", card),
        ports.Pressed("ballot.vote", "p1", card),
    ]


async def test_buttons_of_a_private_word_can_be_pressed_even_after_a_restart(world: World) -> None:
    """A private word stays until it is put away, and its buttons work, for its reader only."""
    world.door.replies.append(Reply(note=CARD))
    await world.room.command("ada", world.room.channel("growth"), "")
    world.restart()
    (note,) = world.room.notes("ada")
    assert note.message == CARD and note.place == world.room.channel("growth")
    await world.room.press("ada", None, "ballot.done")
    assert world.door.events[-1].what == ports.Pressed("ballot.done", "", None)
    with pytest.raises(NotThere):
        await world.room.press("ben", None, "ballot.done")
    world.room.put_away("ada", note.id)
    with pytest.raises(NotThere):
        await world.room.press("ada", None, "ballot.done")


async def opened(world: World) -> None:
    card = await world.room.post(world.room.channel("growth"), CARD, key="k1")
    world.door.replies.append(Reply(form=FORM))
    reply = await world.room.press("ada", card, "ballot.vote", "p1")
    assert reply.form == FORM


async def test_form_fills_in_what_it_held_at_first(world: World) -> None:
    """Fields that were left alone come back with what they showed."""
    await opened(world)
    await world.room.submit("ada", "plans.send", "r1", {"title": "Shorter set-up"})
    event = world.door.events[-1]
    assert event.what == ports.Submitted("plans.send", "r1", {"title": "Shorter set-up", "weeks": "4", "why": ""})
    assert event.place == world.room.channel("growth")


async def test_press_that_is_repeated_gives_its_open_form_again(world: World) -> None:
    """Whoever lost the answer to a press gets its form by the same key, until it is sent."""
    card = await world.room.post(world.room.channel("growth"), CARD, key="k1")
    world.door.replies.append(Reply(form=FORM))
    for _ in range(2):
        assert (await world.room.press("ada", card, "ballot.vote", "p1", key="same")).form == FORM
    await world.room.submit("ada", "plans.send", "r1", {"title": "A"})
    assert (await world.room.press("ada", card, "ballot.vote", "p1", key="same")).form is None
    assert [type(e.what) for e in world.door.events] == [ports.Pressed, ports.Submitted]


@pytest.mark.parametrize(
    ("fields", "wrong"), [({"title": " "}, "title"), ({"title": "x" * 21}, "title"), ({}, "title")]
)
async def test_form_with_a_wrong_field_stays_open_and_the_bot_is_not_asked(
    world: World, fields: dict[str, str], wrong: str
) -> None:
    """Missing and overlong fields are answered at the field; the form can then be sent rightly."""
    await opened(world)
    reply = await world.room.submit("ada", "plans.send", "r1", fields)
    assert list(reply.errors) == [wrong] and len(world.door.events) == 1
    assert not (await world.room.submit("ada", "plans.send", "r1", {"title": "Now"})).errors


async def test_form_that_the_bot_refuses_stays_open(world: World) -> None:
    """Errors from the bot keep the form; when it is taken, it is closed for good."""
    await opened(world)
    world.door.replies.append(Reply(errors={"title": "There is such a plan."}))
    assert (await world.room.submit("ada", "plans.send", "r1", {"title": "A"})).errors
    await world.room.submit("ada", "plans.send", "r1", {"title": "B"})
    with pytest.raises(NotThere):
        await world.room.submit("ada", "plans.send", "r1", {"title": "C"})


@pytest.mark.parametrize("fields", [{"title": "A", "made": "up"}, {"title": "A", "weeks": "9"}])
async def test_forged_fields_and_choices_are_refused(world: World, fields: dict[str, str]) -> None:
    """What the form never offered cannot come back from it."""
    await opened(world)
    with pytest.raises(Refused):
        await world.room.submit("ada", "plans.send", "r1", fields)


async def test_form_opened_for_one_is_closed_to_others(world: World) -> None:
    """Nobody sends another's form."""
    await opened(world)
    with pytest.raises(NotThere):
        await world.room.submit("ben", "plans.send", "r1", {"title": "A"})


async def test_edit_and_erase_are_for_the_writer(world: World) -> None:
    """One's own words can be changed and taken away, others' cannot; erased words are gone from the file."""
    place = world.room.channel("growth")
    said = await world.room.say("ada", place, "first words")
    with pytest.raises(NotThere):
        await world.room.edit("ben", said, "forged")
    await world.room.edit("ada", said, "better words")
    assert world.room.message(said).text == "better words" and world.room.message(said).edited
    with pytest.raises(NotThere):
        await world.room.erase("ben", said)
    await world.room.erase("ada", said)
    assert world.room.message(said).gone and world.room.message(said).text is None
    assert "better words" not in "\n".join(world.room.log._db.iterdump())
    assert [type(e.what) for e in world.door.events] == [ports.Said, ports.Edited, ports.Erased]


async def test_reaction_is_one_per_person_and_emoji(world: World) -> None:
    """The same emoji twice is one; taking it off tells the bot; the bot's own offer is not among people's."""
    place = world.room.channel("growth")
    card = await world.room.post(place, CARD, key="k1")
    await world.room.react_as("ada", card, "❤")
    await world.room.react_as("ada", card, "❤")
    await world.room.react_as("ada", card, "🌱")
    assert await world.room.reactions(place, card) == (Reaction("ada", "❤"), Reaction("ada", "🌱"))
    await world.room.react_as("ada", card, "❤", added=False)
    assert [e.what for e in world.door.events] == [
        ports.Reacted(card, "❤", True),
        ports.Reacted(card, "🌱", True),
        ports.Reacted(card, "❤", False),
    ]
    assert Reaction(BOT, "🌱") in world.room.message(card).reactions


@pytest.mark.parametrize("emoji", ["", "x" * 65, "heart", ":heart:", "a b", "a🌱", "🌱🌿", "🌱 ", "1", "🌱" * 65])
async def test_reaction_takes_one_emoji_only(world: World, emoji: str) -> None:
    """Anything but one emoji is refused, so that the ledger has one name for each."""
    card = await world.room.post(world.room.channel("growth"), CARD, key="k1")
    with pytest.raises(Refused):
        await world.room.react_as("ada", card, emoji)


@pytest.mark.parametrize("text", ["", "  \n ", "x" * (MAX_TEXT + 1), "half \ud83d"])
async def test_unstorable_text_is_refused_before_anything_is_written(world: World, text: str) -> None:
    """Nothing, too much and half characters leave no trace."""
    with pytest.raises(Refused):
        await world.room.say("ada", world.room.direct("ada"), text)
    assert not world.room.all_messages() and not world.door.events


async def test_odd_text_is_kept_as_it_is(world: World) -> None:
    """Markup, right-to-left marks, NUL and zero-width characters come back unaltered."""
    text = "<!channel> <script>alert(1)</script> \u202eabc\u200b \x00 @coldframe *x*"
    said = await world.room.say("ada", world.room.direct("ada"), text)
    assert world.room.message(said).text == text


async def test_coming_going_and_changing_are_told(world: World) -> None:
    """The bot hears who joins, leaves and changes, and the list of members follows."""
    await world.room.join(Person("dan", "Dan Ito", "Asia/Tokyo"), "growth")
    await world.room.leave("ada", "growth")
    await world.room.change_person(Person("ben", "Ben O.", "Europe/Lisbon"))
    assert [e.what for e in world.door.events] == [
        ports.Joined(),
        ports.Left(),
        ports.PersonChanged(Person("ben", "Ben O.", "Europe/Lisbon")),
    ]
    assert [p.id for p in await world.room.members(world.room.channel("growth"))] == [
        BOT,
        "ben",
        "cas",
        "dan",
    ]
    assert (await world.room.person("room", "ben")).zone == "Europe/Lisbon"


# --- the bot's side -----------------------------------------------------------------------------------------


async def test_posting_with_the_same_key_is_one_message(world: World) -> None:
    """The key makes a repeated post harmless, and `find` knows it, in its own conversation only."""
    place = world.room.channel("growth")
    posted = await world.room.post(place, CARD, key="k1")
    assert await world.room.post(place, CARD, key="k1") == posted
    assert await world.room.find(place, "k1", START) == posted
    assert await world.room.find(world.room.direct("ada"), "k1", START) is None
    assert await world.room.find(place, "k2", START) is None


async def test_lost_answer_leaves_the_message_and_a_lost_request_none(world: World) -> None:
    """After an unknown outcome only `find` can tell, and it tells rightly both ways."""
    place = world.room.channel("growth")
    world.room.faults.add("lose_answer")
    with pytest.raises(ports.OutcomeUnknown):
        await world.room.post(place, CARD, key="k1")
    world.room.faults.add("lose_request")
    with pytest.raises(ports.OutcomeUnknown):
        await world.room.post(place, CARD, key="k2")
    assert await world.room.find(place, "k1", START) == "m000001"
    assert await world.room.find(place, "k2", START) is None


async def test_refusals_come_as_often_as_told_and_where_told(world: World) -> None:
    """A planned trouble skips, strikes and ends as it was planned, on the operations it was planned for."""
    place = world.room.channel("growth")
    world.room.faults.add("refuse", skip=1, times=2)
    world.room.faults.add("slow", on=("revise",), seconds=7)
    posted = await world.room.post(place, CARD, key="k1")
    for _ in range(2):
        with pytest.raises(ports.NotDelivered):
            await world.room.post(place, CARD, key="k2")
    await world.room.post(place, CARD, key="k2")
    with pytest.raises(ports.SlowDown) as slowed:
        await world.room.revise(place, posted, CARD)
    assert slowed.value.seconds == 7 and world.room.faults.met == 3


async def test_out_of_reach_is_said_as_such(world: World) -> None:
    """Unknown conversations, people who left for good and missing messages are out of reach."""
    await world.room.change_person(Person("cas", "Cas", is_gone=True))
    elsewhere = replace(world.room.channel("growth"), tenant="elsewhere")
    nowhere = world.room.channel("growth", thread="m000999")
    for place in (
        world.room.channel("none"),
        world.room.direct("cas"),
        world.room.direct("none"),
        elsewhere,
        nowhere,
    ):
        with pytest.raises(ports.Unreachable):
            await world.room.post(place, CARD, key="k1")
    with pytest.raises(ports.Unreachable):
        await world.room.revise(world.room.channel("growth"), "m000001", CARD)


async def test_bot_changes_only_its_own_messages(world: World) -> None:
    """The bot cannot put words into people's messages; withdrawing what is gone already is no failure."""
    place = world.room.channel("growth")
    said = await world.room.say("ada", place, "mine")
    with pytest.raises(ports.Unreachable):
        await world.room.revise(place, said, CARD)
    posted = await world.room.post(place, CARD, key="k1")
    await world.room.withdraw(place, posted)
    await world.room.withdraw(place, posted)
    assert world.room.message(posted).gone and world.room.message(said).text == "mine"


async def test_files_are_for_those_who_see_the_message(world: World) -> None:
    """An attachment's bytes are given to the conversation's members and to nobody else."""
    posted = await world.room.upload(world.room.direct("ada"), TextFile("digest.txt", "Digest", "one line"), key="k1")
    (file,) = world.room.message(posted).files
    assert (file.name, file.title, file.size) == ("digest.txt", "Digest", 8)
    assert world.room.file("ada", file.id)[1] == b"one line"
    for person, wanted in (("ben", file.id), ("ada", "f000999"), ("ada", "x")):
        with pytest.raises(NotThere):
            world.room.file(person, wanted)


async def test_everything_stands_after_a_restart(world: World) -> None:
    """Cards, words, reactions, files, pages and members are the same after a new start."""
    place = world.room.channel("growth")
    posted = await world.room.post(place, CARD, key="k1")
    await world.room.react_as("ada", posted, "❤")
    await world.room.say("ada", place, "words", thread=posted)
    await world.room.upload(place, TextFile("a.txt", "A", "a"), key="k2")
    await world.room.home("room", "ada", CARD)
    before = (world.room.all_messages(), await world.room.members(place), world.room.log.home("ada"))
    world.restart()
    assert (world.room.all_messages(), await world.room.members(place), world.room.log.home("ada")) == before


async def test_whoever_looks_on_hears_of_every_change_and_can_ask_for_what_was_missed(world: World) -> None:
    """Changes are called out as they happen; a revision number gives exactly what came or changed after it."""
    heard: list[str] = []
    stop = world.room.listen(lambda change: heard.append(f"{change.kind} {change.subject}"))
    place = world.room.channel("growth")
    first = await world.room.post(place, CARD, key="k1")
    second = await world.room.post(place, CARD, key="k2")
    known = world.room.log.revision()
    await world.room.react_as("ada", first, "❤")
    await world.room.revise(place, first, replace(CARD, summary=line("Closed.")))
    third = await world.room.say("ada", place, "hello")
    assert [r.id for r in world.room.all_messages(above=known)] == [first, third]
    assert heard == [f"message {m}" for m in (first, second, first, first, third)]
    stop()
    await world.room.say("ada", place, "unheard")
    assert len(heard) == 5
