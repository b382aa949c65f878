"""What is wrong with a value that does not fit its form, in words of our own: of files that people write, and settings.

A fault is what pydantic says of one (`ValidationError.errors()`): its kind is read, its sentence is not.
"""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel

WORDS: Mapping[str, str] = {
    "missing": "is missing",
    "extra_forbidden": "is not known here",
    "string": "must be text; what looks like a number or a date needs quotation marks",
    "string_too_short": "needs at least {min_length} characters",
    "string_too_long": "may have {max_length} characters at most",
    "string_pattern_mismatch": "has another form than it needs",
    "int": "must be a whole number",
    "float": "must be a number",
    "finite_number": "must be a number that has an end",
    "bool": "must be true or false",
    "greater_than": "must be more than {gt}",
    "greater_than_equal": "must be {ge} or more",
    "less_than": "must be less than {lt}",
    "less_than_equal": "must be {le} or less",
    "too_short": "holds {actual_length}, and needs at least {min_length}",
    "too_long": "holds {actual_length}, and may hold {max_length} at most",
    "list": "must be a list",
    "tuple": "must be a list",
    "dict": "must hold fields, each a name with a colon behind it",
    "model": "must hold fields, each a name with a colon behind it",
    "date": "must be a day, such as 2026-03-23",
    "datetime": "must be a moment with its zone, such as 2026-03-23T08:00:00+00:00",
    "literal_error": "must be one of these: {expected}",
    "invalid_key": "must have a name that is text",
}
"""Of a kind whose name goes on, such as `int_parsing`, that of its first word holds."""
OTHERWISE = "cannot be taken as it stands"
EMPTY = "must not be empty"


def said(fault: Mapping[str, Any]) -> str:
    """The rest of a sentence that begins with the name of the field."""
    kind, facts = fault["type"], dict(fault.get("ctx", {}))
    if kind in ("value_error", "assertion_error"):
        return str(facts["error"])
    if kind == "string_too_short" and facts.get("min_length") == 1:
        return EMPTY
    facts = {name: _plain(value) for name, value in facts.items()}
    words = WORDS.get(kind) or WORDS.get(kind.partition("_")[0], OTHERWISE)
    return words.format(**facts)


def _plain(value: object) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    return str(value).replace("'", "").replace(" or ", ", ")


def nearest(name: str, model: type[BaseModel], path: tuple[str | int, ...]) -> str:
    """After an unknown field: the known one that is most like it, or all of them."""
    known = list(_at(model, path).model_fields)
    near = get_close_matches(name, known, n=1)
    return f"; did you mean “{near[0]}”?" if near else f"; known are {', '.join(known)}"


def _at(model: type[BaseModel], path: tuple[str | int, ...]) -> type[BaseModel]:
    """The form of what stands at this place."""
    for step in path:
        field = model.model_fields.get(step) if isinstance(step, str) else None
        model = _model(field.annotation) or model if field is not None else model
    return model


def _model(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(filter(None, map(_model, getattr(annotation, "__args__", ()))), None)
