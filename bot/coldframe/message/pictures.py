"""What a picture says: values for the drawing room, and the same content in sentences and as a table.

Each picture is a frozen dataclass of plain values, tagged by `kind`, so that it can wait in the outbox as JSON and
come back through a tagged union. `alternative()` gives the whole meaning in sentences: its first sentence stands on
its own and may be used where space is short. `table()` gives rows of text, the header first. The drawing adds nothing
that these two do not hold.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from coldframe.message.plain import count, figure, join, one_line, percent, quoted, sentence
from coldframe.message.trends import Table as Table
from coldframe.message.trends import TrendWeek as TrendWeek
from coldframe.message.trends import TrialTrend as TrialTrend
from coldframe.message.trends import require_finite

Corner = Literal["trial now", "make it a project", "just do it", "set aside"]

SURE_FROM = 0.7  # probability
"""Chance of its corner below which a plan is called unsure."""


def _require_share(**values: float) -> None:
    for name, value in values.items():
        if not 0 <= value <= 1:
            raise ValueError(f"{name} must lie between 0 and 1, got {value}")


@dataclass(frozen=True, slots=True)
class ForceField:
    """One lever's forces after Lewin (1947): what drives it forward above, what holds it back below."""

    lever: str
    driving: tuple[str, ...]
    restraining: tuple[str, ...]
    dots: tuple[int, ...] = ()
    """Of each restraining force, once they are counted and may be told."""
    kind: Literal["force_field"] = field(default="force_field", kw_only=True)

    def heading(self) -> str:
        return f"What moves {one_line(self.lever)}"

    def alternative(self) -> str:
        lever = one_line(self.lever)
        opening = (
            f"Force field for {lever}: {count(len(self.driving), 'driving force')} above, "
            f"{count(len(self.restraining), 'restraining force')} below."
        )
        drive = f"Driving {lever} forward: {quoted(self.driving)}." if self.driving else ""
        hold = f"Holding {lever} back: {self._held_back()}." if self.restraining else ""
        return join((opening, drive, hold))

    def table(self) -> Table:
        rows = [("driving", one_line(text)) for text in self.driving]
        rows += [("restraining", one_line(text)) for text in self.restraining]
        if not self.dots:
            return (("Direction", "Force"), *rows)
        dots = ("",) * len(self.driving) + tuple(map(str, self.dots))
        return (("Direction", "Force", "Dots"), *((*row, n) for row, n in zip(rows, dots, strict=True)))

    def _held_back(self) -> str:
        if not self.dots:
            return quoted(self.restraining)
        each = zip(self.restraining, self.dots, strict=True)
        return ", ".join(f"{quoted([text])} ({count(dots, 'dot')})" for text, dots in each)


@dataclass(frozen=True, slots=True)
class RankRow:
    """One option's result. Votes are None where too few people voted for figures to keep single ballots secret.

    `group` and `decision_maker` are votes as cast (decision_maker None: nobody's votes are shown apart); `weighted` is
    the total that ranks; `carried` says that the option is above the cut.
    """

    label: str
    place: int
    group: float | None
    decision_maker: float | None
    weighted: float | None
    tied: bool
    carried: bool

    def __post_init__(self) -> None:
        require_finite(group=self.group, decision_maker=self.decision_maker, weighted=self.weighted)

    def place_text(self) -> str:
        return f"{self.place} (tied)" if self.tied else str(self.place)

    def outcome(self) -> str:
        return "goes on" if self.carried else "kept for later"


@dataclass(frozen=True, slots=True)
class VoteRanking:
    """Options in order of their votes. `cut_after` is the number of rows above the cut, None when nothing is cut."""

    title: str
    unit: str
    rows: tuple[RankRow, ...]
    cut_after: int | None
    note: str
    kind: Literal["vote_ranking"] = field(default="vote_ranking", kw_only=True)

    def heading(self) -> str:
        return one_line(self.title)

    @property
    def ranks_only(self) -> bool:
        """True when any figure is withheld: a single gap could be worked out from the others."""
        return any(row.weighted is None or row.group is None for row in self.rows)

    @property
    def shown_apart(self) -> bool:
        """True when the decision-maker's votes form a column of their own."""
        return not self.ranks_only and any(row.decision_maker is not None for row in self.rows)

    def figures(self, row: RankRow) -> str:
        """The row's figures in words, empty when only ranks may be shown."""
        if self.ranks_only or row.weighted is None or row.group is None:
            return ""
        if not self.shown_apart:
            return self._in_units(row.weighted)
        apart = f"group {figure(row.group)}, decision-maker {figure(row.decision_maker or 0)}"
        return f"{apart}, weighted {self._in_units(row.weighted)}"

    def _in_units(self, number: float) -> str:
        unit = one_line(self.unit)
        return f"{figure(number)} {unit.removesuffix('s') if number == 1 else unit}"

    def alternative(self) -> str:
        return join((self._opening(), *map(self._row_sentence, self.rows), self._cut_sentence(), sentence(self.note)))

    def _opening(self) -> str:
        title = one_line(self.title)
        if not self.rows:
            return f"{title}: nothing was voted on."
        first = [row.label for row in self.rows if row.place == self.rows[0].place]
        leaders = f"{quoted(first)} {'is first' if len(first) == 1 else 'share the first place'}"
        hidden = " Only places are shown, since figures would show single ballots."
        return f"{title}: {leaders} of {count(len(self.rows), 'option')}.{hidden if self.ranks_only else ''}"

    def _row_sentence(self, row: RankRow) -> str:
        figures = self.figures(row)
        return f"Place {row.place_text()}: “{one_line(row.label)}”{', ' + figures if figures else ''}."

    def _cut_sentence(self) -> str:
        if self.cut_after is None:
            return ""
        return f"The first {self.cut_after} go on." if self.cut_after != 1 else "The first goes on."

    def table(self) -> Table:
        names = ["Place", "Option"]
        if not self.ranks_only:
            names += ["Group", "Decision-maker", "Weighted total"] if self.shown_apart else [self._unit_heading()]
        if self.cut_after is not None:
            names.append("Outcome")
        return (tuple(names), *(tuple(self._cells(row)) for row in self.rows))

    def _unit_heading(self) -> str:
        unit = one_line(self.unit)
        return unit[:1].upper() + unit[1:] if unit else "Votes"

    def _cells(self, row: RankRow) -> list[str]:
        cells = [row.place_text(), one_line(row.label)]
        if not self.ranks_only:
            values = (row.group, row.decision_maker, row.weighted) if self.shown_apart else (row.weighted,)
            cells += [figure(value or 0) for value in values]
        return [*cells, row.outcome()] if self.cut_after is not None else cells


@dataclass(frozen=True, slots=True)
class PlacedPlan:
    """A plan's position from comparisons: standard errors on the same scale, certainty as its corner's chance.

    Where too few people compared for figures to keep single answers secret, positions are steps from the cut (see
    `explaining.steps_only`), without errors, and certainty is None.
    """

    label: str
    title: str
    impact: float
    impact_error: float
    effort: float
    effort_error: float
    corner: Corner
    certainty: float | None
    chief: int = 0
    """The decision-maker's votes in the ballot, where they were told."""

    def __post_init__(self) -> None:
        require_finite(impact=self.impact, effort=self.effort)
        require_finite(impact_error=self.impact_error, effort_error=self.effort_error)
        _require_share(certainty=self.certainty or 0)
        if min(self.impact_error, self.effort_error) < 0:
            raise ValueError("a standard error must not be negative")

    @property
    def unsure(self) -> bool:
        return self.certainty is not None and self.certainty < SURE_FROM

    def verdict(self) -> str:
        """The corner with how sure it is, in words."""
        if self.certainty is None:
            return self.corner
        chance = percent(self.certainty)
        return f"unsure, perhaps {self.corner} ({chance})" if self.unsure else f"{self.corner} ({chance} sure)"

    def voted(self) -> str:
        """That the decision-maker voted for it, after the rest."""
        return f"; {count(self.chief, 'vote')} by the decision-maker" if self.chief else ""


@dataclass(frozen=True, slots=True)
class PlacementMatrix:
    """Plans on the effort-impact matrix; the cuts are where "much" begins on each scale."""

    points: tuple[PlacedPlan, ...]
    impact_cut: float
    effort_cut: float
    note: str
    kind: Literal["placement_matrix"] = field(default="placement_matrix", kw_only=True)

    def heading(self) -> str:
        return "Effort and impact"

    def __post_init__(self) -> None:
        require_finite(impact_cut=self.impact_cut, effort_cut=self.effort_cut)

    @property
    def order_only(self) -> bool:
        """True when only the order of the plans on each scale is told."""
        return any(plan.certainty is None for plan in self.points)

    def alternative(self) -> str:
        unsure = sum(plan.unsure for plan in self.points)
        how_sure = "in their order alone" if self.order_only else f"{unsure or 'none'} of them unsure"
        opening = f"Effort and impact of {count(len(self.points), 'plan')}, {how_sure}."
        return join((opening, *map(self._plan_sentence, self.points), sentence(self.note)))

    def _plan_sentence(self, plan: PlacedPlan) -> str:
        impact = "much impact" if plan.impact >= self.impact_cut else "little impact"
        effort = "much effort" if plan.effort >= self.effort_cut else "little effort"
        return f"{one_line(plan.label)} “{one_line(plan.title)}”: {impact}, {effort}; {plan.verdict()}{plan.voted()}."

    @property
    def shows_chief(self) -> bool:
        return any(plan.chief for plan in self.points)

    def table(self) -> Table:
        header: tuple[str, ...] = ("Plan", "Title", "Impact", "Effort", "Corner", "How sure")
        if self.order_only:
            header = ("Plan", "Title", "Corner")
        return ((*header, *("Decision-maker's votes",) * self.shows_chief), *map(self._cells, self.points))

    def _cells(self, plan: PlacedPlan) -> tuple[str, ...]:
        chief = (str(plan.chief),) * self.shows_chief
        if self.order_only:
            return (one_line(plan.label), one_line(plan.title), plan.corner, *chief)
        impact = f"{figure(plan.impact)} ± {figure(plan.impact_error)}"
        effort = f"{figure(plan.effort)} ± {figure(plan.effort_error)}"
        sure = f"{percent(plan.certainty or 0)}{', unsure' if plan.unsure else ''}"
        return (one_line(plan.label), one_line(plan.title), impact, effort, plan.corner, sure, *chief)


@dataclass(frozen=True, slots=True)
class CalibrationBin:
    """Forecasts of about the same stated chance: the share that came true, with its interval; all from 0 to 1."""

    stated: float
    happened: float
    low: float
    high: float
    count: int

    def __post_init__(self) -> None:
        _require_share(stated=self.stated, happened=self.happened, low=self.low, high=self.high)


@dataclass(frozen=True, slots=True)
class Calibration:
    """How the team's forecasts of its trials came true; `resolved` is the number of forecasts scored."""

    bins: tuple[CalibrationBin, ...]
    resolved: int
    kind: Literal["calibration"] = field(default="calibration", kw_only=True)

    def heading(self) -> str:
        return "Forecasts against what happened"

    def alternative(self) -> str:
        opening = f"The team's forecasts against what happened, {count(self.resolved, 'forecast')} scored."
        return join((opening, *map(_bin_sentence, self.bins), "" if self.bins else "There is nothing to compare yet."))

    def table(self) -> Table:
        header = ("Stated chance", "Came true", "Interval", "Forecasts")
        return (header, *map(_bin_cells, self.bins))


def _bin_sentence(group: CalibrationBin) -> str:
    stated, happened = percent(group.stated), percent(group.happened)
    interval = f"interval {percent(group.low)} to {percent(group.high)}"
    return f"Said {stated}, came true {happened} ({interval}, {count(group.count, 'forecast')})."


def _bin_cells(group: CalibrationBin) -> tuple[str, ...]:
    interval = f"{percent(group.low)} to {percent(group.high)}"
    return (percent(group.stated), percent(group.happened), interval, str(group.count))


Chart = ForceField | VoteRanking | PlacementMatrix | TrialTrend | Calibration
