"""Dots: everybody votes on the forces."""

from __future__ import annotations

from coldframe.domain.names import ForceId, Step
from coldframe.domain.round.ballots import DotsCounted
from coldframe.domain.state import Round
from coldframe.engine.core.turn import Kit, Turn, due_turn
from coldframe.engine.round import retention
from coldframe.engine.round.steps import voting
from coldframe.engine.round.steps.play import Repeated, StepPlay, read
from coldframe.engine.worker import explaining
from coldframe.ports.storage import Due
from coldframe.speech.names import message_name
from coldframe.speech.round import ballot_prompts, cards, results


async def _counted(turn: Turn, before: Round, round_: Round, fact: DotsCounted) -> None:
    retention.after_count(turn, round_, "dots")
    turn.later("explain dots", round_.id, str(fact.unused), turn.now)


async def _explain(kit: Kit, due: Due) -> None:
    round_ = await read(kit, due.subject)
    if round_ is None:
        return
    votes, options = explaining.dots_of(round_)
    args = (votes, options, round_.seed, None, 1, round_.settings.carry_on)
    sure = await kit.numbers.compute(explaining.sureness, *args)
    async with due_turn(kit, due) as turn:
        turn.say(round_, "result", results.dots_result(round_, sure, int(due.occurrence)), rest=("dots",))


def _repeats(turn: Turn, round_: Round, force: ForceId) -> list[Repeated]:
    running = round_.step is Step.DOTS
    return [
        (
            message_name(round_.id, "option", member, Step.DOTS.value, force),
            turn.direct(round_, member),
            ballot_prompts.option(round_, member, force) if running else cards.option_over(round_),
        )
        for member in round_.active()
    ]


ASKING = voting.asking(Step.DOTS)
PLAY = StepPlay(
    open=ASKING.open, asking=ASKING, desk=None, own_card=voting.own_card, repeats=_repeats, card_follows=False,
    buttons={}, forms={}, follow={DotsCounted: _counted}, due={"explain dots": _explain},
)  # fmt: skip
