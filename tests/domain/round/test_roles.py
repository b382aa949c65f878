"""Roles that change hands: with the other's yes, in place of somebody silent, and so that somebody can always go on."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, OfferEnd, PauseReason, Role, Step
from coldframe.domain.people.commands import HandOver, Join, Leave, SetAway
from coldframe.domain.refusals import Because
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import Cancel, Pause, Resume, RoundResumed, Start
from coldframe.domain.round.roles import (
    AnswerRole,
    KeepRole,
    NameDeputy,
    OfferRole,
    OpenRole,
    RoleOfferEnded,
    TakeRole,
    concerns,
)
from coldframe.domain.state import Roles
from tests.domain.play import DAY, DD, FD, OTHERS, REASON, RETENTION, D, F, Play

INES, JON = OTHERS[:2]
LEAD, CHIEF = Role.FACILITATOR, Role.DECISION_MAKER
HOLDER = {LEAD: F, CHIEF: D}


def _offer(play: Play, by: MemberId, role: Role, to: MemberId) -> OfferRole:
    return OfferRole(by, role, to, play.now + 2 * DAY)


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("step", [Step.SETUP, Step.NOTES, Step.QUESTIONS, Step.COMMITMENT])
def test_a_role_is_passed_on_with_the_others_yes(role: Role, step: Step) -> None:
    """Until the yes it stays where it is; then it is the other's own, and the deputy stays the deputy."""
    play = Play().to(step)
    play.do(_offer(play, HOLDER[role], role, INES))
    assert play.round.roles.acting(role) == HOLDER[role]
    deputy = play.round.roles.deputy(role)
    play.do(AnswerRole(INES, role, accept=True))
    assert play.round.roles.acting(role) == play.round.roles.holder(role) == INES
    assert play.round.roles.deputy(role) == deputy
    assert play.round.role_offers == ()


def test_a_no_leaves_the_role_where_it_is() -> None:
    """And nobody is asked any more."""
    play = Play().to(Step.NOTES)
    play.do(_offer(play, F, LEAD, INES))
    assert RoleOfferEnded(LEAD, INES, OfferEnd.DECLINED) in play.do(AnswerRole(INES, LEAD, accept=False))
    assert play.round.is_facilitator(F) and play.round.role_offers == ()
    assert play.refused(AnswerRole(INES, LEAD, accept=True)) is Because.NOT_ASKED


def test_one_person_is_asked_at_a_time() -> None:
    """Who is asked instead of another takes their offer away; asking the same again changes nothing."""
    play = Play().to(Step.NOTES)
    play.do(_offer(play, F, LEAD, INES))
    assert play.do(_offer(play, F, LEAD, INES)) == ()
    assert RoleOfferEnded(LEAD, INES, OfferEnd.KEPT) in play.do(_offer(play, F, LEAD, JON))
    assert play.refused(AnswerRole(INES, LEAD, accept=True)) is Because.NOT_ASKED
    play.do(_offer(play, D, CHIEF, INES))
    assert {(o.role, o.to) for o in play.round.role_offers} == {(LEAD, JON), (CHIEF, INES)}


def test_who_asked_may_keep_the_role_after_all() -> None:
    """Nobody else may take the question back; time does, once it is over."""
    play = Play().to(Step.NOTES)
    play.do(_offer(play, F, LEAD, INES))
    assert play.refused(KeepRole(JON, LEAD)) is Because.NOT_YOURS
    assert play.do(KeepRole(BOT, LEAD)) == ()
    play.do(KeepRole(F, LEAD))
    assert play.refused(KeepRole(F, LEAD)) is Because.NOT_ASKED
    play.do(_offer(play, F, LEAD, INES))
    play.now += 2 * DAY
    assert play.do(KeepRole(BOT, LEAD)) == (RoleOfferEnded(LEAD, INES, OfferEnd.LAPSED),)


def test_nobody_gives_away_what_is_not_theirs() -> None:
    """Only whoever has a role passes it on, to a member who does not have it, in a round that has not ended."""
    play = Play().to(Step.NOTES)
    assert play.refused(_offer(play, INES, LEAD, JON)) is Because.NOT_FACILITATOR
    assert play.refused(_offer(play, F, CHIEF, JON)) is Because.NOT_DECISION_MAKER
    assert play.refused(_offer(play, F, LEAD, MemberId("zoe"))) is Because.NOT_A_MEMBER
    assert play.refused(_offer(play, F, LEAD, F)) is Because.HAS_THE_ROLE
    play.do(Cancel(F))
    assert play.refused(_offer(play, F, LEAD, INES)) is Because.ENDED


@pytest.mark.parametrize("gone", [F, INES], ids=["who asked", "who was asked"])
def test_an_offer_goes_with_whoever_leaves(gone: MemberId) -> None:
    """Nobody takes a role from somebody who did not ask them."""
    play = Play().to(Step.NOTES)
    play.do(_offer(play, F, LEAD, INES), Leave(BOT, gone))
    assert play.round.role_offers == ()


def test_an_offer_ends_when_the_role_moves_otherwise() -> None:
    """The deputy who stands in meanwhile does not lose the role to an older offer."""
    play = Play().to(Step.NOTES)
    play.do(_offer(play, F, LEAD, INES), HandOver(F, LEAD))
    assert play.round.role_offers == () and play.round.is_facilitator(FD)


def test_the_round_ends_its_offers() -> None:
    """After the commitment nobody is asked any more."""
    play = Play().to(Step.COMMITMENT)
    play.do(_offer(play, F, LEAD, INES))
    play.to(Step.COMMITTED)
    assert play.round.role_offers == ()


# --- somebody silent ------------------------------------------------------------------------------------------------


def _without_deputy(play: Play) -> Play:
    play.do(Leave(BOT, DD))
    return play


def test_a_silent_decision_maker_is_replaced_with_the_others_yes() -> None:
    """Not before their deadline; while it is extended, or when the round rests for want of them. The yes leads on."""
    play = _without_deputy(Play().to(Step.FOCUS))
    assert play.refused(_offer(play, F, CHIEF, INES)) is Because.NOT_DECISION_MAKER
    play.deadline()
    play.do(_offer(play, F, CHIEF, INES))
    play.deadline()
    assert play.round.paused is PauseReason.NOBODY_DECIDED
    facts = play.do(AnswerRole(INES, CHIEF, accept=True))
    assert any(isinstance(f, RoundResumed) for f in facts) and play.round.paused is None
    play.do(PickFocus(INES, RETENTION, REASON))
    assert play.round.step is Step.MERGE


def test_the_facilitator_may_decide_in_their_place() -> None:
    """Their own yes is in the asking."""
    play = _without_deputy(Play().to(Step.FOCUS))
    play.deadline()
    play.do(_offer(play, F, CHIEF, F))
    assert play.round.is_decision_maker(F)


def test_a_decision_maker_who_is_away_is_replaced() -> None:
    """Nobody waits for a deadline that cannot be kept."""
    play = Play().to(Step.NOTES)
    play.do(SetAway(D, D, away=True), _offer(play, F, CHIEF, INES), AnswerRole(INES, CHIEF, accept=True))
    assert play.round.is_decision_maker(INES)


def test_a_silent_facilitators_role_is_taken_over_once_it_is_open() -> None:
    """Only in a round that rests, and only after the bot has opened it; who takes it goes on, or ends the round."""
    play = Play().to(Step.NOTES)
    assert play.do(OpenRole(BOT, LEAD)) == ()
    play.do(Pause(F))
    assert play.refused(TakeRole(INES, LEAD)) is Because.ROLE_NOT_OPEN
    assert play.refused(OpenRole(INES, LEAD)) is Because.NOT_YOURS
    play.do(OpenRole(BOT, LEAD))
    assert play.refused(TakeRole(F, LEAD)) is Because.HAS_THE_ROLE
    play.do(TakeRole(INES, LEAD))
    assert play.refused(TakeRole(JON, LEAD)) is Because.ROLE_NOT_OPEN
    assert play.refused(Resume(F)) is Because.NOT_FACILITATOR
    play.do(Resume(INES))
    assert play.round.paused is None


def test_a_facilitator_who_moves_in_time_keeps_the_role() -> None:
    """Going on closes what was open for others."""
    play = Play().to(Step.NOTES)
    play.do(Pause(F), OpenRole(BOT, LEAD), Resume(F))
    assert play.refused(TakeRole(INES, LEAD)) is Because.ROLE_NOT_OPEN


# --- somebody comes back, deputies ----------------------------------------------------------------------------------


def test_who_left_is_remembered_for_what_was_theirs() -> None:
    """Only roles of their own, not what they stood in for; and nothing is theirs again without their yes."""
    play = Play().to(Step.NOTES)
    play.do(HandOver(D, CHIEF), Leave(BOT, F), Leave(BOT, DD))
    assert play.round.seats[F].held == (LEAD,) and play.round.seats[DD].held == ()
    play.do(Join(BOT, F, "Faye"))
    assert play.round.is_facilitator(FD)
    play.do(_offer(play, BOT, LEAD, F), AnswerRole(F, LEAD, accept=True))
    assert play.round.is_facilitator(F) and play.round.roles.deputy(LEAD) == FD


def test_another_deputy_is_named() -> None:
    """By whoever has the role, or by the facilitator; not themself, and not while the deputy stands in."""
    play = Play().to(Step.NOTES)
    assert play.refused(NameDeputy(INES, CHIEF, JON)) is Because.NOT_FACILITATOR
    assert play.refused(NameDeputy(D, CHIEF, D)) is Because.DEPUTY_SAME
    play.do(NameDeputy(D, CHIEF, INES))
    assert play.round.roles.deputy(CHIEF) == INES
    play.do(HandOver(D, CHIEF))
    assert play.refused(NameDeputy(F, CHIEF, JON)) is Because.DEPUTY_ACTS
    play.do(Leave(BOT, D), NameDeputy(INES, CHIEF, JON))
    assert (play.round.roles.holder(CHIEF), play.round.roles.deputy(CHIEF)) == (INES, JON)


def test_a_round_whose_deputy_left_in_setup_starts_with_another() -> None:
    """What keeps it from starting can be put right."""
    play = Play()
    play.do(Leave(BOT, FD))
    assert play.refused(Start(F)) is Because.ROLE_NOT_ON_ROSTER
    play.do(NameDeputy(F, LEAD, INES), Start(F))
    assert play.round.step is Step.NOTES


def test_a_role_falls_to_somebody_who_is_there() -> None:
    """Of those who remain, whoever is away comes last, and of the others whoever has been there longest comes first."""
    play = Play(people=8).to(Step.NOTES)
    play.do(Leave(BOT, INES), Join(BOT, INES, "Ines"), SetAway(JON, JON, away=True))
    for member in (FD, F, DD, D):
        play.do(Leave(BOT, member))
    assert play.round.is_facilitator(OTHERS[2])


# --- a setup that an outsider began ---------------------------------------------------------------------------------


def test_a_setup_of_an_outsider_is_ended_or_taken_over_by_a_member() -> None:
    """Whoever began it takes no part, so anybody who does can go on with it or end it."""
    play = Play()
    play.round = replace(play.round, roles=Roles(MemberId("guest"), D, FD, DD))
    assert play.refused(Cancel(MemberId("guest"))) is Because.NOT_A_MEMBER
    play.do(TakeRole(INES, LEAD), Start(INES))
    assert play.round.step is Step.NOTES
    other = Play()
    other.round = replace(other.round, roles=Roles(MemberId("guest"), D, FD, DD))
    other.do(Cancel(JON, "Not ours"))
    assert other.round.step is Step.CANCELLED
    own = Play()
    assert own.refused(Cancel(JON)) is Because.NOT_FACILITATOR


def test_roles_concern_whoever_has_one_and_everybody_while_one_is_open() -> None:
    """And nobody who is not there."""
    play = Play().to(Step.NOTES)
    assert [concerns(play.round, member) for member in (F, D, INES, MemberId("zoe"))] == [True, True, False, False]
    opened = replace(play.round, open_roles=frozenset({LEAD}))
    assert concerns(opened, INES) and not concerns(opened, MemberId("zoe"))
