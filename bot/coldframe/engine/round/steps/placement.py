"""Placement: plans are compared in pairs, which gives their places in the matrix."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from coldframe.domain.commands import BOT
from coldframe.domain.names import Axis, MemberId, PassReason, PlanId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import placement
from coldframe.domain.round.disclosure import may_be_measured
from coldframe.domain.round.fates import KnowCorners
from coldframe.domain.round.placement import Compare, Compared, ComparisonTakenBack, PlansPlaced, StepBack
from coldframe.domain.state import Round
from coldframe.engine.core.requests import RoundAnswer, RoundRequest, acts
from coldframe.engine.core.turn import Kit, Turn
from coldframe.engine.round import retention
from coldframe.engine.round.steps import result
from coldframe.engine.round.steps.play import Asking, Reads, StepPlay
from coldframe.engine.worker import explaining
from coldframe.message.nodes import Drawing, Message
from coldframe.message.packed import Occurrence
from coldframe.message.pictures import PlacementMatrix
from coldframe.speech.round import ballot_prompts, drawn, results, size_words


async def ask_to_compare(turn: Turn, round_: Round, member: MemberId) -> None:
    """The next pair, in one message that is brought up to date until all are answered."""
    if placement.next_pair(round_, member) is not None:
        turn.tell(round_, member, "compare", _comparison(round_, member))


def _comparison(round_: Round, member: MemberId) -> Message:
    """The next pair, or that there is none."""
    pair = placement.next_pair(round_, member)
    if pair is None:
        return ballot_prompts.comparisons_done(round_, member)
    return ballot_prompts.comparison(round_, member, *pair, placement.left_to_compare(round_, member))


def _compare(outcome: Literal["first", "second", "same"]) -> RoundAnswer:
    async def answered(request: RoundRequest) -> None:
        if request.part(0) not in list(Axis):
            raise Refused(Because.UNKNOWN_ITEM)
        axis, first, second = Axis(request.part(0)), PlanId(request.part(1)), PlanId(request.part(2))
        await request.act(Compare(request.by, axis, first, second, outcome))

    return answered


async def _compared(turn: Turn, before: Round, after: Round, fact: Compared) -> None:
    _moves_on(turn, before, after, fact.comparison.judge)


async def _taken_back(turn: Turn, before: Round, after: Round, fact: ComparisonTakenBack) -> None:
    _moves_on(turn, before, after, fact.judge)


def _moves_on(turn: Turn, before: Round, after: Round, judge: MemberId) -> None:
    """The sheet shows the next pair; the ballot, from which comparisons can be skipped, whether any are left."""
    turn.revise_own(after, judge, "compare", _comparison(after, judge))
    if placement.still_compares(before, judge) != placement.still_compares(after, judge):
        turn.revise_own(after, judge, "ballot", ballot_prompts.sheet(after, judge), after.step.value)


async def _placed(turn: Turn, before: Round, round_: Round, fact: PlansPlaced) -> None:
    if round_.passed.get(Step.PLACEMENT) is PassReason.ONE_PLAN:
        return
    retention.after_count(turn, round_, "comparisons")
    numbers = Occurrence((str(fact.judges), str(fact.comparisons)))
    turn.later(result.MATRIX, round_.id, numbers.pack(), turn.now)


async def _reckoned(kit: Kit, round_: Round, numbers: tuple[int, ...]) -> Message:
    judges, comparisons = numbers
    if not comparisons:
        return _plain(round_, numbers)
    order_only = not may_be_measured(round_, judges)
    chart = await kit.numbers.compute(explaining.placement, *explaining.placed_of(round_), judges == 1, order_only)
    return results.placement_result(round_, drawn.with_chief(round_, chart), judges, comparisons)


def _corners(round_: Round, words: Message) -> KnowCorners | None:
    """Where the matrix puts each plan, as it is told."""
    charts = [a.chart for a in words.attachments if isinstance(a, Drawing) and isinstance(a.chart, PlacementMatrix)]
    if not charts or len(charts[0].points) != len(round_.to_place):
        return None
    corners = {
        plan: drawn.placed(point, alone=charts[0].note == size_words.ONE_VIEW)
        for plan, point in zip(round_.to_place, charts[0].points, strict=True)
    }
    return KnowCorners(BOT, corners)


def _plain(round_: Round, numbers: tuple[int, ...]) -> Message:
    return results.not_placed(round_, *numbers)


READS: Mapping[str, Reads] = {"compare": lambda round_, rest: _comparison(round_, MemberId(rest[0]))}
BUTTONS: Mapping[str, RoundAnswer] = {
    "compare.first": _compare("first"),
    "compare.second": _compare("second"),
    "compare.same": _compare("same"),
    "compare.back": acts(lambda r: StepBack(r.by)),
}
"""Pressed after one's own ballot as well, where plans are few."""
ASKING = Asking("compare", (), ask_to_compare)
PLAY = StepPlay(
    open=ASKING.open, asking=ASKING, desk=None, own_card=None, reads=READS, card_follows=False,
    buttons={}, forms={}, follow={Compared: _compared, ComparisonTakenBack: _taken_back, PlansPlaced: _placed},
    due={result.MATRIX: result.Result(result.MATRIX, "matrix", _reckoned, _plain, _corners)},
)  # fmt: skip
