"""Before a round starts: question, levers, settings, roster, roles, and what the weight means."""

from __future__ import annotations

from itertools import chain, combinations

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import LeverId, MemberId, Role, Step
from coldframe.domain.people.commands import ConfirmWeight, Join
from coldframe.domain.people.seats import power_share
from coldframe.domain.refusals import Because
from coldframe.domain.round import rules
from coldframe.domain.round.moves import Start
from coldframe.domain.state import DEFAULT_LEVERS, Roles, Settings
from tests.domain.play import DD, FD, D, F, Play, a_round

# Normalised Banzhaf share of the decision-maker in per cent, the table of the method: people -> weights 1 to 5.
PRINTED = {
    4: (25, 50, 70, 100, 100),
    6: (17, 33, 50, 75, 86),
    8: (12, 25, 38, 57, 71),
    10: (10, 20, 31, 45, 58),
    12: (8, 17, 26, 38, 49),
}
CASES = [(people, weight, share) for people, row in PRINTED.items() for weight, share in enumerate(row, 1)]


@pytest.mark.parametrize(("people", "weight", "percent"), CASES)
def test_the_weight_is_shown_as_voting_power(people: int, weight: int, percent: int) -> None:
    """The decision-maker's voting power is the published one, to the printed per cent."""
    assert abs(100 * power_share(people, weight) - percent) <= 0.5 + 1e-9


@pytest.mark.parametrize("weight", range(1, 9))
@pytest.mark.parametrize("people", range(2, 9))
def test_voting_power_is_counted_swing_by_swing(people: int, weight: int) -> None:
    """Voting power counts in how many coalitions a voter's leaving turns a majority (Banzhaf), listed one by one."""
    votes = [weight] + [1] * (people - 1)
    quota = sum(votes) // 2 + 1
    coalitions = chain.from_iterable(combinations(range(people), size) for size in range(people + 1))
    swings = [0] * people
    for coalition in coalitions:
        total = sum(votes[i] for i in coalition)
        for voter in coalition:
            swings[voter] += total >= quota > total - votes[voter]
    assert power_share(people, weight) == pytest.approx(swings[0] / sum(swings))


def test_a_round_starts_with_the_notes() -> None:
    """The facilitator starts a complete round, and the notes open."""
    play = Play()
    play.do(Start(F))
    assert play.round.step is Step.NOTES
    assert play.refused(Start(F)) is Because.TOO_LATE


def test_only_the_facilitator_starts() -> None:
    """Nobody else starts a round; the bot may, at the date that was set."""
    assert Play().refused(Start(D)) is Because.NOT_FACILITATOR
    assert Play().refused(Start(MemberId("zoe"))) is Because.NOT_A_MEMBER
    assert Play().do(Start(BOT))


@pytest.mark.parametrize(
    ("settings", "code"),
    [
        ({"question": " "}, Because.NO_QUESTION),
        ({"levers": ()}, Because.LEVER_COUNT),
        ({"levers": tuple((LeverId(f"l{n}"), f"L{n}") for n in range(7))}, Because.LEVER_COUNT),
        ({"dots": 0}, Because.BAD_SETTING),
        ({"plan_votes": 6}, Because.BAD_SETTING),
        ({"weight": 0}, Because.BAD_SETTING),
        ({"carry_on": 0}, Because.BAD_SETTING),
        ({"trials_at_once": 3}, Because.BAD_SETTING),
        ({"lengths": {Step.NOTES: 0}}, Because.BAD_SETTING),
        ({"lengths": {Step.NOTES: 401}}, Because.BAD_SETTING),
    ],
)
def test_a_setting_out_of_range_is_refused(settings: dict[str, object], code: Because) -> None:
    """A round does not start on a setting that the design does not allow."""
    assert Play(**settings).refused(Start(F)) is code


@pytest.mark.parametrize(
    ("name", "least", "most"),
    [("dots", 1, 10), ("plan_votes", 1, 5), ("weight", 1, 10), ("carry_on", 1, 10), ("trials_at_once", 1, 2)],
)
def test_a_setting_is_taken_up_to_its_bounds_and_not_beyond(name: str, least: int, most: int) -> None:
    """The bounds themselves are fine; whoever goes beyond is told how far one may go."""
    for value in (least, most):
        play = Play(a_round(12, **{name: value}))
        play.do(*(Join(F, MemberId(f"m{number}"), "M") for number in range(40)), ConfirmWeight(F))
        assert play.do(Start(F)), (name, value)
    for value in (least - 1, most + 1):
        refused = Play(a_round(12, **{name: value})).refusal(Start(F))
        assert refused.code is Because.BAD_SETTING
        assert refused.facts == {"setting": name, "value": value, "allowed": f"{least} to {most}"}


def test_a_window_is_taken_up_to_its_bounds() -> None:
    """Half an hour or 400, and nothing beyond; the names of the levers stand for their ids."""
    for length in (0.5, 400):
        assert Play(lengths={Step.NOTES: length}).do(Start(F))
    assert Settings("?").lever_name(DEFAULT_LEVERS[1][0]) == "Activation"


def test_the_levers_are_the_trades_by_default_and_one_to_six() -> None:
    """Without a word the levers are acquisition, activation, retention; a round may define one to six others."""
    assert [name for _, name in Settings("?").levers] == ["Acquisition", "Activation", "Retention"]
    one = Play(levers=DEFAULT_LEVERS[:1])
    six = Play(levers=tuple((LeverId(f"l{n}"), f"L{n}") for n in range(6)))
    assert one.do(Start(F))
    assert six.do(Start(F))


@pytest.mark.parametrize(
    ("step", "days", "live"),
    [
        (Step.NOTES, 8, 20), (Step.FOCUS, 8, 3), (Step.MERGE, 6, 5), (Step.DOTS, 8, 3), (Step.QUESTIONS, 8, 10),
        (Step.PRECEDENTS, 16, 40), (Step.PLANS, 16, 40), (Step.BALLOT, 8, 8), (Step.PLACEMENT, 8, 10),
        (Step.COMMITMENT, 8, 15),
    ],
)  # fmt: skip
def test_windows_are_as_long_as_the_design_says(step: Step, days: float, live: float) -> None:
    """Each step has the design's length, in working hours or minutes, unless the round sets another."""
    assert rules.length(Settings("?"), step) == days
    assert rules.length(Settings("?", pace="live"), step) == live
    assert rules.length(Settings("?", lengths={step: 5}), step) == 5


def test_notes_dots_plans_and_ballot_are_given_in_private() -> None:
    """Windows of these have twenty hours at least (tests/timing/test_windows.py); others may be shorter."""
    private = [step for step in rules.RULES if rules.RULES[step].private]
    assert private == [Step.NOTES, Step.DOTS, Step.PLANS, Step.BALLOT]


def test_plans_are_read_before_the_ballot_opens() -> None:
    """The reading window is two working hours unless the round sets another."""
    assert rules.reading_length(Settings("?"), Step.BALLOT) == 2
    assert rules.reading_length(Settings("?", reading=4), Step.BALLOT) == 4


@pytest.mark.parametrize(("people", "code"), [(1, Because.TOO_FEW_PEOPLE), (2, Because.TOO_FEW_PEOPLE)])
def test_a_round_of_one_or_two_is_refused(people: int, code: Because) -> None:
    """With under three people nothing could be secret, so the round does not start."""
    assert Play(a_round(people, roles=Roles(F, F, D, D))).refused(Start(F)) is code


def test_a_crowd_is_refused() -> None:
    """Sixty people are the most."""
    play = Play(a_round(6))
    for number in range(55):
        play.do(Join(F, MemberId(f"m{number}"), "M"))
    assert play.refused(Start(F)) is Because.TOO_MANY_PEOPLE


def test_three_people_are_a_round() -> None:
    """The smallest round has three people, one of whom stands in for both roles."""
    play = Play(people=3, weight=1)
    assert play.do(Start(F))


@pytest.mark.parametrize(
    ("roles", "code"),
    [
        (Roles(F, D), Because.DEPUTY_MISSING),
        (Roles(F, D, FD), Because.DEPUTY_MISSING),
        (Roles(F, D, F, DD), Because.DEPUTY_SAME),
        (Roles(F, D, FD, D), Because.DEPUTY_SAME),
        (Roles(MemberId("zoe"), D, FD, DD), Because.ROLE_NOT_ON_ROSTER),
        (Roles(F, D, FD, MemberId("zoe")), Because.ROLE_NOT_ON_ROSTER),
    ],
)
def test_both_roles_need_a_deputy_on_the_roster(roles: Roles, code: Because) -> None:
    """Facilitator and decision-maker, and a deputy for each, take part themselves."""
    assert Play(a_round(roles=roles)).refused(Start(BOT)) is code


def test_a_weight_above_half_of_the_power_must_be_confirmed() -> None:
    """With more than half of the voting power the facilitator says yes to it first."""
    play = Play(people=6, weight=4)
    assert play.refused(Start(F)) is Because.WEIGHT_UNCONFIRMED
    assert play.refused(ConfirmWeight(D)) is Because.NOT_FACILITATOR
    play.do(ConfirmWeight(F), Start(F))
    assert play.round.step is Step.NOTES


def test_the_whole_of_the_power_is_refused() -> None:
    """A weight that decides alone makes the ballot a pretence, confirmed or not."""
    play = Play(people=4, weight=4)
    play.do(ConfirmWeight(F))
    assert play.refused(Start(F)) is Because.WEIGHT_DECIDES_ALONE


def test_exactly_half_of_the_power_needs_no_word() -> None:
    """Half of the power (four people, weight two) is not above half."""
    assert power_share(4, 2) == 0.5
    assert Play(people=4, weight=2).do(Start(F))


def test_one_person_may_have_both_roles() -> None:
    """Who facilitates may decide as well."""
    play = Play(a_round(roles=Roles(F, F, FD, DD)))
    assert play.do(Start(F))
    assert {play.round.roles.acting(role) for role in Role} == {F}


def test_nobody_else_means_all_of_the_power() -> None:
    """One person alone decides whatever the weight."""
    assert power_share(1, 2) == 1


def test_sixty_people_are_not_too_many() -> None:
    """The limit itself is allowed."""
    play = Play(a_round(6))
    for number in range(54):
        play.do(Join(F, MemberId(f"m{number}"), "M"))
    assert play.do(Start(F))


def test_the_weight_is_confirmed_before_the_start() -> None:
    """Afterwards it stands."""
    assert Play().to(Step.NOTES).refused(ConfirmWeight(F)) is Because.TOO_LATE
