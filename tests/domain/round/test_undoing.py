"""What one person decides for all can be undone for ten minutes, before anything of it is announced."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import RUNNING, Deciding, LeverId, NoteId, Role, Side, Step
from coldframe.domain.people.commands import Forget, HandOver, Leave
from coldframe.domain.refusals import Because
from coldframe.domain.round.merging import FocusPicked
from coldframe.domain.round.moves import Cancel, Close, Extend, Pause, Resume, StepExtended
from coldframe.domain.round.notes import ConsentAsked, WithdrawNote, WriteNote
from coldframe.domain.round.questions import QuestionsPublished, WriteQuestion
from coldframe.domain.round.revealed_notes import HideNote
from coldframe.domain.round.rules import RULES
from coldframe.domain.round.undoing import AnnounceNow, DecisionLapsed, DecisionUndone, Hold, Undo
from tests.domain.play import ACTIVATION, OTHERS, REASON, RETENTION, D, F, Play

MINUTE = timedelta(minutes=1)
INES = OTHERS[0]
CLOSABLE = [step for step in RUNNING if RULES[step].close is not None]


def focus(lever: LeverId = RETENTION) -> Hold:
    return Hold(D, Deciding.FOCUS, lever, REASON)


def close() -> Hold:
    return Hold(F, Deciding.CLOSE)


def ready(step: Step) -> Play:
    """At the step, with all that its close needs."""
    play = Play().to(list(Step)[list(Step).index(step) + 1])
    before = Play()
    for fact in play.facts:
        if isinstance(fact, RULES[step].ends):
            break
        before.round = _after(before, fact)
    before.now = play.now
    return before


def _after(play: Play, fact: object):
    from coldframe.domain.round.life import evolve

    return evolve(play.round, fact)  # type: ignore[arg-type]


@pytest.mark.parametrize("step", CLOSABLE)
def test_an_early_close_of_any_step_waits_and_then_closes(step: Step) -> None:
    """Nothing is announced before; and then what an immediate close would have brought."""
    play = ready(step)
    at_once = ready(step).do(Close(F))
    play.do(close())
    assert play.round.step is step
    decided = play.round.decided()
    assert decided is not None
    assert decided.at - play.now <= 10 * MINUTE
    play.now = decided.at - MINUTE
    assert play.do(AnnounceNow(BOT)) == ()
    play.now = decided.at
    assert play.do(AnnounceNow(BOT))[0] == at_once[0]
    assert play.round.held == {}


def test_a_picked_focus_is_announced_after_ten_minutes() -> None:
    """Until then nobody knows of it, and the step is where it was."""
    play = Play().to(Step.FOCUS)
    play.do(focus())
    assert play.round.focus is None
    play.wait(10 * MINUTE)
    assert FocusPicked(RETENTION, REASON) in play.do(AnnounceNow(BOT))
    assert play.round.step is Step.MERGE


def test_in_one_sitting_it_is_one_minute() -> None:
    """There a step lasts minutes."""
    play = Play(pace="live").to(Step.FOCUS)
    play.do(focus())
    decided = play.round.decided()
    assert decided is not None
    assert decided.at == play.now + MINUTE


def test_undone_it_is_as_if_it_had_not_been_decided() -> None:
    """And can be decided anew."""
    play = Play().to(Step.FOCUS)
    before = play.round
    play.do(focus())
    assert play.do(Undo(D)) == (DecisionUndone(Step.FOCUS, Deciding.FOCUS),)
    assert play.round == before
    play.wait(11 * MINUTE)
    assert play.do(AnnounceNow(BOT)) == ()
    play.do(focus(), AnnounceNow(D))
    assert play.round.step is Step.MERGE


def test_another_pick_takes_the_place_of_the_first() -> None:
    """With ten minutes of its own; the same once more changes nothing."""
    play = Play().to(Step.NOTES)
    for number, lever in enumerate((RETENTION, RETENTION, ACTIVATION)):
        play.note(play.members()[number], f"n{number}", lever)
    play.close()
    play.do(focus())
    play.wait(4 * MINUTE)
    assert play.do(focus()) == ()
    play.do(focus(ACTIVATION))
    decided = play.round.decided()
    assert decided is not None
    assert (decided.lever, decided.at) == (ACTIVATION, play.now + 10 * MINUTE)


def test_what_would_be_refused_is_refused_at_once() -> None:
    """Nobody waits ten minutes to hear that it cannot be."""
    play = Play().to(Step.FOCUS)
    assert play.refused(focus(ACTIVATION)) is Because.NOTHING_TO_WORK_ON
    assert play.refused(Hold(F, Deciding.FOCUS, RETENTION, REASON)) is Because.NOT_DECISION_MAKER
    assert play.refused(Hold(D, Deciding.FOCUS, RETENTION, "so")) is Because.REASON_TOO_SHORT
    assert Play().to(Step.NOTES).refused(close()) is Because.NOTHING_IN
    assert Play().to(Step.MERGE).refused(Hold(INES, Deciding.CLOSE)) is Because.NOT_FACILITATOR
    assert Play().to(Step.QUESTIONS).refused(close()) is Because.NO_QUESTIONS


def test_nobody_else_learns_that_something_is_decided() -> None:
    """To others it is as if there were nothing to undo, the facilitator of a picked focus included."""
    play = Play().to(Step.FOCUS)
    assert play.refused(Undo(D)) is Because.NOTHING_TO_UNDO
    play.do(focus())
    for other in (F, INES):
        assert play.refused(Undo(other)) is Because.NOTHING_TO_UNDO
        assert play.refused(AnnounceNow(other)) is Because.NOTHING_TO_UNDO


def test_what_was_revealed_cannot_be_undone() -> None:
    """Once the notes stand in the channel there is nothing to undo any more."""
    play = ready(Step.NOTES)
    play.do(close(), AnnounceNow(F))
    assert play.round.step is Step.FOCUS
    assert play.refused(Undo(F)) is Because.NOTHING_TO_UNDO


def test_until_the_close_all_that_comes_in_counts() -> None:
    """The others do not know that it closes soon."""
    play = ready(Step.NOTES)
    play.do(close())
    play.do(WriteNote(INES, NoteId("late"), RETENTION, Side.RESTRAINING, "In the last minute"))
    play.wait(10 * MINUTE)
    play.do(AnnounceNow(BOT))
    assert "late" in play.round.revealed


def test_published_questions_are_those_of_the_end() -> None:
    """What is corrected within the ten minutes is published as it was corrected."""
    play = ready(Step.QUESTIONS)
    play.do(close())
    written = play.round.questions[0]
    play.do(WriteQuestion(F, written.id, written.force, "How might we welcome new teams?"))
    play.wait(10 * MINUTE)
    assert QuestionsPublished(1) in play.do(AnnounceNow(BOT))
    assert play.round.questions[0].text == "How might we welcome new teams?"


# --- the deadline ---------------------------------------------------------------------------------------------------


def test_a_decision_in_the_last_minutes_is_not_late() -> None:
    """Its ten minutes are whole, and the deadline that passes meanwhile counts nobody as late."""
    play = Play().to(Step.FOCUS)
    assert play.round.progress.due is not None
    play.now = play.round.progress.due - MINUTE
    play.do(focus())
    assert play.round.progress.due == play.now + 10 * MINUTE
    found = play.deadline()
    assert not any(isinstance(fact, StepExtended) for fact in found)
    assert play.round.step is Step.MERGE


def test_undone_in_the_last_minutes_the_deadline_does_what_it_does() -> None:
    """The decision has not come: half as long again."""
    play = Play().to(Step.FOCUS)
    assert play.round.progress.due is not None
    play.now = play.round.progress.due - MINUTE
    play.do(focus(), Undo(D))
    assert any(isinstance(fact, StepExtended) for fact in play.deadline())


def test_an_early_close_is_never_later_than_the_deadline() -> None:
    """And closes then, though fewer are in than the deadline alone would ask for."""
    play = Play().to(Step.DOTS)
    play.vote(INES, play.round.forces[0].id)
    assert play.round.progress.due is not None
    play.now = due = play.round.progress.due - MINUTE
    play.do(close())
    decided = play.round.decided()
    assert decided is not None
    assert decided.at == due + MINUTE
    play.deadline()
    assert play.round.step is Step.QUESTIONS


# --- what comes between ---------------------------------------------------------------------------------------------


def test_more_time_undoes_a_close() -> None:
    """Whoever asks for it: in one sitting that is anybody."""
    play = Play(pace="live").to(Step.MERGE)
    play.do(close())
    assert DecisionUndone(Step.MERGE, Deciding.CLOSE) in play.do(Extend(INES))
    assert play.round.held == {}


def test_more_time_leaves_a_pick_as_it_is() -> None:
    """It has come; the time is for others."""
    play = Play().to(Step.FOCUS)
    play.do(focus(), Extend(F))
    assert play.round.decided() is not None


def test_while_the_round_rests_nothing_is_announced() -> None:
    """Afterwards there is the whole time again; undone it can be at rest, too."""
    play = Play().to(Step.FOCUS)
    play.do(focus(), Pause(F))
    play.wait(timedelta(hours=3))
    assert play.do(AnnounceNow(BOT)) == ()
    assert play.refused(AnnounceNow(D)) is Because.PAUSED
    play.do(Resume(F))
    decided = play.round.decided()
    assert decided is not None
    assert decided.at == play.now + 10 * MINUTE
    play.do(Pause(F), Undo(D), Resume(F))
    assert play.round.held == {}


def test_a_decision_outlasts_its_role() -> None:
    """Who left has decided; whoever has the role now can undo it."""
    play = Play().to(Step.FOCUS)
    play.do(focus(), HandOver(D, Role.DECISION_MAKER))
    deputy = play.round.roles.acting(Role.DECISION_MAKER)
    assert play.do(Undo(deputy)) == (DecisionUndone(Step.FOCUS, Deciding.FOCUS),)
    play.do(replace(focus(), by=deputy), Leave(BOT, deputy))
    play.wait(10 * MINUTE)
    play.do(AnnounceNow(BOT))
    assert play.round.step is Step.MERGE


def test_what_cannot_be_any_more_lapses() -> None:
    """The one force of the picked lever was hidden meanwhile: the step goes on, and can be decided anew."""
    play = Play().to(Step.FOCUS)
    play.do(focus())
    for note in play.round.revealed:
        play.do(HideNote(F, note, "It names a person"))
    play.wait(10 * MINUTE)
    lapsed = DecisionLapsed(Step.FOCUS, Deciding.FOCUS, Because.NOTHING_TO_WORK_ON)
    assert play.do(AnnounceNow(BOT)) == (lapsed,)
    assert play.round.step is Step.FOCUS


def test_at_the_deadline_what_lapses_does_not_stand_in_its_way() -> None:
    """All votes were taken back: the deadline does what it does without the close."""
    play = Play().to(Step.FOCUS)
    assert play.round.progress.due is not None
    play.do(focus())
    for note in play.round.revealed:
        play.do(HideNote(F, note, "It names a person"))
    found = play.deadline()
    assert [type(fact) for fact in found[:2]] == [DecisionLapsed, StepExtended]


def test_asking_for_consent_announces_nothing() -> None:
    """Of two writers each is asked at once: there is nothing to undo in that."""
    play = Play().to(Step.NOTES)
    play.note(INES, "n1")
    assert any(isinstance(fact, ConsentAsked) for fact in play.do(close()))
    assert play.round.held == {}


def test_consent_that_is_needed_only_then_is_asked_then() -> None:
    """Writers took their notes back within the ten minutes."""
    play = ready(Step.NOTES)
    play.do(close())
    for note in [n for n in play.round.notes.values() if n.author != INES]:
        assert note.author is not None
        play.do(WithdrawNote(note.author, note.id))
    play.wait(10 * MINUTE)
    found = play.do(AnnounceNow(BOT))
    assert [type(fact) for fact in found] == [ConsentAsked, DecisionUndone]
    assert play.round.step is Step.NOTES


def test_with_the_round_or_its_person_the_decision_goes() -> None:
    """Nothing waits in a cancelled round; who is forgotten has decided nothing."""
    play = Play().to(Step.FOCUS)
    play.do(focus(), Forget(D))
    assert play.round.held == {}
    cancelled = Play().to(Step.FOCUS)
    cancelled.do(focus(), Cancel(F))
    assert cancelled.round.held == {}
