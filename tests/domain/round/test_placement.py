"""Who compares which plans, and when that is enough."""

from __future__ import annotations

from collections import Counter

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import Axis, MemberId, PassReason, PlanId, Step
from coldframe.domain.people.commands import Join, Leave, SetAway
from coldframe.domain.refusals import Because
from coldframe.domain.round import rules
from coldframe.domain.round.ballots import BallotCounted, LockBallot
from coldframe.domain.round.moves import Close, StepPassed
from coldframe.domain.round.placement import (
    Compare,
    PlansPlaced,
    assigned,
    enough,
    in_one_sitting,
    left_to_compare,
    next_pair,
)
from coldframe.domain.round.plans import HandInPlan
from tests.domain.play import OTHERS, D, F, Play, a_plan

INES, JON = OTHERS[:2]


def _ballot(plans: int = 4, people: int = 6, **settings: str) -> Play:
    play = Play(people=people, **settings).to(Step.PLANS)
    for number in range(plans):
        play.do(HandInPlan(play.members()[number % people], a_plan(f"p{number}")))
    play.close()
    return play.to(Step.BALLOT)


def _lock(play: Play, *members: MemberId) -> None:
    for member in members:
        play.vote(member, "p0")
        play.do(LockBallot(member))


def _answer_all(play: Play, judge: MemberId) -> int:
    count = 0
    while (pair := next_pair(play.round, judge)) is not None:
        play.do(Compare(judge, *pair, "first"))
        count += 1
    return count


def _placement(plans: int = 4, **settings: str) -> Play:
    play = _ballot(plans, **settings)
    for member in play.members():
        play.vote(member, "p0")
    play.close()
    assert play.round.step is Step.PLACEMENT
    return play


@pytest.mark.parametrize("axis", list(Axis))
@pytest.mark.parametrize(("plans", "people"), [(2, 6), (4, 6), (6, 8), (8, 8), (8, 4), (5, 12)])
def test_pairs_are_spread_evenly_over_judges(plans: int, people: int, axis: Axis) -> None:
    """Each pair is asked about equally often, none twice of one person, nobody more than another."""
    play = _ballot(plans, people)
    pairs = {m: [frozenset(p) for p in assigned(play.round, m, axis)] for m in play.members()}
    assert all(len(p) == len(set(p)) for p in pairs.values())
    assert len({len(p) for p in pairs.values()}) == 1
    asked = Counter(pair for mine in pairs.values() for pair in mine)
    every = plans * (plans - 1) // 2
    counts = [*asked.values(), *[0] * (every - len(asked))]
    assert max(counts) - min(counts) <= 1


@pytest.mark.parametrize(("plans", "people"), [(4, 6), (6, 8), (8, 8), (8, 12), (3, 4)])
def test_nobody_is_asked_too_much_and_every_plan_enough(plans: int, people: int) -> None:
    """At most twelve questions each; about five comparisons per plan and axis, as far as there are pairs to ask."""
    play = _ballot(plans, people)
    for member in play.members():
        assert left_to_compare(play.round, member) <= 12
    asked = sum(len(assigned(play.round, m, Axis.IMPACT)) for m in play.members())
    most = min(6, plans * (plans - 1) // 2) * people
    assert asked >= min(5 * plans, most)


def test_left_and_right_are_of_chance() -> None:
    """Which plan stands first follows from the seed, so neither place is favoured."""
    play = _ballot(8, 12)
    pairs = [pair for m in play.members() for axis in Axis for pair in assigned(play.round, m, axis)]
    ordered = sum(a < b for a, b in pairs)
    assert 0 < ordered < len(pairs)


def test_impact_is_asked_before_effort() -> None:
    """The axes are asked apart, impact first."""
    play = _ballot()
    _lock(play, INES)
    axes = []
    while (pair := next_pair(play.round, INES)) is not None:
        axes.append(pair[0])
        play.do(Compare(INES, *pair, "same"))
    assert axes == sorted(axes, key=list(Axis).index)
    assert set(axes) == set(Axis)


def test_comparisons_follow_ones_own_locked_ballot() -> None:
    """With eight plans at most they come in the same sitting, after the ballot is locked."""
    play = _ballot()
    pair = next_pair(play.round, INES)
    assert pair is not None
    assert play.refused(Compare(INES, *pair, "first")) is Because.NOT_OPEN_YET
    _lock(play, INES)
    _answer_all(play, INES)
    assert left_to_compare(play.round, INES) == 0
    assert INES in play.round.progress.done


@pytest.mark.parametrize(("plans", "sitting"), [(1, False), (2, True), (8, True), (9, False)])
def test_one_sitting_is_for_two_to_eight_plans(plans: int, sitting: bool) -> None:
    """Above eight only the best are placed, after the ballot; of one plan there is nothing to compare."""
    assert in_one_sitting(_ballot(plans).round) is sitting


def test_a_comparison_is_given_once_and_only_if_asked() -> None:
    """Another person's pair, a pair with itself, and the same pair again are refused."""
    play = _placement(8)
    pair = next_pair(play.round, INES)
    assert pair is not None
    axis, first, second = pair
    unasked = next(
        (PlanId(a), PlanId(b))
        for a in play.round.to_place
        for b in play.round.to_place
        if a < b and {a, b} not in [set(p) for p in assigned(play.round, INES, axis)]
    )
    assert play.refused(Compare(INES, axis, first, first, "same")) is Because.SAME_ITEM
    assert play.refused(Compare(INES, axis, *unasked, "same")) is Because.UNKNOWN_ITEM
    assert play.refused(Compare(MemberId("zoe"), *pair, "same")) is Because.NOT_A_MEMBER
    play.do(Compare(INES, axis, second, first, "second"))
    assert play.refused(Compare(INES, *pair, "first")) is Because.ASKED_ALREADY


def test_enough_judges_in_the_ballot_spare_the_step() -> None:
    """When a quorum has compared already, the placement closes as it opens."""
    play = _ballot()
    _lock(play, *play.members())
    for member in play.members()[:4]:
        _answer_all(play, member)
    assert enough(play.round)
    facts = play.do(Close(F))
    assert [type(x) for x in facts[:3]] == [BallotCounted, StepPassed, PlansPlaced]
    assert play.round.step is Step.COMMITMENT


def test_too_few_judges_open_the_step_with_their_answers_kept() -> None:
    """Below the quorum the rest is asked in a step of its own, and who is through is done."""
    play = _ballot()
    _lock(play, *play.members())
    _answer_all(play, INES)
    play.close()
    assert play.round.step is Step.PLACEMENT
    assert play.round.progress.done == {INES}


def test_one_plan_needs_neither_ballot_nor_placement() -> None:
    """A single plan has nothing to be chosen from or compared with."""
    play = Play().to(Step.PLANS)
    play.do(HandInPlan(F, a_plan("p0")), Close(F))
    assert play.round.step is Step.COMMITMENT
    assert play.round.passed == {Step.BALLOT: PassReason.ONE_PLAN, Step.PLACEMENT: PassReason.ONE_PLAN}
    assert [s.option for s in play.round.plans_standing] == ["p0"]


def test_above_eight_only_the_best_eight_are_compared() -> None:
    """The ballot chooses which plans are placed."""
    play = _placement(10)
    assert len(play.round.to_place) == 8
    assert {p for m in play.members() for pair in assigned(play.round, m, Axis.EFFORT) for p in pair} <= set(
        play.round.to_place
    )


@pytest.mark.parametrize("plans", [2, 4, 6])
def test_the_facilitator_alone_compares_all_pairs(plans: int) -> None:
    """One person alone answers every pair, up to six plans."""
    play = _placement(plans, placed_by="facilitator")
    assert rules.expected(play.round) == (F,)
    assert next_pair(play.round, INES) is None
    assert _answer_all(play, F) == plans * (plans - 1)
    assert play.round.progress.settles_at is not None


def test_nobodys_pairs_change_when_others_come_and_go() -> None:
    """Assignments follow from who was there at the reveal, so answers given stay answers to what was asked."""
    play = _ballot(6, 8)
    before = {m: [assigned(play.round, m, axis) for axis in Axis] for m in play.members()}
    _lock(play, JON)
    _answer_all(play, JON)
    play.do(SetAway(INES, INES, away=True), Leave(BOT, D), Join(F, MemberId("nell"), "Nell"))
    assert left_to_compare(play.round, JON) == 0
    for member in play.round.active():
        if member in before and member != INES:
            assert [assigned(play.round, member, axis) for axis in Axis] == before[member]
    play.do(SetAway(INES, INES, away=False))
    assert [assigned(play.round, INES, axis) for axis in Axis] == before[INES]
    assert assigned(play.round, MemberId("nell"), Axis.IMPACT)


def test_who_is_away_is_not_asked() -> None:
    """Somebody away has nothing to compare until they are back."""
    play = _placement()
    play.do(SetAway(INES, INES, away=True))
    assert next_pair(play.round, INES) is None


def test_the_step_may_close_without_answers() -> None:
    """A deadline passes over people who do not compare; the picture then says how little it rests on."""
    play = _placement()
    play.deadline()
    assert play.round.step is Step.COMMITMENT
    assert PlansPlaced(0, 0) in play.facts


def test_who_has_pairs_left_is_not_done() -> None:
    """Being done comes with the last answer."""
    play = _placement()
    pair = next_pair(play.round, INES)
    assert pair is not None
    play.do(Compare(INES, *pair, "same"))
    assert INES not in play.round.progress.done
    _answer_all(play, INES)
    assert INES in play.round.progress.done


def test_nothing_is_compared_before_the_ballot() -> None:
    """Comparisons have their time."""
    early = Compare(INES, Axis.IMPACT, PlanId("p0"), PlanId("p1"), "first")
    assert Play().to(Step.PLANS).refused(early) is Because.NOT_OPEN_YET


def test_who_answered_a_part_in_the_ballot_is_not_through() -> None:
    """Only who answered all of it counts for sparing the step."""
    play = _ballot()
    _lock(play, *play.members())
    for member in play.members():
        pair = next_pair(play.round, member)
        assert pair is not None
        play.do(Compare(member, *pair, "same"))
    assert not enough(play.round)
    play.close()
    assert play.round.progress.done == frozenset()
