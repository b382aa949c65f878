"""A round of 25 people and 120 notes is as quiet as one of eight: nobody is told more, however much all write."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldframe.domain.names import Step
from tests.demo.large import NOTES, PEOPLE, large
from tests.demo.main_scenario import play_overheard
from tests.heard import LARGE, asked_twice, risen, table
from tests.shared import finished

pytestmark = pytest.mark.slow


@pytest.mark.timeout(600)
def test_many_people_and_notes_bring_nobody_more_messages(tmp_path: Path) -> None:
    """Over all of the first round, and nothing of it is asked twice."""
    scenario = large()
    assert (len(scenario.team), len(scenario.notes)) == (PEOPLE, NOTES)
    played = finished(play_overheard(scenario, tmp_path))
    assert played.played.round is not None and played.played.round.step is Step.COMMITTED
    assert len(played.ear.counts()) == PEOPLE
    assert risen(played.ear, LARGE) == {}, "\n".join(["", *table(played.ear)])
    assert asked_twice(played.ear.told) == []
