"""What the rooms above need of a database, whichever it is."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from typing import TYPE_CHECKING, Any, Protocol, TypeVar, overload

import sqlalchemy
from sqlalchemy import URL, CursorResult, Executable

from coldframe.store.ready import Ready, Rows

if TYPE_CHECKING:
    from sqlalchemy.ext.asyncio import AsyncEngine

T = TypeVar("T")


class Connection(Protocol):
    """A transaction's connection."""

    @overload
    async def execute(self, statement: Ready, parameters: Any = None, /) -> Rows: ...
    @overload
    async def execute(self, statement: Executable, parameters: Any = None, /) -> CursorResult[Any]: ...


class Database(Protocol):
    """A file or a server, opened."""

    @property
    def url(self) -> URL: ...

    @property
    def dialect(self) -> str: ...

    @property
    def engine(self) -> sqlalchemy.Engine | AsyncEngine:
        """For a library that brings tables of its own."""
        ...

    @property
    def written(self) -> int | None:
        """How many rows were written so far; None where others write as well."""
        ...

    def transaction(self) -> AbstractAsyncContextManager[Connection]:
        """Committed at the end, or rolled back when it is left by an exception."""
        ...

    def apart(self) -> AbstractAsyncContextManager[Connection]:
        """A transaction that waits for no other's turn, also within one: about what nothing else touches."""
        ...

    def looking(self) -> AbstractAsyncContextManager[Connection]:
        """For statements that only read: each sees one state by itself, without a transaction around them."""
        ...

    async def run(self, work: Callable[[sqlalchemy.Connection], T]) -> T:
        """Work that is written for a plain connection, in one transaction."""
        ...

    async def scrub(self) -> bool:
        """Nothing of what was deleted or written over stands in its files any more, as far as that is in our hands;
        False while somebody who reads the file keeps it so."""
        ...

    async def be_alone(self) -> None:
        """Raises InUse while another process of the bot works on it."""
        ...

    async def close(self) -> None: ...
