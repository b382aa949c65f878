"""The lead's digest: gathered from what is stored, on demand and once a week at the lead's hour."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from coldframe.domain.fates import Fate, FateKind
from coldframe.domain.names import MemberId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import counter, rules
from coldframe.domain.state import Round
from coldframe.domain.trial import building, standing
from coldframe.domain.trial.state import UNDER_WAY, Trial, TrialStep
from coldframe.domain.who_may import Act
from coldframe.engine.core import endings, lives, members, trial_turn
from coldframe.engine.core.endings import Ending
from coldframe.engine.core.requests import Answers, Request
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.engine.register import fates, teams
from coldframe.engine.register.registering import WITHOUT_VERDICT
from coldframe.message.nodes import Message, Option, plain
from coldframe.message.packed import ButtonValue, MessageName, Occurrence
from coldframe.ports.chat import Reply
from coldframe.ports.follow_through import RegisterEntry, Wanted
from coldframe.ports.storage import Due, UnitOfWork
from coldframe.speech.names import are_in, title
from coldframe.speech.register import digest_words, fate_words
from coldframe.speech.register.digest_words import Digest, FateRow, RoundRow, TrialRow, VerdictRow
from coldframe.speech.register.fate_words import Names
from coldframe.speech.trial import guard_words, trial_words, week_dates
from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.reminders import a_day_has_gone_by, next_weekly
from coldframe.timing.zones import instant

WEEKLY = "digest"
MAX_ENTRIES = 20  # of the register
MAX_TEAMS = 3  # in one answer
HALF_A_WEEK = timedelta(days=3)
A_WEEK = timedelta(weeks=1)


# --- gathering ------------------------------------------------------------------------------------------------------


async def gather(uow: UnitOfWork, tenant: str, team: str, now: datetime) -> Digest:
    """One team at this moment; verdicts are those since the last weekly digest."""
    sent = (await uow.team(tenant, team)).digest_sent
    rounds = [r for h in await uow.heads(tenant, channel=team) if (r := await uow.round(h.id)) is not None]
    trials = [t for t in await uow.trials_of(tenant, team) if t.step is not TrialStep.DROPPED]
    entries = await uow.search(tenant, [team], Wanted(since=sent, limit=MAX_ENTRIES))
    learnings = (text for e in entries for text in (e.learning, *e.of_others) if text)
    return Digest(
        team,
        now,
        sent,
        tuple(_round_row(r) for r in rounds),
        tuple([await _trial_row(uow, t, now) for t in trials]),
        tuple(_verdict_row(e) for e in entries if e.verdict not in WITHOUT_VERDICT),
        tuple(dict.fromkeys(learnings)),
        await teams.places_free(uow, tenant, team),
        await _next_round(uow, tenant, team, now),
        await _fate_rows(uow, tenant, team, now),
    )


async def _fate_rows(uow: UnitOfWork, tenant: str, team: str, now: datetime) -> tuple[FateRow, ...]:
    """What is to be done, the earliest first, then what was done or given up since the last weekly digest."""
    settings = await uow.team(tenant, team)
    since = settings.digest_sent or now - A_WEEK
    found = [f for f in settings.fates.values() if f.open or max(filter(None, (f.done, f.ended))) >= since]
    names = await fates.names_of(uow, tenant, found) if found else {}
    found.sort(key=lambda fate: (not fate.open, fate.due))
    late = {f.id for f in found if f.open and await _is_late(uow, tenant, f, now)}
    nobodys = {f.id for f in found if f.open and f.owner is None and await _was_asked_long_ago(uow, tenant, f, now)}
    return tuple(_fate_row(f, names, late=f.id in late, nobodys=f.id in nobodys) for f in found)


def _fate_row(fate: Fate, names: Names, *, late: bool, nobodys: bool) -> FateRow:
    who = fate_words.whose(fate, names)
    over, what, scaled = fate.done or fate.ended, fate_words.called(fate), fate.kind is FateKind.SCALE
    done = fate.done is not None
    return FateRow(fate.title, what, who, fate.due, late, over, done, fate.needs_yes, fate.reason,
                   scaled=scaled and done, nobodys=nobodys)  # fmt: skip


async def _was_asked_long_ago(uow: UnitOfWork, tenant: str, fate: Fate, now: datetime) -> bool:
    """Whether somebody has had a working day to say yes, or nobody is asked."""
    if fate.asked is None or fate.asked_at is None:
        return True
    return a_day_has_gone_by(members.calendar_of(await uow.member(tenant, fate.asked)), fate.asked_at, now)


async def _is_late(uow: UnitOfWork, tenant: str, fate: Fate, now: datetime) -> bool:
    """By a working day of its owner's."""
    calendar = members.calendar_of(await uow.member(tenant, fate.owner)) if fate.owner is not None else None
    return a_day_has_gone_by(calendar, fate.due, now) if calendar is not None else fate.due < now


def _verdict_row(entry: RegisterEntry) -> VerdictRow:
    return VerdictRow(
        entry.title, standing.as_called_now(entry.verdict), entry.sentence, entry.decision, entry.learning, entry.at
    )


async def _next_round(uow: UnitOfWork, tenant: str, team: str, now: datetime) -> datetime | None:
    round_ = await teams.last_ended(uow, tenant, team)
    at = round_.next_round if round_ is not None else None
    return at if at is not None and at > now else None


def _round_row(round_: Round) -> RoundRow:
    """What it waits for, in numbers, never in names."""
    expected = len(rules.expected(round_))
    if round_.paused is not None:
        waits = digest_words.rests(round_)
    elif round_.step is Step.SETUP:
        waits = digest_words.WAITS_FOR_START
    elif expected > 1:
        waits = are_in(counter.told_in(round_), expected)
    else:
        waits = digest_words.waits_for(round_)
    due = round_.progress.due if round_.paused is None else None  # no deadline passes while it rests
    return RoundRow(round_.name, title(round_.step), waits, due, rests=round_.paused is not None)


async def _trial_row(uow: UnitOfWork, trial: Trial, now: datetime) -> TrialRow:
    owner = members.calendar_of(await uow.member(trial.tenant, trial.owner or trial.facilitator))
    today = trial_turn.day_of(trial, owner, now)
    entries = trial.entries()
    when, what = _next_date(trial)
    return TrialRow(
        digest_words.named(trial.title, brought=bool(trial.brought)),
        trial.name_of(trial.owner) if trial.owner else digest_words.NO_OWNER,
        plain(trial_words.state_line(trial, today)).rstrip("."),
        plain(trial_words.entry_line(trial, entries[-1])) if entries else "",
        trial.reading.chance if trial.reading else None,
        when,
        what,
        await _late(uow, trial, owner, today, now),
        trial.in_the_way,
        (*guard_words.open_lines(trial), *(trial.reading.alerts if trial.reading and trial.step in UNDER_WAY else ())),
        chance_high=trial.reading.chance_high if trial.reading else None,
        weeks_late=_weeks_late(trial, owner, today, now),
        stuck=_stuck(trial, today),
        decided=_decided(trial),
    )


def _decided(trial: Trial) -> str:
    """The verdict that stands, until the review is closed."""
    given = standing.stands(trial) if trial.step in UNDER_WAY else None
    return digest_words.decided(given.outcome, given.sentence) if given is not None else ""


def _since(trial: Trial, calendar: WorkingCalendar, day: date) -> datetime:
    return instant(day, time(0), trial_turn.zone_by(trial, calendar))


def _weeks_late(trial: Trial, owner: WorkingCalendar, today: date, now: datetime) -> tuple[str, ...]:
    """Weeks that their owner has been asked for, and has had a working day to log."""
    if trial.step not in UNDER_WAY:
        return ()
    weeks = [(week, trial.counted_from(week)) for week in trial.unlogged(today)]
    late = [w for w, day in weeks if day is not None and a_day_has_gone_by(owner, _since(trial, owner, day), now)]
    return tuple(week_dates.week(trial, week) for week in late)


def _stuck(trial: Trial, today: date) -> tuple[str, ...]:
    """What it waits for that time alone does not bring."""
    if trial.step not in UNDER_WAY:
        return ()
    found = [digest_words.in_the_way(trial.in_the_way)] if trial.in_the_way else []
    found += [digest_words.NOT_LIVE_LATE] if building.is_late(trial, today) else []
    return (*found, *((digest_words.WITHOUT_OWNER,) if trial.owner is None else ()))


def _next_date(trial: Trial) -> tuple[datetime | None, str]:
    actions = [(a.due, digest_words.ACTION_DUE) for a in trial.open_actions()]
    live = trial.review is not None and trial.step is not TrialStep.BUILDING
    review = [(trial.review, digest_words.REVIEW)] if live else []
    return min([*actions, *review], default=(None, ""))


async def _late(uow: UnitOfWork, trial: Trial, owner: WorkingCalendar, today: date, now: datetime) -> tuple[str, ...]:
    """What is overdue of a trial beside its weeks, each by a working day of whoever does it: facts about the work,
    never about a person."""
    if trial.step not in UNDER_WAY:
        return ()
    expected, found = trial.live_expected(), []
    if trial.step is TrialStep.BUILDING and expected is not None and not building.is_late(trial, today):
        late = a_day_has_gone_by(owner, _since(trial, owner, expected), now)
        found += [digest_words.NOT_LIVE] if late else []
    overdue = 0
    for action in trial.open_actions():
        calendar = members.calendar_of(await uow.member(trial.tenant, action.who))
        overdue += a_day_has_gone_by(calendar, action.due, now)
    if overdue:
        found.append(digest_words.actions_open(overdue))
    if trial.step is TrialStep.IN_REVIEW and (trial.review is None or a_day_has_gone_by(owner, trial.review, now)):
        found.append(digest_words.REVIEW_OPEN)
    return tuple(found)


# --- on demand ------------------------------------------------------------------------------------------------------


async def word(request: Request) -> Reply | None:
    """`digest`: here and now; in the direct messages for each team of this person."""
    asked = await teams.asked_about(request, Act.DIGEST)
    digests = [await gather(request.turn.uow, request.tenant, team, request.turn.now) for team in asked[:MAX_TEAMS]]
    if request.event.place.kind == "channel":
        return Reply(note=digest_words.message(digests[0]))
    for digest in digests:
        await _tell(request.turn, request.tenant, request.by, digest)
    if not digests:
        request.answer(digest_words.no_round())
    return None


async def _tell(turn: Turn, tenant: str, person: str, digest: Digest) -> None:
    """The newest is the one to press; of an earlier one of the team a line stays."""
    found = await turn.uow.open_posts(tenant, None, [person])
    named = [(p, lives.named(p.name)) for p in found]
    earlier = [(p, n.rest[2]) for p, n in named if n.what == lives.DIGEST and n.rest[:2] == (person, digest.team)]
    words = [(p, digest_words.there_is_a_newer_one(datetime.fromisoformat(at))) for p, at in earlier]
    await endings.end(turn, [Ending(p, lives.End.LINE, line) for p, line in words])
    rest = (person, digest.team, digest.at.isoformat(), turn.kit.ids.new(""))
    name = MessageName(lives.PEOPLE, lives.DIGEST, rest).pack()
    turn.answer(tenant, person, digest_words.message(digest), name=name)


async def more(request: Request) -> None:
    """Details in private: trials, verdicts, or the whole as files."""
    team, what = ButtonValue.unpack(request.value).subject, request.part(0)
    uow = request.turn.uow
    await teams.may(request, team, Act.DIGEST)
    if what not in DETAILS:
        raise Refused(Because.UNKNOWN_ITEM)
    zone = members.calendar_of(await uow.member(request.tenant, request.by)).zone
    request.answer(DETAILS[what](await gather(uow, request.tenant, team, request.turn.now), zone))


DETAILS: Mapping[str, Callable[[Digest, str], Message]] = {
    "trials": lambda digest, _: digest_words.trials_in_detail(digest),
    "verdicts": lambda digest, _: digest_words.verdicts_in_detail(digest),
    "files": digest_words.as_files,
}


# --- once a week ----------------------------------------------------------------------------------------------------


async def reckon_anew(turn: Turn, tenant: str, team: str) -> None:
    """The lead's hours or zone are others: the digest that waits follows; one that came lately does not come again."""
    subject = Occurrence((tenant, team)).pack()
    if any(due.subject == subject for due in await turn.uow.dues(WEEKLY)):
        sent = (await turn.uow.team(tenant, team)).digest_sent
        await schedule(turn, tenant, team, after=max(turn.now, sent + HALF_A_WEEK) if sent else turn.now)


async def schedule(turn: Turn, tenant: str, team: str, after: datetime | None = None) -> None:
    """The next weekly digest, at the lead's own hour on their next working day from that weekday on."""
    lead = await teams.lead_of(turn.uow, tenant, team)
    if lead is None:
        return
    settings = await turn.uow.team(tenant, team)
    calendar = members.calendar_of(await turn.uow.member(tenant, lead))
    at = next_weekly(calendar, after or turn.now, settings.weekday, time(settings.hour))
    turn.later(WEEKLY, Occurrence((tenant, team)).pack(), "weekly", at)


async def send_weekly(turn: Turn, due: Due) -> None:
    tenant, team = Occurrence.unpack(due.subject).parts
    lead = await teams.lead_of(turn.uow, tenant, team)
    if lead is None:
        return
    digest = await gather(turn.uow, tenant, team, turn.now)
    if digest.rounds or digest.trials or digest.verdicts or digest.fates:
        await _tell(turn, tenant, lead, digest)
        await turn.uow.save_team(replace(await turn.uow.team(tenant, team), digest_sent=turn.now))
    await schedule(turn, tenant, team)


async def when_form(request: Request) -> Reply:
    team = request.value
    settings = await request.turn.uow.team(request.tenant, team)
    await teams.may(request, team, Act.DIGEST_WHEN)
    lead = await teams.lead_of(request.turn.uow, request.tenant, team)
    options = await _people(request, team)
    return Reply(form=digest_words.when_form(team, options, lead or "", settings.weekday, settings.hour))


async def _people(request: Request, team: str) -> Sequence[Option]:
    round_ = await teams.newest_round(request.turn.uow, request.tenant, team)
    return [Option(m, round_.name_of(m)) for m in round_.active()] if round_ is not None else []


async def when_set(request: Request) -> Reply | None:
    turn, tenant, team = request.turn, request.tenant, request.value
    await teams.may(request, team, Act.DIGEST_WHEN)
    lead, day, hour = map(request.text, ("lead", "weekday", "hour"))
    if lead not in {o.value for o in await _people(request, team)}:
        return Reply(errors={"lead": digest_words.ONE_OF_THE_TEAM})
    if not (day.isdigit() and int(day) < len(digest_words.WEEKDAYS)):
        return Reply(errors={"weekday": digest_words.A_DAY})
    if not (hour.isdigit() and int(hour) < 24):
        return Reply(errors={"hour": digest_words.AN_HOUR})
    settings = await turn.uow.team(tenant, team)
    await turn.uow.save_team(replace(settings, lead=MemberId(lead), weekday=int(day), hour=int(hour)))
    await schedule(turn, tenant, team)
    return request.passing(digest_words.when_noted(int(day), hour))


BUTTONS: Answers = {"digest.more": more, "digest.when": when_form}
FORMS: Answers = {"digest.when": when_set}
WORDS: Answers = {"digest": word}
DUE: Mapping[str, Carry] = {WEEKLY: InOneTurn(send_weekly)}
