"""The report of a round, a trial or a year: gathered from what is stored, reckoned outside any transaction, and sent as
one page to whoever asked, or written by the command."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from coldframe.domain.names import Step
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.round.disclosure import figures
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Trial, TrialStep
from coldframe.domain.who_may import Act
from coldframe.engine.core import lives, members, trial_turn
from coldframe.engine.core.requests import Answers, Request
from coldframe.engine.core.turn import Carry, Kit, Numbers, due_turn
from coldframe.engine.register import fates, registering, teams
from coldframe.engine.worker import explaining, judging
from coldframe.engine.worker.judging import SpecialDay
from coldframe.message.nodes import Line, Message, Page
from coldframe.message.packed import MessageName, Occurrence
from coldframe.ports.chat import Reply
from coldframe.ports.follow_through import RegisterEntry, Wanted
from coldframe.ports.storage import Due, Store, UnitOfWork
from coldframe.speech import report_pages
from coldframe.speech.register import fate_words, report_words
from coldframe.speech.register.report_words import ROUND, TRIAL, YEAR, Choices
from coldframe.speech.report_pages import Shown, Year
from coldframe.speech.round.sure_words import Sureness
from coldframe.timing.zones import known_zone, local

REPORT = "report"
MAX_ENTRIES = 1000  # of the register
Special = tuple[SpecialDay, ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """What the report is of: a round or a trial by its id, or a year."""

    tenant: str
    team: str
    what: str
    which: str


@dataclass(frozen=True, slots=True)
class Gathered:
    """All that it needs. `trials`: each with its day, its special days, and what became of what was decided."""

    rounds: tuple[Round, ...]
    trials: tuple[tuple[Trial, date, Special, Line], ...]
    entries: tuple[RegisterEntry, ...] = ()
    decided: tuple[Line, ...] = ()


# --- what there is --------------------------------------------------------------------------------------------------


async def choices(uow: UnitOfWork, tenant: str, team: str, now: datetime, zone: str) -> Choices:
    rounds = [r for r in await _rounds(uow, tenant, team) if r.step is not Step.SETUP]
    trials = [t for t in await uow.trials_of(tenant, team, over=True) if t.step is not TrialStep.PROPOSED]
    this = local(now, known_zone(zone)).year
    entries = await uow.search(tenant, [team], Wanted(limit=MAX_ENTRIES))
    earlier = any(local(e.at, known_zone(zone)).year == this - 1 for e in entries)
    return Choices(
        team,
        [(r.id, r.name) for r in reversed(rounds)],
        [(t.id, t.title) for t in reversed(trials)],
        (this, *((this - 1,) if earlier else ())),
    )


async def _rounds(uow: UnitOfWork, tenant: str, team: str) -> list[Round]:
    """Those that are still kept, the oldest first."""
    found = [await uow.round(round_id) for round_id in await uow.rounds_of_team(tenant, team)]
    return sorted((r for r in found if r is not None), key=lambda r: min(r.dates_told.values(), default=_NEVER))


_NEVER = datetime.max.replace(tzinfo=UTC)


async def _refuse_unknown(uow: UnitOfWork, asked: Asked) -> None:
    """Raises Refused for what is not there, or not this team's."""
    if asked.what == ROUND:
        await _round(uow, asked)
    elif asked.what == TRIAL:
        await _trial(uow, asked)
    elif asked.what != YEAR or not (asked.which.isdecimal() and len(asked.which) == 4):
        raise Refused(Because.UNKNOWN_ITEM)


async def _round(uow: UnitOfWork, asked: Asked) -> Round:
    round_ = known(await uow.round(asked.which))
    if (round_.tenant, round_.channel) != (asked.tenant, asked.team) or round_.step is Step.SETUP:
        raise Refused(Because.UNKNOWN_ITEM)
    return round_


async def _trial(uow: UnitOfWork, asked: Asked) -> Trial:
    trial = known(await uow.trial(asked.which))
    if (trial.tenant, trial.team) != (asked.tenant, asked.team):
        raise Refused(Because.UNKNOWN_ITEM)
    return trial


# --- gathering ------------------------------------------------------------------------------------------------------


async def _of_round(uow: UnitOfWork, asked: Asked, now: datetime, zone: str) -> Gathered:
    round_ = await _round(uow, asked)
    found = await uow.trials_of(asked.tenant, asked.team, over=True)
    return Gathered((round_,), await _told(uow, asked, now, (t for t in found if t.round_id == round_.id)))


async def _of_trial(uow: UnitOfWork, asked: Asked, now: datetime, zone: str) -> Gathered:
    return Gathered((), await _told(uow, asked, now, [await _trial(uow, asked)]))


async def _of_year(uow: UnitOfWork, asked: Asked, now: datetime, zone: str) -> Gathered:
    year, days = int(asked.which), known_zone(zone)

    def within(moments: Iterable[datetime]) -> bool:
        return any(local(at, days).year == year for at in moments)

    entries = [e for e in await uow.search(asked.tenant, [asked.team], Wanted(limit=MAX_ENTRIES)) if within([e.at])]
    named = {entry.trial_id for entry in entries}
    trials = [t for t in await uow.trials_of(asked.tenant, asked.team, over=True) if _in_year(t, year) or t.id in named]
    whose = {trial.round_id for trial in trials}
    kept = await _rounds(uow, asked.tenant, asked.team)
    rounds = [r for r in kept if r.step is not Step.SETUP and (r.id in whose or within(r.dates_told.values()))]
    settings = await uow.team(asked.tenant, asked.team)
    decided = [f for f in settings.fates.values() if within(filter(None, (f.due, f.done, f.ended)))]
    names = await fates.names_of(uow, asked.tenant, decided) if decided else {}
    lines = tuple(fate_words.standing(fate, names) for fate in decided)
    told = await _told(uow, asked, now, (t for t in trials if t.step is not TrialStep.PROPOSED))
    return Gathered(tuple(rounds), told, tuple(entries), lines)


def _in_year(trial: Trial, year: int) -> bool:
    days = (trial.sealed, trial.live_since(), trial.ends() if trial.closing is None else trial.closing.at.date())
    return any(day.year == year for day in days if day is not None)


GATHER: Mapping[str, Callable[[UnitOfWork, Asked, datetime, str], Awaitable[Gathered]]] = {
    ROUND: _of_round,
    TRIAL: _of_trial,
    YEAR: _of_year,
}


async def _told(
    uow: UnitOfWork, asked: Asked, now: datetime, trials: Iterable[Trial]
) -> tuple[tuple[Trial, date, Special, Line], ...]:
    followed, found = (await uow.team(asked.tenant, asked.team)).fates, []
    names = await fates.names_of(uow, asked.tenant, followed.values()) if followed else {}
    for trial in trials:
        calendar = members.calendar_of(await uow.member(trial.tenant, trial.owner or trial.facilitator))
        after = fate_words.state(followed[trial.id], names) if trial.id in followed else ()
        special = trial_turn.special_days(trial, calendar)
        found.append((trial, trial_turn.day_of(trial, calendar, now), special, after))
    return tuple(found)


# --- the page -------------------------------------------------------------------------------------------------------


async def page(store: Store, numbers: Numbers, asked: Asked, now: datetime, zone: str) -> Page:
    """Raises Refused for what is not there, or not this team's."""
    async with store.begin() as uow:
        found = await GATHER[asked.what](uow, asked, now, zone)
        record = await registering.record_of(uow, asked.tenant, asked.team)
    shown = [await _shown(numbers, record, *each) for each in found.trials]
    if asked.what == TRIAL:
        return report_pages.of_trial(shown[0], now, zone)
    if asked.what == ROUND:
        sure = await _sure(numbers, found.rounds[0])
        return report_pages.of_round(found.rounds[0], sure, shown, now, zone)
    resolved = [(chance, int(e.met)) for e in found.entries if e.met is not None for chance in e.chances]
    chart = await numbers.compute(judging.calibration, [c for c, _ in resolved], [m for _, m in resolved])
    year = Year(int(asked.which), found.rounds, shown, found.entries, found.decided, chart)
    return report_pages.of_year(year, now, zone)


async def _shown(
    numbers: Numbers, record: tuple[int, int], trial: Trial, today: date, special: Special, after: Line
) -> Shown:
    """What was never live has no numbers."""
    if trial.starts is None or trial.review is None or not (trial.weeks or trial.early):
        return Shown(trial, None, today, after)
    return Shown(trial, await numbers.compute(judging.judge, trial, today, special, record), today, after)


async def _sure(numbers: Numbers, round_: Round) -> Mapping[Step, Sureness]:
    """How sure each count is, from what was told of it."""
    settings, found = round_.settings, dict[Step, Sureness]()
    for step, weight, chosen in (
        (Step.DOTS, 1, settings.carry_on),
        (Step.BALLOT, settings.weight, settings.trials_at_once),
    ):
        told = figures(round_, step)
        if told is not None and step not in round_.passed:
            found[step] = await numbers.compute(explaining.sureness, told, weight, chosen)
    return found


# --- by people ------------------------------------------------------------------------------------------------------


async def word(request: Request) -> Reply | None:
    """`report`: of the channel's team, or of each team of this person."""
    return request.shown(await _choose(request, await teams.asked_about(request, Act.REPORT)))


async def show(request: Request) -> Reply | None:
    """By the digest's button."""
    await teams.may(request, request.subject, Act.REPORT)
    return request.shown(await _choose(request, [request.subject]))


async def _choose(request: Request, found: Sequence[str]) -> Message:
    zone, uow = await _zone(request), request.turn.uow
    return report_words.choose([await choices(uow, request.tenant, team, request.turn.now, zone) for team in found])


async def _zone(request: Request) -> str:
    return members.calendar_of(await request.turn.uow.member(request.tenant, request.by)).zone


async def make(request: Request) -> Reply | None:
    """Numbers and pictures take a while: it comes in private."""
    team, what, which = request.subject, request.part(0), request.part(1)
    await teams.may(request, team, Act.REPORT)
    turn, subject = request.turn, Occurrence((request.tenant, team)).pack()
    await _refuse_unknown(turn.uow, Asked(request.tenant, team, what, which))
    turn.later(REPORT, subject, Occurrence((request.by, what, which)).pack(), turn.now)
    return request.passing(report_words.coming())


async def _make(kit: Kit, due: Due) -> None:
    tenant, team = Occurrence.unpack(due.subject).parts
    person, what, which = Occurrence.unpack(due.occurrence).parts
    async with kit.store.begin() as uow:
        zone = members.calendar_of(await uow.member(tenant, person)).zone
    made = await page(kit.store, kit.numbers, Asked(tenant, team, what, which), kit.clock.now(), zone)
    async with due_turn(kit, due) as turn:
        turn.answers(tenant, person, due.at)
        name = MessageName(lives.PEOPLE, REPORT, (person, team, turn.kit.ids.new(""))).pack()
        turn.answer(tenant, person, report_words.here(made), name=name)


BUTTONS: Answers = {"report.show": show, "report.make": make}
WORDS: Answers = {"report": word}
DUE: Mapping[str, Carry] = {REPORT: _make}
