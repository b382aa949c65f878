"""A round as rows: what everybody may know in one document, what was given in confidence sealed item by item."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from functools import cache
from operator import is_
from typing import Any

from pydantic import TypeAdapter

from coldframe.domain.names import MemberId
from coldframe.domain.state import Choice, Comparison, Draft, Held, Ledger, Mark, Note, Plan, Round
from coldframe.message.emoji import by_name

PRIVATE = {
    "note": ("notes", Note),
    "late": ("late_notes", Note),
    "draft": ("drafts", Draft),
    "plan": ("plans", Plan),
    "compare": ("comparisons", tuple[Comparison, ...]),
    "choice": ("choices", Choice),
    "held": ("held", Held),
}
"""Kind of sealed rows: the field of a round, and what it holds."""
_LEDGERS = ("dots", "ballot")
_OPEN = tuple(f.name for f in fields(Round) if f.name not in {*_LEDGERS, *(name for name, _ in PRIVATE.values())})
_OPEN_IN_LEDGER = tuple(f.name for f in fields(Ledger) if f.name != "marks")


@dataclass(frozen=True, slots=True)
class Item:
    """A thing to be sealed, its place among its kind, and both as JSON."""

    place: int
    thing: Any
    body: bytes


@dataclass(frozen=True, slots=True)
class Rows:
    """`doc` is JSON without private text; `items` maps (kind, item id) to what is to be sealed; `ledgers` by ballot.

    `open` is what `doc` was made of: rows of a later state take over what has stayed the same.
    """

    doc: str
    items: Mapping[tuple[str, str], Item]
    ledgers: Mapping[str, Ledger]
    open: tuple[object, ...]


@cache
def _adapter(shape: Any) -> TypeAdapter[Any]:
    return TypeAdapter(shape)


@cache
def _placed(shape: Any) -> TypeAdapter[Any]:
    """A thing with its place among its kind."""
    return TypeAdapter(tuple[int, shape])


def to_rows(round_: Round, before: Rows | None = None) -> Rows:
    """Splits a round into what may be read at rest and what may not."""
    known = before.items if before is not None else {}
    items = {
        (kind, key): _item(known.get((kind, key)), place, thing, shape)
        for kind, (name, shape) in PRIVATE.items()
        for place, (key, thing) in enumerate(_secret(kind, getattr(round_, name)))
    }
    ledgers = {name: book for name in _LEDGERS if (book := getattr(round_, name)) is not None}
    shown = _shown(round_, ledgers)
    if before is not None and all(map(is_, shown, before.open)):
        return Rows(before.doc, items, ledgers, before.open)
    return Rows(_doc(round_), items, ledgers, shown)


def _secret(kind: str, things: Mapping[Any, Any]) -> Iterable[tuple[Any, Any]]:
    """Notes are told after the reveal, and have no author any more."""
    return [(i, n) for i, n in things.items() if n.author is not None] if kind == "note" else things.items()


def _item(known: Item | None, place: int, thing: Any, shape: Any) -> Item:
    if known is not None and known.thing is thing and known.place == place:
        return known
    return Item(place, thing, _placed(shape).dump_json((place, thing)))


def _shown(round_: Round, ledgers: Mapping[str, Ledger]) -> tuple[object, ...]:
    """All that the document is made of."""
    told = [note for note in round_.notes.values() if note.author is None]
    books = [getattr(ledgers.get(name), part, None) for name in _LEDGERS for part in _OPEN_IN_LEDGER]
    return (*(getattr(round_, name) for name in _OPEN), *books, len(told), *told)


def _doc(round_: Round) -> str:
    without: dict[str, Any] = {name: {} for name, _ in PRIVATE.values()}
    without |= {name: _without_marks(getattr(round_, name)) for name in _LEDGERS}
    without["notes"] = {i: n for i, n in round_.notes.items() if n.author is None}
    return _adapter(Round).dump_json(replace(round_, **without)).decode()


def _without_marks(ledger: Ledger | None) -> Ledger | None:
    return None if ledger is None else replace(ledger, marks={})


def from_rows(doc: str, items: Mapping[tuple[str, str], bytes], marks: Mapping[str, Mapping[str, Any]]) -> Round:
    """Joins the rows again. `items` in any order: each tells its place, sealed with it, so that who reads the database
    does not learn who wrote first."""
    round_: Round = _adapter(Round).validate_json(doc)
    read: dict[str, dict[Any, Any]] = {kind: {} for kind in PRIVATE}
    found = [(kind, key, *_placed(PRIVATE[kind][1]).validate_json(body)) for (kind, key), body in items.items()]
    for kind, key, _, thing in sorted(found, key=lambda one: one[2]):
        read[kind][key] = thing
    read["note"] = {**round_.notes, **read["note"]}
    whole: dict[str, Any] = {name: read[kind] for kind, (name, _) in PRIVATE.items()}
    whole |= {name: _with_marks(getattr(round_, name), marks.get(name, {})) for name in _LEDGERS}
    return replace(round_, **whole)


def _with_marks(ledger: Ledger | None, marks: Mapping[str, Any]) -> Ledger | None:
    if ledger is None:
        return None
    return replace(ledger, marks={MemberId(v): tuple(m) for v, m in marks.items()})


def mark_body(voter: str, mark: Mark) -> bytes:
    """A mark with its voter, to be sealed together: the row itself shows only the voter's keyed hash."""
    return _adapter(tuple[str, Mark]).dump_json((voter, mark))


def read_mark(body: bytes) -> tuple[str, Mark]:
    """A mark with its voter; an emoji that was kept by a short name comes back as the emoji."""
    voter, mark = _adapter(tuple[str, Mark]).validate_json(body)
    return voter, replace(mark, sign=by_name(mark.sign))
