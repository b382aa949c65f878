"""What no text of a database can hold, NUL and half characters, is taken at the door for the sign that stands for what
could not be read: wherever a text is kept such a sign is refused, and elsewhere it is looked for like any other."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any

from coldframe.ports.chat import Happening

_NOWHERE = re.compile("[\0\ud800-\udfff]")
_SUBSTITUTE = "\x1a"


def storable(what: Happening) -> Happening:
    """The same happening, in texts that can be kept."""
    changed: Happening = _storable(what)
    return changed


def _storable(thing: Any) -> Any:
    match thing:
        case str():
            return _NOWHERE.sub(_SUBSTITUTE, thing)
        case Mapping():
            return {_storable(name): _storable(value) for name, value in thing.items()}
        case tuple():
            return tuple(map(_storable, thing))
    if not is_dataclass(thing) or isinstance(thing, type):
        return thing
    values = {field.name: (before := getattr(thing, field.name), _storable(before)) for field in fields(thing)}
    new = {name: after for name, (before, after) in values.items() if after != before}
    return replace(thing, **new) if new else thing
