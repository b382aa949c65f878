"""Pages in two short forms, what somebody has begun of one, and a page that came as plain text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from coldframe.domain.names import BeginningId, MemberId
from coldframe.domain.round import pages
from coldframe.domain.state import Begun, Kind, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Field, Form, Line, Message, line
from coldframe.message.saying import offer, paragraph, told
from coldframe.speech.names import about

GO_ON = "Go on"
FIRST = ("question", "title", "hypothesis", "borrows", "steps", "might_fail")
"""Fields of a plan's first form, on what is to be tried; those of the second say how it is measured."""


def first(whole: Form, typed: Mapping[str, str], wrong: str = "") -> Form:
    """What is to be tried. `wrong`: why the page was not taken."""
    fields = tuple(field for field in whole.fields if field.name in FIRST)
    intro = (line("{w} ", w=wrong) if wrong else ()) + whole.intro
    return filled(replace(whole, fields=fields, intro=intro, submit=GO_ON), typed)


def second(whole: Form, typed: Mapping[str, str]) -> Form:
    fields = tuple(field for field in whole.fields if field.name not in FIRST)
    intro = line(
        "How you'll know. What you wrote so far is kept as a draft, for you alone. “{t}”",
        t=theirs(typed.get("title", ""), 80),
    )
    return filled(replace(whole, fields=fields, intro=intro, submit="Hand it in"), typed)


def filled(form: Form, typed: Mapping[str, str]) -> Form:
    """With what somebody has typed into it before, as far as it can still be chosen."""
    return replace(form, fields=tuple(_filled(field, typed) for field in form.fields))


def _filled(field: Field, typed: Mapping[str, str]) -> Field:
    text = typed.get(field.name)
    known = not field.options or any(option.value == text for option in field.options)
    return replace(field, initial=text) if text is not None and known else field


def likeliest_first(form: Form, questions: Sequence[str]) -> Form:
    """The choices of a question in this order; what it does not name comes last."""
    place = {question: at for at, question in enumerate(questions)}

    def ordered(field: Field) -> Field:
        options = sorted(field.options, key=lambda option: place.get(option.value, len(place)))
        return replace(field, options=tuple(options)) if field.name == "question" else field

    return replace(form, fields=tuple(map(ordered, form.fields)))


def begun(round_: Round, member: MemberId, kind: Kind, labels: Mapping[str, Button]) -> list[Block]:
    """On their sheet, for them alone: what they can go on with. `labels`: by what it is of, the button that does."""
    found: list[Block] = []
    for page, one in pages.of_member(round_, member, kind).items():
        go_on = labels.get(one.of)
        if go_on is not None:
            found += [
                paragraph(line("Begun and not handed in: “{t}”", t=_title(one))),
                offer(go_on, _drop(round_, page, one)),
            ]
    return found


def _title(one: Begun) -> Line:
    words = one.fields.get("title") or one.fields.get("hypothesis") or one.fields.get("idea") or "…"
    return (theirs(words, 80),)


def go_on(round_: Round, action: str, of: str = "") -> Button:
    return Button("Go on …", action, about(round_, of) if of else about(round_), "primary", says="Go on with the page")


def _drop(round_: Round, page: BeginningId, one: Begun) -> Button:
    sure = "It was never handed in, and nobody else has read it. Throw it away?"
    return Button("Throw it away", "page.drop", about(round_, page), "danger", sure, says=f"Throw this {one.kind} away")


def taken_from_text(round_: Round, kind: Kind, button: Button) -> Message:
    """A text that came by itself is a draft."""
    words = line(
        "{name} takes {what} just now, so I've put your text into a draft that nobody else sees. It isn't handed in.",
        name=theirs(round_.name, 60),
        what={"plan": "plans", "precedent": "precedents"}[kind],
    )
    return told(words, offer(button), private=True)


def too_long(round_: Round, kind: Kind) -> Message:
    words = "That's too long for one {kind}, so I kept nothing of it. It stands in your own message; send it in parts."
    return told(line(words, kind=kind))


def not_handed_in(round_: Round, one: Begun, sheet: Sequence[Block]) -> Message:
    """When its step is over, with what was written."""
    words = line(
        "{name}: you had begun a {kind} and not handed it in. Its step is over.",
        name=theirs(round_.name, 60),
        kind=one.kind,
    )
    return told(words, *sheet, private=True)


def dropped() -> Message:
    return told(line("Thrown away. Nobody else has read it."))
