"""Pictures of what a round counted, with the figures that may be told of it and no others."""

from __future__ import annotations

from dataclasses import replace

from coldframe.domain.fates import Corner, Placed, Position
from coldframe.domain.names import ForceId, Step
from coldframe.domain.round.disclosure import Figures, figures
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.pictures import ForceField, PlacedPlan, PlacementMatrix
from coldframe.speech.round import size_words


def by_dots(round_: Round, told_of: Figures) -> ForceField:
    """The lever in focus, with an arrow for each force by its dots, the strongest first."""
    assert round_.focus is not None
    order = [s.option for s in round_.forces_standing]
    return ForceField(
        theirs(round_.settings.lever_name(round_.focus)).text,
        tuple(theirs(note.text).text for note in round_.driving_in_focus()),
        tuple(theirs(round_.force_text(ForceId(force))).text for force in order),
        tuple(told_of.group[force] for force in order),
    )


def with_chief(round_: Round, chart: PlacementMatrix) -> PlacementMatrix:
    """The matrix with the decision-maker's votes beside the plans, where the ballot's result told them."""
    told_of = figures(round_, Step.BALLOT)
    if told_of is None or told_of.chief is None:
        return chart
    votes = [told_of.chief.get(plan, 0) for plan in round_.to_place]
    points = tuple(replace(point, chief=n) for point, n in zip(chart.points, votes, strict=True))
    return replace(chart, points=points)


def placed(point: PlacedPlan, *, alone: bool) -> Placed:
    """What is kept of a plan's place, which everybody has seen."""
    shown = (point.impact, point.impact_error, point.effort, point.effort_error, point.certainty)
    return Placed(Corner(point.corner), point.certainty is not None and not point.unsure, Position(*shown, alone=alone))


def matrix(round_: Round) -> PlacementMatrix | None:
    """The matrix as it was shown; None where none was, or an earlier release kept the corners alone."""
    known = [(plan, round_.corners[plan]) for plan in round_.to_place if plan in round_.corners]
    points = [_point(round_.plans[plan].title, each) for plan, each in known if plan in round_.plans]
    found = [point for point in points if point is not None]
    if len(found) < 2 or len(found) != len(round_.to_place):
        return None
    alone = any(each.position is not None and each.position.alone for _, each in known)
    named = tuple(replace(point, label=chr(ord("A") + number)) for number, point in enumerate(found))
    chart = PlacementMatrix(named, 0.0, 0.0, size_words.ONE_VIEW if alone else size_words.FROM_ALL)
    return with_chief(round_, chart)


def _point(title: str, placed: Placed) -> PlacedPlan | None:
    at = placed.position
    if at is None:
        return None
    shown = (at.impact, at.impact_error, at.effort, at.effort_error)
    return PlacedPlan("", title, *shown, placed.corner.value, at.certainty)
