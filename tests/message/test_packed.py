"""Values that travel as one line of text come back as they went."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from coldframe.message.packed import ButtonValue, MessageName, Occurrence

parts = st.lists(st.text(max_size=20), max_size=4).map(tuple)


@given(st.text(max_size=20), st.text(max_size=20), parts)
@example("r1", "option", ("@ada:example.org/device", "ballot", "p|1", "100%2F"))
def test_what_is_packed_comes_back(owner: str, what: str, rest: tuple[str, ...]) -> None:
    """No sign in an id or a text is taken for a border between two."""
    assert MessageName.unpack(MessageName(owner, what, rest).pack()) == MessageName(owner, what, rest)
    assert ButtonValue.unpack(ButtonValue(owner, rest).pack()) == ButtonValue(owner, rest)
    assert Occurrence.unpack(Occurrence((owner, *rest)).pack()) == Occurrence((owner, *rest))


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("r1/option/U1/ballot/p1", MessageName("r1", "option", ("U1", "ballot", "p1"))),
        ("r1/opened", MessageName("r1", "opened")),
        ("say-1", MessageName("say-1", "")),
    ],
)
def test_names_that_stand_in_databases_are_read(text: str, name: MessageName) -> None:
    """A name without signs that need care reads as it is written; an answer's passing name has no second part."""
    assert MessageName.unpack(text) == name
