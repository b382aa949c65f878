"""Everybody's own page: what is open for them, their rounds with what they gave, their trials, their dates, what else
goes on in their channels, and how to begin a round. By the command as well."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date

from coldframe.domain.names import MemberId, Step
from coldframe.domain.refusals import Refused
from coldframe.domain.state import Round
from coldframe.domain.trial.state import OPEN_STEPS, Trial
from coldframe.domain.who_may import Act
from coldframe.engine.core import access, homes, lookups, trial_turn
from coldframe.engine.core.lookups import Told
from coldframe.engine.core.requests import Request, Uses
from coldframe.engine.core.turn import Aside, Carry, Kit, due_turn
from coldframe.engine.register import teams
from coldframe.engine.reminding import owed as reminders
from coldframe.engine.round import what_now
from coldframe.message.nodes import Appointment, Message
from coldframe.message.packed import MessageName, Occurrence
from coldframe.ports.chat import HomeOpened, Inbound, Place
from coldframe.ports.storage import Due, Send
from coldframe.speech import home_words
from coldframe.speech.home_words import Page
from coldframe.speech.round import commitment_words
from coldframe.speech.trial import trial_dates

NOTHING = Uses({}, {}, {})


async def made(request: Request) -> Message:
    """As it reads now. Raises Unasked."""
    return home_words.page(await gathered(request))


async def gathered(request: Request) -> Page:
    """All that stands on it. Raises Unasked."""
    turn, me = request.turn, request.by
    rounds = [each for each in await access.rounds_of(turn, request.event) if _is_known(each, me)]
    channels = await teams.of_person(request)
    here = {round_.channel for round_ in rounds} | {*channels}
    open_ = await _open_trials(request, channels)
    trials = await _waiting(request, open_)
    ended = await _ended(request, channels)
    return Page(
        me=me,
        owed=tuple(await reminders.owed(turn, request.tenant, me, here)),
        rounds=tuple(rounds),
        seen=await what_now.seen(turn, rounds, me),
        trials=tuple(trials),
        dates=_dates(request, rounds, open_, ended.values()),
        has_calendar=turn.kit.feed is not None,
        others=tuple(await _others(request, channels, rounds)),
        begin=tuple(await _begin(request, ended)),
    )


def _is_known(round_: Round, me: MemberId) -> bool:
    """While a round is set up nobody but its facilitator has heard of it."""
    return round_.step is not Step.SETUP or round_.roles.facilitator == me


async def trials_of(request: Request, channels: Sequence[str]) -> list[tuple[Trial, date]]:
    """Open trials that wait for this person: theirs to own, offered to them, or with an action of theirs."""
    return await _waiting(request, await _open_trials(request, channels))


async def _open_trials(request: Request, channels: Sequence[str]) -> list[Trial]:
    found = [trial for team in channels for trial in await request.turn.uow.trials_of(request.tenant, team)]
    return [trial for trial in found if trial.step in OPEN_STEPS]


async def _waiting(request: Request, trials: Sequence[Trial]) -> list[tuple[Trial, date]]:
    mine = [trial for trial in trials if request.by in _acts_in(trial)]
    return [(trial, await trial_turn.today(request.turn, trial)) for trial in mine]


def _acts_in(trial: Trial) -> Collection[MemberId | None]:
    return trial.owner, trial.asked, *(action.who for action in trial.open_actions())


async def _ended(request: Request, channels: Sequence[str]) -> dict[str, Round]:
    """By channel the last round that ended there."""
    found = {team: await teams.last_ended(request.turn.uow, request.tenant, team) for team in channels}
    return {team: last for team, last in found.items() if last is not None}


def _dates(
    request: Request, rounds: Sequence[Round], trials: Sequence[Trial], ended: Collection[Round]
) -> tuple[Appointment, ...]:
    """Deadlines of their rounds, reviews that they hold, their own first-week actions, and the next round of each
    channel."""
    deadlines = (date for round_ in rounds for date in commitment_words.deadlines(round_))
    found = [date for date in deadlines if not date.cancelled and date.alarm_minutes is not None]  # not yet over
    theirs = [t for t in trials if request.by in (*t.holders(), *_acts_in(t))]
    found += [date for trial in theirs for date in trial_dates.own_dates(trial, request.by)]
    found += [date for last in ended if request.by in last.active() for date in commitment_words.next_round(last)]
    return tuple(sorted((each for each in found if each.starts >= request.turn.now), key=lambda each: each.starts))


async def _others(request: Request, channels: Sequence[str], rounds: Sequence[Round]) -> list[Round]:
    """Rounds of their channels in which they take no part."""
    mine, uow = {round_.id for round_ in rounds}, request.turn.uow
    heads = [head for team in channels for head in await uow.heads(request.tenant, channel=team)]
    return [await request.turn.round(head.id) for head in heads if head.id not in mine and head.step is not Step.SETUP]


async def _begin(request: Request, ended: Mapping[str, Round]) -> list[tuple[str, str]]:
    """(channel, name of its last round) where none is open."""
    uow = request.turn.uow
    return [(team, last.name) for team, last in ended.items() if not await uow.heads(request.tenant, channel=team)]


# --- shown, and shown anew -------------------------------------------------------------------------------------------


async def show(request: Request) -> None:
    turn, place = request.turn, Place(request.tenant, "direct", request.by)
    name = MessageName("home", request.tenant, (request.by,)).pack()
    turn.sends.append(Send("home", name, place, await made(request)))


async def opened(request: Request) -> None:
    await show(request)
    if await teams.of_person(request):  # to nobody else anything could happen that it would show
        homes.opened(request.turn, request.tenant, request.by)


async def _again(kit: Kit, due: Due) -> None:
    await lookups.asked(kit.chat, lambda told: _show_again(kit, due, told))


async def _show_again(kit: Kit, due: Due, told: Told) -> None:
    """Whoever has left meanwhile keeps the page that they had."""
    tenant, person = Occurrence.unpack(due.subject).parts
    async with due_turn(kit, due, told) as turn:
        event = Inbound(due.subject, person, Place(tenant, "direct", person), turn.now, HomeOpened())
        request = Request(uses=NOTHING, turn=turn, event=event)
        try:
            access.at_the_door(turn, event)
            await teams.about_oneself(request, Act.MINE)
            await show(request)
        except (Refused, access.Unheard):
            return


DUE: Mapping[str, Carry] = {**homes.DUE, homes.AGAIN: Aside(_again)}
