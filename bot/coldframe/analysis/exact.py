"""The sums behind the exact tests of `coldframe.analysis.proportions`: distributions, tails, Boschloo's search.

Arguments are checked by the callers.
"""

from __future__ import annotations

from typing import Any, TypeAlias

Floats: TypeAlias = Any
"""A numpy array of floats; numpy is imported only when something is computed."""

# Probabilities that are equal in theory differ in the last bits; scipy's exact tests use the same slack.
_SLACK = 1 + 1e-7


def _log_choose(people: int, hits: Floats) -> Floats:
    from scipy.special import gammaln

    return gammaln(people + 1) - gammaln(hits + 1) - gammaln(people - hits + 1)


def hypergeometric(people: int, control: int, hits: int) -> tuple[int, Floats]:
    """The least count of hits in the first group, given all margins, and the chances from there on."""
    import numpy as np

    least, most = max(0, hits - control), min(people, hits)
    counts = np.arange(least, most + 1)
    logs = _log_choose(people, counts) + _log_choose(control, hits - counts) - _log_choose(people + control, hits)
    chances = np.exp(logs)
    return least, chances / chances.sum()


def binomial(people: int, shares: Floats) -> Floats:
    """Chance of 0, 1, ... `people` hits (columns) for each share (rows)."""
    import numpy as np
    from scipy.special import xlog1py, xlogy

    hits = np.arange(people + 1)
    logs = xlogy(hits, shares[:, None]) + xlog1py(people - hits, -shares[:, None])
    return np.exp(_log_choose(people, hits) + logs)


def tail(chances: Floats, place: int) -> float:
    """The chance of whatever is no more likely than what stands at this place."""
    return min(1.0, float(chances[chances <= chances[place] * _SLACK].sum()))


def boschloo_side(before: int, control: int, after: int, people: int, *, above: bool) -> tuple[float, float]:
    """The largest chance, over the common share, of a table with a Fisher p as small as the one seen; and
    that p.
    """
    import numpy as np

    statistics = np.ones((control + 1, people + 1))
    for hits in range(control + people + 1):
        least, chances = hypergeometric(people, control, hits)
        tails = np.cumsum(chances[::-1])[::-1] if above else np.cumsum(chances)
        counts = np.arange(least, least + len(chances))
        statistics[hits - counts, counts] = tails
    seen = float(statistics[before, after])
    as_extreme = (statistics <= seen * _SLACK).astype(float)

    def chance(shares: Floats) -> Floats:
        return ((binomial(control, shares) @ as_extreme) * binomial(people, shares)).sum(axis=1)

    return min(1.0, _largest(chance)), seen


def _largest(chance: Any) -> float:
    """The maximum over shares from 0 to 1 of a polynomial that a grid of 500 steps resolves, refined around
    its top.
    """
    import numpy as np

    low, high, best = 0.0, 1.0, 0.0
    for _ in range(3):
        shares = np.linspace(low, high, 501)
        values = chance(shares)
        top = int(values.argmax())
        best = max(best, float(values[top]))
        step = (high - low) / 500
        low, high = max(0.0, shares[top] - step), min(1.0, shares[top] + step)
    return best
