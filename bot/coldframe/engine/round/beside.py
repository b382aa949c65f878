"""What is read beside the sheet of a step: the notes that were revealed, questions and precedents, plans."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from coldframe.domain.names import LeverId, MemberId, PlanId, Step
from coldframe.domain.round import ballots
from coldframe.domain.round.questions import same_source
from coldframe.domain.state import Round
from coldframe.ports.bench import Laid
from coldframe.speech.round import results


def beside(round_: Round, me: MemberId) -> tuple[Laid, ...]:
    found = _BESIDE.get(round_.step)
    return found(round_, me) if found is not None else ()


def _wall(round_: Round, me: MemberId) -> tuple[Laid, ...]:
    """All levers until one is picked, then that one."""
    levers = [LeverId(key) for key, _ in round_.settings.levers if round_.focus in (None, key)]
    return tuple(Laid("lever", words=results.reveal(round_, lever), about=lever) for lever in levers)


def _questions(round_: Round, me: MemberId) -> tuple[Laid, ...]:
    """Each with what was told about it."""
    found: list[Laid] = []
    for question in round_.questions:
        found.append(Laid("question", words=results.question_card(round_, question.id), about=question.id))
        told = [p for p in round_.precedents if p.question == question.id]
        cards = (results.precedent_card(round_, p, same_source(round_, p)) for p in told)
        found += [Laid("precedent", words=card, about=question.id) for card in cards]
    return tuple(found)


def _plans(round_: Round, me: MemberId) -> tuple[Laid, ...]:
    """In the voter's own order while they vote, so that no order is everybody's."""
    own = ballots.options_for(round_, me) if round_.step is Step.BALLOT else ()
    order = [PlanId(plan) for plan in own or round_.plan_order]
    return tuple(Laid("plan", words=results.plan_page(round_, round_.plans[plan]), about=plan) for plan in order)


_BESIDE: Mapping[Step, Callable[[Round, MemberId], tuple[Laid, ...]]] = {
    Step.FOCUS: _wall,
    Step.MERGE: _wall,
    Step.DOTS: _wall,
    Step.PRECEDENTS: _questions,
    Step.PLANS: _questions,
    Step.BALLOT: _plans,
    Step.PLACEMENT: _plans,
    Step.COMMITMENT: _plans,
}
