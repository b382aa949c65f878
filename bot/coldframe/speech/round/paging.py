"""Sheets that do not fit into one message: what stands on which page, and how one goes on to the next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from coldframe.domain.state import Round
from coldframe.message.nodes import Block, Button, Line, plain
from coldframe.message.saying import offer, small
from coldframe.speech.names import about

MOST, ROOM, EACH = 16, 7_600, 400
"""Of one page: items; UTF-16 units for all of them, and what each takes beside its words for every button of its own
(what is on a message costs about twice as much as it shows). The narrowest platform takes a message of 50 blocks and
some 12,000 units."""
AT_A_TIME = 6  # items of a page, where there are several pages
Page = Sequence[str]
Pages = Sequence[Page]


def pages(items: Iterable[tuple[str, Line]], buttons: int = 1) -> Pages:
    """Items, each with its words, in their order, as many on a page as fit into one message and, where they need
    several, as are read at a time; at least one page."""
    found: list[list[str]] = [[]]
    every, room = tuple(items), ROOM
    most = MOST if len(every) <= MOST else AT_A_TIME
    for item, words in every:
        takes = EACH * buttons + len(plain(words).encode("utf-16-le")) // 2
        if found[-1] and (takes > room or len(found[-1]) == most):
            found.append([])
            room = ROOM
        found[-1].append(item)
        room -= takes
    return found


def page_of(every: Pages, item: str) -> int:
    """On which page an item stands; the last, where it does not."""
    return next((n for n, page in enumerate(every) if item in page), len(every) - 1)


def within(every: Pages, page: int) -> int:
    """A page that there is."""
    return min(max(page, 0), len(every) - 1)


def shown(every: Pages, page: int | str | None) -> tuple[Pages, int]:
    """The pages, and the one to be shown: of this number, or with this item; with None all of it is on one, for where
    nothing has to be cut."""
    if page is None:
        return ([[item for each in every for item in each]], 0)
    return every, page_of(every, page) if isinstance(page, str) else within(every, page)


def turning(round_: Round, action: str, page: int, every: Pages) -> list[Block]:
    """Which page it is, and the way to those before and behind it; nothing where there is one."""
    if len(every) < 2:
        return []
    buttons = []
    if page:
        buttons.append(Button("Back", action, about(round_, str(page - 1)), says=f"Go back to page {page}"))
    if page + 1 < len(every):
        says = f"Show page {page + 2} of {len(every)}"
        buttons.append(Button("Next page", action, about(round_, str(page + 1)), says=says))
    return [small("Page {n} of {all}", n=page + 1, all=len(every)), offer(*buttons)]
