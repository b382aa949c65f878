"""How soft a count is, and whether the weight decides, in words that follow from the figures."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coldframe.analysis.tally import weight_range
from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.speech.round import sure_words
from coldframe.speech.round.sure_words import Sureness
from tests.domain.play import Play


@pytest.mark.parametrize(
    ("stays", "words"),
    [
        (None, "Those in front have the same total"),
        (0.31, "It's close: if other people like you voted, another could well be first"),
        (0.5, "first about 50 times in 100"),
        (0.638, "first about 65 times in 100"),
        (0.93, "first about 95 times in 100"),
        (1.0, "first about 95 times in 100"),
    ],
)
def test_a_figure_only_where_it_helps(stays: float | None, words: str) -> None:
    """In steps of five, never above what was measured to be true, and in words where another would be first."""
    said = sure_words.sure_words(Sureness(stays, 0.4), figure=True)
    assert words in said and said.endswith("; the voters agree somewhat.")


@pytest.mark.parametrize(
    ("stays", "words"),
    [
        (None, "Those in front have the same total"),
        (0.31, "It's close: if other people like you voted, another could well be first"),
        (0.59, "It's close: if other people like you voted, another could well be first"),
        (0.6, "If other people like you voted, the first would probably stay first"),
        (0.89, "If other people like you voted, the first would probably stay first"),
        (0.9, "If other people like you voted, the first would very likely stay first"),
    ],
)
def test_words_alone_where_no_figure_is_true(stays: float | None, words: str) -> None:
    """Of dots: no figure agrees with every kind of voters, so none is said."""
    said = sure_words.sure_words(Sureness(stays, 0.4), figure=False)
    assert said == f"{said.partition(';')[0]}; the voters agree somewhat." and said.startswith(words)
    assert not any(letter.isdigit() for letter in said)


@pytest.fixture
def ballot() -> Round:
    """Two plans, A and B, with the weight of two."""
    round_ = Play().to(Step.PLACEMENT).round
    return replace(round_, settings=replace(round_.settings, weight=2))


@pytest.mark.parametrize(
    ("group", "led", "words"),
    [
        (
            (3, 1),
            (1, 0),
            "The decision-maker's weight of 2 changes nothing: any weight from 0 to 10 gives this order.",
        ),
        (
            (2, 1),
            (0, 1),
            "The decision-maker's weight of 2 matters: only a weight above 1 gives this order. With equal votes {a} "
            "and {b} would have the same total, and the number of voters would decide.",
        ),
        (
            (4, 1),
            (0, 1),
            "The decision-maker's weight of 2 changes nothing: any weight below 3 gives this order. With a weight of 3 "
            "{a} and {b} would have the same total, and the number of voters would decide. "
            "If all votes counted the same, {a} would be first.",
        ),
        (
            (2, 1),
            (0, 3),
            "The decision-maker's weight of 2 changes nothing: any weight above 0.33 gives this order. With a weight "
            "of 0.33 {a} and {b} would have the same total, and the number of voters would decide. "
            "If all votes counted the same, {b} would be first.",
        ),
        (
            (3, 1),
            (0, 1),
            "The decision-maker's weight of 2 matters: only with it {a} and {b} have the same total. "
            "If all votes counted the same, {a} would be first.",
        ),
    ],
)
def test_what_happens_at_the_ends(ballot: Round, group: tuple[int, int], led: tuple[int, int], words: str) -> None:
    """The ends lie outside of the range: there two are level; and who would be first if all votes counted the same."""
    plans = sorted(ballot.plans)[:2]
    stands = weight_range(dict(zip(plans, group, strict=True)), dict(zip(plans, led, strict=True)), 2, 2)
    a, b = (f"“{ballot.plans[plan].title}”" for plan in plans)
    assert sure_words.weight_words(ballot, stands) == words.format(a=a, b=b)


def test_both_ends_share_a_sentence(ballot: Round) -> None:
    """As in the main play: with equal votes the first is level with the next, with more weight that with another."""
    a, b, c = plans = sorted(ballot.plans)[:3]
    stands = weight_range(dict(zip(plans, (4, 5, 2), strict=True)), dict(zip(plans, (1, 0, 1), strict=True)), 2, 3)
    one, two, three = (f"“{ballot.plans[plan].title}”" for plan in (a, b, c))
    assert sure_words.weight_words(ballot, stands) == (
        f"The decision-maker's weight of 2 matters: only a weight between 1 and 3 gives this order. With equal votes "
        f"{one} and {two} would have the same total, with a weight of 3 {two} and {three} too; the number of voters "
        "would decide then."
    )
