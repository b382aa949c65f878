"""A table as text in columns of one width each, for where no table may stand. Pure."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Sequence
from itertools import zip_longest

from coldframe.message.nodes import Grid, plain
from coldframe.render.slack.mrkdwn import one_line
from coldframe.speech import surface

WIDEST = 40  # columns of text; what is longer goes on below
GAP = "  "


def columns(block: Grid) -> list[str]:
    """The header, then each row; a row of long cells takes several lines."""
    table = [
        [one_line(cell) for cell in block.header],
        *([one_line(plain(cell)) for cell in row] for row in block.rows),
    ]
    wrapped = [[textwrap.wrap(cell, WIDEST) or [surface.EMPTY_CELL] for cell in row] for row in table]
    widths = [max(width(line) for row in wrapped for line in row[n]) for n in range(len(block.header))]
    return [_row(row, widths) for row in wrapped]


def _row(cells: Sequence[Sequence[str]], widths: Sequence[int]) -> str:
    lines = (
        GAP.join(text + " " * (most - width(text)) for text, most in zip(line, widths, strict=True)).rstrip()
        for line in zip_longest(*cells, fillvalue="")
    )
    return "\n".join(lines)


def width(text: str) -> int:
    """In columns: wide signs take two, joined ones none."""
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)
