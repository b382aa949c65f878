"""Dots: everybody votes on the forces."""

from __future__ import annotations

from coldframe.domain.names import Step
from coldframe.domain.round.ballots import DotsCounted
from coldframe.domain.round.disclosure import figures
from coldframe.domain.state import Round
from coldframe.engine.core.turn import Kit, Turn
from coldframe.engine.round import retention
from coldframe.engine.round.steps import result, voting
from coldframe.engine.round.steps.play import StepPlay
from coldframe.engine.worker import explaining
from coldframe.message.nodes import Message
from coldframe.speech.round import results


async def _counted(turn: Turn, before: Round, round_: Round, fact: DotsCounted) -> None:
    if Step.DOTS in round_.passed:
        return
    retention.after_count(turn, round_, "dots")
    turn.later(result.DOTS, round_.id, str(fact.unused), turn.now)


async def _reckoned(kit: Kit, round_: Round, numbers: tuple[int, ...]) -> Message:
    told = figures(round_, Step.DOTS)
    if told is None:
        return _plain(round_, numbers)
    args = (told, 1, round_.settings.carry_on)
    return results.dots_result(round_, await kit.numbers.compute(explaining.sureness, *args), *numbers)


def _plain(round_: Round, numbers: tuple[int, ...]) -> Message:
    if not any(s.voters for s in round_.forces_standing):
        return results.no_dots(round_)
    return results.dots_result(round_, None, *numbers)


ASKING = voting.asking(Step.DOTS)
PLAY = StepPlay(
    open=ASKING.open, asking=ASKING, desk=None, own_card=voting.own_card, reads=voting.READS, card_follows=False,
    whole=voting.WHOLE,
    buttons={}, forms={}, follow={DotsCounted: _counted},
    due={result.DOTS: result.Result(result.DOTS, "dots", _reckoned, _plain)},
)  # fmt: skip
