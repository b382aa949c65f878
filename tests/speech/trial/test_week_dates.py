"""Weeks are spoken of with their dates."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from coldframe.domain.trial.state import Entry, Figures
from coldframe.speech.trial import week_dates
from coldframe.timing import dates
from tests.speech.trials import a_trial

TRIAL = a_trial(live=date(2026, 4, 9), starts=date(2026, 4, 13), planned=5)


@pytest.mark.parametrize(
    ("weeks", "words"),
    [
        ((1,), "week 1, Mon 13 to Sun 19 April"),
        ((3,), "week 3, Mon 27 April to Sun 3 May"),
        ((2, 3), "weeks 2 and 3, Mon 20 April to Sun 3 May"),
        ((3, 1), "week 1, Mon 13 to Sun 19 April and week 3, Mon 27 April to Sun 3 May"),
        ((1, 2, 3, 4), "weeks 1 to 4, Mon 13 April to Sun 10 May"),
        ((0,), "the days before week 1, Thu 9 to Sun 12 April"),
        ((0, 1), "the days before week 1, Thu 9 to Sun 12 April and week 1, Mon 13 to Sun 19 April"),
    ],
)
def test_a_week_is_named_with_its_dates(weeks: tuple[int, ...], words: str) -> None:
    """What is side by side shares its dates; the days before the first whole week are no week."""
    assert week_dates.weeks(TRIAL, weeks) == words


def test_a_week_without_a_number_is_told_beside_those_that_are_logged() -> None:
    """Else the card has four weeks in one line, and three in the next."""
    whole, broken = Entry(1, Figures(3, 10)), Entry(2, None, state="broken")
    assert week_dates.logged(TRIAL) == "nothing logged yet"
    assert week_dates.logged(replace(TRIAL, weeks={1: (whole,)})) == "1 of 5 weeks logged"
    both = replace(TRIAL, weeks={1: (whole,), 2: (broken,)})
    assert week_dates.logged(both) == "2 of 6 weeks logged, one of them without a number that counts"


def test_a_day_alone_is_no_span() -> None:
    """Live on a Saturday night, it has one day before its first week."""
    assert dates.span_words(date(2026, 4, 12), date(2026, 4, 12)) == "Sun 12 April"
