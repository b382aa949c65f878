"""Ballot: everybody votes on the plans, once there was time to read them."""

from __future__ import annotations

from coldframe.domain.names import Step
from coldframe.domain.round.ballots import BallotCounted
from coldframe.domain.round.disclosure import figures
from coldframe.domain.state import Round
from coldframe.engine.core.requests import RoundRequest
from coldframe.engine.core.turn import InOneTurn, Kit, Turn
from coldframe.engine.round import locking, retention
from coldframe.engine.round.steps import result, voting
from coldframe.engine.round.steps.play import StepPlay, post_card
from coldframe.engine.worker import explaining
from coldframe.message.nodes import Message
from coldframe.ports.storage import Due
from coldframe.speech.round import results


async def _open(turn: Turn, round_: Round) -> None:
    """The ballots follow when the reading time is over."""
    post_card(turn, round_)


async def _hand_out(turn: Turn, due: Due) -> None:
    round_ = await turn.round(due.subject)
    if round_.step is Step.BALLOT and round_.paused is None:
        await ASKING.everybody(turn, round_)


async def _counted(turn: Turn, before: Round, round_: Round, fact: BallotCounted) -> None:
    if Step.BALLOT in round_.passed:
        return
    retention.after_count(turn, round_, "ballot")
    turn.later(result.BALLOT, round_.id, str(fact.unused), turn.now)


async def _reckoned(kit: Kit, round_: Round, numbers: tuple[int, ...]) -> Message:
    told = figures(round_, Step.BALLOT)
    if told is None:
        return _plain(round_, numbers)
    args = (told, round_.settings.weight, round_.settings.trials_at_once)
    return results.ballot_result(round_, await kit.numbers.compute(explaining.sureness, *args), _unused(numbers))


def _plain(round_: Round, numbers: tuple[int, ...]) -> Message:
    if not any(s.voters for s in round_.plans_standing):
        return results.no_votes(round_)
    return results.ballot_result(round_, None, _unused(numbers))


def _unused(numbers: tuple[int, ...]) -> int:
    """Rows of earlier releases hold another number before it."""
    return numbers[-1]


async def _lock(request: RoundRequest) -> None:
    locking.ask(request.turn, request.round, request.by)


ASKING = voting.asking(Step.BALLOT)
PLAY = StepPlay(
    open=_open, asking=ASKING, desk=None, own_card=voting.own_card, reads=voting.READS, card_follows=False,
    whole=voting.WHOLE,
    buttons={"ballot.lock": _lock}, forms={}, follow={BallotCounted: _counted},
    due={"open": InOneTurn(_hand_out), result.BALLOT: result.Result(result.BALLOT, "ballot", _reckoned, _plain)},
)  # fmt: skip
