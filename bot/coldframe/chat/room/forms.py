"""What the room itself checks of a form before the bot sees it: shape and length, as chat services do."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from coldframe.chat.room.records import Refused
from coldframe.message.nodes import Field, Form
from coldframe.speech import room_words


def filled(form: Form, fields: Mapping[str, str]) -> dict[str, str]:
    """All fields of the form by name; those not given as they stood at first. A made-up field is refused."""
    names = {field.name for field in form.fields}
    if not fields.keys() <= names:
        raise Refused(room_words.NO_FIELD)
    return {field.name: fields.get(field.name, field.initial) for field in form.fields}


def errors(form: Form, values: Mapping[str, str]) -> dict[str, str]:
    """Field name to what is wrong with it. A choice that was not on the form is refused outright."""
    found = {field.name: _error(field, values[field.name]) for field in form.fields}
    return {name: error for name, error in found.items() if error}


def _error(field: Field, value: str) -> str:
    if any("\ud800" <= char <= "\udfff" for char in value):
        return room_words.HALF_A_CHARACTER
    if not value.strip():
        return room_words.FILL_IN if field.required else ""
    if field.shape in {"text", "long", "number"} and len(value) > field.most:
        return room_words.shorten(len(value), field.most)
    if field.shape == "date" and not _is_date(value):
        return room_words.DATE_FORM
    if field.shape in {"choice", "choices"}:
        _check_choice(field, value)
    if field.shape == "tick" and value != "yes":
        raise Refused(room_words.NO_CHOICE)
    return ""


def _check_choice(field: Field, value: str) -> None:
    chosen = value.split("\n") if field.shape == "choices" else [value]
    if not set(chosen) <= {option.value for option in field.options}:
        raise Refused(room_words.NO_CHOICE)


def _is_date(value: str) -> bool:
    try:
        return date.fromisoformat(value).isoformat() == value
    except ValueError:
        return False
