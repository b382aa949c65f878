"""Forces turned round into questions, and what others did about such a question."""

from __future__ import annotations

import pytest

from coldframe.domain.names import ForceId, PrecedentId, QuestionId, Step
from coldframe.domain.refusals import Because
from coldframe.domain.round.moves import Close
from coldframe.domain.round.questions import (
    MAX_QUESTIONS,
    PRECEDENTS_EACH,
    DropQuestion,
    GivePrecedent,
    SuggestQuestion,
    WriteQuestion,
    lint,
    same_source,
)
from coldframe.domain.state import Precedent
from tests.domain.play import OTHERS, D, F, Play

INES, JON = OTHERS[:2]
GOOD = "How might we greet new teams in their first week?"


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        (GOOD, ()),
        ("how might we help teams stay?", ()),
        ("Grow faster", ("opening", "ending")),
        ("How might we greet new teams by a letter?", ("solution",)),
        ("How might we greet new teams using mail?", ("solution",)),
        ("How might we greet new teams with a gift?", ("solution",)),
        ("How might we greet teams through partners?", ("solution",)),
        ("How might we greet and keep teams?", ("joined",)),
        ("How might we not lose teams?", ("negative",)),
        ("How might we see that teams don't leave?", ("negative",)),
        ("How might we keep 90 of a hundred teams?", ("number",)),
        ("How might we " + "really " * 18 + "help?", ("long",)),
    ],
)
def test_a_questions_wording_is_doubted_never_blocked(text: str, codes: tuple[str, ...]) -> None:
    """Doubtful wordings get codes; the question is taken all the same (craft, no source)."""
    assert lint(text) == codes
    play = Play().to(Step.QUESTIONS)
    play.do(WriteQuestion(F, QuestionId("q1"), _force(play), text))
    assert play.round.questions[0].text == text


def _force(play: Play) -> ForceId:
    return ForceId(next(s.option for s in play.round.forces_standing if s.carried))


def test_questions_are_the_facilitators_about_carried_forces() -> None:
    """Each question keeps the link to a force that was carried on."""
    play = Play(carry_on=1).to(Step.QUESTIONS)
    dropped = ForceId(next(s.option for s in play.round.forces_standing if not s.carried))
    question = QuestionId("q1")
    assert play.refused(WriteQuestion(INES, question, _force(play), GOOD)) is Because.NOT_FACILITATOR
    assert play.refused(WriteQuestion(F, question, dropped, GOOD)) is Because.UNKNOWN_ITEM
    assert play.refused(WriteQuestion(F, question, _force(play), " ")) is Because.EMPTY
    assert play.refused(WriteQuestion(F, question, _force(play), "x" * 301)) is Because.TOO_LONG


def test_a_question_can_be_reworded_and_dropped() -> None:
    """The same id is the same question in its place; dropped it is gone."""
    play = Play().to(Step.QUESTIONS)
    force = _force(play)
    for number in range(MAX_QUESTIONS):
        play.do(WriteQuestion(F, QuestionId(f"q{number}"), force, GOOD))
    assert play.refused(WriteQuestion(F, QuestionId("more"), force, GOOD)) is Because.TOO_MANY
    play.do(WriteQuestion(F, QuestionId("q0"), force, "How might we help?"))
    assert play.round.questions[0].text == "How might we help?"
    assert len(play.round.questions) == MAX_QUESTIONS
    assert play.refused(DropQuestion(INES, QuestionId("q0"))) is Because.NOT_FACILITATOR
    play.do(DropQuestion(F, QuestionId("q0")))
    assert play.refused(DropQuestion(F, QuestionId("q0"))) is Because.UNKNOWN_ITEM


def test_others_suggest_in_the_open() -> None:
    """Anybody suggests a question; only the facilitator makes it one."""
    play = Play().to(Step.QUESTIONS)
    play.do(SuggestQuestion(INES, GOOD))
    assert [s.by for s in play.round.suggestions] == [INES]
    assert play.round.questions == ()


def test_without_a_question_there_is_nothing_to_publish() -> None:
    """The step needs one question at least."""
    play = Play().to(Step.QUESTIONS)
    assert play.refused(Close(F)) is Because.NO_QUESTIONS


def _precedents() -> Play:
    return Play().to(Step.PRECEDENTS)


def _give(play: Play, name: str, by: str = INES, **changes: str) -> GivePrecedent:
    parts = {"title": "A library", "idea": "They rang new readers.", **changes}
    return GivePrecedent(by, PrecedentId(name), QuestionId("q1"), **parts)  # type: ignore[arg-type]


def test_several_people_may_pick_the_same_question() -> None:
    """A question may have several precedents, each with title and idea."""
    play = _precedents()
    play.do(_give(play, "x1"), _give(play, "x2", JON))
    assert [p.by for p in play.round.precedents] == [INES, JON]


def test_a_precedent_needs_title_idea_and_a_question() -> None:
    """What is missing or too long is refused with its field."""
    play = _precedents()
    assert play.refused(_give(play, "x1", title="")) is Because.EMPTY
    assert play.refused(_give(play, "x1", idea=" ")) is Because.EMPTY
    assert play.refused(_give(play, "x1", source="x" * 501)) is Because.TOO_LONG
    unknown = GivePrecedent(INES, PrecedentId("x1"), QuestionId("no"), "t", "i")
    assert play.refused(unknown) is Because.UNKNOWN_ITEM


def test_precedents_are_few_and_each_counts_once() -> None:
    """Three each at most, and what arrives twice is one."""
    play = _precedents()
    for number in range(PRECEDENTS_EACH):
        play.do(_give(play, f"x{number}"))
    assert play.do(_give(play, "x0")) == ()
    assert play.refused(_give(play, "more")) is Because.TOO_MANY
    play.do(_give(play, "y", JON))


def test_a_source_that_others_chose_is_counted() -> None:
    """The same case, by its address or its title, is said to be the same."""

    def precedent(name: str, by: str, title: str, source: str) -> Precedent:
        return Precedent(PrecedentId(name), by, QuestionId("q1"), title, "i", source=source)  # type: ignore[arg-type]

    play = _precedents()
    play.do(_give(play, "x1", source="https://example.org/a"), _give(play, "x2", JON, source=""))
    assert same_source(play.round, precedent("n", D, "Another", "HTTPS://example.org/a/")) == 1
    assert same_source(play.round, precedent("n", D, "a LIBRARY", "")) == 1
    assert same_source(play.round, precedent("n", INES, "Another", "https://example.org/a")) == 0


def test_no_precedents_are_no_hindrance() -> None:
    """The step may close with none; a deadline without any first gives more time."""
    play = _precedents()
    play.close()
    assert play.round.step is Step.PLANS


def test_questions_and_precedents_have_their_time_and_their_people() -> None:
    """Early is not yet, late is too late, and strangers bring nothing."""
    zoe = OTHERS[-1]
    question = QuestionId("q1")
    for step, code in ((Step.DOTS, Because.NOT_OPEN_YET), (Step.PRECEDENTS, Because.TOO_LATE)):
        play = Play().to(step)
        assert play.refused(WriteQuestion(F, question, ForceId("f-n0"), GOOD)) is code
        assert play.refused(DropQuestion(F, question)) is code
        assert play.refused(SuggestQuestion(INES, GOOD)) is code
    assert Play().to(Step.PLANS).refused(_give(play, "x9")) is Because.TOO_LATE
    assert Play().to(Step.QUESTIONS).refused(SuggestQuestion(zoe, GOOD)) is Because.NOT_A_MEMBER
    assert _precedents().refused(_give(play, "x9", zoe)) is Because.NOT_A_MEMBER


def test_twenty_words_are_not_too_many() -> None:
    """The limit itself is not doubted."""
    assert "long" not in lint("How might we " + "really " * 16 + "help?")
    assert "long" in lint("How might we " + "really " * 17 + "help?")
