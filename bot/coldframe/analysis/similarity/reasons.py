"""Why a pair is proposed: what the two share and what speaks against it, as codes with the notes' own words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from coldframe.analysis.likeness import Alike, Reason
from coldframe.analysis.similarity.lexical import Match
from coldframe.analysis.similarity.words import Wording, as_written, stop_stems

SHOWN = 4
"""Words of one kind that are shown at most."""
MORE = "…"
CLOSE = 0.6
"""Cosine, after half-centring, from which two notes are called close in meaning rather than somewhat close."""


def why(first: Wording, second: Wording, match: Match, misspelt: bool, cosine: float | None) -> tuple[Reason, ...]:
    """The reasons for a pair and what speaks against it; never empty.

    `misspelt`: the notes as a whole are a few letters apart. `cosine` is the encoder's, None when it was not asked.
    """
    if first.spelling == second.spelling:
        return (Reason(Alike.SAME),)
    if first.words == second.words and first.words:
        return (Reason(Alike.WRITTEN_DIFFERENTLY),)
    return tuple(_facts(first, second, match, misspelt, cosine))


def _facts(first: Wording, second: Wording, match: Match, misspelt: bool, cosine: float | None) -> Iterator[Reason]:
    if not (match.spelt or match.left or match.right):
        yield Reason(Alike.ORDER_OR_ENDINGS)
    elif not (_telling(match.left) or _telling(match.right)):
        yield Reason(Alike.ALL_MATCHED)
    elif misspelt:
        yield Reason(Alike.LETTERS)
    yield from _matches(first, second, match)
    if cosine is not None:
        yield Reason(Alike.CLOSE if cosine >= CLOSE else Alike.SOMEWHAT_CLOSE, (f"{cosine:.2f}",))
    if first.numbers != second.numbers:
        yield Reason(Alike.NUMBERS_DIFFER, (_listed(first.numbers), _listed(second.numbers)))
    if first.negated != second.negated:
        yield Reason(Alike.ONE_NEGATED)


def _matches(first: Wording, second: Wording, match: Match) -> Iterator[Reason]:
    shared = _telling(match.shared)
    if shared:
        yield Reason(Alike.SHARED, _few([as_written(first, stem) for stem in shared]))
    if match.spelt:
        yield Reason(Alike.NEAR_SPELT, _few(_sides(first, second, match.spelt)))
    if not (shared or match.spelt):
        yield Reason(Alike.SMALL_WORDS if match.shared else Alike.NOTHING_SHARED)


def _sides(first: Wording, second: Wording, pairs: Sequence[tuple[str, str]]) -> list[str]:
    return [f"{as_written(first, one)} = {as_written(second, other)}" for one, other in pairs]


def _telling(stems: Sequence[str]) -> list[str]:
    return [stem for stem in stems if stem not in stop_stems()]


def _few(items: Sequence[str]) -> tuple[str, ...]:
    return (*items[:SHOWN], *([MORE] if len(items) > SHOWN else []))


def _listed(numbers: frozenset[str]) -> str:
    return ", ".join(sorted(numbers))
