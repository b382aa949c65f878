"""No private word about a trial at a wrong time: people with calendars, zones and histories drawn at random."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from coldframe.clock import ManualClock, SeededIds
from coldframe.domain.names import MemberId, RoundId
from coldframe.domain.state import Roles
from coldframe.domain.trial.commands import LogWeek
from coldframe.domain.trial.state import Entry, Figures, TrialAction, TrialId
from coldframe.engine.core import members, trial_turn
from coldframe.engine.core.turn import Turn
from coldframe.engine.trial import weekly
from coldframe.engine.trial.starting import begin
from coldframe.ports.storage import Member
from coldframe.store import tables
from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.reminders import within_daily_limit
from coldframe.wiring import House, for_tests
from tests.domain.play import a_round
from tests.engine.seeing_through import NoDraughtsman
from tests.speech.trials import a_trial

SEED = 11
WEEKS = 3
START = datetime(2026, 3, 23, 9, tzinfo=UTC)  # the clocks change in Europe in the first week; Easter is in the second
END = START + timedelta(weeks=WEEKS, days=4)
ZONES = (
    "Europe/Berlin", "America/New_York", "Asia/Kolkata", "Australia/Lord_Howe", "Asia/Kathmandu", "Africa/Casablanca",
    "Pacific/Apia", "America/Sao_Paulo", "Asia/Tokyo", "Pacific/Chatham", "Europe/London", "America/St_Johns",
)  # fmt: skip
COUNTRIES = (None, "DE", "US", "IN", "GB", "JP", "BR", "NP", "MA", "NZ")
HOURS = (
    ((time(9), time(17)),), ((time(8), time(12)), (time(14), time(18))), ((time(22), time(0)),),
    ((time(0), time(6)),), ((time(6), time(9)),), ((time(13), time(21)),),
)  # fmt: skip
QUIET = (None, (time(20), time(8)), (time(12), time(13)), (time(21), time(9)))


def a_calendar(chance: random.Random) -> WorkingCalendar:
    first = date(2026, 3, 23) + timedelta(days=chance.randrange(25))
    away = ((first, first + timedelta(days=chance.randrange(1, 15))),) if chance.random() < 0.4 else ()
    days = frozenset(chance.sample(range(7), chance.randrange(1, 7)))
    hours, quiet = chance.choice(HOURS), chance.choice(QUIET)
    return WorkingCalendar(chance.choice(ZONES), days, hours, chance.choice(COUNTRIES), away=away, quiet=quiet)


async def _set_up(house: House, chance: random.Random, calendars: dict[str, WorkingCalendar]) -> None:
    names = list(calendars)

    async def work(turn: Turn) -> None:
        for number, name in enumerate(names):
            record = Member("room", name, name.title(), told_privacy=True)
            await turn.uow.save_member(members.with_calendar(record, calendars[name]))
            other = MemberId(names[number - 1])
            seats = replace(a_round(3), tenant="room", id=RoundId(f"r{number}"), channel=f"c{number}")
            roles = Roles(other, MemberId(name), other, other)
            both = {m: replace(next(iter(seats.seats.values())), member=m) for m in (MemberId(name), other)}
            await turn.uow.add_round(replace(seats, seats=both, roles=roles), turn.now)
            due = START + timedelta(days=chance.randrange(7), hours=chance.randrange(24))
            trial = a_trial(
                id=TrialId(f"r{number}-p1"),
                tenant="room",
                team=f"c{number}",
                round_id=RoundId(f"r{number}"),
                owner=MemberId(name),
                facilitator=other,
                people={MemberId(name): name, other: other},
                planned=WEEKS,
                starts=calendars[name].local_day(START),
                review=END + timedelta(days=3),
                actions=(TrialAction("a1", "begin", MemberId(name), due),),
            )
            await turn.uow.add_trial(trial, turn.now)
            await begin(turn, trial)

    await house.engine.act("set up", work)


async def _log(house: House, number: int, week: int) -> None:
    """A week comes in, so that its nudges lose their meaning."""

    async def work(turn: Turn) -> None:
        trial = await turn.trial(f"r{number}-p1")
        assert trial.owner is not None
        entry = Entry(week, Figures(58, 1000), Figures(40, 1000))
        if week in trial.unlogged(await trial_turn.today(turn, trial)):
            await turn.act_on_trial(trial, LogWeek(trial.owner, entry, await trial_turn.today(turn, trial)))
        await turn.drop_due(trial.id, kind=weekly.READING)  # verdicts are tested elsewhere

    await house.engine.act(f"log {number} {week}", work)


@pytest.mark.parametrize("people", [20, pytest.param(200, marks=pytest.mark.slow)])
async def test_no_word_outside_working_hours_on_days_off_in_quiet_hours_or_a_third_time_a_day(
    tmp_path: Path, people: int
) -> None:
    """Weeks of many owners: every private word comes at a moment when its person may be spoken to."""
    chance = random.Random(SEED)
    calendars = {f"person{n}": a_calendar(chance) for n in range(people)}
    clock = ManualClock(START)
    async with for_tests(clock, tmp_path, SeededIds(SEED), draughtsman=NoDraughtsman()) as house:
        await _set_up(house, chance, calendars)
        histories = {p: _history(chance) for p in calendars}
        weeks = [(n, w) for n in range(people) for w in range(1, WEEKS + 1) if chance.random() < 0.4]
        events = [(START + timedelta(weeks=w, hours=chance.randrange(150)), ("log", str(n), w)) for n, w in weeks]
        events += [(at, ("round", person, 0)) for person, moments in histories.items() for at in moments]
        await _play(house, clock, sorted(events))
        async with house.store.begin() as uow:
            sent = {p: await uow.nudges_since("room", p, START - timedelta(days=9)) for p in calendars}
    ours = 0
    for person, calendar in calendars.items():
        for moment in sorted(set(sent[person]) - set(histories[person])):
            ours += 1
            assert calendar.is_working(moment), (person, moment)
            assert not calendar.is_quiet(moment) or _quiet_covers_working_hours(calendar), (person, moment)
            before = [at for at in sent[person] if at < moment]
            assert within_daily_limit(before, moment, calendar), (person, moment)
    assert ours > 4 * people


def _history(chance: random.Random) -> list[datetime]:
    """Reminders of rounds on some days, up to two at a time."""
    days = [
        START + timedelta(days=chance.randrange(25), hours=chance.randrange(24)) for _ in range(chance.randrange(8))
    ]
    return sorted(at + timedelta(minutes=31 * n) for at in days for n in range(chance.randrange(1, 3)))


def _quiet_covers_working_hours(calendar: WorkingCalendar) -> bool:
    from coldframe.timing.calendars import quiet_covers_all

    return quiet_covers_all(calendar)


async def _next_due(house: House) -> datetime | None:
    """Past the outbox, which nobody empties here."""
    async with house.store.database.transaction() as db:
        found = await db.execute(select(tables.due.c.at).order_by(tables.due.c.at).limit(1))
        moment: datetime | None = found.scalar()
    return moment


async def _play(house: House, clock: ManualClock, events: list[tuple[datetime, tuple[str, str, int]]]) -> None:
    """Due rows, entries and other reminders in the order of time; nothing is delivered, only the moments matter."""
    while True:
        due = await _next_due(house)
        upcoming = [at for at in (due, events[0][0] if events else None) if at is not None]
        if not upcoming or min(upcoming) > END:
            return
        clock.set(min(upcoming))
        if events and events[0][0] <= clock.now():
            _, (kind, subject, week) = events.pop(0)
            if kind == "log":
                await _log(house, int(subject), week)
            else:
                async with house.store.begin() as uow:
                    await uow.note_nudge("room", subject, clock.now())
        await house.engine.do_due()
