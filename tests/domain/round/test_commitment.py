"""The commitment: what it needs, and who may say so."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coldframe.domain.commands import BOT, Command
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.people.commands import Leave
from coldframe.domain.refusals import Because, Impossible, Refused
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan, DropChoice, OfferToOwn
from coldframe.domain.round.commitment import (
    AcceptOverlap,
    Commit,
    CompleteCriterion,
    Forecast,
    NameChecker,
    SetActions,
    SetNextRound,
    missing,
    overlaps,
)
from coldframe.domain.round.foretelling import ShowOdds, odds_unseen
from coldframe.domain.round.life import decide
from coldframe.domain.round.moves import Close, Pause
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.state import Action, Alongside, Odds, Population
from tests.domain.play import DAY, OTHERS, D, F, Play, a_plan, commit_one, criterion, keep_the_rest, live_now

INES, JON = OTHERS[:2]
P0, P1, P2 = (PlanId(f"p{n}") for n in range(3))


def _commitment(**settings: int) -> Play:
    """Three plans on three measures."""
    play = Play(**settings).to(Step.PLANS)
    for number, member in enumerate((F, D, INES)):
        page = a_plan(f"p{number}", criterion=criterion(measure=f"measure {number}", counted=f"teams of list {number}"))
        play.do(HandInPlan(member, page))
    play.close()
    return play.to(Step.COMMITMENT)


def _owned(play: Play, plan: PlanId = P0, owner: MemberId = INES) -> None:
    play.do(ChoosePlan(D, plan), AskOwner(F, plan, owner), AnswerOwnership(owner, plan, accept=True))


def _action(play: Play, days: float = 1, who: MemberId = INES, text: str = "When it is ten I call") -> Action:
    return Action("a", text, who, play.now + days * DAY)


def _completed(play: Play, plan: PlanId = P0, owner: MemberId = INES) -> None:
    _owned(play, plan, owner)
    play.do(SetActions(owner, plan, (_action(play),)), live_now(play.now, owner, plan, play.now + 30 * DAY))
    play.do(keep_the_rest(play.round), SetNextRound(F, play.now + 60 * DAY))


# --- two at a time ---


def test_a_third_trial_is_refused_with_the_day_a_place_is_free() -> None:
    """At most two are under way, counting those still running."""
    play = _commitment()
    play.do(ChoosePlan(D, P0), ChoosePlan(F, P1))
    assert play.refused(ChoosePlan(D, P2)) is Because.NO_FREE_PLACE
    assert play.do(ChoosePlan(D, P0)) == ()
    free = play.now + 9 * DAY
    with pytest.raises(Refused) as refused:
        decide(_commitment().round, ChoosePlan(D, P0, running_trials=2, free_on=free), play.now)
    assert refused.value.facts == {"most": 2, "running": 2, "free_on": free}


def test_one_running_trial_leaves_one_place() -> None:
    """Trials of earlier rounds take their places."""
    play = _commitment()
    play.do(ChoosePlan(D, P0, running_trials=1))
    assert play.refused(ChoosePlan(D, P1, running_trials=1)) is Because.NO_FREE_PLACE


def test_a_trial_that_started_meanwhile_is_counted_at_the_seal() -> None:
    """The limit is looked at again when the commitment is sealed."""
    play = _commitment()
    _completed(play)
    assert play.refused(Commit(D, running_trials=2)) is Because.NO_FREE_PLACE
    play.do(Commit(D, running_trials=1))
    assert play.round.step is Step.COMMITTED


def test_a_choice_can_be_dropped() -> None:
    """A dropped choice makes room."""
    play = _commitment(trials_at_once=1)
    play.do(ChoosePlan(D, P0), DropChoice(D, P0))
    assert play.refused(DropChoice(D, P0)) is Because.UNKNOWN_ITEM
    play.do(ChoosePlan(D, P1))
    assert list(play.round.choices) == [P1]


@pytest.mark.parametrize(
    "command",
    [
        ChoosePlan(INES, P0),
        DropChoice(INES, P0),
        AskOwner(INES, P0, JON),
        SetNextRound(INES, Play().now + 90 * DAY),
        AcceptOverlap(INES),
        Commit(INES, 0),
        live_now(Play().now, INES, P0, Play().now + 90 * DAY),
        CompleteCriterion(INES, P0, criterion()),
    ],
)
def test_only_facilitator_and_decision_maker_settle(command: Command) -> None:
    """The two settle; the owner may set what belongs to the own trial; nobody else."""
    play = _commitment()
    play.do(ChoosePlan(F, P0))
    assert play.refused(command) is Because.NOT_FACILITATOR


def test_nothing_is_settled_while_the_round_rests() -> None:
    """A pause holds the commitment too."""
    play = _commitment()
    _completed(play)
    play.do(Pause(F))
    assert play.refused(ChoosePlan(D, P1)) is Because.PAUSED
    assert play.refused(Commit(D, 0)) is Because.PAUSED


def test_only_a_plan_of_the_round_is_chosen_and_only_now() -> None:
    """Unknown plans and early choices are refused."""
    play = _commitment()
    assert play.refused(ChoosePlan(D, PlanId("no"))) is Because.UNKNOWN_ITEM
    assert Play(placed_by="facilitator").to(Step.PLACEMENT).refused(ChoosePlan(D, P0)) is Because.NOT_OPEN_YET


# --- owners ---


def test_an_owner_accepts_themselves() -> None:
    """Being asked is not owning; only one's own yes is."""
    play = _commitment()
    play.do(ChoosePlan(D, P0), AskOwner(F, P0, INES))
    assert play.round.choices[P0].owner is None
    assert play.refused(AnswerOwnership(JON, P0, accept=True)) is Because.NOT_ASKED
    play.do(AnswerOwnership(INES, P0, accept=True))
    assert play.round.choices[P0].owner == INES


def test_whoever_names_themselves_has_said_yes() -> None:
    """Nobody is asked what they have just said; of somebody else it is still asked."""
    play = _commitment()
    play.do(ChoosePlan(D, P0), AskOwner(F, P0, F))
    assert (play.round.choices[P0].owner, play.round.choices[P0].asked) == (F, None)


def test_a_declined_ownership_leaves_the_trial_without_owner() -> None:
    """A no is kept with its reason, and somebody else can be asked."""
    play = _commitment()
    play.do(ChoosePlan(D, P0), AskOwner(F, P0, INES), AnswerOwnership(INES, P0, accept=False, reason="No time"))
    choice = play.round.choices[P0]
    assert (choice.owner, choice.asked, choice.declined) == (None, None, ((INES, "No time"),))
    assert play.refused(AnswerOwnership(INES, P0, accept=True)) is Because.NOT_ASKED
    assert (P0, Because.OWNER_MISSING) in missing(play.round)
    play.do(AskOwner(D, P0, JON), AnswerOwnership(JON, P0, accept=True))
    assert play.round.choices[P0].owner == JON


def test_who_offered_and_is_asked_has_accepted() -> None:
    """An offer and a request make an owner, in either order."""
    play = _commitment()
    play.do(ChoosePlan(D, P0), OfferToOwn(INES, P0))
    assert play.do(OfferToOwn(INES, P0)) == ()
    assert play.round.choices[P0].owner is None
    play.do(AskOwner(F, P0, INES))
    assert play.round.choices[P0].owner == INES
    play.do(ChoosePlan(D, P1), AskOwner(F, P1, JON), OfferToOwn(JON, P1))
    assert play.round.choices[P1].owner == JON
    play.do(OfferToOwn(INES, P1))
    assert (play.round.choices[P1].owner, play.round.choices[P1].offers) == (JON, (INES,))


def test_asking_an_owner_again_takes_nothing_back() -> None:
    """Who has accepted owns it; asking them anew is refused, asking the same person twice changes nothing."""
    play = _commitment()
    play.do(ChoosePlan(D, P0), AskOwner(F, P0, INES))
    assert play.do(AskOwner(F, P0, INES)) == ()
    play.do(AnswerOwnership(INES, P0, accept=True))
    assert play.refused(AskOwner(F, P0, INES)) is Because.OWNS_ALREADY
    assert play.round.choices[P0].owner == INES


def test_the_owner_stays_until_somebody_else_has_accepted() -> None:
    """Asking another person leaves the trial with its owner; only the other's yes moves it, their no does not."""
    play = _commitment()
    play.do(ChoosePlan(D, P0), AskOwner(F, P0, INES), AnswerOwnership(INES, P0, accept=True))
    play.do(AskOwner(F, P0, JON))
    assert play.round.choices[P0].owner == INES
    play.do(AnswerOwnership(JON, P0, accept=False))
    assert (play.round.choices[P0].owner, play.round.choices[P0].asked) == (INES, None)
    play.do(AskOwner(F, P0, JON), AnswerOwnership(JON, P0, accept=True))
    assert (play.round.choices[P0].owner, play.round.choices[P0].asked) == (JON, None)


def test_an_owner_may_step_back_before_the_seal() -> None:
    """A yes binds nobody before the commitment: a later no leaves the trial without an owner."""
    play = _commitment()
    play.do(ChoosePlan(D, P0), AskOwner(F, P0, INES), AnswerOwnership(INES, P0, accept=True))
    play.do(AnswerOwnership(INES, P0, accept=False, reason="Too much to do."))
    assert play.round.choices[P0].owner is None
    assert play.round.choices[P0].declined == ((INES, "Too much to do."),)


def test_an_owner_is_somebody_of_the_round() -> None:
    """Neither strangers nor who left can be asked."""
    play = _commitment()
    play.do(ChoosePlan(D, P0), Leave(BOT, JON))
    assert play.refused(AskOwner(F, P0, JON)) is Because.NOT_A_MEMBER
    assert play.refused(AskOwner(F, P0, MemberId("zoe"))) is Because.NOT_A_MEMBER
    assert play.refused(AskOwner(F, P1, INES)) is Because.UNKNOWN_ITEM


# --- actions, review, next round ---


@pytest.mark.parametrize(
    ("days", "code"), [(-0.1, Because.IN_THE_PAST), (7.01, Because.ACTION_TOO_FAR), (30, Because.ACTION_TOO_FAR)]
)
def test_first_actions_are_due_within_seven_days(days: float, code: Because) -> None:
    """Not in the past and not later than a week."""
    play = _commitment()
    _owned(play)
    assert play.refused(SetActions(INES, P0, (_action(play, days),))) is code
    play.do(SetActions(INES, P0, (_action(play, 7), _action(play, 0))))
    assert len(play.round.choices[P0].actions) == 2


def test_actions_are_said_and_somebodys() -> None:
    """No empty list, no empty text, nobody from outside; the same again changes nothing."""
    play = _commitment()
    _owned(play)
    assert play.refused(SetActions(INES, P0, ())) is Because.ACTIONS_MISSING
    assert play.refused(SetActions(INES, P0, (_action(play, text=" "),))) is Because.EMPTY
    assert play.refused(SetActions(INES, P0, (_action(play, who=MemberId("zoe")),))) is Because.NOT_A_MEMBER
    assert play.refused(SetActions(JON, P0, (_action(play),))) is Because.NOT_FACILITATOR
    play.do(SetActions(F, P0, (_action(play),)))
    assert play.do(SetActions(F, P0, (_action(play),))) == ()


def test_the_review_comes_after_the_trials_weeks() -> None:
    """Not before the last full week is over."""
    play = _commitment()
    _owned(play)
    assert (
        play.refused(live_now(play.now, INES, P0, play.now + timedelta(weeks=4, seconds=-1)))
        is Because.REVIEW_TOO_EARLY
    )
    play.do(live_now(play.now, INES, P0, play.now + timedelta(weeks=4)))


def test_the_next_round_lies_ahead() -> None:
    """A date that has passed is none."""
    play = _commitment()
    assert play.refused(SetNextRound(F, play.now)) is Because.IN_THE_PAST


def test_dates_that_have_passed_are_asked_for_again_at_the_seal() -> None:
    """What was right when it was set may have passed while the rest was settled."""
    play = _commitment()
    _completed(play)
    play.wait(2 * DAY)
    assert play.refused(Commit(D, 0)) is Because.ACTIONS_MISSING
    play.do(SetActions(INES, P0, (_action(play),)))
    assert play.refused(Commit(D, 0)) is Because.LIVE_MISSING
    play.do(live_now(play.now, INES, P0, play.now + 28 * DAY), Commit(D, 0))
    assert play.round.step is Step.COMMITTED


def test_a_next_round_that_has_passed_is_refused_at_the_seal() -> None:
    """The next round's date is looked at again."""
    play = _commitment()
    _completed(play)
    play.do(SetNextRound(F, play.now + DAY))
    play.wait(2 * DAY)
    play.do(SetActions(INES, P0, (_action(play),)), live_now(play.now, INES, P0, play.now + 40 * DAY))
    assert play.refused(Commit(D, 0)) is Because.IN_THE_PAST


# --- what is missing ---


def test_the_commitment_says_everything_that_it_lacks() -> None:
    """Owner, actions and review for each plan, and the date of the next round; then nothing."""
    play = _commitment()
    assert missing(play.round) == ((None, Because.NO_CHOICE),)
    assert play.refused(Commit(D, 0)) is Because.NO_CHOICE
    play.do(ChoosePlan(D, P0))
    assert missing(play.round) == (
        (P0, Because.OWNER_MISSING),
        (P0, Because.ACTIONS_MISSING),
        (P0, Because.LIVE_MISSING),
        (None, Because.FATES_MISSING),
        (None, Because.NEXT_ROUND_MISSING),
    )
    assert play.refused(Commit(D, 0)) is Because.OWNER_MISSING
    _completed(play)
    assert missing(play.round) == ()
    play.do(Commit(F, 0))
    assert play.round.step is Step.COMMITTED


def test_an_incomplete_criterion_holds_the_seal() -> None:
    """Measure, baseline, target, people a week, who is counted, stop line and harm are all there, checked like new."""
    play = _commitment()
    _completed(play)
    play.do(CompleteCriterion(INES, P0, criterion(target=None)))
    assert play.refused(Commit(D, 0)) is Because.CRITERION_INCOMPLETE
    assert play.refused(CompleteCriterion(INES, P0, criterion(measure=" "))) is Because.EMPTY
    assert play.refused(CompleteCriterion(INES, P0, criterion(target=float("inf")))) is Because.BAD_NUMBERS
    play.do(CompleteCriterion(INES, P0, criterion(target=0.3)), Commit(D, 0))
    assert play.round.plans[P0].criterion.target == 0.3


def test_a_plan_with_a_caution_needs_a_named_checker() -> None:
    """No name, no start; the name can be given from the ballot on."""
    play = Play().to(Step.PLANS)
    play.do(HandInPlan(F, a_plan("p0", title="A lower price in May")))
    assert play.refused(NameChecker(INES, P0, "Legal")) is Because.NOT_OPEN_YET
    play.close()
    play.do(NameChecker(INES, P0, "Legal desk"))
    assert play.round.plans[P0].checked_by == "Legal desk"
    assert play.refused(NameChecker(INES, P0, "")) is Because.EMPTY
    assert play.refused(NameChecker(INES, PlanId("no"), "x")) is Because.UNKNOWN_ITEM


def test_without_a_checker_a_plan_with_a_caution_does_not_start() -> None:
    """The seal waits for the name."""
    play = Play().to(Step.PLANS)
    play.do(HandInPlan(F, a_plan("p0", title="A lower price in May")))
    play.close()
    assert play.round.step is Step.COMMITMENT
    _completed(play)
    assert play.refused(Commit(D, 0)) is Because.CHECK_MISSING
    play.do(NameChecker(INES, P0, "Legal desk"), Commit(D, 0))


# --- two that cannot be told apart ---


def test_two_trials_on_the_same_people_need_a_yes_whatever_they_measure() -> None:
    """By who is counted, in whatever case of the words, and by who can be in it at all."""
    play = _commitment()
    assert play.do(AcceptOverlap(D)) == ()
    _completed(play, P0, INES)
    _completed(play, P1, JON)
    assert not overlaps(play.round)
    play.do(CompleteCriterion(D, P1, criterion(measure="another", counted=" Teams of list 0!")))
    assert overlaps(play.round)
    assert play.refused(Commit(D, 0)) is Because.OVERLAP_UNCONFIRMED
    play.do(AcceptOverlap(D), Commit(D, 0))


@pytest.mark.parametrize(
    ("one", "other", "meets"),
    [
        ("new", "new", True),
        ("new", "everybody", True),
        ("everybody", "everybody", True),
        ("new", "existing", False),
        ("visitors", "new", False),
        ("new", "", False),
    ],
)
def test_who_can_be_in_it_decides_and_not_how_it_is_worded(one: Population, other: Population, meets: bool) -> None:
    """Other words for the same people overlap; the same words for other people do not."""
    play = _commitment()
    _completed(play, P0, INES)
    _completed(play, P1, JON)
    words = ("sign-ups of the week", "whoever joined") if meets else ("people of the month", "people of the month")
    if not (one and other):
        words = ("sign-ups of the week", "whoever joined")
    play.do(CompleteCriterion(D, P0, criterion(counted=words[0], population=one)))
    play.do(CompleteCriterion(D, P1, criterion(counted=words[1], population=other)))
    assert overlaps(play.round) is meets


def test_a_trial_that_runs_already_counts_as_an_overlap_while_it_runs() -> None:
    """The same people as a trial under way need the same yes; not once that is over, nor of two running ones."""
    play = _commitment()
    other = criterion(measure="other", counted="teams of list 0")
    until = (play.now + 20 * DAY).date()
    same = Alongside("Running", "Teams of list 0!", "", until)
    play.do(ChoosePlan(D, P0, 1, None, alongside=(same,)), CompleteCriterion(D, P0, other))
    assert overlaps(play.round)
    later = replace(play.round.choices[P0], live=until)
    assert not overlaps(replace(play.round, choices={P0: later}))
    play.do(DropChoice(D, P0), ChoosePlan(D, P1, 1, None, alongside=(same, same)))
    assert not overlaps(play.round)


def test_trials_that_an_earlier_release_wrote_down_beside_a_choice_count_by_their_people() -> None:
    play = _commitment()
    play.do(ChoosePlan(D, P0))
    assert not overlaps(play.round)
    assert overlaps(replace(play.round, beside=(("Measure 9", "teams of list 0"),)))


def test_a_yes_to_an_overlap_is_for_these_two() -> None:
    """Another plan or criterion asks again."""
    play = _commitment()
    _completed(play, P0, INES)
    _completed(play, P1, JON)
    same = criterion(counted="teams of list 0")
    play.do(CompleteCriterion(D, P1, same), AcceptOverlap(D))
    play.do(CompleteCriterion(D, P1, replace(same, measure="another")))
    assert play.refused(Commit(D, 0)) is Because.OVERLAP_UNCONFIRMED


# --- what each kind needs ---

WEEKS = tuple((100.0 + n, 1000.0) for n in range(6))


@pytest.mark.parametrize(
    ("changes", "lacks"),
    [
        ({"kind": "split"}, ()),
        ({"kind": "split", "weekly": None}, ("weekly",)),
        ({"kind": "mean"}, ("spread",)),
        ({"kind": "mean", "spread": 4.0}, ()),
        ({"kind": "rate", "weekly": None}, ("weekly",)),
        ({"kind": "count", "weekly": None, "baseline": 20.0, "target": 30.0}, ()),
        ({"kind": "count", "weekly": None, "baseline": None, "target": 30.0}, ("baseline",)),
        ({"kind": "count", "weekly": None, "baseline": None, "target": 30.0, "baseline_weeks": ((5.0, 1.0),)}, ()),
        ({"kind": "share"}, ()),
        ({"kind": "share", "weekly": None}, ("weekly",)),
        ({"kind": "before-after", "weekly": None}, ("baseline_weeks",)),
        ({"kind": "before-after", "weekly": None, "baseline": None, "baseline_weeks": WEEKS[:5]}, ("baseline_weeks",)),
        ({"kind": "before-after", "weekly": None, "baseline": None, "baseline_weeks": WEEKS}, ()),
        ({"stop_line": "", "stop_at": 0.1}, ()),
        ({"stop_line": ""}, ("stop_line",)),
    ],
)
def test_each_kind_of_measure_needs_its_own(changes: dict[str, Any], lacks: tuple[str, ...]) -> None:
    """Earlier weeks are needed where they are what it is compared with, and people where the odds follow from them."""
    assert criterion(**changes).missing() == lacks


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"planned_share": 0.0}, Impossible.NO_SPLIT),
        ({"planned_share": 1.0}, Impossible.NO_SPLIT),
        ({"kind": "mean", "spread": 0.0}, Impossible.NO_SPREAD),
        ({"kind": "rate", "baseline": 0.0}, Impossible.NO_RATE),
        ({"lag": 91}, Impossible.NO_LAG),
        ({"harm_usual": 2.0, "harm_limit": 2.0}, Impossible.LIMIT_IS_USUAL),
        ({"stop_at": 0.26}, Impossible.STOPS_AT_TARGET),
        ({"baseline": 0.26, "target": 0.2, "stop_at": 0.19}, Impossible.STOPS_AT_TARGET),
        ({"kind": "share", "target": 26.0}, Impossible.NO_SHARE),
        ({"harm_limit": float("inf")}, Impossible.NOT_FINITE),
    ],
)
def test_what_cannot_be_is_refused_with_its_reason(changes: dict[str, Any], why: Impossible) -> None:
    play = _commitment()
    _completed(play)
    before = play.round
    with pytest.raises(Refused) as refused:
        play.do(CompleteCriterion(D, P0, criterion(**changes)))
    assert refused.value.facts["why"] is why
    assert play.round == before


@pytest.mark.parametrize(
    ("changes", "upwards"),
    [
        ({"baseline": 0.08, "target": 0.05}, False),
        ({"baseline": 0.05, "target": 0.08}, True),
        ({"kind": "before-after", "baseline": None, "target": 0.08, "baseline_weeks": WEEKS}, False),
        ({"kind": "before-after", "baseline": None, "target": 0.12, "baseline_weeks": WEEKS}, True),
    ],
)
def test_a_target_below_the_level_it_starts_from_means_lower(changes: dict[str, Any], upwards: bool) -> None:
    play = _commitment()
    _completed(play)
    play.do(CompleteCriterion(D, P0, criterion(**changes)))
    assert play.round.plans[P0].criterion.upwards is upwards


# --- the odds ---


def test_odds_are_those_of_the_criterion_as_it_stands() -> None:
    """Another criterion needs others; what was reckoned for an earlier one is not shown."""
    play = _commitment()
    _completed(play)
    odds = Odds({"reached": 0.5}, {"not reached": 0.9})
    play.do(ShowOdds(BOT, P0, play.round.plans[P0].criterion, odds))
    assert odds_unseen(play.round) == ()
    old = play.round.plans[P0].criterion
    play.do(CompleteCriterion(D, P0, replace(old, target=0.3)))
    assert odds_unseen(play.round) == (P0,)
    assert play.do(ShowOdds(BOT, P0, old, odds)) == ()
    play.do(ShowOdds(BOT, P0, play.round.plans[P0].criterion, odds), Commit(D, 0))


# --- forecasts ---


def test_everybody_may_forecast_and_the_last_word_counts() -> None:
    """A chance between 0 and 100 per cent per member, and a fear that another forecast leaves as it was."""
    play = _commitment()
    play.do(ChoosePlan(D, P0))
    play.do(Forecast(INES, P0, 30, "Nobody answers"), Forecast(INES, P0, 40), Forecast(JON, P0, 100))
    choice = play.round.choices[P0]
    assert choice.forecasts == {INES: 40, JON: 100}
    assert choice.feared == {INES: "Nobody answers"}
    play.do(Forecast(INES, P0, 40, "Too slow"), Forecast(JON, P0, 90, "Nobody pays"), Forecast(JON, P0, 90, ""))
    assert play.round.choices[P0].feared == {INES: "Too slow"}
    assert play.refused(Forecast(INES, P0, 101)) is Because.BAD_SETTING
    assert play.refused(Forecast(INES, P1, 50)) is Because.UNKNOWN_ITEM


def test_forecasts_lock_at_the_seal() -> None:
    """After the commitment nobody changes a forecast."""
    play = Play().to(Step.COMMITMENT)
    commit_one(play, P0, D)
    assert play.refused(Forecast(INES, P0, 50)) is Because.ENDED


def test_the_step_is_not_closed_by_hand() -> None:
    """A commitment ends with its seal."""
    assert _commitment().refused(Close(F)) is Because.NOT_NOW


EARLY = [
    ChoosePlan(F, P0),
    DropChoice(F, P0),
    OfferToOwn(F, P0),
    AskOwner(F, P0, INES),
    AnswerOwnership(F, P0, accept=True),
    SetActions(F, P0, ()),
    live_now(Play().now, F, P0, Play().now + 90 * DAY),
    CompleteCriterion(F, P0, criterion()),
    SetNextRound(F, Play().now + 90 * DAY),
    AcceptOverlap(F),
    Forecast(F, P0, 50),
    Commit(F, 0),
]


@pytest.mark.parametrize("command", EARLY, ids=lambda command: type(command).__name__)
def test_nothing_is_settled_before_its_step(command: Command) -> None:
    """Choices, owners, dates and forecasts belong to the commitment."""
    assert Play(placed_by="facilitator").to(Step.PLACEMENT).refused(command) is Because.NOT_OPEN_YET


def test_strangers_offer_forecast_and_check_nothing() -> None:
    """Only members own, foresee and vouch."""
    zoe = MemberId("zoe")
    play = _commitment()
    play.do(ChoosePlan(D, P0))
    for command in (OfferToOwn(zoe, P0), Forecast(zoe, P0, 50), NameChecker(zoe, P0, "Me"), Commit(zoe, 0)):
        assert play.refused(command) is Because.NOT_A_MEMBER
