"""Pictures as files: sizes, same bytes, literal text, nothing lost, nothing covered."""

from __future__ import annotations

import re
import struct
from collections.abc import Sequence
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.charts import palette
from coldframe.charts.drawing import draw
from coldframe.charts.figures import trend_figure
from coldframe.charts.force_field import SIDE_HEIGHT
from coldframe.charts.lettering import drawable, fit, width
from coldframe.charts.placing import Box, place
from coldframe.message.pictures import (
    Chart,
    ForceField,
    PlacedPlan,
    PlacementMatrix,
    RankRow,
    TrendWeek,
    TrialTrend,
    VoteRanking,
)
from coldframe.message.plain import one_line
from tests.charts import samples

SVG = "{http://www.w3.org/2000/svg}"
SAMPLES = samples.every_size()
pytestmark = pytest.mark.filterwarnings("error")


def texts(chart: Chart) -> list[str]:
    """The lines of text that the drawing holds as text."""
    root = ElementTree.fromstring(draw(chart, "svg"))
    return ["".join(element.itertext()) for element in root.iter(f"{SVG}text")]


def places(chart: Chart, lines: Sequence[str]) -> list[tuple[float, float]]:
    """Where each of these lines stands: from the left and from the top."""
    root = ElementTree.fromstring(draw(chart, "svg"))
    found = {
        "".join(e.itertext()): (float(e.get("x", "nan")), float(e.get("y", "nan"))) for e in root.iter(f"{SVG}text")
    }
    return [found[line] for line in lines]


def description(chart: Chart) -> str:
    found = ElementTree.fromstring(draw(chart, "svg")).find(f"{SVG}desc")
    assert found is not None
    return found.text or ""


def png_size(data: bytes) -> tuple[int, int]:
    wide, high = struct.unpack(">II", data[16:24])
    return wide, high


@pytest.mark.parametrize("name", SAMPLES)
def test_every_size_and_every_text_gives_a_sound_picture(name: str) -> None:
    """From nothing to more than anybody will send, with any text, a PNG of one width and a readable SVG come out."""
    wide, high = png_size(draw(SAMPLES[name]))
    assert wide == palette.WIDTH
    assert 90 <= high <= 2 * SIDE_HEIGHT + 600
    ElementTree.fromstring(draw(SAMPLES[name], "svg"))


@pytest.mark.parametrize("form", ["png", "svg"])
@pytest.mark.parametrize("name", ["forces-8", "ranking-5", "matrix-8", "trend", "calibration-5"])
def test_the_same_value_gives_the_same_bytes(name: str, form: str) -> None:
    """Drawing twice gives equal bytes without a date in them, so that pictures can be compared and cached."""
    first = draw(SAMPLES[name], form)  # type: ignore[arg-type]
    assert first == draw(SAMPLES[name], form)  # type: ignore[arg-type]
    assert not re.search(rb"20\d\d-\d\d-\d\d|Matplotlib v", first)


@pytest.mark.parametrize("name", SAMPLES)
def test_an_svg_carries_the_whole_meaning_in_words(name: str) -> None:
    """Whatever is shortened or left out in the drawing stands in the description inside the SVG."""
    assert description(SAMPLES[name]) == SAMPLES[name].alternative()


@pytest.mark.parametrize(
    "text", ["$x$ and $y$", r"\frac{1}{2} \$", "<script>alert(1)</script>", "a & b ]]> <!-- c -->"]
)
def test_text_from_people_is_drawn_as_it_is(text: str) -> None:
    """No mark-up and no mathematics: dollar signs, backslashes and tags appear literally."""
    drawn = texts(ForceField("activation", (text,), ()))
    assert text in drawn
    assert b"<script" not in draw(ForceField(text, (text,), (text,)), "svg")


def test_line_breaks_and_control_characters_become_spaces() -> None:
    """One note is one run of text, whatever was pasted into it."""
    assert "a b c" in texts(ForceField("activation", ("a\x00b\r\n\tc",), ()))


def test_a_note_cannot_turn_its_neighbours_round() -> None:
    """Characters that reorder the text around them are taken out."""
    assert "abc def" in texts(ForceField("activation", ("abc \u202edef\u2066",), ()))


def test_each_force_is_in_the_picture_with_its_direction() -> None:
    """Driving forces stand above the lever's line, restraining forces below it, all of them with their count."""
    drawn = texts(ForceField("activation", ("quick help", "low price"), ("long form",)))
    order = [drawn.index(text) for text in ("quick help", "activation today", "long form")]
    assert order == sorted(order)
    assert {"Driving forces (2): they push forward", "Restraining forces (1): they hold back"} <= set(drawn)


def test_dots_stand_beside_their_arrows() -> None:
    """The more dots, the thicker: the number is written as well, and the words hold every one."""
    chart = ForceField("activation", ("quick help",), ("long form", "dull start"), (7, 0))
    drawn = texts(chart)
    assert {"7", "0"} <= set(drawn) and any("thicker" in line for line in drawn)
    assert "“long form” (7 dots), “dull start” (0 dots)" in chart.alternative()
    assert chart.table()[1:] == (("driving", "quick help", ""), ("restraining", "long form", "7"),
                                 ("restraining", "dull start", "0"))  # fmt: skip
    widths = sorted(map(float, re.findall(r"stroke-width: ([\d.]+)", draw(chart, "svg").decode())))
    assert widths[-1] > 4 * widths[0]


def test_what_has_no_room_is_counted_and_stands_in_words() -> None:
    """Of 300 notes the picture says how many it leaves out, and the words hold every one."""
    chart = samples.forces(300)
    drawn = texts(chart)
    left_out = sum(int(m[1]) for line in drawn if (m := re.match(r"and (\d+) more", line)))
    assert left_out == 300 - sum(line.startswith("Note ") for line in drawn)
    assert all(note in chart.alternative() for note in chart.driving + chart.restraining)


def test_a_typical_lever_is_shown_whole() -> None:
    """Fifty notes on one lever, a third of a large round's, all find room."""
    drawn = texts(samples.forces(50))
    assert sum(line.startswith("Note ") for line in drawn) == 50


def test_a_shortened_label_says_so() -> None:
    """An ellipsis marks what was cut, and a foot note says where the rest is; without a cut there is no such note."""
    long, short = texts(ForceField("activation", ("word " * 200,), ())), texts(ForceField("activation", ("word",), ()))
    assert any(line.endswith("…") for line in long)
    assert any("shortened" in line for line in long) and not any("shortened" in line for line in short)


def test_group_and_decision_maker_stand_in_columns_of_their_own() -> None:
    """The ranking shows the group's votes, the decision-maker's and the weighted total as three figures."""
    chart = VoteRanking("Ballot", "votes", (RankRow("Shorter form", 1, 31, 17, 65, False, True),), 1, "")
    drawn = texts(chart)
    assert {"Group", "Decision-maker", "Weighted", "31", "17", "65"} <= set(drawn)


def test_with_too_few_voters_no_figure_is_drawn() -> None:
    """A ranking whose votes are withheld for one option shows places alone, in picture, words and table."""
    rows = (
        RankRow("A plan", 1, None, None, None, False, True),
        RankRow("B plan", 2, 77, 77, 77, False, False),
    )
    chart = VoteRanking("Ballot", "votes", rows, None, "")
    assert not any("77" in text for text in [*texts(chart), chart.alternative(), *map(str, chart.table())])
    assert any(line.startswith("Only places are shown") for line in texts(chart))


def test_ties_and_the_cut_are_said_in_words() -> None:
    """A tied place is called tied, and the line of the cut says how many go on."""
    rows = (RankRow("A", 1, 3, None, 3, True, True), RankRow("B", 1, 3, None, 3, True, False))
    drawn = texts(VoteRanking("Forces", "dots", rows, 1, ""))
    assert drawn.count("tied") == 2
    assert "the one above goes on" in drawn and drawn.count("goes on") == 1


def test_an_unsure_plan_is_called_so_and_drawn_dashed() -> None:
    """Below 70 % a plan's ring is dashed and its label says unsure; at 70 % neither."""
    unsure = PlacedPlan("A", "Form", 1, 0.3, 1, 0.3, "make it a project", 0.69)
    sure = PlacedPlan("B", "Call", -1, 0.3, -1, 0.3, "just do it", 0.7)
    drawn = texts(PlacementMatrix((unsure, sure), 0, 0, ""))
    assert "A, unsure" in drawn and "B" in drawn and "B, unsure" not in drawn
    dashes = [draw(PlacementMatrix((plan,), 0, 0, ""), "svg").count(b"stroke-dasharray") for plan in (unsure, sure)]
    assert dashes[0] > dashes[1]


def test_a_long_label_does_not_push_the_unsure_out() -> None:
    """However long a plan's label is, the word unsure stays at its point."""
    plan = PlacedPlan("A label that goes on and on", "Form", 1, 0.3, 1, 0.3, "make it a project", 0.4)
    assert any(re.fullmatch(r"A label.*…, unsure", line) for line in texts(PlacementMatrix((plan,), 0, 0, "")))


def test_the_corners_are_named() -> None:
    """All four corners of the matrix carry their names."""
    assert {"trial now", "make it a project", "just do it", "set aside"} <= set(texts(samples.matrix(4)))


def test_a_plan_goes_into_the_corner_of_its_numbers() -> None:
    """More impact is higher and more effort further right than the crossing of the cuts."""

    def spot(impact: float, effort: float) -> tuple[float, float]:
        plan = PlacedPlan("Q", "t", impact, 0, effort, 0, "trial now", 1)
        root = ElementTree.fromstring(draw(PlacementMatrix((plan,), 5, 5, ""), "svg"))
        (label,) = (element for element in root.iter(f"{SVG}text") if element.text == "Q")
        return float(label.get("x", "nan")), float(label.get("y", "nan"))

    low, high = spot(4, 6), spot(6, 4)
    assert high[0] < low[0] and high[1] < low[1]


def test_a_missing_week_is_a_gap_not_a_zero() -> None:
    """A week without a number is called so, even if a number came with it, and its neighbours are not joined."""
    weeks = tuple(TrendWeek(week, None, 777 if week == 3 else 5, week == 3) for week in range(1, 6))
    chart = TrialTrend("Form", "orders", weeks, None, None, None, None, "")
    assert "no number" in texts(chart)
    assert "777" not in chart.alternative() + str(chart.table()) + str(texts(chart))


def test_a_trend_has_its_weeks_below_and_round_values_beside_it() -> None:
    """Every week of a short trial is named; of a long one, and of the values, round ones."""
    drawn = texts(samples.before_after())
    assert [line for line in drawn if re.fullmatch(r"-?\d", line)] == [str(week) for week in range(-7, 4)]
    assert {"30", "32.5", "35", "37.5", "40", "42.5"} <= set(drawn)
    weeks = tuple(TrendWeek(week, None, 1000, False) for week in range(1, 41))
    drawn = texts(TrialTrend("Form", "orders", weeks, *[None] * 4, ""))
    assert [int(line) for line in drawn if line.isdigit() and int(line) <= 41] == list(range(4, 41, 4))


def test_the_days_before_week_1_are_shown_apart() -> None:
    """Hollow, named, and joined to nothing; weeks before the trial keep their names."""
    before = [TrendWeek(week, 30, None, False) for week in (-2, -1)]
    early, after = TrendWeek(0, None, 44, False, early=True), [TrendWeek(week, None, 39, False) for week in (1, 2)]
    weeks = (*before, early, *after)
    chart = TrialTrend("Form", "%", weeks, 30, 36, None, None, "")
    drawn = texts(chart)
    assert [line for line in drawn if re.fullmatch(r"-?\d", line)] == ["-1", "0", "1", "2"]
    assert "days before" in drawn and any("shown and not judged" in line for line in drawn)
    assert "Days before week 1 (shown, not judged): with the change 44." in chart.alternative()
    assert "2 weeks before: without the change 30. 1 week before: without the change 30." in chart.alternative()
    without, changed = trend_figure(chart).series
    assert (without.runs, changed.runs) == (((0, 1),), ((0,), (1,), (2,)))
    assert [reading.first for reading in changed.readings] == [True, True, False]


def test_a_later_week_stands_further_right_and_a_larger_value_higher() -> None:
    """In equal steps."""
    chart, weeks = samples.before_after(), [str(week) for week in range(-7, 4)]
    lefts = [left for left, _ in places(chart, weeks)]
    tops = [top for _, top in places(chart, ["42.5", "40", "37.5", "35", "32.5", "30"])]
    for steps in (np.diff(lefts), np.diff(tops)):
        assert steps[0] > 0 and steps == pytest.approx(steps[0])


def test_the_first_week_is_shown_apart() -> None:
    """A trial's first week, where novelty works, is marked and explained."""
    assert any("first week" in line for line in texts(samples.before_after()))


def test_colours_reach_the_contrast_that_readers_need() -> None:
    """Text reaches 4.5:1 and lines 3:1 on the ground (WCAG 2.2, 1.4.3 and 1.4.11)."""
    assert palette.contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert palette.contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.005)  # widely published near miss
    assert min(palette.contrast(colour, palette.GROUND) for colour in palette.TEXT_COLOURS) >= 4.5
    assert min(palette.contrast(colour, palette.GROUND) for colour in palette.GRAPHIC_COLOURS) >= 3


PHONE = 360  # points that a phone gives a picture's width


def test_a_phone_shows_lettering_that_can_be_read() -> None:
    """The smallest has 12 of a phone's points, which is what small text has there."""
    assert min(palette.SMALL, palette.BODY) * PHONE / palette.WIDTH >= 12
    for name in ("forces-8", "ranking-5", "matrix-8", "trend", "calibration-5"):
        drawn = draw(SAMPLES[name], "svg").decode()
        sizes = [float(size) for size in re.findall(r"font-size: ([\d.]+)px", drawn)]
        assert sizes and min(sizes) >= palette.SMALL * 0.72 - 0.1, name  # an SVG counts points, 72 to the inch


@pytest.mark.parametrize(
    "name", ["forces-8", "dots-8", "ranking-5", "ranking-long", "matrix-8", "trend", "calibration-5"]
)
def test_no_line_leaves_the_page(name: str) -> None:
    """Every line that stands upright begins and ends on it."""
    root = ElementTree.fromstring(draw(SAMPLES[name], "svg"))
    scale = 72 / 100
    for element in root.iter(f"{SVG}text"):
        style, line = element.get("style", ""), "".join(element.itertext())
        if "rotate(-90" in (element.get("transform") or ""):
            continue
        size = float(re.findall(r"([\d.]+)px", style)[0]) / scale
        long = width(line, size, "700" in style)
        at = float(element.get("x", "nan")) / scale
        start = at - {"end": long, "middle": long / 2}.get(anchor(style), 0.0)
        assert start >= -1 and start + long <= palette.WIDTH + 1, line


def anchor(style: str) -> str:
    found = re.search(r"text-anchor: (\w+)", style)
    return found[1] if found else "start"


def test_signs_without_a_font_become_one_box_in_a_png_only() -> None:
    """What no font can draw is a box per run, while the SVG keeps the text for the reader's own fonts."""
    rare = "\U0010fffd\U0010fffd"
    assert drawable(f"a {rare} b") == "a ▯ b"
    assert f"a {rare} b" in texts(ForceField("activation", (f"a {rare} b",), ()))


# Signs that stand alone: a mark that belongs to the sign before it is never parted from it, and may stick out.
_ALONE = st.characters(exclude_categories=("Mn", "Mc", "Me", "Cf", "Sk", "Cs"))


@given(st.text(_ALONE, max_size=300), st.integers(60, 600), st.integers(1, 4))
def test_fitted_lines_fit(text: str, room: int, lines: int) -> None:
    """There are no more lines than allowed, and none is wider than its room."""
    fitted = fit(text, 16, room, lines)
    assert len(fitted.lines) <= lines
    assert all(width(line, 16) <= room + 1e-6 for line in fitted.lines)


@given(st.text(max_size=300), st.integers(60, 600), st.integers(1, 4))
def test_fitted_lines_lose_nothing_unsaid(text: str, room: int, lines: int) -> None:
    """Either every sign is there in its order, or the text is called clipped and ends in an ellipsis."""
    fitted, whole = fit(text, 16, room, lines), one_line(text).replace(" ", "")
    kept = "".join(fitted.lines).replace(" ", "")
    assert kept == whole if not fitted.clipped else kept.endswith("…") and whole.startswith(kept[:-1])


@given(st.lists(st.tuples(st.integers(0, 600), st.integers(0, 600)), min_size=1, max_size=12))
def test_labels_of_twelve_plans_never_cover_each_other(anchors: list[tuple[int, int]]) -> None:
    """Wherever twelve plans lie, even all on one spot, their labels find places clear of each other and of the edge."""
    bounds = Box(0, 0, 690, 640)
    boxes = place(anchors, [(96, 19)] * len(anchors), [], bounds)
    assert all(box.outside(bounds) < 1e-6 for box in boxes)
    assert not any(one.overlap(other) for i, one in enumerate(boxes) for other in boxes[:i])
