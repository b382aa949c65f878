"""What is asked about the focus and the forces in it."""

from __future__ import annotations

from coldframe.domain.commands import Command
from coldframe.domain.names import ForceId, LeverId, NoteId
from coldframe.domain.state import MergeProposal


class PickFocus(Command):
    lever: LeverId
    reason: str


class ProposeMerges(Command):
    """The bot's proposals of direct duplicates among the restraining forces in focus."""

    proposals: tuple[MergeProposal, ...]


class AnswerMerge(Command):
    """Yes, the same point; or no, they differ."""

    first: NoteId
    second: NoteId
    same: bool


class JoinForces(Command):
    first: ForceId
    second: ForceId


class SplitForce(Command):
    """Take a joined force apart again; anybody may, unsigned, until the dots open."""

    force: ForceId
