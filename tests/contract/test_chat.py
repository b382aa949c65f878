"""What every platform must do for the bot (`coldframe.ports.chat.Chat`): one body, run over each of them."""

from __future__ import annotations

import dataclasses
from collections.abc import AsyncIterator
from datetime import timedelta
from pathlib import Path

import pytest

from coldframe.message.nodes import Button, Buttons, Message, Paragraph, Quoted, Rule, TextFile, Theirs, line
from coldframe.ports.chat import (
    Capabilities,
    ChatError,
    Denial,
    Edited,
    Hindrance,
    Inbound,
    NotDelivered,
    OutcomeUnknown,
    Place,
    Reaction,
    Said,
    SlowDown,
    Unreachable,
)
from coldframe.ports.clearing import Kept
from tests.contract.platforms import NEEDS, PLATFORMS, Platform

FILE = TextFile("words.txt", "Words", "in a file")


def card(words: str, *more: Paragraph | Quoted | Buttons | Rule) -> Message:
    said = line("{words}", words=Theirs(words))
    return Message(said, (Paragraph(said), *more))


def needs(can: bool) -> None:
    """What a platform says that it cannot do is never asked of it."""
    if not can:
        pytest.skip("the platform says that it cannot")


@pytest.fixture(params=[pytest.param(name, marks=NEEDS.get(name, ())) for name in PLATFORMS])
async def at(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> AsyncIterator[Platform]:
    """One platform after the other."""
    for name in ("HTTPS_PROXY", "HTTP_PROXY", "https_proxy", "http_proxy"):
        monkeypatch.delenv(name, raising=False)
    async with PLATFORMS[request.param](tmp_path) as platform:
        yield platform


@pytest.fixture(params=["channel", "direct"])
def place(request: pytest.FixtureRequest, at: Platform) -> Place:
    """A conversation of either kind."""
    return at.channel if request.param == "channel" else Place(at.channel.tenant, "direct", at.people[0])


async def test_a_message_stands_where_it_was_posted(at: Platform, place: Place) -> None:
    """What is posted is shown in its conversation and in no other, and ids are told apart."""
    first = await at.chat.post(place, card("sunlit"), key="k1")
    second = await at.chat.post(place, card("rainy"), key="k2")
    assert first != second
    shown = at.shown(place)
    assert ["sunlit" in text for text in shown] == [True, False]
    other = Place(place.tenant, "direct", at.people[1])
    assert at.shown(other) == []


async def test_a_message_is_changed_in_place(at: Platform, place: Place) -> None:
    """Where edits are possible the new content stands where the old one stood."""
    posted = await at.chat.post(place, card("sunlit"), key="k1")
    needs(at.chat.capabilities.edits)
    await at.chat.revise(place, posted, card("rainy"))
    (shown,) = at.shown(place)
    assert "rainy" in shown and "sunlit" not in shown


async def test_a_message_is_taken_back_and_again(at: Platform, place: Place) -> None:
    """Where deletions are possible a message goes, and asking once more for what is gone is fine."""
    posted = await at.chat.post(place, card("sunlit"), key="k1")
    needs(at.chat.capabilities.deletions)
    for _ in range(2):
        await at.chat.withdraw(place, posted)
    assert at.shown(place) == []


async def test_an_answer_hangs_in_the_thread_of_its_message(at: Platform, place: Place) -> None:
    """Where there are threads a place may name one, and a message in it is changed and found there."""
    needs(at.chat.capabilities.threads)
    root = await at.chat.post(place, card("sunlit"), key="k1")
    thread = dataclasses.replace(place, thread=root)
    answer = await at.chat.post(thread, card("rainy"), key="k2")
    assert await at.chat.find(thread, "k2", at.now() - timedelta(minutes=1)) == answer
    await at.chat.revise(thread, answer, card("windy"))
    assert ["windy" in text for text in at.shown(place)] == [False, True]


async def test_a_file_is_shared_and_found_by_its_key(at: Platform, place: Place) -> None:
    """Where files are possible an attachment is one, and it can be taken back like a message."""
    needs(at.chat.capabilities.files)
    shared = await at.chat.upload(place, FILE, key="k1")
    assert at.files(place) == 1
    assert await at.chat.find(place, "k1", at.now() - timedelta(minutes=1)) is not None
    await at.chat.withdraw(place, shared)
    assert at.files(place) == 0


@pytest.mark.parametrize("kind", ["post", "upload"])
async def test_after_a_lost_answer_the_key_tells_whether_it_went_out(at: Platform, place: Place, kind: str) -> None:
    """The outcome is unknown, never guessed; looking for the key finds what went out, and only that."""
    needs(kind == "post" or at.chat.capabilities.files)
    at.trouble("lost answer")
    with pytest.raises(OutcomeUnknown):
        await (
            at.chat.post(place, card("sunlit"), key="k1") if kind == "post" else at.chat.upload(place, FILE, key="k1")
        )
    at.trouble(None)
    since = at.now() - timedelta(minutes=1)
    assert await at.chat.find(place, "k1", since) is not None
    assert await at.chat.find(place, "k2", since) is None
    other = Place(place.tenant, "direct", at.people[1])
    assert await at.chat.find(other, "k1", since) is None


async def test_what_the_bot_said_is_found_by_its_marks(at: Platform, place: Place) -> None:
    """In threads too, long ones once; what is gone, what people said and what stands elsewhere is not among it."""
    since = at.now() - timedelta(minutes=1)
    first, second, third = ("0123456789abcde" + end for end in "123")
    long = card("sunlit", *(Paragraph(line("{n}", n=str(n))) for n in range(60)))
    head = await at.chat.post(place, long, key=f"{first}.k1")
    gone = await at.chat.post(place, card("rainy"), key=f"{second}.k2")
    if place.kind == "direct":
        await at.says(place.id, "by somebody")
    await at.chat.post(Place(place.tenant, "direct", at.people[1]), card("elsewhere"), key=f"{second}.k4")
    wanted = {(first, None, False)}
    if at.chat.capabilities.threads:
        thread = dataclasses.replace(place, thread=head)
        answer = await at.chat.post(thread, card("windy"), key=f"{second}.k3")
        wanted.add((second, head, False))
    if at.chat.capabilities.files:
        await at.chat.upload(place, FILE, key=f"{third}.k5")
        wanted.add((third, None, True))
    if at.chat.capabilities.deletions:
        await at.chat.withdraw(place, gone)
    else:
        wanted.add((second, None, False))
    found = await at.chat.own(place, since)
    assert {(own.mark, own.place.thread, own.is_file) for own in found} == wanted and len(found) == len(wanted)
    assert {own.place.root() for own in found} == {place}
    assert next(own.message for own in found if own.mark == first) == head
    if at.chat.capabilities.threads and at.chat.capabilities.edits:
        (own,) = [own for own in found if own.message == answer]
        await at.chat.revise(own.place, own.message, card("calm"))
        assert any("calm" in text for text in at.shown(place))
    assert await at.chat.own(place, at.now() + timedelta(hours=1)) == ()


async def test_a_file_with_a_mark_is_found_by_its_key(at: Platform, place: Place) -> None:
    """After a lost answer, and told apart from one of the same mark."""
    needs(at.chat.capabilities.files)
    await at.chat.upload(place, FILE, key="0123456789abcdef.k1")
    since = at.now() - timedelta(minutes=1)
    assert await at.chat.find(place, "0123456789abcdef.k1", since) is not None
    assert await at.chat.find(place, "0123456789abcdef.k2", since) is None


async def test_a_key_that_went_out_is_the_same_message_for_the_look_up(at: Platform, place: Place) -> None:
    """Posted again with the same key, whatever the platform makes of it, the key still leads to the first."""
    first = await at.chat.post(place, card("sunlit"), key="k1")
    await at.chat.post(place, card("sunlit"), key="k1")
    assert await at.chat.find(place, "k1", at.now() - timedelta(minutes=1)) == first


async def test_reactions_are_read_back_without_the_bots_own(at: Platform, place: Place) -> None:
    """What people put on a message comes back by its characters; the bot's own offer is not among it."""
    needs(at.chat.capabilities.reads_reactions)
    offer = Message(line("Vote."), (Paragraph(line("Vote.")),), seeds=("🌱",))
    posted = await at.chat.post(place, offer, key="k1")
    await at.chat.react(place, posted, "🌿")
    await at.chat.react(place, posted, "🌿")
    assert await at.chat.reactions(place, posted) == ()
    ana = at.people[0]
    for emoji in ("🌱", "👍", "❤"):
        await at.react(ana, place, posted, emoji)
    found = await at.chat.reactions(place, posted)
    assert set(found) == {Reaction(ana, "🌱"), Reaction(ana, "👍"), Reaction(ana, "❤")}


def _lines(found: tuple[Inbound, ...]) -> list[tuple[str, str, str | None]]:
    return [(e.what.message, e.what.text, e.place.thread) for e in found if isinstance(e.what, Said)]


async def test_what_a_person_wrote_is_read_back_as_it_stands(at: Platform) -> None:
    """Changed lines in their newest words, answers in threads too; nothing deleted, and nobody else's words."""
    needs(at.chat.capabilities.reads_history)
    ana, ben = at.people
    direct, since = Place(at.channel.tenant, "direct", ana), at.now() - timedelta(minutes=1)
    prompt = await at.chat.post(direct, card("your notes?"), key="k1")
    first = await at.says(ana, "one <b>& two</b>")
    gone = await at.says(ana, "never said")
    answer = await at.says(ana, "in the thread", prompt)
    await at.says(ben, "by somebody else")
    before = await at.chat.written(direct, since)
    await at.edits(ana, first, "two & one")
    await at.erases(ana, gone)
    after = await at.chat.written(direct, since)
    assert _lines(before) == [
        (first, "one <b>& two</b>", None), (gone, "never said", None), (answer, "in the thread", prompt),
    ]  # fmt: skip
    assert _lines(after) == [(first, "two & one", None), (answer, "in the thread", prompt)]
    assert {e.person for e in after} == {ana}


async def test_a_line_read_back_has_the_key_and_edition_by_which_it_was_told(at: Platform) -> None:
    """So that it is taken in once, and a change is known from none, and the last from the one before."""
    needs(at.chat.capabilities.reads_history)
    ana = at.people[0]
    direct, since = Place(at.channel.tenant, "direct", ana), at.now() - timedelta(minutes=1)
    line_ = await at.says(ana, "first")
    editions = []
    for text in ("second", "third", "first"):
        (found,) = await at.chat.written(direct, since)
        assert isinstance(found.what, Said)
        editions.append(found.what.edition)
        await at.edits(ana, line_, text)
    (found,) = await at.chat.written(direct, since)
    said, *edits = at.told()
    assert (found.key, found.place) == (said.key, said.place)
    told = [e.what.edition for e in edits if isinstance(e.what, Edited)]
    assert isinstance(found.what, Said) and [*editions, found.what.edition] == ["", *told]
    assert len({*editions, found.what.edition}) == 4


async def test_a_message_that_is_known_is_found_however_old(at: Platform) -> None:
    """And only if it still stands: what is not found is gone."""
    needs(at.chat.capabilities.reads_history)
    ana = at.people[0]
    direct = Place(at.channel.tenant, "direct", ana)
    prompt = await at.chat.post(direct, card("your notes?"), key="k1")
    stands, gone = await at.says(ana, "long ago", prompt), await at.says(ana, "never said")
    await at.erases(ana, gone)
    later = at.now() + timedelta(hours=1)
    assert await at.chat.written(direct, later) == ()
    assert [message for message, _, _ in _lines(await at.chat.written(direct, later, (stands, gone)))] == [stands]


async def test_a_message_has_an_address_of_its_own_or_none(at: Platform, place: Place) -> None:
    """Where messages have addresses, two of them lead to two places; elsewhere there is none."""
    first, second = [await at.chat.post(place, card("sunlit"), key=key) for key in ("k1", "k2")]
    found = [await at.chat.link(place, message) for message in (first, second)]
    if at.chat.capabilities.links:
        assert all(address and address.startswith("https://") for address in found) and found[0] != found[1]
    else:
        assert found == [None, None]


async def test_members_are_people_and_bots_with_their_zones(at: Platform) -> None:
    """Everybody in the channel is told, each as when asked for alone; the bot is marked as one."""
    members = {person.id: person for person in await at.chat.members(at.channel)}
    assert {*at.people} <= set(members)
    for person in at.people:
        assert members[person] == await at.chat.person(at.channel.tenant, person)
        assert members[person].zone and members[person].name and not members[person].is_bot
    assert members[at.bot].is_bot if at.bot in members else True


async def test_a_person_has_a_page_of_the_bots(at: Platform) -> None:
    """Where there is a home page it shows what it was told last."""
    needs(at.chat.capabilities.home)
    for words in ("sunlit", "rainy"):
        await at.chat.home(at.channel.tenant, at.people[0], card(words))
    assert "rainy" in at.home(at.people[0]) and "sunlit" not in at.home(at.people[0])


async def test_a_message_has_an_address_of_its_own(at: Platform) -> None:
    """Where messages have any: two of them never the same."""
    first, second = [await at.chat.post(at.channel, card(words), key=words) for words in ("sunlit", "rainy")]
    found = {await at.chat.link(at.channel, message) for message in (first, second)}
    assert (len(found) == 2 and None not in found) is at.chat.capabilities.links


# --- trouble ---


async def test_too_fast_is_surely_not_done_and_says_how_long_to_wait(at: Platform, place: Place) -> None:
    """SlowDown carries seconds, is a kind of NotDelivered, and nothing was posted."""
    at.trouble("too fast")
    with pytest.raises(SlowDown) as told:
        await at.chat.post(place, card("sunlit"), key="k1")
    assert told.value.seconds > 0 and isinstance(told.value, NotDelivered)
    at.trouble(None)
    assert at.shown(place) == []


async def test_in_an_outage_an_act_is_unknown_and_a_question_is_not_answered(at: Platform) -> None:
    """What may be seen is unknown when no answer comes; what only reads is surely not done."""
    posted = await at.chat.post(at.channel, card("sunlit"), key="k1")
    at.trouble("outage")
    with pytest.raises(OutcomeUnknown):
        await at.chat.post(at.channel, card("rainy"), key="k2")
    can = at.chat.capabilities
    if can.edits:
        with pytest.raises((OutcomeUnknown, NotDelivered)):  # surely not done, where it has to look first
            await at.chat.revise(at.channel, posted, card("rainy"))
    if can.reads_reactions:
        with pytest.raises(NotDelivered):
            await at.chat.reactions(at.channel, posted)
    if can.reads_history:
        with pytest.raises(NotDelivered):
            await at.chat.written(Place(at.channel.tenant, "direct", at.people[0]), at.now(), ("1.000001",))
    with pytest.raises(NotDelivered):
        await at.chat.members(at.channel)
    with pytest.raises(NotDelivered):
        await at.chat.own(at.channel, at.now())
    with pytest.raises(ChatError):  # never "it did not go out", which would have it said twice
        await at.chat.find(at.channel, "k1", at.now() - timedelta(minutes=1))


async def test_what_is_not_there_is_unreachable(at: Platform) -> None:
    """No such channel, person, workspace or message: trying again will not help, and the error quotes nothing."""
    tenant = at.channel.tenant
    for nowhere in (
        Place(tenant, "channel", "C0NONE"),
        Place(tenant, "direct", "U0NONE"),
        Place("T9", "channel", "C9"),
    ):
        with pytest.raises(Unreachable) as told:
            await at.chat.post(nowhere, card("sunlit"), key="k1")
        assert "sunlit" not in str(told.value)
    with pytest.raises(Unreachable):
        await at.chat.person(tenant, "U0NONE")
    with pytest.raises(Unreachable):
        await at.chat.revise(at.channel, "1.000001", card("sunlit"))


# --- what is refused for good ---


async def test_where_all_is_well_nothing_hinders_and_nobody_sees_the_question(at: Platform) -> None:
    """Before a round starts the bot looks about; it posts nothing, and takes nobody for out of reach."""
    assert await at.chat.check(at.channel, at.people) == ()
    places = [at.channel, *(Place(at.channel.tenant, "direct", person) for person in at.people)]
    assert [at.shown(place) for place in places] == [[], [], []]


@pytest.mark.parametrize("what", [Denial.NOT_IN_CHANNEL, Denial.NO_POST, Denial.NO_FILES])
async def test_what_the_channel_refuses_is_told_before_and_when_it_is_met(at: Platform, what: Denial) -> None:
    """The look beforehand and the refusal at work have one name."""
    needs(what is not Denial.NO_FILES or at.chat.capabilities.files)
    at.deny(what, at.channel.id)
    assert [(h.what, h.person) for h in await at.chat.check(at.channel, at.people)] == [(what, "")]
    with pytest.raises(Unreachable) as told:
        if what is Denial.NO_FILES:
            await at.chat.upload(at.channel, FILE, key="k1")
        else:
            await at.chat.post(at.channel, card("sunlit"), key="k1")
    assert told.value.denial is what


async def test_a_channel_that_is_not_there_is_one_that_the_bot_is_not_in(at: Platform) -> None:
    """A private channel is hidden from whoever is not in it, so both are the same."""
    nowhere = Place(at.channel.tenant, "channel", "C0NONE")
    assert [h.what for h in await at.chat.check(nowhere, ())] == [Denial.NOT_IN_CHANNEL]


async def test_whoever_has_no_direct_messages_is_named_and_nobody_else(at: Platform) -> None:
    """The others are within reach; a message to the one is refused by the same name."""
    ana, ben = at.people
    at.deny(Denial.NO_DIRECT, ana)
    assert await at.chat.check(at.channel, at.people) == (Hindrance(Denial.NO_DIRECT, ana),)
    with pytest.raises(Unreachable) as told:
        await at.chat.post(Place(at.channel.tenant, "direct", ana), card("sunlit"), key="k1")
    assert told.value.denial is Denial.NO_DIRECT
    await at.chat.post(Place(at.channel.tenant, "direct", ben), card("rainy"), key="k2")


async def test_what_cannot_be_changed_or_deleted_says_so(at: Platform, place: Place) -> None:
    """Old messages may be closed to edits, and deletions forbidden; neither is tried in vain for ever."""
    posted = await at.chat.post(place, card("sunlit"), key="k1")
    can = at.chat.capabilities
    needs(can.edits and can.deletions)
    at.deny(Denial.CANT_CHANGE, place.id)
    with pytest.raises(Unreachable) as told:
        await at.chat.revise(place, posted, card("rainy"))
    assert told.value.denial is Denial.CANT_CHANGE
    at.deny(Denial.CANT_DELETE, place.id)
    with pytest.raises(Unreachable) as told:
        await at.chat.withdraw(place, posted)
    assert told.value.denial is Denial.CANT_DELETE


async def test_a_message_that_is_gone_is_named_so(at: Platform, place: Place) -> None:
    """Somebody deleted it: neither can it be changed, nor can anything hang under it."""
    posted = await at.chat.post(place, card("sunlit"), key="k1")
    needs(at.chat.capabilities.edits and at.chat.capabilities.deletions)
    await at.chat.withdraw(place, posted)
    with pytest.raises(Unreachable) as told:
        await at.chat.revise(place, posted, card("rainy"))
    assert told.value.denial is Denial.MESSAGE_GONE
    if at.chat.capabilities.threads:
        with pytest.raises(Unreachable) as told:
            await at.chat.post(dataclasses.replace(place, thread=posted), card("rainy"), key="k2")
        assert told.value.denial is Denial.MESSAGE_GONE


def test_how_the_bot_is_brought_in_is_typed_in_the_channel(at: Platform) -> None:
    """Where people invite it, it can say what to type; elsewhere it says nothing of the kind."""
    assert at.chat.capabilities.invitation == "" or at.chat.capabilities.invitation.startswith("/")


async def test_what_people_wrote_is_deleted_or_refused(at: Platform) -> None:
    """Where it can be deleted, all of it goes that is not kept; elsewhere nothing happens, and the bot is told."""
    person, tenant = at.people[0], at.channel.tenant
    first, second = [await at.says(person, text) for text in ("goes", "stays")]
    place = Place(tenant, "direct", person)
    since = at.now() - timedelta(minutes=1)
    if not at.chat.capabilities.clears:
        with pytest.raises(Unreachable) as told:
            await at.chat.clear(tenant, {person: Kept(at.now())})
        assert told.value.denial is Denial.CANT_DELETE
        assert len(await at.chat.written(place, since)) == 2
        return
    await at.chat.clear(tenant, {person: Kept(at.now(), frozenset({second}))})
    told_of = [i.what for i in await at.chat.written(place, since, {first})]
    assert [what.message for what in told_of if isinstance(what, Said)] == [second]


# --- sizes ---


async def test_a_label_that_is_too_long_is_cut_with_an_ellipsis(at: Platform) -> None:
    """Up to the longest label all of it stands on the button; beyond it an ellipsis says that there was more."""
    most = at.chat.capabilities.max_label or 500
    for key, length in (("fits", most), ("too long", most + 1)):
        await at.chat.post(at.channel, card(key, Buttons((Button("L" * length, "a.b", "v"),))), key=key)
    fits, long = at.shown(at.channel)
    assert "L" * most in fits and "…" not in fits
    assert ("…" in long) is (at.chat.capabilities.max_label is not None)


async def test_a_text_up_to_the_longest_stands_in_one_piece(at: Platform) -> None:
    """A person's text is never lost: up to the longest it is whole, beyond it in pieces."""
    most = at.chat.capabilities.max_text or 10_000
    await at.chat.post(at.channel, card("long", Quoted("x" * most)), key="k1")
    assert "x" * most in "".join(at.shown(at.channel))
    await at.chat.post(at.channel, card("longer", Quoted("y" * (most + 1))), key="k2")
    assert "".join(at.shown(at.channel)).count("y") >= most + 1


async def test_a_message_of_too_many_blocks_goes_on_in_another(at: Platform) -> None:
    """Up to the most blocks a message is one; beyond, it is several, and none of it is lost."""
    most = at.chat.capabilities.max_blocks
    await at.chat.post(at.channel, card("first", *[Rule()] * ((most or 200) - 1)), key="k1")
    assert len(at.shown(at.channel)) == 1
    last = Paragraph(line("The last of it."))
    await at.chat.post(at.channel, card("second", *[Rule()] * (most or 200), last), key="k2")
    assert (len(at.shown(at.channel)) > 2) is (most is not None)
    assert "The last of it." in at.shown(at.channel)[-1]


def test_every_capability_is_put_to_the_test() -> None:
    """A capability that is added needs a test above that it tells the truth, or a name here of where it is tested."""
    elsewhere = {
        "buttons": "tests of each platform press them",
        "forms": "forms are an answer to a happening, opened by each platform's own front door",
        "private_reactions": "it says how a platform is made; what follows from it is tried in test_dialogues",
    }
    body = Path(__file__).read_text(encoding="utf-8")
    untested = [
        field.name
        for field in dataclasses.fields(Capabilities)
        if f"capabilities.{field.name}" not in body and field.name not in elsewhere
    ]
    assert untested == []
