"""What became true of the focus and of the forces in it."""

from __future__ import annotations

from coldframe.domain.facts import Fact
from coldframe.domain.names import ForceId, LeverId, MemberId, NoteId
from coldframe.domain.state import MergeProposal


class FocusPicked(Fact):
    lever: LeverId
    reason: str


class MergesProposed(Fact):
    proposals: tuple[MergeProposal, ...]


class MergeAnswered(Fact):
    """One person's answer; who facilitates and decides alike needs a second person's as well."""

    first: NoteId
    second: NoteId
    same: bool
    by: MemberId


class ForcesJoined(Fact):
    first: ForceId
    second: ForceId


class ForceSplit(Fact):
    force: ForceId


class Merged(Fact):
    """The list of forces stands."""

    forces: int
