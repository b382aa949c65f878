"""The effort-impact matrix: where each plan stands, how sure that is, and which corner it belongs to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from matplotlib.patches import Ellipse, Rectangle

from coldframe.charts.figures import MatrixFigure, Spot, matrix_figure
from coldframe.charts.lettering import width
from coldframe.charts.palette import BLUE, BODY, GROUND, HEADING, LEADING, MARGIN, MUTED, RULE, SMALL, VERMILLION, WIDTH
from coldframe.charts.placing import Box, place
from coldframe.charts.sheet import Sheet
from coldframe.message import picture_words as words
from coldframe.message.pictures import PlacementMatrix

MAX_IN_KEY = 12  # rows
"""Plans named below the field; what comes after them stands in the table."""

_FIELD_LEFT = MARGIN + 34  # pixels, as all lengths here
_FIELD_WIDTH = WIDTH - MARGIN - _FIELD_LEFT
_HEIGHT = 600
_DOT = 8.0


def draw_matrix(sheet: Sheet, chart: PlacementMatrix) -> None:
    figure = matrix_figure(chart)
    sheet.title(chart.heading())
    if not figure.spots:
        sheet.note(figure.notes[0], BODY)
        return
    top = sheet.bottom + 6
    box = Box(_FIELD_LEFT, top, _FIELD_LEFT + _FIELD_WIDTH, top + _HEIGHT)
    corners = _ground(sheet, box)
    for spot in figure.spots:
        _ring(sheet, box, spot)
    _labels(sheet, box, figure.spots, corners)
    sheet.bottom = box.bottom + 40
    if figure.rings:
        _signs(sheet)
    for note in figure.notes:
        sheet.note(note)
    _key(sheet, figure)


def _at(box: Box, spot: Spot) -> tuple[float, float]:
    return box.left + spot.x * (box.right - box.left), box.bottom - spot.y * (box.bottom - box.top)


def _ground(sheet: Sheet, box: Box) -> list[Box]:
    """The four corners with their names; returns where the names stand, so that labels keep clear of them."""
    middle_x, middle_y = (box.left + box.right) / 2, (box.top + box.bottom) / 2
    frame = [(box.left, box.top), (box.right, box.top), (box.right, box.bottom), (box.left, box.bottom)]
    sheet.shape(frame, facecolor="none", edgecolor=RULE, linewidth=1.2)
    sheet.rule([middle_x, middle_x], [box.top, box.bottom])
    sheet.rule([box.left, box.right], [middle_y, middle_y])
    _scales(sheet, box)
    corners = (
        ("trial now", box.left + 12, box.top + 34, "left"),
        ("make it a project", box.right - 12, box.top + 34, "right"),
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
    below, beside = box.bottom + 28, box.left - 12
    for x, text, side in ((box.left, words.LITTLE, "left"), (box.right, words.MUCH, "right")):
        sheet.text(x, below, text, SMALL, color=MUTED, ha=side)
    sheet.text((box.left + box.right) / 2, below, f"{words.EFFORT} →", BODY, weight="bold", ha="center")
    upright = {"rotation": 90, "va": "center", "ha": "right"}
    sheet.text(beside, box.bottom - 32, words.LITTLE, SMALL, color=MUTED, **upright)
    sheet.text(beside, box.top + 32, words.MUCH, SMALL, color=MUTED, **upright)
    sheet.text(beside, (box.top + box.bottom) / 2, f"{words.IMPACT} →", BODY, weight="bold", **upright)


def _look(unsure: bool) -> dict[str, Any]:
    """Dashed and hollow for unsure, so that it shows without colour."""
    if unsure:
        return {"edgecolor": VERMILLION, "linestyle": (0, (4, 3)), "facecolor": "none"}
    return {"edgecolor": BLUE, "linestyle": "solid", "facecolor": (0, 0.45, 0.7, 0.10)}


def _ring(sheet: Sheet, box: Box, spot: Spot) -> None:
    centre = _at(box, spot)
    wide, high = 2 * spot.wide * (box.right - box.left), 2 * spot.high * (box.bottom - box.top)
    ring = Ellipse(centre, max(wide, 2 * _DOT), max(high, 2 * _DOT), linewidth=2, **_look(spot.unsure))
    sheet.add(ring)
    ring.set_clip_path(Rectangle((box.left, box.top), box.right - box.left, box.bottom - box.top, transform=sheet.page))
    _dot(sheet, centre, spot.unsure)


def _dot(sheet: Sheet, centre: tuple[float, float], unsure: bool) -> None:
    colour = VERMILLION if unsure else BLUE
    sheet.add(
        Ellipse(centre, 2 * _DOT, 2 * _DOT, facecolor=GROUND if unsure else colour, edgecolor=colour, linewidth=2)
    )


def _labels(sheet: Sheet, field: Box, spots: Sequence[Spot], corners: list[Box]) -> None:
    texts = [words.point_label(_name(sheet, spot.label), spot.unsure) for spot in spots]
    anchors = [_at(field, spot) for spot in spots]
    dots = [Box(x - _DOT - 2, y - _DOT - 2, x + _DOT + 2, y + _DOT + 2) for x, y in anchors]
    sizes = [(width(text, SMALL, bold=True) + 6, SMALL * 1.25) for text in texts]
    boxes = place(anchors, sizes, [*dots, *corners], field)
    for anchor, box in zip(anchors, boxes, strict=True):
        _leader(sheet, anchor, box)
    for text, box in zip(texts, boxes, strict=True):
        wide, high = box.right - box.left, box.bottom - box.top
        sheet.bar(box.left, box.top, wide, high, facecolor=GROUND, edgecolor="none", alpha=0.7, zorder=3)
        sheet.text(box.left + 3, box.bottom - 7, text, SMALL, weight="bold", zorder=4)


def _name(sheet: Sheet, label: str) -> str:
    """The chief's sign stays however long the label is."""
    sign = f" {words.CHIEF_SIGN}" if label.endswith(f" {words.CHIEF_SIGN}") else ""
    return next(iter(sheet.fit(label.removesuffix(sign), 150, 1, SMALL, bold=True)), "") + sign


def _leader(sheet: Sheet, anchor: tuple[float, float], box: Box) -> None:
    """A thin line to a label that had to stand further off."""
    x = min(max(anchor[0], box.left), box.right)
    y = min(max(anchor[1], box.top), box.bottom)
    away = math.hypot(x - anchor[0], y - anchor[1])
    if away > 3 * _DOT:
        edge = (_DOT + 1) / away
        start = (anchor[0] + (x - anchor[0]) * edge, anchor[1] + (y - anchor[1]) * edge)
        sheet.rule([start[0], x], [start[1], y], MUTED, linewidth=0.9)


def _key(sheet: Sheet, figure: MatrixFigure) -> None:
    """Every plan with its title and corner."""
    room, y = WIDTH - 2 * MARGIN, sheet.bottom + 10
    for spot in figure.spots[:MAX_IN_KEY]:
        title = sheet.fit(f"{spot.label.removesuffix(f' {words.CHIEF_SIGN}')}: {spot.title}", room, 3, SMALL)
        y = sheet.lines(MARGIN, y, title, SMALL)
        y = sheet.lines(MARGIN, y, sheet.fit(spot.says, room, 2, SMALL), SMALL, color=MUTED) + 12
    left = len(figure.spots) - MAX_IN_KEY
    more = sheet.fit(words.and_more(left), room, 2, SMALL) if left > 0 else ()
    sheet.bottom = sheet.lines(MARGIN, y, more, SMALL)


def _signs(sheet: Sheet) -> None:
    """What the two kinds of ring mean."""
    for unsure, text in ((False, words.SURE_KEY), (True, words.UNSURE_KEY)):
        y = sheet.bottom + 14
        sheet.add(Ellipse((MARGIN + 18, y), 36, 24, linewidth=2, **_look(unsure)))
        _dot(sheet, (MARGIN + 18, y), unsure)
        sheet.text(MARGIN + 50, y + 8, text, SMALL)
        sheet.bottom = y + SMALL * LEADING / 2
    sheet.bottom += 10
