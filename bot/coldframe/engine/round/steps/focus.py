"""Focus: the decision-maker picks one lever, with a reason."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.names import Deciding, LeverId, MemberId, Role, Side, Step
from coldframe.domain.round.merging import FocusPicked
from coldframe.domain.round.undoing import Hold
from coldframe.domain.state import Note, Round
from coldframe.engine.core.requests import RoundRequest, acts, opens
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import funnel
from coldframe.engine.round.steps.play import Reads, StepPlay, post_card
from coldframe.message.nodes import Form, Line, Message
from coldframe.speech.round import forms, guide_words, prompts, results


async def _open(turn: Turn, round_: Round) -> None:
    post_card(turn, round_)
    _desk(turn, round_, await funnel.help_at_focus(turn, round_))


def _desk(turn: Turn, round_: Round, help_: Line = ()) -> None:
    chief = round_.roles.acting(Role.DECISION_MAKER)
    turn.tell(round_, chief, "ask", _card(round_, chief, help_), rest=(Step.FOCUS.value,))


def _card(round_: Round, chief: MemberId, help_: Line = ()) -> Message:
    notes = [round_.notes[i] for i in round_.revealed if not round_.notes[i].hidden]
    counts = [
        (lever, _of_side(notes, lever, Side.RESTRAINING), _of_side(notes, lever, Side.DRIVING))
        for lever, _ in round_.settings.levers
    ]
    return guide_words.guided(round_, chief, prompts.pick_focus(round_, chief, counts, help_))


def _of_side(notes: list[Note], lever: LeverId, side: Side) -> int:
    return sum(n.lever == lever and n.side is side for n in notes)


def _form(request: RoundRequest) -> Form:
    return forms.focus(request.round, LeverId(request.part(0)))


async def _picked(turn: Turn, before: Round, round_: Round, fact: FocusPicked) -> None:
    if Step.FOCUS not in round_.passed:
        turn.say(round_, "focus", results.focus_picked(round_))
    turn.later("propose", round_.id, "merges", turn.now)


READS: Mapping[str, Reads] = {"ask": lambda round_, rest: _card(round_, MemberId(rest[0]))}
PLAY = StepPlay(
    open=_open, asking=None, desk=_desk, own_card=None, reads=READS, card_follows=False,
    buttons={"focus.pick": opens(_form)},
    forms={"focus.pick": acts(lambda r: Hold(r.by, Deciding.FOCUS, LeverId(r.part(0)), r.text("reason")))},
    follow={FocusPicked: _picked}, due={},
)  # fmt: skip
