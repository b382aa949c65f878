"""Pictures of what a round counted, with the figures that may be told of it and no others."""

from __future__ import annotations

from dataclasses import replace

from coldframe.domain.names import ForceId, Step
from coldframe.domain.round.disclosure import Figures, figures
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.pictures import ForceField, PlacementMatrix


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
