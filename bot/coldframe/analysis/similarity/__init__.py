"""Proposals of direct duplicates among short notes: the same point in other words or with typos, never a theme.

With an encoder handed in, notes are compared by meaning and by words, which finds rewordings that share few of them;
without one by letters and words alone. Each proposal says how probable it is that its notes are one point. Neither way
finds everything: rewordings that share no word are mostly left for people to find, and a person confirms each proposal.
Measured on open labelled boards by `python -m tests.bench.similarity`.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from coldframe.analysis.inputs import BadNumber, whole
from coldframe.analysis.likeness import Reason
from coldframe.analysis.similarity.choosing import Found, Pair, choose
from coldframe.analysis.similarity.lexical import Lexicon, likeness, near_spelling
from coldframe.analysis.similarity.meaning import Encoder, SentenceEncoder, cosines
from coldframe.analysis.similarity.reasons import why
from coldframe.analysis.similarity.same_point import MISSPELT, Weights, chances, signs
from coldframe.analysis.similarity.words import Wording, read

__all__ = ["Encoder", "Proposal", "SentenceEncoder", "further", "propose", "read_ahead"]

MEANING_SHARE = 0.7
"""How much of a score is the meaning's where it is known; the rest is the words'."""
BY_WORDS = Weights(start=-4.71, score=8.95, rivals=-3.69)
BY_MEANING = Weights(start=-5.56, score=8.99, rivals=-4.38)
FEWEST_CHANCES = 0.02
"""How probable a pair must be at least to be shown to somebody who asks for more."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """Notes that may say the same: their places in the list, in order, how probable it is, and the reasons, which for
    more than two notes are those of their surest pair."""

    notes: tuple[int, ...]
    chance: float
    why: tuple[Reason, ...]


def propose(
    texts: Sequence[str],
    groups: Sequence[str] | None = None,
    most: int | None = None,
    *,
    encoder: Encoder | None = None,
) -> list[Proposal]:
    """Notes that are more probably one point than not, surest first; each note stands in one proposal at most.

    `groups` gives each note's group (lever and side); notes of different groups are never proposed. `most` caps the
    list. Blank notes are left out. The order of the notes makes no difference. `encoder` compares by meaning as well;
    it gets each note in small letters with contractions written out. Raises `BadNumber` (a ValueError) when the
    arguments do not fit together.
    """
    marks = _checked(texts, groups)
    limit = None if most is None else whole("most", most)
    if sum(bool(text.strip()) for text in texts) < 2:
        return []
    board = _Board(texts, marks, encoder)
    return [board.proposal(found) for found in choose(board.pairs(), board.chances)][:limit]


def further(
    texts: Sequence[str], settled: Collection[Pair], most: int, *, encoder: Encoder | None = None
) -> list[Proposal]:
    """The pairs that come next, surest first, for somebody who asks for more than `propose` found probable: at most
    `most`, of those that are not `settled`."""
    if sum(bool(text.strip()) for text in texts) < 2:
        return []
    board, known = _Board(texts, [""] * len(texts), encoder), set(map(frozenset, settled))
    open_ = (pair for pair in board.pairs() if frozenset(board.places[note] for note in pair) not in known)
    ranked = sorted(open_, key=lambda pair: (-board.chances[pair], pair))
    found = (Found(pair, float(board.chances[pair])) for pair in ranked[:most])
    return [board.proposal(one) for one in found if one.chance >= FEWEST_CHANCES]


def read_ahead(texts: Sequence[str], encoder: Encoder) -> None:
    """Gives an encoder that remembers what it read the texts as they will be compared."""
    encoder([_plain(read(text)) for text in texts if text.strip()])


def _checked(texts: Sequence[str], groups: Sequence[str] | None) -> Sequence[str]:
    for name, values in (("texts", texts), ("groups", groups if groups is not None else [])):
        if isinstance(values, str) or not all(isinstance(value, str) for value in values):
            raise BadNumber(name, values, "a list of texts")
    if groups is not None and len(groups) != len(texts):
        raise BadNumber("groups", len(groups), f"one group for each text, {len(texts)} here")
    return [""] * len(texts) if groups is None else groups


class _Board:
    """All notes of one list but the blank ones, each pair with how probable it is."""

    def __init__(self, texts: Sequence[str], marks: Sequence[str], encoder: Encoder | None) -> None:
        there = (place for place in range(len(texts)) if texts[place].strip())
        # One order whatever order the notes came in, so that rounding and ties cannot make a difference either.
        self.places = sorted(there, key=lambda place: (texts[place], marks[place]))
        self.wordings = [read(texts[place]) for place in self.places]
        self.lexicon = Lexicon(self.wordings)
        mark = np.array([marks[place] for place in self.places])
        self.together: NDArray[np.bool_] = mark[:, None] == mark[None, :]
        self.cosines = None if encoder is None else cosines(encoder([_plain(wording) for wording in self.wordings]))
        self.signs = signs(self._scores(), self.wordings, self.together)
        self.misspelt = self._misspelt()
        self.chances = self._chances(BY_WORDS if self.cosines is None else BY_MEANING)

    def pairs(self) -> list[Pair]:
        """Those that may be proposed."""
        return [pair for pair in combinations(range(len(self.places)), 2) if self.together[pair]]

    def _scores(self) -> NDArray[np.float64]:
        by_words = likeness(self.wordings, self.lexicon)
        if self.cosines is None:
            return by_words
        self.latin = np.array([wording.latin for wording in self.wordings])
        both = self.latin[:, None] & self.latin[None, :]
        return np.where(both, MEANING_SHARE * self.cosines + (1 - MEANING_SHARE) * by_words, by_words)

    def _misspelt(self) -> NDArray[np.bool_]:
        # One letter makes "now" of "not" and 3 of 4, so there spelling says nothing.
        near: NDArray[np.bool_] = (near_spelling(self.wordings) > 0) & (self.signs[2] == 0)
        return near

    def _chances(self, weights: Weights) -> NDArray[np.float64]:
        found = chances(weights.log_odds(self.signs), self.together)
        found = np.where(self.misspelt & self.together, np.maximum(found, MISSPELT), found)
        spelling = np.array([wording.spelling for wording in self.wordings])
        return np.where(self.together & (spelling[:, None] == spelling[None, :]), 1.0, found)

    def proposal(self, found: Found) -> Proposal:
        """The proposal for a set of this board, with the notes' places in the caller's list."""
        notes = sorted(found.notes, key=lambda note: self.places[note])
        surest = max(combinations(notes, 2), key=lambda pair: self.chances[pair])
        return Proposal(tuple(self.places[note] for note in notes), found.chance, self._why(*surest))

    def _why(self, first: int, second: int) -> tuple[Reason, ...]:
        match, misspelt = self.lexicon.match(first, second), bool(self.misspelt[first, second])
        return why(self.wordings[first], self.wordings[second], match, misspelt, self._cosine(first, second))

    def _cosine(self, first: int, second: int) -> float | None:
        if self.cosines is None or not (self.latin[first] and self.latin[second]):
            return None
        return float(self.cosines[first, second])


def _plain(wording: Wording) -> str:
    return " ".join(wording.words)
