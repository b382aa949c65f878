"""Options in their order: by votes, ties kept; and where a cut must be made, a disclosed draw."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from coldframe.domain.names import MemberId
from coldframe.domain.order import shuffled
from coldframe.domain.state import Standing


def standing(
    votes: Mapping[MemberId, Iterable[str]],
    order: tuple[str, ...],
    decision_maker: MemberId | None,
    weight: float,
) -> tuple[Standing, ...]:
    """Options by weighted total, number of different voters, the decision-maker's votes; ties share a place."""
    counts = {o: _counted(o, votes, decision_maker, weight) for o in order}
    keys = {o: (c.weighted, c.voters, c.decision_maker) for o, c in counts.items()}
    ranked = sorted(order, key=lambda o: keys[o], reverse=True)
    return tuple(replace(counts[o], place=1 + sum(k > keys[o] for k in keys.values())) for o in ranked)


def _counted(
    option: str, votes: Mapping[MemberId, Iterable[str]], decision_maker: MemberId | None, weight: float
) -> Standing:
    per_voter = {v: sum(o == option for o in chosen) for v, chosen in votes.items()}
    theirs = per_voter.pop(decision_maker, 0) if decision_maker is not None else 0
    group = sum(per_voter.values())
    voters = sum(n > 0 for n in per_voter.values()) + (theirs > 0)
    return Standing(option, 0, group, theirs, group + weight * theirs, voters)


def cut(ranked: tuple[Standing, ...], most: int, seed: int) -> tuple[Standing, ...]:
    """Marks the options that go on. A tie across the cut is drawn, in the open: the draw follows from the seed."""
    if len(ranked) <= most:
        return tuple(replace(s, carried=True) for s in ranked)
    edge = ranked[most - 1].place
    tied = [s.option for s in ranked if s.place == edge]
    free = most - sum(s.place < edge for s in ranked)
    through = set(shuffled(tied, seed, "cut")[:free])
    needs_draw = len(tied) > free
    return tuple(
        replace(
            s,
            carried=s.place < edge or s.option in through,
            drawn=needs_draw and s.place == edge,
        )
        for s in ranked
    )


def only(option: str) -> tuple[Standing, ...]:
    return (Standing(option, 1, 0, 0, 0, 0, carried=True),)
