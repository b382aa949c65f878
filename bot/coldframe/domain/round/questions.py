"""Forces turned round into questions, and precedents that bear on them."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import ForceId, MemberId, PrecedentId, QuestionId, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import jotting, pages
from coldframe.domain.round.rule import StepRule, everybody, facilitator, keeps_nothing, nobody
from coldframe.domain.state import Precedent, Question, Round, Suggestion
from coldframe.domain.texts import accepted, optional
from coldframe.domain.who_may import Act

# --- what people ask ---


class WriteQuestion(Command):
    question: QuestionId
    force: ForceId
    text: str


class DropQuestion(Command):
    question: QuestionId


class SuggestQuestion(Command):
    text: str


class GivePrecedent(Command):
    precedent: PrecedentId
    question: QuestionId
    title: str
    idea: str
    details: str = ""
    source: str = ""
    outside_trade: bool = False


# --- what becomes true ---


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


# --- rulings ---

OPENING = "how might we"
MAX_WORDS = 20
MAX_QUESTIONS = 12
PRECEDENTS_EACH = 3
TELLING = 2  # minutes for each precedent, told aloud in one sitting
_SOLUTION = re.compile(r"\b(by|using|through)\s+\w+|\bwith an?\s+\w+", re.IGNORECASE)


def lint(text: str) -> tuple[str, ...]:
    """What is doubtful about a question's wording, as codes; it warns and never blocks. Craft, no effect size known."""
    words = text.split()
    found = {
        "opening": not text.lower().startswith(OPENING),
        "ending": not text.rstrip().endswith("?"),
        "long": len(words) > MAX_WORDS,
        "solution": bool(_SOLUTION.search(text)),
        "joined": bool(re.search(r"\band\b", text, re.IGNORECASE)),
        "negative": bool(re.search(r"\b(not|stop|avoid|prevent)\b|n't\b", text, re.IGNORECASE)),
        "number": bool(re.search(r"\d", text)),
    }
    return tuple(code for code, doubtful in found.items() if doubtful)


def write(round_: Round, command: WriteQuestion, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.WORD_QUESTIONS)
    checks.in_step(round_, Step.QUESTIONS)
    if command.force not in {s.option for s in round_.forces_standing if s.carried}:
        raise Refused(Because.UNKNOWN_ITEM)
    others = [q for q in round_.questions if q.id != command.question]
    if len(others) >= MAX_QUESTIONS:
        raise Refused(Because.TOO_MANY, most=MAX_QUESTIONS, lever="")
    return (QuestionWritten(Question(command.question, command.force, accepted(command.text, 300))),)


def drop(round_: Round, command: DropQuestion, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.WORD_QUESTIONS)
    checks.in_step(round_, Step.QUESTIONS)
    if command.question not in {q.id for q in round_.questions}:
        raise Refused(Because.UNKNOWN_ITEM)
    return (QuestionDropped(command.question),)


def suggest(round_: Round, command: SuggestQuestion, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.SUGGEST)
    checks.in_step(round_, Step.QUESTIONS)
    return (QuestionSuggested(command.by, accepted(command.text, 300)),)


def publish(round_: Round) -> Facts:
    if not round_.questions:
        raise Refused(Because.NO_QUESTIONS)
    return (QuestionsPublished(len(round_.questions)),)


def give(round_: Round, command: GivePrecedent, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.PRECEDENT)
    checks.in_step(round_, Step.PRECEDENTS)
    if command.question not in {q.id for q in round_.questions}:
        raise Refused(Because.UNKNOWN_ITEM)
    if command.precedent in {p.id for p in round_.precedents}:
        return ()
    if sum(p.by == command.by for p in round_.precedents) >= PRECEDENTS_EACH:
        raise Refused(Because.TOO_MANY, most=PRECEDENTS_EACH, lever="")
    precedent = Precedent(
        id=command.precedent,
        by=command.by,
        question=command.question,
        title=accepted(command.title, 150, field="title"),
        idea=accepted(command.idea, 1000, field="idea"),
        details=optional(command.details, 3000, field="details"),
        source=optional(command.source, 500, field="source"),
        outside_trade=command.outside_trade,
    )
    return (PrecedentGiven(precedent),)


def same_source(round_: Round, precedent: Precedent) -> int:
    """How many others already chose this case, by its source or title."""

    def key(p: Precedent) -> str:
        return (p.source or p.title).casefold().strip().rstrip("/")

    return sum(p.by != precedent.by and key(p) == key(precedent) for p in round_.precedents)


def close_precedents(round_: Round) -> Facts:
    return (PrecedentsClosed(len(round_.precedents)),)


# --- evolve ---


def question_written(round_: Round, fact: QuestionWritten) -> Round:
    changed = tuple(fact.question if q.id == fact.question.id else q for q in round_.questions)
    return replace(round_, questions=changed if fact.question in changed else (*changed, fact.question))


def question_dropped(round_: Round, fact: QuestionDropped) -> Round:
    """With it go the precedents that were told for it, where the questions were opened again."""
    questions = tuple(q for q in round_.questions if q.id != fact.question)
    precedents = tuple(p for p in round_.precedents if p.question != fact.question)
    return replace(round_, questions=questions, precedents=precedents)


def question_suggested(round_: Round, fact: QuestionSuggested) -> Round:
    return replace(round_, suggestions=(*round_.suggestions, Suggestion(fact.by, fact.text)))


def precedent_given(round_: Round, fact: PrecedentGiven) -> Round:
    told = replace(round_, precedents=(*round_.precedents, fact.precedent))
    return pages.handed_in(told, fact.precedent.by, "precedent", "")


def precedents_closed(round_: Round, fact: PrecedentsClosed) -> Round:
    return pages.over(round_, "precedent")


DECIDE: Decide = {
    WriteQuestion: write,
    DropQuestion: drop,
    SuggestQuestion: suggest,
    GivePrecedent: give,
}
EVOLVE: Evolve = {
    QuestionWritten: question_written,
    QuestionDropped: question_dropped,
    QuestionSuggested: question_suggested,
    PrecedentGiven: precedent_given,
    PrecedentsClosed: precedents_closed,
}


QUESTIONS = StepRule(
    hours=8, minutes=10, read_hours=0, read_minutes=0, private=False, expected=facilitator, gave=nobody,
    quorum=None, needs=None, decides=Role.FACILITATOR, hands_over=True, close=publish, enter=None,
    ends=QuestionsPublished, decide=DECIDE, evolve=EVOLVE, forget=keeps_nothing,
)  # fmt: skip
PRECEDENTS = StepRule(
    hours=16, minutes=40, read_hours=0, read_minutes=0, private=False, expected=everybody,
    gave=lambda r: frozenset(p.by for p in r.precedents),
    quorum=0.6, needs=None, decides=None, hands_over=False, close=close_precedents, enter=None,
    ends=PrecedentsClosed, decide=DECIDE, evolve=EVOLVE, forget=jotting.without,
)  # fmt: skip
