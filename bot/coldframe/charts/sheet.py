"""The sheet a picture is drawn on: page coordinates in pixels from the top left, text as data, foot notes, bytes."""

from __future__ import annotations

import html
import io
import re
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any, Literal

import matplotlib
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Polygon
from matplotlib.transforms import Affine2D

from coldframe.charts import lettering
from coldframe.charts.palette import BODY, GROUND, INK, LEADING, MARGIN, MUTED, RULE, SMALL, TITLE, WIDTH
from coldframe.charts.png import png
from coldframe.message import picture_words as words

Form = Literal["png", "svg"]
DPI = 100  # dots an inch
_RULES: dict[Any, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": [lettering.HOUSE_FONT, "sans-serif"],
    "svg.fonttype": "none",
    "svg.hashsalt": "coldframe",
    "text.parse_math": False,
    "text.usetex": False,
    "text.hinting": "no_hinting",  # as `lettering` measures; and fitting letters to the grid was a sixth of a picture
    "hatch.linewidth": 1.6,
    "path.simplify": True,
}


@cache
def keep_house_rules() -> None:
    """From now on this process draws by our own settings alone, whatever configuration file the machine has: setting
    and undoing them takes a tenth of a picture."""
    matplotlib.rcdefaults()
    matplotlib.rcParams.update(_RULES)


@contextmanager
def quietly() -> Iterator[None]:
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        yield


def points(pixels: float) -> float:
    return pixels * 72 / DPI


class Sheet:
    """A page as wide as a phone shows well that grows downward; `bottom` is where the next thing goes."""

    def __init__(self, form: Form) -> None:
        self.form = form
        self.bottom: float = MARGIN
        self.clipped = False
        self.boxed = False
        self._figure = Figure(dpi=DPI, facecolor=GROUND)
        FigureCanvasAgg(self._figure)
        self._to_inches = Affine2D()  # of page coordinates; set when the height is known
        self.page = self._to_inches + self._figure.dpi_scale_trans

    def text(self, x: float, baseline: float, text: str, size: float = BODY, **look: Any) -> None:
        """One line of text, literally: no markup and no mathematics."""
        shown = self._shown(text)
        look = {"color": INK, "va": "baseline", "transform": self.page, "parse_math": False, **look}
        self._figure.text(x, baseline, shown, fontsize=points(size), family=lettering.families(shown), **look)

    def _shown(self, text: str) -> str:
        if self.form == "svg":
            return text
        shown = "\n".join(map(lettering.drawable, text.split("\n")))
        self.boxed |= lettering.BOX in shown and lettering.BOX not in text
        return shown

    def fit(self, text: str, room: float, lines: int, size: float = BODY, bold: bool = False) -> tuple[str, ...]:
        """Lines that fit, remembering whether anything was cut so that the foot can say so."""
        fitted = lettering.fit(text, size, room, lines, bold)
        self.clipped |= fitted.clipped
        return fitted.lines

    def lines(self, x: float, top: float, lines: Sequence[str], size: float = BODY, **look: Any) -> float:
        """Lines of text from `top` down; returns where they end."""
        for number, line in enumerate(lines):
            self.text(x, top + size * (0.95 + number * LEADING), line, size, **look)
        return top + len(lines) * size * LEADING

    def title(self, text: str) -> None:
        fitted = self.fit(text, WIDTH - 2 * MARGIN, 3, TITLE, bold=True)
        self.bottom = self.lines(MARGIN, self.bottom, fitted, TITLE, weight="bold") + 12

    def note(self, text: str, size: float = SMALL, room: float = WIDTH - 2 * MARGIN) -> None:
        """A paragraph in the quieter colour, over the whole width unless less room is given."""
        if text:
            fitted = self.fit(text, room, 8, size)
            self.bottom = self.lines(MARGIN, self.bottom, fitted, size, color=MUTED) + 4

    def rule(self, xs: Sequence[float], ys: Sequence[float], colour: str = RULE, **look: Any) -> None:
        line = Line2D(list(xs), list(ys), color=colour, transform=self.page, **{"linewidth": 1.2, **look})
        self._figure.add_artist(line)

    def shape(self, corners: Sequence[tuple[float, float]], **look: Any) -> None:
        self.add(Polygon(list(corners), closed=True, **look))

    def bar(self, left: float, top: float, width: float, height: float, **look: Any) -> None:
        right, bottom = left + width, top + height
        self.shape([(left, top), (right, top), (right, bottom), (left, bottom)], **look)

    def add(self, patch: Patch) -> None:
        patch.set_transform(self.page)
        self._figure.add_artist(patch)

    def foot(self) -> None:
        self.bottom += 8
        if self.clipped:
            self.note(words.SHORTENED)
        if self.boxed:
            self.note(words.NOT_DRAWN)

    def to_bytes(self, title: str, meaning: str) -> bytes:
        self.foot()
        self._set_height(round(self.bottom + MARGIN - 16))
        stream = io.BytesIO()
        if self.form == "png":
            self._figure.savefig(stream, format="raw")
            return png(stream.getvalue(), WIDTH)
        nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
        self._figure.savefig(stream, format="svg", metadata=nothing)
        return _speaking(stream.getvalue().decode(), title, meaning).encode()

    def _set_height(self, height: int) -> None:
        self._figure.set_size_inches(WIDTH / DPI, height / DPI)
        self._to_inches.scale(1, -1).translate(0, height).scale(1 / DPI)


def _speaking(svg: str, title: str, meaning: str) -> str:
    """The drawing with its title and meaning inside, so that it speaks wherever it is pasted."""
    said = f"<title>{html.escape(title)}</title>\n <desc>{html.escape(meaning)}</desc>\n"
    return re.sub(r"(<svg[^>]*)>\s*", lambda head: f'{head[1]} role="img">\n {said} ', svg, count=1)
