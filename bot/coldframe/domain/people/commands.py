"""What is asked about people and their roles."""

from __future__ import annotations

from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId, Role


class SetAway(Command):
    """The member is away (not expected) or back."""

    member: MemberId
    away: bool


class Leave(Command):
    """The member left the firm or the channel for good."""

    member: MemberId


class Forget(Command):
    """Nothing that I gave in confidence is kept, and nothing else says that it came from me. `unread`: what of mine was
    to be read by all and has not been said yet: precedents and plans by their ids, reasons by their fields."""

    unread: frozenset[str] = frozenset()


class Join(Command):
    """A new member, expected from the next step on."""

    member: MemberId
    name: str


class HandOver(Command):
    """Give the role to its deputy (or take it back)."""

    role: Role
    to_deputy: bool = True


class ConfirmWeight(Command):
    """Yes, the decision-maker's votes may be worth this much."""
