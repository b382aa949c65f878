"""The mishaps of a live round, numbered as in the method, as far as no platform is needed for them.

Rows that live elsewhere: 7 and 11 (timing), 10, 13, 15 and 26 (platforms and engine), 16 (engine), 24 and 25 (trials).
"""

from __future__ import annotations

from coldframe.domain.commands import BOT
from coldframe.domain.names import NoteId, PlanId, Role, Side, Step
from coldframe.domain.people.commands import HandOver, Join, Leave, SetAway
from coldframe.domain.refusals import Because
from coldframe.domain.round import rules
from coldframe.domain.round.ballots import CastVote, Reconcile, TakeBackVote, VoteCast
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan, DropChoice
from coldframe.domain.round.commitment import missing
from coldframe.domain.round.merging import AnswerMerge, JoinForces, PickFocus
from coldframe.domain.round.moves import Cancel, Close, Done, Extend, GotStuck
from coldframe.domain.round.notes import Consent, ConsentAsked, Revealed, WriteNote
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.revealed_notes import HideNote, SettleLateNote
from coldframe.domain.state import Roles
from tests.domain.play import DAY, DD, FD, OTHERS, REASON, RETENTION, D, F, Play, a_plan, a_round

INES, JON, KIM = OTHERS[:3]


def test_1_someone_leaves_mid_round() -> None:
    """The quorum is recounted, their note stays unsigned, the votes they cast count."""
    play = Play(people=8).to(Step.NOTES)
    play.note(INES, "n1")
    before = rules.quorum(play.round)
    play.do(Leave(BOT, INES), Leave(BOT, JON))
    assert rules.quorum(play.round) < before
    play.to(Step.FOCUS)
    assert play.round.notes[NoteId("n1")].author is None


def test_2_the_decision_maker_is_on_holiday() -> None:
    """The facilitator hands over to the deputy, and it is on record."""
    play = Play().to(Step.FOCUS)
    play.do(SetAway(D, D, away=True))
    play.deadline()
    facts = play.do(HandOver(F, Role.DECISION_MAKER))
    assert facts[0].public_record() == {
        "fact": "RoleHandedOver", "role": "decision-maker", "to_deputy": True, "why": "asked",
    }  # fmt: skip
    play.do(PickFocus(DD, RETENTION, REASON))


def test_3_nobody_submits() -> None:
    """One extension, then the facilitator is told; a new date, a pause or the end are open; no empty reveal."""
    play = Play(people=8).to(Step.NOTES)
    play.deadline()
    assert isinstance(play.deadline()[0], GotStuck)
    assert play.refused(Close(F)) is Because.NOTHING_IN
    play.do(Extend(F))
    play.do(Cancel(F))
    assert not any(isinstance(x, Revealed) for x in play.facts)


def test_4_one_or_two_submit() -> None:
    """Each writer is asked; without their word nothing is shown."""
    play = Play(people=8).to(Step.NOTES)
    play.note(INES, "n1")
    assert any(isinstance(x, ConsentAsked) for x in play.do(Close(F)))
    assert play.round.step is Step.NOTES
    play.do(Consent(INES))
    assert play.round.step is Step.FOCUS


def test_5_all_votes_tie() -> None:
    """The tie is shown; a draw comes only at a cut, and follows from the seed."""
    play = Play(people=6, weight=1).to(Step.PLANS)
    for number, member in enumerate(play.members()):
        play.do(HandInPlan(member, a_plan(f"p{number}")))
    play.close()
    play.to(Step.BALLOT)
    for number, member in enumerate(play.members()):
        if member != D:
            play.vote(member, f"p{number}")
    play.vote(D, "p1")
    play.close()
    standing = play.round.plans_standing
    assert not any(s.drawn for s in standing)
    assert {s.place for s in standing if s.option != "p1"} == {2}
    assert standing[0].option == "p1"  # the decision-maker's vote is the last of the tie rules


def test_6_an_owner_declines() -> None:
    """The trial is without owner until somebody else says yes, and does not start so."""
    play = Play().to(Step.COMMITMENT)
    p0 = PlanId("p0")
    play.do(ChoosePlan(D, p0), AskOwner(F, p0, INES), AnswerOwnership(INES, p0, accept=False))
    assert (p0, Because.OWNER_MISSING) in missing(play.round)
    play.do(DropChoice(F, p0))
    assert play.round.choices == {}


def test_8_a_note_comes_after_the_reveal() -> None:
    """It is kept, and its writer says: post, as the step ends, hold or withdraw."""
    play = Play().to(Step.FOCUS)
    for number, choice in enumerate(("post", "hold", "withdraw")):
        note = NoteId(f"l{number}")
        play.do(WriteNote(INES, note, RETENTION, Side.RESTRAINING, "late"))
        play.do(SettleLateNote(INES, note, choice))  # type: ignore[arg-type]
    assert list(play.round.late_notes) == ["l0", "l1"]
    play.to(Step.MERGE)
    assert [n for n in play.round.notes if n.startswith("l")] == ["l0"]
    assert list(play.round.late_notes) == ["l1"]


def test_9_a_plan_or_vote_comes_after_the_close() -> None:
    """Both are refused with where the round stands now."""
    play = Play(placed_by="facilitator").to(Step.PLACEMENT)
    assert play.refused(HandInPlan(INES, a_plan("p9"))) is Because.TOO_LATE
    assert play.refused(CastVote(INES, "p0", "button")) is Because.TOO_LATE


def test_12_the_bot_was_off_when_the_deadline_passed() -> None:
    """What fell due is done once, late, and the next alarm finds a new window."""
    play = Play(people=8).to(Step.NOTES)
    for member in play.members()[:5]:
        play.note(member, f"n-{member}")
    play.wait(3 * DAY)
    assert play.do(Close(BOT, "due"))
    assert play.do(Close(BOT, "due")) == ()
    assert play.round.step is Step.FOCUS


def test_14_a_guest_is_in_the_channel() -> None:
    """Who is not on the roster gives nothing and counts for nothing until the facilitator names them."""
    play = Play().to(Step.NOTES)
    guest = OTHERS[-1]
    assert play.refused(WriteNote(guest, NoteId("g"), RETENTION, Side.DRIVING, "x")) is Because.NOT_A_MEMBER
    assert play.refused(Join(INES, guest, "Pia")) is Because.NOT_FACILITATOR


def test_15_an_event_is_delivered_twice() -> None:
    """The same note, vote, done or answer again has no second effect."""
    play = Play().to(Step.NOTES)
    twice = WriteNote(INES, NoteId("n"), RETENTION, Side.DRIVING, "x")
    play.do(twice, Done(INES))
    assert play.do(twice, Done(INES)) == ()
    voting = Play().to(Step.DOTS)
    vote = CastVote(INES, voting.round.forces[0].id, "wave")
    voting.do(vote)
    assert voting.do(vote) == ()


def test_17_the_facilitator_is_also_the_decision_maker() -> None:
    """Allowed; merges then need a second person if there are four or more."""
    play = Play(a_round(roles=Roles(F, F, FD, DD))).to(Step.NOTES)
    for number, member in enumerate(play.members()):
        play.note(member, f"n{number}")
    play.close()
    play.do(PickFocus(F, RETENTION, REASON))
    a, b = play.round.forces[:2]
    play.do(JoinForces(F, a.id, b.id))
    assert len(play.round.forces) == 6
    play.do(AnswerMerge(INES, a.notes[0], b.notes[0], same=True))
    assert len(play.round.forces) == 5


def test_18_the_facilitator_vanishes() -> None:
    """Steps that need no judgement go on alone; the deputy takes over where judgement is needed."""
    play = Play().to(Step.MERGE)
    play.deadline()
    assert play.round.step is Step.DOTS
    for member in play.members():
        play.vote(member, play.round.forces[0].id)
    play.deadline()
    assert play.round.step is Step.QUESTIONS
    play.deadline()
    play.deadline()
    assert play.round.is_facilitator(FD)


def test_19_a_new_colleague_joins_mid_round() -> None:
    """They take part from the next step on and do not count in the running one."""
    play = Play(people=5).to(Step.PLANS)
    play.do(Join(F, KIM, "Kim"))
    assert KIM not in rules.expected(play.round)
    play.to(Step.BALLOT)
    assert KIM in rules.expected(play.round)
    play.vote(KIM, "p0")


def test_20_an_emoji_was_removed_while_the_bot_was_off() -> None:
    """The ledger is read again at the close."""
    play = Play().to(Step.DOTS)
    first, second = (force.id for force in play.round.forces[:2])
    play.do(CastVote(INES, first, "wave"), Reconcile(BOT, {INES: ((second, "wave"),)}))
    play.vote(JON, second)
    play.close()
    assert {s.option: s.weighted for s in play.round.forces_standing}[first] == 0


def test_21_votes_over_the_quota() -> None:
    """The newest over the quota does not count and is named at once; taking one back is offered."""
    play = Play(dots=1).to(Step.DOTS)
    first, second = (force.id for force in play.round.forces[:2])
    play.do(CastVote(INES, first, "a"))
    (cast,) = play.do(CastVote(INES, second, "b"))
    assert isinstance(cast, VoteCast)
    assert not cast.counts
    play.do(TakeBackVote(INES, second, "b"))
    play.close()
    assert sum(s.weighted for s in play.round.forces_standing) == 1


def test_22_a_note_is_confidential_or_abusive() -> None:
    """The facilitator hides it with a reason that stays off the trail; who wrote it is not known."""
    play = Play().to(Step.FOCUS)
    note = play.round.revealed[0]
    (hidden,) = play.do(HideNote(F, note, "names a customer"))
    assert hidden.public_record() == {"fact": "NoteHidden", "note": note}
    assert play.round.notes[note].hidden
    assert play.round.notes[note].author is None


def test_23_a_plan_touches_prices_minors_or_health() -> None:
    """A caution comes with the page, and no name means no start."""
    play = Play().to(Step.PLANS)
    play.do(HandInPlan(F, a_plan("p0", hypothesis="If pupils get a discount, they stay.")))
    assert set(play.round.plans[PlanId("p0")].caution) == {"prices", "children or vulnerable people"}
    play.close()
    play.do(ChoosePlan(D, PlanId("p0")))
    assert (PlanId("p0"), Because.CHECK_MISSING) in missing(play.round)
