"""Whether a plan's traffic can show its target: told to its author at once, and to everybody before they choose."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Items, Line, Message, line
from coldframe.message.saying import paragraph, small, told
from coldframe.speech.names import in_words

SINGLE_PLAN = "A single plan has nothing to be compared with."
ONE_VIEW = "One person's view."
FROM_ALL = "From everybody's comparisons."
"""Below the matrix: where the places come from."""


@dataclass(frozen=True, slots=True)
class Size:
    """What a plan needs and what three to six weeks can show: (weeks, the smallest target seen, in its unit)."""

    fits: bool  # six weeks suffice
    planned_fits: bool  # the planned weeks do
    summary: str
    rows: tuple[tuple[int, str], ...]
    advice: str = ""


def for_author(title: str, weeks: int, size: Size) -> Message:
    """Private, before anybody else reads the plan."""
    words = line("“{t}” is in, and you can change it. ", t=theirs(title, 80)) + _shows(weeks, size)
    blocks: list[Block] = [paragraph(words)]
    if not size.planned_fits:
        blocks.append(paragraph("The smallest target you would most likely see, by length:"))
        blocks.append(Items(tuple(line("{w} weeks: {t}", w=w, t=theirs(target, 60)) for w, target in size.rows)))
    if size.advice:
        blocks.append(paragraph(written(size.advice, 300)))
    return Message(words, tuple(blocks), private=True)


def _shows(weeks: int, size: Size) -> Line:
    return line("{s} {v}", s=size.summary, v=_verdict(weeks, size))


def _verdict(weeks: int, size: Size) -> str:
    if size.planned_fits:
        return f"The planned {in_words(weeks)} would most likely show it."
    if size.fits:
        return f"The planned {in_words(weeks)} are too few for that; a longer trial can show it."
    return "With this traffic that is too small to see: the review would most likely end with “cannot tell”."


def for_everybody(sizes: Sequence[tuple[str, int, Size]]) -> Message:
    """All revealed plans whose numbers are known, (title, weeks, size) each."""
    head = line("*What the traffic can show*, plan by plan.")
    rows = tuple(line("*{t}*: ", t=theirs(title, 80)) + _shows(weeks, size) for title, weeks, size in sizes)
    note = "A plan that isn't here has no baseline, target or people a week yet, or is compared in another way."
    return told(head, Items(rows), small(note))
