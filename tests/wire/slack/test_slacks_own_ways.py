"""What people of Slack expect of an app: shortcuts on messages, names with @, pins, answers wherever they ask."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldframe.chat.slack import reading
from coldframe.domain.names import Step
from coldframe.message.nodes import Grid, Heading, Message, Paragraph, line
from coldframe.render.slack.aligned import columns, width
from coldframe.render.slack.blocks import message_parts, page_blocks
from tests.wire.slack.people import Someone
from tests.wire.slack.whole_round import CHANNEL, Team, at_work
from tests.wire.slack.workspace import BOT_USER

GROUP = "C0GROUP"


def taking_part(there: Team) -> Someone:
    name = next(p for p in there.people if p not in vars(there.scenario.roles).values())
    return there.people[name]


async def test_a_message_becomes_a_note_in_private(tmp_path: Path) -> None:
    """The form opens with its text for whoever asked; nothing is said where the message stands."""
    async with at_work(tmp_path) as there:
        await there.set_up()
        someone, before = taking_part(there), len(there.workspace.said(CHANNEL))
        assert (await someone.makes("make.note", "The <b>first invoice</b> surprises everybody")).ok
        view = await someone.sees(someone.form)
        text = next(b["element"]["initial_value"] for b in view["blocks"] if b.get("block_id") == "text")
        assert text == "The <b>first invoice</b> surprises everybody"
        lever = (await there.round()).settings.levers[0][0]
        assert (await someone.sends(lever=lever, side="restraining")).ok
        await there.settle()
        assert [n.text for n in (await there.round()).notes.values() if n.author == someone.id] == [text]
        assert len(there.workspace.said(CHANNEL)) == before and there.workspace.complaints == []


@pytest.mark.parametrize("what", ["make.precedent", "make.suggestion"])
async def test_what_no_round_takes_now_is_told_and_kept_nowhere(tmp_path: Path, what: str) -> None:
    async with at_work(tmp_path) as there:
        await there.set_up()
        someone = taking_part(there)
        assert (await someone.makes(what, "They rang people")).ok
        await someone.sees(lambda: [m for m in someone.inbox() if "I made nothing of it" in m["text"]])
        assert someone.form() is None and (await there.round()).step is Step.NOTES


async def test_the_calendar_is_pinned_where_that_is_allowed(tmp_path: Path) -> None:
    """And the round begins all the same where it is not."""
    async with at_work(tmp_path) as there:
        await there.set_up()
        ((channel, pinned),) = there.workspace.pins
        assert channel == CHANNEL and "Calendar" in str(there.workspace.channels[channel].messages[pinned]["blocks"])


@pytest.mark.parametrize("scope", ["granted", "struck out"])
async def test_the_newest_calendar_takes_the_place_of_the_one_before(tmp_path: Path, scope: str) -> None:
    """Of what the bot pinned itself; what people pinned stays, and so does all where it may not look."""
    async with at_work(tmp_path) as there:
        workspace = there.workspace
        workspace.scopes -= set() if scope == "granted" else {"pins:read"}
        for ts, by in (("1.000001", BOT_USER), ("1.000002", "U0OWEN")):
            workspace.channels[CHANNEL].messages[ts] = {"ts": ts, "user": by, "text": "An earlier calendar"}
            workspace.pins.append((CHANNEL, ts))
            workspace.pinned_by[ts] = by
        await there.set_up()
        pinned = [ts for _, ts in workspace.pins]
        assert ("1.000001" in pinned) == (scope != "granted")
        assert "1.000002" in pinned and len(pinned) == (2 if scope == "granted" else 3)
        assert workspace.complaints == []


async def test_without_the_scope_nothing_is_pinned(tmp_path: Path) -> None:
    async with at_work(tmp_path) as there:
        there.workspace.scopes -= {"pins:write"}
        await there.set_up()
        assert there.workspace.pins == [] and there.workspace.complaints == []
        assert (await there.round()).step is Step.NOTES


async def test_the_command_between_people_is_answered_in_ones_own_messages(tmp_path: Path) -> None:
    """Where two talk to each other, or some in a group, no round can be; whoever asked reads where the answer is."""
    async with at_work(tmp_path) as there:
        await there.set_up()
        someone = taking_part(there)
        before = len(someone.inbox())
        answer = await someone.commands("", "D0OTHERS")
        assert "our direct messages" in answer.body["text"]
        await there.settle()
        await someone.sees(lambda: len(someone.inbox()) > before)
        assert (await someone.commands("", someone.direct)).body == {}


async def test_a_mention_in_a_group_is_told_where_rounds_are(tmp_path: Path) -> None:
    """Of whose members the bot cannot know: nothing is begun there, and nobody is asked to try again."""
    async with at_work(tmp_path) as there:
        await there.set_up()
        someone = taking_part(there)
        there.workspace.add_channel(GROUP, "mpdm-ana--ben-1", [someone.id, there.people["owen"].id])
        there.workspace.faults.refusal = lambda method, told: (
            "missing_scope" if method == "conversations.members" and told.get("channel") == GROUP else None
        )
        someone.mentions("status", GROUP)
        await there.settle()
        await someone.sees(lambda: [note for note in someone.notes() if "This is no channel" in note])
        assert there.workspace.said(GROUP) == []


async def test_a_thread_for_assistants_says_where_the_answer_is(tmp_path: Path) -> None:
    """It is opened beside a channel, and what the bot answers stands elsewhere; what is given there counts."""
    async with at_work(tmp_path) as there:
        await there.set_up()
        someone = taking_part(there)
        thread = there.workspace.ts()
        head = {"ts": thread, "user": BOT_USER, "text": "", "subtype": "assistant_app_thread"}
        there.workspace.direct(someone.id).messages[thread] = head
        opened = {"user_id": someone.id, "channel_id": someone.direct, "thread_ts": thread}
        there.workspace.event({"type": "assistant_thread_started", "assistant_thread": opened})
        await there.settle()
        await someone.sees(lambda: there.workspace.said(someone.direct, thread))
        assert any("What you can do here" in str(m.get("blocks")) for m in there.workspace.said(someone.direct))
        someone.says("- retention: nobody calls back", thread=thread, assistant_thread={"action_token": "1"})
        await there.settle()
        told = await someone.sees(lambda: len(found := there.workspace.said(someone.direct, thread)) == 2 and found)
        assert all("in our direct messages" in m["text"] for m in told)
        mine = [note.text for note in (await there.round()).notes.values() if note.author == someone.id]
        assert mine == ["nobody calls back"] and there.workspace.complaints == []


@pytest.mark.parametrize("typed", ["<@U0ANA|ana.handle>", "<@U0ANA>"])
def test_somebody_named_with_an_at_sign_is_known_by_their_id(typed: str) -> None:
    """A handle need not be the name that everybody reads."""
    assert reading.words(f"add {typed} to Spring", ids=True) == "add @U0ANA to Spring"


FORCE = "A force with rather many words in it, number {n}"
RANKING = Grid(
    "The ranking",
    ("Place", "Force", "Dots"),
    tuple((line("{n}", n=n), line(FORCE, n=n), line("3")) for n in range(120)),
)


def test_a_ranking_beyond_a_tables_limits_stands_in_columns() -> None:
    """Each row whole, in columns below one header; never told as labels and values."""
    parts = message_parts(Message(line("The ranking."), (RANKING,)))
    rich = [part for each in parts for block in each.blocks for part in block.get("elements", ())]
    shown = [part["elements"][0]["text"] for part in rich if part["type"] == "rich_text_preformatted"]
    assert shown and all(text.startswith("Place  Force") for text in shown)
    assert sum(text.count("\n") for text in shown) >= 120 and not any("Force:" in text for text in shown)


def test_a_page_shows_a_table_in_columns_too() -> None:
    """Views take no tables."""
    assert any("rich_text_preformatted" in str(block) for block in page_blocks((RANKING,)))


def test_long_and_wide_cells_keep_their_columns() -> None:
    """What is longer than a column goes on below; wide signs count as two."""
    grid = Grid("x", ("Place", "Plan"), ((line("1"), line("{t}", t="word " * 20)), (line("22"), line("日本語"))))
    rows = columns(grid)
    assert width("日本語") == 6 and rows[1].count("\n") >= 1
    assert all(text[7:8] != " " for text in rows[1].split("\n")) and rows[2].startswith("22     日本語")


def test_the_text_beside_the_blocks_says_nothing_twice() -> None:
    """A notice is read out whole: what the first line says is not said again."""
    words = line("*Spring round*: the notes are there.")
    (part,) = message_parts(Message(words, (Heading(words), Paragraph(words), Paragraph(line("Read them.")))))
    assert part.text.count("the notes are there") == 1 and "Read them." in part.text
