"""What earlier rounds left for the next one, and plans that wait for a free place."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.names import ENDS, PlanId, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Trial, TrialStep
from coldframe.engine.core.requests import Answers, RoundRequest, of_round
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.engine.register import teams
from coldframe.ports.follow_through import Wanted
from coldframe.ports.storage import Due, UnitOfWork
from coldframe.speech.register import register_words
from coldframe.speech.register.register_words import Leftovers
from coldframe.speech.trial import review_words

ROUNDS_BACK = 3  # rounds
MAX_LEARNINGS = 10  # entries


async def of_team(uow: UnitOfWork, tenant: str, team: str) -> Leftovers | None:
    """What the newest ended round left, with learnings of the register; None before there was one."""
    round_ = await teams.last_ended(uow, tenant, team)
    if round_ is None:
        return None
    entries = await uow.search(tenant, [team], Wanted(limit=MAX_LEARNINGS))
    plans = [title for _, _, title in await unused(uow, tenant, team)]
    return Leftovers(
        round_.id,
        round_.name,
        round_.settings.question,
        forces=unsolved(round_),
        plans=tuple(plans),
        learnings=tuple(e.learning for e in entries if e.learning),
        held=tuple(n.text for n in round_.late_notes.values() if n.author is None and not n.hidden),
    )


def unsolved(round_: Round) -> tuple[str, ...]:
    """Forces that no chosen plan answers, most votes first."""
    questions = {q.id: q.force for q in round_.questions}
    solved = {questions.get(round_.plans[p].question) for p in round_.choices}
    order = [s.option for s in round_.forces_standing] or [f.id for f in round_.forces]
    known = {f.id for f in round_.forces}
    return tuple(round_.force_text(f) for f in order if f in known and f not in solved)  # type: ignore[arg-type]


async def unused(uow: UnitOfWork, tenant: str, team: str) -> list[tuple[str, str, str]]:
    """Revealed plans that were never tried: (round, plan, title), the newest round's best first."""
    tried = {t.plan for t in await uow.trials_of(tenant, team, over=True) if t.step is not TrialStep.DROPPED}
    found: list[tuple[str, str, str]] = []
    for round_id in (await uow.ended_rounds(tenant, team))[:ROUNDS_BACK]:
        round_ = await uow.round(round_id)
        if round_ is not None:
            order = [PlanId(s.option) for s in round_.plans_standing] or list(round_.plan_order)
            rest = [p for p in order if p not in tried and p not in round_.choices and p in round_.plan_order]
            found += [(round_.id, p, round_.plans[p].title) for p in rest]
    return found


# --- a free place ---------------------------------------------------------------------------------------------------


async def place_is_free(turn: Turn, trial: Trial) -> None:
    """The facilitator hears that a place is free and which plans wait for it."""
    facilitator = await teams.facilitator_of(turn.uow, trial.tenant, trial.team) or trial.facilitator
    waiting = await unused(turn.uow, trial.tenant, trial.team)
    turn.answer(trial.tenant, facilitator, review_words.place_free(waiting))


# --- the next round -------------------------------------------------------------------------------------------------


async def date_has_come(turn: Turn, due: Due) -> None:
    """The date that was set: its facilitator gets what is left over and the button that opens the setup."""
    round_ = await turn.round(due.subject)
    if any(h.step is not Step.SETUP for h in await turn.uow.heads(round_.tenant, channel=round_.channel)):
        return
    left = await of_team(turn.uow, round_.tenant, round_.channel)
    assert left is not None
    message = register_words.leftovers(left, round_.channel, on_its_date=True)
    turn.tell(round_, round_.roles.acting(Role.FACILITATOR), "next", message, rest=(due.occurrence,))


async def show(request: RoundRequest) -> None:
    """The facilitator decides that the channel may read it, and when."""
    round_, turn = request.round, request.turn
    facilitator = await teams.facilitator_of(turn.uow, round_.tenant, round_.channel)
    if request.by != facilitator:
        raise Refused(Because.NOT_FACILITATOR, who=round_.name_of(facilitator) if facilitator else "")
    left = await of_team(turn.uow, round_.tenant, round_.channel)
    if left is not None and not left.empty:
        turn.say(round_, "leftovers", register_words.leftovers_shown(left), rest=(turn.kit.ids.new(""),))


BUTTONS: Answers = of_round({"leftovers.show": show}, ENDS)
DUE: Mapping[str, Carry] = {"next round": InOneTurn(date_has_come)}
