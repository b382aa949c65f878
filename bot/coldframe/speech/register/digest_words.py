"""The lead's digest: what runs, what is late, what was learnt. Fits one screen; never scores a person."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from coldframe.domain.state import Round
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import (
    Block,
    Button,
    Field,
    Form,
    Items,
    Line,
    Message,
    Option,
    TextFile,
    When,
    line,
    moment,
    plain,
)
from coldframe.message.packed import ButtonValue
from coldframe.message.plain import one_line, percent
from coldframe.message.saying import heading, offer, paragraph, said, small, told
from coldframe.speech import wanting_words
from coldframe.speech.names import capital, count, spelt
from coldframe.speech.register import report_words

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
SHOWN = 4  # rows of a section


@dataclass(frozen=True, slots=True)
class RoundRow:
    """A round and what it waits for."""

    name: str
    step: str
    waits_for: str
    due: datetime | None
    rests: bool = False


@dataclass(frozen=True, slots=True)
class TrialRow:
    """A trial under way. `chance` (0 to 1) of an effect at its end; `late` is what is overdue beside `weeks_late`,
    `stuck` what it waits for that time alone does not bring, `alerts` what must be looked at, `decided` the verdict
    that waits for its review, in words."""

    title: str
    owner: str
    state: str
    last_number: str
    chance: float | None
    next_date: datetime | None
    next_what: str
    late: tuple[str, ...]
    in_the_way: str
    alerts: tuple[str, ...] = ()
    chance_high: float | None = None
    """The chance if many ideas work, where `chance` is that if few do."""
    weeks_late: tuple[str, ...] = ()
    stuck: tuple[str, ...] = ()
    decided: str = ""

    @property
    def overdue(self) -> tuple[str, ...]:
        return (*(f"{week}, not logged" for week in self.weeks_late), *self.late)

    def chance_words(self) -> str:
        if self.chance is None:
            return ""
        low, high = percent(self.chance), percent(self.chance if self.chance_high is None else self.chance_high)
        words = "; chance of showing an effect, if it lasts,"
        return f"{words} {low}" if low == high else f"{words} {low} to {high}"


@dataclass(frozen=True, slots=True)
class VerdictRow:
    title: str
    verdict: str
    sentence: str
    decision: str
    learning: str
    at: datetime


@dataclass(frozen=True, slots=True)
class FateRow:
    """Something decided that is to be done, or was lately."""

    title: str
    what: str
    who: str
    due: datetime
    late: bool
    ended: datetime | None = None
    done: bool = False
    waits_for_yes: bool = False
    reason: str = ""
    scaled: bool = False
    nobodys: bool = False


@dataclass(frozen=True, slots=True)
class Digest:
    """One team at one moment."""

    team: str
    at: datetime
    since: datetime | None
    rounds: tuple[RoundRow, ...]
    trials: tuple[TrialRow, ...]
    verdicts: tuple[VerdictRow, ...]
    learnings: tuple[str, ...]
    places_free: int
    next_round: datetime | None
    fates: tuple[FateRow, ...] = ()

    @property
    def late(self) -> tuple[str, ...]:
        overdue = tuple(f"{f.title}: {FATE_OVERDUE}" for f in self.fates if f.late)
        return (*(f"{t.title}: {', '.join(t.overdue)}" for t in self.trials if t.overdue), *overdue)

    @property
    def stuck(self) -> tuple[tuple[str, str], ...]:
        """(what, why)"""
        return (
            *((r.name, r.waits_for) for r in self.rounds if r.rests),
            *((t.title, ", ".join(t.stuck)) for t in self.trials if t.stuck),
            *((f.title, f.who) for f in self.fates if f.nobodys),
        )


# --- what a row says ---

WAITS_FOR_START = "waits for its start"
WAITS_FOR_ANNOUNCEMENT = "decided, and soon announced"
NO_OWNER = "no owner"
WITHOUT_OWNER = "without an owner"
ACTION_DUE = "action due"
REVIEW = "review"
REVIEW_OPEN = "review not closed"
FATE_OVERDUE = "not done by its date"
NOT_LIVE = "not live on the planned day"
NOT_LIVE_LATE = "two weeks late to be live: another day, less of it, another owner, or none"


def named(title: str, *, brought: bool) -> str:
    return f"{title} (brought in)" if brought else title


def rests(round_: Round) -> str:
    return plain(wanting_words.why_rests(round_, wanting_words.by_role))


def waits_for(round_: Round) -> str:
    """What a step of one decision lacks; roles, and no names."""
    return plain(wanting_words.lacks(round_, wanting_words.by_role)) or WAITS_FOR_ANNOUNCEMENT


WEEKS_LATE = "numbers"


def in_the_way(text: str) -> str:
    return f"in the way: {text}"


def decided(outcome: str, sentence: str) -> str:
    """The sentence begins with the verdict."""
    return sentence or capital(outcome)


def _late(row: TrialRow) -> str:
    """Which weeks are missing, the trial's state says."""
    return ", ".join((*((WEEKS_LATE,) if row.weeks_late else ()), *row.late))


def actions_open(number: int) -> str:
    return f"{count(number, 'first-week action')} open"


# --- in the chat --------------------------------------------------------------------------------------------------


def message(digest: Digest, *, zone: str = "UTC") -> Message:
    """One screen; details behind buttons."""
    summary = written(headline(digest), 300)
    blocks: list[Block] = [heading("Digest"), paragraph(summary)]
    blocks += _section("Rounds", [_round_line(r) for r in digest.rounds])
    blocks += _section("Trials", [_trial_line(t) for t in digest.trials])
    stuck = [line("{t}: {w}", t=theirs(what, 80), w=theirs(why, 300)) for what, why in digest.stuck]
    blocks += _section("Stuck, and why", stuck)
    blocks += _section("Verdicts since the last digest", [_verdict_line(v) for v in digest.verdicts])
    blocks += _section("Following up", [_fate_line(f) for f in digest.fates])
    blocks += _section("Learnt", [written(text, 160) for text in digest.learnings], shown=3)
    if digest.next_round is not None:
        blocks.append(paragraph("Next round: {d}.", d=When(digest.next_round, "day")))
    buttons = (
        Button("Trials in detail", "digest.more", ButtonValue(digest.team, ("trials",)).pack()),
        Button("Verdicts and learnings", "digest.more", ButtonValue(digest.team, ("verdicts",)).pack()),
        Button("Send me the files", "digest.more", ButtonValue(digest.team, ("files",)).pack()),
        report_words.opener(digest.team),
        Button("When and to whom …", "digest.when", digest.team),
    )
    blocks.append(offer(*buttons))
    return Message(summary, tuple(blocks))


def there_is_a_newer_one(at: datetime) -> Message:
    return said("The digest of {d}: there is a newer one below.", d=When(at, "day"))


def headline(digest: Digest) -> str:
    late = len(digest.late)
    parts = [
        f"{capital(spelt(len(digest.trials), 'trial'))} under way",
        f"{spelt(late, 'late', 'late') if late else 'nothing late'}",
        spelt(len(digest.stuck), "stuck", "stuck") if digest.stuck else "",
        spelt(len(digest.verdicts), "new verdict") if digest.verdicts else "",
        spelt(scaled, "scaled", "scaled") if (scaled := sum(f.scaled for f in digest.fates)) else "",
        f"{spelt(digest.places_free, 'place', None if digest.places_free else 'place')} free",
    ]
    return ", ".join(part for part in parts if part) + "."


def _section(name: str, lines: Sequence[Line], shown: int = SHOWN) -> list[Block]:
    if not lines:
        return []
    found: list[Block] = [paragraph("*{n}*", n=name), Items(tuple(lines[:shown]))]
    if len(lines) > shown:
        found.append(small("and {n}", n=spelt(len(lines) - shown, "more", "more")))
    return found


def _round_line(row: RoundRow) -> Line:
    due: Line = line(", until {d}", d=When(row.due)) if row.due else ()
    return line("{n}: {s}, {w}", n=theirs(row.name, 60), s=row.step, w=_stands(row)) + due


def _stands(row: RoundRow) -> str:
    """Why it rests stands with all that is stuck."""
    return "rests" if row.rests else row.waits_for


def _trial_line(row: TrialRow) -> Line:
    words = line("{t} ({o}): {s}", t=theirs(row.title, 80), o=theirs(row.owner, 40), s=theirs(row.state, 240))
    words += line("{c}", c=row.chance_words())
    if row.next_date is not None:
        words += line("; {w} {d}", w=row.next_what, d=When(row.next_date, "day"))
    if late := _late(row):
        words += line("; late: {l}", l=theirs(late, 120))
    if row.decided:
        words += line(". *Decided, and waits for its review:* {d}", d=theirs(row.decided.rstrip("."), 300))
        words += line("." if not row.alerts else "")
    if row.alerts:
        words += line(". *Look at this:* {a}", a=theirs(" ".join(row.alerts), 400))
    return words


def _verdict_line(row: VerdictRow) -> Line:
    return line(
        "{t}: {s} {d}.", t=theirs(row.title, 80), s=theirs(row.sentence or row.verdict, 400), d=row.decision.title()
    )


def _fate_line(row: FateRow) -> Line:
    return line("{t}: ", t=theirs(row.title, 80)) + line(
        _fate_state(row), d=When(row.ended or row.due, "day"), **_of(row)
    )


def _fate_state(row: FateRow) -> str:
    if row.ended is not None:
        return "{k} {d}" if row.done else "{k}, given up: {r}"
    return (
        "{k}, by {d}, {o}"
        + ("; waits for the decision-maker's yes" if row.waits_for_yes else "")
        + ("; late" if row.late else "")
    )


def _of(row: FateRow) -> dict[str, Line]:
    return {"k": line(row.what), "o": written(row.who, 40), "r": written(row.reason, 200)}


def _fate_text(row: FateRow, day: str) -> str:
    words = _fate_state(row).format(k=row.what, d=day, o=_safe(row.who), r=_safe(row.reason))
    return f"{_safe(row.title)}: {words}"


def trials_in_detail(digest: Digest) -> Message:
    head = line("Trials in detail: {n}.", n=len(digest.trials))
    lines: list[Line] = []
    for row in digest.trials:
        words = _trial_line(row) + line("; last number: {n}", n=theirs(row.last_number or "none yet", 200))
        if row.in_the_way:
            words += line("; in the way: {w}", w=theirs(row.in_the_way, 300))
        lines.append(words)
    return Message(head, (heading(head), Items(tuple(lines))))


def verdicts_in_detail(digest: Digest) -> Message:
    head = line("Verdicts and learnings: {n}.", n=len(digest.verdicts))
    rows = tuple(_verdict_line(v) + line(" {l}", l=theirs(v.learning, 500)) for v in digest.verdicts)
    others = tuple(written(text, 300) for text in digest.learnings)
    return Message(head, (heading(head), Items(rows), paragraph("Learnt:"), Items(others)))


def no_round() -> Message:
    return said("There is no round of yours yet, so there is nothing to tell. `/coldframe new` starts one.")


ONE_OF_THE_TEAM = "Choose one of the team."
A_DAY = "Choose a day."
AN_HOUR = "Choose an hour from 0 to 23."


def when_noted(weekday: int, hour: str) -> Message:
    return said("The digest comes on {d} at {h}:00, in the lead's own zone.", d=WEEKDAYS[weekday], h=hour)


def when_form(team: str, people: Sequence[Option], lead: str, weekday: int, hour: int) -> Form:
    days = tuple(Option(str(n), name) for n, name in enumerate(WEEKDAYS))
    fields = (
        Field("lead", "Who gets it?", "choice", options=tuple(people), initial=lead),
        Field("weekday", "Day", "choice", options=days, initial=str(weekday)),
        Field("hour", "Hour, in their own zone", "choice", initial=str(hour),
              options=tuple(Option(str(h), f"{h}:00") for h in range(24))),
    )  # fmt: skip
    return Form("The weekly digest", "digest.when", team, fields)


# --- as text ------------------------------------------------------------------------------------------------------

_MARKS = str.maketrans({c: f"\\{c}" for c in "\\`*_[]()#|<>~"})


def _safe(text: str) -> str:
    """People's text in Markdown: nothing in it becomes a heading, a link, a table or a tag."""
    shown = one_line(theirs(text).text).translate(_MARKS)
    return f"\\{shown}" if shown[:1] in ("-", "+", "=") else shown


def as_files(digest: Digest, zone: str) -> Message:
    files = (
        TextFile("digest.md", "Digest", markdown(digest, zone), "text/markdown"),
        TextFile("digest.json", "Digest as JSON", as_json(digest), "application/json"),
    )
    return told(line("The digest as files."), attachments=files)


def markdown(digest: Digest, zone: str = "UTC") -> str:
    def day(at: datetime | None) -> str:
        return moment(When(at, "day"), zone) if at else "no date"

    lines = [f"# Digest, {day(digest.at)}", "", headline(digest), ""]
    lines += _part("Rounds", [_round_text(r, day(r.due) if r.due else "") for r in digest.rounds])
    lines += _part("Trials", [_trial_text(t, day(t.next_date)) for t in digest.trials])
    lines += _part("Stuck, and why", [f"{_safe(what)}: {_safe(why)}" for what, why in digest.stuck])
    verdicts = [
        f"{_safe(v.title)}: {_safe(v.sentence or v.verdict)} {v.decision}. {_safe(v.learning)}" for v in digest.verdicts
    ]
    lines += _part("Verdicts since the last digest", verdicts)
    lines += _part("Following up", [_fate_text(f, day(f.ended or f.due)) for f in digest.fates])
    lines += _part("Learnt", [_safe(text) for text in digest.learnings])
    lines.append(f"{count(digest.places_free, 'place')} free; next round: {day(digest.next_round)}")
    return "\n".join(lines) + "\n"


def _round_text(row: RoundRow, day: str) -> str:
    return f"{_safe(row.name)}: {row.step}, {_stands(row)}" + (f", until {day}" if day else "")


def _trial_text(row: TrialRow, day: str) -> str:
    words = (
        f"{_safe(row.title)} ({_safe(row.owner)}): {_safe(row.state)}; last number: {_safe(row.last_number or 'none')}"
    )
    words += row.chance_words()
    words += f"; {row.next_what or 'next'} {day}"
    words += f"; late: {_safe(late)}" if (late := _late(row)) else ""
    return words + (f". Decided, and waits for its review: {_safe(row.decided)}" if row.decided else "")


def _part(name: str, lines: Sequence[str]) -> list[str]:
    return [f"## {name}", "", *(f"- {text}" for text in lines), ""] if lines else []


def as_json(digest: Digest) -> str:
    return json.dumps(asdict(digest), indent=2, ensure_ascii=False, default=_plain)


def _plain(value: Any) -> str:
    return value.isoformat() if isinstance(value, datetime) else str(value)
