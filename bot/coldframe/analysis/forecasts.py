"""How good forecasts were: chances given beforehand against what happened.

A forecast is the chance (0 to 1) that something happens; an outcome is 1 (or True) if it did and 0 (or False)
if not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coldframe.analysis.inputs import BadNumber, non_empty, rate, whole
from coldframe.analysis.proportions import wilson_interval

Vector = npt.NDArray[np.float64]

ENOUGH = 20
"""Resolved forecasts from which on a calibration picture is shown (craft)."""
GUESS = 0.25
"""The Brier score of whoever always says one half."""


@dataclass(frozen=True, slots=True)
class Bin:
    """Forecasts from `low` to below `high` (the last: up to 1): how many, their mean, how often it happened.

    `share` happened / count, with its Wilson interval from `share_low` to `share_high`.
    """

    low: float
    high: float
    count: int
    mean_forecast: float
    happened: int
    share: float
    share_low: float
    share_high: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """Said against happened, by bins that are not empty, lowest first.

    `meaningful` is False below 20 resolved forecasts: then show only `score` beside `guess` (always one half,
    0.25), and `note` says why. Bins with wide intervals stay weak after that, too.
    """

    bins: tuple[Bin, ...]
    resolved: int
    meaningful: bool
    score: float
    guess: float
    note: str


def brier(forecasts: Sequence[float], outcomes: Sequence[int]) -> float:
    """Mean squared distance of forecasts from outcomes: 0 perfect, 0.25 for always one half, 1 always sure and wrong.

    Source: Brier, Monthly Weather Review 78, 1950, in the form for one event. Raises BadNumber for empty
    lists, lists of different length, forecasts outside 0 to 1, outcomes other than 0 and 1.
    """
    said, happened = _pairs(forecasts, outcomes)
    return float(np.mean((said - happened) ** 2))


def calibration(forecasts: Sequence[float], outcomes: Sequence[int], bins: int = 5) -> Calibration:
    """Forecasts in `bins` (1 to 100) equal ranges against how often the event happened; see `Calibration`.

    Raises BadNumber as `brier` does, and for another number of bins.
    """
    said, happened = _pairs(forecasts, outcomes)
    edges = np.arange(whole("bins", bins, least=1, most=100) + 1) / bins
    at = np.minimum(np.searchsorted(edges, said, side="right") - 1, bins - 1)
    filled = [_bin(edges[n], edges[n + 1], said[at == n], happened[at == n]) for n in np.unique(at)]
    enough = len(said) >= ENOUGH
    note = "" if enough else f"{len(said)} resolved forecasts: a calibration picture needs {ENOUGH}"
    return Calibration(tuple(filled), len(said), enough, float(np.mean((said - happened) ** 2)), GUESS, note)


def _bin(low: float, high: float, said: Vector, happened: Vector) -> Bin:
    count, events = len(said), int(happened.sum())
    interval = wilson_interval(events, count)
    mean = float(said.mean())
    return Bin(float(low), float(high), count, mean, events, events / count, interval.low, interval.high)


def _pairs(forecasts: Sequence[float], outcomes: Sequence[int]) -> tuple[Vector, Vector]:
    said = _rates("forecasts", forecasts)
    results = non_empty("outcomes", outcomes)
    if len(results) != len(said):
        raise BadNumber("outcomes", results, f"a list of {len(said)}, as long as forecasts")
    return said, np.array([float(_outcome(at, result)) for at, result in enumerate(results)])


def _outcome(at: int, result: object) -> int:
    if isinstance(result, (bool, np.bool_)):
        return int(result)
    return whole(f"outcomes[{at}]", result, most=1)


def _rates(argument: str, values: Sequence[float]) -> Vector:
    return np.array([rate(f"{argument}[{at}]", value) for at, value in enumerate(non_empty(argument, values))])
