"""The review: material the day before, the verdict at the date, what followed; personal scores "
"to the person alone."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from coldframe.domain.names import Step
from coldframe.domain.trial.state import UNDER_WAY, Closing, Trial, TrialStep
from coldframe.domain.unsigned import enough
from coldframe.message.harmless import signed, theirs, written
from coldframe.message.nodes import Block, Button, Drawing, Facts, Items, Line, Message, When, line
from coldframe.message.packed import ButtonValue
from coldframe.message.pictures import Calibration
from coldframe.message.saying import heading, offer, paragraph, said, told
from coldframe.speech.names import about_trial, capital, count, of_review, spelt, together
from coldframe.speech.trial import measure_words, trial_dates, verdict_words, week_dates
from coldframe.speech.trial.owner_words import take_it
from coldframe.speech.trial.trial_words import entry_line, title, who
from coldframe.speech.trial.verdict_words import Judged

GUESS = 0.25  # the Brier score of whoever always says one half


def brief(trial: Trial, today: date) -> Message:
    """To the team, the day before: what was expected, what is in, and a private place for what each one learnt."""
    assert trial.review is not None
    words = line("Coming up: the review of “{t}”, {d}.", t=title(trial), d=When(trial.review))
    blocks: list[Block] = [heading(words), *_expected(trial), *_entries(trial)]
    blocks.append(paragraph("Before you talk: what did you learn? Write it in private; all of it appears at once."))
    if trial.step in UNDER_WAY:
        blocks.append(offer(Button("What I learnt …", "trial.learn", about_trial(trial), "primary")))
    return Message(words, tuple(blocks))


def brief_for_owner(trial: Trial, missing: Sequence[int]) -> Message:
    """That it comes, and what the owner can still do for it; the numbers stand in the channel."""
    assert trial.review is not None
    words = line("The review of “{t}” comes {d}.", t=title(trial), d=When(trial.review))
    blocks: list[Block] = [paragraph(words)]
    if missing:
        blocks.append(paragraph("Still missing: {w}.", w=week_dates.weeks(trial, missing)))
    blocks += _open_actions(trial)
    log = (Button("Log a week …", "trial.log", about_trial(trial), "primary"),) if missing else ()
    blocks.append(offer(*log, Button("Move the review …", "trial.review_date", about_trial(trial))))
    return Message(words, tuple(blocks))


def _expected(trial: Trial) -> list[Block]:
    rows = (
        ("We expected", written(trial.hypothesis, 500)),
        ("Target", line("{v}: {m}", v=_target(trial), m=theirs(trial.criterion.measure, 200))),
    )
    return [Facts(rows)]


def _target(trial: Trial) -> str:
    return measure_words.target(trial)


def _entries(trial: Trial) -> list[Block]:
    entries = trial.entries()
    if not entries:
        return [paragraph("No numbers are in.")]
    return [Items(tuple(entry_line(trial, e) for e in entries))]


def _open_actions(trial: Trial) -> list[Block]:
    rest = trial.open_actions()
    if not rest:
        return []
    return [paragraph("Still open: {n}.", n=count(len(rest), "action"))]


# --- at the date ---------------------------------------------------------------------------------------------------


def verdict(trial: Trial, judged: Judged, today: date) -> Message:
    """In the channel: what we expected, what happened, the chances that people gave; then what it leaves open."""
    sentence = verdict_words.sentence(trial, judged)
    summary = line("Review of “{t}”. {s}", t=title(trial), s=theirs(sentence, 600))
    blocks: list[Block] = [heading("Review: {t}", t=title(trial)), paragraph("*{s}*", s=theirs(sentence, 600))]
    blocks += verdict_words.blocks(trial, judged)
    blocks += [*_expected(trial), *_against_the_plan(trial, today), *_chances(trial), *_fears(trial)]
    buttons = [Button("Close the review …", "trial.close", of_review(trial), "primary")]
    buttons.append(Button("What I learnt …", "trial.learn", about_trial(trial)))
    if judged.waits_for_a_check:
        buttons.insert(0, Button("The counting was checked …", "trial.check", about_trial(trial)))
    if trial.step is TrialStep.IN_REVIEW:
        blocks.append(offer(*buttons))
    blocks += verdict_words.what_it_does_not_show(judged)
    drawing = (Drawing(judged.trend, f"trend-{trial.plan}"),) if judged.trend is not None else ()
    return Message(summary, tuple(blocks), attachments=drawing)


def _against_the_plan(trial: Trial, today: date) -> list[Block]:
    done = sum(a.done is not None for a in trial.actions)
    words = [f"{done} of {count(len(trial.actions), 'first-week action')} done"]
    whole = sum(e.state == "whole" for e in trial.entries())
    words.append(f"{whole} of {count(trial.planned, 'week')} counted")
    if trial.dates_moved:
        words.append(f"dates moved {_times(trial.dates_moved)}")
    rows: list[tuple[str, Line]] = [("Against the plan", line("{w}", w="; ".join(words)))]
    if trial.stopped:
        rows.append(("Stopped early", (signed(trial.stopped, trial.owner, 500),)))
    corrected = [e for week in trial.weeks.values() if len(week) > 1 for e in week[-1:]]
    if corrected:
        weeks = week_dates.weeks(trial, [e.week for e in corrected])
        rows.append(("Corrected", line("{w}; the earlier numbers are kept", w=weeks)))
    return [Facts(tuple(rows))]


def _times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{number} times")


def _chances(trial: Trial) -> list[Block]:
    given = together(trial.chances.values())
    return [Facts((("Forecasts", line("{w}", w=given)),))] if given else []


def _fears(trial: Trial) -> list[Block]:
    """An earlier release kept what too few had written for the review; theirs is what they showed with their name."""
    found = [written(fear, 300) for fear in trial.fears[:8]] if enough(trial.fears) else []
    found += [
        line("{w} ({o})", w=signed(said.text, said.by, 300), o=who(trial, said.by))
        for said in trial.signed
        if said.what == "fear"
    ]
    return [paragraph("What people feared:"), Items(tuple(found))] if found else []


def to_close(trial: Trial) -> Message:
    """To the owner: the one thing that is theirs to do at the review."""
    words = line(
        "The review of “{t}” is here; the verdict is in the channel. What was learnt, and what follows: scale, change "
        "or stop?",
        t=title(trial),
    )
    buttons = (
        Button("Close the review …", "trial.close", of_review(trial), "primary"),
        Button("Log a week …", "trial.log", about_trial(trial)),
        Button("Move the review …", "trial.review_date", about_trial(trial)),
    )
    return told(words, offer(*buttons))


# --- afterwards ----------------------------------------------------------------------------------------------------


def closed(trial: Trial, score: float | None) -> Message:
    """Marked in the channel whatever the result, with thanks to the owner."""
    closing = trial.closing
    assert closing is not None
    sentence = (theirs(closing.sentence or closing.outcome, 400),)
    words = line("“{t}” is reviewed: ", t=title(trial)) + sentence
    blocks: list[Block] = [heading("Reviewed: {t}", t=title(trial)), paragraph(sentence)]
    rows: list[tuple[str, Line]] = [
        ("What follows", line("{d}. {r}", d=closing.decision.capitalize(), r=signed(closing.reason, closing.by, 500))),
        *_what_follows(trial, closing),
        ("What we keep", (signed(closing.learning, closing.by, 1000),)),
    ]
    if score is not None:
        rows.append(("Forecasts", line("{w}", w=_score_words(score, len(trial.chances)))))
    blocks.append(Facts(tuple(rows)))
    if trial.shown_learnings:
        blocks.append(paragraph("What others learnt, unsigned:"))
        blocks.append(Items(tuple(written(t, 500) for t in trial.shown_learnings)))
    blocks.append(paragraph(line("What this team did: {d}. Thank you, {o}.", d=_did(trial), o=_owner(trial))))
    return Message(words, tuple(blocks))


_EXACTLY = {"scale": "What exactly", "change": "What stays", "stop": "Switched off"}


def _what_follows(trial: Trial, closing: Closing) -> list[tuple[str, Line]]:
    rows: list[tuple[str, Line]] = []
    if closing.what:
        rows.append((_EXACTLY[closing.decision], (signed(closing.what, closing.by, 500),)))
    if closing.owner is not None and closing.due is not None:
        seen = line("{o}, by {d}", o=who(trial, closing.owner), d=When(closing.due, "day"))
        rows.append(("Who sees it done", seen + _with_a_yes(trial, closing)))
    return rows


def _with_a_yes(trial: Trial, closing: Closing) -> Line:
    """Nothing is scaled that whoever decides does not agree to."""
    chief = trial.decision_maker
    if closing.decision != "scale" or chief is None or chief == closing.by or chief not in trial.people:
        return ()
    return line(", if {c} agrees", c=who(trial, chief))


def _did(trial: Trial) -> str:
    """What was done, whatever came of it: a trial that was run and counted is a result."""
    done = sum(action.done is not None for action in trial.actions)
    whole = sum(entry.state == "whole" for entry in trial.entries())
    broken = len(trial.entries()) - whole
    corrected = sum(len(week) > 1 for week in trial.weeks.values())
    said = [
        f"{done} of {count(len(trial.actions), 'first-week action')} done" if trial.actions else "",
        f"{whole} of {count(trial.planned, 'week')} counted",
        f"{count(broken, 'broken week')} named as such" if broken else "",
        f"{count(corrected, 'week')} put right" if corrected else "",
        f"{len(trial.chances)} forecasts made beforehand" if enough(trial.chances) else "",
        "stopped before its end, with the reason" if trial.stopped else "",
        "the review held on its date" if not trial.missed_reviews else "the review held, if late",
        "what was learnt written down" if trial.closing is not None and trial.closing.learning else "",
    ]
    return ", ".join(part for part in said if part)


def _owner(trial: Trial) -> Line:
    return who(trial, trial.owner) if trial.owner else line("everybody")


def _score_words(score: float, number: int) -> str:
    better = "better than" if score < GUESS else "worse than" if score > GUESS else "the same as"
    said = f"{number}, with a mean score of {score:.2f} (0 is best)"
    return f"{said}; that is {better} always saying 50%, which gets {GUESS:.2f}"


def own_score(trial: Trial, chance: int, met: bool, score: float) -> Message:
    """To the person alone."""
    return said(
        "“{t}”: you said {c}%, and the target was {m}. Your score is {s} (0 is best; always saying 50% gets {g}). "
        "Only you see this.",
        t=title(trial),
        c=chance,
        m="reached" if met else "not reached",
        s=f"{score:.2f}",
        g=f"{GUESS:.2f}",
    )


def calibration(chart: Calibration) -> Message:
    words = line(
        "Forecasts against what happened, over all reviewed trials: {n} are resolved.",
        n=count(chart.resolved, "forecast"),
    )
    return told(words, attachments=(Drawing(chart, "calibration"),))


def moved(trial: Trial, missed: bool, longer: int = 0) -> Message:
    """A review has a new date; a missed one is re-dated, not forgotten."""
    assert trial.review is not None
    template = "The review of “{t}” was not closed on its date. It comes {d} now; the verdict waits."
    if not missed:
        template = "The review of “{t}” moves to {d}."
    if longer:
        template = "A week of “{t}” can't be counted, so the trial goes on to the end of {w}. Its review moves to {d}."
    words = line(template, t=title(trial), d=When(trial.review), w=week_dates.week(trial, trial.last_week()))
    file = trial_dates.calendar_of_review(trial)
    if not missed:
        return told(words, attachments=(file,))
    words += line(" Does it need another owner? Anybody of the team may look after it.")
    return told(words, offer(take_it(trial)), attachments=(file,))


def on_a_day_off(trial: Trial, why: str) -> Message:
    """To the owner, whose hours or absence changed after the date was set."""
    assert trial.review is not None
    words = line(
        "The review of “{t}” on {d} now falls on a day on which you do not work ({why}). It stays there unless you "
        "move it.",
        t=title(trial),
        d=When(trial.review, "day"),
        why=why,
    )
    return told(words, offer(Button("Move the review …", "trial.review_date", about_trial(trial))))


def stopped(trial: Trial) -> Message:
    words = line(
        "{o} stopped the trial “{t}” early: {r}. Its review comes now.",
        o=who(trial, trial.owner),
        t=title(trial),
        r=signed(trial.stopped.rstrip("."), trial.owner, 500),
    )
    file = trial_dates.calendar_of_review(trial)
    return told(words, attachments=(file,))


def place_free(waiting: Sequence[tuple[str, str, str]]) -> Message:
    """To the facilitator: a place for a trial is free, and which plans wait. `waiting`: round, plan, title."""
    words = line("A place for a trial is free.")
    if not waiting:
        return Message(words, (paragraph("A place for a trial is free. No unused plan waits for it."),))
    buttons = tuple(
        Button(f"Start: {theirs(t, 60).text} …", "trial.plan", ButtonValue(r, (p,), Step.COMMITTED.value).pack())
        for r, p, t in waiting[:6]
    )
    text = line(
        "A place for a trial is free. {n} been tried yet:",
        n=capital(spelt(len(waiting), "plan hasn't", "plans haven't")),
    )
    return Message(words, (paragraph(text), offer(*buttons)))


def learning_kept() -> Message:
    return said("Thanks. Nobody sees it before the review is closed, and you can change it until then.")
