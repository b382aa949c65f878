"""What a picture says in words, and that it survives the outbox."""

from __future__ import annotations

from typing import Annotated

import pytest
from pydantic import Field, TypeAdapter

from bot.speech.pictures import (
    Calibration,
    CalibrationBin,
    Chart,
    ForceField,
    PlacedPlan,
    PlacementMatrix,
    RankRow,
    TrendWeek,
    TrialTrend,
    VoteRanking,
    figure,
    one_line,
    percent,
)

ROWS = (
    RankRow("Shorter form", 1, 5, 2, 9, 4, True, True),
    RankRow("Call after a week", 1, 7, 1, 9, 5, True, True),
    RankRow("Fewer mails", 3, 2, 0, 2, 2, False, False),
)
PLAN = PlacedPlan("A", "Shorter form", 1.2, 0.4, -0.8, 0.3, "trial now", 0.93)
TORN = PlacedPlan("B", "Call after a week", 0.1, 0.5, 0.2, 0.5, "make it a project", 0.41)
WEEKS = (TrendWeek(0, 3.0, None, False), TrendWeek(1, None, 5.2, False), TrendWeek(2, None, None, True))

CHARTS: tuple[Chart, ...] = (
    ForceField("activation", ("quick help",), ("long form", "no $ shown\nat first")),
    VoteRanking("Ballot", "votes", ROWS, 2, "The first would stay first in 61 % of such teams."),
    PlacementMatrix((PLAN, TORN), 0.0, 0.0, "One person's view"),
    TrialTrend("Shorter form", "% of sign-ups", WEEKS, 3.0, 4.5, 2.9, 6.1, "Look 1 of 4"),
    Calibration((CalibrationBin(0.8, 0.5, 0.2, 0.8, 6),), 6),
)


@pytest.mark.parametrize("chart", CHARTS, ids=lambda chart: chart.kind)
@pytest.mark.parametrize("union", [Chart, Annotated[Chart, Field(discriminator="kind")]], ids=["plain", "tagged"])
def test_a_picture_comes_back_from_json_as_itself(chart: Chart, union: object) -> None:
    """A picture stored as JSON is read back as an equal value of the same kind."""
    adapter: TypeAdapter[Chart] = TypeAdapter(union)
    assert adapter.validate_json(adapter.dump_json(chart)) == chart


@pytest.mark.parametrize("chart", CHARTS, ids=lambda chart: chart.kind)
def test_every_table_is_rectangular_and_on_single_lines(chart: Chart) -> None:
    """A table has one header and rows as long as it, and no cell breaks a line."""
    table = chart.table()
    assert {len(row) for row in table} == {len(table[0])}
    assert all(cell == one_line(cell) for row in table for cell in row)
