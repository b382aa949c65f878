"""When private words of several people may be shown together without their names."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sized

from coldframe.domain.names import MemberId
from coldframe.domain.order import shuffled

FEWEST = 3
"""Different people; with fewer of them "unsigned" would be a pretence."""


def enough(people: Sized) -> bool:
    return len(people) >= FEWEST


def said_last(said: Mapping[MemberId, str], member: MemberId, text: str) -> dict[MemberId, str]:
    """One text a person: the last word counts, and an empty one takes back what was said."""
    others = {m: known for m, known in said.items() if m != member}
    return {**others, member: text} if text else others


def unsigned(said: Mapping[MemberId, str], seed: int, label: str) -> tuple[str, ...]:
    """What each of them said last, in an order that says nothing; nothing at all of too few."""
    return shuffled(said.values(), seed, label) if enough(said) else ()


def middle(chances: Iterable[int]) -> int:
    """The middle one, of an even number the higher of the two."""
    given = sorted(chances)
    return given[len(given) // 2]
