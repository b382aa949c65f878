"""What may be told of a count besides the places: one rule, which messages, pictures and files all ask.

Of a count that takes the place of one whose figures were told, only the places: whoever lays one beside the other sees
the whole ballot of somebody who was added, taken off, or thought better of it.

Whoever voted knows their own ballot and subtracts it, so a sum over few people shows single ballots. Figures are told
from five voters on, not counting the decision-maker whose votes have a column of their own: each of the five then sees
the sum of four others. Five is the threshold that statistical offices use for a cell of a table (OECD glossary,
"threshold rule"); of two options it takes seven, since there are so few ways to vote. What that leaves is measured by
`python -m tests.bench.disclosure`. Everything else that is said of a count (how sure it is, whether the weight decides)
is reckoned from these figures alone, never from ballots, and so gives away nothing beyond them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from coldframe.domain.names import Step
from coldframe.domain.state import Round

MIN_VOTERS = 5
MIN_VOTERS_ON_TWO = 7
"""People whose votes a figure sums up, at least; on two options."""


def voters_needed(options: int) -> int:
    return MIN_VOTERS_ON_TWO if options <= 2 else MIN_VOTERS


@dataclass(frozen=True, slots=True)
class Figures:
    """Votes by option: the group's sum, and those of whoever has a column of their own."""

    group: Mapping[str, int]
    chief: Mapping[str, int] | None
    voters: int  # people in the group's sum
    quota: int  # votes that each had


def may_be_measured(round_: Round, judges: int) -> bool:
    """Whether distances in the matrix may be told, and how sure they are. A facilitator who places alone does so in the
    open."""
    if round_.settings.placed_by == "facilitator":
        return True
    return judges >= MIN_VOTERS and not was_told(round_, Step.PLACEMENT, round_.to_place)


def was_told(round_: Round, step: Step, options: Collection[str]) -> bool:
    """Whether figures on some of these options were told before the step was opened again."""
    return not set(round_.told_before.get(step, ())).isdisjoint(options)


def told_by_now(round_: Round) -> dict[Step, tuple[str, ...]]:
    """On which options of which steps figures have been told, now or before."""
    found = dict(round_.told_before)
    for step, ranked in ((Step.DOTS, round_.forces_standing), (Step.BALLOT, round_.plans_standing)):
        if ranked and figures(round_, step) is not None:
            found[step] = tuple(standing.option for standing in ranked)
    if round_.step is Step.COMMITMENT and round_.settings.placed_by != "facilitator":
        found[Step.PLACEMENT] = tuple(round_.to_place)
    return found


def figures(round_: Round, step: Step) -> Figures | None:
    """The figures of the counted step, or None where only its places may be told."""
    ranked = round_.forces_standing if step is Step.DOTS else round_.plans_standing
    voters, group = round_.counted.get(step, 0), {s.option: s.group for s in ranked}
    if voters < voters_needed(len(ranked)) or was_told(round_, step, group):
        return None
    if step is Step.DOTS:
        return Figures(group, None, voters, round_.settings.dots)
    return Figures(group, {s.option: s.decision_maker for s in ranked}, voters, round_.settings.plan_votes)
