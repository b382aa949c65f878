"""Where direct messages stand. The file shows neither whose they are nor in which order they came; this is known in
memory alone, from what is sealed in each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from coldframe.chat.room.rows import Kept


@dataclass(frozen=True, slots=True)
class Standing:
    """In which row, and in whose direct messages."""

    row: int
    root: str
    revision: int
    key: str | None


@dataclass(slots=True)
class Directs:
    """By the number that a message is known by, in the order in which they came."""

    at: dict[int, Standing] = field(default_factory=dict)
    _of: dict[str, dict[int, None]] = field(default_factory=dict)
    _in_row: dict[int, int] = field(default_factory=dict)
    _keyed: dict[str, dict[int, None]] = field(default_factory=dict)

    def put(self, row: int, kept: Kept) -> None:
        """A new one, or one that changed."""
        self.at[kept.seq] = Standing(row, kept.root, kept.revision, kept.key)
        self._of.setdefault(kept.root, {})[kept.seq] = None
        self._in_row[row] = kept.seq
        if kept.key is not None:
            self._keyed.setdefault(kept.key, {})[kept.seq] = None

    def drop(self, seq: int) -> Standing:
        gone = self.at.pop(seq)
        del self._of[gone.root][seq], self._in_row[gone.row]
        if gone.key is not None:
            del self._keyed[gone.key][seq]
        return gone

    def moved(self, rows: Mapping[int, int]) -> None:
        """All stand in other rows now: before to after."""
        self.at = {seq: replace(standing, row=rows[standing.row]) for seq, standing in self.at.items()}
        self._in_row = {rows[row]: seq for row, seq in self._in_row.items()}

    def row(self, seq: int) -> int:
        """That of any message; those of a channel stand under their own numbers."""
        return self.at[seq].row if seq in self.at else seq

    def seq(self, row: int) -> int:
        return self._in_row.get(row, row)

    def of(self, root: str | None) -> list[int]:
        """Of one person, or of all."""
        return list(self.at if root is None else self._of.get(root, ()))

    def keyed(self, key: str) -> list[int]:
        return list(self._keyed.get(key, ()))
