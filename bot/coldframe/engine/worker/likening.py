"""What belongs together by its meaning, outside of the merging of notes. Runs in the worker: takes and gives plain
values, and loads numpy only when called. Without the encoder words alone are compared."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.meaning import encoder

MOST_EARLIER = 2  # plans that are shown beside a new one


def read_ahead(notes: Sequence[str]) -> None:
    """So that what they mean is known when they are compared."""
    reader = encoder()
    if reader is not None:
        from coldframe.analysis.similarity import read_ahead as read  # numpy

        read(notes, reader)


def earlier_like(plan: str, earlier: Sequence[str]) -> list[int]:
    """The places of those that resemble the plan, the most alike first."""
    from coldframe.analysis.nearness import alike_plans  # numpy

    return alike_plans(plan, earlier, encoder(), MOST_EARLIER)


def side_by_side(questions: Sequence[str]) -> list[int]:
    """The places of all of them, those most alike beside each other."""
    from coldframe.analysis.nearness import side_by_side as ordered  # numpy

    return ordered(questions, encoder())


def likeliest_questions(texts: Sequence[str], questions: Sequence[str]) -> list[list[int]]:
    """Of each text the places of all questions, that on which it bears most likely first."""
    from coldframe.analysis.nearness import likeliest_questions as ordered  # numpy

    return [ordered(text, questions, encoder()) for text in texts]


def same_people(wordings: Sequence[str]) -> list[tuple[int, int]]:
    """Pairs that say the same of who is counted, by their places."""
    from coldframe.analysis.nearness import same_people as same  # numpy

    return same(wordings, encoder())


def likeliest(text: str, levers: Sequence[str]) -> list[int]:
    """The places of the levers, that to which the text belongs most likely first."""
    from coldframe.analysis.nearness import likeliest as ordered  # numpy

    return ordered(text, levers, encoder())
