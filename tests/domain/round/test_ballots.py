"""Dots and the ballot: one ledger, its quota, and how votes are counted."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, PlanId, Role, Step
from coldframe.domain.people.commands import HandOver, Leave
from coldframe.domain.refusals import Because
from coldframe.domain.round import ballots
from coldframe.domain.round.ballots import (
    BallotCounted,
    CastVote,
    DotsCounted,
    LockBallot,
    Reconcile,
    TakeBackVote,
    VoteCast,
)
from coldframe.domain.round.disclosure import figures
from coldframe.domain.round.moves import Close, Done, GoOnWithout, Pause
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.standings import cut, standing
from coldframe.domain.state import Mark
from tests.domain.play import DD, FD, HOUR, OTHERS, D, F, Play, a_plan, a_round

INES, JON = OTHERS[:2]
ZOE = MemberId("zoe")


def _dots(**settings: int) -> tuple[Play, list[str]]:
    play = Play(**settings).to(Step.DOTS)
    return play, [force.id for force in play.round.forces]


def _ballot(plans: int = 3, people: int = 6) -> Play:
    play = Play(people=people).to(Step.PLANS)
    for number in range(plans):
        play.do(HandInPlan(play.members()[number % people], a_plan(f"p{number}")))
    play.close()
    return play.to(Step.BALLOT)


def _counted(play: Play, voter: MemberId) -> list[str]:
    ledger = play.round.ledger()
    assert ledger is not None
    return [m.option for m in ledger.counted(voter)]


# --- casting ---


def test_several_dots_may_lie_on_one_force() -> None:
    """Three dots each, several on one force allowed."""
    play, (first, *_) = _dots()
    play.vote(INES, first, first, first)
    assert _counted(play, INES) == [first] * 3


def test_different_emoji_on_one_option_are_different_votes() -> None:
    """Any emoji is a vote, each kind once."""
    play, (first, *_) = _dots()
    play.do(CastVote(INES, first, "wave"), CastVote(INES, first, "+1"))
    assert play.do(CastVote(INES, first, "wave")) == ()
    assert _counted(play, INES) == [first, first]


def test_a_vote_over_the_quota_does_not_count_and_says_so_at_once() -> None:
    """The newest over the quota is kept in sight but not counted; a button over the quota is refused."""
    play, (first, second, *_) = _dots()
    play.vote(INES, first, first, first)
    facts = play.do(CastVote(INES, second, "wave"))
    assert facts == (VoteCast(INES, Mark(second, "wave"), counts=False),)
    assert play.refused(CastVote(INES, second, "button")) is Because.OVER_QUOTA
    assert _counted(play, INES) == [first] * 3
    assert play.round.dots is not None
    assert play.round.dots.surplus(INES) == (Mark(second, "wave"),)


def test_taking_a_vote_back_lets_the_one_over_the_quota_count() -> None:
    """Taken back is taken back, and the next in line moves up."""
    play, (first, second, *_) = _dots()
    play.vote(INES, first, first, first)
    play.do(CastVote(INES, second, "wave"), TakeBackVote(INES, first, "button"))
    assert sorted(_counted(play, INES)) == sorted([first, first, second])
    assert play.refused(TakeBackVote(INES, second, "button")) is Because.UNKNOWN_ITEM
    assert play.do(TakeBackVote(INES, second, "heart")) == ()
    play.do(TakeBackVote(INES, second, "wave"))
    assert _counted(play, INES) == [first, first]


def test_a_button_freed_can_be_pressed_again() -> None:
    """Buttons and their taking back go on and on within the quota."""
    play, (first, *_) = _dots(dots=2)
    for _ in range(3):
        play.vote(INES, first, first)
        play.do(TakeBackVote(INES, first, "button"), TakeBackVote(INES, first, "button"))
    assert play.round.dots is not None
    assert play.round.dots.marks == {}


def test_votes_come_from_members_on_options() -> None:
    """No stranger votes, and nothing that is not on the ballot is voted for."""
    play, (first, *_) = _dots()
    assert play.refused(CastVote(ZOE, first, "button")) is Because.NOT_A_MEMBER
    assert play.refused(CastVote(INES, "none", "button")) is Because.UNKNOWN_ITEM
    assert play.refused(CastVote(INES, first, "\ud800")) is Because.UNREADABLE
    assert play.refused(CastVote(INES, first, "")) is Because.EMPTY


@pytest.mark.parametrize(
    ("step", "code"),
    [
        (Step.SETUP, Because.NOT_OPEN_YET),
        (Step.MERGE, Because.NOT_OPEN_YET),
        (Step.QUESTIONS, Because.TOO_LATE),
        (Step.PLANS, Because.TOO_LATE),
        (Step.PLACEMENT, Because.TOO_LATE),
    ],
)
def test_there_is_no_voting_outside_the_ballots(step: Step, code: Because) -> None:
    """Early is not yet, after the close is too late."""
    play = Play(placed_by="facilitator").to(step)
    assert play.refused(CastVote(INES, "x", "button")) is code


def test_the_ballot_opens_after_the_reading_time() -> None:
    """Nobody votes on plans before the time to read them is over."""
    play = Play().to(Step.PLANS)
    play.do(HandInPlan(F, a_plan("p0")), HandInPlan(D, a_plan("p1")))
    play.close()
    assert play.round.step is Step.BALLOT
    for command in (
        CastVote(INES, "p0", "button"),
        TakeBackVote(INES, "p0", "button"),
        LockBallot(INES),
        Reconcile(BOT, {INES: (("p0", "wave"),)}),
    ):
        assert play.refused(command) is Because.NOT_OPEN_YET
    play.wait(2 * HOUR - timedelta(seconds=1))
    assert play.refused(CastVote(INES, "p0", "button")) is Because.NOT_OPEN_YET
    play.wait(timedelta(seconds=1))
    play.vote(INES, "p0")


def test_spending_all_dots_says_done_and_taking_one_back_not_yet() -> None:
    """Who has spent all dots need not say so."""
    play, (first, *_) = _dots()
    play.vote(INES, first, first, first)
    assert INES in play.round.progress.done
    play.do(TakeBackVote(INES, first, "button"))
    assert INES not in play.round.progress.done


def test_votes_are_taken_while_the_round_rests() -> None:
    """A pause stops the clock, not what people send."""
    play, (first, *_) = _dots()
    play.do(Pause(F))
    play.vote(INES, first)
    assert _counted(play, INES) == [first]


# --- locking ---


def test_a_locked_ballot_stays_as_it_is() -> None:
    """After locking nothing is added, taken back or reconciled."""
    play, (first, second, *_) = _dots()
    play.vote(INES, first)
    play.do(LockBallot(INES))
    assert play.refused(CastVote(INES, second, "button")) is Because.LOCKED
    assert play.refused(TakeBackVote(INES, first, "button")) is Because.LOCKED
    assert play.refused(LockBallot(INES)) is Because.LOCKED
    assert play.do(Reconcile(BOT, {INES: ((second, "wave"),)})) == ()
    assert INES in play.round.progress.done


@pytest.mark.parametrize(("plans", "done"), [(3, False), (9, True)])
def test_a_locked_ballot_is_done_unless_comparisons_follow(plans: int, done: bool) -> None:
    """With more than eight plans nothing is compared after one's own ballot, so locking it is all."""
    play = _ballot(plans)
    play.vote(INES, "p0")
    play.do(LockBallot(INES))
    assert (INES in play.round.progress.done) is done


def test_an_empty_ballot_is_an_abstention() -> None:
    """It counts as done and towards the quorum, not as a vote; the count stands without it."""
    play = _ballot(9)
    play.vote(D, "p0")
    for member in (D, INES, JON, F):
        play.do(LockBallot(member))
    assert {INES, JON, F} <= play.round.progress.done
    (counted, *_) = play.deadline()
    assert isinstance(counted, BallotCounted)
    assert [(s.option, s.voters) for s in counted.standing if s.voters] == [("p0", 1)]


@pytest.mark.parametrize("step", [Step.DOTS, Step.BALLOT])
def test_without_a_single_vote_all_are_tied_if_the_facilitator_goes_on(step: Step) -> None:
    """A close is refused; going on without carries all of them on."""
    play = Play().to(step)
    assert play.refused(Close(F)) is Because.NOTHING_IN
    play.do(GoOnWithout(F))
    standing = play.round.forces_standing if step is Step.DOTS else play.round.plans_standing
    assert {(s.place, s.weighted, s.carried) for s in standing} == {(1, 0, True)}
    assert play.round.step is (Step.QUESTIONS if step is Step.DOTS else Step.PLACEMENT)


# --- reading back at the close ---


def test_the_platforms_reading_wins_for_emoji() -> None:
    """Emoji that were missed are added, those that vanished dropped; buttons stay."""
    play, (first, second, *_) = _dots()
    play.vote(INES, first)
    play.do(CastVote(INES, second, "wave"))
    play.do(Reconcile(BOT, {INES: ((first, "heart"), (first, "heart")), JON: ((second, "wave"),)}))
    assert _counted(play, INES) == [first, first]
    assert _counted(play, JON) == [second]
    assert play.do(Reconcile(BOT, {JON: ((second, "wave"),)})) == ()


def test_the_reading_takes_only_members_and_options() -> None:
    """Reactions of strangers, of who left, and on other messages are no votes."""
    play, (first, *_) = _dots()
    play.do(Leave(BOT, JON))
    assert play.do(Reconcile(BOT, {ZOE: ((first, "a"),), JON: ((first, "a"),), INES: (("none", "a"),)})) == ()
    assert play.refused(Reconcile(INES, {F: ((first, "a"),)})) is Because.NOT_YOURS


def test_a_ledger_emptied_by_the_reading_is_empty() -> None:
    """Who took everything off while the bot was away has not voted."""
    play, (first, *_) = _dots()
    play.do(CastVote(INES, first, "wave"), Reconcile(BOT, {INES: ()}))
    assert play.round.dots is not None
    assert play.round.dots.votes() == {}


# --- counting ---


def test_dots_count_alike_whoever_gave_them() -> None:
    """The decision-maker's dots on forces weigh no more than others'."""
    play, (first, second, *_) = _dots()
    play.vote(D, first, first)
    play.vote(INES, second, second, second)
    play.close()
    ranked = play.round.forces_standing
    assert [(s.option, s.weighted) for s in ranked[:2]] == [(second, 3), (first, 2)]


def test_forces_tied_at_the_cut_all_go_on() -> None:
    """The first few are carried on, and everybody tied with the last of them; nothing without a dot."""
    play, options = _dots(carry_on=2)
    play.vote(F, options[0], options[0], options[1])
    play.vote(D, options[2], options[3])
    play.close()
    carried = {s.option: s.place for s in play.round.forces_standing if s.carried}
    assert carried == {options[0]: 1, options[1]: 2, options[2]: 2, options[3]: 2}
    counted = next(x for x in play.facts if isinstance(x, DotsCounted))
    assert counted.unused == 6 * 3 - 5


def test_all_dots_tied_are_shown_as_a_tie() -> None:
    """When all forces have the same they all share the first place and all go on."""
    play, options = _dots(carry_on=1)
    for member, option in zip(play.members(), options, strict=True):
        play.vote(member, option)
    play.close()
    assert {(s.place, s.carried) for s in play.round.forces_standing} == {(1, True)}


def test_ties_are_broken_by_voters_then_by_the_decision_maker() -> None:
    """Order: weighted total, number of different voters, decision-maker's votes; then a tie is a tie."""
    votes = {
        D: ("b", "c"),
        INES: ("a", "a"),
        JON: ("a", "e"),
        F: ("a", "e"),
        FD: ("d", "d"),
    }
    ranked = standing(votes, ("a", "b", "c", "d", "e"), D, 2)
    by_option = {s.option: s for s in ranked}
    assert by_option["a"].weighted == 4
    assert by_option["a"].place == 1
    assert by_option["e"].place == 2  # two voters before one
    assert by_option["b"].place == by_option["c"].place == 3  # decision-maker's vote before none
    assert by_option["d"].place == 5
    assert (by_option["b"].group, by_option["b"].decision_maker, by_option["b"].voters) == (0, 1, 1)


def test_the_decision_makers_votes_weigh_in_the_ballot() -> None:
    """The weighted total is the group's votes and the decision-maker's votes times the weight."""
    play = _ballot()
    play.vote(D, "p0", "p1")
    play.vote(INES, "p1", "p2")
    play.close()
    rows = {s.option: (s.group, s.decision_maker, s.weighted) for s in play.round.plans_standing}
    assert rows == {"p0": (0, 1, 2), "p1": (1, 1, 3), "p2": (1, 0, 1)}


@pytest.mark.parametrize(("opened", "first"), [(False, "p0"), (True, "p1")], ids=["while reading", "while voting"])
def test_the_weight_is_whose_it_was_when_the_ballot_opened(opened: bool, first: str) -> None:
    """While the plans are read the weight goes with the role; once the ballot is open it stays where it is."""
    play = Play().to(Step.PLANS)
    play.do(HandInPlan(F, a_plan("p0")), HandInPlan(D, a_plan("p1")), Close(F))
    if opened:
        play.to(Step.BALLOT)
    play.do(HandOver(D, Role.DECISION_MAKER))
    play.to(Step.BALLOT)
    play.vote(DD, "p0")
    play.vote(D, "p1")
    play.close()
    second = "p1" if first == "p0" else "p0"
    assert [(s.option, s.weighted) for s in play.round.plans_standing] == [(first, 2), (second, 1)]


def test_a_ballot_that_opened_before_weights_were_kept_follows_the_role() -> None:
    """A round of an earlier version does not know who decided when it opened."""
    play = _ballot()
    play.round = replace(play.round, weighted_voter=None)
    play.do(HandOver(D, Role.DECISION_MAKER))
    play.vote(DD, "p0")
    play.vote(D, "p1")
    play.close()
    assert [(s.option, s.weighted) for s in play.round.plans_standing[:2]] == [("p0", 2), ("p1", 1)]


def test_votes_for_ones_own_plan_count() -> None:
    """Authors are sealed, so votes for one's own plan count; how many there were is told to nobody."""
    play = _ballot()
    play.vote(F, "p0", "p0")
    play.vote(D, "p1", "p0")
    play.close()
    counted = next(x for x in play.facts if isinstance(x, BallotCounted))
    assert play.round.plans_standing[0].option == "p0"
    assert counted.public_record().keys() == {"fact", "unused", "voters"}
    assert (counted.unused, counted.voters) == (6 * 2 - 4, 1)


def test_unused_votes_do_not_tell_how_somebody_voted_before_they_left() -> None:
    """Together with the sum of all votes it says how many people there were, and nothing about one of them."""
    play = _ballot()
    play.vote(INES, "p2", "p2")
    play.vote(JON, "p1")
    play.do(Leave(BOT, INES))
    play.close()
    counted = next(x for x in play.facts if isinstance(x, BallotCounted))
    assert counted.unused + sum(s.group + s.decision_maker for s in counted.standing) == 6 * 2


def test_above_eight_plans_a_tie_at_the_cut_is_drawn_in_the_open() -> None:
    """Only the best eight are placed; where a tie lies across the cut the seed draws, and says so."""
    play = _ballot(10)
    play.vote(D, "p0")
    play.close()
    ranked = play.round.plans_standing
    assert sum(s.carried for s in ranked) == 8
    assert [s.option for s in ranked if not s.drawn] == ["p0"]
    again = cut(tuple(ranked), 8, ballots.draw_seed(play.round))
    assert [s.carried for s in again] == [s.carried for s in ranked]
    others = {tuple(s.carried for s in cut(tuple(ranked), 8, seed)) for seed in range(20)}
    assert len(others) > 1


def test_without_a_tie_at_the_cut_nothing_is_drawn() -> None:
    """A clear eighth place needs no draw."""
    play = _ballot(9)
    for member, option in zip(play.members(), ("p0", "p1", "p2", "p3", "p4", "p5"), strict=True):
        play.vote(member, option)
    play.vote(F, "p6")
    play.vote(D, "p7")
    play.close()
    assert not any(s.drawn for s in play.round.plans_standing)
    assert {s.option for s in play.round.plans_standing if not s.carried} == {"p8"}


@pytest.mark.parametrize("step", [Step.DOTS, Step.BALLOT])
def test_a_ballot_without_votes_is_not_counted(step: Step) -> None:
    """Nothing came in, so there is nothing to count."""
    play = Play().to(step)
    assert play.refused(Close(F)) is Because.NOTHING_IN


@pytest.mark.parametrize(("others", "told"), [(4, False), (5, True)])
def test_figures_need_five_voters_besides_the_decision_maker(others: int, told: bool) -> None:
    """With fewer only places are told; once counted, neither a hand-over nor the erasing of votes changes that."""
    play = _ballot()
    for member in (D, *[m for m in play.members() if m != D][:others]):
        play.vote(member, "p0")
    assert figures(play.round, Step.BALLOT) is None
    play.close()
    assert (figures(play.round, Step.BALLOT) is not None) is told
    play.do(HandOver(D, Role.DECISION_MAKER))
    assert play.round.ballot is not None
    play.round = replace(play.round, ballot=replace(play.round.ballot, marks={}))
    assert (figures(play.round, Step.BALLOT) is not None) is told


@pytest.mark.parametrize(("voters", "told"), [(4, False), (5, True)])
def test_dots_are_told_from_five_voters_on(voters: int, told: bool) -> None:
    """Everybody's dots weigh alike, so the decision-maker is one of them."""
    play, (first, second, *_) = _dots()
    for member in list(play.members())[:voters]:
        play.vote(member, first, second)
    play.close()
    found = figures(play.round, Step.DOTS)
    assert (found is not None) is told
    assert found is None or (found.group[first], found.chief, found.voters, found.quota) == (voters, None, voters, 3)


def test_a_round_counted_by_an_earlier_release_tells_places_only() -> None:
    """It does not know how many voted."""
    play = _ballot()
    for member in play.members():
        play.vote(member, "p0")
    play.close()
    play.round = replace(play.round, counted={})
    assert figures(play.round, Step.BALLOT) is None


def test_the_seed_of_a_draw_is_not_the_rounds_own() -> None:
    """From that follows who was asked to compare which plans."""
    play = _ballot(10)
    assert ballots.draw_seed(play.round) != play.round.seed
    other = replace(play.round, seed=play.round.seed + 1)
    assert ballots.draw_seed(other) != ballots.draw_seed(play.round)


def test_each_voter_has_an_order_of_their_own_that_stays() -> None:
    """Options come in a different random order for each voter, the same each time."""
    play = _ballot(7)
    orders = {m: ballots.options_for(play.round, m) for m in play.members()}
    assert all(set(o) == set(play.round.plan_order) for o in orders.values())
    assert len(set(orders.values())) > 1
    assert orders[INES] == ballots.options_for(play.round, INES)


def test_votes_of_who_left_count_until_the_close() -> None:
    """Votes cast before leaving are counted."""
    play = _ballot()
    play.vote(INES, "p2", "p2")
    play.do(Leave(BOT, INES))
    play.close()
    assert play.round.plans_standing[0].option == PlanId("p2")


def test_the_result_does_not_depend_on_who_voted_first() -> None:
    """Counting is the same whatever order votes came in."""
    votes = {F: ("a",), D: ("b",), INES: ("a",)}
    backwards = dict(reversed(votes.items()))
    assert standing(votes, ("a", "b"), D, 2) == standing(backwards, ("a", "b"), D, 2)
    assert a_round().ledger() is None


def test_a_force_without_a_dot_is_not_carried_on() -> None:
    """Even where the cut would leave room for it."""
    play, options = _dots()
    play.vote(F, options[0], options[1])
    play.close()
    assert {s.option for s in play.round.forces_standing if s.carried} == set(options[:2])


def test_there_is_nothing_to_read_back_outside_the_ballots() -> None:
    """The ledgers are closed then."""
    assert Play().to(Step.QUESTIONS).refused(Reconcile(BOT, {})) is Because.TOO_LATE


def test_changing_votes_in_the_ballot_on_plans_does_not_say_done() -> None:
    """That ballot is done by locking it, not by spending all votes."""
    play = _ballot()
    play.vote(INES, "p0", "p0")
    assert INES not in play.round.progress.done
    play.do(Done(INES), TakeBackVote(INES, "p0", "button"))
    assert INES in play.round.progress.done
