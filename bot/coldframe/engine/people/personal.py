"""What belongs to a person rather than to a round: working time, absence, reminders."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import datetime, timedelta

from coldframe.domain.names import MemberId, Step
from coldframe.domain.people.commands import SetAway
from coldframe.engine.core import first_word, members, sent_form
from coldframe.engine.core.requests import Answers, Request
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.engine.people import rereckoning, returning
from coldframe.engine.register import teams
from coldframe.engine.trial import ownership
from coldframe.message.packed import ButtonValue, Occurrence
from coldframe.ports.chat import Place, Pressed, Reply
from coldframe.ports.storage import FEED_EDITION, Due, Member
from coldframe.speech import answers
from coldframe.speech.people import time_words
from coldframe.speech.round import forms, prompts
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar
from coldframe.timing.dates import Reading
from coldframe.timing.reminders import next_nudge_time
from coldframe.timing.zones import zone_from_platform

BACK = "back"
A_DAYS_WORK = timedelta(hours=16)  # for which “not today” is said
HOURS = ("zone", "days", "hours", "country", "quiet")
"""The fields of somebody's working time, in the order in which they are read."""


async def record(request: Request) -> Member:
    """What is kept of the person who asks; made now, if this is the first that is heard of them."""
    turn, place = request.turn, request.event.place
    found = await turn.uow.member(request.tenant, request.by)
    return found or await members.upsert_member(turn.uow, request.tenant, turn.told.person(place, request.by))


# --- working time ---


async def _confirm_hours(request: Request) -> Reply | None:
    """The first word itself shows it, without the question."""
    me = await record(request)
    await request.turn.uow.save_member(members.with_calendar(me, members.calendar_of(me)))
    pressed = request.event.what.message if isinstance(request.event.what, Pressed) else None
    posted = await request.turn.uow.posted_as(request.event.place, pressed) if pressed is not None else None
    if posted is None or request.value != prompts.FIRST:
        return request.passing(time_words.hours_confirmed())
    words = first_word.words(me, request.turn.kit.chat.capabilities, confirmed=True)
    request.turn.revise(posted.name, posted.place, words)
    return None


async def _kept(request: Request) -> Reply | None:
    return await request.page(prompts.what_is_kept(clears=request.turn.kit.chat.capabilities.clears))


async def hours_form(request: Request) -> Reply:
    calendar = members.calendar_of(await record(request))
    country = "-".join(p for p in (calendar.country, calendar.subdivision) if p)
    words = (members.days_words(calendar), members.spans_words(calendar), country, members.quiet_words(calendar))
    return Reply(form=forms.hours(calendar.zone, *words))


async def _hours(request: Request) -> Reply | None:
    """Each wrong field is told with the right form; nothing changes until all are right."""
    me = await record(request)
    old = members.calendar_of(me)
    try:
        read = members.read_hours(*(request.text(name) for name in HOURS))
    except members.UnreadableHours as error:
        return Reply(errors={error.field: str(error)})
    except ValueError as error:
        return Reply(errors={_field_of(error): str(error)})
    await _work(request.turn, me, replace(read, away=old.away), old)
    return None


async def _work(turn: Turn, me: Member, calendar: WorkingCalendar, old: WorkingCalendar) -> None:
    """Keeps what the person said of their working time, and says what moves by it."""
    await turn.uow.save_member(members.with_calendar(me, calendar))
    moved = await rereckoning.of_person(turn, me.tenant, me.id, old)
    turn.concerns_no_round()
    lines = [time_words.own_deadline_moved(m.round, m.was, m.now) for m in moved]
    turn.answer(me.tenant, me.id, time_words.hours_noted(members.hours_words(calendar), lines))


def _field_of(error: ValueError) -> str:
    named = getattr(error, "field", "zone")
    return {"subdivision": "country"}.get(named, named if named in HOURS else "zone")


async def _use_zone(request: Request) -> None:
    me = await record(request)
    old = members.calendar_of(me)
    try:
        calendar = replace(old, zone=request.value)
    except ValueError as error:
        request.answer(time_words.zone_refused(str(error)))
    else:
        await _work(request.turn, me, calendar, old)


async def _keep_zone(request: Request) -> Reply:
    return request.passing(time_words.hours_kept())


async def zone_reported(turn: Turn, before: Member, zone: str) -> None:
    """The platform says that somebody is in another zone now. Who said when they work is asked; for others it counts
    at once. A zone that the zone database lacks changes nothing but is told."""
    choice = zone_from_platform(zone)
    if choice.doubted is not None:
        turn.answer(before.tenant, before.id, time_words.zone_doubted(zone, choice.nearest, before.zone_confirmed))
    elif before.zone_confirmed:
        turn.answer(before.tenant, before.id, answers.zone_changed(zone))
    await rereckoning.followed(turn, before.tenant, before.id, members.calendar_of(before))


# --- absence, reminders ---


async def away_form(request: Request) -> Reply:
    return Reply(form=forms.away())


async def _away(request: Request) -> None:
    calendar = members.calendar_of(await record(request))
    back = sent_form.read_day("until", request.text("until"), request.turn.now, calendar)
    await go_away(request.turn, request.tenant, request.by, back)


async def go_away(turn: Turn, tenant: str, person: str, back: Reading) -> None:
    """Not expected and not reminded until then, in every round; reasons are neither asked nor kept."""
    me = await turn.uow.member(tenant, person)
    if me is None:
        return
    old = members.calendar_of(me)
    calendar = _without_running_absence(old, turn.now)
    first, last = calendar.local_day(turn.now), calendar.local_day(back.at - timedelta(days=1))
    if last >= first:
        calendar = members.with_away(calendar, first, last)
    me = await returning.noted(turn, members.with_calendar(me, calendar, confirmed=me.zone_confirmed))
    await turn.uow.save_member(replace(me, away_until=back.at))
    await _everywhere(turn, tenant, person, away=True)
    await rereckoning.of_person(turn, tenant, person, old)
    turn.later(BACK, Occurrence((tenant, person)).pack(), "away", back.at)
    turn.answer(tenant, person, time_words.away_until(back))
    await ownership.away(turn, tenant, person, back.at)
    turn.concerns_no_round()


def _without_running_absence(calendar: WorkingCalendar, now: datetime) -> WorkingCalendar:
    """The calendar with the absence that runs cut off at today: another date of return replaces it."""
    today = calendar.local_day(now)
    cut = [(first, min(last, today - timedelta(days=1)) if first <= today else last) for first, last in calendar.away]
    return replace(calendar, away=tuple((first, last) for first, last in cut if first <= last))


async def come_back(turn: Turn, tenant: str, person: str) -> None:
    """On the day that was set, or earlier: what is left of an absence is working time again. First they hear what was
    meanwhile, then what the running steps ask."""
    me = await turn.uow.member(tenant, person)
    if me is None or not await _is_away(turn, me):
        return
    old, first = members.calendar_of(me), len(turn.sends)
    calendar = _without_running_absence(old, turn.now)
    if calendar != old:
        me = members.with_calendar(me, calendar, confirmed=me.zone_confirmed)
    await turn.uow.save_member(replace(me, away_until=None))
    await _everywhere(turn, tenant, person, away=False)
    await rereckoning.of_person(turn, tenant, person, old)
    await turn.uow.save_member(replace(await returning.tell(turn, me), away_until=None))
    turn.sends.insert(first, turn.sends.pop())
    turn.back.add(Place(tenant, "direct", person))


async def _is_away(turn: Turn, me: Member) -> bool:
    """By their own word, or counted as away by a facilitator."""
    rounds = [await turn.uow.round(head.id) for head in await turn.uow.heads(me.tenant, member=me.id)]
    seats = (round_.seats.get(MemberId(me.id)) for round_ in rounds if round_ is not None)
    return me.away_until is not None or any(seat is not None and seat.away for seat in seats)


async def _back(turn: Turn, due: Due) -> None:
    """Not before they work again: until then nothing reaches them."""
    tenant, person = Occurrence.unpack(due.subject).parts
    me = await turn.uow.member(tenant, person)
    with suppress(NoWorkingTime):
        at = next_nudge_time(members.calendar_of(me), turn.now)
        if at > turn.now:
            turn.later(due.kind, due.subject, due.occurrence, at)
            return
    await come_back(turn, tenant, person)


async def _everywhere(turn: Turn, tenant: str, person: str, *, away: bool) -> None:
    for head in await turn.uow.heads(tenant, member=person):
        if head.step in (Step.COMMITTED, Step.CANCELLED):
            continue
        round_ = await turn.round(head.id)
        member = MemberId(person)
        if member in round_.seats and not round_.seats[member].left:
            await turn.act(round_, SetAway(member, member, away))


async def _later(request: Request) -> Reply:
    """Not today: the day's allowance of reminders counts as used."""
    written = _moment(ButtonValue.unpack(request.value).made_for)
    if written is not None and request.turn.now - written > A_DAYS_WORK:
        return request.passing(time_words.not_that_day())
    for offset in (0, 1):
        await request.turn.uow.note_nudge(request.tenant, request.by, request.turn.now + timedelta(milliseconds=offset))
    return request.passing(time_words.no_more_today())


def _moment(text: str) -> datetime | None:
    """The moment that a button carries; none of one that carries nothing, or nothing of ours."""
    with suppress(ValueError):
        found = datetime.fromisoformat(text)
        return found if found.tzinfo is not None else None
    return None


# --- the calendar to subscribe to ---


async def calendar_address(request: Request) -> Reply | None:
    """The address at which a calendar program finds this person's dates, to them alone."""
    feed = request.turn.kit.feed
    if feed is None:
        return request.shown(time_words.no_feed())
    me = await record(request)
    edition = me.facts.get(FEED_EDITION) or await _new_edition(request.turn, me)
    request.answer(time_words.own_feed(feed(me.tenant, me.id, str(edition))))
    return request.noted(time_words.feed_sent())


async def _new_edition(turn: Turn, me: Member) -> str:
    edition = turn.kit.ids.new("")
    await turn.uow.save_member(replace(me, facts={**me.facts, FEED_EDITION: edition}))
    return edition


async def end_calendar(turn: Turn, tenant: str, person: str) -> None:
    """Whoever takes part nowhere any more has no address; should they come back, they get another one."""
    me = await turn.uow.member(tenant, person)
    if me is None or FEED_EDITION not in me.facts:
        return
    rounds = [await turn.round(round_id) for round_id in await turn.uow.rounds_with(tenant, person)]
    if not any(MemberId(person) in round_.active() for round_ in rounds):
        facts = {name: value for name, value in me.facts.items() if name != FEED_EDITION}
        await turn.uow.save_member(replace(me, facts=facts))


async def _renew_calendar(request: Request) -> None:
    """Another address; the one before is nothing any more."""
    feed = request.turn.kit.feed
    if feed is None:
        request.answer(time_words.no_feed())
        return
    me = await record(request)
    address = feed(me.tenant, me.id, await _new_edition(request.turn, me))
    request.answer(time_words.own_feed(address, renewed=True))


BUTTONS: Answers = teams.of_oneself(
    {
        "hours.confirm": _confirm_hours,
        "me.kept": _kept,
        "hours.write": hours_form,
        "zone.use": _use_zone,
        "zone.keep": _keep_zone,
        "calendar.renew": _renew_calendar,
        "me.away": away_form,
        "me.later": _later,
    }
)
FORMS: Answers = teams.of_oneself({"hours.write": _hours, "me.away": _away})
DUE: Mapping[str, Carry] = {BACK: InOneTurn(_back)}
