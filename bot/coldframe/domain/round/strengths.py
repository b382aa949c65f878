"""Which driving force may help against which restraining one: those of the lever in focus that speak of the same thing,
each beside the force with which it shares most, the one with more dots first."""

from __future__ import annotations

import re
from collections.abc import Mapping

from coldframe.domain.names import ForceId
from coldframe.domain.state import Note, Round

_LONG, _BEGINS = 5, 5
"""Letters from which a word says something, and by how many of them two are taken for the same."""
_WORD = re.compile(r"[^\W\d_]+")
_LITTLE = (
    "about|after|again|always|because|before|being|could|doing|every|first|given|going|great|hardly|having|maybe|"
    "might|month|never|often|other|people|really|should|since|still|their|there|these|thing|those|though|through|"
    "today|until|usual|which|while|whole|without|would|years"
)
_SAY_LITTLE = frozenset(_LITTLE.split("|"))


def beside(round_: Round) -> tuple[Mapping[ForceId, tuple[Note, ...]], tuple[Note, ...]]:
    """The driving forces by the carried force that they stand beside, and those that stand beside none."""
    carried = [ForceId(s.option) for s in round_.forces_standing if s.carried]
    words = {force: _words(" ".join(round_.wordings(force))) for force in carried}
    found: dict[ForceId, tuple[Note, ...]] = {}
    others: list[Note] = []
    for note in round_.driving_in_focus():
        shared = {force: len(words[force] & _words(note.text)) for force in carried}
        best = max(carried, key=lambda force: shared[force], default=None)
        if best is None or not shared[best]:
            others.append(note)
        else:
            found[best] = (*found.get(best, ()), note)
    return found, tuple(others)


def _words(text: str) -> frozenset[str]:
    """As they begin, so that their endings do not matter."""
    words = (word.casefold() for word in _WORD.findall(text))
    return frozenset(word[:_BEGINS] for word in words if len(word) >= _LONG and word not in _SAY_LITTLE)
