"""Why a pair is proposed, in plain words and from the notes' own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from coldframe.analysis.similarity.lexical import Match
from coldframe.analysis.similarity.words import Wording, stop_stems

SHOWN = 4
"""Words of one kind that are shown at most."""
CLOSE = 0.6
"""Cosine, after half-centring, from which two notes are called close in meaning rather than somewhat close."""


def why(first: Wording, second: Wording, match: Match, misspelt: bool, cosine: float | None) -> str:
    """The reasons for a pair and what speaks against it, parted by semicolons; never empty.

    `misspelt`: the notes as a whole are a few letters apart. `cosine` is the encoder's, None when it was not asked.
    """
    if first.spelling == second.spelling:
        return "the same words"
    if first.words == second.words and first.words:
        return "the same words, written differently"
    return "; ".join(_facts(first, second, match, misspelt, cosine))


def _facts(first: Wording, second: Wording, match: Match, misspelt: bool, cosine: float | None) -> Iterator[str]:
    if not (match.spelt or match.alike or match.left or match.right):
        yield "only word order or endings differ"
    elif not (_telling(match.left) or _telling(match.right)):
        yield "every word that matters has its match"
    elif misspelt:
        yield "almost the same letters"
    yield from _matches(first, second, match)
    if cosine is not None:
        yield f"{'close' if cosine >= CLOSE else 'somewhat close'} in meaning ({cosine:.2f})"
    if first.numbers != second.numbers:
        yield f"but numbers differ: {_listed(first.numbers)} and {_listed(second.numbers)}"
    if first.negated != second.negated:
        yield "but only one of them is negated"


def _matches(first: Wording, second: Wording, match: Match) -> Iterator[str]:
    shared = _telling(match.shared)
    if shared:
        yield "words in both: " + _few([first.shown[stem] for stem in shared])
    if match.spelt:
        yield "near-spelt: " + _few(_sides(first, second, match.spelt))
    if match.alike:
        yield "same meaning: " + _few(_sides(first, second, match.alike))
    if not (shared or match.spelt or match.alike):
        yield "small words and letters in common" if match.shared else "no word in common"


def _sides(first: Wording, second: Wording, pairs: Sequence[tuple[str, str]]) -> list[str]:
    return [f"{first.shown[one]} = {second.shown[other]}" for one, other in pairs]


def _telling(stems: Sequence[str]) -> list[str]:
    return [stem for stem in stems if stem not in stop_stems()]


def _few(items: Sequence[str]) -> str:
    return ", ".join(items[:SHOWN]) + (", …" if len(items) > SHOWN else "")


def _listed(numbers: frozenset[str]) -> str:
    return ", ".join(sorted(numbers)) or "none"
