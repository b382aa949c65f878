"""Forgetting a person: what they gave in confidence is deleted, what everybody has read stays without their name.

Each step's record says what becomes of what it keeps. Votes and comparisons stay until the ballots are erased, a week
after the count: they say nothing about anybody in the results, and taking them out would change what was counted.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from coldframe.domain.facts import Decide, Evolve, Facts
from coldframe.domain.people.commands import Forget
from coldframe.domain.people.facts import PersonForgotten
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.rules import RULES
from coldframe.domain.state import GONE, Round


def forget(round_: Round, command: Forget, now: datetime) -> Facts:
    """In any step, ended rounds included; only for oneself. Raises Refused NOT_A_MEMBER."""
    if command.by not in round_.seats:
        raise Refused(Because.NOT_A_MEMBER)
    return (PersonForgotten(command.by),)


def person_forgotten(round_: Round, fact: PersonForgotten) -> Round:
    gone = fact.member
    seats = {**round_.seats, gone: replace(round_.seats[gone], name=GONE)}
    round_ = replace(round_, seats=seats, held={s: h for s, h in round_.held.items() if h.by != gone})
    for rule in RULES.values():
        round_ = rule.forget(round_, gone)
    return round_


DECIDE: Decide = {Forget: forget}
EVOLVE: Evolve = {PersonForgotten: person_forgotten}
