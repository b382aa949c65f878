"""A report as HTML: it stands alone, whatever people wrote, and is read on a screen, a phone and paper."""

from __future__ import annotations

from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from coldframe.message.nodes import (
    Block,
    Chapter,
    Drawing,
    Facts,
    Grid,
    Heading,
    Items,
    Link,
    Page,
    Paragraph,
    Quoted,
    Theirs,
    When,
    Who,
    line,
)
from coldframe.message.pictures import ForceField
from coldframe.render.page import page_html
from tests.browsers import chromium

NOW = datetime(2026, 6, 10, 9, tzinfo=UTC)
HOSTILE = (
    "<script>document.title='broken'</script><img src=x onerror=\"document.title='broken'\">\"' onload=alert(1) "
    "<style>*{display:none}</style> javascript:alert(1) </title></bdi></section> &amp; \u202e ]]> -->"
)
FORCES = ForceField(HOSTILE, (HOSTILE,), (HOSTILE,))
PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c4890000000a49444154789c6300010000050001"
    "0d0a2db40000000049454e44ae426082"
)


def a_page(text: str = HOSTILE) -> Page:
    """The text in every place where a text can stand."""
    said = line("{a} {b} {c}", a=Theirs(text), b=Who("p", text), c=Link(text, text))
    blocks: tuple[Block, ...] = (
        Heading(said), Paragraph(said), Facts(((text, said),)), Items((said,)), Quoted(text),
        Grid(text, (text, text), ((said, said),)),
    )  # fmt: skip
    return Page(text, said, blocks, (Chapter(said, (*blocks, Drawing(FORCES, text))), Chapter(said, ())), NOW)


class Reader(HTMLParser):
    """The tags that a browser would make, with their attributes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


@pytest.mark.parametrize("pictures", [{}, {FORCES: PNG}], ids=["in words", "drawn"])
def test_no_text_becomes_a_tag_and_nothing_is_asked_for(pictures: dict[Any, bytes]) -> None:
    """No script, no handler, one style, pictures from the page alone, and no address of anybody's."""
    tags = Reader(page_html(a_page(), pictures)).tags
    named = [tag for tag, _ in tags]
    assert "script" not in named and "iframe" not in named and "link" not in named and named.count("style") == 1
    attributes = [(name, value or "") for _, found in tags for name, value in found.items()]
    assert not [name for name, _ in attributes if name.startswith("on") or name == "style"]
    assert all(value.startswith("data:image/png;base64,") for name, value in attributes if name == "src")
    assert all(value.startswith("#part") for name, value in attributes if name == "href")


def test_a_web_address_stays_one_and_is_not_followed() -> None:
    said = line("{l}", l=Link("https://example.org/a?b=1&c", "the report"))
    page = page_html(Page("r", said, (), (Chapter(said, (Paragraph(said),)),), NOW), {})
    assert 'href="https://example.org/a?b=1&amp;c" rel="noopener noreferrer"' in page


def test_moments_are_in_the_page_s_zone_which_is_named_once() -> None:
    said = line("{w}", w=When(NOW))
    page = page_html(Page("r", line("x"), (Paragraph(said),), (), NOW, "Asia/Kolkata"), {})
    assert "Wed 10 Jun 2026, 14:30<" in page
    assert page.count("Asia/Kolkata") == 1


def test_a_heading_goes_with_its_first_sentence() -> None:
    """On paper it stands at no page's end alone; a list may be too long for that."""
    said, listed = Paragraph(line("So it came.")), Items((line("one"),))
    page = page_html(Page("r", line("x"), (), (Chapter(line("A"), (said,)), Chapter(line("B"), (listed,))), NOW), {})
    assert '<div class="begins"><h2>A</h2>\n<p>So it came.</p></div>' in page
    assert '<section id="part2">\n<h2>B</h2>' in page


LATER = [pytest.param(*look, marks=pytest.mark.slow) for look in ((1280, "light"), (390, "light"), (1280, "dark"))]
LOOKS = [(320, "dark"), *LATER]


@pytest.mark.browser
@pytest.mark.parametrize(("width", "scheme"), LOOKS)
async def test_in_a_browser_it_asks_for_nothing_and_fits(width: int, scheme: str, tmp_path: Path) -> None:
    """No request, no error, no policy broken, nothing wider than the screen; it prints."""
    playwright = pytest.importorskip("playwright.async_api", reason="playwright is not installed")
    file = tmp_path / "report.html"
    file.write_text(page_html(a_page(), {FORCES: PNG}), encoding="utf-8")
    async with playwright.async_playwright() as engine:
        browser = await engine.chromium.launch(executable_path=chromium())
        page = await browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
        troubles: list[str] = []
        page.on(
            "request", lambda asked: None if asked.url.startswith(("file:", "data:")) else troubles.append(asked.url)
        )
        page.on("console", lambda told: troubles.append(told.text))
        page.on("pageerror", lambda error: troubles.append(str(error)))
        await page.goto(file.as_uri())
        assert await page.title() != "broken"
        assert await page.evaluate("document.documentElement.scrollWidth") <= width
        ground = await page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
        assert (sum(map(int, ground[4:-1].split(","))) < 200) == (scheme == "dark")
        if width == 1280:
            assert (await page.pdf(prefer_css_page_size=True)).startswith(b"%PDF")
        await browser.close()
        assert troubles == []
