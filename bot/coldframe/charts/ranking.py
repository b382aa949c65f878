"""Options in order of their votes: bars with the group's and the decision-maker's part, and the figures in columns."""

from __future__ import annotations

from dataclasses import dataclass

from coldframe.charts.figures import Bar, RankingFigure, ranking_figure
from coldframe.charts.lettering import width
from coldframe.charts.palette import BLUE, BODY, GROUND, INK, LEADING, MARGIN, MUTED, RULE, SMALL, VERMILLION, WIDTH
from coldframe.charts.sheet import Sheet
from coldframe.message import picture_words as words
from coldframe.message.pictures import VoteRanking

MAX_ROWS = 18
"""Options drawn; what comes after them stands in the table."""

_LABEL_LEFT = MARGIN + 76  # pixels
_BAR_HEIGHT = 26  # pixels
_GROUP_LOOK = {"facecolor": BLUE, "edgecolor": BLUE, "linewidth": 1.6}
_DECISION_MAKER_LOOK = {"facecolor": GROUND, "edgecolor": VERMILLION, "hatch": "////", "linewidth": 1.6}


@dataclass(frozen=True, slots=True)
class _Columns:
    """Below an option's words: its bar from the left, and figures that end at the given edges; all in pixels."""

    bar_room: float = 0
    figures: tuple[tuple[str, float], ...] = ()


def _columns(figure: RankingFigure) -> _Columns:
    if not figure.columns:
        return _Columns()
    edge = WIDTH - MARGIN
    if figure.apart:
        return _Columns(150, tuple(zip(figure.columns, (edge - 350, edge - 140, edge), strict=True)))
    return _Columns(440, ((figure.columns[0], edge),))


def draw_ranking(sheet: Sheet, chart: VoteRanking) -> None:
    sheet.title(chart.heading())
    if not chart.rows:
        sheet.note(words.NOTHING_VOTED, BODY)
        return
    figure = ranking_figure(chart)
    columns = _columns(figure)
    if not figure.columns:
        sheet.note(words.PLACES_ONLY)
    elif figure.apart:
        _key(sheet)
    _header(sheet, columns)
    _rows(sheet, figure, columns)
    sheet.bottom += 10
    sheet.note(figure.note, BODY)


def _key(sheet: Sheet) -> None:
    y = sheet.bottom + 4
    for look, text in ((_GROUP_LOOK, words.GROUP_KEY), (_DECISION_MAKER_LOOK, words.DECISION_MAKER_KEY)):
        sheet.bar(MARGIN, y, 34, 20, **look)
        sheet.text(MARGIN + 46, y + 19, text, SMALL)
        y += SMALL * LEADING + 4
    sheet.bottom = y


def _header(sheet: Sheet, columns: _Columns) -> None:
    y = sheet.bottom + 28
    sheet.text(MARGIN, y, words.PLACE, SMALL, color=MUTED)
    sheet.text(_LABEL_LEFT, y, words.OPTION, SMALL, color=MUTED)
    for name, edge in columns.figures:
        for line in sheet.fit(name, 200, 1, SMALL):
            sheet.text(edge, y, line, SMALL, color=MUTED, ha="right")
    sheet.bottom = y + 10
    sheet.rule([MARGIN, WIDTH - MARGIN], [sheet.bottom] * 2, RULE, linewidth=0.8)
    sheet.bottom += 4


def _rows(sheet: Sheet, figure: RankingFigure, columns: _Columns) -> None:
    for bar in figure.bars[:MAX_ROWS]:
        _row(sheet, bar, columns)
        if bar.cut:
            _cut(sheet, bar.cut)
    if len(figure.bars) > MAX_ROWS:
        sheet.bottom += 10
        sheet.note(words.and_more(len(figure.bars) - MAX_ROWS), BODY)


def _row(sheet: Sheet, bar: Bar, columns: _Columns) -> None:
    top = sheet.bottom + 9
    place = sheet.lines(MARGIN, top, [str(bar.place)], weight="bold")
    place = sheet.lines(MARGIN, place, [words.TIED] if bar.tied else [], SMALL, color=MUTED)
    bottom = sheet.lines(_LABEL_LEFT, top, sheet.fit(bar.label, WIDTH - MARGIN - _LABEL_LEFT, 3))
    bottom = sheet.lines(_LABEL_LEFT, bottom, [bar.outcome] if bar.outcome else [], SMALL, color=MUTED)
    if bar.figures:
        _parts(sheet, bar, columns.bar_room, bottom + 6)
        _figures(sheet, bar, columns, bottom + 6)
        bottom += _BAR_HEIGHT + 12
    sheet.bottom = max(bottom, place) + 6


def _parts(sheet: Sheet, bar: Bar, room: float, top: float) -> None:
    left = _LABEL_LEFT
    if bar.group:
        sheet.bar(left, top, bar.group * room, _BAR_HEIGHT, **_GROUP_LOOK)
    if bar.rest:
        sheet.bar(left + bar.group * room, top, bar.rest * room, _BAR_HEIGHT, **_DECISION_MAKER_LOOK)
    sheet.rule([left, left], [top - 3, top + _BAR_HEIGHT + 3], INK, linewidth=1.6)


def _figures(sheet: Sheet, bar: Bar, columns: _Columns, top: float) -> None:
    total = len(bar.figures) - 1
    for number, (text, (_, edge)) in enumerate(zip(bar.figures, columns.figures, strict=True)):
        sheet.text(edge, top + 21, text, ha="right", weight="bold" if number == total else "normal")


def _cut(sheet: Sheet, text: str) -> None:
    y = sheet.bottom + 16
    end = WIDTH - MARGIN - width(text, SMALL, bold=True) - 16
    sheet.rule([MARGIN, end], [y, y], INK, linewidth=1.8, linestyle=(0, (5, 3)))
    sheet.text(WIDTH - MARGIN, y + 8, text, SMALL, ha="right", weight="bold")
    sheet.bottom = y + 16
