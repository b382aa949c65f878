"""What a picture says in words, and that it survives the outbox."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field, TypeAdapter

from coldframe.message.pictures import (
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
)
from coldframe.message.plain import figure, one_line, percent

ROWS = (
    RankRow("Shorter form", 1, 5, 2, 9, True, True),
    RankRow("Call after a week", 1, 7, 1, 9, True, True),
    RankRow("Fewer mails", 3, 2, 0, 2, False, False),
)
PLAN = PlacedPlan("A", "Shorter form", 1.2, 0.4, -0.8, 0.3, "trial now", 0.93)
TORN = PlacedPlan("B", "Call after a week", 0.1, 0.5, 0.2, 0.5, "make it a project", 0.41)
WEEKS = (TrendWeek(0, 3.0, None, False), TrendWeek(1, None, 5.2, False), TrendWeek(2, None, None, True))

CHARTS: tuple[Chart, ...] = (
    ForceField("activation", ("quick help",), ("long form", "no $ shown\nat first")),
    VoteRanking("Ballot", "votes", ROWS, 2, "The first would stay first in 61% of such teams."),
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


@pytest.mark.parametrize("chart", CHARTS, ids=lambda chart: chart.kind)
def test_the_words_name_everything_the_table_names(chart: Chart) -> None:
    """What stands in the first text column of the table also stands in the sentences."""
    columns = {"force_field": 1, "vote_ranking": 1, "placement_matrix": 1, "trial_trend": 0, "calibration": 0}
    assert all(row[columns[chart.kind]] in chart.alternative() for row in chart.table()[1:])


def test_a_force_field_counts_and_quotes_both_directions() -> None:
    """The words say how many forces drive and hold back, then give each one."""
    assert CHARTS[0].alternative() == (
        "Force field for activation: 1 driving force above, 2 restraining forces below. "
        "Driving activation forward: “quick help”. "
        "Holding activation back: “long form”, “no $ shown at first”."
    )


def test_a_shared_first_place_is_said_first() -> None:
    """The first sentence of a ranking stands on its own and keeps a tie a tie."""
    words = CHARTS[1].alternative()
    assert words.startswith("Ballot: “Shorter form”, “Call after a week” share the first place of 3 options.")
    assert "Place 1 (tied): “Shorter form”, group 5, decision-maker 2, weighted 9 votes." in words
    assert "The first 2 go on." in words


def test_one_withheld_figure_withholds_all() -> None:
    """When one option's figures are withheld, none is given, since it could be worked out from the others."""
    hidden = RankRow("Fewer mails", 3, None, None, None, False, False)
    chart = VoteRanking("Ballot", "votes", (*ROWS[:2], hidden), 2, "")
    assert chart.table()[0] == ("Place", "Option", "Outcome")
    assert "9" not in chart.alternative()


def test_one_vote_is_one_vote() -> None:
    """Also where the decision-maker's are told apart."""
    alone = RankRow("Long form", 1, 1, None, 1, False, True)
    assert "“Long form”, 1 dot." in VoteRanking("Forces", "dots", (alone,), None, "").alternative()
    apart = RankRow("Long form", 1, 1, 0, 1, False, True)
    assert "weighted 1 vote." in VoteRanking("Ballot", "votes", (apart,), None, "").alternative()


def test_dots_have_one_column() -> None:
    """Where nobody's votes are shown apart, the table holds one count; how many different people it came from is told
    to nobody, since it gives single votes away."""
    row = RankRow("Long form", 1, 6, None, 6, False, True)
    chart = VoteRanking("Forces", "dots", (row,), None, "")
    assert chart.table() == (("Place", "Option", "Dots"), ("1", "Long form", "6"))


def test_a_plan_below_seven_in_ten_is_unsure() -> None:
    """The words call a plan unsure below a chance of 70% and never give a corner without its chance."""
    words = CHARTS[2].alternative()
    assert "A “Shorter form”: much impact, little effort; trial now (93% sure)." in words
    assert "unsure, perhaps make it a project (41%)" in words


def test_a_missing_week_is_called_missing() -> None:
    """A week without a number is told as such in words and table, never as a zero."""
    assert "Week 2: no number." in CHARTS[3].alternative()
    assert CHARTS[3].table()[3] == ("Week 2", "no number", "no number")


@pytest.mark.parametrize(
    "build",
    [
        lambda: RankRow("a", 1, float("nan"), None, 1, False, False),
        lambda: PlacedPlan("A", "t", float("inf"), 0, 0, 0, "set aside", 0.5),
        lambda: PlacedPlan("A", "t", 0, -1, 0, 0, "set aside", 0.5),
        lambda: PlacedPlan("A", "t", 0, 0, 0, 0, "set aside", 1.5),
        lambda: TrendWeek(1, None, float("nan"), False),
        lambda: CalibrationBin(0.5, 1.2, 0, 1, 3),
    ],
)
def test_numbers_that_cannot_be_drawn_are_refused_at_once(build: Callable[[], object]) -> None:
    """A value that is not finite, or a chance outside 0 to 1, never becomes a picture."""
    with pytest.raises(ValueError, match="must"):
        build()


@pytest.mark.parametrize(
    ("value", "text"),
    [(0, "0"), (5.0, "5"), (4.25, "4.25"), (12345.6, "12,346"), (0.000123, "0.000123"), (-0.0, "0"), (-2.5, "-2.5")],
)
def test_figures_are_written_plainly(value: float, text: str) -> None:
    """No exponent, no trailing zeros, four significant digits."""
    assert figure(value) == text


@pytest.mark.parametrize(
    ("share", "text"), [(0, "0%"), (0.001, "under 1%"), (0.705, "70%"), (0.999, "over 99%"), (1, "100%")]
)
def test_a_share_is_never_rounded_to_certainty(share: float, text: str) -> None:
    """0% and 100% are said only of what is exactly none or all."""
    assert percent(share) == text


@given(st.text())
def test_text_becomes_one_line_that_every_writer_can_hold(text: str) -> None:
    """Any text becomes one line without control characters, and doing it again changes nothing."""
    line = one_line(text)
    assert line == one_line(line)
    assert line.isprintable() or not any(unicodedata.category(sign) in {"Cc", "Cs", "Zl", "Zp"} for sign in line)
    line.encode()
