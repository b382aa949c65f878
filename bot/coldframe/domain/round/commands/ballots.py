"""What is asked with votes, in the dots and in the ballot alike."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId


class CastVote(Command):
    option: str
    sign: str


class TakeBackVote(Command):
    """Takes back the mark with this sign; a sign of `button` takes back the newest button vote on the option."""

    option: str
    sign: str


class LockBallot(Command):
    """My ballot is final."""


class Reconcile(Command):
    """What the platform shows of reactions at the close: per voter (option, emoji) pairs. Buttons stay."""

    found: Mapping[MemberId, tuple[tuple[str, str], ...]]
