"""Proposals of direct duplicates among short notes: the same point in other words or with typos, never a theme.

The default compares letters and words and needs no model. With an encoder handed in, notes are compared by meaning,
which also finds rewordings that share few words. Neither finds everything: rewordings that share no word stay for
people to find, and a person confirms each proposal. Measured on open labelled boards by
`python -m tests.bench.similarity`.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from coldframe.analysis.inputs import BadNumber, whole
from coldframe.analysis.likeness import Reason
from coldframe.analysis.similarity.choosing import CERTAIN, Pair, Recipe, choose, penalties, scale_locally
from coldframe.analysis.similarity.lexical import Lexicon, likeness, near_spelling
from coldframe.analysis.similarity.meaning import Encoder, SentenceEncoder, cosines
from coldframe.analysis.similarity.reasons import why
from coldframe.analysis.similarity.words import Wording, read

__all__ = ["Encoder", "Proposal", "SentenceEncoder", "further", "propose"]

BY_WORDS = Recipe(scaling=0.2, least=0.31, least_closure=0.18)
BY_MEANING = Recipe(scaling=0.5, least=0.32, least_closure=0.3)
MISSPELT = 0.7
"""What a pair spelt alike scores at least, times its likeness: sure to be proposed, yet not before what is surer."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """Two notes that may say the same: their places in the list (first < second), score 0 to 1, and the reasons."""

    first: int
    second: int
    score: float
    why: tuple[Reason, ...]


def propose(
    texts: Sequence[str],
    groups: Sequence[str] | None = None,
    most: int | None = None,
    *,
    encoder: Encoder | None = None,
) -> list[Proposal]:
    """Pairs of notes that may be direct duplicates, best first.

    `groups` gives each note's group (lever and side); notes of different groups are never proposed. `most` caps the
    list; by default about one proposal for every five notes. Blank notes are left out. The order of the notes makes no
    difference. `encoder` compares by meaning; it gets each note in small letters with contractions written out.
    Raises `BadNumber` (a ValueError) when the arguments do not fit together.
    """
    marks = _checked(texts, groups)
    limit = None if most is None else whole("most", most)
    # One order whatever order the notes came in, so that rounding and ties cannot make a difference either.
    places = sorted((place for place in range(len(texts)) if texts[place].strip()), key=lambda i: (texts[i], marks[i]))
    if len(places) < 2:
        return []
    board = _Board([read(texts[place]) for place in places], encoder)
    pairs = [
        (first, second)
        for first, second in combinations(range(len(places)), 2)
        if marks[places[first]] == marks[places[second]]
    ]
    chosen = choose(pairs, board.scores, board.recipe, len(places), limit)
    return [board.proposal(pair, places) for pair in chosen]


def further(texts: Sequence[str], settled: Collection[Pair], most: int) -> list[Proposal]:
    """The pairs that come next, best first, for somebody who asks for more than `propose` found sure enough: at most
    `most`, of those that are not `settled`, alike in more than what they share with all others."""
    places = sorted((place for place in range(len(texts)) if texts[place].strip()), key=lambda i: texts[i])
    if len(places) < 2:
        return []
    board, known = _Board([read(texts[place]) for place in places], None), set(map(frozenset, settled))
    open_ = (p for p in combinations(range(len(places)), 2) if frozenset(places[i] for i in p) not in known)
    ranked = sorted((p for p in open_ if board.scores[p] > 0), key=lambda pair: (-board.scores[pair], pair))
    return [board.proposal(pair, places) for pair in ranked[:most]]


def _checked(texts: Sequence[str], groups: Sequence[str] | None) -> Sequence[str]:
    for name, values in (("texts", texts), ("groups", groups if groups is not None else [])):
        if isinstance(values, str) or not all(isinstance(value, str) for value in values):
            raise BadNumber(name, values, "a list of texts")
    if groups is not None and len(groups) != len(texts):
        raise BadNumber("groups", len(groups), f"one group for each text, {len(texts)} here")
    return [""] * len(texts) if groups is None else groups


class _Board:
    """All notes of one list, scored against each other."""

    def __init__(self, wordings: Sequence[Wording], encoder: Encoder | None) -> None:
        self.wordings = wordings
        self.lexicon = Lexicon(wordings)
        self.recipe = BY_WORDS if encoder is None else BY_MEANING
        self.cosines: NDArray[np.float64] | None = None
        scores = scale_locally(likeness(wordings, self.lexicon), BY_WORDS.scaling)
        if encoder is not None:
            self.cosines = cosines(encoder([" ".join(wording.words) for wording in wordings]))
            self.readable = np.array([wording.latin for wording in wordings])
            both = self.readable[:, None] & self.readable[None, :]
            scores = np.where(both, scale_locally(self.cosines, BY_MEANING.scaling), scores)
        against = penalties(wordings)
        # One letter makes "now" of "not" and 3 of 4, so there spelling says nothing.
        misspelt = np.where(against > 0, 0.0, near_spelling(wordings))
        self.misspelt = misspelt > 0
        spelling = np.array([wording.spelling for wording in wordings])
        same = spelling[:, None] == spelling[None, :]
        scores = np.maximum(np.clip(scores - against, 0.0, 1.0), MISSPELT * misspelt)
        self.scores = np.where(same, CERTAIN, scores)

    def proposal(self, pair: tuple[int, int], places: Sequence[int]) -> Proposal:
        """The proposal for a pair of this board; `places` are the notes' places in the caller's list."""
        first, second = sorted(pair, key=lambda note: places[note])
        cosine = self._cosine(first, second)
        match, misspelt = self.lexicon.match(first, second), bool(self.misspelt[first, second])
        reasons = why(self.wordings[first], self.wordings[second], match, misspelt, cosine)
        return Proposal(places[first], places[second], float(self.scores[pair]), reasons)

    def _cosine(self, first: int, second: int) -> float | None:
        if self.cosines is None or not (self.readable[first] and self.readable[second]):
            return None
        return float(self.cosines[first, second])
