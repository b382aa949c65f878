"""Neutral messages as Slack's blocks: every limit kept at the largest content, nothing lost, nothing alive."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.message.nodes import (
    Button,
    Buttons,
    Code,
    Facts,
    Grid,
    Heading,
    Items,
    Line,
    Link,
    Message,
    Paragraph,
    Rule,
    Small,
    Theirs,
    When,
    Who,
    Words,
    line,
)
from coldframe.render.slack.blocks import Part, Unrenderable, message_parts
from coldframe.render.slack.fit import Fit
from coldframe.render.slack.mrkdwn import address, cut, escaped, length, mrkdwn, pieces
from tests.wire.slack.rules import message_problems

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
LIVE = "<!channel> <!here|x> <@U123> <#C1|x> <!subteam^S1> <https://evil.example|https://good.example> &lt; *a* `b`"


def problems(parts: tuple[Part, ...]) -> list[str]:
    return [problem for part in parts for problem in message_problems(part.text, list(part.blocks))]


def strings(value: Any) -> list[str]:
    """Every text element of a person in blocks, in order."""
    if isinstance(value, dict):
        own = [value["text"]] if value.get("type") == "text" else []
        return own + [text for key, inner in value.items() if key != "text" for text in strings(inner)]
    if isinstance(value, list | tuple):
        return [text for inner in value for text in strings(inner)]
    return []


def notes(count: int, size: int) -> tuple[str, ...]:
    return tuple(f"note {number} " + "ground " * ((size - 10) // 7) for number in range(count))


@pytest.mark.parametrize(("count", "size"), [(300, 80), (300, 300), (40, 3000), (300, 3000)])
def test_the_largest_reveal_fits_and_loses_no_note(count: int, size: int) -> None:
    """A message too large for one becomes several, each within all limits, with every note whole and in
    order.
    """
    texts = notes(count, size)
    message = Message(
        line("{n} notes are in.", n=count),
        (Heading(line("Retention")), Items(tuple((Theirs(text),) for text in texts))),
    )
    parts = message_parts(message)
    assert problems(parts) == []
    assert "".join(strings([part.blocks for part in parts])) == "".join(texts)


def test_a_note_of_emoji_alone_is_kept_whole() -> None:
    """3,000 characters outside the basic plane are twice as long for Slack and still come through whole."""
    text = "\U0001f331" * 3000
    parts = message_parts(Message(line("One note."), (Items(((Theirs(text),),)),)))
    assert problems(parts) == []
    assert strings([part.blocks for part in parts]) == [text]


def test_an_item_longer_than_any_block_goes_on_below_it() -> None:
    """Nothing is cut from an item that no block holds: the rest of it follows."""
    text = "word " * 4000
    parts = message_parts(Message(line("Long."), (Items(((Theirs(text),),)), Paragraph((Theirs(text),)))))
    assert problems(parts) == []
    assert "".join(strings([part.blocks for part in parts])) == text + text


def test_forty_people_fit_as_facts_grid_and_buttons() -> None:
    """A roster of forty with a row, a fact and a button each stays within the limits."""
    people = [(Who(f"U{number:08}", f"Person {number}", notify=True),) for number in range(40)]
    message = Message(
        line("Forty people."),
        (
            Facts(tuple((f"Person {number}", person) for number, person in enumerate(people))),
            Grid("Hours", ("Who", "From"), tuple((person, (When(NOON, "hour"),)) for person in people)),
            Grid("Again", ("Who", "From"), tuple((person, (When(NOON, "hour"),)) for person in people)),
            Buttons(tuple(Button(f"Person {n}", "roster.pick", f"p{n}") for n in range(40))),
        ),
    )
    assert problems(message_parts(message)) == []


def test_a_grid_too_large_for_a_table_becomes_columns_below_its_headings() -> None:
    """More rows than a table takes are told as text in columns."""
    rows = tuple(((Words(f"force {n}"),), (Words(str(n)),)) for n in range(120))
    parts = message_parts(Message(line("Votes."), (Grid("Dots", ("Force", "Dots"), rows),)))
    assert problems(parts) == []
    assert all(block["type"] != "table" for part in parts for block in part.blocks)
    told = strings([part.blocks for part in parts])
    assert any(text.startswith("Force      Dots") and text.endswith("force 119  119") for text in told)


def test_only_one_table_stands_in_a_message() -> None:
    """Slack takes one table per message, so a second begins the next."""
    grid = Grid("Dots", ("Force", "Dots"), (((Words("a"),), ()),))
    parts = message_parts(Message(line("Two tables."), (grid, grid)))
    assert problems(parts) == []
    assert [sum(block["type"] == "table" for block in part.blocks) for part in parts] == [1, 1]


def test_a_heading_is_never_the_last_of_a_message() -> None:
    """A heading moves on with what it heads."""
    filler = tuple(Paragraph(line("b")) for _ in range(46))
    blocks = (
        Paragraph(line("a")),
        *filler,
        Heading(line("Next")),
        Paragraph(line("b")),
        Paragraph(line("c")),
    )
    first, second = message_parts(Message(line("Split."), blocks))
    assert "header" not in {block["type"] for block in first.blocks}
    assert "header" in {block["type"] for block in second.blocks}


@pytest.mark.parametrize("size", [2_000, 3_000, 6_000])
def test_buttons_stand_under_the_words_that_they_are_about(size: int) -> None:
    """However small a message has to be: whoever presses sees for what."""
    blocks = []
    for number in range(12):
        blocks += [
            Paragraph(line("{w}", w=f"plan {number} " + "word " * (20 + 9 * number))),
            Facts((("Owner", line("nobody yet")),)),
            Buttons((Button("Ask …", "owner.ask", f"plan {number}"),)),
        ]
    parts = message_parts(Message(line("The plans."), tuple(blocks)), Fit(size))
    assert len(parts) > 1
    for part in parts:
        for at, block in enumerate(part.blocks):
            if block["type"] == "actions":
                above = str(part.blocks[max(0, at - 2) : at])
                assert f"{block['elements'][0]['value']} word" in above


def test_an_ordered_list_keeps_its_numbers_across_a_split() -> None:
    """The second block of an ordered list begins with the number after the first block's last."""
    lines = tuple((Theirs("x" * 3000),) for _ in range(6))
    parts = message_parts(Message(line("Six."), (Items(lines, ordered=True),)))
    lists = [e for part in parts for b in part.blocks if b["type"] == "rich_text" for e in b["elements"]]
    starts = [each.get("offset", 0) for each in lists]
    assert starts == [sum(len(each["elements"]) for each in lists[:n]) for n in range(len(lists))]
    assert len(lists) > 1


def test_nothing_a_person_wrote_comes_alive_anywhere() -> None:
    """Mentions, links, dates and marks typed by people are shown as typed in every kind of block."""
    theirs = (Theirs(LIVE),)
    message = Message(
        (Words("Said: "), Theirs(LIVE)),
        (
            Heading(theirs),
            Paragraph(theirs),
            Small(theirs),
            Facts((("Label", theirs),)),
            Items((theirs,)),
            Grid("Caption", ("One",), ((theirs,),)),
        ),
    )
    parts = message_parts(message)
    assert problems(parts) == []
    marked = [e["text"] for p in parts for b in p.blocks if b["type"] == "context" for e in b["elements"]]
    for text in (*marked, *(part.text for part in parts)):
        assert "<" not in text and ">" not in text
    assert "*a*" not in marked[0] and "`b`" not in marked[0]
    assert strings([part.blocks for part in parts]).count(LIVE) == 4


def test_lines_of_a_person_cannot_pass_for_ours() -> None:
    """Words of several lines stand in a quote of their own, or on one line where no quote can stand."""
    fake = "fine\nReview: passed"
    message = Message(
        line("One."), (Facts((("Plan", (Theirs(fake),)),)), Small((Theirs(fake),)), Heading((Theirs(fake),)))
    )
    (part,) = message_parts(message)
    quotes = [e for b in part.blocks if b["type"] == "rich_text" for e in b["elements"]]
    assert quotes[-1]["type"] == "rich_text_quote"
    assert "\n" not in json.dumps([b for b in part.blocks if b["type"] in ("context", "header")]).replace("\\n", "\n")


def test_a_moment_is_shown_in_the_readers_own_zone_with_utc_beside_it() -> None:
    """Slack's date token carries the instant; clients that cannot read it show UTC."""
    assert mrkdwn((When(NOON),)).startswith("<!date^1772452800^{date_short_pretty} {time}|")
    assert "12:00 (UTC)" in mrkdwn((When(NOON),))
    (part,) = message_parts(Message((When(NOON),)))
    element = part.blocks[0]["elements"][0]["elements"][0]
    assert element["timestamp"] == 1772452800
    assert element["format"] == "{day_divider_pretty} {time}", "rich text knows the weekday"
    assert part.text == mrkdwn((When(NOON),)), "and marked-up text does not: there it is said once, as that has it"


def test_a_time_in_a_heading_is_the_readers_own_as_well() -> None:
    """A header's plain text would show everybody UTC."""
    (part,) = message_parts(Message(line("Soon."), (Heading(line("The review is {at}.", at=When(NOON))),)))
    (block,) = part.blocks
    assert block["type"] == "rich_text" and problems((part,)) == []
    dates = [element for element in block["elements"][0]["elements"] if element["type"] == "date"]
    assert [element["style"] for element in dates] == [{"bold": True}]


@pytest.mark.parametrize(
    ("summary", "first"),
    [
        (line("A place is free."), line("A place is free. Two plans wait.")),
        (line("“{t}”: early.", t=Theirs("a: b")), line("“{t}”: early. And more.", t=Theirs("a: b"))),
        (line("To do: {l}.", l=Link("https://a.b/c", "dots")), line("To do: {l}.", l=Link("https://a.b/c", "dots"))),
    ],
    ids=["it begins with it", "a person's words", "a link"],
)  # fmt: skip
def test_a_notice_says_nothing_twice(summary: Line, first: Line) -> None:
    """What the first paragraph begins with is not said before it, however words and links are marked there."""
    (part,) = message_parts(Message(summary, (Paragraph(first), Paragraph(line("The rest.")))))
    assert part.text == f"{part.text.splitlines()[0]}\nThe rest."


def test_a_person_is_alerted_only_where_that_is_meant() -> None:
    """A name without `notify` is plain text; with it, it is a mention by id."""
    quiet, loud = Who("U1234", "Ana <@U9>"), Who("U1234", "Ana", notify=True)
    assert "<@" not in mrkdwn((quiet,))
    assert mrkdwn((loud,)) == "<@U1234>"
    assert "<@" not in mrkdwn((Who("U1> <!channel", "x", notify=True),))


@pytest.mark.parametrize(
    "url",
    [
        "javascript:alert(1)",
        "https://a|x><!channel>",
        "file:///etc/passwd",
        "https://",
        "http://a b",
        "//a.b",
    ],
)
def test_only_web_addresses_become_links(url: str) -> None:
    """Any other scheme, and an address that could break out of the link, is shown as text."""
    assert address(url) is None
    parts = message_parts(Message(line("Source."), (Paragraph((Link(url, "here"),)), Small((Link(url, "here"),)))))
    assert problems(parts) == []
    assert '"type": "link"' not in json.dumps(parts[0].blocks)


def test_buttons_keep_action_value_and_meaning() -> None:
    """Each button has its own id in the message; a long label is cut, its full meaning is there for a
    screen reader.
    """
    buttons = tuple(
        Button("L" * 90, "vote.add", f"v{n}", "danger", confirm="C" * 400, says="S" * 90) for n in range(30)
    )
    parts = message_parts(Message(line("Vote."), (Buttons(buttons),)))
    assert problems(parts) == []
    rows = [block for part in parts for block in part.blocks if block["type"] == "actions"]
    elements = [element for block in rows for element in block["elements"]]
    assert {len(element["accessibility_label"]) for element in elements} == {75}
    assert [element["action_id"] for element in elements] == [f"vote.add#{n}" for n in range(30)]
    assert [element["value"] for element in elements] == [f"v{n}" for n in range(30)]


def test_a_button_that_carries_too_much_is_our_mistake_and_said_without_the_text() -> None:
    """An overlong value is refused loudly; what it held does not get into the error."""
    with pytest.raises(Unrenderable) as refusal:
        message_parts(Message(line("x"), (Buttons((Button("l", "a.b", "secret" * 400),)),)))
    assert "secret" not in str(refusal.value)


def test_the_text_beside_the_blocks_says_what_they_say() -> None:
    """Screen readers and notices read the text alone, so the summary comes first and every block follows in
    words.
    """
    message = Message(
        line("Two notes are in."),
        (
            Heading(line("Notes")),
            Items(((Theirs("first"),), (Theirs("second"),)), ordered=True),
            Facts((("Until", (When(NOON),)),)),
            Paragraph((Code("/coldframe help"), Words(" helps."))),
            Buttons((Button("Done", "n.done", "x"),)),
        ),
    )
    (part,) = message_parts(message)
    lead, *rest = part.text.split("\n")
    assert lead == "Two notes are in."
    assert rest[:3] == ["Notes", "1. first", "2. second"]
    assert rest[3].startswith("Until: <!date^1772452800^")
    assert rest[4:] == ["/coldframe help helps.", "Buttons: Done"]


def test_an_overlong_summary_is_cut_outside_any_token() -> None:
    """The notice stays within the limit for edits, and no token is torn in two."""
    parts = message_parts(Message(tuple(When(NOON) for _ in range(200)), (Rule(),)))
    assert problems(parts) == []


ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=400)
PIECE = st.builds(Theirs, ANY_TEXT) | st.builds(Words, ANY_TEXT) | st.builds(Words, ANY_TEXT, st.just(True))
PIECES = st.one_of(
    PIECE,
    st.builds(Code, ANY_TEXT),
    st.builds(Link, ANY_TEXT, ANY_TEXT),
    st.builds(Who, ANY_TEXT, ANY_TEXT, st.booleans()),
    st.just(When(NOON)),
)
LINES = st.lists(PIECES, max_size=5).map(tuple)
BLOCKS = st.one_of(
    st.builds(Heading, LINES),
    st.builds(Paragraph, LINES),
    st.builds(Small, LINES),
    st.builds(Items, st.lists(LINES, max_size=5).map(tuple), st.booleans()),
    st.builds(Facts, st.lists(st.tuples(ANY_TEXT, LINES), max_size=5).map(tuple)),
    st.builds(lambda c, r: Grid(c, ("A", "B"), tuple(r)), ANY_TEXT, st.lists(st.tuples(LINES, LINES), max_size=4)),
    st.just(Rule()),
)


@given(LINES, st.lists(BLOCKS, max_size=8).map(tuple))
def test_whatever_is_said_slack_takes_it(summary: Any, blocks: Any) -> None:
    """No content, however odd, makes a message that Slack refuses or that alerts anybody unasked."""
    assert problems(message_parts(Message((Words("Said. "), *summary), blocks))) == []


@given(ANY_TEXT, st.integers(2, 50))
def test_cutting_keeps_to_the_limit_and_pieces_lose_nothing(text: str, most: int) -> None:
    """A cut text fits, pieces fit and join to the text again."""
    assert length(cut(text, most)) <= most
    assert "".join(pieces(text, most)) == text
    assert all(length(piece) <= most for piece in pieces(text, most))


@pytest.mark.parametrize("whole", ["👩‍👩‍👧‍👦", "👍🏽", "🇩🇪", "é", "❤️"])
def test_a_cut_never_tears_what_is_one_character_to_the_reader(whole: str) -> None:
    """Joined emoji, skin tones, flags and accents stay whole or go."""
    for most in range(4, 4 + length(whole) + 2):
        kept = cut("abc" + whole + "d" * 20, most).removesuffix("…")
        assert kept in {"abc", "abc" + whole} or kept.startswith("abc" + whole) or len(kept) < 3


def test_escaping_happens_once() -> None:
    """An entity that a person typed is shown as typed."""
    assert escaped("&lt; & <") == "&amp;lt; &amp; &lt;"
