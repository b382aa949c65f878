"""Secret votes, alike for the dots and the ballot: what a voter gets, casts and takes back."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, Step
from coldframe.domain.refusals import Because, Refused
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
from coldframe.speech.names import message_name
from coldframe.speech.round import ballot_prompts

SHEET, LINE = "ballot", "option"
"""A voter's sheet, and in its thread a line for each option that takes emoji."""


async def _hand_out(turn: Turn, round_: Round, member: MemberId) -> None:
    """One sheet with all options; with few of them the lines for emoji stand in its thread from the start."""
    step = round_.step
    turn.tell(round_, member, SHEET, ballot_prompts.sheet(round_, member), rest=(step.value,), only_in=step)
    if len(ballots.options(round_)) <= ballot_prompts.BY_ITSELF:
        _put_lines(turn, round_, member)


def _put_lines(turn: Turn, round_: Round, member: MemberId) -> None:
    """In this voter's own order, in the thread of their sheet."""
    step = round_.step
    thread = message_name(round_.id, SHEET, member, step.value)
    for option in ballots.options_for(round_, member):
        words = ballot_prompts.emoji_line(round_, member, option)
        turn.tell(round_, member, LINE, words, rest=(step.value, option), only_in=step, thread_of=thread)


def asking(step: Step) -> Asking:
    return Asking(SHEET, (step.value,), _hand_out)


async def _cast(request: RoundRequest) -> None:
    await request.act(CastVote(request.by, request.part(0), ballots.BUTTON))


async def _take_back(request: RoundRequest) -> None:
    await request.act(TakeBackVote(request.by, request.part(0), ballots.BUTTON))


async def _voted(turn: Turn, before: Round, after: Round, fact: VoteCast | VoteTakenBack) -> None:
    """The sheet, and a word when a vote does not count."""
    _refresh(turn, before, after, fact.voter, fact.mark.option)
    if isinstance(fact, VoteCast) and not fact.counts:
        _tell_surplus(turn, after, fact.voter, fact.mark)


def _tell_surplus(turn: Turn, round_: Round, voter: MemberId, mark: Mark) -> None:
    if (ledger := round_.ledger()) is not None:
        text = ballot_prompts.option_text(round_, mark.option)
        turn.answer(round_.tenant, voter, ballot_prompts.over_quota(round_, text, ledger.quota), about=round_, ask=True)


def _refresh(turn: Turn, before: Round, after: Round, voter: MemberId, option: str | None = None) -> None:
    """The voter's sheet, at the page of the option where something changed."""
    if after.ledger() is None or after.step is not before.step:
        return
    _show(turn, after, voter, option or 0)


def own_card(turn: Turn, round_: Round, member: MemberId) -> None:
    _show(turn, round_, member, 0)


def _show(turn: Turn, round_: Round, member: MemberId, page: int | str) -> None:
    turn.revise_own(round_, member, SHEET, ballot_prompts.sheet(round_, member, page), round_.step.value)


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


# --- what is only shown ---


async def _page(request: RoundRequest) -> None:
    _show(request.turn, request.round, request.by, request.number(0))


async def _read(request: RoundRequest) -> None:
    """A plan as a whole, in the place of the sheet."""
    round_, plan = request.round, request.part(0)
    if round_.step is not Step.BALLOT or plan not in ballots.options(round_):
        raise Refused(Because.UNKNOWN_ITEM)
    request.turn.revise_own(
        round_, request.by, SHEET, ballot_prompts.opened(round_, request.by, plan), round_.step.value
    )


async def _rules(request: RoundRequest) -> None:
    """How votes count, in the place of the sheet."""
    round_ = request.round
    request.turn.revise_own(round_, request.by, SHEET, ballot_prompts.rules(round_), round_.step.value)


async def _lines(request: RoundRequest) -> None:
    """The options as lines for emoji, where the voter asks for them."""
    turn, round_, by = request.turn, request.round, request.by
    ballots.open_ledger(round_, by, turn.now)
    first = ballots.options_for(round_, by)[0]
    if await turn.uow.knows_message(message_name(round_.id, LINE, by, round_.step.value, first)):
        request.answer(ballot_prompts.lines_are_there(round_))
    else:
        _put_lines(turn, round_, by)


READS: Mapping[str, Reads] = {
    SHEET: lambda round_, rest: ballot_prompts.sheet(round_, MemberId(rest[0])),
    LINE: lambda round_, rest: ballot_prompts.emoji_line(round_, MemberId(rest[0]), rest[2]),
}
WHOLE: Mapping[str, Reads] = {SHEET: lambda round_, rest: ballot_prompts.sheet(round_, MemberId(rest[0]), None)}
BUTTONS: Mapping[str, RoundAnswer] = {
    "vote.cast": _cast,
    "vote.back": _take_back,
    "ballot.page": _page,
    "ballot.read": _read,
    "ballot.rules": _rules,
    "ballot.lines": _lines,
}
FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    VoteCast: _voted,
    VoteTakenBack: _voted,
    LedgerReconciled: _reconciled,
    BallotLocked: _locked,
}
