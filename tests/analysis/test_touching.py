"""What a plan touches, by its meaning: how often it is found, and how often wrongly, on sentences that no fit saw."""

from __future__ import annotations

import numpy as np
import pytest

from coldframe.analysis.similarity import Encoder
from coldframe.analysis.touching import RAISED, TOPICS, scored, touched
from coldframe.meaning import caution_weights, encoder
from tests.bench import cautions

ROUNDING = 0.02  # log odds, by which another machine's sums may differ
FLOORS = {
    "from the topics alone, kept": (0.92, 0.08, 0.85),
    "the first hundreds, kept": (0.85, 0.06, 0.85),
    "short steps": (0.86, 0.06, 0.88),
    "other ways to grow": (0.85, 0.06, 0.88),
}
"""Found, wrongly, and the right topic of those that are found; what was measured stands in tests/bench/cautions.txt."""


@pytest.fixture
def reader() -> Encoder:
    """The packaged encoder."""
    found = encoder()
    if found is None:
        pytest.skip("no sentence encoder")
    return found


@pytest.mark.parametrize("which", FLOORS)
def test_sentences_that_the_fit_never_saw_keep_their_floor(reader: Encoder, which: str) -> None:
    """Of those that touch something most raise a caution, mostly of the right topic; of others hardly any does."""
    rows = cautions.kept_apart()[which]
    degrees = scored([sentence for _, _, sentence in rows], reader, caution_weights())
    raised, delicate = degrees[:, 0] >= RAISED, np.array([label == 1 for label, _, _ in rows])
    found, wrongly, topic = FLOORS[which]
    assert raised[delicate].mean() >= found
    assert raised[~delicate].mean() <= wrongly
    named = np.array([TOPICS[row.argmax()] for row in degrees[:, 1:]])
    right = named == np.array([topic for _, topic, _ in rows])
    assert right[raised & delicate].mean() >= topic


@pytest.mark.slow
def test_no_sentence_of_the_training_is_nearly_one_that_is_kept_apart(reader: Encoder) -> None:
    """Else what is kept apart would be no longer unseen."""
    assert cautions.too_near() == []


@pytest.mark.slow
def test_the_packaged_weights_are_those_that_the_fit_gives(reader: Encoder) -> None:
    """Whoever fits them anew gets the same odds for every sentence, kept apart or not."""
    texts = [sentence for _, _, sentence in [*cautions.looked_at(), *cautions.unseen()]]
    kept, anew = (
        scored(texts, reader, weights) for weights in (caution_weights(), cautions.fitted(cautions.looked_at()))
    )
    assert np.abs(kept - anew).max() < ROUNDING


@pytest.mark.parametrize(
    ("text", "topics"),
    [
        ("Call them", set()),
        ("Buy addresses from a broker", {"data"}),
        ("Raise the price from 19 to 29 a month", {"prices"}),
        ("Then e-mail all former customers", {"messages"}),
        ("Group the templates, because children told us their addresses", set()),
        ("If we group the templates, then the price of an order will go from 4 to 5", set()),
    ],
)
def test_what_is_done_raises_a_caution_and_not_why_or_what_comes_of_it(
    reader: Encoder, text: str, topics: set[str]
) -> None:
    """Short steps too, unless they say nothing."""
    assert {found.topic for found in touched([text], reader, caution_weights())} == topics


def test_the_words_that_raised_it_stand_in_the_sentence(reader: Encoder) -> None:
    """A few of them, beginning and ending with one that says something."""
    (found,) = touched(["On Monday we text everyone who has left us."], reader, caution_weights())
    assert found.topic == "messages"
    assert found.words in "On Monday we text everyone who has left us" and len(found.words.split()) <= 3
