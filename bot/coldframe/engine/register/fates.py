"""What was decided and is to be done: plans that became a project or an errand, trials that scale or are switched off.
Each person has one message about all of theirs in a team; what is due is asked about once a week until it is done."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, time, timedelta

from coldframe.domain import fates
from coldframe.domain.facts import Fact
from coldframe.domain.fates import TO_BE_DONE, Fate, FateKind
from coldframe.domain.names import MemberId, PlanId, Role
from coldframe.domain.people import aliases
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.round.commitment import Committed
from coldframe.domain.state import Round
from coldframe.domain.who_may import BY_WAY, Act
from coldframe.engine.core import allowance, endings, lives, members, sent_form
from coldframe.engine.core.endings import Ending
from coldframe.engine.core.requests import Answer, Answers, Request
from coldframe.engine.core.turn import Carry, Follow, InOneTurn, Turn
from coldframe.engine.register import teams
from coldframe.message.nodes import Form, Message
from coldframe.message.packed import ButtonValue, MessageName, Occurrence
from coldframe.ports.chat import Place, Reply
from coldframe.ports.follow_through import Team
from coldframe.ports.storage import Due, Posted, Send, UnitOfWork
from coldframe.speech.register import fate_words
from coldframe.speech.register.fate_words import Ask, Item, Names
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar
from coldframe.timing.reminders import next_nudge_time
from coldframe.timing.windows import add_working_hours
from coldframe.timing.zones import instant

ASKS, UNANSWERED = "fate asks", "fate unanswered"
TO_ANSWER = 8.0  # working hours before the facilitator hears of silence
A_WEEK = timedelta(weeks=1)


# --- what is asked of whom ------------------------------------------------------------------------------------------


async def of_person(turn: Turn, tenant: str, team: str, person: MemberId) -> list[Item]:
    """All that this person is asked about what the team decided."""
    settings = await turn.uow.team(tenant, team)
    if not any(fate.open for fate in settings.fates.values()):
        return []
    roles = await teams.acting(turn.uow, tenant, team)
    calendar = members.calendar_of(await turn.uow.member(tenant, person))
    return [item for fate in settings.fates.values() for item in _items(turn, fate, person, roles, calendar)]


def _items(
    turn: Turn, fate: Fate, person: MemberId, roles: Mapping[Role, MemberId], calendar: WorkingCalendar
) -> Iterable[Item]:
    if not fate.open:
        return
    if fate.asked == person:
        yield Item(Ask.OWN, fate)
    if fate.needs_yes and roles.get(Role.DECISION_MAKER) == person:
        yield Item(Ask.AGREE, fate)
    if fate.owner == person and not fate.needs_yes and calendar.local_day(fate.due) <= calendar.local_day(turn.now):
        yield Item(Ask.DONE, fate)
    if fate.owner is None and roles.get(Role.FACILITATOR) == person and _is_long_unanswered(fate, turn.now):
        yield Item(Ask.FIND, fate)


def _is_long_unanswered(fate: Fate, now: datetime) -> bool:
    return fate.asked is None or fate.asked_at is None or now - fate.asked_at >= timedelta(days=1)


async def names_of(uow: UnitOfWork, tenant: str, found: Iterable[Fate]) -> Names:
    """Of everybody who owns one of them or is asked to."""
    people = {person for fate in found for person in (fate.owner, fate.asked) if person is not None}
    records = await uow.members(tenant, sorted(people))
    return {MemberId(person): record.name for person, record in records.items()}


# --- one message to each person -------------------------------------------------------------------------------------


async def show(turn: Turn, tenant: str, team: str, person: MemberId, *, anew: bool = False) -> None:
    """Brings the person's message up to date; `anew` it comes again, where something is asked of them."""
    items = await of_person(turn, tenant, team, person)
    found = [p for p in await turn.uow.open_posts(tenant, None, [person]) if _is_about(p, person, team)]
    if not items:
        over = [Ending(p, lives.End.LINE, fate_words.nothing_left()) for p in found]
        await endings.end(turn, over)
        return
    words = fate_words.page(team, items, await names_of(turn.uow, tenant, [item.fate for item in items]))
    if found and not anew:
        turn.revise(found[-1].name, found[-1].place, words)
        return
    await endings.end(turn, [endings.taken_back(p) for p in found])
    name = MessageName(lives.PEOPLE, lives.TODO, (person, team, turn.kit.ids.new("")))
    turn.answer(tenant, person, words, name=name.pack())


def _is_about(posted: Posted, person: str, team: str) -> bool:
    name = lives.named(posted.name)
    return name.what == lives.TODO and name.rest[:2] == (person, team)


async def _everybody(turn: Turn, tenant: str, team: str, before: Sequence[Fate], after: Sequence[Fate]) -> None:
    """Whoever is asked something new gets their message again, and whoever has one reads it as it is."""
    roles = await teams.acting(turn.uow, tenant, team)
    named = (p for fate in (*before, *after) for p in (fate.asked, fate.owner) if p is not None)
    for person in dict.fromkeys((*named, *roles.values())):
        calendar = members.calendar_of(await turn.uow.member(tenant, person))
        was, now = (
            {(item.ask, item.fate.id) for fate in found for item in _items(turn, fate, person, roles, calendar)}
            for found in (before, after)
        )
        if was or now:
            await show(turn, tenant, team, person, anew=bool(now - was))


# --- deciding, changing ---------------------------------------------------------------------------------------------


async def change(turn: Turn, tenant: str, team: str, after: Sequence[Fate]) -> None:
    """Keeps them as they are now, sets what is to come, and lets everybody's message say so."""
    settings = await turn.uow.team(tenant, team)
    before = [settings.fates[fate.id] for fate in after if fate.id in settings.fates]
    await turn.uow.save_team(replace(settings, fates={**settings.fates, **{fate.id: fate for fate in after}}))
    for fate in after:
        await _schedule(turn, tenant, team, fate)
    await _everybody(turn, tenant, team, before, after)


async def _schedule(turn: Turn, tenant: str, team: str, fate: Fate) -> None:
    subject = Occurrence((tenant, team)).pack()
    for kind in (ASKS, UNANSWERED):
        await turn.drop_due(subject, kind=kind, occurrence=fate.id)
    if not fate.open:
        return
    if fate.owner is not None:
        calendar = members.calendar_of(await turn.uow.member(tenant, fate.owner))
        turn.later(ASKS, subject, fate.id, max(turn.now, _morning(calendar, fate.due)))
    elif fate.asked is not None:
        calendar = members.calendar_of(await turn.uow.member(tenant, fate.asked))
        turn.later(UNANSWERED, subject, fate.id, _answer_by(calendar, turn.now))
    else:
        turn.later(UNANSWERED, subject, fate.id, turn.now + A_WEEK)


def _morning(calendar: WorkingCalendar, due: datetime) -> datetime:
    try:
        return next_nudge_time(calendar, instant(calendar.local_day(due), time(0), calendar.tz))
    except NoWorkingTime:
        return due


def _answer_by(calendar: WorkingCalendar, now: datetime) -> datetime:
    try:
        return max(add_working_hours(calendar, now, TO_ANSWER), now + timedelta(days=1))
    except NoWorkingTime:
        return now + timedelta(days=1)


def id_of(round_: Round, plan: PlanId) -> str:
    """Of what became of a plan; of what a review decided it is its trial's."""
    return f"{round_.id}-{plan}"


async def committed(turn: Turn, before: Round, round_: Round, fact: Committed) -> None:
    """Projects and errands are asked about from now on."""
    found = [
        Fate(id_of(round_, plan), fate.kind, round_.plans[plan].title, round_.name, fate.due, fate.where,
             asked=fate.owner, asked_at=turn.now)
        for plan, fate in round_.fates.items()
        if fate.kind in TO_BE_DONE and fate.due is not None
    ]  # fmt: skip
    if found:
        await change(turn, round_.tenant, round_.channel, found)


# --- due ------------------------------------------------------------------------------------------------------------


async def _asks(turn: Turn, due: Due) -> None:
    """Once a week from its day on, until it is done."""
    tenant, team = Occurrence.unpack(due.subject).parts
    fate = (await turn.uow.team(tenant, team)).fates.get(due.occurrence)
    if fate is not None and fate.open and fate.owner is not None:
        await _remind(turn, due, fate.owner)


async def _unanswered(turn: Turn, due: Due) -> None:
    """The facilitator is asked for somebody, once a week, until somebody owns it."""
    tenant, team = Occurrence.unpack(due.subject).parts
    fate = (await turn.uow.team(tenant, team)).fates.get(due.occurrence)
    facilitator = await teams.facilitator_of(turn.uow, tenant, team)
    if fate is not None and fate.open and fate.owner is None and facilitator is not None:
        await _remind(turn, due, facilitator)


async def _remind(turn: Turn, due: Due, person: MemberId) -> None:
    """Now if it may be said, else when it may; and again in a week."""
    tenant, team = Occurrence.unpack(due.subject).parts
    at = await allowance.when(turn, tenant, person)
    if at is not None and at <= turn.now:
        await show(turn, tenant, team, person, anew=True)
        await turn.uow.note_nudge(tenant, person, turn.now)
        at = None
    turn.later(due.kind, due.subject, due.occurrence, at or turn.now + A_WEEK)


DUE: Mapping[str, Carry] = {ASKS: InOneTurn(_asks), UNANSWERED: InOneTurn(_unanswered)}


# --- people come and go ---------------------------------------------------------------------------------------------


async def left(turn: Turn, tenant: str, person: MemberId, team: str) -> None:
    """What they owned waits for somebody else: the facilitator is asked."""
    open_ = [fate for fate in (await turn.uow.team(tenant, team)).fates.values() if fate.open]
    theirs = [fates.left(fate, person) for fate in open_ if person in (fate.owner, fate.asked)]
    if theirs:
        await change(turn, tenant, team, theirs)


async def forgotten(turn: Turn, tenant: str, person: MemberId) -> None:
    for settings in await turn.uow.teams_with(tenant, person):
        await left(turn, tenant, person, settings.team)
        now = await turn.uow.team(tenant, settings.team)
        alias = aliases.new_alias(now)
        other = {name: aliases.renamed(fate, person, alias) for name, fate in now.fates.items()}
        await turn.uow.save_team(replace(now, fates=other))


async def owned(uow: UnitOfWork, tenant: str, person: MemberId) -> list[tuple[str, Fate]]:
    """All that this person sees done, with the team."""
    return [
        (settings.team, fate)
        for settings in await uow.teams_with(tenant, person)
        for fate in settings.fates.values()
        if fate.open and fate.owner == person
    ]


# --- by people ------------------------------------------------------------------------------------------------------


async def _meant(request: Request) -> tuple[Team, Fate]:
    """The team and what of it a button or form is about. Raises Refused."""
    value = ButtonValue.unpack(request.value)
    settings = await request.turn.uow.team(request.tenant, value.subject)
    return settings, known(settings.fates.get(request.part(0)))


def _its_owners(way: str, fate: Fate, by: MemberId) -> bool:
    return by == (fate.asked if BY_WAY[way] is Act.ANSWER_TODO else fate.owner)


def _opens(way: str, make: Callable[[Request, Fate, Names], Form]) -> Answer:
    async def opened(request: Request) -> Reply:
        settings, fate = await _meant(request)
        await teams.may(request, settings.team, BY_WAY[way], own=_its_owners(way, fate, request.by))
        return Reply(form=make(request, fate, await _people(request, settings.team)))

    return opened


async def _people(request: Request, team: str) -> Names:
    round_ = await teams.newest_round(request.turn.uow, request.tenant, team)
    return {m: round_.name_of(m) for m in round_.active()} if round_ is not None else {}


def _changes(way: str, ruling: Callable[[Request, Fate, Names], Fate], answer: Callable[[Fate], Message]) -> Answer:
    async def changed(request: Request) -> Reply:
        settings, fate = await _meant(request)
        await teams.may(request, settings.team, BY_WAY[way], own=_its_owners(way, fate, request.by))
        people = await _people(request, settings.team)
        after = ruling(request, fate, people)
        await change(request.turn, request.tenant, settings.team, [after])
        _tell_the_channel(request, settings.team, fate, after, people)
        return request.passing(answer(after))

    return changed


def _tell_the_channel(request: Request, team: str, before: Fate, after: Fate, names: Names) -> None:
    """What scaled, and what the decision-maker does not want scaled."""
    if after.kind is not FateKind.SCALE or not before.open or after.open:
        return
    refused = after.ended is not None and before.needs_yes
    if after.done is None and not refused:
        return
    words = fate_words.refused(after, request.by, names) if refused else fate_words.scaled(after, names)
    name = MessageName(lives.PEOPLE, lives.DECIDED, ("", team, request.turn.kit.ids.new(""))).pack()
    request.turn.sends.append(Send("post", name, Place(request.tenant, "channel", team), words, open=False))


def _decline(request: Request, fate: Fate, people: Names) -> Fate:
    """Whoever is proposed instead is asked at once."""
    after, instead = fates.answered(fate, request.by, accept=False), request.text("member")
    wants = instead in people and instead not in (request.by, after.owner)
    return fates.offered(after, MemberId(instead), request.turn.now) if wants else after


def _hand_over(request: Request, fate: Fate, people: Names) -> Fate:
    to = MemberId(request.text("member"))
    if to not in people:
        raise Refused(Because.NOT_A_MEMBER)
    return fates.offered(fate, to, request.turn.now)


def _give_up(request: Request, fate: Fate, people: Names) -> Fate:
    return fates.ended(fate, request.text("reason"), request.turn.now)


async def _moved(request: Request) -> Reply:
    settings, fate = await _meant(request)
    await teams.may(request, settings.team, Act.SEE_DONE, own=fate.owner == request.by)
    calendar = members.calendar_of(await request.turn.uow.member(request.tenant, request.by))
    day = sent_form.read_day("date", request.text("date"), request.turn.now, calendar)
    after = fates.moved(fate, day.at, request.turn.now)
    await change(request.turn, request.tenant, settings.team, [after])
    return request.passing(fate_words.later(after))


BUTTONS: Answers = {
    "todo.accept": _changes("todo.accept", lambda r, f, _: fates.answered(f, r.by, accept=True), fate_words.yours),
    "todo.done": _changes("todo.done", lambda r, f, _: fates.done(f, r.turn.now), fate_words.thanks),
    "todo.agree": _changes("todo.agree", lambda r, f, _: fates.agreed(f), fate_words.agreed),
    "todo.decline": _opens("todo.decline", lambda r, f, people: fate_words.decline(r.value, f, people, r.by)),
    "todo.hand_over": _opens("todo.hand_over", lambda r, f, people: fate_words.hand_over(r.value, f, people)),
    "todo.move": _opens("todo.move", lambda r, f, _: fate_words.move(r.value, f)),
    "todo.drop": _opens("todo.drop", lambda r, f, _: fate_words.drop(r.value, f)),
    "todo.refuse": _opens("todo.refuse", lambda r, f, _: fate_words.refuse(r.value, f)),
}
FORMS: Answers = {
    "todo.decline": _changes("todo.decline", _decline, fate_words.not_yours),
    "todo.hand_over": _changes("todo.hand_over", _hand_over, fate_words.asked),
    "todo.move": _moved,
    "todo.drop": _changes("todo.drop", _give_up, fate_words.given_up),
    "todo.refuse": _changes("todo.refuse", _give_up, fate_words.given_up),
}
FOLLOW: Mapping[type[Fact], Follow[Round]] = {Committed: committed}
