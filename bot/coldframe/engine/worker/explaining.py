"""The numbers behind a result: how sure, whether the weight decided, where a plan stands. Runs in the worker, so each
function takes and gives plain values and loads numpy only when called."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.measures import Kind
from coldframe.analysis.sizing import PlanMeasure, weeks_needed
from coldframe.domain.names import Axis
from coldframe.domain.round.ballots import weighted
from coldframe.domain.state import Comparison, Criterion, Likeness, Round
from coldframe.message.pictures import Corner, PlacedPlan, PlacementMatrix
from coldframe.speech.round import size_words
from coldframe.speech.round.results import Sureness
from coldframe.speech.round.size_words import Size
from coldframe.speech.trial import sizing_report

PRIOR_VARIANCE = 4.0  # keeps one-sided comparisons finite
Votes = Mapping[str, Sequence[str]]


def sureness(
    votes: Votes, options: Sequence[str], seed: int, chief: str | None, weight: float, chosen: int
) -> Sureness:
    """How often the first would stay first, how much voters agree, at which weights the order turns."""
    from coldframe.analysis.agreement import kendall_w  # numpy
    from coldframe.analysis.tally import stability, weight_changes  # numpy

    if len(votes) < 2 or len(options) < 2:
        return Sureness(None, None)
    voting = chief if chief is not None and chief in votes else None
    chiefs = [voting] if voting is not None else []
    weights = {voting: weight} if voting is not None else {}
    shares = stability(votes, 1, seed, weights=weights, options=options, decision_makers=chiefs)
    first = max(shares.values())
    scores = [[-sum(o == option for o in theirs) for option in options] for theirs in votes.values()]
    turns: tuple[float, ...] = ()
    if voting is not None:
        turns = tuple(float(c.weight) for c in weight_changes(votes, voting, chosen=chosen, options=options))
    return Sureness(float(first), float(kendall_w(scores)), turns)


def placement(plans: Sequence[tuple[str, str]], comparisons: Sequence[Comparison], one_view: bool) -> PlacementMatrix:
    """The matrix from everybody's comparisons. `plans` are (id, title) in order; fewer than two give no places."""
    if len(plans) < 2:
        points = tuple(PlacedPlan("A", t, 0.0, 0.0, 0.0, 0.0, "trial now", 0.25) for _, t in plans)
        return PlacementMatrix(points, 0.0, 0.0, size_words.SINGLE_PLAN)
    note = size_words.ONE_VIEW if one_view else size_words.FROM_ALL
    return PlacementMatrix(_points(plans, comparisons), 0.0, 0.0, note)


def _points(plans: Sequence[tuple[str, str]], comparisons: Sequence[Comparison]) -> tuple[PlacedPlan, ...]:
    from coldframe.analysis.pairwise import corner_probability, fit  # numpy

    names = [plan for plan, _ in plans]
    impact, effort = (
        fit(names, [_pair(c) for c in comparisons if c.axis is axis], prior=PRIOR_VARIANCE)
        for axis in (Axis.IMPACT, Axis.EFFORT)
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


def _pair(comparison: Comparison) -> tuple[str, str] | tuple[str, str, float]:
    match comparison.outcome:
        case "first":
            return comparison.first, comparison.second
        case "second":
            return comparison.second, comparison.first
        case _:
            return comparison.first, comparison.second, 0.5


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


def size_of(criterion: Criterion, weeks: int) -> Size | None:
    """Whether the traffic shows the target, and what three to six weeks can show; None for numbers that cannot be.

    A count's baseline and target are those of the whole trial of so many `weeks`.
    """
    if criterion.baseline is None or criterion.target is None:
        return None
    span = weeks if criterion.kind == "count" else 1
    kind = Kind(SIZED[criterion.kind])
    try:
        report = weeks_needed(PlanMeasure(kind, criterion.baseline / span, criterion.target / span, criterion.weekly))
    except BadNumber:
        return None
    rows = tuple((row.weeks, sizing_report.value(report.plan, row.smallest_target)) for row in report.rows)
    shown = {row.weeks: row.shows_target for row in report.rows}
    advice = next(iter(sizing_report.advice(report)), "")
    return Size(report.fits, shown.get(weeks, False), sizing_report.summary(report), rows, advice)


def proposals(texts: Sequence[str]) -> list[tuple[int, int, float, tuple[Likeness, ...]]]:
    """Direct duplicates among notes of one lever and side: (first, second, score, why)."""
    from coldframe.analysis.similarity import propose  # numpy

    return [(p.first, p.second, p.score, tuple(Likeness(r.kind, r.words) for r in p.why)) for p in propose(texts)]


# In the order of the voters' ids: a ledger's own order is that of the votes until the round is read from the store, and
# resampling with one seed must come to the same shares before and after.


def dots_of(round_: Round) -> tuple[Votes, tuple[str, ...]]:
    assert round_.dots is not None
    return {str(v): o for v, o in sorted(round_.dots.votes().items())}, tuple(f.id for f in round_.forces)


def ballot_of(round_: Round) -> tuple[Votes, tuple[str, ...], str]:
    assert round_.ballot is not None
    return (
        {str(v): o for v, o in sorted(round_.ballot.votes().items())},
        tuple(round_.plan_order),
        weighted(round_),
    )


def placed_of(round_: Round) -> tuple[list[tuple[str, str]], list[Comparison]]:
    plans = [(str(p), round_.plans[p].title) for p in round_.to_place]
    return plans, [c for _, answers in sorted(round_.comparisons.items()) for c in answers]
