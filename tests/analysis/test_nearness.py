"""Which short texts belong together: how often that is found on the project's own pairs, and what never is."""

from __future__ import annotations

import pytest

from coldframe.analysis import nearness
from coldframe.analysis.similarity import Encoder
from coldframe.meaning import encoder
from tests.bench.nearness import ORDERS, rows, shares

FLOORS = {
    "by meaning": {"plans": (0.8, 0.02), "people": (0.6, 0.2)},
    "by words": {"plans": (0.25, 0.01), "people": (0.15, 0.01)},
}
"""Found, and wrongly found; measured 0.86 and 0.01, 0.64 and 0.16; by words 0.29 and 0, 0.16 and 0."""
FIRST = {"by meaning": (0.55, 0.6, 0.7, 0.5), "by words": (0.35, 0.15, 0.2, 0.3)}
"""How often the right one is first, of `ORDERS`; measured 0.59, 0.67, 0.75 and 0.58, by words 0.39, 0.21, 0.25
and 0.33."""


@pytest.fixture(params=FLOORS)
def way(request: pytest.FixtureRequest) -> tuple[str, Encoder | None]:
    """By meaning only where the encoder is."""
    name, reader = str(request.param), encoder() if request.param == "by meaning" else None
    if name == "by meaning" and reader is None:
        pytest.skip("no sentence encoder")
    return name, reader


def test_what_belongs_together_keeps_its_floor(way: tuple[str, Encoder | None]) -> None:
    """Of each kind of text."""
    name, reader = way
    for what, (found, wrongly) in shares(reader).items():
        least, most = FLOORS[name][what]
        assert found >= least and wrongly <= most, what
    for (what, (order, _)), least in zip(ORDERS.items(), FIRST[name], strict=True):
        assert order(reader)[0] >= least, what


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("Teachers at primary schools", "Primary school teachers", True),
        ("Teams of list 1", "Teams of list 2", False),
        ("New customers", "Existing customers", False),
        ("Returning customers", "First customers", False),
        ("People with a pass", "People without a pass", False),
        ("Новые клиенты", "Постоянные клиенты", False),
    ],
)
def test_other_numbers_a_lone_no_and_new_beside_known_are_other_people(
    way: tuple[str, Encoder | None], one: str, other: str, same: bool
) -> None:
    """However alike the words and the meaning are; letters that the encoder cannot read tell it nothing."""
    assert bool(nearness.same_people([one, other], way[1])) is same
    assert nearness.same_people([other, one], way[1]) == nearness.same_people([one, other], way[1])


def test_nothing_to_compare_is_nothing_found(way: tuple[str, Encoder | None]) -> None:
    """And of one thing there are no pairs."""
    assert nearness.alike_plans("Call them", [], way[1], 2) == []
    assert nearness.likeliest_questions("A story", [], way[1]) == nearness.side_by_side([], way[1]) == []
    assert nearness.side_by_side(["How might we?"], way[1]) == [0]
    assert nearness.same_people([], way[1]) == nearness.same_people(["New teams"], way[1]) == []


def test_how_a_question_begins_makes_none_alike(way: tuple[str, Encoder | None]) -> None:
    """All begin alike, and one that does not may ask the same."""
    asked = ["How might we water the beds?", "How might we print invoices?", "Ways to print an invoice?"]
    assert nearness.side_by_side(asked, way[1])[:2] == [1, 2]
    assert nearness.likeliest_questions("How might we print invoices?", asked, way[1])[0] == 1


def test_as_many_plans_as_are_asked_for_the_most_alike_first(way: tuple[str, Encoder | None]) -> None:
    """The same one before a rewording."""
    plan, reworded = rows("plans_reworded")[0]
    assert nearness.alike_plans(plan, ["Bread at eight", reworded, plan], way[1], 1) == [2]


def test_kinds_of_which_none_is_nearer_stay_in_their_order() -> None:
    """By words, where no word is shared."""
    assert nearness.likeliest("zzz", ["Acquisition", "Activation", "Retention"], None) == [0, 1, 2]
