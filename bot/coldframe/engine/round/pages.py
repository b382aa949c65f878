"""Pages that are begun: kept with every form that is sent, and with a text that came by itself; handed back when their
step is over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from coldframe.domain.names import BeginningId, MemberId, Step
from coldframe.domain.round import pages
from coldframe.domain.round.pages import DropPage, KeepPage
from coldframe.domain.state import Kind, Round
from coldframe.engine.core.requests import RoundRequest, of_round
from coldframe.engine.core.turn import Turn
from coldframe.engine.reading import page_lines
from coldframe.message.nodes import Form
from coldframe.ports.chat import Reply
from coldframe.speech import handed_back
from coldframe.speech.round import page_words

GO_ON: Mapping[Kind, str] = {"precedent": "precedent.write", "plan": "plan.write"}


def typed_before(request: RoundRequest, kind: Kind, of: str = "") -> Mapping[str, str]:
    """What this person typed into the page, as far as they came."""
    return _typed(request.round, request.by, kind, of)


def ordered(request: RoundRequest, kind: Kind, form: Form, of: str = "") -> Form:
    """With the questions on which the page bears most likely first, once that is known."""
    known = pages.found(request.round, request.by, kind, of)
    return form if known is None else page_words.likeliest_first(form, known[1].likely)


def _typed(round_: Round, member: MemberId, kind: Kind, of: str = "") -> Mapping[str, str]:
    known = pages.found(round_, member, kind, of)
    return known[1].fields if known is not None else {}


def is_begun(round_: Round, member: MemberId, kind: Kind) -> bool:
    return pages.found(round_, member, kind, "") is not None


async def kept(request: RoundRequest, kind: Kind, of: str = "") -> RoundRequest:
    """The request with all that was typed into the page, this form's and those before; it is kept whatever comes of it.
    Raises Refused."""
    typed = {**typed_before(request, kind, of), **request.fields}
    new = BeginningId(request.turn.kit.ids.new("g"))
    after = await request.act(KeepPage(request.by, new, kind, of, typed))
    return replace(request, round=after, fields=typed)


async def begun_by_text(turn: Turn, round_: Round, member: MemberId, text: str) -> Round | None:
    """The round with the text in a draft of what its step takes; None where it takes none, or not this."""
    kind = pages.KINDS.get(round_.step)
    if kind is None or not page_lines.is_page(text):
        return None
    fields = page_lines.read(kind, text, _typed(round_, member, kind))
    if fields is None:
        turn.answer(round_.tenant, member, page_words.too_long(round_, kind), about=round_)
        return round_
    after = await turn.act(round_, KeepPage(member, BeginningId(turn.kit.ids.new("g")), kind, "", fields))
    words = page_words.taken_from_text(after, kind, page_words.go_on(after, GO_ON[kind]))
    turn.answer(after.tenant, member, words, about=after)
    return after


def hand_back(turn: Turn, before: Round, kind: Kind) -> None:
    """Its step is over: whoever has not handed theirs in gets back what they wrote."""
    for begun in before.begun.values():
        if begun.kind == kind and any(text.strip() for text in begun.fields.values()):
            turn.answer(
                before.tenant, begun.author, page_words.not_handed_in(before, begun, handed_back.sheet(begun.fields))
            )


async def _drop(request: RoundRequest) -> Reply | None:
    await request.act(DropPage(request.by, BeginningId(request.part(0))))
    return request.noted(page_words.dropped())


BUTTONS = of_round({"page.drop": _drop}, (Step.PRECEDENTS, Step.PLANS))
