"""A database file belongs to one process, by a lock that the system frees when the process ends, however it ends."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from coldframe.errors import ColdframeError
from coldframe.private_files import keep_private


class InUse(ColdframeError):
    """The database is another process's: two that send from one file would post everything twice."""

    def __init__(self, what: object) -> None:
        super().__init__(f"{what} is in use by another process of the bot; stop that one first. Nothing was changed")


class Hold:
    """The file, held until `release`. The lock stands on a file beside it, so that others may still read the first."""

    def __init__(self, path: Path) -> None:
        """Raises InUse."""
        beside = path.with_name(path.name + "-held")
        keep_private(beside)
        self._lock = sqlite3.connect(beside, timeout=0, isolation_level=None)
        try:
            self._lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError:
            self._lock.close()
            raise InUse(path) from None

    def release(self) -> None:
        self._lock.close()
