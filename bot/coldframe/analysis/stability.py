"""How often the first would stay the first, if other people like these voted.

To draw this team's ballots anew (a bootstrap) favours whoever is first, for luck helped them there: of what it calls 75
in 100, some 50 come true. So the shares that the options have among such people are inferred, and shrunk to one another
as far as the votes do not tell them apart: Dirichlet-multinomial, whose concentration is not known but averaged over,
from options that are all alike to a few that take nearly all (Good 1965, "The estimation of probabilities"; Gelman and
others, "Bayesian data analysis", chapter 5; from memory). Then new teams vote by shares drawn from that.

Votes of one person are not independent: most go to different options, which makes totals steadier than chance alone,
and some people give one option several, which makes them less so. Both are told by the variance of a total against that
of independent votes (design effect; Kish 1965, "Survey sampling"). Where the totals look as if all gave everything to
one option, multiples of the votes that each had, that is weighed too, and a little that half of them did. `python -m
tests.bench.calibration` says how true it is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from coldframe.analysis.inputs import BadNumber, finite, non_empty, whole

Floats = npt.NDArray[np.float64]
CONCENTRATIONS = ((0.3, 1.0), (0.6, 1.0), (1.0, 1.0), (2.0, 1.0), (4.0, 1.0), (8.0, 1.0), (1000.0, 1.0))
"""Of the options' shares, per option, with its weight beforehand; the last means that all are alike."""
DOUBLED = 0.5  # of ballots give two votes to their favourite, as far as is known of people with several votes
PLUMPED = 0.15  # of teams, beforehand, in which everybody gives all votes to one option
HALF_PLUMPED = 0.10  # of the other teams, in which half of the people do; no totals tell them from the rest
FITS = 0.85  # of totals are then a multiple of the votes that each had; some votes stay unused
DRAWS = 4000  # new teams; the error of a share is at most 0.008


def stays_first(
    group: Sequence[int], lead: Sequence[float], quota: int, seed: int = 0, *, draws: int = DRAWS
) -> float | None:
    """The share (0 to 1) of teams of other such people in which the same option is first.

    `group`: each option's votes by people who had `quota` votes each; `lead`: what the decision-maker's votes add to
    it, which every team keeps. None where the first place is shared, or nobody but the decision-maker voted. Raises
    BadNumber for votes that cannot be.
    """
    votes, kept = _votes(group, lead)
    whole("quota", quota, least=1)
    total = votes + kept
    first = np.flatnonzero(total >= total.max() - 1e-9)
    if len(first) > 1 or not votes.sum():
        return None
    if len(votes) == 1:
        return 1.0
    rng = np.random.default_rng(whole("seed", seed))
    cells = _cells(votes, quota)
    times = rng.multinomial(whole("draws", draws, least=1), [weight for _, _, weight in cells])
    stays = sum(
        int((_new_teams(rng, votes, a, e, int(n), kept).argmax(axis=1) == first[0]).sum())
        for (a, e, _), n in zip(cells, times, strict=True)
        if n
    )
    return stays / draws


def _votes(group: Sequence[int], lead: Sequence[float]) -> tuple[Floats, Floats]:
    votes = [whole(f"group[{n}]", each) for n, each in enumerate(non_empty("group", group))]
    kept = [finite(f"lead[{n}]", each, least=0) for n, each in enumerate(lead)]
    if len(kept) != len(votes):
        raise BadNumber("lead", kept, f"{len(votes)} numbers, as many as options")
    return np.array(votes, dtype=np.float64), np.array(kept, dtype=np.float64)


def _effects(votes: Floats, quota: int) -> list[tuple[float, float]]:
    """Variances of totals against those of independent votes, each with how likely it is.

    With `quota` different options on a ballot but for those that double their favourite, one person's votes on an
    option of share p have the variance p (quota + 2 doubled) - (quota p)^2; independent ones have quota p (1 - p).
    """
    shares = votes / votes.sum()
    leading = float(shares @ shares)  # the share of the option that a vote is likely to be on
    if quota == 1 or leading >= 1:
        return [(1.0, 1.0)]
    spread = max(0.5, (1 + 2 * DOUBLED / quota - quota * leading) / (1 - leading))
    voted = votes[votes > 0]
    whole_ballots = voted % quota == 0
    odds = np.where(whole_ballots, FITS * quota, (1 - FITS) * quota / (quota - 1)).prod() * PLUMPED / (1 - PLUMPED)
    rest, plumped = 1 / (1 + odds), odds / (1 + odds)
    half = (spread + quota) / 2
    return [(spread, rest * (1 - HALF_PLUMPED)), (half, rest * HALF_PLUMPED), (float(quota), plumped)]


def _cells(votes: Floats, quota: int) -> list[tuple[float, float, float]]:
    """Concentrations and effects, each pair with how likely it is after these votes."""
    cells = []
    for effect, likely in _effects(votes, quota):
        heights = np.array([math.log(before) + _fit(votes / effect, a) for a, before in CONCENTRATIONS])
        chances = np.exp(heights - heights.max())
        found = likely * chances / chances.sum()
        cells += [(a, effect, float(one)) for (a, _), one in zip(CONCENTRATIONS, found, strict=True)]
    return cells


def _fit(votes: Floats, concentration: float) -> float:
    """Log-likelihood of the totals by shares of this concentration, but for what is the same for all of them."""
    summed, all_of_it = float(votes.sum()), concentration * len(votes)
    each = sum(math.lgamma(concentration + n) - math.lgamma(concentration) for n in votes.tolist())
    return math.lgamma(all_of_it) - math.lgamma(all_of_it + summed) + each


def _new_teams(
    rng: np.random.Generator, votes: Floats, concentration: float, effect: float, number: int, kept: Floats
) -> Floats:
    """Totals of so many new teams with as many votes. What is level is settled by less than any vote, at random."""
    sizes = rng.standard_gamma(concentration + votes / effect, (number, len(votes))) + 1e-300
    independent = votes.sum() / effect
    cast = math.floor(independent) + (rng.random(number) < independent % 1)
    drawn = rng.multinomial(cast, sizes / sizes.sum(axis=1, keepdims=True)) * effect
    return np.asarray(drawn + kept + 1e-6 * rng.random(drawn.shape))
