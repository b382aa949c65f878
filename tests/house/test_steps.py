"""A step is one record on each floor: the rules, the words and the play of a round know the same running steps."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coldframe.domain.names import RUNNING, PauseReason, Step
from coldframe.domain.round.rules import RULES
from coldframe.engine.round.steps import PLAYS
from coldframe.speech.names import PAUSED
from coldframe.speech.steps import TITLES, WORDS
from coldframe.store.rounds import from_rows, to_rows
from tests.domain.play import a_round


def test_every_running_step_has_its_rule() -> None:
    """The domain's records are those of the running steps, in their order."""
    assert tuple(RULES) == RUNNING


def test_every_running_step_is_played() -> None:
    """The engine's records are those of the running steps, in their order."""
    assert tuple(PLAYS) == RUNNING


def test_every_running_step_has_its_words() -> None:
    """The records of speech are those of the running steps, in their order; every step has a title."""
    assert tuple(WORDS) == RUNNING
    assert tuple(TITLES) == tuple(Step)


def test_every_reason_to_rest_has_words() -> None:
    """The state holds codes; what they are called is said in one place."""
    assert tuple(PAUSED) == tuple(PauseReason)


@pytest.mark.parametrize(
    ("sentence", "code"),
    [
        ("the facilitator paused it", PauseReason.ASKED),
        ("Company days", PauseReason.ASKED),
        ("nobody answered", PauseReason.NOBODY_ANSWERED),
        ("nobody decided", PauseReason.NOBODY_DECIDED),
        ("the channel was archived", PauseReason.CHANNEL_ARCHIVED),
        ("the channel was deleted", PauseReason.CHANNEL_DELETED),
        ("I was removed from the channel", PauseReason.CHANNEL_LEFT),
    ],
)
def test_a_round_that_rests_is_read_from_an_older_database(sentence: str, code: PauseReason) -> None:
    """Older databases hold the reason as a sentence."""
    rows = to_rows(replace(a_round(4), paused=PauseReason.ASKED))
    doc = rows.doc.replace('"paused":"asked"', f'"paused":"{sentence}"')
    assert sentence in doc
    assert from_rows(doc, rows.opened(), {}).paused is code
