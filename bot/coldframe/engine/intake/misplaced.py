"""A note that somebody wrote in the channel by mistake, while notes are private: its writer is offered a way.

What is said in a channel is none of the bot's business unless it can hardly be meant for anybody else: it has a sign
and names a lever of the round, stands under the card of the notes step, or calls the bot and has a sign. Nothing is
taken without a yes, and nothing of it is repeated where others read.
"""

from __future__ import annotations

from coldframe.domain.names import MemberId, Step
from coldframe.domain.state import Round
from coldframe.engine.core.requests import Answers, RoundRequest, of_round
from coldframe.engine.core.turn import Turn
from coldframe.engine.intake import texts
from coldframe.engine.reading import note_lines
from coldframe.message.packed import ELSEWHERE, MessageName
from coldframe.ports.chat import Inbound, Reply, Said
from coldframe.ports.storage import Posted
from coldframe.speech import answers

MISPLACED = texts.Asked("misplaced", ELSEWHERE)
MIN_WORDS = 3  # of an answer without a sign; fewer are thanks and the like


async def offered(turn: Turn, event: Inbound, what: Said, posted: Posted | None) -> bool:
    under_card = posted is not None and _is_notes_card(posted)
    if not (under_card or note_lines.is_signed(what.text)):
        return False
    rounds = [r for r in await _in_notes(turn, event) if _meant_for(r, what, posted if under_card else None)]
    if rounds:
        words = answers.misplaced([(r.id, r.name) for r in rounds], what.message, what.text)
        name = MISPLACED.name(event.person, what.message)
        turn.answer(event.place.tenant, event.person, words, name=name)
    return bool(rounds)


def _is_notes_card(posted: Posted) -> bool:
    name = MessageName.unpack(posted.name)
    return (name.what, name.rest) in (("card", (Step.NOTES.value,)), ("opened", ()))


async def _in_notes(turn: Turn, event: Inbound) -> list[Round]:
    """Rounds of this channel whose notes are private now, and in which the writer takes part."""
    heads = await turn.uow.heads(event.place.tenant, channel=event.place.id, member=event.person)
    rounds = [await turn.round(h.id) for h in heads if h.step is Step.NOTES]
    return [r for r in rounds if MemberId(event.person) in r.active()]


def _meant_for(round_: Round, what: Said, card: Posted | None) -> bool:
    if card is not None:
        return card.round_id == round_.id and _answers_the_card(what.text)
    return what.mentioned or note_lines.names_its_place(what.text, round_.settings.levers)


def _answers_the_card(text: str) -> bool:
    """Questions about the step, and a word or two, are left alone."""
    return note_lines.is_signed(text) or (len(text.split()) >= MIN_WORDS and not text.rstrip().endswith("?"))


async def _taken(request: RoundRequest) -> Reply | None:
    return await texts.taken(request, MISPLACED, answers.taken_privately())


async def _left_alone(request: RoundRequest) -> Reply | None:
    texts.settle(request.turn, request.event, MISPLACED, request.part(0), answers.left_in_the_channel())
    return None


BUTTONS: Answers = {
    **of_round({"text.private": _taken}, (Step.NOTES,)),
    **of_round({"text.leave": _left_alone}, tuple(Step)),
}
