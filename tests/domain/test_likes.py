"""Trials like a new one: by plain rules, and never of fewer than five."""

from __future__ import annotations

from coldframe.domain.likes import Likes, Tried, like


def _tried(number: int, reached: int, lever: str = "Activation", kind: str = "split", weeks: int = 6) -> list[Tried]:
    return [Tried(lever, kind, weeks, n < reached) for n in range(number)]


def test_those_alike_in_lever_design_and_length_come_first() -> None:
    """Others are not counted among them."""
    others = _tried(9, 9, weeks=4) + _tried(9, 9, lever="Retention")
    assert like(_tried(7, 3) + others, "Activation", "split", 6) == Likes(7, 3, "Activation", "split", 6)


def test_with_fewer_than_five_the_length_then_the_lever_then_the_design_is_let_go() -> None:
    """And it says in what they are alike."""
    few = _tried(4, 1)
    assert like(few, "Activation", "split", 6) is None
    assert like(few + _tried(1, 1, weeks=3), "Activation", "split", 6) == Likes(5, 2, "Activation", "split", 0)
    other = _tried(1, 0, lever="Retention", weeks=3)
    assert like(few + other, "Activation", "split", 6) == Likes(5, 1, "", "split", 0)
    assert like(few + _tried(1, 0, kind="count"), "Activation", "split", 6) == Likes(5, 1, "", "", 0)
