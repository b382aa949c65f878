"""What a plan touches, by its meaning: how often it is found, and how often wrongly, on sentences that no fit saw."""

from __future__ import annotations

import numpy as np
import pytest

from coldframe.analysis.touching import RAISED, TOPICS, scored
from coldframe.meaning import caution_weights, encoder
from tests.bench.cautions import half

FOUND, WRONGLY, TOPIC = 0.8, 0.12, 0.66
"""Bounds that a change must keep; measured 0.84, 0.10 and, of those that are found, 0.71 by their right topic."""


def test_sentences_that_the_fit_never_saw_keep_their_floor() -> None:
    """Of 50 that touch something most raise a caution, mostly of the right topic; of 50 others hardly any does."""
    reader = encoder()
    if reader is None:
        pytest.skip("no sentence encoder")
    rows = half(1)
    degrees = scored([sentence for _, _, sentence in rows], reader, caution_weights())
    raised, delicate = degrees[:, 0] >= RAISED, np.array([label == 1 for label, _, _ in rows])
    assert raised[delicate].mean() >= FOUND
    assert raised[~delicate].mean() <= WRONGLY
    found = np.array([TOPICS[row.argmax()] for row in degrees[:, 1:]])
    right = found == np.array([topic for _, topic, _ in rows])
    assert right[raised & delicate].mean() >= TOPIC
