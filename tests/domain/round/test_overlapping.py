"""Whether two trials act on the same people at the same time."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from coldframe.domain.criterion import Alongside, Criterion
from coldframe.domain.round.overlapping import Span, met_by

MAY, JUNE, JULY = (date(2026, month, 1) for month in (5, 6, 7))
SAME = frozenset({frozenset({"new teams", "teams that are new"})})


@pytest.mark.parametrize(
    ("one", "other", "meet"),
    [
        (Span("New teams"), Span("new  teams!"), True),
        (Span("New teams"), Span("Old teams"), False),
        (Span("New teams"), Span("Teams that are new"), True),
        (Span("a", "new"), Span("b", "new"), True),
        (Span("a", "new"), Span("a", "existing"), False),
        (Span("a", "new"), Span("b", "everybody"), True),
        (Span("a", "new"), Span("b"), False),
        (Span("a", "new"), Span("a"), True),
    ],
)
def test_the_same_people(one: Span, other: Span, meet: bool) -> None:
    """By what both say of who can be in it at all; else by the words, or by what was said to mean the same."""
    assert one.meets(other, SAME) is other.meets(one, SAME) is meet


@pytest.mark.parametrize(
    ("mine", "others", "meet"),
    [
        ((MAY, JUNE), (JUNE, JULY), False),
        ((MAY, JUNE + timedelta(days=1)), (JUNE, JULY), True),
        ((MAY, JULY), (JUNE, None), True),
        ((None, JUNE), (JUNE, None), False),
        ((None, None), (MAY, JUNE), True),
        ((MAY, None), (None, MAY), False),
        ((JUNE, JULY), (None, JUNE + timedelta(days=1)), True),
    ],
)
def test_the_same_time(
    mine: tuple[date | None, date | None], others: tuple[date | None, date | None], meet: bool
) -> None:
    """One that ends as the other begins does not meet it; without an end it goes on."""
    one, other = (Span("all", since=begin, until=end) for begin, end in (mine, others))
    assert one.meets(other, SAME) is other.meets(one, SAME) is meet


def test_a_plan_meets_what_is_under_way_until_its_last_week_is_over() -> None:
    """Its weeks may begin six days after it is live."""
    criterion = Criterion(counted="New teams")
    running = [
        Alongside("A", "Old teams"),
        Alongside("B", "new teams", until=MAY),
        Alongside("C", "New teams", until=JULY),
    ]
    assert met_by(criterion, 4, JUNE, running) == "C"
    assert met_by(criterion, 4, JULY, running) == ""
    assert met_by(criterion, 4, JULY, [Alongside("D", "new teams")]) == "D"
    assert met_by(Criterion(counted="Nobody yet"), 4, JUNE, running) == ""
