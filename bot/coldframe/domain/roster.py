"""Who takes part in a round, who has which role, and which role somebody was asked to take."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from coldframe.domain.names import MemberId, Role, Step


@dataclass(frozen=True, slots=True)
class Seat:
    """A member in this round. Who joined in a running step (`joined_in`) is expected only from the next one on."""

    member: MemberId
    name: str
    away: bool = False
    left: bool = False
    joined_in: Step | None = None
    held: tuple[Role, ...] = ()  # what was theirs when they left


@dataclass(frozen=True, slots=True)
class RoleOffer:
    """A role that somebody was asked to take. `by` asked; it is nobody for a role that was theirs before they left."""

    role: Role
    to: MemberId
    by: MemberId
    until: datetime


@dataclass(frozen=True, slots=True)
class Roles:
    """Who has which role, their deputies, and which roles were handed over."""

    facilitator: MemberId
    decision_maker: MemberId
    facilitator_deputy: MemberId | None = None
    decision_deputy: MemberId | None = None
    handed_over: frozenset[Role] = frozenset()

    def acting(self, role: Role) -> MemberId:
        """Who holds the role now: its holder, or the deputy after a hand-over."""
        deputy = self.deputy(role)
        return deputy if role in self.handed_over and deputy else self.holder(role)

    def holder(self, role: Role) -> MemberId:
        """Whose role it is, handed over or not."""
        return self.facilitator if role is Role.FACILITATOR else self.decision_maker

    def deputy(self, role: Role) -> MemberId | None:
        return self.facilitator_deputy if role is Role.FACILITATOR else self.decision_deputy

    def given(self, role: Role, member: MemberId, deputy: MemberId | None = None) -> Roles:
        """The role as somebody's own, with this deputy or none."""
        over = self.handed_over - {role}
        if role is Role.FACILITATOR:
            return replace(self, facilitator=member, facilitator_deputy=deputy, handed_over=over)
        return replace(self, decision_maker=member, decision_deputy=deputy, handed_over=over)

    def passed(self, role: Role, member: MemberId) -> Roles:
        """The role as this member's own; its deputy stays, unless they have the role now."""
        deputy = self.deputy(role)
        return self.given(role, member, None if deputy == member else deputy)
