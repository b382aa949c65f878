"""A person's own page for what strikes them while they read precedents, beside the plans that they write."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.facts import Fact
from coldframe.domain.names import Step
from coldframe.domain.round.jotting import Jot, Jotted
from coldframe.domain.state import Round
from coldframe.engine.core.requests import RoundRequest, of_round, opens
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.round.steps import plans
from coldframe.ports.chat import Reply
from coldframe.speech import answers
from coldframe.speech.round import jot_words

WHILE_READING = (Step.PRECEDENTS, Step.PLANS)


async def _kept(request: RoundRequest) -> Reply | None:
    """In the plans step it stands on the person's sheet; before, they hear that it comes back."""
    after = await request.act(Jot(request.by, request.text("text")))
    if after.step is Step.PLANS:
        return None
    return request.shown(answers.jotted(request.by in after.jottings))


async def _jotted(turn: Turn, before: Round, after: Round, fact: Jotted) -> None:
    if after.step is Step.PLANS:
        plans.own_card(turn, after, fact.by)


BUTTONS = of_round({"jot.write": opens(lambda r: jot_words.form(r.round, r.by))}, WHILE_READING)
FORMS = of_round({"jot.write": _kept}, WHILE_READING)
FOLLOW: Mapping[type[Fact], Follow[Round]] = {Jotted: _jotted}
