"""What became true of people and their roles."""

from __future__ import annotations

from coldframe.domain.facts import Fact
from coldframe.domain.names import HandOverReason, MemberId, Role, Step


class AwaySet(Fact):
    member: MemberId
    away: bool


class MemberLeft(Fact):
    member: MemberId


class PersonForgotten(Fact):
    """They stand nowhere any more; where something of theirs stays, it is their alias's, who has no name."""

    private = True
    member: MemberId
    alias: MemberId
    unread: frozenset[str] = frozenset()


class MemberJoined(Fact):
    member: MemberId
    name: str
    step: Step


class RoleHandedOver(Fact):
    role: Role
    to_deputy: bool
    why: HandOverReason


class RoleFilled(Fact):
    """Neither its holder nor their deputy is there any more: the role is somebody else's own now."""

    role: Role
    member: MemberId


class WeightConfirmed(Fact):
    weight: int
