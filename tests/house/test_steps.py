"""A step is one record on each floor: the rules, the words and the play of a round know the same running steps."""

from __future__ import annotations

from coldframe.domain.names import RUNNING
from coldframe.domain.round.rules import RULES
from coldframe.engine.round.steps import PLAYS


def test_every_running_step_has_its_rule() -> None:
    """The domain's records are those of the running steps, in their order."""
    assert tuple(RULES) == RUNNING


def test_every_running_step_is_played() -> None:
    """The engine's records are those of the running steps, in their order."""
    assert tuple(PLAYS) == RUNNING
