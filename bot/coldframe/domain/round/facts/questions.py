"""What became true of questions, and of the precedents that answer them."""

from __future__ import annotations

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, QuestionId
from coldframe.domain.state import Precedent, Question


class QuestionWritten(Fact):
    question: Question


class QuestionDropped(Fact):
    question: QuestionId


class QuestionSuggested(Fact):
    by: MemberId
    text: str


class QuestionsPublished(Fact):
    count: int


class PrecedentGiven(Fact):
    precedent: Precedent


class PrecedentsClosed(Fact):
    count: int
