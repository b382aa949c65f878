"""What stands in a report, from question to outcome: the messages that the channel has seen, in their order and without
their buttons, so that it cannot say more than they did."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.domain.trial import standing
from coldframe.domain.trial.state import Trial, TrialStep
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import (
    Block,
    Buttons,
    Chapter,
    Drawing,
    Facts,
    Grid,
    Heading,
    Items,
    Line,
    Message,
    Page,
    When,
    line,
    plain,
)
from coldframe.message.pictures import Calibration
from coldframe.message.saying import heading, paragraph, said, small
from coldframe.ports.follow_through import RegisterEntry
from coldframe.speech import levels
from coldframe.speech.names import capital, count, spelt, title, together
from coldframe.speech.round import commitment_words, drawn, fate_desk_words, pass_words, results
from coldframe.speech.round.sure_words import Sureness
from coldframe.speech.trial import guard_words, measure_words, review_words, trial_words, verdict_words, week_dates
from coldframe.speech.trial.verdict_words import Judged
from coldframe.timing.dates import short_day

Part = Block | Drawing


@dataclass(frozen=True, slots=True)
class Shown:
    """A trial with what its numbers say (nothing before there are any), its day, and what became of what was decided
    at its review."""

    trial: Trial
    judged: Judged | None
    today: date
    after: Line = ()


@dataclass(frozen=True, slots=True)
class Year:
    """A team's year: its rounds that are still kept, all its trials, the register's entries, what was decided and is
    followed, and how its forecasts did."""

    year: int
    rounds: Sequence[Round]
    trials: Sequence[Shown]
    entries: Sequence[RegisterEntry]
    decided: Sequence[Line] = ()
    calibration: Calibration | None = None


# --- a round --------------------------------------------------------------------------------------------------------


def of_round(round_: Round, sure: Mapping[Step, Sureness], trials: Sequence[Shown], made: datetime, zone: str) -> Page:
    found = (*_came_in(round_), *_chosen(round_, sure), *(_trial(shown) for shown in trials))
    head = line("{n}: {q}", n=theirs(round_.name, 60), q=theirs(round_.settings.question, 300))
    return Page(f"round-{round_.name}", head, _round_in_short(round_, trials), found, made, zone)


def _round_in_short(round_: Round, trials: Sequence[Shown]) -> tuple[Block, ...]:
    lever = round_.settings.lever_name(round_.focus) if round_.focus is not None else ""
    rows: list[tuple[str, Line]] = [
        ("Team", line("{n}", n=count(len(round_.active()), "person", "people"))),
        ("Stands at", line("{s}", s=_stands_at(round_))),
    ]
    if lever:
        rows.append(("Lever", written(lever, 60)))
    rows += [("Tried", _outcome(shown)) for shown in trials]
    if round_.ended_because:
        rows.append(("Ended because", written(round_.ended_because, 500)))
    if round_.next_round is not None:
        rows.append(("Next round", line("{d}", d=When(round_.next_round, "day"))))
    return (Facts(tuple(rows)),)


def _stands_at(round_: Round) -> str:
    named = {Step.COMMITTED: "a commitment was made", Step.CANCELLED: "ended without a commitment"}
    return named.get(round_.step, f"{title(round_.step)}, not over yet")


def _outcome(shown: Shown) -> Line:
    return line("{t}: ", t=theirs(shown.trial.title, 80)) + trial_words.state_line(shown.trial, shown.today)


def _came_in(round_: Round) -> Iterable[Chapter]:
    """What people gave, as it was revealed; the lever in focus first."""
    levers = sorted((key for key, _ in round_.settings.levers), key=lambda key: key != round_.focus)
    if round_.revealed:
        yield _chapter(line("Notes"), _how_many(round_), *(results.reveal(round_, lever) for lever in levers))
    if round_.focus is not None and Step.FOCUS not in round_.passed:
        yield _chapter(line("The lever"), results.focus_picked(round_))
    if round_.forces:
        yield _chapter(line("Forces"), results.merged(round_))


def _how_many(round_: Round) -> Message:
    notes, writers = count(len(round_.revealed), "note"), spelt(round_.writers, "person", "people")
    return said("{n} by {w}, unsigned and in no order.", n=notes, w=writers)


def _chosen(round_: Round, sure: Mapping[Step, Sureness]) -> Iterable[Chapter]:
    yield from _counted(round_, Step.DOTS, sure)
    if round_.questions:
        yield _chapter(line("Questions"), *(results.question_card(round_, each.id) for each in round_.questions))
    if round_.precedents:
        yield _chapter(line("Precedents"), *(results.precedent_card(round_, each, 0) for each in round_.precedents))
    if round_.plan_order:
        yield _chapter(line("Plans"), *(results.plan_page(round_, round_.plans[each]) for each in round_.plan_order))
    yield from _counted(round_, Step.BALLOT, sure)
    if round_.corners:
        yield _matrix(round_)
    if round_.step is Step.COMMITTED and round_.choices:
        yield _chapter(line("Commitment"), commitment_words.sealed_card(round_))
    elif told_of := round_.told_choices():
        chosen = Items(tuple(written(round_.plans[plan].title, 80) for plan in told_of))
        yield Chapter(line("Chosen so far"), (chosen, *fate_desk_words.listed(round_)))


def _counted(round_: Round, step: Step, sure: Mapping[Step, Sureness]) -> Iterable[Chapter]:
    """A vote's result; of one that was not held, why."""
    ranked = round_.forces_standing if step is Step.DOTS else round_.plans_standing
    why = round_.passed.get(step)
    if why is not None:
        words = pass_words.passed(round_, step, why)
        yield from (_chapter(line(title(step)), each) for each in (words,) if each is not None)
    elif ranked and not any(standing.voters for standing in ranked):
        yield _chapter(line(title(step)), _NOBODY[step](round_))
    elif ranked:
        result = results.dots_result if step is Step.DOTS else results.ballot_result
        yield _chapter(line(title(step)), result(round_, sure.get(step), 0))


_NOBODY = {Step.DOTS: results.no_dots, Step.BALLOT: results.no_votes}


def _matrix(round_: Round) -> Chapter:
    """Rounds of an earlier release kept the corners alone."""
    chart = drawn.matrix(round_)
    known = [plan for plan in round_.to_place if plan in round_.corners and plan in round_.plans]
    rows = tuple(
        line("{t}: {c}", t=theirs(round_.plans[plan].title, 80), c=round_.corners[plan].corner.value) for plan in known
    )
    picture = (Drawing(chart, "matrix"),) if chart is not None else ()
    return Chapter(line("Effort and impact"), (Items(rows), *picture))


# --- a trial --------------------------------------------------------------------------------------------------------


def of_trial(shown: Shown, made: datetime, zone: str) -> Page:
    trial = shown.trial
    lead = (paragraph(_capital(_state(shown))), Facts(_plan_rows(trial)))
    found = _chapters(shown)
    return Page(f"trial-{trial.title}", written(trial.title, 80), lead, tuple(found), made, zone)


def _state(shown: Shown) -> Line:
    return trial_words.state_line(shown.trial, shown.today)


def _capital(words: Line) -> Line:
    first, *rest = words
    return (*line("{w}", w=capital(plain((first,)))), *rest)


def _trial(shown: Shown) -> Chapter:
    """In the report of its round: all of it in one chapter."""
    parts: list[Part] = [paragraph(_capital(_state(shown)))]
    for chapter in _chapters(shown):
        parts += [heading(chapter.title), *chapter.parts]
    return Chapter(line("Trial: {t}", t=theirs(shown.trial.title, 80)), tuple(parts))


def _plan_rows(trial: Trial) -> tuple[tuple[str, Line], ...]:
    criterion = trial.criterion
    span = (measure_words.given(trial, number) for number in (criterion.usual, criterion.target))
    rows: list[tuple[str, Line]] = [
        ("Question", written(trial.question, 300)),
        ("We expected", written(trial.hypothesis, 1000)),
        ("Measure", written(criterion.measure, 200)),
        ("From, to", line("{a} to {b}", **dict(zip("ab", span, strict=True)))),
        ("Who is counted", written(criterion.counted, 300)),
        ("Stop line", levels.stop_line(criterion)),
        ("Harm measure", levels.harm(criterion)),
        ("Owner", written(trial.name_of(trial.owner), 60)),
        ("From the round", written(trial.round_name, 60)),
        ("Brought in from", written(trial.brought, 300)),
    ]
    return tuple((label, words) for label, words in rows if plain(words).strip())


def _chapters(shown: Shown) -> list[Chapter]:
    found = (_built(shown.trial), _weeks(shown), _numbers(shown), _held(shown))
    return [chapter for chapter in found if chapter.parts]


def _built(trial: Trial) -> Chapter:
    rows: list[tuple[str, Line]] = []
    if trial.sealed is not None:
        rows.append(("Built since", line(short_day(trial.sealed))))
    if trial.planned_live is not None:
        rows.append(("Live as planned", line(short_day(trial.planned_live))))
    rows += [("Moved", line("to {d}: {r}", d=short_day(p.to), r=theirs(p.reason, 300))) for p in trial.postponed]
    if (live := trial.live_since()) is not None:
        rows.append(("Live since", line(short_day(live))))
    if trial.smaller:
        rows.append(("Left out", written(trial.smaller, 300)))
    done = sum(action.done is not None for action in trial.actions)
    if trial.actions:
        rows.append(("First week", line("{d} of {n} done", d=done, n=count(len(trial.actions), "action"))))
    return Chapter(line("Building it"), (Facts(tuple(rows)),) if rows else ())


def _weeks(shown: Shown) -> Chapter:
    trial = shown.trial
    early = trial.entry(0)
    entries = [*((early,) if early is not None else ()), *trial.entries()]
    rows = tuple(trial_words.entry_line(trial, entry) for entry in entries)
    parts: tuple[Part, ...] = (Items(rows),) if rows else ()
    corrected = [week for week, history in trial.weeks.items() if len(history) > 1]
    if corrected:
        words = "Corrected: {w}; the earlier numbers are kept."
        parts += (small(words, w=week_dates.weeks(trial, corrected)),)
    return Chapter(line("Week by week"), (*parts, *_picture(shown)))


def _picture(shown: Shown) -> tuple[Drawing, ...]:
    trend = shown.judged.trend if shown.judged is not None else None
    return (Drawing(trend, f"trend-{shown.trial.plan}"),) if trend is not None else ()


def _numbers(shown: Shown) -> Chapter:
    trial, judged = shown.trial, shown.judged
    blocks: list[Block] = []
    if judged is not None and (trial.weeks or trial.step is TrialStep.IN_REVIEW):
        words = trial.closing.sentence if trial.closing is not None else verdict_words.sentence(trial, judged)
        blocks += [paragraph("*{s}*", s=theirs(words, 600)), *verdict_words.blocks(trial, judged)]
        blocks += verdict_words.what_it_does_not_show(judged)
    crossed = [written(words, 300) for words in guard_words.open_lines(trial)]
    crossed += [guard_words.settled_line(trial, one) for one in trial.settled]
    if crossed:
        blocks.append(Items(tuple(crossed)))
    return Chapter(line("What the numbers say"), tuple(blocks))


def _held(shown: Shown) -> Chapter:
    """The review as it was closed, and what became of what was decided there."""
    trial = shown.trial
    if trial.closing is None:
        given = together(trial.chances.values())
        told_of = (small("Forecasts: {w}.", w=given),) if given and trial.step is not TrialStep.PROPOSED else ()
        return Chapter(line("Review"), told_of)
    blocks = [block for block in review_words.closed(trial, None).blocks[2:] if not isinstance(block, Buttons)]
    if shown.after:
        blocks.append(paragraph(line("Since then: ") + shown.after + line(".")))
    return Chapter(line("Review"), tuple(blocks))


# --- a year ---------------------------------------------------------------------------------------------------------


def of_year(found: Year, made: datetime, zone: str) -> Page:
    head = line("{y}: what we asked, what we tried, what came out", y=found.year)
    chapters = (*_overview(found), *(_trial_in_short(shown) for shown in found.trials))
    return Page(f"year-{found.year}", head, (Facts(_year_in_short(found)),), tuple(chapters), made, zone)


def _year_in_short(found: Year) -> tuple[tuple[str, Line], ...]:
    judged = [standing.as_called_now(e.verdict) for e in found.entries if e.decision and not e.brought]
    each = ", ".join(f"{word} {judged.count(word)}" for word in dict.fromkeys(sorted(judged, key=judged.count)[::-1]))
    rows = [
        ("Rounds", count(len(found.rounds), "round") if found.rounds else ""),
        ("Trials", spelt(len(found.trials), "trial")),
        ("Reviewed", f"{len(judged)}: {each}" if judged else "none yet"),
        (
            "Brought in",
            spelt(brought, "past result") if (brought := sum(bool(e.brought) for e in found.entries)) else "",
        ),
    ]
    return tuple((label, line("{w}", w=words)) for label, words in rows if words)


def _overview(found: Year) -> Iterable[Chapter]:
    if found.rounds:
        rows = tuple(_round_row(each) for each in found.rounds)
        yield Chapter(line("Rounds"), (Grid("From question to trials", _OF_ROUNDS, rows),))
    if found.entries:
        rows = tuple(_entry_row(each) for each in found.entries)
        yield Chapter(line("Trials"), (Grid("What was tried, the newest first", _OF_ENTRIES, rows),))
    learnt = [text for e in found.entries for text in (e.learning, *e.of_others) if text]
    if learnt:
        yield Chapter(line("What we learnt"), (Items(tuple(written(text, 500) for text in dict.fromkeys(learnt))),))
    if found.decided:
        yield Chapter(line("What was decided"), (Items(tuple(found.decided)),))
    if found.calibration is not None:
        yield Chapter(line("Our forecasts"), (Drawing(found.calibration, "calibration"),))


_OF_ROUNDS = ("Round", "Question", "Lever", "Plans", "Tried")
_OF_ENTRIES = ("Trial", "Owner", "Verdict", "What followed")


def _round_row(round_: Round) -> tuple[Line, ...]:
    lever = round_.settings.lever_name(round_.focus) if round_.focus is not None else ""
    tried = ", ".join(round_.plans[plan].title for plan in round_.told_choices())
    question = written(round_.settings.question, 300)
    plans = line("{n}", n=len(round_.plan_order))
    return written(round_.name, 60), question, written(lever, 60), plans, written(tried, 300)


def _entry_row(entry: RegisterEntry) -> tuple[Line, ...]:
    verdict = line("{v}", v=standing.as_called_now(entry.verdict))
    return written(entry.title, 80), written(entry.owner or "nobody", 60), verdict, line("{d}", d=entry.decision)


def _trial_in_short(shown: Shown) -> Chapter:
    trial = shown.trial
    sentence = trial.closing.sentence if trial.closing is not None else ""
    rows: list[tuple[str, Line]] = [
        ("Question", written(trial.question, 300)),
        ("We expected", written(trial.hypothesis, 600)),
        ("Came out", written(sentence, 600)),
        ("We learnt", written(trial.closing.learning if trial.closing is not None else "", 600)),
        ("Since then", shown.after),
    ]
    facts = Facts(tuple((label, words) for label, words in rows if plain(words).strip()))
    return Chapter(written(trial.title, 80), (paragraph(_capital(_state(shown))), facts, *_picture(shown)))


# --- of messages ----------------------------------------------------------------------------------------------------


def _chapter(title_: Line, *messages: Message) -> Chapter:
    """What the messages say and show, without what could be pressed; of one alone its heading is the chapter's."""
    alone = len(messages) == 1
    return Chapter(title_, tuple(part for each in messages for part in _parts(each, alone)))


def _parts(message: Message, alone: bool) -> Iterable[Part]:
    for block in message.blocks:
        if not isinstance(block, Buttons) and not (alone and isinstance(block, Heading)):
            yield block
    yield from (each for each in message.attachments if isinstance(each, Drawing))
