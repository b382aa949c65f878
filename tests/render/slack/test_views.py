"""Neutral forms and pages as Slack's views."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from coldframe.chat.slack.interactions import fields
from coldframe.message.nodes import (
    Button,
    Buttons,
    Field,
    Form,
    Heading,
    Items,
    Message,
    Option,
    Paragraph,
    Theirs,
    line,
)
from coldframe.render.slack.blocks import Unrenderable
from coldframe.render.slack.views import home, modal
from tests.wire.slack.rules import view_problems


def options(count: int) -> tuple[Option, ...]:
    return tuple(Option(f"o{number}", f"Option {number} " + "long " * 40) for number in range(count))


def form(*fields: Field, value: str = "k1") -> Form:
    return Form("A title that is much too long for a modal", "plans.add", value, fields, line("Say *what* you plan."))


@pytest.mark.parametrize("count", [1, 10, 11, 100, 101, 300])
@pytest.mark.parametrize("shape", ["choice", "choices"])
def test_any_number_of_options_is_offered_whole(shape: str, count: int) -> None:
    """Up to 300 notes can be offered for choosing: in a list, and in groups of a hundred beyond that."""
    view = modal(form(Field("which", "Which?", shape, options=options(count), initial="o0")))  # type: ignore[arg-type]
    assert view_problems(view) == []
    element = view["blocks"][-1]["element"]
    groups = element.get("option_groups", [element])
    assert [o["value"] for group in groups for o in group["options"]] == [f"o{n}" for n in range(count)]


def test_every_shape_of_field_is_within_the_limits_at_its_longest() -> None:
    """Labels, hints and first values of any length make a view that Slack takes."""
    long = "é🌱" * 3000
    fields = (
        Field("a", long, "text", hint=long, most=9000, initial=long),
        Field("b", "Plan", "long", most=3000, initial=long),
        Field("c", "How many?", "number", initial="12.5"),
        Field("d", "When?", "date", initial="2026-03-02", required=False),
        Field("e", "Who?", "person", initial="U1"),
        Field("f", "I have read this", "tick", initial="yes"),
    )
    view = modal(form(*fields), origin="C1")
    assert view_problems(view) == []
    assert [block["block_id"] for block in view["blocks"][1:]] == list("abcdef")
    assert json.loads(view["private_metadata"]) == {"value": "k1", "origin": "C1"}


def test_a_cut_option_goes_on_in_its_description() -> None:
    """What of a label has no room in its line is read below it."""
    label = "Customers leave after the first invoice because nobody told them what it would say and when it comes"
    view = modal(form(Field("w", "Which?", "choice", options=(Option("o", label),))))
    option = view["blocks"][-1]["element"]["options"][0]
    joined = option["text"]["text"].removesuffix("…") + option["description"]["text"].removeprefix("…")
    assert joined.replace(" ", "") == label.replace(" ", "")


def test_the_option_that_means_nobody_can_be_offered_and_chosen() -> None:
    """Slack refuses an empty value, so it travels under a name of its own and comes back empty."""
    field = Field("w", "Who instead?", "choice", options=(Option("", "Nobody"), Option("u", "Ana")))
    view = modal(form(field))
    assert view_problems(view) == []
    option = view["blocks"][-1]["element"]["initial_option"]
    assert option["text"]["text"] == "Nobody"
    state = {"values": {"w": {"in": {"type": "radio_buttons", "selected_option": option}}}}
    assert fields({"state": state}) == {"w": ""}


@pytest.mark.parametrize(
    "broken",
    [
        form(Field("a", "A"), Field("a", "B")),
        form(Field("a", "A", "choice")),
        form(Field("a", "A", "choice", options=(Option("x", "1"), Option("x", "2")))),
        form(Field("a", "A", "choice", options=(Option("x" * 80, "1"),))),
        form(Field("a", "A"), value="secret" * 600),
    ],
)
def test_a_form_that_slack_would_refuse_is_refused_here_without_its_content(broken: Form) -> None:
    """Two fields of one name, no options, equal or overlong values: our mistake, said before the person
    meets it.
    """
    with pytest.raises(Unrenderable) as refusal:
        modal(broken)
    assert "secretsecret" not in str(refusal.value)


def test_a_full_page_says_what_is_left_out() -> None:
    """The page takes a hundred blocks; what does not fit is counted in its last line."""
    blocks = tuple(b for n in range(80) for b in (Heading(line("H{n}", n=n)), Paragraph(line("p"))))
    view = home(Message(line("Yours."), blocks))
    assert view_problems(view) == []
    assert "61 entries" in view["blocks"][-1]["elements"][0]["text"]


def test_an_empty_page_still_says_something() -> None:
    """Slack refuses a page without blocks, so the summary stands in."""
    assert view_problems(home(Message(line("Nothing is waiting for you.")))) == []


def test_a_page_of_people_s_words_is_inert() -> None:
    """The same rules against live mentions hold on the page."""
    view = home(Message(line("x"), (Items(((Theirs("<!channel>"),),)), Buttons((Button("b", "a.b", "v"),)))))
    assert view_problems(view) == []


DAY = Form("A date", "round.start_on", "k", (Field("date", "When?", most=60, day=True, hint="Such as in 5 weeks."),))


@pytest.mark.parametrize(
    ("picked", "written", "read"),
    [
        ("2026-03-12", None, "2026-03-12"),
        ("2026-03-12", "10:30", "2026-03-12 10:30"),
        ("2026-03-12", "next Monday", "next Monday"),
        (None, "in 5 weeks", "in 5 weeks"),
        (None, None, ""),
    ],
)
def test_a_day_is_picked_or_written(picked: str | None, written: str | None, read: str) -> None:
    """Both stand on the form; words count before the calendar, and a time alone is the picked day's."""
    view = modal(DAY)
    assert [b["element"]["type"] for b in view["blocks"]] == ["datepicker", "plain_text_input"]
    assert all(block["optional"] for block in view["blocks"])
    state = {
        "date~day": {"in": {"type": "datepicker", "selected_date": picked}},
        "date": {"in": {"type": "plain_text_input", "value": written}},
    }
    assert fields({"state": {"values": state}}) == {"date": read}


def test_a_known_day_stands_in_the_calendar() -> None:
    """Words that are none stand where words are written."""
    known, other = (
        modal(replace(DAY, fields=(replace(DAY.fields[0], initial=i),))) for i in ("2026-03-12", "in 2 weeks")
    )
    assert known["blocks"][0]["element"]["initial_date"] == "2026-03-12"
    assert "initial_value" not in known["blocks"][1]["element"]
    assert other["blocks"][1]["element"]["initial_value"] == "in 2 weeks"
