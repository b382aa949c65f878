"""What is taken of a text, and chance that can be checked."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.domain.order import coin, shuffled
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.texts import MAX_MARKS, accepted, optional


@given(st.text(max_size=60))
def test_a_text_is_kept_as_it_stands_or_refused(text: str) -> None:
    """Composed, with plain line ends and without outer blanks, nothing else is changed; or there is a reason."""
    try:
        kept = accepted(text, 50)
    except Refused as refused:
        assert refused.code in (Because.EMPTY, Because.TOO_LONG, Because.UNREADABLE)
        return
    assert kept == unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n")).strip()
    assert accepted(kept, 50) == kept


def test_the_length_is_counted_after_composing() -> None:
    """A letter with its accent is one character, however it was typed."""
    assert accepted("e\u0301" * 10, 10) == "é" * 10
    with pytest.raises(Refused) as refused:
        accepted("x" * 11, 10, field="title")
    assert refused.value.facts == {"field": "title", "over": 1, "most": 10}


def test_a_pile_of_accents_is_refused() -> None:
    """Some marks on one letter are writing, more are decoration over other people's lines."""
    assert accepted("q" + "\u0316" * MAX_MARKS, 100)
    with pytest.raises(Refused):
        accepted("q" + "\u0316" * (MAX_MARKS + 1), 100)


def test_an_empty_text_may_be_optional() -> None:
    """Nothing is nothing; only marks without a letter are not nothing."""
    assert optional("  ", 10, field="details") == ""
    assert optional(" x ", 10, field="details") == "x"
    with pytest.raises(Refused):
        optional("\u200b", 10, field="details")


@given(st.lists(st.text(max_size=5), unique=True, max_size=20), st.integers(), st.randoms(use_true_random=False))
def test_an_order_follows_from_seed_and_label_only(items: list[str], seed: int, random: object) -> None:
    """However the items came in, the order is the same, and it holds the same items."""
    again = items[:]
    random.shuffle(again)  # type: ignore[attr-defined]
    assert shuffled(items, seed, "x") == shuffled(again, seed, "x")
    assert sorted(shuffled(items, seed, "x")) == sorted(items)


def test_another_seed_or_label_gives_another_order() -> None:
    """Each purpose has an order of its own."""
    items = [str(n) for n in range(20)]
    orders = {shuffled(items, seed, label) for seed in range(3) for label in ("a", "b")}
    assert len(orders) == 6


def test_no_place_is_favoured() -> None:
    """Over many seeds each item stands first about equally often (chi-squared, four degrees of freedom, p > .001)."""
    firsts = [shuffled("abcde", seed, "x")[0] for seed in range(2000)]
    statistic = sum((firsts.count(item) - 400) ** 2 / 400 for item in "abcde")
    assert statistic < 18.47


def test_a_coin_falls_on_both_sides() -> None:
    """Heads and tails, the same each time."""
    throws = [coin(seed, "x") for seed in range(200)]
    assert 70 < sum(throws) < 130
    assert throws == [coin(seed, "x") for seed in range(200)]
