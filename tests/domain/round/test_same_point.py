"""What a member takes for the same point: said in private, put to the facilitator, and never asked twice."""

from __future__ import annotations

from coldframe.domain.commands import BOT
from coldframe.domain.names import NoteId, Step
from coldframe.domain.refusals import Because
from coldframe.domain.round.merging import (
    MOST_SAID,
    SAID,
    AnswerMerge,
    ForcesJoined,
    JoinForces,
    ProposeMerges,
    SameSaid,
    SayTheSame,
    SplitForce,
    on_the_desk,
    said_alone,
    was_said,
)
from coldframe.domain.state import Force, Likeness, MergeProposal
from tests.domain.play import OTHERS, RETENTION, F, Play
from tests.domain.round.test_merging import _both_merge

INES, JON = OTHERS[:2]


def _merge(notes: int = 4) -> tuple[Play, tuple[Force, ...]]:
    play = Play().to(Step.NOTES)
    for number in range(notes):
        play.note(play.members()[number % 6], f"n{number:02}")
    play.close()
    play.to(Step.MERGE)
    return play, play.round.forces


def _proposed(play: Play, first: Force, second: Force) -> None:
    why = (Likeness("same words"),)
    play.do(ProposeMerges(BOT, (MergeProposal(first.notes[0], second.notes[0], 0.9, why),)))


def test_it_is_kept_without_who_said_it_and_joins_nothing_by_itself() -> None:
    play, (a, b, *_) = _merge()
    assert play.do(SayTheSame(INES, a.id, b.id)) == (SameSaid(a.notes[0], b.notes[0]),)
    (proposal,) = play.round.proposals
    assert (proposal.notes, proposal.why, proposal.answer) == ((a.notes[0], b.notes[0]), (SAID,), None)
    assert was_said(proposal) and said_alone(proposal) and on_the_desk(play.round) == ()
    assert len(play.round.forces) == 4
    assert play.do(SayTheSame(JON, b.id, a.id)) == (), "once is enough, in whatever order"
    play.do(AnswerMerge(F, a.notes[0], b.notes[0], same=True))
    assert len(play.round.forces) == 3


def test_of_what_the_bot_proposed_it_is_one_reason_more() -> None:
    """It stays on the facilitator's desk, with both reasons, and only that pair gets it."""
    play, (a, b, c, d) = _merge()
    _proposed(play, a, b)
    _proposed(play, c, d)
    play.do(SayTheSame(INES, b.id, a.id))
    first, second = play.round.proposals
    assert first.why == (SAID, Likeness("same words")) and was_said(first) and not said_alone(first)
    assert not was_said(second)
    assert on_the_desk(play.round) == (first, second)


def test_an_older_reason_is_kept_as_it_was_written() -> None:
    """Databases of earlier releases hold a sentence."""
    play, (a, b, *_) = _merge()
    play.do(ProposeMerges(BOT, (MergeProposal(a.notes[0], b.notes[0], 0.9, "both speak of invoices"),)))
    assert not was_said(play.round.proposals[0])
    play.do(SayTheSame(INES, a.id, b.id))
    assert play.round.proposals[0].why == (SAID, Likeness("both speak of invoices"))


def test_what_was_kept_apart_or_is_one_already_is_not_asked_again() -> None:
    play, (a, b, c, _) = _merge()
    _proposed(play, a, b)
    play.do(AnswerMerge(F, a.notes[0], b.notes[0], same=False))
    assert play.refused(SayTheSame(INES, a.id, b.id)) is Because.KEPT_APART
    assert play.refused(SayTheSame(INES, c.id, c.id)) is Because.ALREADY_MERGED
    assert play.refused(SayTheSame(INES, c.id, "f-none")) is Because.UNKNOWN_ITEM  # type: ignore[arg-type]
    assert play.refused(SayTheSame(OTHERS[-1], a.id, c.id)) is Because.NOT_A_MEMBER
    play.to(Step.DOTS)
    assert play.refused(SayTheSame(INES, a.id, c.id)) is Because.TOO_LATE


def test_whoever_facilitates_joins_at_once() -> None:
    play, (a, b, *_) = _merge()
    assert play.do(SayTheSame(F, a.id, b.id)) == (ForcesJoined(a.id, b.id),)
    assert len(play.round.forces) == 3


def test_a_group_that_waits_counts_as_the_pair_that_is_in_it() -> None:
    """And a pair that it does not hold is a new one."""
    play, (a, b, c, d) = _merge()
    group = MergeProposal(a.notes[0], b.notes[0], 0.9, (Likeness("same words"),), more=(c.notes[0],))
    play.do(ProposeMerges(BOT, (group,)))
    assert play.do(SayTheSame(INES, b.id, c.id)) == (SameSaid(a.notes[0], b.notes[0]),)
    assert play.do(SayTheSame(INES, c.id, d.id)) == (SameSaid(c.notes[0], d.notes[0]),)


def test_twenty_wait_for_the_facilitator_at_once() -> None:
    """What is answered makes room again."""
    play, forces = _merge(24)
    pairs = [(forces[0], other) for other in forces[1:]]
    for a, b in pairs[:MOST_SAID]:
        play.do(SayTheSame(INES, a.id, b.id))
    a, b = pairs[MOST_SAID]
    refused = play.refusal(SayTheSame(INES, a.id, b.id))
    assert (refused.code, refused.facts["most"]) == (Because.TOO_MANY, 20)
    play.do(AnswerMerge(F, pairs[0][0].notes[0], pairs[0][1].notes[0], same=False))
    assert play.do(SayTheSame(INES, a.id, b.id))


def test_it_is_the_second_persons_yes_that_a_join_waits_for() -> None:
    """Whoever facilitates and decides alike has joined two by hand: a member's word is the yes."""
    play = _both_merge()
    a, b = play.round.forces[:2]
    play.do(JoinForces(F, a.id, b.id))
    (by_hand,) = play.round.proposals
    assert by_hand.proposed_by == F and on_the_desk(play.round) == ()
    play.do(SayTheSame(INES, a.id, b.id))
    assert len(play.round.forces) == 5


def test_what_a_member_said_needs_no_second_person() -> None:
    """The two who agree are two already."""
    play = _both_merge()
    a, b = play.round.forces[:2]
    play.do(SayTheSame(INES, a.id, b.id), AnswerMerge(F, a.notes[0], b.notes[0], same=True))
    assert len(play.round.forces) == 5


def test_a_pair_within_one_force_leaves_the_desk() -> None:
    """Joined by another way there is nothing to ask; taken apart, the forces stand where the joined one stood."""
    play, before = _merge()
    a, b, c, _ = before
    _proposed(play, b, c)
    play.do(JoinForces(F, b.id, c.id))
    assert on_the_desk(play.round) == ()
    play.do(SplitForce(INES, b.id))
    assert play.round.forces == before
    play.do(JoinForces(F, c.id, a.id), SplitForce(INES, c.id))
    assert [force.id for force in play.round.forces] == [b.id, c.id, a.id, before[3].id]


def test_a_late_note_is_a_force_while_forces_are_joined_if_it_holds_the_focus_back() -> None:
    play, before = _merge()
    play.note(INES, "late")
    assert NoteId("late") in play.round.late_notes and play.round.focus == RETENTION
    assert play.round.forces == before, "it waits until it is posted"
