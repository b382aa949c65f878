"""Forgetting a person: what nobody has read is deleted, what everybody has read stays, and nothing says whose it was.

Each step's record says what of theirs it deletes. Whatever is left is called by an alias, the counted votes too: taking
them out would change what was counted, and they are erased a week after the count.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from coldframe.domain.facts import Decide, Evolve, Facts
from coldframe.domain.names import PlanId
from coldframe.domain.people import aliases
from coldframe.domain.people.commands import Forget
from coldframe.domain.people.facts import PersonForgotten
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import plans
from coldframe.domain.round.rules import RULES
from coldframe.domain.state import GONE, Round

REASONS: Mapping[str, str] = {"focus": "focus_reason", "cancelled": "ended_because"}
"""By what says it first, the field of a reason that somebody gave for all to read."""


def forget(round_: Round, command: Forget, now: datetime) -> Facts:
    """In any step, ended rounds included; only for oneself. Raises Refused NOT_A_MEMBER."""
    if aliases.is_nobody(command.by) or command.by not in aliases.mentioned(round_):
        raise Refused(Because.NOT_A_MEMBER)
    return (PersonForgotten(command.by, aliases.new_alias(round_), command.unread),)


def person_forgotten(round_: Round, fact: PersonForgotten) -> Round:
    held = {step: held for step, held in round_.held.items() if held.by != fact.member}  # nobody has heard of it
    round_ = _without_reasons(plans.without(replace(round_, held=held), _unread_plans(round_, fact)), fact.unread)
    for rule in RULES.values():
        round_ = rule.forget(round_, fact.member)
    said = tuple(p for p in round_.precedents if p.by != fact.member or p.id not in fact.unread)
    round_ = aliases.renamed(replace(round_, precedents=said), fact.member, fact.alias)
    if fact.alias not in round_.seats:
        return round_
    return replace(round_, seats={**round_.seats, fact.alias: replace(round_.seats[fact.alias], name=GONE)})


def _unread_plans(round_: Round, fact: PersonForgotten) -> frozenset[PlanId]:
    return frozenset(i for i, plan in round_.plans.items() if i in fact.unread and plan.author == fact.member)


def _without_reasons(round_: Round, unread: frozenset[str]) -> Round:
    changes: dict[str, Any] = {field: "" for field in REASONS.values() if field in unread}
    return replace(round_, **changes)


DECIDE: Decide = {Forget: forget}
EVOLVE: Evolve = {PersonForgotten: person_forgotten}
