"""What the worker finds to belong together, asked for as soon as there is something to compare, and shown in place: the
levers of a text without one, the questions that are most alike, those that a page without one bears on, what was told
before, and two wordings for the same people; and revealed notes are read before they are compared. Rows name ids alone,
since they can be read at rest."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.commands import BOT
from coldframe.domain.facts import Fact
from coldframe.domain.likes import Kin
from coldframe.domain.names import BeginningId, NoteId, Side, Step
from coldframe.domain.round import overlapping
from coldframe.domain.round.choosing import ChoiceAnnounced
from coldframe.domain.round.commitment import CriterionCompleted
from coldframe.domain.round.likening import (
    FindKin,
    FindSamePeople,
    KinFound,
    LeversOrdered,
    OrderForPage,
    OrderLevers,
    OrderQuestions,
)
from coldframe.domain.round.notes import DraftKept, Revealed
from coldframe.domain.round.pages import PageKept
from coldframe.domain.round.questions import QuestionDropped, QuestionsPublished, QuestionWritten
from coldframe.domain.state import Round
from coldframe.engine.core.turn import Carry, Follow, Kit, Turn, due_turn
from coldframe.engine.register import leftovers
from coldframe.engine.round.steps.play import read
from coldframe.engine.worker import likening
from coldframe.ports.storage import Due
from coldframe.speech import answers
from coldframe.speech.names import message_name
from coldframe.speech.round import lever_words, results

LEVERS, KIN, PEOPLE = "order levers", "questions like these", "same people"
ALIKE, PAGE, READ = "order questions", "order for page", "read notes"
MOST_TOLD = 3  # earlier questions whose stories are named for one

# --- a text without a lever ---


async def draft_kept(turn: Turn, before: Round, round_: Round, fact: DraftKept) -> None:
    if len(round_.settings.levers) > 1 and fact.draft.lever is None:
        turn.later(LEVERS, round_.id, fact.draft.id, turn.now)


async def _order_levers(kit: Kit, due: Due) -> None:
    round_, draft_id = await read(kit, due.subject), NoteId(due.occurrence)
    if round_ is None or draft_id not in round_.drafts:
        return
    levers = [lever for lever, _ in round_.settings.levers]
    order = await kit.numbers.compute(
        likening.likeliest, round_.drafts[draft_id].text, lever_words.in_words(round_.settings)
    )
    async with due_turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if draft_id in now_round.drafts:
            await turn.act(now_round, OrderLevers(BOT, draft_id, tuple(levers[place] for place in order)))


async def levers_ordered(turn: Turn, before: Round, round_: Round, fact: LeversOrdered) -> None:
    """Its question is there already, so that nobody waits for the worker."""
    draft = round_.drafts[fact.draft]
    turn.revise_own(round_, draft.author, "draft", answers.which_note(round_, draft), draft.id)


# --- notes that may be duplicates ---


async def revealed(turn: Turn, before: Round, round_: Round, fact: Revealed) -> None:
    turn.later(READ, round_.id, "notes", turn.now)


async def _read_ahead(kit: Kit, due: Due) -> None:
    """Between the reveal and the merge somebody picks a lever, so that nobody waits for the reading of the notes."""
    round_ = await read(kit, due.subject)
    if round_ is None or round_.step not in (Step.NOTES, Step.FOCUS, Step.MERGE):
        return
    texts = [round_.notes[note].text for note in round_.revealed if round_.notes[note].side is Side.RESTRAINING]
    await kit.numbers.compute(likening.read_ahead, texts)


# --- questions of one round, and the pages on them ---


async def questions_changed(turn: Turn, before: Round, round_: Round, fact: QuestionWritten | QuestionDropped) -> None:
    if len(round_.questions) > 2:  # two stand beside each other
        turn.later(ALIKE, round_.id, "questions", turn.now)


async def _order_questions(kit: Kit, due: Due) -> None:
    round_ = await read(kit, due.subject)
    if round_ is None or round_.step is not Step.QUESTIONS:
        return
    asked = round_.questions
    order = await kit.numbers.compute(likening.side_by_side, [question.text for question in asked])
    async with due_turn(kit, due) as turn:
        ordered = tuple(asked[place].id for place in order)
        await turn.act(await turn.round(due.subject), OrderQuestions(BOT, ordered))


async def page_kept(turn: Turn, before: Round, round_: Round, fact: PageKept) -> None:
    if len(round_.questions) > 1 and not fact.begun.fields.get("question"):
        turn.later(PAGE, round_.id, fact.id, turn.now)


async def _order_for_page(kit: Kit, due: Due) -> None:
    round_, page = await read(kit, due.subject), BeginningId(due.occurrence)
    if round_ is None or page not in round_.begun:
        return
    told, asked = ". ".join(round_.begun[page].fields.values()), round_.questions
    (order,) = await kit.numbers.compute(likening.likeliest_questions, [told], [question.text for question in asked])
    async with due_turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if page in now_round.begun:
            await turn.act(now_round, OrderForPage(BOT, page, tuple(asked[place].id for place in order)))


# --- questions like earlier ones ---


async def published(turn: Turn, before: Round, round_: Round, fact: QuestionsPublished) -> None:
    turn.later(KIN, round_.id, "questions", turn.now)


async def _find_kin(kit: Kit, due: Due) -> None:
    async with kit.store.begin() as uow:
        round_ = await uow.round(due.subject)
        earlier = [] if round_ is None else await leftovers.told(uow, round_.tenant, round_.channel)
    if round_ is None or not earlier:
        return
    asked = [question.text for question in round_.questions]
    orders = await kit.numbers.compute(likening.likeliest_questions, asked, [text for _, text, _ in earlier])
    pairs = zip(round_.questions, orders, strict=True)
    kin = tuple(Kin(question.id, *earlier[place]) for question, order in pairs for place in order[:MOST_TOLD])
    async with due_turn(kit, due) as turn:
        await turn.act(await turn.round(due.subject), FindKin(BOT, kin))


async def kin_found(turn: Turn, before: Round, round_: Round, fact: KinFound) -> None:
    """On the cards of the questions."""
    changed = {kin.question for kin in (*before.kin, *fact.kin)}
    for question in (each.id for each in round_.questions if each.id in changed):
        name, words = message_name(round_.id, "question", question), results.question_card(round_, question)
        turn.revise(name, turn.channel(round_), words, round_.id)


# --- two wordings for the same people ---


async def may_overlap(turn: Turn, before: Round, round_: Round, fact: ChoiceAnnounced | CriterionCompleted) -> None:
    if len(overlapping.wordings(round_)) > 1:
        turn.later(PEOPLE, round_.id, "choices", turn.now)


async def _find_same_people(kit: Kit, due: Due) -> None:
    round_ = await read(kit, due.subject)
    if round_ is None or round_.step is not Step.COMMITMENT:
        return
    wordings = overlapping.wordings(round_)
    found = await kit.numbers.compute(likening.same_people, wordings)
    async with due_turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if now_round.step is Step.COMMITMENT:
            pairs = tuple((wordings[one], wordings[other]) for one, other in found)
            await turn.act(now_round, FindSamePeople(BOT, pairs))


FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    DraftKept: draft_kept,
    Revealed: revealed,
    LeversOrdered: levers_ordered,
    QuestionWritten: questions_changed,
    QuestionDropped: questions_changed,
    PageKept: page_kept,
    QuestionsPublished: published,
    KinFound: kin_found,
    ChoiceAnnounced: may_overlap,
    CriterionCompleted: may_overlap,
}
DUE: Mapping[str, Carry] = {
    READ: _read_ahead,
    LEVERS: _order_levers,
    ALIKE: _order_questions,
    PAGE: _order_for_page,
    KIN: _find_kin,
    PEOPLE: _find_same_people,
}
