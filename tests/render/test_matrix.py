"""Messages for Matrix: the subset of HTML, nothing of people's words alive in it, nothing lost where they are long."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.message.nodes import Code, Grid, Items, Link, Message, Paragraph, Quoted, Theirs, When, Who, Words, line
from coldframe.message.saying import told
from coldframe.render.matrix import MAX_PART, MAX_TEXT, Reader, clean, parts

NOON = When(datetime(2026, 3, 24, 16, tzinfo=UTC))


def html(message: Message, reader: Reader | None = None) -> str:
    return "".join(part.html for part in parts(message, reader or Reader()))


def text(message: Message, reader: Reader | None = None) -> str:
    return "\n".join(part.text for part in parts(message, reader or Reader()))


@pytest.mark.parametrize(
    "words",
    [
        "<script>alert(1)</script>",
        '<img src="https://example.org/x.png" onerror="x()">',
        '<a href="javascript:x()">here</a>',
        "<mx-reply>of somebody</mx-reply>",
        '<font color="red">red</font>',
        '"><b>bold</b>',
        "&lt;b&gt;",
    ],
)
def test_what_people_wrote_is_text_whatever_it_looks_like(words: str) -> None:
    """It is read as it was typed, and no tag of it lives."""
    shown = html(told(line("{w}", w=Theirs(words)), Quoted(words)))
    assert "<script" not in shown and "<img" not in shown and "<a " not in shown and "<b>" not in shown
    assert words in text(told(line("{w}", w=Theirs(words))))


@given(st.text(max_size=200))
def test_no_text_of_a_person_makes_a_tag(words: str) -> None:
    shown = html(told(line("{w}", w=Theirs(words))))
    assert {piece.split(">")[0] for piece in shown.split("<")[1:]} <= {"p", "/p", "br"}


def test_names_and_a_call_to_everybody_wake_nobody() -> None:
    """Only whom the message itself is to alert is mentioned."""
    quoted = told(line("{w} {who}", w=Theirs("@room @ana:example.org"), who=Who("@ben:example.org", "Ben")))
    assert [part.mentions for part in parts(quoted, Reader())] == [()]
    alerted = told(line("{who}", who=Who("@ben/x:example.org", "Ben", notify=True)))
    (part,) = parts(alerted, Reader())
    assert part.mentions == ("@ben/x:example.org",) and "https://matrix.to/#/@ben%2Fx:example.org" in part.html


def test_only_web_addresses_are_links() -> None:
    assert '<a href="https://example.org/?a=1&amp;b=2">here</a>' in html(
        told((Link("https://example.org/?a=1&b=2", "here"),))
    )
    assert "<a" not in html(told((Link("javascript:x()", "here"),)))


def test_the_last_look_takes_out_whatever_is_no_part_of_the_subset() -> None:
    assert clean("<p onclick='x'>a</p><table><tr><td>b</td></tr></table><script>c</script>") == "<p>a</p>b"


def test_commands_are_shown_as_they_are_typed_here() -> None:
    """What begins with a slash never leaves a Matrix client."""
    assert text(told((Code("/coldframe status"),))) == "!coldframe status"
    assert "<code>!coldframe status</code>" in html(told((Code("/coldframe status"),)))


def test_times_are_the_readers_own_and_stay_true() -> None:
    """No "today" that is yesterday tomorrow; the zone where many read, the year where it is far."""
    now = datetime(2026, 3, 23, tzinfo=UTC)
    own = Reader("Europe/Berlin", named=False, now=now)
    assert text(told((NOON,)), own) == "Tue 24 Mar, 17:00"
    assert text(told((NOON,)), Reader("Asia/Tokyo", now=now)) == "Wed 25 Mar, 1:00 (Asia/Tokyo)"
    assert text(told((NOON,)), Reader("UTC", named=False, now=datetime(2025, 1, 1, tzinfo=UTC))).startswith(
        "Tue 24 Mar 2026"
    )
    assert text(told(line("By {w}.", w=NOON)), own) == "By 17:00 on Tue 24 Mar."


@pytest.mark.parametrize("sign", ["x", "<", "ü", "🌱", "\n"])
def test_a_long_text_goes_on_in_further_parts_each_of_which_fits(sign: str) -> None:
    """65,536 bytes is the most that an event holds, encrypted and with its plain form."""
    long = told((Words("first"),), Quoted(sign * 20_000), Paragraph((Theirs(sign * 10_000),)))
    found = parts(long, Reader())
    assert len(found) > 1
    assert all(len(json.dumps([part.html, part.text])) <= 1.1 * MAX_PART for part in found)
    if sign not in "<\n":
        assert sum(part.text.count(sign) for part in found) == 30_000 + "first".count(sign)


def test_a_text_up_to_the_longest_stays_in_one_piece() -> None:
    assert "x" * MAX_TEXT in text(told((Words("first"),), Quoted("x" * MAX_TEXT)))


def test_a_table_is_a_list_for_phones() -> None:
    grid = Grid("Votes", ("Plan", "Group", "Weight"), (((Words("A"),), (Words("3"),), (Words("2"),)),))
    assert "- A: Group 3, Weight 2" in text(Message((Words("s"),), (grid,)))
    assert "<table" not in html(Message((Words("s"),), (grid, Items(((Words("one"),),), ordered=True))))
