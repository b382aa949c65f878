"""The claims that were first found untrue, each in the very worlds in which it was, as the methods before made them and
as those of now do: one table, at the end of that of the bench.

"Said" is what is reckoned, whether a sentence gives it as a figure or not: the first place of the dots is told in words
alone. Averages hide what bands show, so beside all of it stands what was said from 70, 85 and 95 in 100 on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise

import numpy as np

from coldframe.analysis.measures import Kind
from coldframe.analysis.sizing import SPAN
from tests.calibration import pairs, trials, votes

BANDS = (0.0, 0.7, 0.85, 0.95, 1.0001)
SHARE = 0.1  # of the number of worlds asked for, for each claim
NEARLY_ALIKE, ALIKE = 0.7, 0.2  # spreads of plans
FEWEST = 20  # statements that tell something together
HEAD = f"{'said / true, of 100':<52}{'':8}{'all':>12}" + "".join(
    f"{name:>14}" for name in ("below 70", "70 to 85", "85 to 95", "95 on")
)
Laid = tuple[float, float, bool]
"""What was said, what was true, and whether by the method before."""
Claim = Callable[[np.random.Generator, int], Iterator[Laid]]


def table(number: int, seed: int) -> str:
    """All claims, before and now."""
    rng, each = np.random.default_rng(seed), max(int(number * SHARE), 1)
    lines = [f"The claims that were first found untrue, {each:,} worlds for each", "", HEAD]
    for name, claim in CLAIMS.items():
        laid = list(claim(rng, each))
        for words, then in (("before", True), ("now", False)):
            figures = [(said, true) for said, true, earlier in laid if earlier is then]
            lines.append(f"{name if then else '':<52}{words:8}{_line(figures)}")
    return "\n".join([*lines, ""])


def _line(figures: list[tuple[float, float]]) -> str:
    """Of all, and of each band; where too little was said to tell, nothing."""
    parts = [figures, *([one for one in figures if low <= one[0] < high] for low, high in pairwise(BANDS))]
    return "".join(f"{_mean(part):>{12 if part is figures else 14}}" for part in parts)


def _mean(figures: list[tuple[float, float]]) -> str:
    if len(figures) < FEWEST:
        return "-"
    said, true = np.array(figures).mean(axis=0)
    return f"{100 * said:.0f} / {100 * true:.0f}"


# --- the claims ---


def _dots(spread: float) -> Claim:
    def claim(rng: np.random.Generator, worlds: int) -> Iterator[Laid]:
        made = (votes.some_dots(rng, votes.ORDINARY, spread) for _ in range(worlds))
        yield from _of_votes(made)

    return claim


def _six_plans(rng: np.random.Generator, worlds: int) -> Iterator[Laid]:
    """Five voters of two votes each, and a decision-maker's two."""
    spreads = (votes.SPREADS[int(rng.integers(len(votes.SPREADS)))] for _ in range(worlds))
    made = (votes.one(rng, votes.ORDINARY, spread, 6, 5, quota=2, weight=2) for spread in spreads)
    yield from _of_votes(made)


def _of_votes(made: Iterable[votes.Found | None]) -> Iterator[Laid]:
    for found in made:
        if found is not None:
            yield found.stays, found.true, False
            if found.before is not None:
                yield found.before, found.true, True


def _chance(share: str) -> Claim:
    def claim(rng: np.random.Generator, worlds: int) -> Iterator[Laid]:
        plans, team = trials.plans(), trials.Team(share, trials.WORKING[share])
        for number in range(3 * worlds):
            for one in trials.follow(rng, plans[number % len(plans)], team, ""):
                if one.world.endswith("week 1"):
                    yield one.said, one.true, one.earlier

    return claim


def _before_after(weeks: int) -> Claim:
    def claim(rng: np.random.Generator, worlds: int) -> Iterator[Laid]:
        (plan,) = (plan for plan in trials.SIZED if plan.kind is Kind.BEFORE_AFTER)
        for one in trials.powered(rng, plan, weeks, trials.Nature(()), "", worlds):
            yield one.said, one.true, one.earlier

    return claim


def _corners(spread: float) -> Claim:
    def claim(rng: np.random.Generator, worlds: int) -> Iterator[Laid]:
        differing = [view for view in pairs.VIEWS if view]
        for world in range(worlds // 2):
            yield from pairs.one(rng, pairs.ORDINARY, spread, differing[world % len(differing)])

    return claim


CLAIMS: dict[str, Claim] = {
    "first stays first, dots, ordinary spread": _dots(1.0),
    "the same, forces all alike": _dots(0.0),
    "the same, a ballot of six plans by five voters": _six_plans,
    "chance after week 1, if a third of ideas work": _chance("a third of ideas work"),
    "the same, if a tenth work": _chance("a tenth of ideas work"),
    **{f"before-after plan for 80 in 100, {weeks} weeks": _before_after(weeks) for weeks in SPAN},
    "corner sure, judges who differ, plans nearly alike": _corners(NEARLY_ALIKE),
    "the same, plans all alike": _corners(ALIKE),
}
