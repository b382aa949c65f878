"""The effort-impact matrix: where each plan stands, how sure that is, and which corner it belongs to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from matplotlib.patches import Ellipse, Rectangle

from coldframe.charts.lettering import width
from coldframe.charts.palette import BLUE, BODY, GROUND, HEADING, LEADING, MARGIN, MUTED, RULE, SMALL, VERMILLION, WIDTH
from coldframe.charts.placing import Box, place
from coldframe.charts.sheet import Sheet
from coldframe.message import picture_words as words
from coldframe.message.pictures import PlacedPlan, PlacementMatrix

MAX_IN_KEY = 24  # rows
"""Plans named beside the field; what comes after them stands in the table."""

_FIELD_LEFT = MARGIN + 34  # pixels, as all lengths here
_FIELD_WIDTH = 690
_MIN_HEIGHT = 640
_KEY_LEFT = _FIELD_LEFT + _FIELD_WIDTH + 40
_DOT = 6.0


@dataclass(frozen=True, slots=True)
class _Field:
    """The square in which plans stand, both cuts in its middle; `reach` is what half of it spans on each scale."""

    box: Box
    chart: PlacementMatrix
    effort_reach: float
    impact_reach: float

    def x(self, effort: float) -> float:
        return self._middle_x + (effort - self.chart.effort_cut) * self.per_effort

    def y(self, impact: float) -> float:
        return self._middle_y - (impact - self.chart.impact_cut) * self.per_impact

    @property
    def per_effort(self) -> float:
        return (self.box.right - self.box.left) / 2 / self.effort_reach

    @property
    def per_impact(self) -> float:
        return (self.box.bottom - self.box.top) / 2 / self.impact_reach

    @property
    def _middle_x(self) -> float:
        return (self.box.left + self.box.right) / 2

    @property
    def _middle_y(self) -> float:
        return (self.box.top + self.box.bottom) / 2


def _reach(distances: Sequence[float], errors: Sequence[float]) -> float:
    """Half of a scale: every plan is on it, and one plan with a huge error does not squeeze all the others."""
    if not distances:
        return 1.0
    usual = 2 * median(errors)
    return 1.15 * max(abs(d) + min(e, usual) for d, e in zip(distances, errors, strict=True)) or 1.0


def draw_matrix(sheet: Sheet, chart: PlacementMatrix) -> None:
    sheet.title(chart.heading())
    if not chart.points:
        sheet.note(words.NOTHING_PLACED, BODY)
        return
    top = sheet.bottom + 6
    key_bottom = _key(sheet, chart, top)
    box = Box(_FIELD_LEFT, top, _FIELD_LEFT + _FIELD_WIDTH, top + _MIN_HEIGHT)
    efforts = [plan.effort - chart.effort_cut for plan in chart.points]
    impacts = [plan.impact - chart.impact_cut for plan in chart.points]
    effort_reach = _reach(efforts, [plan.effort_error for plan in chart.points])
    field = _Field(box, chart, effort_reach, _reach(impacts, [plan.impact_error for plan in chart.points]))
    corners = _ground(sheet, box)
    for plan in chart.points:
        _ring(sheet, field, plan)
    _labels(sheet, field, corners)
    sheet.bottom = box.bottom + 44
    if not chart.order_only:
        _signs(sheet)
    notes = (*words.matrix_notes(chart), words.RING_BEYOND if _beyond(field) else "")
    for note in notes:
        sheet.note(note, room=_FIELD_WIDTH)
    sheet.bottom = max(sheet.bottom, key_bottom)


def _beyond(field: _Field) -> bool:
    """Whether a ring is so wide that the field cannot hold it."""
    return any(p.effort_error > field.effort_reach or p.impact_error > field.impact_reach for p in field.chart.points)


def _ground(sheet: Sheet, box: Box) -> list[Box]:
    """The four corners with their names; returns where the names stand, so that labels keep clear of them."""
    middle_x, middle_y = (box.left + box.right) / 2, (box.top + box.bottom) / 2
    frame = [(box.left, box.top), (box.right, box.top), (box.right, box.bottom), (box.left, box.bottom)]
    sheet.shape(frame, facecolor="none", edgecolor=RULE, linewidth=1.2)
    sheet.rule([middle_x, middle_x], [box.top, box.bottom])
    sheet.rule([box.left, box.right], [middle_y, middle_y])
    _scales(sheet, box)
    corners = (
        ("trial now", box.left + 12, box.top + 26, "left"),
        ("make it a project", box.right - 12, box.top + 26, "right"),
        ("just do it", box.left + 12, box.bottom - 14, "left"),
        ("set aside", box.right - 12, box.bottom - 14, "right"),
    )
    return [_corner(sheet, *corner) for corner in corners]


def _corner(sheet: Sheet, name: str, x: float, y: float, side: str) -> Box:
    sheet.text(x, y, name, HEADING, color=MUTED, weight="bold", ha=side)
    wide = width(name, HEADING, bold=True)
    left = x if side == "left" else x - wide
    return Box(left, y - HEADING, left + wide, y + 6)


def _scales(sheet: Sheet, box: Box) -> None:
    below, beside = box.bottom + 22, box.left - 12
    for x, text, side in ((box.left, words.LITTLE, "left"), (box.right, words.MUCH, "right")):
        sheet.text(x, below, text, SMALL, color=MUTED, ha=side)
    sheet.text((box.left + box.right) / 2, below, f"{words.EFFORT} →", BODY, weight="bold", ha="center")
    upright = {"rotation": 90, "va": "center", "ha": "right"}
    sheet.text(beside, box.bottom - 24, words.LITTLE, SMALL, color=MUTED, **upright)
    sheet.text(beside, box.top + 24, words.MUCH, SMALL, color=MUTED, **upright)
    sheet.text(beside, (box.top + box.bottom) / 2, f"{words.IMPACT} →", BODY, weight="bold", **upright)


def _look(unsure: bool) -> dict[str, Any]:
    """Dashed and hollow for unsure, so that it shows without colour."""
    if unsure:
        return {"edgecolor": VERMILLION, "linestyle": (0, (4, 3)), "facecolor": "none"}
    return {"edgecolor": BLUE, "linestyle": "solid", "facecolor": (0, 0.45, 0.7, 0.10)}


def _ring(sheet: Sheet, field: _Field, plan: PlacedPlan) -> None:
    centre = (field.x(plan.effort), field.y(plan.impact))
    wide, high = 2 * plan.effort_error * field.per_effort, 2 * plan.impact_error * field.per_impact
    ring = Ellipse(centre, max(wide, 2 * _DOT), max(high, 2 * _DOT), linewidth=1.6, **_look(plan.unsure))
    sheet.add(ring)
    box = field.box
    ring.set_clip_path(Rectangle((box.left, box.top), box.right - box.left, box.bottom - box.top, transform=sheet.page))
    _dot(sheet, centre, plan.unsure)


def _dot(sheet: Sheet, centre: tuple[float, float], unsure: bool) -> None:
    colour = VERMILLION if unsure else BLUE
    sheet.add(
        Ellipse(centre, 2 * _DOT, 2 * _DOT, facecolor=GROUND if unsure else colour, edgecolor=colour, linewidth=2)
    )


def _labels(sheet: Sheet, field: _Field, corners: list[Box]) -> None:
    plans = field.chart.points
    texts = [words.point_label(_name(sheet, plan.label) + _marked(plan), plan.unsure) for plan in plans]
    anchors = [(field.x(plan.effort), field.y(plan.impact)) for plan in plans]
    dots = [Box(x - _DOT - 2, y - _DOT - 2, x + _DOT + 2, y + _DOT + 2) for x, y in anchors]
    sizes = [(width(text, SMALL, bold=True) + 6, SMALL * 1.25) for text in texts]
    boxes = place(anchors, sizes, [*dots, *corners], field.box)
    for anchor, box in zip(anchors, boxes, strict=True):
        _leader(sheet, anchor, box)
    for text, box in zip(texts, boxes, strict=True):
        wide, high = box.right - box.left, box.bottom - box.top
        sheet.bar(box.left, box.top, wide, high, facecolor=GROUND, edgecolor="none", alpha=0.7, zorder=3)
        sheet.text(box.left + 3, box.bottom - 4, text, SMALL, weight="bold", zorder=4)


def _marked(plan: PlacedPlan) -> str:
    return f" {words.CHIEF_SIGN}" if plan.chief else ""


def _name(sheet: Sheet, label: str) -> str:
    return next(iter(sheet.fit(label, 110, 1, SMALL, bold=True)), "")


def _leader(sheet: Sheet, anchor: tuple[float, float], box: Box) -> None:
    """A thin line to a label that had to stand further off."""
    x = min(max(anchor[0], box.left), box.right)
    y = min(max(anchor[1], box.top), box.bottom)
    away = math.hypot(x - anchor[0], y - anchor[1])
    if away > 3 * _DOT:
        edge = (_DOT + 1) / away
        start = (anchor[0] + (x - anchor[0]) * edge, anchor[1] + (y - anchor[1]) * edge)
        sheet.rule([start[0], x], [start[1], y], MUTED, linewidth=0.9)


def _key(sheet: Sheet, chart: PlacementMatrix, top: float) -> float:
    """Every plan with its title and corner, beside the field."""
    room, y = WIDTH - MARGIN - _KEY_LEFT, top
    for plan in chart.points[:MAX_IN_KEY]:
        title = sheet.fit(f"{plan.label}: {plan.title}", room, 3, SMALL)
        y = sheet.lines(_KEY_LEFT, y, title, SMALL)
        y = sheet.lines(_KEY_LEFT, y, sheet.fit(plan.verdict() + plan.voted(), room, 2, SMALL), SMALL, color=MUTED) + 13
    left = len(chart.points) - MAX_IN_KEY
    more = sheet.fit(words.and_more(left), room, 2, SMALL) if left > 0 else ()
    return sheet.lines(_KEY_LEFT, y, more, SMALL)


def _signs(sheet: Sheet) -> None:
    """What the two kinds of ring mean."""
    y = sheet.bottom + 10
    for left, unsure, text in ((MARGIN + 14, False, words.SURE_KEY), (MARGIN + 300, True, words.UNSURE_KEY)):
        sheet.add(Ellipse((left, y), 30, 20, linewidth=1.6, **_look(unsure)))
        _dot(sheet, (left, y), unsure)
        sheet.text(left + 26, y + 5, text, SMALL)
    sheet.bottom = y + SMALL * LEADING
