"""Ballot: everybody votes on the plans, once there was time to read them."""

from __future__ import annotations

from coldframe.domain.names import MemberId, Step
from coldframe.domain.round.ballots import BallotCounted
from coldframe.domain.round.disclosure import figures
from coldframe.domain.state import Round
from coldframe.engine.core import members, windows
from coldframe.engine.core.requests import RoundRequest
from coldframe.engine.core.turn import InOneTurn, Kit, Turn
from coldframe.engine.round import locking, retention
from coldframe.engine.round.steps import result, voting
from coldframe.engine.round.steps.play import StepPlay, post_card
from coldframe.engine.worker import explaining
from coldframe.message.nodes import Message
from coldframe.message.packed import Occurrence
from coldframe.ports.storage import Due
from coldframe.speech.round import results

OPEN = "open"
"""The end of the reading time: of whoever is through first, and of each other by their name."""


async def _open(turn: Turn, round_: Round) -> None:
    """The ballots follow when there was time to read."""
    post_card(turn, round_)
    opens = round_.progress.opens
    if round_.settings.pace == "live" or opens is None:
        return
    for member, at in windows.read_by(round_, await members.expected_calendars(turn.uow, round_), turn.now).items():
        if opens < at < (round_.progress.part_due(member) or at):
            turn.later(OPEN, round_.id, Occurrence((Step.BALLOT, member)).pack(), at)


async def _hand_out(turn: Turn, due: Due) -> None:
    """All are open now; each comes when its voter has had their own reading time, or acts."""
    round_ = await turn.round(due.subject)
    if due.occurrence != Step.BALLOT or round_.step is not Step.BALLOT or round_.paused is not None:
        return
    reading = [row for row in await turn.uow.dues(OPEN) if row.subject == round_.id]
    await ASKING.everybody(turn, round_)
    for row in reading:
        *_, member = Occurrence.unpack(row.occurrence).parts
        turn.not_before(ASKING.name(round_, MemberId(member)), row.at)
    await turn.drop_due(round_.id, kind=OPEN)


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
    due={OPEN: InOneTurn(_hand_out), result.BALLOT: result.Result(result.BALLOT, "ballot", _reckoned, _plain)},
)  # fmt: skip
