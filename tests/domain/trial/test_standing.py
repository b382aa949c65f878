"""A verdict stands whatever later weeks bring; a corrected week has it judged anew. And who is named with words."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.trial import commands as c
from coldframe.domain.trial import life, signing, standing
from coldframe.domain.trial.state import Entry, Figures, Given, Reading, Trial, TrialStep
from tests.domain.trial.test_building import NOW
from tests.speech.trials import OWNER, a_trial

OTTO, PAM = MemberId("otto"), MemberId("pam")
ENTRY = Entry(1, Figures(58, 1000), Figures(40, 1000))
GAP = Entry(2, None, state="broken")
GIVEN = Given("better", "Better than without.", 1, ((1, 1), (2, 1)))


def with_weeks(**changes: Any) -> Trial:
    return a_trial(weeks={1: (ENTRY,), 2: (GAP,)}, **changes)


def reading(outcome: str) -> Reading:
    return Reading(outcome, "", f"So it is: {outcome}.", None, 1)


def test_what_an_earlier_release_called_verdicts() -> None:
    """Its trials and its register still hold these words."""
    assert [standing.as_called_now(word) for word in ("met", "not met", "better")] == [
        "reached",
        "not reached",
        "better",
    ]
    assert standing.ever_called("met") == standing.ever_called("reached") == ("reached", "met")
    assert standing.ever_called("better") == ("better",)


def test_a_verdict_stands_until_a_week_that_it_rests_on_is_corrected() -> None:
    trial = with_weeks(given=(GIVEN,))
    assert standing.stands(trial) == GIVEN and standing.before_the_correction(trial) is None
    later = replace(trial, weeks={**trial.weeks, 3: (replace(ENTRY, week=3),)})
    assert standing.stands(later) == GIVEN and standing.corrected(later, GIVEN) == ()
    corrected = replace(trial, weeks={1: (ENTRY, ENTRY), 2: (GAP,)})
    assert standing.stands(corrected) is None and standing.before_the_correction(corrected) == GIVEN
    assert standing.corrected(corrected, GIVEN) == (1,)
    anew = Given("worse", "", 1, ((1, 2), (2, 1)))
    assert standing.stands(replace(corrected, given=(GIVEN, anew))) == anew


def test_a_reading_is_given_once_with_what_it_rests_on() -> None:
    """Weeks that do not count stand beside the others, and are not counted."""
    found = standing.newly_given(with_weeks(), reading("reached"))
    assert found == Given("reached", "So it is: reached.", 1, ((1, 1), (2, 1)))
    assert standing.newly_given(with_weeks(), reading("cannot tell")) is None
    assert standing.newly_given(with_weeks(given=(GIVEN,)), reading("better")) is None
    assert standing.newly_given(with_weeks(given=(GIVEN,)), reading("reached")) is not None


def test_the_last_reading_of_an_earlier_release_is_its_verdict() -> None:
    trial = with_weeks(reading=reading("met"))
    assert standing.stands(trial) == Given("reached", "So it is: met.", 1, ((1, 1), (2, 1)))
    assert standing.newly_given(trial, reading("cannot tell")) == standing.stands(trial)
    assert standing.stands(with_weeks(reading=reading("better"))) is standing.stands(with_weeks()) is None


@pytest.mark.parametrize(
    ("given", "now", "holds"),
    [
        (None, "too early", "too early"),
        ("better", "reached", "reached"),
        ("not reached", "worse", "worse"),
        ("reached", "better", "reached"),
        ("reached", "not reached", "reached"),
        ("worse", "not reached", "worse"),
    ],
)
def test_what_holds_is_what_was_given_or_the_same_and_more(given: str | None, now: str, holds: str) -> None:
    assert standing.outcome(None if given is None else replace(GIVEN, outcome=given), now) == holds


# --- signing ---


ASKED = {"feared": {OTTO: "It is slow", PAM: "It is dear"}, "learnings": {OTTO: "It was slow"}}
PEOPLE = {OWNER: "Mia", OTTO: "Otto", PAM: "Pam"}


def test_whoever_says_yes_is_shown_with_their_name_and_nobody_else() -> None:
    trial = a_trial(people=PEOPLE, asked_to_sign=frozenset({OTTO, PAM}), **ASKED)
    shown = life.replay(trial, life.decide(trial, c.Sign(OTTO, True), NOW))
    assert [(one.what, one.by, one.text) for one in shown.signed] == [("fear", OTTO, "It is slow")]
    assert (shown.feared, shown.asked_to_sign) == ({PAM: "It is dear"}, {PAM})
    assert signing.is_settled(shown, OTTO) and not signing.is_settled(shown, PAM)
    kept = life.replay(shown, life.decide(shown, c.Sign(PAM, False), NOW))
    assert kept.feared == {PAM: "It is dear"} and kept.signed == shown.signed and not kept.asked_to_sign
    assert signing.is_settled(kept, PAM) and not signing.is_settled(kept, OWNER)


def test_after_the_review_it_is_about_what_was_learnt() -> None:
    trial = a_trial(step=TrialStep.REVIEWED, people=PEOPLE, asked_to_sign=frozenset({OTTO, PAM}), **ASKED)
    shown = life.replay(trial, life.decide(trial, c.Sign(OTTO, True), NOW))
    assert [(one.what, one.text) for one in shown.signed] == [("learning", "It was slow")]
    assert shown.learnings == {} and len(shown.feared) == 2
    with pytest.raises(Refused) as caught:
        life.decide(trial, c.Sign(PAM, True), NOW)
    assert caught.value.code is Because.NOT_ASKED, "Pam wrote nothing"
