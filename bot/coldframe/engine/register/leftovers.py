"""What earlier rounds left for the next one, and plans that wait for a free place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coldframe.domain.names import ENDS, MemberId, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.fates import kept
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Trial, TrialStep
from coldframe.engine.core import endings, lives
from coldframe.engine.core.requests import Answers, RoundRequest, of_round
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.engine.register import fates, teams
from coldframe.message.nodes import Line
from coldframe.message.packed import MessageName
from coldframe.ports.follow_through import Wanted
from coldframe.ports.storage import Due, Posted, UnitOfWork
from coldframe.speech.register import fate_words, register_words
from coldframe.speech.register.register_words import Leftovers
from coldframe.speech.register.story_words import Story
from coldframe.speech.trial import review_words

ROUNDS_BACK = 3  # rounds
MAX_LEARNINGS = 10  # entries
MOST_TOLD = 3  # precedents of one question that are named again


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


async def story(uow: UnitOfWork, tenant: str, team: str) -> Story | None:
    """Of the newest ended round that came to a commitment, with what became of its trials; None before there is one."""
    for round_id in await uow.ended_rounds(tenant, team):
        round_ = await uow.round(round_id)
        if round_ is not None and round_.step is Step.COMMITTED:
            trials = [t for t in await uow.trials_of(tenant, team, over=True) if t.round_id == round_.id]
            return await _story(uow, round_, trials)
    return None


async def _story(uow: UnitOfWork, round_: Round, trials: list[Trial]) -> Story:
    """With what became of the plans that were not tried, and of what was decided at the reviews."""
    followed, tried = (await uow.team(round_.tenant, round_.channel)).fates, {trial.plan for trial in trials}
    names = await fates.names_of(uow, round_.tenant, followed.values()) if followed else {}
    others = [
        fate_words.standing(followed[key], names)
        if (key := fates.id_of(round_, plan)) in followed
        else fate_words.of_plan(round_.plans[plan].title, fate)
        for plan, fate in round_.fates.items()
        if plan in round_.plans and plan not in tried
    ]
    after: dict[str, Line] = {
        trial.id: fate_words.state(followed[trial.id], names) for trial in trials if trial.id in followed
    }
    people = tuple(round_.seats)
    return Story(round_.name, round_.settings.question, trials, unsolved(round_), others, people, after)


def unsolved(round_: Round) -> tuple[str, ...]:
    """Forces that no chosen plan answers, most votes first."""
    questions = {q.id: q.force for q in round_.questions}
    solved = {questions.get(round_.plans[p].question) for p in round_.choices}
    order = [s.option for s in round_.forces_standing] or [f.id for f in round_.forces]
    known = {f.id for f in round_.forces}
    return tuple(round_.force_text(f) for f in order if f in known and f not in solved)  # type: ignore[arg-type]


async def told(uow: UnitOfWork, tenant: str, team: str) -> list[tuple[str, str, tuple[str, ...]]]:
    """Questions of the newest ended rounds and what was told for them: (round's name, question, titles)."""
    found: list[tuple[str, str, tuple[str, ...]]] = []
    for round_id in (await uow.ended_rounds(tenant, team))[:ROUNDS_BACK]:
        round_ = await uow.round(round_id)
        found += [] if round_ is None else _told_in(round_)
    return found


def _told_in(round_: Round) -> list[tuple[str, str, tuple[str, ...]]]:
    titles = {q: tuple(p.title for p in round_.precedents if p.question == q.id)[:MOST_TOLD] for q in round_.questions}
    return [(round_.name, question.text, told) for question, told in titles.items() if told]


async def unused(uow: UnitOfWork, tenant: str, team: str) -> list[tuple[str, str, str]]:
    """Revealed plans that were never tried and wait for it: (round, plan, title), the newest round's best first."""
    tried = {t.plan for t in await uow.trials_of(tenant, team, over=True) if t.step is not TrialStep.DROPPED}
    found: list[tuple[str, str, str]] = []
    for round_id in (await uow.ended_rounds(tenant, team))[:ROUNDS_BACK]:
        round_ = await uow.round(round_id)
        if round_ is not None:
            rest = [p for p in kept(round_) if p not in tried and p not in round_.choices]
            found += [(round_.id, p, round_.plans[p].title) for p in rest]
    return found


# --- a free place ---------------------------------------------------------------------------------------------------


async def place_is_free(turn: Turn, trial: Trial) -> None:
    """The facilitator hears that a place is free and which plans wait for it; earlier words of it go."""
    facilitator = await teams.facilitator_of(turn.uow, trial.tenant, trial.team) or trial.facilitator
    found = await turn.uow.open_posts(trial.tenant, None, [facilitator])
    await endings.end(turn, [endings.taken_back(p) for p in found if _is_of_a_place(p, trial.team)])
    await _tell(turn, trial.tenant, trial.team, facilitator)


async def _tell(turn: Turn, tenant: str, team: str, facilitator: MemberId) -> None:
    name = MessageName(lives.PEOPLE, lives.PLACE, (facilitator, team, turn.kit.ids.new("")))
    words = review_words.place_free(await unused(turn.uow, tenant, team))
    turn.answer(tenant, facilitator, words, name=name.pack())


def _is_of_a_place(posted: Posted, team: str) -> bool:
    name = lives.named(posted.name)
    return name.what == lives.PLACE and name.rest[1] == team


# --- what the team has done since -----------------------------------------------------------------------------------


async def follow(turn: Turn, tenant: str, team: str, found: Sequence[Posted]) -> None:
    """A round or a trial of the team has gone on: among what was found to be open, words that a place is free name the
    plans that wait now, and go when none is free; the date of the next round is over when that has begun."""
    await _follow_places(turn, tenant, team, [p for p in found if _is_of_a_place(p, team)])
    await _follow_next_round(turn, tenant, team, [p for p in found if lives.named(p.name).what == lives.NEXT])


async def _follow_places(turn: Turn, tenant: str, team: str, said: Sequence[Posted]) -> None:
    if not said:
        return
    facilitator = await teams.facilitator_of(turn.uow, tenant, team)
    free = facilitator is not None and await teams.places_free(turn.uow, tenant, team) > 0
    still = [p for p in said if free and p.place.id == facilitator]
    words = review_words.place_free(await unused(turn.uow, tenant, team))
    for posted in still:
        turn.revise(posted.name, posted.place, words)
    await endings.end(turn, [endings.taken_back(p) for p in said if p not in still])
    if free and not still and facilitator is not None:
        await _tell(turn, tenant, team, facilitator)  # the role is with somebody else now


async def _follow_next_round(turn: Turn, tenant: str, team: str, said: Sequence[Posted]) -> None:
    if said and await _has_begun(turn, tenant, team):
        ended = await turn.uow.ended_rounds(tenant, team)
        await endings.end(turn, [endings.taken_back(p) for p in said if lives.named(p.name).owner in ended])


async def _has_begun(turn: Turn, tenant: str, team: str) -> bool:
    """Whether a round of the team is under way; one in setup may come to nothing."""
    return any(head.step is not Step.SETUP for head in await turn.uow.heads(tenant, channel=team))


# --- the next round -------------------------------------------------------------------------------------------------


async def date_has_come(turn: Turn, due: Due) -> None:
    """The date that was set: its facilitator gets what is left over and the button that opens the setup."""
    round_ = await turn.round(due.subject)
    if await _has_begun(turn, round_.tenant, round_.channel):
        return
    left = await of_team(turn.uow, round_.tenant, round_.channel)
    assert left is not None
    message = register_words.leftovers(left, round_.channel, on_its_date=True)
    turn.tell(round_, round_.roles.acting(Role.FACILITATOR), lives.NEXT, message, rest=(due.occurrence,))


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
