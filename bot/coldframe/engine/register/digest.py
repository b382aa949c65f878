"""The lead's digest: gathered from what is stored, on demand and once a week at the lead's hour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from coldframe.domain.names import MemberId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.course import came_in
from coldframe.domain.state import Round
from coldframe.domain.trial.state import UNDER_WAY, Trial, TrialStep
from coldframe.engine.core import members
from coldframe.engine.core.requests import Answers, Request
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.engine.register import leftovers
from coldframe.engine.register.registering import RUNNING
from coldframe.message.nodes import Message, Option, Paragraph, TextFile, line, plain
from coldframe.ports.chat import Inbound, Reply
from coldframe.ports.follow_through import Wanted
from coldframe.ports.storage import Due, UnitOfWork
from coldframe.speech.names import title
from coldframe.speech.register import digest_words
from coldframe.speech.register.digest_words import Digest, RoundRow, TrialRow, VerdictRow
from coldframe.speech.trial import trial_words
from coldframe.timing.calendars import WEEKDAYS, WorkingCalendar
from coldframe.timing.reminders import next_weekly

WEEKLY = "digest"
PLACES = 2
MOST_TEAMS = 3
HALF_A_WEEK = timedelta(days=3)


# --- gathering ------------------------------------------------------------------------------------------------------


async def gather(uow: UnitOfWork, tenant: str, team: str, now: datetime) -> Digest:
    """One team at this moment; verdicts are those since the last weekly digest."""
    settings = await uow.team(tenant, team)
    rounds = [r for h in await uow.heads(tenant, channel=team) if (r := await uow.round(h.id)) is not None]
    trials = [t for t in await uow.trials_of(tenant, team) if t.step is not TrialStep.DROPPED]
    calendar = members.calendar_of(await uow.member(tenant, await lead_of(uow, tenant, team) or ""))
    entries = await uow.search(tenant, [team], Wanted(since=settings.digest_sent, limit=20))
    verdicts = tuple(
        VerdictRow(e.title, e.verdict, e.sentence, e.decision, e.learning, e.at)
        for e in entries
        if e.verdict != RUNNING
    )
    learnings = tuple(dict.fromkeys(text for e in entries for text in (e.learning, *e.learnings) if text))
    running = await uow.running_trials(tenant, team)
    return Digest(
        team,
        now,
        settings.digest_sent,
        tuple(_round_row(r) for r in rounds),
        tuple([await _trial_row(uow, t, now) for t in trials]),
        verdicts,
        learnings,
        max(0, await places_at_once(uow, tenant, team) - len(running)),
        await _next_round(uow, tenant, team, now, calendar),
    )


async def places_at_once(uow: UnitOfWork, tenant: str, team: str) -> int:
    """How many trials the team's newest round allows at a time."""
    heads = [h.id for h in await uow.heads(tenant, channel=team)]
    newest = heads[-1:] or (await uow.ended_rounds(tenant, team))[:1]
    round_ = await uow.round(newest[0]) if newest else None
    return round_.settings.trials_at_once if round_ is not None else PLACES


async def _next_round(
    uow: UnitOfWork, tenant: str, team: str, now: datetime, calendar: WorkingCalendar
) -> datetime | None:
    ended = (await uow.ended_rounds(tenant, team))[:1]
    round_ = await uow.round(ended[0]) if ended else None
    at = round_.next_round if round_ is not None else None
    return at if at is not None and at > now else None


def _round_row(round_: Round) -> RoundRow:
    """What it waits for, in numbers, never in names."""
    expected = len(round_.expected())
    if round_.paused is not None:
        waits = f"rests: {round_.paused}"
    elif round_.step is Step.SETUP:
        waits = "waits for its start"
    elif expected > 1:
        waits = f"{len(came_in(round_))} of {expected} are in"
    else:
        waits = "waits for one decision"
    return RoundRow(round_.name, title(round_.step), waits, round_.progress.due)


async def _trial_row(uow: UnitOfWork, trial: Trial, now: datetime) -> TrialRow:
    owner = await uow.member(trial.tenant, trial.owner or trial.facilitator)
    today = members.calendar_of(owner).local_day(now)
    entries = trial.entries()
    when, what = _next_date(trial)
    return TrialRow(
        trial.title,
        trial.name_of(trial.owner) if trial.owner else "no owner",
        plain(trial_words.state_line(trial, today)).rstrip("."),
        plain(trial_words.entry_line(trial, entries[-1])) if entries else "",
        trial.reading.chance if trial.reading else None,
        when,
        what,
        _late(trial, today, now),
        trial.in_the_way,
    )


def _next_date(trial: Trial) -> tuple[datetime | None, str]:
    actions = [(a.due, "action due") for a in trial.open_actions()]
    review = [(trial.review, "review")] if trial.review is not None else []
    return min([*actions, *review], default=(None, ""))


def _late(trial: Trial, today: date, now: datetime) -> tuple[str, ...]:
    """What is overdue of a trial: facts about the work, never about a person."""
    if trial.step not in UNDER_WAY:
        return ()
    found = [f"week {w} not logged" for w in trial.unlogged(today)]
    overdue = sum(a.due < now for a in trial.open_actions())
    if overdue:
        found.append(f"{overdue} first-week {'action' if overdue == 1 else 'actions'} open")
    if trial.owner is None:
        found.append("without an owner")
    if trial.step is TrialStep.IN_REVIEW:
        found.append("review not closed")
    return tuple(found)


async def lead_of(uow: UnitOfWork, tenant: str, team: str) -> MemberId | None:
    settings = await uow.team(tenant, team)
    if settings.lead is not None:
        return MemberId(settings.lead)
    return await leftovers.facilitator_of(uow, tenant, team)


# --- on demand ------------------------------------------------------------------------------------------------------


async def word(request: Request) -> Reply:
    """`digest`: here and now; in the direct messages for each team of this person."""
    place = request.event.place
    teams = [place.id] if place.kind == "channel" else await request.turn.uow.teams_of(request.tenant, request.by)
    messages = [
        digest_words.message(await gather(request.turn.uow, request.tenant, t, request.turn.now))
        for t in teams[:MOST_TEAMS]
    ]
    if not messages:
        words = line("There is no round of yours yet, so there is nothing to tell. `/coldframe new` starts one.")
        messages = [Message(words, (Paragraph(words),))]
    if place.kind == "channel":
        return Reply(note=messages[0])
    for message in messages:
        request.answer(message)
    return Reply()


async def more(request: Request) -> Reply:
    """Details in private: trials, verdicts, or the whole as files."""
    team, _, what = request.value.rpartition("|")
    if team not in await request.turn.uow.teams_of(request.tenant, request.by):
        raise Refused(Because.NOT_A_MEMBER)
    digest = await gather(request.turn.uow, request.tenant, team, request.turn.now)
    match what:
        case "trials":
            message = digest_words.trials_in_detail(digest)
        case "verdicts":
            message = digest_words.verdicts_in_detail(digest)
        case "files":
            zone = members.calendar_of(await request.turn.uow.member(request.tenant, request.by)).zone
            message = _files(digest, zone)
        case _:
            raise Refused(Because.UNKNOWN_ITEM)
    request.answer(message)
    return Reply()


def _files(digest: Digest, zone: str) -> Message:
    head = line("The digest as files.")
    files = (
        TextFile("digest.md", "Digest", digest_words.markdown(digest, zone), "text/markdown"),
        TextFile("digest.json", "Digest as JSON", digest_words.as_json(digest), "application/json"),
    )
    return Message(head, (Paragraph(head),), attachments=files)


# --- once a week ----------------------------------------------------------------------------------------------------


async def reckon_anew(turn: Turn, tenant: str, team: str) -> None:
    """The lead's hours or zone are others: the digest that waits follows; one that came lately does not come again."""
    subject = f"{tenant}/{team}"
    if any(due.subject == subject for due in await turn.uow.dues(WEEKLY)):
        sent = (await turn.uow.team(tenant, team)).digest_sent
        await schedule(turn, tenant, team, after=max(turn.now, sent + HALF_A_WEEK) if sent else turn.now)


async def schedule(turn: Turn, tenant: str, team: str, after: datetime | None = None) -> None:
    """The next weekly digest, at the lead's own hour on their next working day from that weekday on."""
    lead = await lead_of(turn.uow, tenant, team)
    if lead is None:
        return
    settings = await turn.uow.team(tenant, team)
    calendar = members.calendar_of(await turn.uow.member(tenant, lead))
    at = next_weekly(calendar, after or turn.now, settings.weekday, time(settings.hour))
    turn.later(WEEKLY, f"{tenant}/{team}", "weekly", at)


async def send_weekly(turn: Turn, due: Due) -> None:
    tenant, _, team = due.subject.partition("/")
    uow = turn.uow
    lead = await lead_of(uow, tenant, team)
    if lead is not None:
        digest = await gather(uow, tenant, team, turn.now)
        if digest.rounds or digest.trials or digest.verdicts:
            turn.answer(tenant, lead, digest_words.message(digest))
            await uow.save_team(replace(await uow.team(tenant, team), digest_sent=turn.now))
        await schedule(turn, tenant, team)


async def when_form(request: Request) -> Reply:
    settings = await request.turn.uow.team(request.tenant, request.value)
    lead = await _may_set(request.turn, request.event, request.value)
    options = await _people(request.turn, request.tenant, request.value)
    return Reply(form=digest_words.when_form(request.value, options, lead or "", settings.weekday, settings.hour))


async def _may_set(turn: Turn, event: Inbound, team: str) -> MemberId | None:
    """The facilitator and the lead may say who gets the digest, and when."""
    tenant = event.place.tenant
    lead, facilitator = await lead_of(turn.uow, tenant, team), await leftovers.facilitator_of(turn.uow, tenant, team)
    if event.person not in (lead, facilitator):
        known = await turn.uow.member(tenant, facilitator) if facilitator else None
        raise Refused(Because.NOT_FACILITATOR, who=known.name if known else "the facilitator")
    return lead


async def _people(turn: Turn, tenant: str, team: str) -> Sequence[Option]:
    newest = [h.id for h in await turn.uow.heads(tenant, channel=team)][-1:]
    newest = newest or (await turn.uow.ended_rounds(tenant, team))[:1]
    round_ = await turn.round(newest[0]) if newest else None
    return [Option(m, round_.name_of(m)[:75]) for m in round_.active()] if round_ is not None else []


async def when_set(request: Request) -> Reply:
    tenant, team = request.tenant, request.value
    await _may_set(request.turn, request.event, team)
    lead, day, hour = (request.fields.get(name, "") for name in ("lead", "weekday", "hour"))
    if lead not in {o.value for o in await _people(request.turn, tenant, team)}:
        return Reply(errors={"lead": "Choose one of the team."})
    if not (day.isdigit() and int(day) < len(WEEKDAYS)):
        return Reply(errors={"weekday": "Choose a day."})
    if not (hour.isdigit() and int(hour) < 24):
        return Reply(errors={"hour": "Choose an hour from 0 to 23."})
    settings = await request.turn.uow.team(tenant, team)
    await request.turn.uow.save_team(replace(settings, lead=lead, weekday=int(day), hour=int(hour)))
    await schedule(request.turn, tenant, team)
    words = line("The digest comes on {d} at {h}:00, in the lead's own zone.", d=WEEKDAYS[int(day)], h=hour)
    request.turn.answer(tenant, request.by, Message(words, (Paragraph(words),)))
    return Reply()


BUTTONS: Answers = {"digest.more": more, "digest.when": when_form}
FORMS: Answers = {"digest.when": when_set}
WORDS: Answers = {"digest": word}
DUE: Mapping[str, Carry] = {WEEKLY: InOneTurn(send_weekly)}
