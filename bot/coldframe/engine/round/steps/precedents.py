"""Precedents: everybody tells what somebody else did about a question."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.names import MemberId, PrecedentId, QuestionId, Step
from coldframe.domain.round.pages import PageDropped, PageKept
from coldframe.domain.round.questions import GivePrecedent, PrecedentGiven, PrecedentsClosed, same_source
from coldframe.domain.state import Round
from coldframe.engine.core.requests import RoundRequest, opens
from coldframe.engine.core.turn import Turn
from coldframe.engine.round import pages
from coldframe.engine.round.steps.play import Asking, Reads, StepPlay
from coldframe.message.nodes import Form
from coldframe.ports.chat import Reply
from coldframe.speech.names import message_name
from coldframe.speech.round import forms, page_words, results, work_prompts


async def _ask(turn: Turn, round_: Round, member: MemberId) -> None:
    turn.tell(round_, member, "ask", work_prompts.precedents_prompt(round_, member), rest=(Step.PRECEDENTS.value,))


def _own_card(turn: Turn, round_: Round, member: MemberId) -> None:
    """Being done changes no card in the channel at once, so it is seen here."""
    card = work_prompts.precedents_prompt(round_, member)
    turn.revise_own(round_, member, "ask", card, Step.PRECEDENTS.value)


def _form(request: RoundRequest) -> Form:
    whole = forms.precedent(request.round, QuestionId(request.parts[0]) if request.parts else None)
    typed = pages.typed_before(request, "precedent")
    asked = {"question": request.parts[0]} if request.parts else {}
    return page_words.filled(pages.ordered(request, "precedent", whole), {**typed, **asked})


async def _told_before(request: RoundRequest) -> Reply | None:
    return request.shown(results.told_before(request.round, QuestionId(request.part(0))))


async def _give(request: RoundRequest) -> None:
    """Kept as it was typed first, so that nothing is lost with what is refused."""
    request = await pages.kept(request, "precedent")
    await request.act(_precedent(request))


def _precedent(request: RoundRequest) -> GivePrecedent:
    return GivePrecedent(
        request.by,
        PrecedentId(request.turn.kit.ids.new("c")),
        QuestionId(request.text("question")),
        request.text("title"),
        request.text("idea"),
        request.text("details"),
        request.text("source"),
        request.text("outside") == "yes",
    )


async def _begun(turn: Turn, before: Round, after: Round, fact: PageKept | PageDropped) -> None:
    if fact.begun.kind == "precedent":
        _own_card(turn, after, fact.begun.author)


async def _closed(turn: Turn, before: Round, after: Round, fact: PrecedentsClosed) -> None:
    pages.hand_back(turn, before, "precedent")


async def _given(turn: Turn, before: Round, round_: Round, fact: PrecedentGiven) -> None:
    precedent = fact.precedent
    card = results.precedent_card(round_, precedent, same_source(round_, precedent))
    if pages.is_begun(before, precedent.by, "precedent"):
        _own_card(turn, round_, precedent.by)
    thread = message_name(round_.id, "question", precedent.question)
    turn.say(round_, "precedent", card, rest=(precedent.id,), thread_of=thread)


READS: Mapping[str, Reads] = {
    "ask": lambda round_, rest: work_prompts.precedents_prompt(round_, MemberId(rest[0])),
    "question": lambda round_, rest: results.question_card(round_, QuestionId(rest[0])),
}
ASKING = Asking("ask", (Step.PRECEDENTS.value,), _ask)
PLAY = StepPlay(
    open=ASKING.open, asking=ASKING, desk=None, own_card=_own_card, reads=READS, card_follows=False,
    buttons={"precedent.write": opens(_form), "kin.show": _told_before}, forms={"precedent.write": _give},
    follow={PageKept: _begun, PageDropped: _begun, PrecedentGiven: _given, PrecedentsClosed: _closed}, due={},
)  # fmt: skip
