"""A page that stands alone, for a browser, a phone and paper: its pictures are in it, it holds no script and asks for
nothing from anywhere, which its own policy forbids as well. Every text is escaped here and nowhere else."""

from __future__ import annotations

import html
from base64 import b64encode
from collections.abc import Iterable, Mapping
from datetime import UTC
from functools import cache
from hashlib import sha256
from importlib import resources
from typing import assert_never

from coldframe.message.nodes import (
    Block,
    Buttons,
    Chapter,
    Code,
    Drawing,
    Facts,
    Grid,
    Heading,
    Inline,
    Items,
    Line,
    Link,
    Page,
    Paragraph,
    Quoted,
    Rule,
    Small,
    Theirs,
    To,
    When,
    Who,
    Words,
    moment,
    plain,
)
from coldframe.message.pictures import Chart
from coldframe.render.room import is_web_address, tame
from coldframe.speech.register import report_words

Pictures = Mapping[Chart, bytes]
"""Drawn as PNG; of what is missing the words stand there."""


def page_html(page: Page, pictures: Pictures) -> str:
    title, style = _text(plain(page.title)), _style()
    parts = [
        f'<!doctype html>\n<html lang="{report_words.LANGUAGE}">\n<head>\n<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f'<meta http-equiv="Content-Security-Policy" content="{_policy(style)}">',
        '<meta name="referrer" content="no-referrer">\n<meta name="robots" content="noindex">',
        f"<title>{title}</title>\n<style>{style}</style>\n</head>\n<body>",
        f"<header>\n<h1>{_line(page.title, page.zone)}</h1>",
        f"<p>{_line(report_words.made(page.made, page.zone), page.zone)}</p>",
        f'<div class="lead">{_blocks(page.lead, page.zone)}</div>' if page.lead else "",
        "</header>",
        _contents(page),
        "<main>",
        *(_chapter(number, each, page.zone, pictures) for number, each in enumerate(page.chapters, 1)),
        f"</main>\n<footer><p>{_line(report_words.footer(), page.zone)}</p></footer>\n</body>\n</html>\n",
    ]
    return "\n".join(part for part in parts if part)


@cache
def _style() -> str:
    return resources.files("coldframe.render").joinpath("page.css").read_text(encoding="utf-8")


def _policy(style: str) -> str:
    """Nothing but this very style, and pictures that are in the page."""
    mark = b64encode(sha256(style.encode()).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{mark}'; img-src data:; base-uri 'none'; form-action 'none'"


def _contents(page: Page) -> str:
    if len(page.chapters) < 2:
        return ""
    named = (
        f'<li><a href="#part{n}">{_text(plain(c.title, page.zone))}</a></li>' for n, c in enumerate(page.chapters, 1)
    )
    return f'<nav aria-label="{_text(report_words.CONTENTS)}">\n<ol>\n' + "\n".join(named) + "\n</ol>\n</nav>"


def _chapter(number: int, chapter: Chapter, zone: str, pictures: Pictures) -> str:
    head = f"<h2>{_line(chapter.title, zone)}</h2>"
    parts = [_part(part, zone, pictures) for part in chapter.parts]
    if chapter.parts and isinstance(chapter.parts[0], Paragraph | Small):
        head = f'<div class="begins">{head}\n{parts.pop(0)}</div>'  # on paper it stands at no page's end alone
    return "\n".join((f'<section id="part{number}">', head, *parts, "</section>"))


def _part(part: Block | Drawing, zone: str, pictures: Pictures) -> str:
    return _figure(part, pictures.get(part.chart)) if isinstance(part, Drawing) else _block(part, zone)


def _figure(drawing: Drawing, picture: bytes | None) -> str:
    words = _text(drawing.chart.alternative())
    if picture is None:
        return f"<figure><figcaption>{words}</figcaption></figure>"
    source = f"data:image/png;base64,{b64encode(picture).decode()}"
    in_words = f"<details><summary>{_text(report_words.IN_WORDS)}</summary><p>{words}</p></details>"
    return f'<figure><img src="{source}" alt="{words}"><figcaption>{in_words}</figcaption></figure>'


# --- blocks ---------------------------------------------------------------------------------------------------------


def _blocks(blocks: Iterable[Block], zone: str) -> str:
    return "\n".join(text for block in blocks if (text := _block(block, zone)))


def _block(block: Block, zone: str) -> str:
    match block:
        case Heading():
            return f"<h3>{_line(block.line, zone)}</h3>"
        case Paragraph():
            return f"<p>{_line(block.line, zone)}</p>"
        case Small():
            return f'<p class="small">{_line(block.line, zone)}</p>'
        case Facts():
            rows = (f"<dt>{_text(label)}</dt><dd>{_line(value, zone)}</dd>" for label, value in block.rows)
            return "<dl>\n" + "\n".join(rows) + "\n</dl>"
        case Items():
            kind = "ol" if block.ordered else "ul"
            return f"<{kind}>\n" + "\n".join(f"<li>{_line(one, zone)}</li>" for one in block.lines) + f"\n</{kind}>"
        case Grid():
            return _grid(block, zone)
        case Quoted():
            return f"<blockquote><bdi>{_text(block.text)}</bdi></blockquote>"
        case Buttons():
            return ""  # nothing can be pressed on paper
        case Rule():
            return "<hr>"
        case _:
            assert_never(block)


def _grid(grid: Grid, zone: str) -> str:
    head = "".join(f'<th scope="col">{_text(name)}</th>' for name in grid.header)
    rows = ("<tr>" + "".join(f"<td>{_line(cell, zone)}</td>" for cell in row) + "</tr>" for row in grid.rows)
    table = f"<caption>{_text(grid.caption)}</caption>\n<thead><tr>{head}</tr></thead>\n<tbody>"
    return f'<div class="wide"><table>{table}\n' + "\n".join(rows) + "\n</tbody></table></div>"


# --- what stands in a line ------------------------------------------------------------------------------------------


def _line(parts: Line, zone: str) -> str:
    return "".join(_inline(part, zone) for part in parts)


def _inline(part: Inline, zone: str) -> str:
    match part:
        case Words():
            return f"<strong>{_text(part.text)}</strong>" if part.strong else _text(part.text)
        case Theirs():
            return f"<bdi>{_text(part.text)}</bdi>"
        case When():
            shown = moment(part, zone).removesuffix(f" ({zone})")  # the page names its zone once
            return f'<time datetime="{part.at.astimezone(UTC).isoformat()}">{_text(shown)}</time>'
        case Who():
            return f"<bdi>{_text(part.name)}</bdi>"
        case Code():
            return f"<code>{_text(part.text)}</code>"
        case Link():
            if not is_web_address(part.url):
                return f"<bdi>{_text(f'{part.label} ({part.url})')}</bdi>"
            return f'<a href="{_text(part.url)}" rel="noopener noreferrer">{_text(part.label)}</a>'
        case To():
            return _text(part.label)
        case _:
            assert_never(part)


def _text(text: str) -> str:
    return html.escape(tame(text))
