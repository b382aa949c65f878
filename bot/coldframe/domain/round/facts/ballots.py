"""What became true of votes, of the dots and of the ballot alike."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId
from coldframe.domain.state import Mark, Standing


class VoteCast(Fact):
    private = True
    voter: MemberId
    mark: Mark
    counts: bool


class VoteTakenBack(Fact):
    private = True
    voter: MemberId
    mark: Mark


class BallotLocked(Fact):
    private = True
    voter: MemberId


class LedgerReconciled(Fact):
    private = True
    marks: Mapping[MemberId, tuple[Mark, ...]]


class DotsCounted(Fact):
    standing: tuple[Standing, ...]
    unused: int


class BallotCounted(Fact):
    standing: tuple[Standing, ...]
    own_votes: int  # votes for plans of one's own, as a total only
    unused: int
