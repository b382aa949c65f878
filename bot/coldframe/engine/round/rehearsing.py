"""A rehearsal: somebody tries a round alone, with all its steps, and nobody else hears of it.

It is a round like any other, in one sitting; the others in it are played (`others`), one after the other, once a step
is open. It is held where nobody but the one who tries it reads: in a channel that has nobody else and never had a
round, else in their own messages. All of it is deleted a day later, or once somebody else comes in.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

import structlog

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, Step
from coldframe.domain.people.facts import RoleHandedOver
from coldframe.domain.people.played import alone, is_rehearsal, who_is_alone, whose_rehearsal
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.choosing import ChoiceAnnounced, OwnerAsked, OwnershipAccepted
from coldframe.domain.round.commitment import Committed, SetLive
from coldframe.domain.round.moves import RoundCancelled, RoundResumed, WindowSet
from coldframe.domain.round.roles import RoleOffered
from coldframe.domain.state import Roles, Round, Settings
from coldframe.engine.core import members, review_dates
from coldframe.engine.core.requests import Answers, Request, RoundRequest, of_round
from coldframe.engine.core.turn import Carry, Follow, InOneTurn, Turn
from coldframe.engine.register import erasing, teams
from coldframe.engine.round import others, setup
from coldframe.ports.chat import Person, Place, Reply
from coldframe.ports.storage import Due
from coldframe.speech.round import rehearsal_words

log = structlog.get_logger()

PLAY, OVER = "rehearsal part", "rehearsal over"
ONE_BY_ONE = timedelta(seconds=3)
"""Between the parts of the others, so that one sees them come in."""
KEPT_FOR = timedelta(days=1)
"""From its beginning if it comes to no end, and after its end."""
BUILT_IN = timedelta(days=5)
"""When the others say that their trial will be live."""


# --- begun ------------------------------------------------------------------------------------------------------------


async def word(request: Request) -> Reply | None:
    """Where it is held, the proposal of a round stands, which starts like any other."""
    turn, me = request.turn, request.by
    running = await _running(turn, request.tenant, me)
    if running is not None:
        return request.shown(rehearsal_words.runs_already(running))
    place = await _where(request)
    person = turn.told.person(place, me)
    round_ = await _set_up(turn, place, person)
    await setup.propose(turn, round_)
    turn.changed = True
    turn.later(OVER, round_.id, "", turn.now + KEPT_FOR)
    if request.event.place.kind != "channel":
        return None
    return Reply(note=rehearsal_words.in_your_messages() if who_is_alone(place.id) else rehearsal_words.held_here())


async def _running(turn: Turn, tenant: str, me: MemberId) -> Round | None:
    found = [await turn.round(head.id) for head in await turn.uow.heads(tenant, member=me)]
    return next((round_ for round_ in found if is_rehearsal(round_)), None)


async def _where(request: Request) -> Place:
    """The channel, if nobody else is there now and nothing was there before; else their own messages."""
    place, turn = request.event.place.root(), request.turn
    if place.kind == "channel" and not turn.told.hindrances(place, ()):
        others_there = [p for p in turn.told.members(place) if not p.is_bot and p.id != request.by]
        used = await turn.uow.rounds_of_team(place.tenant, place.id) or await turn.uow.trials_of(place.tenant, place.id)
        if not others_there and not used:
            return place
    return Place(request.tenant, "channel", alone(request.by))


async def _set_up(turn: Turn, place: Place, person: Person) -> Round:
    me, (deputy, *_) = MemberId(person.id), others.WHO
    played = [Person(member, other.name, person.zone) for member, other in others.WHO.items()]
    roles = Roles(me, me, deputy, deputy)
    settings = Settings(rehearsal_words.QUESTION, pace="live")
    return await setup.made(turn, place, rehearsal_words.NAME, settings, roles, [person, *played])


# --- played -----------------------------------------------------------------------------------------------------------


async def _goes_on(turn: Turn, before: Round, after: Round, fact: Fact) -> None:
    """Something may be theirs to do now."""
    if is_rehearsal(after):
        opens = after.progress.opens or turn.now
        turn.later(PLAY, after.id, "", max(turn.now, opens) + ONE_BY_ONE)


async def _play(turn: Turn, due: Due) -> None:
    """The part of one of them; the next one follows, as long as there is any."""
    round_ = await turn.uow.round(due.subject)
    if round_ is not None and (await _one_part(turn, round_) or await _set_day(turn, round_)):
        turn.later(PLAY, round_.id, "", turn.now + ONE_BY_ONE)


async def _one_part(turn: Turn, round_: Round) -> bool:
    """Whether there was any. What is refused is left out, with all of its part: the others go on."""
    for part in others.parts(round_, turn.now):
        try:
            await turn.act_all(round_, part)
        except Refused as refused:
            log.warning("rehearsal.part_refused", step=round_.step.value, why=refused.code.value)
        else:
            return True
    return False


async def _set_day(turn: Turn, round_: Round) -> bool:
    """The one of the others who owns a plan says when it should be live; the review follows from it."""
    found = others.plan_without_day(round_)
    if found is None:
        return False
    owner, plan = found
    calendar = members.calendar_of(await turn.uow.member(round_.tenant, owner))
    today = calendar.local_day(turn.now)
    people, counted = review_dates.of_choice(round_, owner), review_dates.if_live(round_, plan, today + BUILT_IN)
    review = await review_dates.moment(turn, round_.tenant, people, counted, calendar.tz)
    await turn.act(round_, SetLive(owner, plan, today + BUILT_IN, today, review))
    return True


# --- over -------------------------------------------------------------------------------------------------------------


async def _sealed(turn: Turn, before: Round, after: Round, fact: Fact) -> None:
    if is_rehearsal(after):
        turn.answer(after.tenant, whose_rehearsal(after), rehearsal_words.is_over(after), about=after, ask=True)
        turn.later(OVER, after.id, "", turn.now + KEPT_FOR)


async def _cancelled(turn: Turn, before: Round, after: Round, fact: Fact) -> None:
    if is_rehearsal(after):
        turn.later(OVER, after.id, "", turn.now)


async def _over(turn: Turn, due: Due) -> None:
    round_ = await turn.uow.round(due.subject)
    if round_ is not None:
        await _delete(turn, round_)


async def _delete(turn: Turn, round_: Round, *, told: bool = True) -> None:
    """`told`: it is said where it was held."""
    tenant, channel = round_.tenant, round_.channel
    sends = await erasing.everything(turn.uow, turn.kit.ids, tenant, channel, rehearsal_words.deleted())
    turn.sends += sends if told else sends[:-1]
    turn.dues.append(erasing.swept(tenant, channel, turn.now))


async def _end(request: RoundRequest) -> None:
    """Raises Refused for a real round, of which a made-up value speaks."""
    if not is_rehearsal(request.round):
        raise Refused(Because.UNKNOWN_ITEM)
    await _delete(request.turn, request.round)


async def interrupted(turn: Turn, place: Place, person: Person) -> bool:
    """Somebody came into a channel in which another rehearses: it ends, and they read nothing of it."""
    first = next(iter(await turn.uow.rounds_of_team(place.tenant, place.id)), None)  # none was there before one
    round_ = await turn.round(first) if first is not None else None
    if round_ is None or not is_rehearsal(round_) or whose_rehearsal(round_) == person.id:
        return False
    await _delete(turn, round_, told=False)
    words = rehearsal_words.somebody_came(person.name)
    turn.answer(place.tenant, whose_rehearsal(round_), words, ask=True)
    return True


BUTTONS: Answers = {
    **teams.of_oneself({"rehearse.begin": word}),
    **of_round({"rehearse.end": _end}, (Step.COMMITTED,)),
}
WORDS: Answers = {"rehearse": word}
FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    **dict.fromkeys(
        (WindowSet, RoundResumed, RoleHandedOver, RoleOffered, ChoiceAnnounced, OwnerAsked, OwnershipAccepted), _goes_on
    ),
    Committed: _sealed,
    RoundCancelled: _cancelled,
}
DUE: Mapping[str, Carry] = {PLAY: InOneTurn(_play), OVER: InOneTurn(_over)}
