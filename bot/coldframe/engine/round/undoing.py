"""Decisions that can be undone for a while, as whoever makes them meets it: a private card with the moment, and two
buttons. `closing` carries them out."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.facts import Fact
from coldframe.domain.names import Deciding, MemberId
from coldframe.domain.people.facts import RoleFilled, RoleHandedOver
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.roles import RolePassed
from coldframe.domain.round.undoing import DecisionHeld, DecisionLapsed, DecisionUndone, Undo, may_settle, role_of
from coldframe.domain.state import Round
from coldframe.engine.core import lives
from coldframe.engine.core.requests import Over, RoundRequest, of_round
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.round import closing
from coldframe.ports.chat import Reply
from coldframe.speech import over_words
from coldframe.speech.round import undoing_words


def _still_open(request: RoundRequest) -> None:
    """Raises Over for the buttons of a decision that was undone, carried out or made anew."""
    held = request.round.decided()
    if held is None or held.at.isoformat() != request.part(0):
        raise Over(request.round, over_words.decided(request.round))
    if not may_settle(request.round, request.by):
        raise Refused(Because.NOTHING_TO_UNDO)


async def _undo(request: RoundRequest) -> Reply | None:
    _still_open(request)
    return request.noted(undoing_words.undone(await request.act(Undo(request.by))))


async def _now(request: RoundRequest) -> None:
    _still_open(request)
    await closing.announce(request.turn, request.round, request.by)


async def _held(turn: Turn, before: Round, after: Round, fact: DecisionHeld) -> None:
    turn.later(closing.HELD, after.id, fact.step.value, fact.held.at)
    who = _theirs(after, fact.held.by, fact.held.what)
    turn.tell(after, who, lives.HELD, undoing_words.card(after), rest=(fact.step.value, fact.held.at.isoformat()))


def _theirs(round_: Round, by: MemberId, what: Deciding) -> MemberId:
    """Who decided, or has the role since they left."""
    return by if by in round_.active() else round_.roles.acting(role_of(what))


async def _new_holder(turn: Turn, before: Round, after: Round, fact: RolePassed | RoleHandedOver | RoleFilled) -> None:
    """Whoever has the role now can undo what was decided before."""
    held, holder = after.decided(), after.roles.acting(fact.role)
    if held is None or role_of(held.what) is not fact.role or holder in (held.by, before.roles.acting(fact.role)):
        return
    turn.tell(after, holder, lives.HELD, undoing_words.card(after), rest=(after.step.value, held.at.isoformat()))


async def _undone(turn: Turn, before: Round, after: Round, fact: DecisionUndone) -> None:
    await turn.drop_due(after.id, kind=closing.HELD)


async def _lapsed(turn: Turn, before: Round, after: Round, fact: DecisionLapsed) -> None:
    held = before.decided()
    assert held is not None
    await turn.drop_due(after.id, kind=closing.HELD)
    whose = _theirs(after, held.by, held.what)
    turn.answer(after.tenant, whose, undoing_words.lapsed(after, fact.why), about=after, ask=True)


BUTTONS = of_round({"held.undo": _undo, "held.now": _now})
FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    DecisionHeld: _held,
    RolePassed: _new_holder,
    RoleHandedOver: _new_holder,
    RoleFilled: _new_holder,
    DecisionUndone: _undone,
    DecisionLapsed: _lapsed,
}
