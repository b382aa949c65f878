"""Statements that run all the time, made ready once for a file of SQLite, which is called where it stands: SQLAlchemy's
way from a statement to its rows takes four times as long as what SQLite itself does about it. A server, whose answer
takes longer than either, gets them from SQLAlchemy as ever.
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


class Rows(Protocol):
    """What a statement gave."""

    @property
    def rowcount(self) -> int: ...

    def all(self) -> Sequence[Any]: ...

    def first(self) -> Any: ...

    def one(self) -> Any: ...

    def scalar(self) -> Any: ...

    def __iter__(self) -> Iterator[Any]: ...


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
    """A statement as SQLite takes it, for lists of certain lengths."""

    text: str
    slots: tuple[_Slot, ...]
    row: Callable[[Sequence[Any]], Any]
    changed: Reads

    def values(self, given: Mapping[str, Any]) -> list[Any]:
        return [slot.value(given) for slot in self.slots]

    def read(self, row: Sequence[Any]) -> Any:
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
        self._forms: dict[Any, _Form] = {}
        self._compiled: dict[tuple[str, ...], Any] = {}
        self._reading: tuple[Any, Reads] | None = None

    def on(self, file: sqlite3.Connection, given: Any, dialect: Dialect) -> Rows:
        """Raises what SQLAlchemy would."""
        many = isinstance(given, list)
        form = self._form(given[0] if many else given or {}, dialect)
        try:
            if many:
                return Found([], file.executemany(form.text, [form.values(each) for each in given]).rowcount)
            cursor = file.execute(form.text, form.values(given))
            rows = cursor.fetchall() if cursor.description else []
        except sqlite3.Error as problem:
            raise as_told(problem, form.text) from problem
        except ValueError as wrong:
            raise exc.StatementError(str(wrong), form.text, None, wrong, hide_parameters=True) from wrong
        return Found([form.read(row) for row in rows], cursor.rowcount)

    def _form(self, given: Mapping[str, Any], dialect: Dialect) -> _Form:
        key = tuple([(name, len(value) if isinstance(value, _LISTS) else -1) for name, value in given.items()])
        form = self._forms.get(key)
        if form is None:
            if len(self._forms) == FORMS_KEPT:
                self._forms.clear()
            form = self._forms[key] = self._made(given, dialect)
        return form

    def _made(self, given: Mapping[str, Any], dialect: Dialect) -> _Form:
        if (names := tuple(given)) not in self._compiled:
            self._compiled[names] = self.core.compile(dialect=dialect, column_keys=names)
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
        self._reading = self._reading or self._reads(dialect)
        return _Form(state.statement, tuple(slots), *self._reading)

    def _reads(self, dialect: Dialect) -> tuple[Any, Reads]:
        """How rows are made, and how what the database keeps is read."""
        columns = self.core.exported_columns
        reads = [column.type.dialect_impl(dialect).result_processor(dialect, None) for column in columns]
        names: Any = tuple(columns.keys())
        row: Any = namedtuple("Row", names, rename=True)  # type: ignore[misc]  # known only now
        return row._make, tuple((place, read) for place, read in enumerate(reads) if read is not None)
