"""The numbers behind a result: how sure, whether the weight decided, where a plan stands. Runs in the worker, so each
function takes and gives plain values and loads numpy only when called."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.measures import Kind
from coldframe.analysis.sizing import PlanMeasure, weeks_needed
from coldframe.analysis.tally import weight_range
from coldframe.domain.names import Axis, Touches
from coldframe.domain.round.disclosure import Figures
from coldframe.domain.state import Comparison, Criterion, Likeness, Round
from coldframe.meaning import caution_weights, encoder
from coldframe.message.pictures import Corner, PlacedPlan, PlacementMatrix
from coldframe.speech.round import size_words
from coldframe.speech.round.size_words import Size
from coldframe.speech.round.sure_words import Sureness
from coldframe.speech.trial import sizing_report

if TYPE_CHECKING:  # it loads numpy
    from coldframe.analysis.similarity import Proposal

Votes = Mapping[str, Sequence[str]]
CHIEF = "decision-maker"
TEAMS = 40  # that the figures fit


def sureness(told: Figures, weight: float, chosen: int) -> Sureness:
    """How often the first would stay first, how much voters agree, at which weights the order turns: from what is told
    of the count alone, so that none of it says more about anybody's ballot than that does."""
    from coldframe.analysis.disclosure import likely_teams  # numpy

    options, chief = sorted(told.group), told.chief or {}
    voting = {CHIEF: [o for o, n in chief.items() for _ in range(n)]} if any(chief.values()) else {}
    teams = [{**team, **voting} for team in likely_teams(told.group, told.voters, told.quota, TEAMS)]
    weights = weight_range({o: told.group[o] for o in options}, chief, weight, chosen) if voting else None
    return Sureness(first_stays(told, weight), _agreement(teams, options), weights)


def first_stays(told: Figures, weight: float) -> float | None:
    from coldframe.analysis.stability import stays_first  # numpy

    options = sorted(told.group)
    lead = [weight * (told.chief or {}).get(option, 0) for option in options]
    return stays_first([told.group[option] for option in options], lead, told.quota)


def _agreement(teams: Sequence[Votes], options: Sequence[str]) -> float:
    from coldframe.analysis.agreement import kendall_w  # numpy

    scores = [[[-sum(o == option for o in cast) for option in options] for cast in team.values()] for team in teams]
    return float(sum(map(kendall_w, scores))) / len(teams)


def placement(
    plans: Sequence[tuple[str, str]], comparisons: Sequence[Comparison], one_view: bool, order_only: bool = False
) -> PlacementMatrix:
    """The matrix from everybody's comparisons. `plans` are (id, title) in order; fewer than two give no places."""
    if len(plans) < 2:
        points = tuple(PlacedPlan("A", t, 0.0, 0.0, 0.0, 0.0, "trial now", 0.25) for _, t in plans)
        return PlacementMatrix(points, 0.0, 0.0, size_words.SINGLE_PLAN)
    note = size_words.ONE_VIEW if one_view else size_words.FROM_ALL
    points = _points(plans, comparisons)
    return PlacementMatrix(steps_only(points) if order_only else points, 0.0, 0.0, note)


def steps_only(points: Sequence[PlacedPlan]) -> tuple[PlacedPlan, ...]:
    """The order of the plans on each scale and the side of the cut, and nothing of the distances: scores would give
    back how often each plan won, and with it single answers where few compared."""
    impacts, efforts = _steps([p.impact for p in points]), _steps([p.effort for p in points])
    return tuple(
        replace(p, impact=impact, effort=effort, impact_error=0.0, effort_error=0.0, certainty=None)
        for p, impact, effort in zip(points, impacts, efforts, strict=True)
    )


def _steps(scores: Sequence[float]) -> list[float]:
    """Each score as the number of steps from the cut at 0, equal scores on one."""
    level = [round(score, 6) for score in scores]
    return [
        float(len({s for s in level if 0 < s <= at}) if at > 0 else -len({s for s in level if at <= s < 0}))
        for at in level
    ]


def _points(plans: Sequence[tuple[str, str]], comparisons: Sequence[Comparison]) -> tuple[PlacedPlan, ...]:
    from coldframe.analysis.placing import corner_probability, placed  # numpy

    names = [plan for plan, _ in plans]
    impact, effort = (
        placed(names, [_answer(c) for c in comparisons if c.axis is axis]) for axis in (Axis.IMPACT, Axis.EFFORT)
    )
    corners = {c.item: c for c in corner_probability(impact, effort)}
    return tuple(
        PlacedPlan(
            chr(ord("A") + i),
            title,
            float(impact.scores[i]),
            float(impact.standard_errors[i]),
            float(effort.scores[i]),
            float(effort.standard_errors[i]),
            *_corner(corners[name]),
        )
        for i, (name, title) in enumerate(plans)
    )


SHARES = {"first": 1.0, "second": 0.0, "same": 0.5}


def _answer(comparison: Comparison) -> tuple[str, str, str, float]:
    return comparison.judge, comparison.first, comparison.second, SHARES[comparison.outcome]


def _corner(chances: object) -> tuple[Corner, float]:
    names: dict[str, Corner] = {
        "trial_now": "trial now",
        "project": "make it a project",
        "just_do_it": "just do it",
        "set_aside": "set aside",
    }
    best = max(names, key=lambda field: getattr(chances, field))
    return names[best], min(1.0, max(0.0, float(getattr(chances, best))))


SIZED: dict[str, str] = {"split": "split-shares", "count": "count-target"}
"""Kinds of comparison whose size follows from baseline, target and people a week alone."""
AS_STATED = 1000
"""Earlier weeks that a stated level is worth: the verdict takes it as known."""


def size_of(criterion: Criterion, weeks: int) -> Size | None:
    """Whether the traffic shows the target, and what three to six weeks can show; None for numbers that cannot be.

    A count's baseline and target are those of the whole trial of so many `weeks`.
    """
    if criterion.kind not in SIZED or criterion.baseline is None or criterion.target is None:
        return None
    span = weeks if criterion.kind == "count" else 1
    start, aim = criterion.baseline / span, criterion.target / span
    earlier = len(criterion.baseline_weeks) or AS_STATED
    try:
        report = weeks_needed(
            PlanMeasure(Kind(SIZED[criterion.kind]), start, aim, criterion.weekly, baseline_weeks=earlier)
        )
    except BadNumber:
        return None
    rows = tuple((row.weeks, sizing_report.value(report.plan, row.smallest_target)) for row in report.rows)
    shown = {row.weeks: row.shows_target for row in report.rows}
    advice = next(iter(sizing_report.advice(report)), "")
    return Size(report.fits, shown.get(weeks, False), sizing_report.summary(report), rows, advice)


def delicate(texts: Sequence[str]) -> tuple[tuple[Touches, str], ...] | None:
    """What a plan touches by its meaning, with the words that say so; None where only words can be compared."""
    reader = encoder()
    if reader is None:
        return None
    from coldframe.analysis.touching import touched  # numpy

    return tuple((TOUCHES[one.topic], one.words) for one in touched(texts, reader, caution_weights()))


TOUCHES = {
    "data": Touches.PERSONAL_DATA,
    "messages": Touches.MARKETING,
    "prices": Touches.PRICES,
    "health": Touches.HEALTH,
    "finance": Touches.FINANCE,
    "vulnerable": Touches.VULNERABLE,
    "hidden": Touches.HIDING,
}
MORE_PAIRS = 5
"""As many as are looked at in a minute or two."""


@dataclass(frozen=True, slots=True)
class Alikes:
    """Notes that may be one point, each with how probable that is, and why; found `by_words` alone, for want of the
    encoder, or by meaning."""

    sets: tuple[tuple[tuple[int, ...], float, tuple[Likeness, ...]], ...]
    by_words: bool


def proposals(texts: Sequence[str]) -> Alikes:
    """Direct duplicates among notes of one lever and side."""
    from coldframe.analysis.similarity import propose  # numpy

    return _plain(propose(texts, encoder=encoder()))


def next_pairs(texts: Sequence[str], settled: Sequence[tuple[int, int]]) -> Alikes:
    """Those that come next, for whoever asks for more."""
    from coldframe.analysis.similarity import further  # numpy

    return _plain(further(texts, settled, MORE_PAIRS, encoder=encoder()))


def _plain(found: Sequence[Proposal]) -> Alikes:
    sets = ((p.notes, p.chance, tuple(Likeness(r.kind, r.words) for r in p.why)) for p in found)
    return Alikes(tuple(sets), by_words=encoder() is None)


def placed_of(round_: Round) -> tuple[list[tuple[str, str]], list[Comparison]]:
    plans = [(str(p), round_.plans[p].title) for p in round_.to_place]
    return plans, [c for _, answers in sorted(round_.comparisons.items()) for c in answers]
