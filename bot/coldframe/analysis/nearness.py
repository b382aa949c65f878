"""Which short texts belong together by what they mean, outside of the merging of notes: plans of one idea, two wordings
for the same people, and, without a bar, in an order from which a person chooses, the kind that a line is likeliest of,
the question that a story bears on, questions that ask nearly the same.

Each takes an encoder, or None: then words alone are compared, which finds little more than other endings and orders.
`python -m tests.bench.nearness` looks at the bars on the project's own pairs; whatever is found is shown or asked,
never taken for granted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from coldframe.analysis.similarity.lexical import Lexicon, likeness
from coldframe.analysis.similarity.meaning import Encoder
from coldframe.analysis.similarity.words import Wording, read

Grid = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Bar:
    """From which degree two texts belong together: cosine of their vectors, or likeness of their words."""

    meaning: float
    words: float

    def of(self, encoder: Encoder | None) -> float:
        return self.words if encoder is None else self.meaning


PLANS = Bar(0.5, 0.22)
PEOPLE = Bar(0.75, 0.7)
MEANING_SHARE = 0.7  # of what orders questions; the rest is the words'
OPENING = "how might we "
"""With which every question begins; it would make all of them alike."""
NEW = frozenset({"first", "new", "newly"})
KNOWN = frozenset({"current", "earlier", "existing", "former", "old", "past", "returning"})
"""Words for people who are never the same, though they mean nearly the same to an encoder."""


def alike_plans(plan: str, others: Sequence[str], encoder: Encoder | None, most: int) -> list[int]:
    """The places of those with the same idea, the most alike first."""
    if not others:
        return []
    degrees = nearness([plan], others, encoder)[0]
    order = np.argsort(-degrees, kind="stable")[:most].tolist()
    return [place for place in order if degrees[place] >= PLANS.of(encoder)]


def side_by_side(questions: Sequence[str], encoder: Encoder | None) -> list[int]:
    """All places: the two that ask most nearly the same first, then always that which is nearest to the last."""
    if len(questions) < 2:
        return list(range(len(questions)))
    degrees = _mixed(questions, questions, encoder)
    np.fill_diagonal(degrees, -np.inf)
    order = [int(place) for place in np.unravel_index(degrees.argmax(), degrees.shape)]
    while len(order) < len(questions):
        left = [place for place in range(len(questions)) if place not in order]
        order.append(max(left, key=lambda place: degrees[order[-1], place]))
    return order


def likeliest_questions(text: str, questions: Sequence[str], encoder: Encoder | None) -> list[int]:
    """The places of all questions, that on which the text bears most likely first."""
    if not questions:
        return []
    return [int(place) for place in np.argsort(-_mixed([text], questions, encoder)[0], kind="stable")]


def _mixed(texts: Sequence[str], questions: Sequence[str], encoder: Encoder | None) -> Grid:
    """Meaning and words together, where both are known, of what is asked without how it begins."""
    here, there = (list(map(_asked, each)) for each in (texts, questions))
    by_words = nearness(here, there, None)
    if encoder is None:
        return by_words
    return MEANING_SHARE * nearness(here, there, encoder) + (1 - MEANING_SHARE) * by_words


def same_people(wordings: Sequence[str], encoder: Encoder | None) -> list[tuple[int, int]]:
    """Pairs that say who is counted in other words, by their places. Other numbers, a lone negation, and new people
    beside known ones make them others."""
    if not wordings:
        return []
    degrees, told = nearness(wordings, wordings, encoder), [read(wording) for wording in wordings]
    near = ((one, other) for one, other in combinations(range(len(wordings)), 2))
    return [pair for pair in near if degrees[pair] >= PEOPLE.of(encoder) and not _others(told[pair[0]], told[pair[1]])]


def likeliest(text: str, kinds: Sequence[str], encoder: Encoder | None) -> list[int]:
    """The places of all kinds, the likeliest first; as they stand where nothing tells them apart."""
    return [int(place) for place in np.argsort(-nearness([text], kinds, encoder)[0], kind="stable")]


def nearness(texts: Sequence[str], others: Sequence[str], encoder: Encoder | None) -> Grid:
    """Shape (texts, others). What is written in other letters is compared by words alone: the encoder knows English."""
    wordings, here = [read(text) for text in (*texts, *others)], len(texts)
    by_words = likeness(wordings, Lexicon(wordings))[:here, here:]
    if encoder is None:
        return by_words
    vectors = np.asarray(encoder([*texts, *others]), dtype=np.float64)
    latin = np.array([wording.latin for wording in wordings])
    return np.where(latin[:here, None] & latin[None, here:], vectors[:here] @ vectors[here:].T, by_words)


def _asked(question: str) -> str:
    return question[len(OPENING) :] if question.casefold().startswith(OPENING) else question


def _others(one: Wording, other: Wording) -> bool:
    if one.numbers != other.numbers or one.negated != other.negated:
        return True
    sides = [({*wording.words} & NEW, {*wording.words} & KNOWN) for wording in (one, other)]
    return any(bool(new) and bool(known) for new, known in ((sides[0][0], sides[1][1]), (sides[1][0], sides[0][1])))
