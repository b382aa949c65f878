"""What each lever means to a team, as people write it into the setup: a line each, `Retention: they order again`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coldframe.domain.names import LeverId
from coldframe.engine.reading import Unreadable
from coldframe.speech.round import lever_words


def read(text: str, levers: Sequence[tuple[LeverId, str]]) -> Mapping[LeverId, str]:
    """By lever; of two lines for one the later counts. Raises Unreadable."""
    known = {name.casefold(): (lever, name) for lever, name in levers}
    found: dict[LeverId, str] = {}
    for each in filter(None, map(str.strip, text.splitlines())):
        head, colon, meaning = (part.strip() for part in each.partition(":"))
        if not colon or head.casefold() not in known:
            raise Unreadable(lever_words.not_a_lever(head[:60]))
        lever, name = known[head.casefold()]
        if len(meaning) > lever_words.MEANING_LENGTH:
            raise Unreadable(lever_words.meaning_too_long(name))
        if meaning:
            found[lever] = meaning
    return found
