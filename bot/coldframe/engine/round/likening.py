"""What the worker finds to belong together, asked for as soon as there is something to compare, and shown in place: the
levers of a text without one, what was told for questions like these, and two wordings for the same people. Rows name
ids alone, since they can be read at rest."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.commands import BOT
from coldframe.domain.facts import Fact
from coldframe.domain.likes import Kin
from coldframe.domain.names import NoteId, Step
from coldframe.domain.round import overlapping
from coldframe.domain.round.choosing import ChoiceAnnounced
from coldframe.domain.round.commitment import CriterionCompleted
from coldframe.domain.round.likening import (
    FindKin,
    FindSamePeople,
    KinFound,
    LeversOrdered,
    OrderLevers,
)
from coldframe.domain.round.notes import DraftKept
from coldframe.domain.round.questions import QuestionsPublished
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
    found = await kit.numbers.compute(likening.questions_like, asked, [text for _, text, _ in earlier])
    kin = tuple(Kin(round_.questions[one].id, *earlier[other]) for one, other in found)
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
    LeversOrdered: levers_ordered,
    QuestionsPublished: published,
    KinFound: kin_found,
    ChoiceAnnounced: may_overlap,
    CriterionCompleted: may_overlap,
}
DUE: Mapping[str, Carry] = {LEVERS: _order_levers, KIN: _find_kin, PEOPLE: _find_same_people}
