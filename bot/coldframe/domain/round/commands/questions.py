"""What is asked about questions, and the precedents that answer them."""

from __future__ import annotations

from coldframe.domain.commands import Command
from coldframe.domain.names import ForceId, PrecedentId, QuestionId


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
