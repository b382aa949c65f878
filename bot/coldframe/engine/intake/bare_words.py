"""A word of the command, typed alone and without the command: done at once, or asked about where that could do harm."""

from __future__ import annotations

from dataclasses import replace

from coldframe.engine.core import lives
from coldframe.engine.core.requests import Answers, Request
from coldframe.engine.intake import panel, texts
from coldframe.engine.register import teams
from coldframe.message.nodes import Message
from coldframe.message.packed import ButtonValue, MessageName
from coldframe.ports.chat import Place, Reply, Said
from coldframe.speech import panel_words


async def heard(request: Request, what: Said, word: str) -> Reply | None:
    """Raises Refused."""
    if word not in panel_words.DOES:
        return await panel.ask(request, word)
    words = panel_words.meant(word, what.message, what.text.strip(), await _where(request))
    request.turn.answer(request.tenant, request.by, words, name=_question(request, what.message))
    return None


def _question(request: Request, message: str) -> str:
    return MessageName(lives.MEANT, request.by, (message,)).pack()


def _settle(request: Request, outcome: Message) -> None:
    """The question goes, and its buttons with it; only once what was chosen is done."""
    place = Place(request.tenant, "direct", request.by)
    request.turn.revise(_question(request, request.part(0)), place, outcome)


async def _where(request: Request) -> str:
    heads = await request.turn.uow.heads(request.tenant, member=request.by)
    return " ".join(sorted(f"{head.id}:{head.step}" for head in heads)) or "nowhere"


async def _as_command(request: Request) -> Reply | None:
    """Not what was meant in another step than the one that is open now."""
    word = request.subject
    if ButtonValue.unpack(request.value).made_for != await _where(request):
        _settle(request, panel_words.moved_on(word))
        return None
    reply = await panel.ask(replace(request, value=""), word)
    _settle(request, panel_words.was_a_command(word))
    return reply


async def _as_note(request: Request) -> Reply | None:
    message, text = request.part(0), request.part(1)
    reply = await texts.heard(request.turn, request.event, Said(text, message), None, None)
    _settle(request, panel_words.was_a_note())
    return reply


BUTTONS: Answers = teams.of_oneself({"word.do": _as_command, "word.note": _as_note})
