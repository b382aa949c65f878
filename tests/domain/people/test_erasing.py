"""All that is kept of a team is erased by two yeses, and by nobody's no."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from coldframe.domain.names import MemberId
from coldframe.domain.people import erasing
from coldframe.domain.people.erasing import SECOND_WITHIN, WAITS, Erasing
from coldframe.domain.refusals import Because, Refused
from tests.domain.play import OTHERS, D, F, a_round

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
INES, STRANGER = OTHERS[0], MemberId("zoe")
ROUND = a_round()
ASKED = Erasing(F, NOW + SECOND_WITHIN)
AGREED = Erasing(F, NOW + SECOND_WITHIN, D, NOW + WAITS)
A_MOMENT = timedelta(milliseconds=1)


def because(call: object, *given: object) -> Because:
    with pytest.raises(Refused) as caught:
        call(*given)  # type: ignore[operator]
    return caught.value.code


def test_the_facilitator_asks_and_another_agrees() -> None:
    """Then it waits, so that everybody can object."""
    assert erasing.asked(None, ROUND, F, NOW) == ASKED
    assert erasing.agreed(ASKED, ROUND, INES, NOW) == Erasing(F, NOW + SECOND_WITHIN, INES, NOW + WAITS)
    assert erasing.agreed(AGREED, ROUND, INES, NOW + A_MOMENT) == AGREED, "a third yes changes nothing"
    assert (timedelta(days=7), timedelta(days=3)) == (SECOND_WITHIN, WAITS)


def test_nobody_else_asks_and_not_twice() -> None:
    assert because(erasing.asked, None, ROUND, D, NOW) is Because.NOT_FACILITATOR
    assert because(erasing.asked, None, ROUND, STRANGER, NOW) is Because.NOT_A_MEMBER
    assert because(erasing.asked, ASKED, ROUND, F, NOW) is Because.ERASING_ASKED
    assert because(erasing.asked, None, None, F, NOW) is Because.UNKNOWN_ITEM
    assert erasing.asked(ASKED, ROUND, F, NOW + SECOND_WITHIN) == Erasing(F, NOW + 2 * SECOND_WITHIN)


def test_whoever_asked_is_not_the_other() -> None:
    assert because(erasing.agreed, ASKED, ROUND, F, NOW) is Because.ERASING_NEEDS_ANOTHER
    assert because(erasing.agreed, ASKED, ROUND, STRANGER, NOW) is Because.NOT_A_MEMBER
    assert because(erasing.agreed, None, ROUND, INES, NOW) is Because.UNKNOWN_ITEM


def test_a_question_is_open_until_its_last_moment_and_what_is_agreed_for_good() -> None:
    """Anybody of the team may object meanwhile."""
    last = NOW + SECOND_WITHIN - A_MOMENT
    assert erasing.is_open(ASKED, last) and not erasing.is_open(ASKED, last + A_MOMENT)
    assert erasing.is_open(AGREED, last + A_MOMENT) and not erasing.is_open(None, NOW)
    erasing.objected(ASKED, ROUND, INES, last)
    erasing.objected(AGREED, ROUND, INES, last + A_MOMENT)
    assert because(erasing.objected, ASKED, ROUND, INES, last + A_MOMENT) is Because.UNKNOWN_ITEM
    assert because(erasing.objected, ASKED, ROUND, STRANGER, NOW) is Because.NOT_A_MEMBER
    assert because(erasing.agreed, ASKED, ROUND, INES, last + A_MOMENT) is Because.UNKNOWN_ITEM
