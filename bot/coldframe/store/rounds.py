"""A round as rows: what everybody may know in one document, what was given in confidence sealed item by item."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from pydantic import TypeAdapter

from coldframe.domain.names import MemberId, NoteId, PlanId
from coldframe.domain.state import Choice, Comparison, Draft, Ledger, Mark, Note, Plan, Round


@dataclass(frozen=True, slots=True)
class Rows:
    """`doc` is JSON without private text; `items` maps (kind, item id) to JSON to be sealed; `ledgers` by ballot."""

    doc: str
    items: Mapping[tuple[str, str], bytes]
    ledgers: Mapping[str, Ledger]


@cache
def _adapter(shape: Any) -> TypeAdapter[Any]:
    return TypeAdapter(shape)


@cache
def _placed(shape: Any) -> TypeAdapter[Any]:
    """A thing with its place among its kind."""
    return TypeAdapter(tuple[int, shape])


def to_rows(round_: Round) -> Rows:
    """Splits a round into what may be read at rest and what may not."""
    secret_notes = {i: n for i, n in round_.notes.items() if n.author is not None}
    items: dict[tuple[str, str], bytes] = {}
    _add(items, "note", secret_notes, Note)
    _add(items, "late", round_.late_notes, Note)
    _add(items, "draft", round_.drafts, Draft)
    _add(items, "plan", round_.plans, Plan)
    _add(items, "compare", round_.comparisons, tuple[Comparison, ...])
    _add(items, "choice", round_.choices, Choice)
    ledgers = {name: book for name, book in (("dots", round_.dots), ("ballot", round_.ballot)) if book is not None}
    open_part = replace(
        round_,
        notes={i: n for i, n in round_.notes.items() if n.author is None},
        late_notes={},
        drafts={},
        plans={},
        comparisons={},
        choices={},
        dots=_without_marks(round_.dots),
        ballot=_without_marks(round_.ballot),
    )
    return Rows(_adapter(Round).dump_json(open_part).decode(), items, ledgers)


def _add(items: dict[tuple[str, str], bytes], kind: str, things: Mapping[Any, Any], shape: Any) -> None:
    for place, (key, thing) in enumerate(things.items()):
        items[(kind, key)] = _placed(shape).dump_json((place, thing))


def _without_marks(ledger: Ledger | None) -> Ledger | None:
    return None if ledger is None else replace(ledger, marks={})


def from_rows(doc: str, items: Mapping[tuple[str, str], bytes], marks: Mapping[str, Mapping[str, Any]]) -> Round:
    """Joins the rows again. `items` in any order: each tells its place, sealed with it, so that who reads the database
    does not learn who wrote first."""
    round_: Round = _adapter(Round).validate_json(doc)
    read: dict[str, dict[str, Any]] = {"note": {}, "late": {}, "draft": {}, "plan": {}, "compare": {}, "choice": {}}
    shapes = {
        "note": Note,
        "late": Note,
        "draft": Draft,
        "plan": Plan,
        "compare": tuple[Comparison, ...],
        "choice": Choice,
    }
    found = [(kind, key, *_placed(shapes[kind]).validate_json(body)) for (kind, key), body in items.items()]
    for kind, key, _, thing in sorted(found, key=lambda one: one[2]):
        read[kind][key] = thing
    return replace(
        round_,
        notes={**round_.notes, **{NoteId(k): n for k, n in read["note"].items()}},
        late_notes={NoteId(k): n for k, n in read["late"].items()},
        drafts={NoteId(k): d for k, d in read["draft"].items()},
        plans={PlanId(k): p for k, p in read["plan"].items()},
        comparisons={MemberId(k): c for k, c in read["compare"].items()},
        choices={PlanId(k): c for k, c in read["choice"].items()},
        dots=_with_marks(round_.dots, marks.get("dots", {})),
        ballot=_with_marks(round_.ballot, marks.get("ballot", {})),
    )


def _with_marks(ledger: Ledger | None, marks: Mapping[str, Any]) -> Ledger | None:
    if ledger is None:
        return None
    return replace(ledger, marks={MemberId(v): tuple(m) for v, m in marks.items()})


def mark_body(voter: str, mark: Mark) -> bytes:
    """A mark with its voter, to be sealed together: the row itself shows only the voter's keyed hash."""
    return _adapter(tuple[str, Mark]).dump_json((voter, mark))


def read_mark(body: bytes) -> tuple[str, Mark]:
    voter, mark = _adapter(tuple[str, Mark]).validate_json(body)
    return voter, mark
