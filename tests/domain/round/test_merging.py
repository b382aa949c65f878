"""The focus, and joining direct duplicates."""

from __future__ import annotations

from coldframe.domain.commands import BOT
from coldframe.domain.names import ForceId, LeverId, NoteId, Role, Side, Step
from coldframe.domain.people.commands import HandOver
from coldframe.domain.refusals import Because
from coldframe.domain.round.merging import AnswerMerge, ForceSplit, JoinForces, PickFocus, ProposeMerges, SplitForce
from coldframe.domain.round.revealed_notes import HideNote
from coldframe.domain.state import MergeProposal, Roles
from tests.domain.play import ACTIVATION, DD, FD, OTHERS, REASON, RETENTION, D, F, Play, a_round

INES = OTHERS[0]


def _merge(play: Play | None = None) -> Play:
    return (play or Play()).to(Step.MERGE)


def _proposed(play: Play) -> tuple[NoteId, NoteId]:
    first, second = (force.notes[0] for force in play.round.forces[:2])
    play.do(ProposeMerges(BOT, (MergeProposal(first, second, 0.9, "alike"),)))
    return first, second


def test_the_decision_maker_picks_the_focus_with_a_reason() -> None:
    """One lever, a reason of at least fifteen characters, and nobody else's word."""
    play = Play().to(Step.FOCUS)
    assert play.refused(PickFocus(F, RETENTION, REASON)) is Because.NOT_DECISION_MAKER
    assert play.refused(PickFocus(D, LeverId("no"), REASON)) is Because.UNKNOWN_LEVER
    assert play.refused(PickFocus(D, RETENTION, "a habit")) is Because.REASON_TOO_SHORT
    assert play.refused(PickFocus(D, RETENTION, " ")) is Because.EMPTY
    play.do(PickFocus(D, RETENTION, REASON))
    assert (play.round.focus, play.round.focus_reason) == (RETENTION, REASON)


def test_a_lever_that_nothing_holds_back_cannot_be_the_focus() -> None:
    """Driving forces alone, or only hidden notes, give nothing to work on."""
    play = Play().to(Step.NOTES)
    play.note(INES, "drive", ACTIVATION, Side.DRIVING)
    play.to(Step.FOCUS)
    assert play.refused(PickFocus(D, ACTIVATION, REASON)) is Because.NOTHING_TO_WORK_ON
    for note in play.round.revealed:
        play.do(HideNote(F, note, "abusive words"))
    assert play.refused(PickFocus(D, RETENTION, REASON)) is Because.NOTHING_TO_WORK_ON


def test_the_forces_are_the_restraining_notes_in_focus() -> None:
    """Other levers' and driving notes are kept, and are no forces of this round."""
    play = Play().to(Step.NOTES)
    play.note(INES, "drive", RETENTION, Side.DRIVING)
    play.note(INES, "other", ACTIVATION)
    _merge(play)
    inside = {n for force in play.round.forces for n in force.notes}
    assert inside == set(play.round.notes) - {"drive", "other"}


def test_a_join_keeps_every_wording_and_splitting_gives_the_old_forces_back() -> None:
    """Joined notes stay readable under one force; apart again they are what they were."""
    play = _merge()
    before = play.round.forces
    a, b = before[:2]
    play.do(JoinForces(F, a.id, b.id))
    assert play.round.force(a.id).notes == a.notes + b.notes  # type: ignore[union-attr]
    assert play.round.force(b.id) is None
    assert play.refused(JoinForces(F, a.id, b.id)) is Because.UNKNOWN_ITEM
    play.do(SplitForce(INES, a.id))
    assert play.round.forces == before


def test_joins_are_the_facilitators_and_splits_anybodys() -> None:
    """A person confirms each join; anybody may take one apart until the dots open."""
    play = _merge()
    a, b = play.round.forces[:2]
    assert play.refused(JoinForces(INES, a.id, b.id)) is Because.NOT_FACILITATOR
    assert play.refused(JoinForces(F, a.id, a.id)) is Because.ALREADY_MERGED
    assert play.refused(JoinForces(F, a.id, ForceId("no"))) is Because.UNKNOWN_ITEM
    assert play.refused(SplitForce(INES, a.id)) is Because.UNKNOWN_ITEM
    play.do(JoinForces(F, a.id, b.id))
    play.to(Step.DOTS)
    assert play.refused(SplitForce(INES, a.id)) is Because.TOO_LATE


def test_a_proposal_waits_for_the_facilitator() -> None:
    """The bot proposes, the facilitator answers; an unanswered proposal stays apart."""
    play = _merge()
    first, second = _proposed(play)
    assert len(play.round.forces) == 6
    assert play.refused(AnswerMerge(INES, first, second, same=True)) is Because.NOT_FACILITATOR
    play.do(AnswerMerge(F, second, first, same=True))
    assert len(play.round.forces) == 5
    assert play.do(AnswerMerge(F, first, second, same=True)) == ()


def test_a_refused_proposal_stays_apart() -> None:
    """A no joins nothing, and may become a yes later."""
    play = _merge()
    first, second = _proposed(play)
    play.do(AnswerMerge(F, first, second, same=False))
    assert len(play.round.forces) == 6
    play.do(AnswerMerge(F, first, second, same=True))
    assert len(play.round.forces) == 5


def test_a_no_after_the_yes_takes_them_apart() -> None:
    """Changing one's mind about a join undoes it."""
    play = _merge()
    first, second = _proposed(play)
    play.do(AnswerMerge(F, first, second, same=True), AnswerMerge(F, first, second, same=False))
    assert len(play.round.forces) == 6
    assert play.round.proposals[0].answer is False


def test_a_split_refuses_the_proposal_that_had_joined_them() -> None:
    """Somebody's objection stands as the answer, unsigned."""
    play = _merge()
    first, second = _proposed(play)
    play.do(AnswerMerge(F, first, second, same=True))
    joined = ForceId(f"f-{first}")
    assert play.do(SplitForce(INES, joined)) == (ForceSplit(joined),)
    assert play.round.proposals[0].answer is False


def test_only_restraining_forces_in_focus_are_proposed() -> None:
    """Nothing is joined across levers or sides, with itself, or on somebody else's proposal."""
    play = Play().to(Step.NOTES)
    play.note(INES, "drive", RETENTION, Side.DRIVING)
    play.note(INES, "other", ACTIVATION)
    _merge(play)
    inside = play.round.forces[0].notes[0]
    for other in ("drive", "other", "none", inside):
        proposal = MergeProposal(inside, NoteId(other), 0.9, "alike")
        assert play.refused(ProposeMerges(BOT, (proposal,))) is Because.MERGE_ACROSS
    assert play.refused(ProposeMerges(F, ())) is Because.NOT_YOURS
    assert play.refused(AnswerMerge(F, inside, NoteId("other"), same=True)) is Because.UNKNOWN_ITEM


def test_a_proposal_is_made_once() -> None:
    """The same pair is not proposed again, so an answer stands."""
    play = _merge()
    first, second = _proposed(play)
    play.do(AnswerMerge(F, first, second, same=False))
    assert play.do(ProposeMerges(BOT, (MergeProposal(second, first, 0.9, "alike"),))) == ()


# --- one person in both roles ---


def _both(people: int = 6) -> Play:
    return Play(a_round(people, roles=Roles(F, F, FD, DD if people > 3 else FD), weight=1))


def _both_merge(people: int = 6) -> Play:
    play = _both(people).to(Step.NOTES)
    for number, member in enumerate(play.members()):
        play.note(member, f"n{number}")
    play.close()
    play.do(PickFocus(F, RETENTION, REASON))
    return play


def test_one_person_in_both_roles_does_not_join_alone() -> None:
    """With four people or more, who facilitates and decides needs somebody else's yes."""
    play = _both_merge()
    first, second = _proposed(play)
    play.do(AnswerMerge(F, first, second, same=True))
    assert len(play.round.forces) == 6
    assert play.refused(AnswerMerge(F, first, second, same=True)) is Because.NEEDS_SECOND_PERSON
    play.do(AnswerMerge(INES, first, second, same=True))
    assert len(play.round.forces) == 5


def test_a_join_by_hand_of_one_person_in_both_roles_is_a_proposal() -> None:
    """Joining by hand asks for a second person as well, even where the bot's proposal was refused before."""
    play = _both_merge()
    first, second = _proposed(play)
    play.do(AnswerMerge(F, first, second, same=False))
    a, b = play.round.forces[:2]
    play.do(JoinForces(F, a.id, b.id))
    assert play.do(JoinForces(F, a.id, b.id)) == ()
    assert len(play.round.forces) == 6
    play.do(AnswerMerge(INES, first, second, same=True))
    assert len(play.round.forces) == 5


def test_the_second_person_may_say_no() -> None:
    """A second person's no keeps the forces apart."""
    play = _both_merge()
    first, second = _proposed(play)
    play.do(AnswerMerge(F, first, second, same=True), AnswerMerge(INES, first, second, same=False))
    assert len(play.round.forces) == 6


def test_three_people_need_no_second_person() -> None:
    """Under four people the one in both roles joins alone."""
    play = _both_merge(3)
    a, b = play.round.forces[:2]
    play.do(JoinForces(F, a.id, b.id))
    assert len(play.round.forces) == 2


def test_a_hand_over_can_put_both_roles_into_one_hand() -> None:
    """It is who acts that counts, not whose role it was at the start."""
    play = Play(a_round(roles=Roles(F, D, D, DD))).to(Step.MERGE)
    play.do(HandOver(F, Role.FACILITATOR))
    a, b = play.round.forces[:2]
    play.do(JoinForces(D, a.id, b.id))
    assert len(play.round.forces) == 6


def test_outside_their_steps_nothing_is_picked_or_joined() -> None:
    """The focus and the merge have their time."""
    play = Play().to(Step.DOTS)
    a, b = play.round.forces[:2]
    first, second = a.notes[0], b.notes[0]
    assert play.refused(PickFocus(D, RETENTION, REASON)) is Because.TOO_LATE
    assert play.refused(ProposeMerges(BOT, ())) is Because.TOO_LATE
    assert play.refused(JoinForces(F, a.id, b.id)) is Because.TOO_LATE
    assert play.refused(AnswerMerge(F, first, second, same=True)) is Because.TOO_LATE


def test_strangers_have_no_say_in_merges() -> None:
    """Neither a second person's yes nor an objection comes from outside."""
    zoe = OTHERS[-1]
    play = _both_merge()
    first, second = _proposed(play)
    play.do(AnswerMerge(F, first, second, same=True))
    assert play.refused(AnswerMerge(zoe, first, second, same=True)) is Because.NOT_A_MEMBER
    assert play.refused(SplitForce(zoe, play.round.forces[0].id)) is Because.NOT_A_MEMBER


def test_four_people_need_a_second_person() -> None:
    """Four is where the rule begins."""
    play = _both_merge(4)
    a, b = play.round.forces[:2]
    play.do(JoinForces(F, a.id, b.id))
    assert len(play.round.forces) == 4


def test_fifteen_characters_are_a_reason() -> None:
    """The shortest reason has fifteen."""
    play = Play().to(Step.FOCUS)
    assert play.refused(PickFocus(D, RETENTION, "x" * 14)) is Because.REASON_TOO_SHORT
    play.do(PickFocus(D, RETENTION, "x" * 15))


def test_a_second_proposal_inside_one_force_changes_nothing() -> None:
    """Three alike, proposed as three pairs, become one force with each note once."""
    play = _merge()
    a, b, third = (force.notes[0] for force in play.round.forces[:3])
    pairs = ((a, b), (b, third), (a, third))
    play.do(ProposeMerges(BOT, tuple(MergeProposal(x, y, 0.9, "alike") for x, y in pairs)))
    for x, y in pairs:
        play.do(AnswerMerge(F, x, y, same=True))
    assert sorted(n for force in play.round.forces for n in force.notes) == sorted(play.round.notes)
    assert len(play.round.forces) == 4


def _group(play: Play) -> list[NoteId]:
    notes = [force.notes[0] for force in play.round.forces[:4]]
    first, second, *more = notes
    play.do(ProposeMerges(BOT, (MergeProposal(first, second, 0.9, "alike", more=tuple(more)),)))
    return notes


def test_a_group_is_joined_whole_with_one_yes_and_taken_apart_with_one_no() -> None:
    """All its notes become one force, and the forces that were there before come back."""
    play = _merge()
    before, notes = play.round.forces, _group(play)
    play.do(AnswerMerge(F, notes[0], notes[1], same=True))
    assert [set(force.notes) for force in play.round.forces if len(force.notes) > 1] == [set(notes)]
    play.do(AnswerMerge(F, notes[0], notes[1], same=False))
    assert set(play.round.forces) == set(before)
    assert play.round.proposals[0].answer is False


def test_of_a_group_only_those_that_are_the_same_are_joined() -> None:
    """What is named as another point stays apart; two at least are joined, and only what was proposed."""
    play = _merge()
    notes = _group(play)
    stranger = play.round.forces[4].notes[0]
    for apart in (tuple(notes[1:]), (stranger,)):
        code = play.refused(AnswerMerge(F, notes[0], notes[1], same=True, apart=apart))
        assert code is Because.TOO_FEW_ALIKE
    play.do(AnswerMerge(F, notes[0], notes[1], same=True, apart=(notes[0], notes[3])))
    assert [set(force.notes) for force in play.round.forces if len(force.notes) > 1] == [set(notes[1:3])]


def test_a_group_with_a_note_from_elsewhere_is_not_proposed() -> None:
    """Each of its notes is a restraining force in focus, and stands in it once."""
    play = _merge()
    first, second = (force.notes[0] for force in play.round.forces[:2])
    for more in ((NoteId("elsewhere"),), (first,)):
        proposal = MergeProposal(first, second, 0.9, "alike", more=more)
        assert play.refused(ProposeMerges(BOT, (proposal,))) is Because.MERGE_ACROSS


def test_it_stands_in_the_round_when_only_words_were_compared() -> None:
    """Also where nothing was found; once is enough."""
    play = _merge()
    play.do(ProposeMerges(BOT, (), by_words=True))
    assert play.round.by_words
    assert play.do(ProposeMerges(BOT, (), by_words=True)) == ()
