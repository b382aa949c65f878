"""Forgetting a person: what they gave in confidence is deleted, what everybody has read stays without their name.

Votes and comparisons stay until the ballots are erased, a week after the count: they say nothing about anybody in the
results, and taking them out would change what was counted.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from coldframe.domain.facts import Decide, Evolve, Facts
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.people.commands import Forget
from coldframe.domain.people.facts import PersonForgotten
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import GONE, Choice, Plan, Round

NOBODY = MemberId("")


def forget(round_: Round, command: Forget, now: datetime) -> Facts:
    """In any step, ended rounds included; only for oneself. Raises Refused NOT_A_MEMBER."""
    if command.by not in round_.seats:
        raise Refused(Because.NOT_A_MEMBER)
    return (PersonForgotten(command.by),)


def person_forgotten(round_: Round, fact: PersonForgotten) -> Round:
    gone = fact.member
    return replace(
        round_,
        seats={**round_.seats, gone: replace(round_.seats[gone], name=GONE)},
        notes={i: n for i, n in round_.notes.items() if n.author != gone},
        late_notes={i: n for i, n in round_.late_notes.items() if n.author != gone},
        drafts={i: d for i, d in round_.drafts.items() if d.author != gone},
        suggestions=tuple(replace(s, by=NOBODY) if s.by == gone else s for s in round_.suggestions),
        precedents=tuple(replace(p, by=NOBODY) if p.by == gone else p for p in round_.precedents),
        plans=_plans_without(round_, gone),
        choices={i: _choice_without(choice, gone) for i, choice in round_.choices.items()},
    )


def _plans_without(round_: Round, gone: MemberId) -> dict[PlanId, Plan]:
    """Plans that nobody has read yet are deleted; the others lose their author and what was for the author alone."""
    if round_.step is Step.PLANS:
        return {i: p for i, p in round_.plans.items() if p.author != gone}
    return {
        i: replace(p, author=None, might_fail="", chance=None) if p.author == gone else p
        for i, p in round_.plans.items()
    }


def _choice_without(choice: Choice, gone: MemberId) -> Choice:
    return replace(
        choice,
        declined=tuple((m, reason) for m, reason in choice.declined if m != gone),
        forecasts={m: chance for m, chance in choice.forecasts.items() if m != gone},
        digits={m: digits for m, digits in choice.digits.items() if m != gone},
    )


DECIDE: Decide = {Forget: forget}
EVOLVE: Evolve = {PersonForgotten: person_forgotten}
