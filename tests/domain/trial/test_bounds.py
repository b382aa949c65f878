"""How far one may go with a trial: the last word, number and moment that is taken, and the first that is not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coldframe.domain.commands import BOT, Command
from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Impossible
from coldframe.domain.trial import commands as c
from coldframe.domain.trial import facts as f
from coldframe.domain.trial import life, owning
from coldframe.domain.trial.numbers import MAX_NUMBER, check_entry
from coldframe.domain.trial.state import Entry, Figures, Given, Reading, Start, Trial, TrialAction, TrialStep
from tests.domain.trial.test_building import NOW as BUILT
from tests.domain.trial.test_building import PLANNED, REVIEW, being_built
from tests.domain.trial.test_life import (
    EARLIEST,
    NOW,
    OTHER,
    REVIEW_DAY,
    TODAY,
    do,
    in_review,
    log,
    refused,
    running,
)
from tests.speech.trials import FACILITATOR, OWNER, START, a_trial

SECOND, WEEK = timedelta(seconds=1), timedelta(weeks=1)
NOVA = MemberId("nova")


# --- words ----------------------------------------------------------------------------------------------------------


def _asked() -> Trial:
    return do(running(), c.OfferTrial(OWNER, OTHER))


def _logged() -> Trial:
    return do(running(), log(1))


def _again(text: str) -> Command:
    return c.LogWeek(OWNER, Entry(1, Figures(61, 1000), Figures(40, 1000), reason=text), TODAY, correct=True)


TEXTS: dict[str, tuple[int, Callable[[], Trial], Callable[[str], Command]]] = {
    "why it is handed over": (500, running, lambda text: c.OfferTrial(OWNER, OTHER, text)),
    "why it is declined": (500, _asked, lambda text: c.AnswerOffer(OTHER, accept=False, reason=text)),
    "why it is given up": (500, running, lambda text: c.GiveUp(OWNER, text)),
    "what is in the way": (500, running, lambda text: c.SayWhatBlocks(OWNER, text)),
    "why a week is corrected": (300, _logged, _again),
    "how the counting was checked": (300, running, lambda text: c.CheckCounting(OWNER, text)),
    "what was learnt": (1000, running, lambda text: c.Learn(OTHER, text)),
    "why it is stopped": (500, running, lambda text: c.StopEarly(OWNER, text)),
    "what is kept": (1000, in_review, lambda text: c.CloseReview(OWNER, text, "stop", "too small")),
    "why": (500, in_review, lambda text: c.CloseReview(OWNER, "Much", "stop", text)),
    "what stays": (500, in_review, lambda text: c.CloseReview(OWNER, "Much", "change", "as said", text)),
    "why the day moves": (300, being_built, lambda text: c.MoveLive(OWNER, PLANNED + WEEK, text, PLANNED, REVIEW)),
    "what is left out": (500, being_built, lambda text: c.MakeSmaller(OWNER, text, PLANNED, PLANNED, REVIEW)),
    "why it is not built": (500, being_built, lambda text: c.DropTrial(OWNER, text)),
}


@pytest.mark.parametrize("case", TEXTS)
def test_words_are_taken_up_to_their_length(case: str) -> None:
    """Whoever writes more is told by how much."""
    most, trial, asks = TEXTS[case]
    now = REVIEW_DAY if trial is in_review else BUILT if trial is being_built else NOW
    assert life.decide(trial(), asks("x" * most), now)
    found = refused(trial(), asks("x" * (most + 1)), now)
    assert (found.code, found.facts["over"], found.facts["most"]) == (Because.TOO_LONG, 1, most)


def test_three_letters_are_a_reason() -> None:
    """Two say nothing."""
    assert refused(running(), c.StopEarly(OWNER, "no")).facts == {"least": 3}
    assert do(running(), c.StopEarly(OWNER, "bad")).stopped == "bad"


def test_only_what_runs_is_stopped() -> None:
    """What is being built is given up instead."""
    assert refused(being_built(), c.StopEarly(OWNER, "no use"), BUILT).code is Because.TRIAL_OVER


# --- numbers --------------------------------------------------------------------------------------------------------

TAKEN: dict[str, list[Figures]] = {
    "split": [Figures(0, 50), Figures(50, 50), Figures(0, 0)],
    "share": [Figures(50, 50)],
    "rate": [Figures(0, 1), Figures(90, 50)],
    "count": [Figures(0), Figures(MAX_NUMBER)],
    "mean": [Figures(-3.5, 2, 0.0), Figures(-MAX_NUMBER, 50, 1.0)],
    "before-after": [Figures(0), Figures(0.5), Figures(50, 50)],
}
NOT_TAKEN: dict[str, list[tuple[Figures, Impossible]]] = {
    "share": [(Figures(51, 50), Impossible.MORE_THAN_PEOPLE)],
    "count": [
        (Figures(-1), Impossible.COUNT_BELOW_ZERO),
        (Figures(0.5), Impossible.COUNT_NOT_WHOLE),
        (Figures(3, 50), Impossible.ONE_A_WEEK),
        (Figures(2 * MAX_NUMBER), Impossible.NO_NUMBER),
        (Figures(-2 * MAX_NUMBER), Impossible.NO_NUMBER),
    ],
    "mean": [
        (Figures(3, None, 1.0), Impossible.MEAN_INCOMPLETE),
        (Figures(3, 50, float("inf")), Impossible.SPREAD_BELOW_ZERO),
        (Figures(3, 1, 1.0), Impossible.TOO_FEW_FOR_MEAN),
    ],
    "before-after": [(Figures(51, 50), Impossible.MORE_THAN_PEOPLE), (Figures(-1), Impossible.BELOW_ZERO)],
}


def _entry(kind: str, figures: Figures, **more: Any) -> Entry:
    return Entry(1, figures, figures if kind in ("split", "mean", "rate") else None, **more)


@pytest.mark.parametrize("kind", TAKEN)
def test_the_last_numbers_that_can_be_are_taken(kind: str) -> None:
    """Of every design, and the first that cannot be is refused with its reason."""
    criterion = a_trial(kind=kind).criterion
    for figures in TAKEN[kind]:
        check_entry(criterion, _entry(kind, figures))
    for figures, why in NOT_TAKEN.get(kind, ()):
        found = refused(replace(running(), criterion=criterion), c.LogWeek(OWNER, _entry(kind, figures), TODAY))
        assert (found.code, found.facts["why"]) == (Because.BAD_NUMBERS, why), figures


def test_a_harm_is_a_number_and_a_group_too_many_is_none() -> None:
    """Of a gap, too, since harm counts there all the same."""
    for number in (float("nan"), -float("inf"), 2 * MAX_NUMBER):
        for state in ("whole", "broken"):
            entry = Entry(1, Figures(4, 50), Figures(4, 50), state=state, harm=number)  # type: ignore[arg-type]
            found = refused(running(), c.LogWeek(OWNER, entry, TODAY))
            assert (found.facts["field"], found.facts["why"]) == ("harm", Impossible.HARM_NO_NUMBER)
    check_entry(a_trial().criterion, Entry(1, Figures(4, 50), Figures(4, 50), harm=-MAX_NUMBER))
    count = replace(running(), criterion=a_trial(kind="count").criterion)
    found = refused(count, c.LogWeek(OWNER, Entry(1, Figures(4), Figures(4)), TODAY))
    assert (found.facts["field"], found.facts["why"]) == ("control", Impossible.NO_CONTROL)
    found = refused(count, c.LogWeek(OWNER, Entry(1, None), TODAY))
    assert (found.facts["field"], found.facts["why"]) == ("trial", Impossible.NO_NUMBERS)


# --- moments --------------------------------------------------------------------------------------------------------


def test_an_action_is_due_from_now_until_the_review() -> None:
    for due in (NOW, REVIEW_DAY - timedelta(hours=1)):
        assert do(running(), c.MoveAction(OWNER, "a1", due)).actions[0].due == due
    trial = running()
    assert trial.review is not None
    assert do(trial, c.MoveAction(OWNER, "a1", trial.review)).actions[0].due == trial.review
    assert refused(trial, c.MoveAction(OWNER, "a1", NOW - SECOND)).facts == {"at": NOW - SECOND}
    late = refused(trial, c.MoveAction(OWNER, "a1", trial.review + SECOND))
    assert late.facts == {"at": trial.review + SECOND, "latest": trial.review}
    assert refused(trial, c.MoveAction(OWNER, "none", NOW)).code is Because.UNKNOWN_ITEM


def test_a_review_moves_from_its_earliest_day_to_eight_weeks_after_it() -> None:
    latest = EARLIEST + timedelta(weeks=8)
    for at in (EARLIEST, latest):
        assert do(running(), c.MoveReview(OWNER, at, EARLIEST)).review == at
    assert refused(running(), c.MoveReview(OWNER, EARLIEST - SECOND, EARLIEST)).code is Because.REVIEW_TOO_EARLY
    late = refused(running(), c.MoveReview(OWNER, latest + SECOND, EARLIEST))
    assert (late.code, late.facts["latest"]) == (Because.REVIEW_TOO_LATE, latest)
    assert refused(running(), c.MoveReview(OWNER, NOW - SECOND, EARLIEST)).code is Because.IN_THE_PAST
    trial = running()
    assert trial.review is not None and life.decide(trial, c.MoveReview(OWNER, trial.review, EARLIEST), NOW) == ()


def test_after_its_end_the_eight_weeks_run_from_now() -> None:
    """And of a trial that was stopped, the planned weeks need not be over."""
    now = EARLIEST + timedelta(weeks=3)
    assert do(running(), c.MoveReview(BOT, now + timedelta(weeks=8), EARLIEST), now=now).missed_reviews == 1
    found = refused(running(), c.MoveReview(BOT, now + timedelta(weeks=8) + SECOND, EARLIEST), now)
    assert found.facts["latest"] == now + timedelta(weeks=8)
    stopped = do(running(), c.StopEarly(OWNER, "it harms"))
    assert do(stopped, c.MoveReview(OWNER, NOW + WEEK, EARLIEST)).review == NOW + WEEK
    at_once = do(stopped, c.MoveReview(OWNER, NOW + SECOND, EARLIEST), now=NOW + SECOND)
    assert at_once.review == NOW + SECOND, "now is not over yet"


def test_a_review_opens_at_its_moment() -> None:
    trial = running()
    assert trial.review is not None
    assert refused(trial, c.OpenReview(BOT), trial.review - SECOND).code is Because.REVIEW_NOT_DUE
    opened = do(trial, c.OpenReview(BOT), now=trial.review)
    assert opened.step is TrialStep.IN_REVIEW and life.decide(opened, c.OpenReview(BOT), trial.review) == ()
    assert refused(trial, c.CloseReview(OWNER, "Much", "stop", "as said")).code is Because.REVIEW_NOT_DUE


# --- people ---------------------------------------------------------------------------------------------------------


def test_whoever_owns_it_or_is_asked_is_not_asked_again() -> None:
    """Nor somebody who does not take part, nor for what is over."""
    assert refused(running(), c.OfferTrial(FACILITATOR, OWNER)).code is Because.OWNS_ALREADY
    assert refused(running(), c.OfferTrial(OWNER, NOVA)).code is Because.NOT_A_MEMBER
    assert life.decide(_asked(), c.OfferTrial(OWNER, OTHER), NOW) == ()
    assert refused(replace(running(), step=TrialStep.REVIEWED), c.OfferTrial(OWNER, OTHER)).code is Because.TRIAL_OVER
    assert _asked().offers == running().offers + 1


def test_what_nobody_looks_after_is_there_for_the_taking() -> None:
    """Without an owner, or once its review was missed; whoever owns it takes nothing."""
    refused(running(), c.TakeTrial(OTHER))
    assert not owning.may_be_taken(running())
    for trial in (running(owner=None), running(missed_reviews=1)):
        assert owning.may_be_taken(trial)
        taken = life.decide(trial, c.TakeTrial(OTHER), NOW)
        assert taken == (f.OwnerChanged(OTHER, trial.owner, taken=True),)
        assert do(trial, c.TakeTrial(OTHER)).owner == OTHER
    assert not owning.may_be_taken(running(owner=None, step=TrialStep.REVIEWED))
    assert life.decide(running(), c.TakeTrial(OWNER), NOW) == ()


def test_open_actions_of_the_earlier_owner_go_along_and_no_others() -> None:
    """What is done stays who did it; what was in the way of one is not in the way of the other."""
    actions = (
        TrialAction("a1", "Cut", OWNER, NOW),
        TrialAction("a2", "Call", OWNER, NOW, done=NOW),
        TrialAction("a3", "Write", FACILITATOR, NOW),
    )
    trial = running(actions=actions, in_the_way="The tool")
    over = do(trial, c.OfferTrial(OWNER, OTHER), c.AnswerOffer(OTHER, accept=True))
    assert [(a.id, a.who) for a in over.actions] == [("a1", OTHER), ("a2", OWNER), ("a3", FACILITATOR)]
    assert (over.in_the_way, over.asked) == ("", None)
    given = do(trial, c.GiveUp(OWNER, "No time"))
    assert given.owner is None and given.open_actions() == (actions[0], actions[2])


def test_whoever_leaves_while_asked_has_declined_and_whoever_owns_it_has_given_it_up() -> None:
    """In this order, and nothing is said of somebody who was not there, or of what is over."""
    left = life.decide(_asked(), c.LeaveTrial(BOT, OTHER), NOW)
    assert left == (f.OfferDeclined(OTHER, "left"), f.MemberGone(OTHER, FACILITATOR))
    owner = life.decide(running(), c.LeaveTrial(BOT, OWNER), NOW)
    assert owner == (f.MemberGone(OWNER, FACILITATOR), f.OwnerLost(OWNER, "left"))
    assert life.decide(running(), c.LeaveTrial(BOT, NOVA), NOW) == ()
    assert life.decide(replace(running(), step=TrialStep.REVIEWED), c.LeaveTrial(BOT, OWNER), NOW) == ()
    gone = do(running(decision_maker=OTHER, deputy=OTHER), c.LeaveTrial(BOT, OTHER))
    assert (gone.decision_maker, gone.deputy, OTHER in gone.people) == (None, None, False)
    kept = do(running(decision_maker=OTHER, deputy=OTHER), c.LeaveTrial(BOT, OWNER))
    assert (kept.decision_maker, kept.deputy) == (OTHER, OTHER)


def test_when_all_have_left_whoever_comes_facilitates() -> None:
    """While somebody facilitates, whoever comes only takes part; coming twice is coming once."""
    empty = do(running(), *(c.LeaveTrial(BOT, m) for m in (OTHER, OWNER, FACILITATOR)))
    assert empty.people == {}
    assert do(empty, c.JoinTrial(BOT, NOVA, "Nova")).facilitator == NOVA
    came = do(running(), c.JoinTrial(BOT, NOVA, "Nova"))
    assert (came.facilitator, came.people[NOVA]) == (FACILITATOR, "Nova")
    assert life.decide(came, c.JoinTrial(BOT, NOVA, "Nova"), NOW) == ()
    assert life.decide(replace(running(), step=TrialStep.DROPPED), c.JoinTrial(BOT, NOVA, "Nova"), NOW) == ()


def test_a_proposed_trial_is_planned_for_the_day_on_which_it_begins_at_the_earliest() -> None:
    """A later day that was planned stays."""
    for planned, expected in ((START - WEEK, START), (START + WEEK, START + WEEK), (None, START)):
        waiting = replace(running(), step=TrialStep.PROPOSED, owner=None, asked=OTHER, starts=None)
        waiting = replace(waiting, planned_live=planned)
        begun = do(waiting, c.AnswerOffer(OTHER, accept=True, start=Start(START, "Europe/London", REVIEW_DAY)))
        assert begun.planned_live == expected
    asked = replace(running(), asked=OTHER)
    (changed,) = life.decide(asked, c.AnswerOffer(OTHER, accept=True, start=None), NOW)
    assert changed == f.OwnerChanged(OTHER, OWNER), "what runs does not start again"


def test_a_tick_can_be_taken_off_again() -> None:
    """By whoever has the action, or the owner; what was not ticked is not unticked."""
    ticked = do(running(), c.Tick(OWNER, "a1"))
    assert do(ticked, c.Tick(OWNER, "a1", done=False)).actions[0].done is None
    assert life.decide(running(), c.Tick(OWNER, "a1", done=False), NOW) == ()


def test_what_is_in_the_way_is_said_once_and_can_be_taken_away() -> None:
    said = do(running(), c.SayWhatBlocks(OWNER, "The tool"))
    assert said.in_the_way == "The tool" and life.decide(said, c.SayWhatBlocks(OWNER, "The tool"), NOW) == ()
    assert do(said, c.SayWhatBlocks(OWNER, "")).in_the_way == ""


def test_a_reading_that_says_the_same_after_as_many_weeks_is_none() -> None:
    """After another week it is one, though it says the same."""
    one = Reading("too early", "still-open", "...", 0.4, weeks=1)
    seen = do(_logged(), c.TakeReading(BOT, one))
    assert life.decide(seen, c.TakeReading(BOT, one), NOW) == ()
    assert life.decide(seen, c.TakeReading(BOT, replace(one, weeks=2)), NOW)
    assert do(seen, c.TakeReading(BOT, replace(one, weeks=0))).looks == (1,), "no week is no look"


def test_a_verdict_is_written_down_when_it_is_first_read() -> None:
    """With what it rests on; read again it is the same one."""
    reading = Reading("reached", "target-reached", "Reached.", None, weeks=1)
    given = do(_logged(), c.TakeReading(BOT, reading))
    assert given.given == (Given("reached", "Reached.", 1, ((1, 1),)),)
    assert do(given, c.TakeReading(BOT, replace(reading, weeks=2))).given == given.given
