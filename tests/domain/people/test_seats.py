"""Who takes part: away, back, gone, new; and who holds a role."""

from __future__ import annotations

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, PlanId, Role, Step
from coldframe.domain.people.commands import HandOver, Join, Leave, SetAway
from coldframe.domain.people.facts import RoleHandedOver
from coldframe.domain.refusals import Because
from coldframe.domain.round import rules
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan, OfferToOwn
from coldframe.domain.round.commitment import SetActions
from coldframe.domain.round.moves import Cancel, Close, Done, Extend, Pause, Start
from coldframe.domain.state import Action
from tests.domain.play import DAY, DD, FD, OTHERS, D, F, Play

INES, JON = OTHERS[:2]
NEW = MemberId("nell")


def test_who_is_away_is_not_expected() -> None:
    """Away shortens the list of those expected and the quorum; back again they count."""
    play = Play(people=8).to(Step.NOTES)
    assert rules.quorum(play.round) == 5
    for member in (INES, JON, FD):
        play.do(SetAway(member, member, away=True))
    assert INES not in rules.expected(play.round)
    assert rules.quorum(play.round) == 3
    play.do(SetAway(F, INES, away=False))
    assert INES in rules.expected(play.round)


def test_away_is_ones_own_or_the_facilitators_to_say() -> None:
    """Nobody else sends a person away, and saying it twice changes nothing."""
    play = Play().to(Step.NOTES)
    assert play.refused(SetAway(JON, INES, away=True)) is Because.NOT_FACILITATOR
    assert play.refused(SetAway(F, NEW, away=True)) is Because.NOT_A_MEMBER
    play.do(SetAway(BOT, INES, away=True))
    assert play.do(SetAway(INES, INES, away=True)) == ()


def test_the_last_one_being_away_lets_the_step_settle() -> None:
    """When the only person still missing is away, everybody is in."""
    play = Play(people=4).to(Step.NOTES)
    for member in (F, D, FD):
        play.note(member, f"n-{member}")
        play.do(Done(member))
    assert play.round.progress.settles_at is None
    play.do(SetAway(DD, DD, away=True))
    assert play.round.progress.settles_at is not None
    play.do(SetAway(DD, DD, away=False))
    assert play.round.progress.settles_at is None


def test_who_left_is_heeded_no_more() -> None:
    """Somebody who left is refused everywhere, is not expected, and their seat stays for the record."""
    play = Play(people=8).to(Step.NOTES)
    play.note(INES, "n1")
    play.do(Leave(BOT, INES))
    assert INES not in rules.expected(play.round)
    assert play.refused(Done(INES)) is Because.NOT_A_MEMBER
    assert play.refused(Leave(INES, INES)) is Because.NOT_A_MEMBER
    assert "n1" in play.round.notes
    assert play.round.seats[INES].left


def test_a_facilitator_who_left_without_leave_to_do_so_cannot_go_on_ruling() -> None:
    """The role goes over the moment its holder leaves."""
    play = Play().to(Step.NOTES)
    play.do(Leave(F, F))
    for command in (Close(F), Pause(F), Cancel(F), Extend(F), Join(F, NEW, "Nell")):
        assert play.refused(command) is Because.NOT_A_MEMBER
    assert play.round.roles.acting(Role.FACILITATOR) == FD


def test_a_stranger_is_refused() -> None:
    """Who is not on the roster gives nothing to the round."""
    play = Play().to(Step.NOTES)
    assert play.refused(Done(NEW)) is Because.NOT_A_MEMBER
    assert play.refused(Leave(F, NEW)) is Because.NOT_A_MEMBER


@pytest.mark.parametrize(("role", "holder", "deputy"), [(Role.FACILITATOR, F, FD), (Role.DECISION_MAKER, D, DD)])
def test_a_role_goes_to_its_deputy_when_the_holder_leaves(role: Role, holder: MemberId, deputy: MemberId) -> None:
    """The deputy takes over at once, and the fact says so."""
    play = Play().to(Step.NOTES)
    facts = play.do(Leave(holder, holder))
    assert RoleHandedOver(role, to_deputy=True, why="asked") in facts
    assert play.round.roles.acting(role) == deputy


def test_a_role_goes_back_when_the_deputy_who_held_it_leaves() -> None:
    """A deputy who leaves gives the role back to its holder."""
    play = Play().to(Step.NOTES)
    play.do(HandOver(D, Role.DECISION_MAKER))
    facts = play.do(Leave(DD, DD))
    assert RoleHandedOver(Role.DECISION_MAKER, to_deputy=False, why="asked") in facts
    assert play.round.roles.acting(Role.DECISION_MAKER) == D


def test_a_role_without_anybody_falls_to_the_other_role() -> None:
    """When holder and deputy have both left, somebody who is there holds the role, so that no round hangs."""
    play = Play().to(Step.NOTES)
    play.do(Leave(FD, FD), Leave(F, F))
    assert play.round.roles.acting(Role.FACILITATOR) == D
    play.do(Leave(D, D), Leave(DD, DD))
    assert play.round.roles.acting(Role.FACILITATOR) == INES
    assert play.round.roles.acting(Role.DECISION_MAKER) == INES
    play.do(Cancel(INES))
    assert play.round.step is Step.CANCELLED


def test_the_last_person_may_leave() -> None:
    """When nobody is left the round rests at its deadline."""
    play = Play(people=3, weight=1).to(Step.NOTES)
    for member in (F, D, FD):
        play.do(Leave(BOT, member))
    assert rules.expected(play.round) == ()
    for _ in range(3):
        play.deadline()
    assert play.round.paused is not None


def test_a_role_is_handed_over_and_taken_back() -> None:
    """Holder, facilitator and time hand a role over; only holder or facilitator take it back."""
    play = Play().to(Step.NOTES)
    assert play.refused(HandOver(INES, Role.DECISION_MAKER)) is Because.NOT_FACILITATOR
    assert play.refused(HandOver(NEW, Role.DECISION_MAKER)) is Because.NOT_A_MEMBER
    play.do(HandOver(F, Role.DECISION_MAKER))
    assert play.round.is_decision_maker(DD)
    assert not play.round.is_decision_maker(D)
    assert play.do(HandOver(F, Role.DECISION_MAKER)) == ()
    play.do(HandOver(D, Role.DECISION_MAKER, to_deputy=False))
    assert play.round.is_decision_maker(D)


def test_whoever_left_takes_no_role_back() -> None:
    """Though it was theirs."""
    play = Play().to(Step.NOTES)
    play.do(Leave(BOT, F))
    assert play.refused(HandOver(F, Role.FACILITATOR, to_deputy=False)) is Because.NOT_A_MEMBER


def test_nothing_is_handed_to_somebody_who_left() -> None:
    """Neither a deputy nor a holder who left is given a role."""
    play = Play().to(Step.NOTES)
    play.do(Leave(DD, DD))
    assert play.refused(HandOver(D, Role.DECISION_MAKER)) is Because.DEPUTY_MISSING
    play.do(Leave(F, F))
    assert play.refused(HandOver(FD, Role.FACILITATOR, to_deputy=False)) is Because.ROLE_NOT_ON_ROSTER


def test_a_new_colleague_counts_from_the_next_step() -> None:
    """Who joins in a running step is not expected in it and does not vote in it, but in the next."""
    play = Play().to(Step.DOTS)
    play.do(Join(F, NEW, "Nell"))
    assert NEW not in rules.expected(play.round)
    assert play.refused(CastVote(NEW, play.round.forces[0].id, "button")) is Because.NOT_NOW
    play.to(Step.PRECEDENTS)
    assert NEW in rules.expected(play.round)


def test_only_the_facilitator_lets_somebody_join_and_once() -> None:
    """Guests are not on the roster unless the facilitator names them; naming them twice changes nothing."""
    play = Play().to(Step.NOTES)
    assert play.refused(Join(NEW, NEW, "Nell")) is Because.NOT_A_MEMBER
    assert play.refused(Join(INES, NEW, "Nell")) is Because.NOT_FACILITATOR
    play.do(Join(F, NEW, "Nell"))
    assert play.do(Join(F, NEW, "Nell")) == ()
    play.do(Cancel(F))
    assert play.refused(Join(F, MemberId("noa"), "Noa")) is Because.ENDED


def test_who_joins_in_the_setup_is_expected_in_the_notes() -> None:
    """Before the start everybody who joins is there from the first step."""
    play = Play()
    play.do(Join(F, NEW, "Nell"), Start(F))
    assert NEW in rules.expected(play.round)


def test_somebody_who_left_may_come_back() -> None:
    """Joining again gives the seat back, from the next step on."""
    play = Play().to(Step.NOTES)
    play.do(Leave(INES, INES), Join(F, INES, "Ines"))
    assert INES in play.round.active()
    assert INES not in rules.expected(play.round)


def test_what_somebody_owned_is_free_when_they_leave() -> None:
    """Ownership, offers and first actions of somebody who leaves are open again."""
    play = Play().to(Step.COMMITMENT)
    p0 = PlanId("p0")
    play.do(ChoosePlan(F, p0), AskOwner(F, p0, INES), AnswerOwnership(INES, p0, accept=True))
    play.do(OfferToOwn(JON, p0))
    play.do(
        SetActions(INES, p0, (Action("a", "I call", INES, play.now + DAY), Action("b", "I write", D, play.now + DAY)))
    )
    play.do(Leave(INES, INES))
    choice = play.round.choices[p0]
    assert choice.owner is None
    assert [a.who for a in choice.actions] == [D]
    play.do(Leave(JON, JON))
    assert play.round.choices[p0].offers == ()


def test_names_of_those_who_are_unknown_are_not_made_up() -> None:
    """A person without a seat is called somebody who left."""
    play = Play()
    assert play.round.name_of(INES) == "Ines"
    assert play.round.name_of(NEW) == "somebody who left"


def test_who_comes_when_everybody_had_left_holds_the_roles() -> None:
    """Somebody can always go on with a round or end it."""
    play = Play(people=3, weight=1).to(Step.NOTES)
    for member in (F, D, FD):
        play.do(Leave(BOT, member))
    play.do(Join(BOT, NEW, "Nell"))
    assert {play.round.roles.acting(role) for role in Role} == {NEW}
    play.do(Cancel(NEW))


def test_leaving_is_ones_own_or_the_facilitators_to_say() -> None:
    """Nobody else declares somebody gone."""
    play = Play().to(Step.NOTES)
    assert play.refused(Leave(JON, INES)) is Because.NOT_FACILITATOR
    play.do(Leave(F, INES))
    assert INES not in play.round.active()


def test_what_others_own_stays_when_somebody_leaves() -> None:
    """Only what belonged to the one who left is open again."""
    play = Play().to(Step.COMMITMENT)
    p0, p1 = PlanId("p0"), PlanId("p1")
    play.do(ChoosePlan(F, p0), AskOwner(F, p0, D), ChoosePlan(F, p1), AskOwner(F, p1, INES))
    play.do(OfferToOwn(DD, p0), OfferToOwn(JON, p0), Leave(BOT, INES), Leave(BOT, JON))
    assert play.round.choices[p0].asked == D
    assert play.round.choices[p0].offers == (DD,)
    assert play.round.choices[p1].asked is None
