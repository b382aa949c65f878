"""A trial after the commitment, rule by rule, through `decide` and `evolve` alone."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from coldframe.domain.commands import BOT, Command
from coldframe.domain.names import MemberId, PlanId
from coldframe.domain.refusals import Because, Impossible, Refused
from coldframe.domain.state import Criterion
from coldframe.domain.trial import commands as c
from coldframe.domain.trial import facts as f
from coldframe.domain.trial import life
from coldframe.domain.trial.state import Entry, Figures, Reading, Start, Trial, TrialAction, TrialStep, WeekWord
from tests.domain.play import D, F, Play, Step
from tests.speech.trials import FACILITATOR, OWNER, START, a_trial

OTHER = MemberId("otto")
MORE = (MemberId("pam"), MemberId("quin"))
NOW = datetime.combine(START, datetime.min.time(), UTC) + timedelta(weeks=2, hours=10)
TODAY = START + timedelta(weeks=2)
REVIEW_DAY = datetime.combine(START, datetime.min.time(), UTC) + timedelta(weeks=4, hours=11)
EARLIEST = datetime.combine(START, datetime.min.time(), UTC) + timedelta(weeks=4)


def running(**changes: Any) -> Trial:
    people = {OWNER: "Mia", FACILITATOR: "Faye", OTHER: "Otto"}
    action = TrialAction("a1", "When it is ten I cut the form", OWNER, NOW - timedelta(days=10))
    return a_trial(**({"people": people, "actions": (action,)} | changes))


def do(trial: Trial, *commands: Command, now: datetime = NOW) -> Trial:
    for command in commands:
        trial = life.replay(trial, life.decide(trial, command, now))
    return trial


def refused(trial: Trial, command: Command, now: datetime = NOW) -> Refused:
    with pytest.raises(Refused) as caught:
        life.decide(trial, command, now)
    return caught.value


def log(week: int, control: Figures | None = None, trial: Figures | None = None, **more: Any) -> c.LogWeek:
    entry = Entry(week, trial or Figures(58, 1000), control or Figures(40, 1000), **more)
    return c.LogWeek(OWNER, entry, TODAY)


def correction(week: int, reason: str) -> c.LogWeek:
    entry = Entry(week, Figures(61, 1000), Figures(40, 1000), reason=reason)
    return c.LogWeek(OWNER, entry, TODAY, correct=True)


# --- beginnings -----------------------------------------------------------------------------------------------------


def test_a_trial_takes_everything_that_was_frozen_from_the_commitment() -> None:
    """Measure, owner, actions, review and chances are those of the sealed commitment; the trial is under way."""
    play = Play().to(Step.COMMITTED)
    plan = PlanId("p0")
    begun = life.from_commitment(play.round, plan, "r1-p0", START, "Europe/London")
    assert (begun.step, begun.sealed, begun.zone) == (TrialStep.BUILDING, START, "Europe/London")
    assert (begun.owner, begun.facilitator) == (D, F)
    assert begun.criterion == play.round.plans[plan].criterion
    assert begun.review == play.round.choices[plan].review
    assert [a.text for a in begun.actions] == ["When it is ten I call the first team"]


def test_the_audit_trail_of_a_trial_holds_no_private_words() -> None:
    """A learning, a reason and a name leave nothing in the public record of their facts."""
    secret = "only for the review"
    for fact in (
        f.LearningWritten(OWNER, secret),
        f.OfferDeclined(OTHER, secret),
        f.BlockSaid(secret),
        f.OwnerLost(OWNER, secret),
    ):
        assert secret not in json.dumps(fact.public_record())


# --- ownership ------------------------------------------------------------------------------------------------------


def test_a_hand_over_counts_only_with_the_others_own_yes() -> None:
    """Until the asked person accepts, the owner stays; then open actions go along."""
    asked = do(running(), c.OfferTrial(OWNER, OTHER))
    assert (asked.owner, asked.asked) == (OWNER, OTHER)
    assert refused(asked, c.AnswerOffer(FACILITATOR, accept=True)).code is Because.NOT_ASKED
    over = do(asked, c.AnswerOffer(OTHER, accept=True))
    assert (over.owner, over.asked) == (OTHER, None)
    assert over.actions[0].who == OTHER


def test_a_declined_hand_over_leaves_it_with_its_owner() -> None:
    """A no changes nobody's ownership."""
    asked = do(running(), c.OfferTrial(OWNER, OTHER), c.AnswerOffer(OTHER, accept=False, reason="no time"))
    assert (asked.owner, asked.asked) == (OWNER, None)


def test_nobody_but_owner_and_facilitator_hands_it_over() -> None:
    """Somebody else of the team cannot give away what is not theirs."""
    assert refused(running(), c.OfferTrial(OTHER, OTHER)).code is Because.NOT_OWNER


def test_an_owner_who_leaves_leaves_it_without_owner() -> None:
    """The trial goes on, without an owner, and can be given to somebody."""
    gone = do(running(), c.LeaveTrial(BOT, OWNER))
    assert gone.owner is None and gone.step is TrialStep.RUNNING
    assert do(gone, c.OfferTrial(FACILITATOR, OTHER), c.AnswerOffer(OTHER, accept=True)).owner == OTHER


def test_when_the_facilitator_leaves_somebody_else_hears_of_the_trial() -> None:
    """Its deputy, else its owner; nobody who left is spoken to or asked."""
    gone = do(running(deputy=OTHER), c.LeaveTrial(BOT, FACILITATOR))
    assert (gone.facilitator, gone.deputy, gone.owner) == (OTHER, None, OWNER)
    assert refused(gone, c.OfferTrial(OWNER, FACILITATOR)).code is Because.NOT_A_MEMBER
    assert do(running(), c.LeaveTrial(BOT, FACILITATOR)).facilitator == OWNER


def test_a_new_colleague_may_own_a_running_trial() -> None:
    """Who came after the commitment can be asked, and their own yes counts."""
    came = do(running(), c.JoinTrial(BOT, MemberId("nova"), "Nova"))
    assert do(came, c.OfferTrial(OWNER, MemberId("nova")), c.AnswerOffer(MemberId("nova"), accept=True)).owner == "nova"


def test_what_somebody_gave_in_confidence_is_forgotten_with_them() -> None:
    """Chance and learning go, those of others stay."""
    trial = running(chances={OTHER: 40, OWNER: 60}, learnings={OTHER: "mine"})
    left = do(trial, c.ForgetIn(BOT, OTHER))
    assert (dict(left.chances), dict(left.learnings)) == ({OWNER: 60}, {})


def test_a_proposed_trial_starts_with_its_owners_yes() -> None:
    """It has no weeks before somebody said yes; then it is built, until the day that was planned or that day."""
    waiting = replace(running(), step=TrialStep.PROPOSED, owner=None, asked=OTHER, starts=None)
    assert refused(waiting, log(1)).code is Because.TRIAL_NOT_STARTED
    begun = do(waiting, c.AnswerOffer(OTHER, accept=True, start=Start(START, "Europe/London", REVIEW_DAY)))
    assert (begun.step, begun.owner, begun.sealed, begun.starts) == (TrialStep.BUILDING, OTHER, START, None)
    assert (begun.planned_live, begun.review, begun.zone) == (START, REVIEW_DAY, "Europe/London")


# --- actions --------------------------------------------------------------------------------------------------------


def test_ticking_an_action_is_one_effect_however_often() -> None:
    """The second tick changes nothing; only who has it, or the owner, may tick it."""
    ticked = do(running(), c.Tick(OWNER, "a1"))
    assert ticked.actions[0].done == NOW
    assert life.decide(ticked, c.Tick(OWNER, "a1"), NOW) == ()
    assert refused(running(), c.Tick(OTHER, "a1")).code is Because.NOT_YOURS


@pytest.mark.parametrize(
    ("due", "because"),
    [(NOW - timedelta(days=1), Because.IN_THE_PAST), (REVIEW_DAY + timedelta(days=1), Because.ACTION_TOO_FAR)],
)
def test_an_action_moves_within_the_trial(due: datetime, because: Because) -> None:
    """Not into the past and not beyond the review."""
    assert refused(running(), c.MoveAction(OWNER, "a1", due)).code is because
    assert do(running(), c.MoveAction(OWNER, "a1", NOW + timedelta(days=2))).dates_moved == 1


# --- numbers --------------------------------------------------------------------------------------------------------


def test_a_week_is_logged_when_it_is_over() -> None:
    """A whole week counts; one that is not over is refused with the day from which it can be logged."""
    assert do(running(), log(2)).entry(2) is not None
    early = refused(running(), log(3))
    assert early.code is Because.WEEK_NOT_OVER
    assert early.facts["day"] == date(2026, 3, 23)


@pytest.mark.parametrize("week", [0, 5, 99, -1])
def test_weeks_that_are_none_of_the_trials_are_refused(week: int) -> None:
    """Only planned weeks are taken."""
    assert refused(running(), log(week)).code is Because.WEEK_UNKNOWN


def test_the_same_numbers_again_change_nothing() -> None:
    """A click twice, a message delivered twice: one entry."""
    once = do(running(), log(1))
    assert life.decide(once, log(1), NOW) == ()


def test_other_numbers_for_a_logged_week_need_a_reason_and_keep_the_old_ones() -> None:
    """A second value is asked about; a correction keeps both, and says why."""
    once = do(running(), log(1))
    assert refused(once, log(1, trial=Figures(61, 1000))).code is Because.WEEK_TAKEN
    assert refused(once, correction(1, "")).code is Because.EMPTY
    corrected = do(once, correction(1, "a typo"))
    assert [e.trial.value for e in corrected.weeks[1] if e.trial] == [58, 61]
    assert corrected.weeks[1][-1].reason == "a typo"
    assert corrected.entries()[0].trial == Figures(61, 1000)


BAD: dict[str, tuple[Callable[[], Criterion], Figures, Figures | None]] = {
    "more successes than people": (lambda: a_trial().criterion, Figures(51, 50), Figures(1, 50)),
    "below zero": (lambda: a_trial().criterion, Figures(-1, 50), Figures(1, 50)),
    "no people named": (lambda: a_trial().criterion, Figures(4), Figures(1, 50)),
    "half a person": (lambda: a_trial().criterion, Figures(4.5, 50), Figures(1, 50)),
    "no control": (lambda: a_trial().criterion, Figures(4, 50), None),
    "not a number": (lambda: a_trial().criterion, Figures(float("nan"), 50), Figures(1, 50)),
    "endless": (lambda: a_trial().criterion, Figures(float("inf"), 50), Figures(1, 50)),
    "a count below zero": (lambda: a_trial(kind="count").criterion, Figures(-2), None),
    "half an event": (lambda: a_trial(kind="count").criterion, Figures(2.5), None),
    "a count with a control": (lambda: a_trial(kind="count").criterion, Figures(2), Figures(2)),
    "a mean without its spread": (lambda: a_trial(kind="mean").criterion, Figures(2, 50), Figures(2, 50, 1.0)),
    "a spread below zero": (lambda: a_trial(kind="mean").criterion, Figures(2, 50, -1.0), Figures(2, 50, 1.0)),
    "a mean of one person": (lambda: a_trial(kind="mean").criterion, Figures(2, 1, 1.0), Figures(2, 50, 1.0)),
    "a weekly value below zero": (lambda: a_trial(kind="before-after").criterion, Figures(-0.1), None),
}


@pytest.mark.parametrize("case", BAD, ids=list(BAD))
def test_impossible_numbers_are_refused_and_what_was_there_stays(case: str) -> None:
    """The refusal names the group and the reason; the trial is as it was."""
    criterion, figures, control = BAD[case]
    trial = replace(running(), criterion=criterion())
    caught = refused(trial, c.LogWeek(OWNER, Entry(1, figures, control), TODAY))
    assert caught.code is Because.BAD_NUMBERS
    assert caught.facts["why"] and caught.facts["field"] in ("trial", "control")


@pytest.mark.parametrize(
    ("kind", "figures", "why"),
    [
        ("rate", Figures(4), Impossible.UNITS_AND_EVENTS),
        ("rate", Figures(-1, 50), Impossible.BELOW_ZERO),
        ("rate", Figures(0, -50), Impossible.BELOW_ZERO),
        ("rate", Figures(4.5, 50), Impossible.COUNT_NOT_WHOLE),
        ("rate", Figures(0, 0), Impossible.NO_UNITS),
        ("split", Figures(4), Impossible.TWO_NUMBERS),
        ("split", Figures(0, -50), Impossible.BELOW_ZERO),
        ("split", Figures(4.5, 50), Impossible.NOT_WHOLE),
        ("split", Figures(51, 50), Impossible.MORE_THAN_PEOPLE),
    ],
)
def test_why_a_rate_or_a_share_cannot_be_is_said(kind: str, figures: Figures, why: Impossible) -> None:
    """A unit may have several events, a person did it or not."""
    trial = replace(running(), criterion=a_trial(kind=kind).criterion)
    assert refused(trial, log(1, trial=figures)).facts["why"] is why
    assert kind != "rate" or do(trial, log(1, trial=Figures(51, 50))).entry(1) is not None


@pytest.mark.parametrize("state", ["partial", "broken"])
def test_a_gap_needs_no_numbers_and_makes_the_trial_longer(state: WeekWord) -> None:
    """A lost week is a gap, never a zero; the trial ends a week later, and its review moves with it."""
    later = REVIEW_DAY + timedelta(weeks=1)
    lost = do(running(), c.LogWeek(OWNER, Entry(1, None, state=state), TODAY, review=later))
    assert lost.entries()[0].trial is None
    assert (running().last_week(), lost.last_week()) == (4, 5)
    assert lost.review == later
    assert (lost.missed_reviews, lost.dates_moved) == (0, 1)


def test_gaps_lengthen_a_trial_to_twice_its_weeks_at_most() -> None:
    """A week that is put right later leaves the review where it is; one lost in the review lets it run again."""
    trial = running()
    for week in range(1, 9):
        assert trial.starts is not None
        over = trial.starts + timedelta(weeks=week)
        trial = do(trial, c.LogWeek(OWNER, Entry(week, None, state="broken"), over))
    assert trial.last_week() == 8
    lost = c.LogWeek(OWNER, Entry(2, None, state="broken"), REVIEW_DAY.date(), review=REVIEW_DAY + timedelta(weeks=1))
    late = do(in_review(), lost, now=REVIEW_DAY)
    assert (late.step, late.last_week()) == (TrialStep.RUNNING, 5)


def test_only_owner_and_facilitator_log() -> None:
    """Numbers of somebody else are refused."""
    entry = Entry(1, Figures(5, 50), Figures(4, 50))
    assert refused(running(), c.LogWeek(OTHER, entry, TODAY)).code is Because.NOT_OWNER
    assert life.decide(running(), c.LogWeek(FACILITATOR, entry, TODAY), NOW)


def test_looks_count_weeks_seen_and_not_corrections() -> None:
    """A look after a correction of the same weeks is the same look; two weeks imported at once are one."""
    one = Reading("too early", "still-open", "…", 0.4, weeks=1)
    seen = do(running(), log(1), c.TakeReading(BOT, one), correction(1, "typo"), c.TakeReading(BOT, one))
    assert seen.looks == (1,)
    both = do(running(), log(1), log(2), c.TakeReading(BOT, replace(one, weeks=2)))
    assert both.looks == (2,)


# --- review ---------------------------------------------------------------------------------------------------------


def in_review() -> Trial:
    reading = Reading("not met", "target-excluded", "Criterion not met.", None, 4)
    return do(running(), log(1), c.TakeReading(BOT, reading), c.OpenReview(BOT), now=REVIEW_DAY)


def test_a_review_opens_at_its_date_and_not_before() -> None:
    """Time alone opens it."""
    assert refused(running(), c.OpenReview(BOT), NOW).code is Because.REVIEW_NOT_DUE
    assert refused(running(), c.OpenReview(OWNER), REVIEW_DAY).code is Because.NOT_YOURS
    assert in_review().step is TrialStep.IN_REVIEW


def test_a_review_never_comes_before_the_trials_end() -> None:
    """Half the weeks would decide by chance; the earliest date is named."""
    early = refused(running(), c.MoveReview(OWNER, EARLIEST - timedelta(days=2), EARLIEST))
    assert early.code is Because.REVIEW_TOO_EARLY and early.facts["earliest"] == EARLIEST
    assert refused(running(), c.MoveReview(OWNER, EARLIEST + timedelta(weeks=9), EARLIEST)).code is (
        Because.REVIEW_TOO_LATE
    )
    moved = do(running(), c.MoveReview(OWNER, EARLIEST + timedelta(days=3), EARLIEST))
    assert moved.review == EARLIEST + timedelta(days=3) and moved.missed_reviews == 0


def test_a_missed_review_goes_on_at_its_new_date() -> None:
    """Re-dated by time, counted, and opened again then."""
    later = REVIEW_DAY + timedelta(days=7)
    again = do(in_review(), c.MoveReview(BOT, later, EARLIEST), now=REVIEW_DAY)
    assert (again.step, again.missed_reviews, again.review) == (TrialStep.RUNNING, 1, later)
    assert do(again, c.OpenReview(BOT), now=later).step is TrialStep.IN_REVIEW


def test_closing_keeps_the_verdict_and_erases_who_learnt_what() -> None:
    """The last reading is the verdict; learnings of three others are shown without names, with what the owner wrote
    before and is not what they keep now."""
    team = replace(in_review(), people={m: m for m in (OWNER, OTHER, *MORE)})
    learnt = [c.Learn(m, f"Forms are read, says the {n}.") for n, m in enumerate((OTHER, *MORE), 1)]
    written = do(team, c.Learn(OTHER, "Before"), *learnt, c.Learn(OWNER, "Mine"), now=REVIEW_DAY)
    closed = do(written, c.CloseReview(OWNER, "Nobody minds", "stop", "too small"), now=REVIEW_DAY)
    assert closed.step is TrialStep.REVIEWED and closed.closing is not None
    assert (closed.closing.outcome, closed.closing.decision) == ("not met", "stop")
    assert sorted(closed.shown_learnings) == [*(f"Forms are read, says the {n}." for n in (1, 2, 3)), "Mine"]
    assert not closed.learnings
    same = do(written, c.CloseReview(OWNER, "Mine", "stop", "too small"), now=REVIEW_DAY)
    assert "Mine" not in same.shown_learnings and len(same.shown_learnings) == 3
    assert refused(closed, log(2), REVIEW_DAY).code is Because.TRIAL_OVER


def test_learnings_of_two_are_not_shown_and_stay_for_whoever_wrote_them() -> None:
    """Three times one person is one person; whoever takes theirs back has written none."""
    team = replace(in_review(), people={m: m for m in (OWNER, OTHER, *MORE)})
    learnt = [c.Learn(OTHER, f"Word {n}") for n in range(3)]
    taken_back = (c.Learn(MORE[0], "Never mind"), c.Learn(MORE[0], " "), c.Learn(MORE[1], "Calls help"))
    written = do(team, *learnt, *taken_back, c.Learn(OWNER, "Mine"), now=REVIEW_DAY)
    closed = do(written, c.CloseReview(OWNER, "Nobody minds", "stop", "too small"), now=REVIEW_DAY)
    assert closed.shown_learnings == ()
    assert closed.learnings == {OTHER: "Word 2", MORE[1]: "Calls help", OWNER: "Mine"}


@pytest.mark.parametrize(
    ("command", "because"),
    [
        (c.CloseReview(OWNER, "Nobody minds", "celebrate", "too small"), Because.BAD_SETTING),
        (c.CloseReview(OWNER, "", "stop", "too small"), Because.EMPTY),
        (c.CloseReview(OWNER, "Nobody minds", "stop", " "), Because.EMPTY),
        (c.CloseReview(OTHER, "Nobody minds", "stop", "too small"), Because.NOT_OWNER),
        (c.CloseReview(OWNER, "Nobody minds", "scale", "it works"), Because.WHO_AND_WHEN),
        (c.CloseReview(OWNER, "Nobody minds", "scale", "it works", owner=OWNER), Because.WHO_AND_WHEN),
        (c.CloseReview(OWNER, "Nobody minds", "scale", "it works", owner=OWNER, due=REVIEW_DAY), Because.IN_THE_PAST),
        (c.CloseReview(OWNER, "Nobody minds", "change", "too small"), Because.WHAT_STAYS),
        (c.CloseReview(OWNER, "Nobody minds", "stop", "too small", "the form"), Because.WHO_AND_WHEN),
        (c.CloseReview(OWNER, "Nobody minds", "stop", "too small", "the form", OWNER), Because.WHO_AND_WHEN),
    ],
)
def test_a_review_closes_with_a_learning_a_decision_and_a_reason(command: Command, because: Because) -> None:
    """Nothing of them may be missing, and only the owner (or the facilitator) closes."""
    assert refused(in_review(), command, REVIEW_DAY).code is because


def test_stopping_early_is_the_owners_and_brings_the_review_at_once() -> None:
    """The reason is kept; nobody else stops it, and nobody twice."""
    assert refused(running(), c.StopEarly(FACILITATOR, "worse")).code is Because.NOT_OWNER
    assert refused(running(), c.StopEarly(OWNER, "")).code is Because.EMPTY
    stopped = do(running(), c.StopEarly(OWNER, "sign-ups fell under 2 %"))
    assert (stopped.step, stopped.review, stopped.stopped) == (TrialStep.IN_REVIEW, NOW, "sign-ups fell under 2 %")
    assert refused(stopped, c.StopEarly(OWNER, "again")).code is Because.TRIAL_OVER


def test_the_table_of_a_trials_life_has_no_way_back_from_its_end() -> None:
    """No fact leads out of a reviewed or dropped trial."""
    ends = {TrialStep.REVIEWED, TrialStep.DROPPED}
    assert not [step for step, _ in life.TRANSITIONS if step in ends]
    assert "running --> in_review: StoppedEarly" in life.diagram()


def test_weeks_begin_on_the_first_day_in_the_owners_calendar() -> None:
    """Week one is over seven days after the first day, whatever the hour."""
    trial = running()
    assert trial.week_over(1) == date(2026, 3, 9)
    assert trial.unlogged(date(2026, 3, 8)) == ()
    assert trial.unlogged(date(2026, 3, 9)) == (1,)
