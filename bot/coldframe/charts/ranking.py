"""Options in order of their votes: bars with the group's and the decision-maker's part, and the figures in columns."""

from __future__ import annotations

from dataclasses import dataclass

from coldframe.charts.lettering import width
from coldframe.charts.palette import BLUE, BODY, GROUND, INK, LEADING, MARGIN, MUTED, RULE, SMALL, VERMILLION, WIDTH
from coldframe.charts.sheet import Sheet
from coldframe.message import picture_words as words
from coldframe.message.pictures import RankRow, VoteRanking
from coldframe.message.plain import figure

MAX_ROWS = 40
"""Options drawn; what comes after them stands in the table."""

_LABEL_LEFT = MARGIN + 84  # pixels
_BAR_HEIGHT = 22  # pixels
_GROUP_LOOK = {"facecolor": BLUE, "edgecolor": BLUE, "linewidth": 1.6}
_DECISION_MAKER_LOOK = {"facecolor": GROUND, "edgecolor": VERMILLION, "hatch": "////", "linewidth": 1.6}


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where things stand from left to right, in pixels; figures end at the given edges."""

    label_room: float
    bar_left: float
    bar_room: float
    figures: tuple[tuple[str, float], ...]


def _columns(chart: VoteRanking) -> _Columns:
    if chart.ranks_only:
        return _Columns(WIDTH - MARGIN - _LABEL_LEFT, 0, 0, ())
    edge = WIDTH - MARGIN
    if chart.shown_apart:
        edges = ((words.GROUP, edge - 234), (words.DECISION_MAKER, edge - 94), (words.WEIGHTED, edge))
        return _Columns(372, 524, 312, edges)
    return _Columns(420, 572, 470, ((words.unit_heading(chart), edge),))


def draw_ranking(sheet: Sheet, chart: VoteRanking) -> None:
    sheet.title(chart.heading())
    if not chart.rows:
        sheet.note(words.NOTHING_VOTED, BODY)
        return
    columns = _columns(chart)
    if chart.ranks_only:
        sheet.note(words.PLACES_ONLY)
    elif chart.shown_apart:
        _key(sheet)
    _header(sheet, columns)
    _rows(sheet, chart, columns)
    sheet.bottom += 10
    sheet.note(chart.note, BODY)


def _key(sheet: Sheet) -> None:
    y = sheet.bottom + 4
    entries = ((MARGIN, _GROUP_LOOK, words.GROUP_KEY), (MARGIN + 200, _DECISION_MAKER_LOOK, words.DECISION_MAKER_KEY))
    for left, look, text in entries:
        sheet.bar(left, y, 34, 16, **look)
        sheet.text(left + 44, y + 13, text, SMALL)
    sheet.bottom = y + 30


def _header(sheet: Sheet, columns: _Columns) -> None:
    y = sheet.bottom + 20
    sheet.text(MARGIN, y, words.PLACE, SMALL, color=MUTED)
    sheet.text(_LABEL_LEFT, y, words.OPTION, SMALL, color=MUTED)
    for name, edge in columns.figures:
        for line in sheet.fit(name, 130, 1, SMALL):
            sheet.text(edge, y, line, SMALL, color=MUTED, ha="right")
    sheet.bottom = y + 10
    sheet.rule([MARGIN, WIDTH - MARGIN], [sheet.bottom] * 2, RULE, linewidth=0.8)
    sheet.bottom += 4


def _rows(sheet: Sheet, chart: VoteRanking, columns: _Columns) -> None:
    most = max([row.weighted or 0 for row in chart.rows] + [0])
    scale = columns.bar_room / most if most > 0 else 0
    for number, row in enumerate(chart.rows[:MAX_ROWS], start=1):
        _row(sheet, chart, row, columns, scale)
        if number == chart.cut_after and number < len(chart.rows):
            _cut(sheet, number)
    if len(chart.rows) > MAX_ROWS:
        sheet.bottom += 10
        sheet.note(words.and_more(len(chart.rows) - MAX_ROWS), BODY)


def _row(sheet: Sheet, chart: VoteRanking, row: RankRow, columns: _Columns, scale: float) -> None:
    label = sheet.fit(row.label, columns.label_room, 3)
    outcome = words.outcome(chart, row)
    line = BODY * LEADING
    height = 18 + max(line * (len(label) + bool(outcome)), line * (1 + row.tied), _BAR_HEIGHT)
    top = sheet.bottom + 9
    bottom = sheet.lines(_LABEL_LEFT, top, label)
    sheet.lines(_LABEL_LEFT, bottom, [outcome] if outcome else [], SMALL, color=MUTED)
    place = sheet.lines(MARGIN, top, [str(row.place)], weight="bold")
    sheet.lines(MARGIN, place, [words.TIED] if row.tied else [], SMALL, color=MUTED)
    if not chart.ranks_only:
        _bars(sheet, row, columns.bar_left, top, scale)
        _figures(sheet, chart, row, columns, top)
    sheet.bottom += height


def _bars(sheet: Sheet, row: RankRow, left: float, top: float, scale: float) -> None:
    group = max(0.0, min(row.group or 0, row.weighted or 0))
    rest = max(0.0, (row.weighted or 0) - group)
    if row.decision_maker is None:
        group, rest = group + rest, 0.0
    if group:
        sheet.bar(left, top, group * scale, _BAR_HEIGHT, **_GROUP_LOOK)
    if rest:
        sheet.bar(left + group * scale, top, rest * scale, _BAR_HEIGHT, **_DECISION_MAKER_LOOK)
    sheet.rule([left, left], [top - 3, top + _BAR_HEIGHT + 3], INK, linewidth=1.2)


def _figures(sheet: Sheet, chart: VoteRanking, row: RankRow, columns: _Columns, top: float) -> None:
    votes = (row.group, row.decision_maker, row.weighted) if chart.shown_apart else (row.weighted,)
    texts = [figure(value or 0) for value in votes]
    total = len(votes) - 1
    for number, (text, (_, edge)) in enumerate(zip(texts, columns.figures, strict=True)):
        sheet.text(edge, top + 17, text, ha="right", weight="bold" if number == total else "normal")


def _cut(sheet: Sheet, after: int) -> None:
    y = sheet.bottom + 13
    text = words.cut(after)
    end = WIDTH - MARGIN - width(text, SMALL, bold=True) - 16
    sheet.rule([MARGIN, end], [y, y], INK, linewidth=1.8, linestyle=(0, (5, 3)))
    sheet.text(WIDTH - MARGIN, y + 5, text, SMALL, ha="right", weight="bold")
    sheet.bottom = y + 13
