"""Neutral form and page -> Slack views: modals that are filled in, and the bot's own page. Pure.

The block of a field carries the field's name as its id, so that an answer's errors find their field again.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, assert_never

from coldframe.message.nodes import Field, Form, Message, Option
from coldframe.render.slack.blocks import Unrenderable, page_blocks, paragraph
from coldframe.render.slack.mrkdwn import cut, length, one_line, shown
from coldframe.render.slack.packing import BlockKit
from coldframe.speech import surface

INPUT = "in"
"""The action id of every input; the block id tells which field it is."""
TICKED = "yes"
PICKED = "~day"
"""Behind the name of a field: its day from the calendar."""
NOTHING = "-nothing-"
"""Stands for the empty value of an option ("nobody"), which Slack refuses."""

MAX_TITLE = 24  # characters (UTF-16 units), as all lengths here
MAX_FIELD_LABEL = 2_000
MAX_INPUT = 3_000
MAX_METADATA = 3_000
MAX_OPTION = 75
MAX_VALUE = 75
MAX_NAME = 255
MAX_SHOWN_CHOICES = 10  # options shown at once; more are in a list
MAX_OPTIONS = 100  # options of a list, and lists of options

Element = dict[str, Any]


def modal(form: Form, origin: str = "") -> dict[str, Any]:
    """The form as a modal view. `origin` travels in it and comes back: where the person opened it."""
    metadata = json.dumps({"value": form.value, "origin": origin}, ensure_ascii=False)
    if length(metadata) > MAX_METADATA or length(form.action) > MAX_NAME:
        raise Unrenderable(f"the form {form.action[:40]!r} carries more than a form can")
    names = [field.name for field in form.fields]
    if len(set(names)) < len(names):
        raise Unrenderable(f"the form {form.action!r} has two fields of one name")
    return {
        "type": "modal",
        "callback_id": form.action,
        "private_metadata": metadata,
        "title": _text(form.title, MAX_TITLE),
        "submit": _text(form.submit, MAX_TITLE),
        "close": _text(surface.CANCEL, MAX_TITLE),
        "blocks": [*paragraph(form.intro), *(block for field in form.fields for block in _inputs(field))],
    }


def plain_modal(message: Message, title: str) -> dict[str, Any]:
    """Words where a form opens or has been, with nothing to send."""
    return {
        "type": "modal",
        "callback_id": "words",
        "title": _text(title, MAX_TITLE),
        "close": _text(surface.CLOSE, MAX_TITLE),
        "blocks": page_blocks(message.blocks) if message.blocks else list(paragraph(message.summary)),
    }


def home(message: Message) -> dict[str, Any]:
    """The person's own page."""
    return {"type": "home", "blocks": page_blocks(message.blocks) or list(paragraph(message.summary))}


def _inputs(field: Field) -> list[BlockKit]:
    """A day is picked, or written; what is picked counts where nothing else is written (`interactions.fields`)."""
    if not field.day:
        return [_input(field)]
    picked = re.fullmatch(r"\d{4}-\d\d-\d\d", field.initial)
    day = Field(f"{field.name}{PICKED}", field.label, "date", required=False, initial=field.initial if picked else "")
    words = replace(field, label=surface.OR_IN_WORDS, required=False, initial="" if picked else field.initial)
    return [_input(day), _input(words)]


def _input(field: Field) -> BlockKit:
    block: BlockKit = {
        "type": "input",
        "block_id": field.name,
        "label": _text(field.label, MAX_FIELD_LABEL),
        "element": _element(field) | {"action_id": INPUT},
        "optional": not field.required,
    }
    return block | ({"hint": _text(field.hint, MAX_FIELD_LABEL)} if field.hint else {})


def _element(field: Field) -> Element:
    match field.shape:
        case "text" | "long":
            return _typed(field, multiline=field.shape == "long")
        case "number":
            return _number(field)
        case "date":
            return _date(field)
        case "choice":
            return _choice(field)
        case "choices":
            return _choices(field)
        case "person":
            return _person(field)
        case "tick":
            return _tick(field)
        case _:
            assert_never(field.shape)


def _text(text: str, most: int) -> Element:
    return {"type": "plain_text", "text": cut(one_line(text), most), "emoji": False}


def _typed(field: Field, *, multiline: bool) -> Element:
    most = min(max(field.most, 1), MAX_INPUT)
    element: Element = {"type": "plain_text_input", "multiline": multiline, "max_length": most}
    if field.initial:
        words = shown(field.initial) if multiline else one_line(field.initial)
        element["initial_value"] = cut(words, most)
    return element


def _number(field: Field) -> Element:
    element: Element = {"type": "number_input", "is_decimal_allowed": True}
    return element | ({"initial_value": field.initial} if field.initial else {})


def _date(field: Field) -> Element:
    return {"type": "datepicker"} | ({"initial_date": field.initial} if field.initial else {})


def _person(field: Field) -> Element:
    return {"type": "users_select"} | ({"initial_user": field.initial} if field.initial else {})


def _tick(field: Field) -> Element:
    option = _option(Option(TICKED, field.label))
    element: Element = {"type": "checkboxes", "options": [option]}
    return element | ({"initial_options": [option]} if field.initial == TICKED else {})


def _choice(field: Field) -> Element:
    options = _options(field)
    chosen = [option for option in options if option["value"] == (field.initial or NOTHING)]
    kind = "radio_buttons" if len(options) <= MAX_SHOWN_CHOICES else "static_select"
    return _offered(kind, options) | ({"initial_option": chosen[0]} if chosen else {})


def _choices(field: Field) -> Element:
    options = _options(field)
    wanted = {value or NOTHING for value in field.initial.split("\n")}
    chosen = [option for option in options if option["value"] in wanted]
    kind = "checkboxes" if len(options) <= MAX_SHOWN_CHOICES else "multi_static_select"
    return _offered(kind, options) | ({"initial_options": chosen} if chosen else {})


def _offered(kind: str, options: Sequence[Element]) -> Element:
    """The options, in groups of a hundred where there are more than one list takes."""
    if len(options) <= MAX_OPTIONS:
        return {"type": kind, "options": list(options)}
    starts = range(0, len(options), MAX_OPTIONS)
    if len(starts) > MAX_OPTIONS:
        raise Unrenderable(f"{len(options)} options are more than a form can offer")
    groups = [
        {
            "label": _text(f"{start + 1} to {min(start + MAX_OPTIONS, len(options))}", MAX_OPTION),
            "options": list(options[start : start + MAX_OPTIONS]),
        }
        for start in starts
    ]
    return {"type": kind, "option_groups": groups}


def _options(field: Field) -> list[Element]:
    values = [option.value for option in field.options]
    overlong = any(length(value) > MAX_VALUE or value == NOTHING for value in values)
    if not values or overlong or len(set(values)) < len(values):
        raise Unrenderable(f"the field {field.name!r} has no, equal or overlong option values")
    return [_option(option) for option in field.options]


def _option(option: Option) -> Element:
    """One option; a label too long for one line goes on in its description."""
    label = one_line(option.label) or surface.EMPTY_CELL
    element: Element = {"text": _text(label, MAX_OPTION), "value": option.value or NOTHING}
    if length(label) > MAX_OPTION:
        rest = label[len(element["text"]["text"]) - 1 :].strip()
        element["description"] = _text(f"…{rest}", MAX_OPTION)
    return element
