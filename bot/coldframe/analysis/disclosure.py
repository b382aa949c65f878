"""What published results give away about single ballots, and a way to say more of a result without giving away more.

The adversary is a colleague: they know their own ballot and everything published, and nothing else. Over all ballots
that the others may have cast, weighed by how likely each is, their best guess at one other person's whole ballot is
right with some chance: the vulnerability of Smith (2009, "On the foundations of quantitative information flow",
FoSSaCS). What a published line adds is the rise of that chance over what the places alone allow, together with how
often a ballot, or one vote of it, becomes certain. (Quoted from memory, as are the sources below.)

What is reckoned from published figures alone adds nothing to them (post-processing; Dwork and Roth 2014, "The
algorithmic foundations of differential privacy", proposition 2.1). `likely_teams` makes such reckoning possible where a
method wants ballots: it deals the published votes out to as many people, at random.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations_with_replacement, product
from math import comb, factorial, prod

import numpy as np

from coldframe.analysis.inputs import BadNumber, whole

Ballot = tuple[int, ...]
"""Votes on each option, in the order of the options."""
Prior = Mapping[Ballot, float]
"""How likely each ballot is before anything is published."""

CERTAIN = 1 - 1e-9
"""From this share of all that is possible on, something is certain; sums of shares are not exact."""


def ballots(options: int, quota: int) -> list[Ballot]:
    """Every ballot with at least one vote and at most `quota`, several on one option allowed."""
    whole("options", options, least=1)
    whole("quota", quota, least=1)
    return [ballot for ballot in product(range(quota + 1), repeat=options) if 1 <= sum(ballot) <= quota]


def even(options: int, quota: int) -> Prior:
    """A team of which nothing is known: every ballot is as likely as any other."""
    every = ballots(options, quota)
    return {ballot: 1 / len(every) for ballot in every}


def of_one_mind(options: int, quota: int) -> Prior:
    """A team that mostly likes the same, known to the adversary: each vote goes to the first option, the second, ... in
    the proportions 1, 1/2, 1/3, ... (Zipf), and stays unused once in ten times."""
    liking = [1 / rank for rank in range(1, options + 1)]
    share = [0.9 * each / sum(liking) for each in liking]
    chance = {ballot: _multinomial(ballot, share, quota) for ballot in ballots(options, quota)}
    total = sum(chance.values())
    return {ballot: each / total for ballot, each in chance.items()}


def _multinomial(ballot: Ballot, share: list[float], quota: int) -> float:
    unused = quota - sum(ballot)
    ways = factorial(quota) / prod(map(factorial, (*ballot, unused)))
    return ways * 0.1**unused * prod(s**n for s, n in zip(share, ballot, strict=True))


@dataclass(frozen=True, slots=True)
class Team:
    """Ballots of one possible team. Whoever decides has one only where it is shown apart or weighs more."""

    own: Ballot
    others: tuple[Ballot, ...]
    chief: Ballot | None
    weight: float = 1  # how likely, relative to the other teams

    @property
    def group(self) -> tuple[Ballot, ...]:
        """Everybody's but the decision-maker's, in an order that tells nothing."""
        return tuple(sorted((self.own, *self.others)))


def teams(prior: Prior, others: int, *, chief: bool = False) -> Iterator[Team]:
    """Every team of the adversary and so many others, with or without a decision-maker. The same ballots among the
    others count once, weighed by the ways to share them out."""
    for own, at_hand in prior.items():
        for rest in combinations_with_replacement(prior, whole("others", others, least=0)):
            ways = factorial(others) / prod(map(factorial, Counter(rest).values()))
            chance = at_hand * ways * prod(prior[ballot] for ballot in rest)
            if not chief:
                yield Team(own, rest, None, chance)
                continue
            for theirs, likely in prior.items():
                yield Team(own, rest, theirs, chance * likely)


def how_many(prior: Prior, others: int, *, chief: bool = False) -> int:
    """How many teams `teams` gives."""
    size = len(prior)
    return size * comb(size + others - 1, others) * (size if chief else 1)


def sampled(prior: Prior, others: int, draws: int, seed: int, *, chief: bool = False) -> Iterator[Team]:
    """Teams drawn by their chance, where there are too many to go through. A guess looks a little better than it is,
    for what came up once looks certain: take many."""
    rng = np.random.default_rng(seed)
    every, chances = list(prior), list(prior.values())
    size = (whole("draws", draws, least=1), others + 1 + chief)
    for drawn in rng.choice(len(every), size, p=chances):
        own, *rest = (every[each] for each in drawn)
        yield Team(own, tuple(rest[:others]), rest[-1] if chief else None, 1 / draws)


@dataclass(frozen=True, slots=True)
class Exposure:
    """What is known of one other person's ballot, over all teams."""

    guess: float
    """Chance (0 to 1) that the best guess at the whole ballot is right."""
    ballot: float
    """Share of teams in which the whole ballot is certain."""
    vote: float
    """Share of teams in which at least one vote of it is certain."""


def exposure(
    possible: Iterable[Team], published: Callable[[Team], Hashable], *, of_chief: bool = False, known: bool = True
) -> Exposure:
    """What `published` tells a colleague about one of the others, or about the decision-maker (`of_chief`).

    Without `known` the adversary did not vote, as a facilitator who takes no part: their own ballot counts as one more
    of those that they may guess at.
    """
    seen: dict[Hashable, dict[Ballot, float]] = defaultdict(lambda: defaultdict(float))
    for team in possible:
        cell = seen[(team.own if known else None, published(team))]
        guessed = team.others if known else (team.own, *team.others)
        for ballot in (team.chief,) if of_chief else guessed:
            if ballot is None:
                raise BadNumber("of_chief", of_chief, "False for teams without a decision-maker")
            cell[ballot] += team.weight / (1 if of_chief else len(guessed))
    return _summed(seen.values())


def _summed(cells: Iterable[Mapping[Ballot, float]]) -> Exposure:
    guess = ballot = vote = total = 0.0
    for cell in cells:
        here = sum(cell.values())
        total += here
        guess += max(cell.values())
        ballot += here if max(cell.values()) >= here * CERTAIN else 0
        vote += here if _sure_of_a_vote(cell) else 0
    if not total:
        raise BadNumber("possible", [], "at least one team")
    return Exposure(guess / total, ballot / total, vote / total)


def _sure_of_a_vote(cell: Mapping[Ballot, float]) -> bool:
    return any(all(votes) for votes in zip(*cell, strict=True))


def likely_teams(totals: Mapping[str, int], voters: int, quota: int, most: int) -> Iterator[dict[str, list[str]]]:
    """`most` teams that the totals fit: the same votes dealt to so many voters, at least one and at most `quota` each,
    in an order of chance that is the same for the same totals. Raises BadNumber for totals that fit no such team."""
    votes = [option for option in sorted(totals) for _ in range(whole(f"totals[{option!r}]", totals[option]))]
    if not voters <= len(votes) <= voters * quota:
        raise BadNumber("totals", dict(totals), f"{voters} to {voters * quota} votes in all")
    names = [f"voter {number}" for number in range(whole("voters", voters, least=1))]
    for seed in range(most):
        rng = np.random.default_rng(seed)
        room = rng.permutation(np.repeat(names, quota - 1)).tolist()
        dealt: dict[str, list[str]] = {name: [] for name in names}
        for name, option in zip((*names, *room), rng.permutation(votes).tolist(), strict=False):
            dealt[name].append(option)
        yield dealt
