"""One-page plans, private until their reveal, sealed until the commitment."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coldframe.domain.names import PlanId, PrecedentId, QuestionId, Step
from coldframe.domain.refusals import Because, Impossible, Refused
from coldframe.domain.round.moves import Cancel, Close
from coldframe.domain.round.plans import (
    PLANS_EACH,
    HandInPlan,
    PlanHandedIn,
    WithdrawPlan,
    cautions,
    checked_criterion,
)
from tests.domain.play import FD, OTHERS, D, F, Play, a_plan, a_round, criterion

INES, JON = OTHERS[:2]


def _plans() -> Play:
    return Play().to(Step.PLANS)


def test_a_plan_is_its_writers_whatever_it_says() -> None:
    """The author is who hands it in, not who the page names."""
    play = _plans()
    play.do(HandInPlan(INES, a_plan("p", author=JON)))
    assert play.round.plans[PlanId("p")].author == INES


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"question": QuestionId("no")}, Because.UNKNOWN_ITEM),
        ({"weeks": 2}, Because.DURATION),
        ({"weeks": 7}, Because.DURATION),
        ({"title": ""}, Because.EMPTY),
        ({"title": "x" * 76}, Because.TOO_LONG),
        ({"hypothesis": " "}, Because.EMPTY),
        ({"steps": ()}, Because.EMPTY),
        ({"steps": ("",)}, Because.EMPTY),
        ({"steps": ("x",) * 13}, Because.TOO_MANY),
        ({"criterion": criterion(measure="")}, Because.EMPTY),
        ({"criterion": criterion(harm="x" * 301)}, Because.TOO_LONG),
        ({"criterion": criterion(target=float("nan"))}, Because.BAD_NUMBERS),
        ({"criterion": criterion(baseline_weeks=((1, float("inf")),))}, Because.BAD_NUMBERS),
        ({"chance": 101}, Because.BAD_SETTING),
        ({"chance": -1}, Because.BAD_SETTING),
    ],
)
def test_a_page_that_is_not_right_is_refused(changes: dict[str, object], code: Because) -> None:
    """Three to six weeks, a question, a title, a hypothesis, steps, a measure with numbers that are numbers."""
    assert _plans().refused(HandInPlan(INES, a_plan("p", **changes))) is code


LONGEST: dict[str, tuple[dict[str, object], dict[str, object]]] = {
    "title": ({"title": "x" * 75}, {"title": "x" * 76}),
    "hypothesis": ({"hypothesis": "x" * 1000}, {"hypothesis": "x" * 1001}),
    "steps": ({"steps": ("x" * 300,)}, {"steps": ("x" * 301,)}),
    "checked_by": ({"checked_by": "x" * 100}, {"checked_by": "x" * 101}),
    "might_fail": ({"might_fail": "x" * 1000}, {"might_fail": "x" * 1001}),
    **{
        name: ({"criterion": criterion(**{name: "x" * most})}, {"criterion": criterion(**{name: "x" * (most + 1)})})
        for name, most in {"measure": 200, "counted": 300, "stop_line": 300, "harm": 300, "source": 200}.items()
    },
}


@pytest.mark.parametrize("field", LONGEST)
def test_a_text_of_the_page_is_taken_up_to_its_length(field: str) -> None:
    """One character more is refused by the name of its field."""
    fits, does_not = LONGEST[field]
    assert _plans().do(HandInPlan(INES, a_plan("p", **fits)))
    refused = _plans().refusal(HandInPlan(INES, a_plan("p", **does_not)))
    assert (refused.code, refused.facts["field"], refused.facts["over"]) == (Because.TOO_LONG, field, 1)


NUMBERS: dict[str, tuple[tuple[dict[str, object], ...], tuple[dict[str, object], ...], Impossible]] = {
    "planned_share": (
        ({"planned_share": 0.01}, {"planned_share": 0.99}), ({"planned_share": 0}, {"planned_share": 1}),
        Impossible.NO_SPLIT,
    ),
    "spread": (
        ({"kind": "mean", "spread": 0.1},), ({"kind": "mean", "spread": 0}, {"kind": "mean", "spread": -1}),
        Impossible.NO_SPREAD,
    ),
    "lag": (({"lag": 0}, {"lag": 90}), ({"lag": -1}, {"lag": 91}), Impossible.NO_LAG),
    "baseline": (
        ({"kind": "rate", "baseline": 0.01}, {"kind": "count", "baseline": 0.0, "target": 3.0}),
        ({"kind": "rate", "baseline": 0.0},), Impossible.NO_RATE,
    ),
    "target": (
        ({"baseline": 0.0, "target": 1.0}, {"kind": "mean", "spread": 1.0, "baseline": 20.0, "target": 26.0}),
        ({"target": 1.01}, {"kind": "share", "target": -0.01}), Impossible.NO_SHARE,
    ),
    "stop_at": (
        ({"stop_at": 0.25}, {"baseline": 0.26, "target": 0.2, "stop_at": 0.21}),
        ({"stop_at": 0.26}, {"stop_at": 0.27}, {"baseline": 0.26, "target": 0.2, "stop_at": 0.2}),
        Impossible.STOPS_AT_TARGET,
    ),
    "harm_limit": (
        ({"harm_usual": 400.0, "harm_limit": 500.0}, {"harm_usual": 500.0, "harm_limit": 400.0}),
        ({"harm_usual": 500.0, "harm_limit": 500.0},), Impossible.LIMIT_IS_USUAL,
    ),
}  # fmt: skip


@pytest.mark.parametrize("field", NUMBERS)
def test_a_number_that_cannot_be_is_refused_by_its_field_and_the_one_beside_it_is_taken(field: str) -> None:
    """Of each the last that can be, and the first that cannot."""
    fine, wrong, why = NUMBERS[field]
    for changes in fine:
        assert _plans().do(HandInPlan(INES, a_plan("p", criterion=criterion(**changes)))), changes
    for changes in wrong:
        with pytest.raises(Refused) as refused:
            checked_criterion(criterion(**changes))
        found = refused.value
        assert (found.code, found.facts["field"], found.facts["why"]) == (Because.BAD_NUMBERS, field, why), changes


def test_whether_less_is_better_follows_from_the_target() -> None:
    """Whatever the page says; without a level or a target it is what the page says."""
    assert checked_criterion(criterion(upwards=False)).upwards
    assert not checked_criterion(criterion(baseline=0.3, target=0.2)).upwards
    assert not checked_criterion(criterion(baseline=None, upwards=False)).upwards
    assert checked_criterion(criterion(target=None)).upwards


def test_a_plan_carries_on_only_what_the_round_knows() -> None:
    """A trial that is to change, a precedent that was given; the chance is a percentage."""
    for changes in ({"child_of": "t9"}, {"borrows": PrecedentId("x9")}):
        assert _plans().refused(HandInPlan(INES, a_plan("p", **changes))) is Because.UNKNOWN_ITEM
    assert _plans().do(HandInPlan(INES, a_plan("p", borrows=PrecedentId("x1"))))
    for chance in (0, 100):
        assert _plans().do(HandInPlan(INES, a_plan("p", chance=chance)))


@pytest.mark.parametrize("weeks", [3, 6])
def test_three_and_six_weeks_are_allowed(weeks: int) -> None:
    """The ends of the span belong to it."""
    assert _plans().do(HandInPlan(INES, a_plan("p", weeks=weeks)))


def test_a_criterion_may_be_completed_later() -> None:
    """Only the measure is needed on the page."""
    play = _plans()
    bare = criterion(baseline=None, target=None, weekly=None, counted="", stop_line="", harm="")
    play.do(HandInPlan(INES, a_plan("p", criterion=bare)))
    missing = play.round.plans[PlanId("p")].criterion.missing()
    assert missing == ("baseline", "target", "weekly", "counted", "stop_line", "harm")
    assert replace(bare, baseline=0.0, target=0.1, weekly=1).missing() == ("counted", "stop_line", "harm")


def test_a_plan_is_replaced_and_withdrawn_by_its_writer_alone() -> None:
    """A newer version under the same id takes the place of the older."""
    play = _plans()
    play.do(HandInPlan(INES, a_plan("p")), HandInPlan(INES, a_plan("p", title="Better")))
    assert play.round.plans[PlanId("p")].title == "Better"
    assert play.refused(HandInPlan(JON, a_plan("p"))) is Because.NOT_YOURS
    assert play.refused(WithdrawPlan(F, PlanId("p"))) is Because.NOT_YOURS
    play.do(WithdrawPlan(INES, PlanId("p")))
    assert play.refused(WithdrawPlan(INES, PlanId("p"))) is Because.UNKNOWN_ITEM


def test_one_person_hands_in_five_plans_at_most() -> None:
    """The sixth is refused; a newer version of an old one is not a sixth."""
    play = _plans()
    for number in range(PLANS_EACH):
        play.do(HandInPlan(INES, a_plan(f"p{number}")))
    assert play.refused(HandInPlan(INES, a_plan("more"))) is Because.TOO_MANY
    assert play.do(HandInPlan(INES, a_plan("p0", title="Better")))


def test_a_plan_after_the_close_is_refused_as_too_late() -> None:
    """Early is not yet, late is too late."""
    assert Play().to(Step.PRECEDENTS).refused(HandInPlan(INES, a_plan("p"))) is Because.NOT_OPEN_YET
    late = Play().to(Step.BALLOT)
    assert late.refused(HandInPlan(INES, a_plan("p"))) is Because.TOO_LATE
    assert late.refused(WithdrawPlan(INES, PlanId("p0"))) is Because.TOO_LATE


def test_plans_are_revealed_in_an_order_of_chance() -> None:
    """The gallery's order follows from the seed, not from who was first."""
    orders = []
    for names in (range(9), reversed(range(9))):
        play = _plans()
        for number in names:
            play.do(HandInPlan((F, D, FD)[number % 3], a_plan(f"p{number}")))
        play.close()
        orders.append(play.round.plan_order)
    assert orders[0] == orders[1]
    assert list(orders[0]) != sorted(orders[0])
    assert list(play.round.plans) == list(play.round.plan_order)


def test_no_plan_no_ballot() -> None:
    """An empty gallery is refused."""
    assert _plans().refused(Close(F)) is Because.NOTHING_IN


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("We use the e-mail address of each visitor", "personal data"),
        ("A weekly newsletter", "marketing messages"),
        ("A lower price in May", "prices"),
        ("Better health in a week", "health"),
        ("A loan at 3 %", "finance claims"),
        ("For pupils and teenagers", "children or vulnerable people"),
        ("A countdown on the page", "hiding something from the customer"),
    ],
)
def test_what_can_hurt_somebody_asks_for_a_check(text: str, name: str) -> None:
    """Personal data, marketing, prices, health, finance, children and hiding are noticed on the page."""
    assert name in cautions(text)
    play = _plans()
    play.do(HandInPlan(INES, a_plan("p", hypothesis=text)))
    assert name in play.round.plans[PlanId("p")].caution


def test_an_ordinary_plan_gets_no_caution() -> None:
    """A plan that touches none of it is left in peace."""
    plan = a_plan("p")
    assert cautions(plan.title, plan.hypothesis, *plan.steps) == ()


def test_a_caution_does_not_depend_on_what_the_page_claims() -> None:
    """A page cannot bring an empty list of cautions along."""
    play = _plans()
    play.do(HandInPlan(INES, a_plan("p", title="A lower price", caution=())))
    assert play.round.plans[PlanId("p")].caution == ("prices",)


def test_a_cancelled_round_seals_authors_for_good() -> None:
    """Plans are kept for a later round without their authors."""
    play = _plans()
    play.do(HandInPlan(INES, a_plan("p")), Cancel(F))
    assert play.round.plans[PlanId("p")].author is None
    assert a_round().plans == {}


def test_twelve_steps_are_allowed_and_strangers_hand_nothing_in() -> None:
    """The longest list, and who may bring it."""
    play = _plans()
    assert play.do(HandInPlan(INES, a_plan("p", steps=("x",) * 12)))
    assert play.refused(HandInPlan(OTHERS[-1], a_plan("q"))) is Because.NOT_A_MEMBER


def test_a_newer_version_is_said_to_be_one() -> None:
    """The writer is told whether a plan is new or replaces an older one."""
    play = _plans()
    facts = [*play.do(HandInPlan(INES, a_plan("p"))), *play.do(HandInPlan(INES, a_plan("p", title="Better")))]
    assert [x.replaces for x in facts if isinstance(x, PlanHandedIn)] == [False, True]
