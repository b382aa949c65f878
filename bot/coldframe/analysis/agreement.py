"""How much several people agree: on an order (Kendall's W), on values (Krippendorff's alpha)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from coldframe.analysis.inputs import BadNumber, choice, finite, non_empty, rate, whole

Level = Literal["nominal", "ordinal", "interval", "ratio"]
Matrix = npt.NDArray[np.float64]

LEVELS: tuple[Level, ...] = ("nominal", "ordinal", "interval", "ratio")
FEWEST_UNITS = 5
"""Units rated at least twice, below which a bootstrap over units says nothing (craft)."""


@dataclass(frozen=True, slots=True)
class Alpha:
    """Krippendorff's alpha: 1 full agreement, 0 what chance would bring, below 0 worse than chance.

    `value` is None when it cannot be told: no unit has two ratings, or all ratings are one and the same
    value, so that there is nothing to tell apart. `low` and `high` are None when the value is, and below five
    units rated twice. `units` and `ratings` count what entered: units with two or more ratings, and their
    ratings.
    """

    value: float | None
    low: float | None
    high: float | None
    confidence: float
    units: int
    ratings: int


def kendall_w(rankings: Sequence[Sequence[float]]) -> float:
    """Kendall's coefficient of concordance, corrected for ties: 0 no common order, 1 the same order by all.

    `rankings`: one row per judge, one number per item, ranks or scores (only their order within the row
    counts; equal numbers are ties). With m judges and n items, m (n - 1) W is Friedman's chi-squared with n -
    1 degrees of freedom. W is 0 when nobody puts anything above anything (all tied, or a single item), for
    then there is no order to share; a single judge who does has W = 1, which says nothing. Source: Kendall &
    Babington Smith 1939; Siegel 1956, chapter 9. Raises BadNumber for empty or ragged rows and for values
    that are not finite numbers.
    """
    scores = _rows("rankings", rankings)
    judges, items = scores.shape
    below = (scores[:, None, :] < scores[:, :, None]).sum(axis=2)
    level = (scores[:, None, :] == scores[:, :, None]).sum(axis=2)
    # Twice the ranks are whole numbers, so that the sums are exact and "all tied" is exactly zero.
    twice_sums = (2 * below + level + 1).sum(axis=0)
    spread = items * (twice_sums**2).sum() - twice_sums.sum() ** 2
    # The tie term sum(t^3 - t) over groups equals sum(t^2 - 1) over items.
    most = judges * items * (judges * (items**3 - items) - (level**2 - 1).sum())
    return float(3 * spread / most) if most else 0.0


def krippendorff_alpha(
    ratings: Sequence[Sequence[float | None]],
    level: Level = "nominal",
    *,
    confidence: float = 0.95,
    seed: int = 0,
    resamples: int = 1000,
) -> Alpha:
    """Krippendorff's alpha with an interval.

    `ratings`: one row per judge, one number per unit; None or NaN where the judge gave none. `level` says
    what the numbers mean: names, an order, distances, or ratios (then none is negative). The interval is a
    percentile bootstrap over units, the same for the same `seed`; it is tight at full agreement only because
    nobody disagreed here. Source: Krippendorff, Computing Krippendorff's Alpha-Reliability, 2011. Raises
    BadNumber for empty or ragged rows, an unknown level, values that are neither numbers nor missing,
    negative values at the ratio level.
    """
    choice("level", level, LEVELS)
    rate("confidence", confidence, inside=True)
    draws, start = whole("resamples", resamples, least=1), whole("seed", seed)
    values, counts = _value_counts(_rows("ratings", ratings, missing=True))
    if level == "ratio" and (values < 0).any():
        raise BadNumber("ratings", float(values.min()), "numbers of 0 or more at the ratio level")
    units = len(counts)
    if len(values) < 2:
        return Alpha(None, None, None, confidence, units, int(counts.sum()))
    alpha = float(_alphas(np.ones((1, units)), counts, values, level)[0])
    low, high = None, None
    if units >= FEWEST_UNITS:
        drawn = np.random.default_rng(start).multinomial(units, np.full(units, 1 / units), size=draws)
        low, high = _interval(_alphas(drawn, counts, values, level), confidence)
    return Alpha(alpha, low, high, confidence, units, int(counts.sum()))


def _interval(alphas: Matrix, confidence: float) -> tuple[float, float] | tuple[None, None]:
    told = alphas[~np.isnan(alphas)]
    if not told.size:
        return None, None
    low, high = np.quantile(told, [(1 - confidence) / 2, (1 + confidence) / 2])
    return float(low), float(high)


def _rows(argument: str, rows: Sequence[Sequence[Any]], *, missing: bool = False) -> Matrix:
    """Judges x items as floats, NaN for missing where that is allowed."""
    checked: list[list[float]] = []
    for number, row in enumerate(non_empty(argument, rows)):
        name = f"{argument}[{number}]"
        cells = non_empty(name, row)
        if checked and len(cells) != len(checked[0]):
            raise BadNumber(name, cells, f"a list of {len(checked[0])}, as long as the first")
        checked.append([_cell(f"{name}[{at}]", cell, missing) for at, cell in enumerate(cells)])
    return np.array(checked)


def _cell(argument: str, value: Any, missing: bool) -> float:
    if missing and (value is None or (isinstance(value, float) and np.isnan(value))):
        return float("nan")
    return finite(argument, value)


def _value_counts(ratings: Matrix) -> tuple[Matrix, Matrix]:
    """The different values, ascending, and units (rated twice or more) x values: how often each was given."""
    paired = ratings[:, (~np.isnan(ratings)).sum(axis=0) >= 2]
    values = np.unique(paired[~np.isnan(paired)])
    return values, (paired[:, :, None] == values).sum(axis=0).astype(np.float64)


def _alphas(weights: npt.NDArray[Any], counts: Matrix, values: Matrix, level: Level) -> Matrix:
    """Alpha for each row of unit weights (rows x units); NaN where all ratings are equal."""
    seen = weights @ counts
    sizes = counts.sum(axis=1)
    by_unit, by_chance = _disagreement(counts, seen, values, level)
    with np.errstate(invalid="ignore", divide="ignore"):
        observed = (weights * by_unit / (sizes - 1)).sum(axis=1)
        alphas = 1 - (seen.sum(axis=1) - 1) * observed / by_chance
    return np.where((seen > 0).sum(axis=1) > 1, alphas, np.nan)


def _disagreement(counts: Matrix, seen: Matrix, values: Matrix, level: Level) -> tuple[Matrix, Matrix]:
    """Squared distances summed over all ordered pairs: (rows or 1) x units, and per row overall."""
    if level in ("nominal", "ratio"):
        distances = _distances(values, level)
        return ((counts @ distances) * counts).sum(axis=1)[None], ((seen @ distances) * seen).sum(axis=1)
    # Where distances are those between positions on a line, pairs need not be listed. The positions of the
    # ordinal level depend on how often each value was seen, so they differ from resample to resample.
    line = (values - values.mean())[None] if level == "interval" else np.cumsum(seen, axis=1) - seen / 2
    by_unit = 2 * (line**2 @ counts.T * counts.sum(axis=1) - (line @ counts.T) ** 2)
    by_chance = 2 * ((line**2 * seen).sum(axis=1) * seen.sum(axis=1) - (line * seen).sum(axis=1) ** 2)
    return by_unit, by_chance


def _distances(values: Matrix, level: Level) -> Matrix:
    one, other = values[:, None], values[None, :]
    if level == "nominal":
        return np.asarray(one != other, dtype=np.float64)
    total = one + other
    return np.asarray(((one - other) / np.where(total == 0, 1, total)) ** 2)
