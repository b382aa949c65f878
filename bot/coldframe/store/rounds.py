"""A round as rows: what everybody may know in one document, what was given in confidence sealed item by item."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from functools import cache, cached_property
from operator import is_
from typing import Any

from pydantic import TypeAdapter

from coldframe.domain.names import ENDS, MemberId, PlanId, Step
from coldframe.domain.state import Begun, Choice, Comparison, Draft, Held, Ledger, Mark, Note, Plan, Round
from coldframe.message.emoji import by_name
from coldframe.ports.keys import OF_STEP, Covers, Use
from coldframe.store import newer

PRIVATE = {
    "note": ("notes", Note),
    "late": ("late_notes", Note),
    "draft": ("drafts", Draft),
    "plan": ("plans", Plan),
    "jot": ("jottings", str),
    "begun": ("begun", Begun),
    "compare": ("comparisons", tuple[Comparison, ...]),
    "choice": ("choices", Choice),
    "held": ("held", Held),
}
"""Kind of sealed rows: the field of a round, and what it holds."""


@dataclass(frozen=True, slots=True)
class Authorship:
    """What of a plan stays with its author after the reveal."""

    author: MemberId | None
    might_fail: str
    chance: int | None


AUTHOR, COMPARE, DONE, LOCKED = "author", "compare", "done", "locked"
_SHAPES: Mapping[str, Any] = {
    **{kind: shape for kind, (_, shape) in PRIVATE.items()},
    AUTHOR: Authorship,
    DONE: frozenset[MemberId],
    LOCKED: frozenset[MemberId],
}
_LEDGERS = {"dots": Covers.DOTS, "ballot": Covers.BALLOT}
_OPEN = tuple(f.name for f in fields(Round) if f.name not in {*_LEDGERS, *(name for name, _ in PRIVATE.values())})
_OPEN_IN_LEDGER = tuple(f.name for f in fields(Ledger) if f.name not in ("marks", "locked"))
_PAST: Mapping[Covers, Step] = {
    Covers.NOTES: Step.NOTES, Covers.PLANS: Step.PLANS, Covers.JOTTINGS: Step.PLANS, Covers.AUTHORSHIP: Step.COMMITMENT,
    Covers.LATE: Step.COMMITMENT,
}  # fmt: skip
"""What is revealed or ends with a step. Votes and comparisons are erased on a day of their own."""


@dataclass(frozen=True, slots=True)
class Item:
    """A thing to be sealed, its place in the order of its kind, both with its name as JSON, and the key under which."""

    place: int
    thing: Any
    body: bytes
    use: Use


@dataclass(frozen=True, slots=True)
class Rows:
    """`doc` is JSON without private text; `items` maps (kind, item id) to what is to be sealed; `ledgers` by ballot.

    `open` is what `doc` was made of: rows of a later state take over what has stayed the same. `earlier`: (kind, item)
    and (ballot, voter) of rows that an earlier release sealed, which are written anew with the next change. `known`:
    where `doc` holds more than this release knows, the same without that.
    """

    doc: str
    items: Mapping[tuple[str, str], Item]
    ledgers: Mapping[str, Ledger]
    open: tuple[object, ...]
    earlier: tuple[tuple[str, str], ...] = ()
    known: str = ""

    def opened(self) -> list[Opened]:
        """As they read once their seal is opened."""
        return [Opened(kind, item.body) for (kind, _), item in self.items.items()]


@cache
def _adapter(shape: Any) -> TypeAdapter[Any]:
    return TypeAdapter(shape)


@cache
def _placed(shape: Any) -> TypeAdapter[Any]:
    """A thing with its name and its place among its kind."""
    return TypeAdapter(tuple[int, str, shape])


@cache
def _placed_before(shape: Any) -> TypeAdapter[Any]:
    """As an earlier release sealed it: its name stood in clear beside it."""
    return TypeAdapter(tuple[int, shape])


def to_rows(round_: Round, before: Rows | None = None, read: Iterable[Opened] = ()) -> Rows:
    """Splits a round into what may be read at rest and what may not. What it was `read` from keeps its places."""
    known = before.items if before is not None else {}
    places = {(one.kind, key): place for one in read for place, key, _ in (one.read,)}
    last: dict[str, int] = defaultdict(lambda: -1)  # places grow; where one is left empty, those behind stay as sealed
    items: dict[tuple[str, str], Item] = {}
    for kind, key, thing, use in _secret(round_):
        old = known.get((kind, key))
        place = max(old.place if old is not None else places.get((kind, key), 0), last[kind] + 1)
        items[kind, key] = _item(old, place, key, thing, _SHAPES[kind], use)
        last[kind] = place
    ledgers = {name: book for name in _LEDGERS if (book := getattr(round_, name)) is not None}
    shown = _shown(round_, ledgers)
    if before is not None and all(map(is_, shown, before.open)):
        return Rows(before.doc, items, ledgers, before.open, known=before.known)
    doc = _doc(round_)
    if before is not None and before.known:
        return Rows(newer.with_more(before.doc, before.known, doc), items, ledgers, shown, known=doc)
    return Rows(doc, items, ledgers, shown)


def as_stored(rows: Rows, doc: str) -> Rows:
    """Rows that were made of what this document tells, with what a newer release wrote into it beside that."""
    return replace(rows, doc=doc, known=rows.doc) if newer.holds_more(doc, rows.doc) else rows


def is_known(kind: str) -> bool:
    """Whether this release knows such sealed rows; others are a newer one's, and stay as they are."""
    return kind in _SHAPES


def _secret(round_: Round) -> Iterator[tuple[str, str, Any, Use]]:
    """Kind, name and key of everything that not everybody may know. Notes are told after the reveal, and have no author
    any more; plans are, but for what leads to their author."""

    def under(covers: Covers, which: str = "") -> Use:
        return Use(round_.id, covers, which)

    yield from (("note", i, n, under(Covers.NOTES)) for i, n in round_.notes.items() if n.author is not None)
    for i, n in round_.late_notes.items():
        yield "late", i, n, under(Covers.HELD) if n.author is None else under(Covers.LATE, i)
    yield from (("draft", i, d, under(Covers.NOTES)) for i, d in round_.drafts.items())
    unread = under(Covers.HELD if round_.step in ENDS else Covers.PLANS)
    yield from (("plan", i, p, unread) for i, p in round_.plans.items() if i not in round_.plan_order)
    authors = {i: _authorship(p) for i, p in round_.plans.items() if i in round_.plan_order}
    yield from ((AUTHOR, i, a, under(Covers.AUTHORSHIP)) for i, a in authors.items() if a != NOBODY)
    yield from (("jot", m, text, under(Covers.JOTTINGS)) for m, text in round_.jottings.items())
    yield from (("begun", i, begun, under(Covers.JOTTINGS)) for i, begun in round_.begun.items())
    yield from ((COMPARE, m, c, under(Covers.COMPARISONS)) for m, c in round_.comparisons.items())
    yield from (("choice", i, c, under(Covers.CHOICES)) for i, c in round_.choices.items())
    of_step = under(OF_STEP.get(round_.step, Covers.CHOICES))
    yield from (("held", step, decided, of_step) for step, decided in round_.held.items())
    if round_.progress.done:
        yield DONE, "", round_.progress.done, of_step
    for name, covers in _LEDGERS.items():
        ledger = getattr(round_, name)
        if ledger is not None and ledger.locked:
            yield LOCKED, name, ledger.locked, under(covers)


NOBODY = Authorship(None, "", None)


def _authorship(plan: Plan) -> Authorship:
    return Authorship(plan.author, plan.might_fail, plan.chance)


def past(step: Step, covers: Covers) -> bool:
    """Whether what such a key covers is over in a round at this step."""
    until = _PAST.get(covers)
    return until is not None and (step in ENDS or _ORDER.index(step) > _ORDER.index(until))


def over(before: Round, after: Round) -> list[Use]:
    """Keys that nothing needs any more, now that it is after."""
    ended = [Use(after.id, covers) for covers in _PAST if past(after.step, covers) and not past(before.step, covers)]
    late = [i for i, n in before.late_notes.items() if n.author is not None]
    settled = [i for i in late if i not in after.late_notes or after.late_notes[i].author is None]
    return [*ended, *(Use(after.id, Covers.LATE, i) for i in settled)]


_ORDER = tuple(Step)


def _item(known: Item | None, place: int, key: str, thing: Any, shape: Any, use: Use) -> Item:
    same = known is not None and (known.thing is thing or (known.thing == thing and shape is Authorship))
    if known is not None and same and known.place == place and known.use == use:
        return known
    return Item(place, thing, _placed(shape).dump_json((place, key, thing)), use)


def _shown(round_: Round, ledgers: Mapping[str, Ledger]) -> tuple[object, ...]:
    """All that the document is made of."""
    told = [note for note in round_.notes.values() if note.author is None]
    read = [round_.plans[i] for i in round_.plan_order if i in round_.plans]
    books = [getattr(ledgers.get(name), part, None) for name in _LEDGERS for part in _OPEN_IN_LEDGER]
    return (*(getattr(round_, name) for name in _OPEN), *books, len(told), *told, len(read), *read)


def _doc(round_: Round) -> str:
    without: dict[str, Any] = {name: {} for name, _ in PRIVATE.values()}
    without |= {name: _without_marks(getattr(round_, name)) for name in _LEDGERS}
    without["notes"] = {i: n for i, n in round_.notes.items() if n.author is None}
    without["plans"] = {i: _unsigned(p) for i, p in round_.plans.items() if i in round_.plan_order}
    without["progress"] = replace(round_.progress, done=frozenset())
    return _adapter(Round).dump_json(replace(round_, **without)).decode()


def _unsigned(plan: Plan) -> Plan:
    return replace(plan, author=None, might_fail="", chance=None)


def _without_marks(ledger: Ledger | None) -> Ledger | None:
    return None if ledger is None else replace(ledger, marks={}, locked=frozenset())


@dataclass(frozen=True)
class Opened:
    """The body of a sealed row, opened. `item` is its name where that stood in clear."""

    kind: str
    body: bytes
    item: str | None = None

    @cached_property
    def read(self) -> tuple[int, str, Any]:
        """Its place among its kind, its name, and what it is."""
        shape = _SHAPES[self.kind]
        if self.item is None:
            place, key, thing = _placed(shape).validate_json(self.body)
            return place, key, thing
        place, thing = _placed_before(shape).validate_json(self.body)
        return place, self.item, thing


def from_rows(doc: str, items: Iterable[Opened], marks: Mapping[str, Mapping[str, Any]]) -> Round:
    """Joins the rows again. `items` in any order: each tells its place, sealed with it, so that who reads the database
    does not learn who wrote first. What could not be opened is not there."""
    round_: Round = _adapter(Round).validate_json(doc)
    read: dict[str, dict[Any, Any]] = {kind: {} for kind in _SHAPES}
    for kind, (_, key, thing) in sorted(((i.kind, i.read) for i in items), key=lambda one: one[1][0]):
        read[kind][key] = thing
    read["note"] = {**round_.notes, **read["note"]}
    read["plan"] = _signed(round_, read["plan"], read[AUTHOR])
    whole: dict[str, Any] = {name: read[kind] for kind, (name, _) in PRIVATE.items()}
    books = {name: getattr(round_, name) for name in _LEDGERS}
    whole |= {name: _with_marks(b, marks.get(name, {}), read[LOCKED].get(name)) for name, b in books.items()}
    whole["progress"] = replace(round_.progress, done=read[DONE].get("", round_.progress.done))
    return replace(round_, **whole)


def _signed(round_: Round, sealed: Mapping[PlanId, Plan], authors: Mapping[PlanId, Authorship]) -> dict[PlanId, Plan]:
    """Plans in their order, those that everybody has read with what is their author's alone."""
    told = {i: replace(p, **_known(authors.get(i, NOBODY))) for i, p in round_.plans.items()}
    whole = {**told, **sealed}
    order = [i for i in round_.plan_order if i in whole]
    return {i: whole[i] for i in (*order, *(i for i in whole if i not in order))}


def _known(authorship: Authorship) -> dict[str, Any]:
    return {f.name: getattr(authorship, f.name) for f in fields(Authorship)}


def _with_marks(ledger: Ledger | None, marks: Mapping[str, Any], locked: Any) -> Ledger | None:
    if ledger is None:
        return None
    cast = {MemberId(v): tuple(m) for v, m in marks.items()}
    return replace(ledger, marks=cast, locked=ledger.locked if locked is None else locked)


def mark_body(voter: str, mark: Mark) -> bytes:
    """A mark with its voter, to be sealed together: the row itself shows only the voter's keyed hash."""
    return _adapter(tuple[str, Mark]).dump_json((voter, mark))


def read_mark(body: bytes) -> tuple[str, Mark]:
    """A mark with its voter; an emoji that was kept by a short name comes back as the emoji."""
    voter, mark = _adapter(tuple[str, Mark]).validate_json(body)
    return voter, replace(mark, sign=by_name(mark.sign))
