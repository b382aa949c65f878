"""The time that the bot was off: what windows lost of it comes back before anything is caught up.

The highest time seen is kept in the store once a minute. A gap between it and now is an outage, whether the process
was gone or the machine slept.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from datetime import datetime, timedelta

import structlog

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId
from coldframe.domain.round.moves import MakeUp, SetWindow
from coldframe.domain.state import Round
from coldframe.engine.core import damage, members, windows
from coldframe.engine.core.again import again
from coldframe.engine.core.turn import Kit, Turn
from coldframe.engine.people import rereckoning
from coldframe.engine.register import digest
from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.pauses import MAX_PAUSE
from coldframe.timing.windows import Window, after_downtime, days_window
from coldframe.timing.zones import release_number, zone_data

log = structlog.get_logger()
OUTAGE = timedelta(minutes=5)
WRONG_TIME = timedelta(days=1)
ZONE_DATA = "zone data"
Moved = Callable[[Turn, Round, Window, Mapping[str, WorkingCalendar]], Awaitable[bool]]


async def look_back(kit: Kit) -> timedelta:
    """To be called at the start, before what fell due is carried out, and once a minute: notes the time, gives back
    what an outage took, and returns how long nobody was there."""
    now, last = kit.clock.now(), await kit.store.last_time()
    if last is not None and now - last > OUTAGE:
        log.info("alarm.outage", since=last.isoformat(), minutes=round((now - last) / timedelta(minutes=1)))
        await _make_up(kit, last, now)
    elif last is not None and last - now > OUTAGE:
        log.warning("alarm.clock_behind", minutes=round((last - now) / timedelta(minutes=1)))
    if last is not None and last > now:
        await kit.store.hurry(now, MAX_PAUSE)
    if last is not None and last - now > WRONG_TIME:
        await kit.store.note_number("highest time seen", now.timestamp())  # that was no time, but a wrong clock
        return timedelta()
    await kit.store.see_time(now)
    return now - last if last is not None else timedelta()


async def _make_up(kit: Kit, down: datetime, up: datetime) -> None:
    async def longer(turn: Turn, round_: Round, window: Window, calendars: Mapping[str, WorkingCalendar]) -> bool:
        if round_.progress.settles_at is not None:
            return False  # everybody is in: nobody lost anything
        made_up = after_downtime(window, calendars, down, up)
        if made_up is None:
            return False
        await turn.act(round_, MakeUp(BOT, made_up.due, windows.as_personal(made_up)))
        return True

    moved = await _each_window(kit, f"outage/{down.isoformat()}", longer)
    log.info("alarm.made_up", windows=moved)


async def new_zone_data(kit: Kit) -> None:
    """To be called at the start: with another release of the zone database than last time, running windows, words
    about trials and weekly digests are reckoned anew. A deadline may move later by that, never earlier."""
    version = zone_data()
    before = await kit.store.note_number(ZONE_DATA, release_number(version))
    if before is None or before == release_number(version):
        return
    occasion = f"zones/{before:.0f}/{version}"
    moved = await _each_window(kit, occasion, _anew)
    rows = await _each_team(kit, occasion)
    log.info("alarm.zone_data", version=version, windows_moved=moved, rows_moved=rows)


async def _each_team(kit: Kit, occasion: str) -> int:
    """Words about trials and the digest of every team, a transaction for each team; returns how many words moved."""
    async with kit.store.begin() as uow:
        teams, waiting = await uow.all_teams(), await rereckoning.waiting_rows(uow)
    moved = 0
    for tenant, team in teams:

        async def reckon(turn: Turn, tenant: str = tenant, team: str = team) -> int:
            trials = await turn.uow.trials_of(tenant, team, over=True)
            rows = [await rereckoning.rows_of_trial(turn, trial, waiting) for trial in trials]
            await digest.reckon_anew(turn, tenant, team)
            return sum(rows)

        moved += await _alone(kit, f"{occasion}/{tenant}/{team}", reckon)
    return moved


async def _alone(kit: Kit, occasion: str, work: Callable[[Turn], Awaitable[int]]) -> int:
    """Work that is done once, in a transaction of its own. When it fails nothing else waits for it: the bot must come
    up, whatever has become of one round."""

    async def once() -> int:
        kit.ids.occasion(occasion)
        async with kit.store.begin() as uow:
            turn = Turn(kit, uow, kit.clock.now())
            moved = await work(turn) if await uow.first_time(occasion, turn.now) else 0
            await turn.finish()
        return moved

    try:
        return await again(kit.clock, lambda: damage.apart(once))
    except Exception as problem:
        log.error("alarm.left_out", occasion=occasion, problem=type(problem).__name__)
        async with kit.store.begin() as uow:
            await uow.count("left out after an absence")
        return 0


async def _anew(turn: Turn, round_: Round, window: Window, calendars: Mapping[str, WorkingCalendar]) -> bool:
    if window.live:
        return False
    fresh = days_window(calendars, window.opens, window.hours, private=False)
    own, now = dict(window.personal), dict(fresh.personal)
    personal = {m: max(own[m], now.get(m, own[m])) for m in own}
    due = max(window.due, fresh.due)
    if (due, personal) == (window.due, own):
        return False
    await turn.act(round_, SetWindow(BOT, window.opens, due, {MemberId(m): at for m, at in personal.items()}))
    return True


async def _each_window(kit: Kit, occasion: str, move: Moved) -> int:
    """Every running window once, each in a transaction of its own; returns how many moved."""
    async with kit.store.begin() as uow:
        rounds = [due.subject for due in await uow.dues("close")]
    moved = 0
    for round_id in rounds:

        async def shift(turn: Turn, round_id: str = round_id) -> int:
            round_ = await turn.uow.round(round_id)
            window = windows.window_of(round_) if round_ is not None else None
            if round_ is None or window is None:
                return 0
            return await move(turn, round_, window, await members.expected_calendars(turn.uow, round_))

        moved += await _alone(kit, f"{occasion}/{round_id}", shift)
    return moved
