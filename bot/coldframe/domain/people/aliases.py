"""Everywhere where a person stands in what is kept, found by the type of the field: whatever is a `MemberId`, as a
value, a key, or inside of something. So a person gets another name in all of it at once, and no field is left out."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import fields, is_dataclass, replace
from functools import cache
from itertools import count
from types import UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from coldframe.domain.names import MemberId

T = TypeVar("T")
Change = Callable[[MemberId], MemberId]
Walk = Callable[[Any, Change], Any]
"""Through a thing of one type: the thing with every person in it changed, or itself where nobody was."""
_SIGN = "~"  # which no platform has in an id


def is_nobody(person: str) -> bool:
    """Whether nobody can be reached by it: it stands for somebody who was forgotten, or for one whom the bot plays."""
    return person.startswith(_SIGN)


def new_alias(thing: object) -> MemberId:
    """What the next one who is forgotten in it is called; nothing tells whom it stands for."""
    taken = mentioned(thing)
    return next(alias for n in count(1) if (alias := MemberId(f"{_SIGN}{n}")) not in taken)


def mentioned(thing: object) -> frozenset[MemberId]:
    """Everybody who stands anywhere in it."""
    found: set[MemberId] = set()

    def note(person: MemberId) -> MemberId:
        found.add(person)
        return person

    changed(thing, note)
    return frozenset(found)


def renamed(thing: T, person: MemberId, alias: MemberId) -> T:
    return changed(thing, lambda each: alias if each == person else each)


def changed(thing: T, change: Change) -> T:
    kind: Any = type(thing)
    walk = _walk(kind)
    return thing if walk is None else walk(thing, change)


@cache
def _walk(shape: Hashable) -> Walk | None:
    """None where nobody can stand in things of this type."""
    if shape is MemberId:
        return lambda person, change: change(person)
    origin, inner = get_origin(shape), get_args(shape)
    if origin in (Union, UnionType):
        return _optional(inner)
    if origin in (tuple, frozenset):
        return _collection(origin, inner)
    if origin is not None and isinstance(origin, type) and issubclass(origin, Mapping):
        return _mapping(*map(_walk, inner))
    return _record(shape) if isinstance(shape, type) and is_dataclass(shape) else None


def _optional(inner: tuple[Any, ...]) -> Walk | None:
    """Somebody, or nobody."""
    found = [walk for walk in map(_walk, inner) if walk is not None]
    if not found:
        return None
    (walk,) = found
    return lambda thing, change: None if thing is None else walk(thing, change)


def _collection(kind: type, inner: tuple[Any, ...]) -> Walk | None:
    """As many as there are of one type, or a part of each type."""
    walks = [_walk(part) for part in inner if part is not Ellipsis]
    alike = kind is frozenset or Ellipsis in inner
    if not any(walks):
        return None

    def through(things: Any, change: Change) -> Any:
        each = walks * len(things) if alike else walks
        new = kind(walk(t, change) if walk else t for walk, t in zip(each, things, strict=True))
        return things if new == things else new

    return through


def _mapping(of_key: Walk | None, of_value: Walk | None) -> Walk | None:
    if of_key is None and of_value is None:
        return None

    def through(things: Mapping[Any, Any], change: Change) -> Mapping[Any, Any]:
        new = {
            of_key(key, change) if of_key else key: of_value(value, change) if of_value else value
            for key, value in things.items()
        }
        return things if new == things else new

    return through


def _record(shape: type) -> Walk | None:
    hints = get_type_hints(shape)
    parts = {f.name: walk for f in fields(shape) if (walk := _walk(hints[f.name])) is not None}
    if not parts:
        return None

    def through(thing: Any, change: Change) -> Any:
        new = {name: walk(getattr(thing, name), change) for name, walk in parts.items()}
        differing = {name: value for name, value in new.items() if value != getattr(thing, name)}
        return replace(thing, **differing) if differing else thing

    return through
