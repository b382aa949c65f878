"""The register: entering trials, searching, and showing an author an earlier plan that resembles theirs."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time

from coldframe.domain import likes
from coldframe.domain.likes import Earlier, Likes, Tried
from coldframe.domain.state import Plan, Round
from coldframe.domain.trial import standing
from coldframe.domain.trial.state import Closing, Trial, TrialStep
from coldframe.domain.unsigned import enough
from coldframe.domain.who_may import Act
from coldframe.engine.core.requests import Answers, Request
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import teams
from coldframe.message.nodes import Message
from coldframe.ports.chat import Reply
from coldframe.ports.follow_through import RegisterEntry, Wanted
from coldframe.ports.storage import UnitOfWork
from coldframe.speech.register import register_words
from coldframe.speech.register.register_words import Found

RUNNING, BUILDING, NOT_BUILT = "running", "being built", "not built"
WITHOUT_VERDICT = (RUNNING, BUILDING, NOT_BUILT)
_OPEN = {TrialStep.BUILDING: BUILDING, TrialStep.DROPPED: NOT_BUILT}
BROUGHT = "brought in"
"""Instead of a verdict: it was not judged here."""
ALIKE = 62.0
"""Likeness from 0 to 100 from which an earlier plan is shown; craft, tried on plans of one team."""
MAX_FOUND = 20  # entries in an answer
MAX_SEARCHED = 1000  # entries from which the form takes its choices
MAX_WORDS = 200  # characters
MOST_COMPARED = 100  # newest trials of a team, by meaning: a second's work


def was_met(trial: Trial) -> bool | None:
    """Whether the target was reached; None where the numbers could not tell, so that no forecast is scored by it."""
    outcome = standing.as_called_now(trial.closing.outcome) if trial.closing else ""
    return outcome == standing.REACHED if outcome in standing.VERDICTS else None


async def record_of(uow: UnitOfWork, tenant: str, team: str) -> tuple[int, int]:
    """How many of the team's trials were given a verdict here, and how many of these showed an effect."""
    entries = await uow.search(tenant, [team], Wanted(limit=MAX_SEARCHED))
    verdicts = [standing.as_called_now(one.verdict) for one in entries if one.decision and not one.brought]
    told = [one for one in verdicts if one in standing.VERDICTS]
    return len(told), sum(one in standing.SHOWN for one in told)


async def enter(turn: Turn, trial: Trial) -> None:
    await turn.uow.enter(entry_of(trial, turn.now))


def entry_of(trial: Trial, now: datetime) -> RegisterEntry:
    """A trial as the register tells it: its owner by name, nobody else."""
    entry = RegisterEntry(
        trial_id=trial.id,
        tenant=trial.tenant,
        team=trial.team,
        round_name=trial.round_name,
        lever=trial.lever,
        lever_name=trial.lever_name,
        title=trial.title,
        hypothesis=trial.hypothesis,
        question=trial.question,
        measure=trial.criterion.measure,
        owner=trial.name_of(trial.owner) if trial.owner else "",
        verdict=_OPEN.get(trial.step, RUNNING),
        at=now,
        planned=trial.planned,
        brought=trial.brought,
        child_of=trial.child_of or "",
    )
    if trial.step is TrialStep.DROPPED:
        return replace(entry, sentence=trial.stopped, reason=trial.stopped)
    return entry if trial.closing is None else _closed(entry, trial, trial.closing)


def _closed(entry: RegisterEntry, trial: Trial, closing: Closing) -> RegisterEntry:
    return replace(
        entry,
        verdict=closing.outcome,
        at=closing.at,
        sentence=closing.sentence,
        decision=closing.decision,
        reason=closing.reason,
        learning=closing.learning,
        learnings=trial.shown_learnings,
        agreed=_agreed(trial),
        took_days=(closing.at.date() - trial.starts).days if trial.starts else None,
        chances=tuple(sorted(trial.chances.values())) if enough(trial.chances) else (),
        met=was_met(trial),
    )


def _agreed(trial: Trial) -> tuple[str, ...]:
    return tuple(signed.text for signed in trial.signed if signed.what == "learning")


def forgotten(entry: RegisterEntry, trial: Trial) -> RegisterEntry:
    """The entry once somebody was forgotten in its trial; its numbers stay as they were."""
    owner = trial.name_of(trial.owner) if trial.owner else entry.owner
    if trial.closing is None:
        return replace(entry, owner=owner)
    closing = trial.closing
    return replace(entry, owner=owner, reason=closing.reason, learning=closing.learning, agreed=_agreed(trial))


def shown(entry: RegisterEntry) -> Found:
    return Found(
        entry.title,
        entry.round_name,
        entry.lever_name or entry.lever,
        standing.as_called_now(entry.verdict),
        entry.decision,
        entry.sentence,
        entry.learning,
        entry.owner,
        entry.at,
        entry.brought,
    )


# --- searching ------------------------------------------------------------------------------------------------------


async def search_word(request: Request) -> Reply | None:
    wanted = read_query(request.words)
    if wanted is None:
        return await _search_form(request, request.words)
    unread = _unread_dates({key.lower(): value.strip('"') for key, value in _FILTER.findall(request.words)})
    return request.shown(register_words.no_date(unread) if unread else await _answer(request, wanted))


_FILTER = re.compile(r"\b(lever|verdict|owner|since|until):(\"[^\"]*\"|\S+)", re.IGNORECASE)


def read_query(text: str) -> Wanted | None:
    """Words, and filters such as `lever:retention verdict:"not reached" since:2026-01-31`; None asks for the form."""
    found = {key.lower(): value.strip('"') for key, value in _FILTER.findall(text)}
    words = " ".join(_FILTER.sub(" ", text).split())
    if not words and not found:
        return None
    return _wanted(words, found)


def _wanted(words: str, found: Mapping[str, str]) -> Wanted:
    """Filters as typed."""
    return Wanted(
        words=words[:MAX_WORDS],
        lever=found.get("lever", "").strip().casefold(),
        verdict=found.get("verdict", "").strip().casefold(),
        owner=found.get("owner", "").strip(),
        since=_day(found.get("since", "")),
        until=_day(found.get("until", "")),
        limit=MAX_FOUND + 1,
    )


def _day(text: str) -> datetime | None:
    try:
        return datetime.combine(date.fromisoformat(text.strip()), time(0), UTC)
    except ValueError:
        return None


def _unread_dates(fields: Mapping[str, str]) -> tuple[str, ...]:
    """Filters that should hold a date and do not. Looking back, "12 Jan" has no one meaning, so only full dates do."""
    return tuple(n for n in ("since", "until") if fields.get(n, "").strip() and _day(fields[n]) is None)


async def _answer(request: Request, wanted: Wanted) -> Message:
    found = await request.turn.uow.search(request.tenant, await teams.asked_about(request, Act.SEARCH), wanted)
    shown_ = [shown(entry) for entry in found[:MAX_FOUND]]
    return register_words.results(wanted.words, _filters(wanted), shown_, len(found) > MAX_FOUND)


def _filters(wanted: Wanted) -> str:
    """`lever retention, since 31 Jan 2026`"""
    named = {
        "lever": wanted.lever,
        "verdict": wanted.verdict,
        "owner": wanted.owner,
        "since": f"{wanted.since:%-d %b %Y}" if wanted.since else "",
        "until": f"{wanted.until:%-d %b %Y}" if wanted.until else "",
    }
    return ", ".join(f"{name} {value}" for name, value in named.items() if value)


async def _search_form(request: Request, words: str) -> Reply:
    entries = await request.turn.uow.search(
        request.tenant, await teams.asked_about(request, Act.SEARCH), Wanted(limit=MAX_SEARCHED)
    )
    levers = sorted({(e.lever, e.lever_name or e.lever) for e in entries})
    owners = sorted({e.owner for e in entries})
    return Reply(form=register_words.search_form(words, levers, owners))


async def filter_form(request: Request) -> Reply:
    return await _search_form(request, request.value)


async def searched(request: Request) -> Reply | None:
    """The filters by form; the answer comes in private."""
    unread = _unread_dates(request.fields)
    if unread:
        return Reply(errors={name: register_words.A_DATE for name in unread})
    request.answer(await _answer(request, _wanted(request.text("words").strip(), request.fields)))
    return None


# --- cases like it ---


async def like(uow: UnitOfWork, round_: Round, plan: Plan) -> Likes | None:
    """What became of the team's trials that are like this plan; those that were brought in are not counted."""
    found = await uow.trials_of(round_.tenant, round_.channel, over=True)
    lever = dict(round_.settings.levers).get(round_.focus, "") if round_.focus is not None else ""
    return likes.like(_tried(found), lever, plan.criterion.kind, plan.weeks)


def _tried(found: Iterable[Trial]) -> list[Tried]:
    return [
        Tried(t.lever_name, t.criterion.kind, t.planned, bool(was_met(t)))
        for t in found
        if t.closing is not None and not t.brought and not t.stopped
    ]


# --- likeness -------------------------------------------------------------------------------------------------------


async def to_compare(uow: UnitOfWork, round_: Round, plan: Plan) -> list[RegisterEntry]:
    """The team's trials that share words with the plan, and its newest, which may share none; each once."""
    newest = await uow.search(round_.tenant, [round_.channel], Wanted(limit=MOST_COMPARED))
    found = [*await _sharing_words(uow, round_, plan), *newest]
    return list({entry.trial_id: entry for entry in found}.values())


async def _sharing_words(uow: UnitOfWork, round_: Round, plan: Plan) -> list[RegisterEntry]:
    words = re.findall(r"[^\W_]+", in_words(plan).casefold())
    return await uow.resembling(round_.tenant, round_.channel, words)


def in_words(one: Plan | RegisterEntry) -> str:
    """What is compared of a plan, and of a trial."""
    return f"{one.title}. {one.hypothesis}"


def as_earlier(entry: RegisterEntry) -> Earlier:
    return Earlier(entry.trial_id, entry.title, standing.as_called_now(entry.verdict), entry.learning)


async def doubt_once(turn: Turn, round_: Round, plan: Plan) -> str:
    """What the author is shown before a resembling plan is handed in; empty when nothing is alike or it was shown.

    The form stays open with it, and sending the form again hands the plan in all the same.
    """
    best = nearest(in_words(plan), await _sharing_words(turn.uow, round_, plan))
    if best is None or not await turn.uow.first_time(f"alike/{round_.id}/{plan.author}/{best.trial_id}", turn.now):
        return ""
    return register_words.looks_like(shown(best))


def nearest(text: str, entries: Sequence[RegisterEntry]) -> RegisterEntry | None:
    """The entry most like the text, if any is alike: by the words that both share, in whatever order."""
    from rapidfuzz import fuzz, utils  # heavy: loaded when a plan is compared

    def likeness(entry: RegisterEntry) -> float:
        return float(fuzz.token_sort_ratio(text, in_words(entry), processor=utils.default_process))

    best = max(entries, key=likeness, default=None)
    return best if best is not None and likeness(best) >= ALIKE else None


BUTTONS: Answers = {"register.filter": filter_form}
FORMS: Answers = {"register.search": searched}
WORDS: Answers = {"search": search_word}
