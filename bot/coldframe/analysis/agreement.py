"""How much several people agree on an order: Kendall's W."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from coldframe.analysis.inputs import BadNumber, finite, non_empty

Matrix = npt.NDArray[np.float64]


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


def _rows(argument: str, rows: Sequence[Sequence[float]]) -> Matrix:
    """Judges x items as floats."""
    checked: list[list[float]] = []
    for number, row in enumerate(non_empty(argument, rows)):
        name = f"{argument}[{number}]"
        cells = non_empty(name, row)
        if checked and len(cells) != len(checked[0]):
            raise BadNumber(name, cells, f"a list of {len(checked[0])}, as long as the first")
        checked.append([finite(f"{name}[{at}]", cell) for at, cell in enumerate(cells)])
    return np.array(checked)
