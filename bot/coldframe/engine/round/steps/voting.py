"""Secret votes, alike for the dots and the ballot: what a voter gets, casts and takes back."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, Step
from coldframe.domain.round import ballots, placement
from coldframe.domain.round.ballots import (
    BallotLocked,
    CastVote,
    LedgerReconciled,
    TakeBackVote,
    VoteCast,
    VoteTakenBack,
)
from coldframe.domain.state import Mark, Round
from coldframe.engine.core.requests import RoundAnswer, RoundRequest
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.round.steps.placement import ask_to_compare
from coldframe.engine.round.steps.play import Asking, Reads
from coldframe.speech.round import ballot_prompts


async def _hand_out(turn: Turn, round_: Round, member: MemberId) -> None:
    """The intro, then one message per option in this voter's own order."""
    step = round_.step
    turn.tell(round_, member, "ballot", ballot_prompts.ballot_intro(round_, member), rest=(step.value,), only_in=step)
    for option in ballots.options_for(round_, member):
        message = ballot_prompts.option(round_, member, option)
        turn.tell(round_, member, "option", message, rest=(step.value, option), only_in=step)


def asking(step: Step) -> Asking:
    return Asking("ballot", (step.value,), _hand_out)


async def _cast(request: RoundRequest) -> None:
    await request.act(CastVote(request.by, request.part(0), ballots.BUTTON))


async def _take_back(request: RoundRequest) -> None:
    await request.act(TakeBackVote(request.by, request.part(0), ballots.BUTTON))


async def _voted(turn: Turn, before: Round, after: Round, fact: VoteCast | VoteTakenBack) -> None:
    """Every card on which this person's votes read differently, and a word when one does not count."""
    _refresh(turn, before, after, fact.voter)
    if isinstance(fact, VoteCast) and not fact.counts:
        _tell_surplus(turn, after, fact.voter, fact.mark)


def _tell_surplus(turn: Turn, round_: Round, voter: MemberId, mark: Mark) -> None:
    if (ledger := round_.ledger()) is not None:
        text = ballot_prompts.option_text(round_, mark.option)
        turn.answer(round_.tenant, voter, ballot_prompts.over_quota(round_, text, ledger.quota), about=round_, ask=True)


def _refresh(turn: Turn, before: Round, after: Round, voter: MemberId) -> None:
    if after.ledger() is None or after.step is not before.step:
        return
    own_card(turn, after, voter)
    for option in ballots.options(after):
        new = ballot_prompts.option(after, voter, option)
        if new != ballot_prompts.option(before, voter, option):
            turn.revise_own(after, voter, "option", new, after.step.value, option)


def own_card(turn: Turn, round_: Round, member: MemberId) -> None:
    turn.revise_own(round_, member, "ballot", ballot_prompts.ballot_intro(round_, member), round_.step.value)


async def _reconciled(turn: Turn, before: Round, after: Round, fact: LedgerReconciled) -> None:
    ledger, was = after.ledger(), before.ledger()
    for voter in fact.marks:
        _refresh(turn, before, after, voter)
        for mark in ledger.surplus(voter) if ledger is not None else ():
            if was is None or mark not in was.marks.get(voter, ()):
                _tell_surplus(turn, after, voter, mark)


async def _locked(turn: Turn, before: Round, after: Round, fact: BallotLocked) -> None:
    """With few plans the comparisons follow at once."""
    own_card(turn, after, fact.voter)
    if placement.still_compares(after, fact.voter):
        await ask_to_compare(turn, after, fact.voter)


READS: Mapping[str, Reads] = {
    "ballot": lambda round_, rest: ballot_prompts.ballot_intro(round_, MemberId(rest[0])),
    "option": lambda round_, rest: ballot_prompts.option(round_, MemberId(rest[0]), rest[2]),
}
BUTTONS: Mapping[str, RoundAnswer] = {"vote.cast": _cast, "vote.back": _take_back}
FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    VoteCast: _voted,
    VoteTakenBack: _voted,
    LedgerReconciled: _reconciled,
    BallotLocked: _locked,
}
