"""Votes as they were cast, and what a count made of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from coldframe.domain.names import MemberId


@dataclass(frozen=True, slots=True)
class Mark:
    """One vote as it was cast: an emoji on an option, or a press of its button (`button:1`, `button:2` ...)."""

    option: str
    sign: str


@dataclass(frozen=True, slots=True)
class Ledger:
    """All marks of a ballot, per voter in the order in which they were cast. The first `quota` of each count."""

    quota: int
    marks: Mapping[MemberId, tuple[Mark, ...]] = field(default_factory=dict)
    locked: frozenset[MemberId] = frozenset()

    def counted(self, voter: MemberId) -> tuple[Mark, ...]:
        """The voter's marks that count."""
        return self.marks.get(voter, ())[: self.quota]

    def surplus(self, voter: MemberId) -> tuple[Mark, ...]:
        """The voter's marks over the quota, newest last."""
        return self.marks.get(voter, ())[self.quota :]

    def votes(self) -> dict[MemberId, tuple[str, ...]]:
        """Option ids per voter, as often as they count, without the voters who have none."""
        return {v: tuple(m.option for m in self.counted(v)) for v in self.marks if self.counted(v)}


@dataclass(frozen=True, slots=True)
class Standing:
    """One option in a result. `place` is shared by ties; `carried` says whether it goes on."""

    option: str
    place: int
    group: int
    decision_maker: int
    weighted: float
    voters: int
    carried: bool = False
    drawn: bool = False  # a disclosed draw decided its place at the cut
