"""What somebody is where they ask, by the platform and by the record of the round or trial; and whether the table of
`domain.who_may` lets them.

Who is in a channel is the platform's to say, as it is now or was a minute ago. While it does not say it, whoever has a
seat is taken to be there, as the roster has it, and nobody else.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from coldframe.domain import checks, who_may
from coldframe.domain.names import MemberId, Role
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Round
from coldframe.domain.trial import checks as trial_checks
from coldframe.domain.trial.state import Trial
from coldframe.domain.who_may import TABLE, TAKE_PART, Act, Who
from coldframe.engine.core.lookups import Told, not_in_channel
from coldframe.engine.core.turn import Turn
from coldframe.errors import ColdframeError
from coldframe.ports.chat import Inbound, Person, Place


class Unheard(ColdframeError):
    """Another bot: it gets no answer, lest two of them talk to each other for ever."""


@dataclass(frozen=True, slots=True)
class Matter:
    """Whose channel something belongs to, and what is said to somebody to whom it is closed."""

    tenant: str
    channel: str
    named: str
    lets_in: str
    """Who says which guests take part, by name."""


def of_round(round_: Round) -> Matter:
    return Matter(round_.tenant, round_.channel, round_.name, round_.acting_name(Role.FACILITATOR))


def of_trial(trial: Trial) -> Matter:
    return Matter(trial.tenant, trial.team, trial.round_name, trial.name_of(trial.facilitator))


# --- what somebody is -----------------------------------------------------------------------------------------------


def at_the_door(turn: Turn, event: Inbound) -> None:
    """Raises Refused or Unheard for whoever gets nothing of anything, wherever they ask."""
    found = turn.told.seen(event.place.tenant, event.person)
    kind = None if found is None else is_closed_to(found)
    if kind is Who.BOT:
        raise Unheard
    if kind is Who.FOREIGN:
        raise Refused(Because.FROM_ELSEWHERE)


def is_closed_to(person: Person) -> Who | None:
    if person.is_bot:
        return Who.BOT
    if person.is_foreign:
        return Who.FOREIGN
    return Who.LEFT if person.is_gone else None


def presence(told: Told, place: Place, person: str, *, seated: bool, let_in: bool = False) -> Who:
    """What somebody is in the channel. `let_in`: a guest whom the facilitator let take part. Raises Refused where
    neither the platform nor the roster can tell."""
    there = told.there(place, person)
    if not there:
        if seated:
            return Who.SEATED
        raise not_in_channel(told.chat) if there is not None and told.chat else Refused(Because.WHO_IS_HERE)
    found = next((each for each in there if each.id == person), None)
    if found is None:
        return Who.LEFT
    if found.is_guest and not is_closed_to(found):
        return Who.ADMITTED if seated or let_in else Who.GUEST
    return is_closed_to(found) or (Who.SEATED if seated else Who.MEMBER)


def in_round(turn: Turn, event: Inbound, round_: Round) -> frozenset[Who]:
    """What somebody is in the round, by the platform and the roster. Raises Refused for another workspace."""
    me = MemberId(event.person)
    return _found(turn, event, of_round(round_), checks.in_round(round_, me))


def in_trial(turn: Turn, event: Inbound, trial: Trial) -> frozenset[Who]:
    return _found(turn, event, of_trial(trial), trial_checks.in_trial(trial, MemberId(event.person)))


def _found(turn: Turn, event: Inbound, matter: Matter, by_record: frozenset[Who]) -> frozenset[Who]:
    if event.place.tenant != matter.tenant:
        raise Refused(Because.NOT_A_MEMBER)
    place = Place(matter.tenant, "channel", matter.channel)
    kind = presence(turn.told, place, event.person, seated=Who.SEATED in by_record)
    return frozenset({kind}) | (by_record if kind in TAKE_PART else frozenset())


async def rounds_of(turn: Turn, event: Inbound) -> list[Round]:
    """The rounds under way in which this person takes part, by roster and platform."""
    heads = await turn.uow.heads(event.place.tenant, member=event.person)
    found = [await turn.round(head.id) for head in heads]
    seated = [round_ for round_ in found if MemberId(event.person) in round_.active()]
    return [round_ for round_ in seated if TAKE_PART & in_round(turn, event, round_)]


# --- whether they may -----------------------------------------------------------------------------------------------


def is_open(found: Collection[Who], act: Act, matter: Matter, *, was_here: bool, given: bool = False) -> None:
    """Raises Refused for whoever has no part in the channel's matters, with what they can do about it. `given`: the
    ruling knows whether the row's condition holds for somebody who has left."""
    if TAKE_PART & set(found) or who_may.may(act, found, given=given):
        return
    if Who.BOT in found:
        raise Unheard
    if Who.FOREIGN in found:
        raise Refused(Because.FROM_ELSEWHERE)
    if Who.GUEST in found:
        raise Refused(Because.NOT_LET_IN, who=matter.lets_in)
    if Who.LEFT in found:
        raise Refused(Because.NOT_HERE, what=matter.named if was_here else "")
    raise Refused(Because.NOT_A_MEMBER)


def part_needed(found: Collection[Who], act: Act, *, who: str) -> None:
    """Raises Refused for whoever takes part and has not the part that it needs, as far as that can be told here: what
    is somebody's own, and whether a condition holds, the ruling knows. `who`: whose it is, by name."""
    if not who_may.might(act, found):
        raise Refused(TABLE[act].refusal, who=who)


def to_round(turn: Turn, event: Inbound, round_: Round, act: Act) -> None:
    """Raises Refused for whoever the table does not let do it, or read it."""
    found = in_round(turn, event, round_)
    is_open(found, act, of_round(round_), was_here=MemberId(event.person) in round_.seats)
    part_of_round(found, act, round_)


def part_of_round(found: Collection[Who], act: Act, round_: Round) -> None:
    decides = TABLE[act].refusal is Because.NOT_DECISION_MAKER
    part_needed(found, act, who=round_.acting_name(Role.DECISION_MAKER if decides else Role.FACILITATOR))


def to_trial(turn: Turn, event: Inbound, trial: Trial, act: Act) -> None:
    found = in_trial(turn, event, trial)
    is_open(found, act, of_trial(trial), was_here=MemberId(event.person) in trial.people)
    part_of_trial(found, act, trial)


def part_of_trial(found: Collection[Who], act: Act, trial: Trial) -> None:
    facilitates = TABLE[act].refusal is Because.NOT_FACILITATOR
    part_needed(found, act, who=trial.name_of(trial.facilitator if facilitates else trial.owner))
