"""Pictures small, typical and at their largest, in our own invented scenario: a subscription for seed boxes."""

from __future__ import annotations

from dataclasses import replace

from coldframe.message.pictures import (
    Calibration,
    CalibrationBin,
    Chart,
    Corner,
    ForceField,
    PlacedPlan,
    PlacementMatrix,
    RankRow,
    TrendWeek,
    TrialTrend,
    VoteRanking,
)

LONG = (
    "Offer a short call after the first box to everybody who has not sown yet, with three fixed times to choose from, "
    "and a note"
)
SCRIPTS = (
    "Формы слишком длинные",
    "הטופס ארוך מדי",
    "النموذج طويل جدا",
    "फ़ॉर्म बहुत लंबा है",
    "フォームが長い",
    "🚀👩‍👩‍👧 start",
)
HOSTILE = (
    "$x$",
    r"\frac{1}{2}",
    "<script>alert(1)</script>",
    "a\x00b",
    "two\nlines",
    "&amp; ]]> -->",
    "\ud800",
    "w" * 3000,
)
PLACES: tuple[tuple[float, float, Corner], ...] = (
    (1.2, -0.9, "trial now"),
    (0.8, 1.1, "make it a project"),
    (-0.7, -1.0, "just do it"),
    (-1.1, 0.6, "set aside"),
)


def forces(count: int) -> ForceField:
    """That many notes, about half of them in either direction."""
    notes = tuple(f"Note {number}: the box comes late in some weeks" for number in range(count))
    return ForceField("activation", notes[::2], notes[1::2])


def by_dots(count: int) -> ForceField:
    """The same with dots on what holds back, from many to none."""
    chart = forces(count)
    return replace(chart, dots=tuple(range(len(chart.restraining)))[::-1])


def ranking(count: int, label: str = "Option") -> VoteRanking:
    rows = (
        RankRow(f"{label} {i + 1}", i + 1, count - i, i % 2, count - i + 2 * (i % 2), False, i < 2)
        for i in range(count)
    )
    return VoteRanking(
        "Ballot on the plans", "votes", tuple(rows), 2, "The first would stay first in 61 % of such teams."
    )


def matrix(count: int, title: str = "Shorter form") -> PlacementMatrix:
    def plan(number: int) -> PlacedPlan:
        impact, effort, corner = PLACES[number % 4]
        drift = 0.13 * (number // 4)
        certainty = 0.95 if number % 3 else 0.5
        return PlacedPlan(f"P{number + 1}", title, impact - drift, 0.3, effort + drift, 0.4, corner, certainty)

    return PlacementMatrix(tuple(map(plan, range(count))), 0.0, 0.0, "From 6 people's 44 comparisons.")


def before_after(title: str = "Shorter form") -> TrialTrend:
    before = tuple(TrendWeek(week, 30 + week % 3, None, False) for week in range(-7, 1))
    after = (TrendWeek(1, None, 39, False), TrendWeek(2, None, None, True), TrendWeek(3, None, 35, False))
    return TrialTrend(title, "orders a week", before + after, 31, 36, 30.5, 41, "A change, never its cause.")


def calibration(count: int) -> Calibration:
    bins = (CalibrationBin((i + 0.5) / count, 0.4, 0.2, 0.7, 5) for i in range(count))
    return Calibration(tuple(bins), 5 * count)


def hostile() -> tuple[Chart, ...]:
    """People's text of every unpleasant kind in every place where text can stand."""
    texts = (*HOSTILE, *SCRIPTS)
    rows = tuple(RankRow(text, 1, 1, 1, 3, True, True) for text in texts)
    plans = tuple(PlacedPlan(text, text, 0.1 * i, 0.2, 0.1, 0.2, "trial now", 0.6) for i, text in enumerate(texts))
    weeks = (TrendWeek(1, 2, 3, False),)
    everything = " ".join(texts)
    return (
        ForceField(everything, texts, texts),
        VoteRanking(everything, everything, rows, 2, everything),
        PlacementMatrix(plans, 0, 0, everything),
        TrialTrend(everything, everything, weeks, 2, 3, 1, 4, everything),
    )


def every_size() -> dict[str, Chart]:
    return {
        **{f"forces-{count}": forces(count) for count in (0, 1, 8, 40, 150, 300)},
        **{f"dots-{count}": by_dots(count) for count in (1, 8, 150)},
        **{f"ranking-{count}": ranking(count) for count in (0, 1, 5, 16, 60)},
        **{f"matrix-{count}": matrix(count) for count in (0, 1, 4, 8, 12, 40)},
        **{f"calibration-{count}": calibration(count) for count in (0, 1, 5)},
        "ranking-long": ranking(16, LONG),
        "matrix-long": matrix(12, LONG),
        "trend": before_after(),
        "trend-empty": TrialTrend("Empty", "orders", (), None, None, None, None, ""),
        "trend-flat": TrialTrend("Flat", "orders", (TrendWeek(1, 0, 0, False),), 0, 0, 0, 0, ""),
        **{f"hostile-{chart.kind}": chart for chart in hostile()},
    }
