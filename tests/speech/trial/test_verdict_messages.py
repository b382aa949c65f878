"""Values as they are said, and a criterion that cannot be judged."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coldframe.domain.trial.state import Trial
from coldframe.engine.worker.judging import judge
from coldframe.speech.trial import measure_words, verdict_words
from tests.speech.trials import START, a_trial

BASELINE = tuple((x, 1000.0) for x in (100, 104, 97, 101, 99, 103, 98, 102))


def _before_after() -> Trial:
    about = {"measure": "share of teams that come back", "baseline": None, "target": 0.12}
    return a_trial(kind="before-after", baseline_weeks=BASELINE, **about)


def test_a_criterion_that_cannot_be_judged_says_so() -> None:
    """A target on the wrong side of the earlier weeks is no crash: cannot tell, and why."""
    judged = judge(replace(_before_after(), criterion=replace(_before_after().criterion, target=0.09)), START)
    assert verdict_words.sentence(_before_after(), judged).startswith("Cannot tell: the criterion")
    assert "target is 0.09" in judged.problem


@pytest.mark.parametrize(("share", "shown"), [(0.059, "5.9%"), (0.04, "4%"), (0.0005, "0.05%"), (1.0, "100%")])
def test_shares_are_said_in_per_cent(share: float, shown: str) -> None:
    """A share is shown in per cent, with no more places than it carries."""
    assert measure_words.value(a_trial(), share) == shown
