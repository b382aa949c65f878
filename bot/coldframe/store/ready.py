"""Statements that run all the time, made ready once for the driver's own connection: SQLAlchemy's way from a statement
to its rows takes four times as long as what SQLite itself does about it, and twice as long as a server's driver.
"""

from __future__ import annotations

import sqlite3
from collections import namedtuple
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from sqlalchemy import Dialect, exc

Change = Callable[[Any], Any] | None
"""How a value becomes what the database keeps; None where it is kept as it is."""
Reads = tuple[tuple[int, Callable[[Any], Any]], ...]
"""By the places of columns how what the database keeps becomes a value, where that is another."""
_LISTS = (list, tuple)
FORMS_KEPT = 200  # of one statement, for lists of other lengths
UNCOUNTED = -1  # of many at once no server tells it, and SQLAlchemy says so by this


class Rows(Protocol):
    """What a statement gave."""

    @property
    def rowcount(self) -> int: ...

    def all(self) -> Sequence[Any]: ...

    def first(self) -> Any: ...

    def one(self) -> Any: ...

    def scalar(self) -> Any: ...

    def __iter__(self) -> Iterator[Any]: ...


class Server(Protocol):
    """What a server's driver offers."""

    async def execute(self, text: str, *values: Any) -> str: ...

    async def executemany(self, text: str, values: Any) -> None: ...

    async def fetch(self, text: str, *values: Any) -> Sequence[Any]: ...


@dataclass(frozen=True, slots=True)
class Found:
    """Rows that are all read."""

    rows: list[Any]
    rowcount: int

    def all(self) -> list[Any]:
        return self.rows

    def first(self) -> Any:
        return self.rows[0] if self.rows else None

    def one(self) -> Any:
        (row,) = self.rows
        return row

    def scalar(self) -> Any:
        return self.rows[0][0] if self.rows else None

    def __iter__(self) -> Iterator[Any]:
        return iter(self.rows)


@dataclass(frozen=True, slots=True)
class _Slot:
    """Where a value of the text comes from: one that is given, or an item of a list, or one that stands fast."""

    name: str
    item: int | None
    change: Change
    fast: Any = None

    def value(self, given: Mapping[str, Any]) -> Any:
        if not self.name:
            return self.fast
        value = given[self.name] if self.item is None else given[self.name][self.item]
        return value if self.change is None else self.change(value)


@dataclass(frozen=True, slots=True)
class _Form:
    """A statement as the database takes it, for lists of certain lengths."""

    text: str
    slots: tuple[_Slot, ...]
    row: Callable[[Sequence[Any]], Any] | None
    changed: Reads

    @property
    def gives(self) -> bool:
        """Whether it gives rows."""
        return self.row is not None

    def values(self, given: Mapping[str, Any]) -> list[Any]:
        return [slot.value(given) for slot in self.slots]

    def read(self, row: Sequence[Any]) -> Any:
        assert self.row is not None
        if not self.changed:
            return self.row(row)
        values = list(row)
        for place, change in self.changed:
            values[place] = change(values[place])
        return self.row(values)


def as_told(problem: sqlite3.Error, text: str) -> exc.DBAPIError:
    """As SQLAlchemy tells it, without what was given."""
    kind: type[exc.DBAPIError] = getattr(exc, type(problem).__name__, exc.DBAPIError)
    return kind(text, None, problem, hide_parameters=True)


class Ready:
    """A statement with named values; where it adds rows, many may be given at once."""

    def __init__(self, core: Any) -> None:
        self.core = core
        self._here, self._there = _Forms(core), _Forms(core)

    def on(self, file: sqlite3.Connection, given: Any, dialect: Dialect) -> Rows:
        """On a file. Raises what SQLAlchemy would."""
        many = isinstance(given, list)
        form = self._here.form(given[0] if many else given or {}, dialect)
        try:
            if many:
                return Found([], file.executemany(form.text, [form.values(each) for each in given]).rowcount)
            cursor = file.execute(form.text, form.values(given))
            rows = cursor.fetchall() if cursor.description else []
        except sqlite3.Error as problem:
            raise as_told(problem, form.text) from problem
        except ValueError as wrong:
            raise _not_sent(wrong, form.text) from wrong
        return Found([form.read(row) for row in rows], cursor.rowcount)

    async def by(self, server: Server, given: Any, dialect: Dialect) -> Rows:
        """On a server. Raises what SQLAlchemy would where a value cannot be sent; what the server refuses, and that it
        cannot be reached, as its driver tells it."""
        many = isinstance(given, list)
        form = self._there.form(given[0] if many else given or {}, dialect)
        try:
            values = [form.values(each) for each in given] if many else form.values(given)
        except ValueError as wrong:
            raise _not_sent(wrong, form.text) from wrong
        if many:
            await server.executemany(form.text, values)
            return Found([], UNCOUNTED)
        if not form.gives:
            return Found([], _counted(await server.execute(form.text, *values)))
        rows = await server.fetch(form.text, *values)
        return Found([form.read(row) for row in rows], len(rows))


def _counted(status: str) -> int:
    """How many rows, as a server tells it at the end: `UPDATE 3`, `INSERT 0 1`."""
    return int(status.rpartition(" ")[2])


def _not_sent(wrong: ValueError, text: str) -> exc.StatementError:
    return exc.StatementError(str(wrong), text, None, wrong, hide_parameters=True)


class _Forms:
    """Of a statement on one database."""

    def __init__(self, core: Any) -> None:
        self._core = core
        self._kept: dict[Any, _Form] = {}
        self._compiled: dict[tuple[str, ...], Any] = {}
        self._reading: tuple[Any, Reads] | None = None

    def __len__(self) -> int:
        return len(self._kept)

    def form(self, given: Mapping[str, Any], dialect: Dialect) -> _Form:
        key = tuple([(name, len(value) if isinstance(value, _LISTS) else -1) for name, value in given.items()])
        form = self._kept.get(key)
        if form is None:
            if len(self._kept) == FORMS_KEPT:
                self._kept.clear()
            form = self._kept[key] = self._made(given, dialect)
        return form

    def _made(self, given: Mapping[str, Any], dialect: Dialect) -> _Form:
        self._reading = self._reading or self._reads(dialect)
        row, changed = self._reading
        if (names := tuple(given)) not in self._compiled:
            # As if for many: the key of a row that is added alone is nothing that anybody asked for.
            many = row is None
            self._compiled[names] = self._core.compile(dialect=dialect, column_keys=names, for_executemany=many)
        compiled = self._compiled[names]
        assert not compiled.prefetch, "a default that SQLAlchemy makes would be left out here"
        state = compiled.construct_expanded_state(given)
        items = {item: (name, place) for name, of in state.parameter_expansion.items() for place, item in enumerate(of)}
        slots = []
        for name in state.positiontup:
            of, place = items.get(name, (name, None))
            change = compiled.binds[of].type.dialect_impl(dialect).bind_processor(dialect)
            if of in given:
                slots.append(_Slot(of, place, change))
            else:
                fast = state.parameters[name]
                slots.append(_Slot("", None, None, fast if change is None else change(fast)))
        return _Form(state.statement, tuple(slots), row, changed)

    def _reads(self, dialect: Dialect) -> tuple[Any, Reads]:
        """How rows are made, if it gives any, and how what the database keeps is read."""
        columns = self._core.exported_columns
        reads = [column.type.dialect_impl(dialect).result_processor(dialect, None) for column in columns]
        names: Any = tuple(columns.keys())
        row: Any = namedtuple("Row", names, rename=True)  # type: ignore[misc]  # known only now
        return row._make if names else None, tuple(
            (place, read) for place, read in enumerate(reads) if read is not None
        )
