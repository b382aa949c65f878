"""What belongs to a person rather than to a round: working time, absence, reminders."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import datetime, timedelta

from bot.domain.commands import SetAway
from bot.domain.names import MemberId, Step
from bot.engine import dates, ownership, people, windows
from bot.engine.turn import Turn
from bot.ports.chat import Inbound, Reply, Submitted
from bot.ports.storage import Member
from bot.speech import answers, forms
from bot.speech.message import Button, Buttons, Message, Paragraph, When, line
from bot.timing.calendars import WorkingCalendar

Press = Callable[[Turn, Inbound, str], Awaitable[Reply]]
Form = Callable[[Turn, Inbound, Submitted], Awaitable[Reply]]


async def _me(turn: Turn, event: Inbound) -> Member:
    found = await turn.uow.member(event.place.tenant, event.person)
    if found is not None:
        return found
    return await people.known(
        turn.uow, event.place.tenant, await turn.kit.chat.person(event.place.tenant, event.person)
    )


# --- working time ---


async def _confirm_hours(turn: Turn, event: Inbound, value: str) -> Reply:
    me = await _me(turn, event)
    await turn.uow.save_member(people.with_calendar(me, people.calendar_of(me)))
    turn.answer(event.place.tenant, event.person, answers.said("Good. Deadlines and reminders keep to that."))
    return Reply()


async def _hours_form(turn: Turn, event: Inbound, value: str) -> Reply:
    calendar = people.calendar_of(await _me(turn, event))
    country = "-".join(p for p in (calendar.country, calendar.subdivision) if p)
    return Reply(form=forms.hours(calendar.zone, people.days_words(calendar), people.spans_words(calendar), country))


async def _hours(turn: Turn, event: Inbound, what: Submitted) -> Reply:
    """Each wrong field is told with the right form; nothing changes until all are right."""
    me = await _me(turn, event)
    old = people.calendar_of(me)
    try:
        read = people.read_hours(*(what.fields.get(f, "") for f in ("zone", "days", "hours", "country")))
    except people.UnreadableHours as error:
        return Reply(errors={error.field: str(error)})
    except ValueError as error:
        return Reply(errors={_field_of(error): str(error)})
    calendar = replace(read, away=old.away)
    await turn.uow.save_member(people.with_calendar(me, calendar))
    await windows.hours_changed(turn, event.place.tenant, event.person, old)
    words = line("Noted: you work {hours}.", hours=people.hours_words(calendar))
    turn.answer(event.place.tenant, event.person, Message(words, (Paragraph(words),)))
    return Reply()


def _field_of(error: ValueError) -> str:
    named = getattr(error, "field", "zone")
    return {"subdivision": "country"}.get(named, named if named in ("zone", "days", "hours", "country") else "zone")


async def _use_zone(turn: Turn, event: Inbound, value: str) -> Reply:
    me = await _me(turn, event)
    old = people.calendar_of(me)
    try:
        calendar = replace(old, zone=value)
    except ValueError as error:
        turn.answer(event.place.tenant, event.person, answers.saved(str(error)))
        return Reply()
    await turn.uow.save_member(people.with_calendar(me, calendar))
    await windows.hours_changed(turn, event.place.tenant, event.person, old)
    turn.answer(event.place.tenant, event.person, answers.said("Done. A running deadline moves later or not at all."))
    return Reply()


async def _keep_zone(turn: Turn, event: Inbound, value: str) -> Reply:
    turn.answer(event.place.tenant, event.person, answers.said("All right, your hours stay as they were."))
    return Reply()


# --- absence, reminders ---


async def _away_form(turn: Turn, event: Inbound, value: str) -> Reply:
    return Reply(form=forms.away())


async def _away(turn: Turn, event: Inbound, what: Submitted) -> Reply:
    calendar = people.calendar_of(await _me(turn, event))
    try:
        back = dates.read(what.fields.get("until", ""), turn.now, calendar)
    except dates.UnclearDate as unclear:
        return Reply(errors={"until": str(unclear)})
    await go_away(turn, event.place.tenant, event.person, back)
    return Reply()


async def go_away(turn: Turn, tenant: str, person: str, back: datetime) -> None:
    """Not expected and not reminded until then, in every round; reasons are neither asked nor kept."""
    me = await turn.uow.member(tenant, person)
    if me is None:
        return
    calendar = _without_running_absence(people.calendar_of(me), me, turn.now)
    zone = calendar.zone
    from bot.timing.zones import known_zone

    tz = known_zone(zone)
    first, last = turn.now.astimezone(tz).date(), (back - timedelta(days=1)).astimezone(tz).date()
    if last >= first:
        me = people.with_calendar(me, people.with_away(calendar, first, last), confirmed=me.zone_confirmed)
    await turn.uow.save_member(replace(me, away_until=back))
    await _everywhere(turn, tenant, person, away=True)
    await windows.hours_changed(turn, tenant, person, calendar)
    turn.later("back", f"{tenant}/{person}", "away", back)
    words = line(
        "You are away until {back}. You are not expected anywhere and not reminded. Not what you meant? Set it again.",
        back=When(back),
    )
    again = Button("Set it again …", "me.away", "")
    turn.answer(tenant, person, Message(words, (Paragraph(words), Buttons((again,)))))
    await ownership.away(turn, tenant, person, back)


def _without_running_absence(calendar: WorkingCalendar, me: Member, now: datetime) -> WorkingCalendar:
    """The calendar without the absence that runs: another date of return replaces it."""
    if me.away_until is None or me.away_until <= now:
        return calendar
    today = calendar.local_day(now)
    return replace(calendar, away=tuple(a for a in calendar.away if not a[0] <= today <= a[1]))


async def come_back(turn: Turn, tenant: str, person: str) -> None:
    me = await turn.uow.member(tenant, person)
    if me is None or me.away_until is None:
        return
    await turn.uow.save_member(replace(me, away_until=None))
    await _everywhere(turn, tenant, person, away=False)
    turn.answer(tenant, person, answers.said("Welcome back. `/coldframe mine` shows what is open for you."))


async def _everywhere(turn: Turn, tenant: str, person: str, *, away: bool) -> None:
    for head in await turn.uow.heads(tenant, member=person):
        if head.step in (Step.COMMITTED, Step.CANCELLED):
            continue
        round_ = await turn.round(head.id)
        member = MemberId(person)
        if member in round_.seats and not round_.seats[member].left:
            await turn.act(round_, SetAway(member, member, away))


async def _later(turn: Turn, event: Inbound, value: str) -> Reply:
    """Not today: the day's allowance of reminders counts as used."""
    for offset in (0, 1):
        await turn.uow.note_nudge(event.place.tenant, event.person, turn.now + timedelta(milliseconds=offset))
    turn.answer(event.place.tenant, event.person, answers.said("All right, no more reminders from me today."))
    return Reply()


PRESSES: dict[str, Press] = {
    "hours.confirm": _confirm_hours,
    "hours.write": _hours_form,
    "zone.use": _use_zone,
    "zone.keep": _keep_zone,
    "me.away": _away_form,
    "me.later": _later,
}
FORMS: dict[str, Form] = {"hours.write": _hours, "me.away": _away}
