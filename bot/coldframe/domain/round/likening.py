"""What belongs together by its meaning, found by the worker: it changes nothing that somebody gave, and is shown where
it helps, to whom it helps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.likes import Earlier, Kin
from coldframe.domain.names import BeginningId, LeverId, NoteId, PlanId, QuestionId, Step
from coldframe.domain.refusals import known
from coldframe.domain.round.plans import with_plan
from coldframe.domain.state import Round


class OrderLevers(Command):
    """All levers, that to which a text without one belongs most likely first."""

    draft: NoteId
    levers: tuple[LeverId, ...]


class FindEarlier(Command):
    """The team's earlier trials that resemble a plan."""

    plan: PlanId
    earlier: tuple[Earlier, ...]


class OrderQuestions(Command):
    """The round's questions, those most alike beside each other."""

    questions: tuple[QuestionId, ...]


class OrderForPage(Command):
    """The round's questions, that on which a begun page bears most likely first."""

    page: BeginningId
    questions: tuple[QuestionId, ...]


class FindKin(Command):
    """What the team told in earlier rounds, for each question the likeliest first."""

    kin: tuple[Kin, ...]


class FindSamePeople(Command):
    """Pairs of wordings, of trials chosen now or under way, that say the same of who is counted."""

    pairs: tuple[tuple[str, str], ...]


class LeversOrdered(Fact):
    private = True
    draft: NoteId
    levers: tuple[LeverId, ...]


class EarlierFound(Fact):
    private = True
    plan: PlanId
    earlier: tuple[Earlier, ...]


class QuestionsOrdered(Fact):
    questions: tuple[QuestionId, ...]


class PageOrdered(Fact):
    private = True
    page: BeginningId
    questions: tuple[QuestionId, ...]


class KinFound(Fact):
    kin: tuple[Kin, ...]


class SamePeopleFound(Fact):
    pairs: tuple[tuple[str, str], ...]


def order_levers(round_: Round, command: OrderLevers, now: datetime) -> Facts:
    checks.bot(command.by)
    draft = known(round_.drafts.get(command.draft))
    levers = tuple(lever for lever, _ in round_.settings.levers)
    if sorted(command.levers) != sorted(levers) or command.levers == (draft.likely or levers):
        return ()
    return (LeversOrdered(command.draft, command.levers),)


def find_earlier(round_: Round, command: FindEarlier, now: datetime) -> Facts:
    checks.bot(command.by)
    checks.in_step(round_, Step.PLANS)
    plan = known(round_.plans.get(command.plan))
    return () if plan.earlier == command.earlier else (EarlierFound(command.plan, command.earlier),)


def order_questions(round_: Round, command: OrderQuestions, now: datetime) -> Facts:
    checks.bot(command.by)
    if not _are_all(round_, command.questions) or command.questions == round_.side_by_side:
        return ()
    return (QuestionsOrdered(command.questions),)


def order_for_page(round_: Round, command: OrderForPage, now: datetime) -> Facts:
    checks.bot(command.by)
    page = known(round_.begun.get(command.page))
    if not _are_all(round_, command.questions) or command.questions == page.likely:
        return ()
    return (PageOrdered(command.page, command.questions),)


def _are_all(round_: Round, questions: Sequence[QuestionId]) -> bool:
    return sorted(questions) == sorted(question.id for question in round_.questions)


def find_kin(round_: Round, command: FindKin, now: datetime) -> Facts:
    checks.bot(command.by)
    asked = {question.id for question in round_.questions}
    kin = tuple(one for one in command.kin if one.question in asked)
    return () if kin == round_.kin else (KinFound(kin),)


def find_same_people(round_: Round, command: FindSamePeople, now: datetime) -> Facts:
    checks.bot(command.by)
    checks.in_step(round_, Step.COMMITMENT)
    return () if command.pairs == round_.same_people else (SamePeopleFound(command.pairs),)


def levers_ordered(round_: Round, fact: LeversOrdered) -> Round:
    draft = replace(round_.drafts[fact.draft], likely=fact.levers)
    return replace(round_, drafts={**round_.drafts, fact.draft: draft})


def earlier_found(round_: Round, fact: EarlierFound) -> Round:
    return with_plan(round_, fact.plan, earlier=fact.earlier)


def questions_ordered(round_: Round, fact: QuestionsOrdered) -> Round:
    return replace(round_, side_by_side=fact.questions)


def page_ordered(round_: Round, fact: PageOrdered) -> Round:
    page = replace(round_.begun[fact.page], likely=fact.questions)
    return replace(round_, begun={**round_.begun, fact.page: page})


def kin_found(round_: Round, fact: KinFound) -> Round:
    return replace(round_, kin=fact.kin)


def same_people_found(round_: Round, fact: SamePeopleFound) -> Round:
    """A yes to an overlap was for what was known to overlap then."""
    still = round_.overlap_accepted and set(fact.pairs) <= set(round_.same_people)
    return replace(round_, same_people=fact.pairs, overlap_accepted=still)


DECIDE: Decide = {
    OrderLevers: order_levers,
    FindEarlier: find_earlier,
    OrderQuestions: order_questions,
    OrderForPage: order_for_page,
    FindKin: find_kin,
    FindSamePeople: find_same_people,
}
EVOLVE: Evolve = {
    LeversOrdered: levers_ordered,
    EarlierFound: earlier_found,
    QuestionsOrdered: questions_ordered,
    PageOrdered: page_ordered,
    KinFound: kin_found,
    SamePeopleFound: same_people_found,
}
