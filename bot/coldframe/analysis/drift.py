"""Weeks that drift: their level moves by itself, and leans on the week before."""

from __future__ import annotations

import math
from typing import Any, Final

LEANING: Final = 0.3
"""How alike weeks are that follow each other (an AR(1)): drift at its worst, with nothing else."""


def leaning(rng: Any, trials: int, weeks: int) -> Any:
    """Normal values, trials x weeks, of which each week's leans on the one before."""
    import numpy as np

    steps = rng.normal(size=(trials, weeks))
    found = [steps[:, 0]]
    for step in steps.T[1:]:
        found.append(LEANING * found[-1] + math.sqrt(1 - LEANING**2) * step)
    return np.stack(found, axis=1)
