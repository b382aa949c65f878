"""A trial under way: its card in the channel, what its owner is asked and told in private, who hears of what."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from coldframe.domain.names import MemberId
from coldframe.domain.trial import standing
from coldframe.domain.trial.owning import may_be_taken
from coldframe.domain.trial.state import (
    OPEN_STEPS,
    UNDER_WAY,
    WENT_LIVE,
    Entry,
    Figures,
    Trial,
    TrialAction,
    TrialStep,
)
from coldframe.message.harmless import signed, theirs, written
from coldframe.message.nodes import (
    Block,
    Button,
    Drawing,
    Facts,
    Items,
    Line,
    Message,
    When,
    Who,
    line,
)
from coldframe.message.plain import figure, sentence
from coldframe.message.saying import heading, offer, paragraph, said, small, told
from coldframe.speech.names import (
    about_trial,
    begun,
    brought,
    capital,
    count,
    of_action,
    of_building,
    of_offer,
    of_owner,
    of_proposed,
    of_review,
    of_running,
    spelt,
)
from coldframe.speech.trial import guard_words, measure_words, next_words, trial_dates, verdict_words, week_dates
from coldframe.speech.trial.verdict_words import Judged
from coldframe.timing.dates import short_day


def who(trial: Trial, member: MemberId | None) -> Line:
    if member is None:
        return line("nobody")
    return (Who(member, theirs(trial.name_of(member), 40).text),)


def title(trial: Trial) -> Line:
    return written(trial.title, 80)


def said_of(template: str, trial: Trial, **parts: Line | str | int) -> Message:
    return said(template, title=title(trial), **parts)


# --- the channel's card -------------------------------------------------------------------------------------------


def card(trial: Trial, today: date) -> Message:
    """The trial in the channel, kept up to date in place: numbers and verdict are everybody's."""
    head = line("Trial “{t}”: {s}", t=title(trial), s=state_line(trial, today))
    blocks: list[Block] = [heading("Trial: {t}", t=title(trial)), paragraph(begun(state_line(trial, today)))]
    if trial.reading is not None:
        blocks.append(paragraph(written(trial.reading.sentence, 600)))
        if trial.reading.alerts and trial.step in UNDER_WAY:
            blocks.append(Items(tuple(written(alert, 300) for alert in trial.reading.alerts)))
    crossed = guard_words.open_lines(trial)
    if crossed:
        blocks.append(Items(tuple(written(one, 200) for one in crossed)))
    blocks.append(Facts(_card_rows(trial)))
    if trial.actions:
        blocks.append(Items(tuple(_action_line(trial, a) for a in trial.actions)))
    if trial.step in WENT_LIVE:
        blocks.append(offer(*_card_buttons(trial)))
    return Message(head, tuple(blocks))


def over(trial: Trial) -> Message:
    """The one line that is left of what somebody had about it."""
    if trial.step in UNDER_WAY:
        return told(line("“{t}”: {o} owns it now.", t=title(trial), o=who(trial, trial.owner)))
    return told(line("“{t}” is over.", t=title(trial)))


def state_line(trial: Trial, today: date) -> Line:
    """Where it stands, in a line."""
    match trial.step:
        case TrialStep.PROPOSED:
            return line("waits for {o} to say yes.", o=who(trial, trial.asked))
        case TrialStep.REVIEWED:
            assert trial.closing is not None
            outcome = standing.as_called_now(trial.closing.outcome)
            return line("reviewed: *{v}*; what follows: {d}.", v=outcome, d=trial.closing.decision)
        case TrialStep.DROPPED:
            why = line("was not built: {r}", r=theirs(sentence(trial.stopped), 300))
            return why if trial.stopped else line("was not started.")
        case TrialStep.BUILDING:
            return _building_line(trial, today)
        case TrialStep.IN_REVIEW:
            return line("in review; {n} of {p} weeks are logged.", n=_whole_weeks(trial), p=trial.planned)
        case _:
            return _running_line(trial, today)


def _building_line(trial: Trial, today: date) -> Line:
    expected, planned = trial.live_expected(), trial.planned_live
    if expected is None:
        return line("being built.")
    words = "being built; it should be live on {d}{p}." if expected >= today else "being built; not live on {d}{p}."
    moved = f", not {short_day(planned)} as planned" if planned is not None and planned != expected else ""
    return line(words, d=short_day(expected), p=moved)


def _running_line(trial: Trial, today: date) -> Line:
    """The week that today is in, before the first and after the last as well; then what is logged and what is not."""
    assert trial.starts is not None
    words = line("{w}; {n}", w=_now(trial, trial.starts, today), n=week_dates.logged(trial))
    missing = trial.unlogged(today)
    if missing:
        words += line("; missing: {m}", m=week_dates.weeks(trial, missing))
    elif (week := trial.not_countable(today)) is not None:
        day = short_day(trial.counted_from(week) or today)
        words += line("; {w}, can be counted from {d}", w=week_dates.week(trial, week), d=day)
    return words + line(".")


def _now(trial: Trial, starts: date, today: date) -> str:
    week = (today - starts).days // 7 + 1
    if week < 1:
        return (
            f"live since {short_day(trial.live_since() or starts)}; {week_dates.week(trial, 1)}, is the first to count"
        )
    if week > trial.last_week():
        return f"its {trial.last_week()} weeks are over"
    return f"in {week_dates.week(trial, week)}"


def _whole_weeks(trial: Trial) -> int:
    return sum(entry.state == "whole" for entry in trial.entries())


def _card_rows(trial: Trial) -> tuple[tuple[str, Line], ...]:
    rows: list[tuple[str, Line]] = [
        ("Owner", who(trial, trial.owner)),
        ("Measure", written(trial.criterion.measure, 200)),
        ("Target", line("{t}", t=measure_words.target(trial))),
    ]
    if trial.brought:
        rows.append(("Brought in", brought(trial.brought, judged=not trial.only_counted)))
    entries = trial.entries()
    if entries:
        rows.append(("Last number", entry_line(trial, entries[-1])))
    if trial.smaller:
        rows.append(("Left out", written(trial.smaller, 300)))
    if trial.review is not None and trial.step is TrialStep.BUILDING:
        rows.append(("Review", line("{d}, if it is live by then", d=When(trial.review))))
    elif trial.review is not None and trial.step in UNDER_WAY:
        rows.append(("Review", line("{d}", d=When(trial.review))))
    if trial.in_the_way:
        rows.append(("In the way", (signed(trial.in_the_way, trial.owner, 300),)))
    return tuple(rows)


def _action_line(trial: Trial, action: TrialAction) -> Line:
    mark = "done" if action.done is not None else "open"
    return line(
        "{m}: {t} ({o}, by {d})",
        m=mark,
        t=theirs(action.text, 200),
        o=who(trial, action.who),
        d=When(action.due, "day"),
    )


def _card_buttons(trial: Trial) -> tuple[Button, ...]:
    buttons = [Button("What I learnt …", "trial.learn", about_trial(trial))]
    if trial.step is TrialStep.IN_REVIEW:
        return (
            Button("Close the review …", "trial.close", of_review(trial), "primary"),
            *buttons,
        )
    return (*_log(trial), *buttons)


def _log(trial: Trial, *, primary: bool = False) -> tuple[Button, ...]:
    """What is only counted is not logged."""
    if trial.only_counted:
        return ()
    return (Button("Log a week …", "trial.log", about_trial(trial), "primary" if primary else "plain"),)


def entry_line(trial: Trial, entry: Entry) -> Line:
    """A week's numbers as they were understood."""
    week = week_dates.week(trial, entry.week)
    if entry.state != "whole":
        words = line("{w}: does not count ({s})", w=week, s=_STATES[entry.state])
        return words + line(", {r}", r=signed(entry.reason, entry.by, 100)) if entry.reason else words
    parts = [(name, found) for name, found in (("without", entry.control), ("with", entry.trial)) if found]
    said = "; ".join(f"{name} the change {_figures(trial, f)}" for name, f in parts)
    if len(parts) == 1:
        said = _figures(trial, parts[0][1])
    said += guard_words.beside(trial, entry) + ("; sent by a program" if entry.sent else "")
    return line("{w}: {s}{j}", w=week, s=said, j="" if entry.week else " (not judged)")


_STATES = {"whole": "whole", "partial": "half a week", "broken": "faulty counting"}


def _figures(trial: Trial, figures: Figures) -> str:
    if figures.sd is not None and figures.of is not None:
        return f"{figure(figures.value)} on average (sd {figure(figures.sd)}, {figures.of:,} people)"
    if trial.criterion.kind == "rate":
        return f"{figures.value:,.0f} in {figures.of:,}"
    if figures.of is not None:
        share = measure_words.value(trial, figures.value / figures.of) if figures.of else "nobody"
        return f"{figures.value:,.0f} of {figures.of:,} ({share})"
    if trial.criterion.kind == "count":
        return f"{figures.value:,.0f}"
    return measure_words.value(trial, figures.value) if figures.value < 1 else figure(figures.value)


def under_way(trials: Sequence[tuple[Trial, date]], me: MemberId, decided: Sequence[Block] = ()) -> Message:
    """What runs, in a list, with what this person can do; then what was `decided` and is to be done."""
    head = line("{n} under way.", n=capital(spelt(len(trials), "trial is", "trials are")))
    blocks: list[Block] = [heading(head)]
    for trial, today in trials:
        blocks += open_now(trial, today, me)
    if not trials:
        blocks.append(paragraph("`/coldframe search` finds those that are over."))
    return Message(head, (*blocks, *decided))


def open_now(trial: Trial, today: date, me: MemberId) -> list[Block]:
    """Where an open trial stands, and what this person can do for it; nothing for one that is over."""
    if trial.step not in OPEN_STEPS:
        return []
    words = line("*{t}* ({o}): {s}", t=title(trial), o=who(trial, trial.owner), s=state_line(trial, today))
    blocks: list[Block] = [paragraph(words)]
    if trial.reading is not None:
        blocks.append(small(written(trial.reading.sentence, 300)))
    buttons = _own_buttons(trial, me)
    return [*blocks, offer(*buttons)] if buttons else blocks


def _own_buttons(trial: Trial, me: MemberId) -> tuple[Button, ...]:
    key, owned = about_trial(trial), of_owner(trial)
    if trial.step is TrialStep.PROPOSED:
        asked = of_offer(trial)
        yes = Button("I accept", "trial.accept", asked, "primary")
        drop = Button("Do not start it", "trial.drop", of_proposed(trial))
        return ((yes, Button("I decline …", "trial.decline", asked)) if me == trial.asked else ()) + (
            (drop,) if me == trial.facilitator else ()
        )
    if trial.step is TrialStep.BUILDING:
        return _building_buttons(trial, me)
    if me != trial.owner:
        take = (Button("I will own it", "trial.own", owned),) if may_be_taken(trial) else ()
        return (*take, Button("Ask somebody …", "trial.ask", owned)) if me == trial.facilitator else take
    if trial.step is TrialStep.IN_REVIEW:
        first: tuple[Button, ...] = (Button("Close the review …", "trial.close", of_review(trial), "primary"),)
    else:
        first = _log(trial, primary=True)
    slip = Button("Not live since then …", "trial.live_since", key)
    return (
        *first,
        *((slip,) if trial.live is not None and not trial.weeks and not trial.early else ()),
        *_done_buttons(trial),
        *((Button("Numbers by a program …", "trial.address", key),) if not trial.only_counted else ()),
        Button("Move the review …", "trial.review_date", key),
        Button("Something is in the way …", "trial.block", key),
        Button("Hand over …", "trial.hand_over", owned),
        Button("Stop early …", "trial.stop", of_running(trial), "danger"),
    )


def _building_buttons(trial: Trial, me: MemberId) -> tuple[Button, ...]:
    """Until it is live: the owner says since when it is; each of those who hold its review may drop it."""
    built = of_building(trial)
    drop = (Button("Drop it …", "trial.give_up", built, "danger"),) if me in trial.holders() else ()
    if me != trial.owner:
        take = (Button("I will own it", "trial.own", of_owner(trial)),) if may_be_taken(trial) else ()
        ask = (Button("Ask somebody …", "trial.ask", of_owner(trial)),) if me == trial.facilitator else ()
        return (*take, *ask, *drop)
    return (
        Button("It's live …", "trial.live_since", built, "primary"),
        *_done_buttons(trial),
        Button("Another day …", "trial.live_move", built),
        Button("Something is in the way …", "trial.block", about_trial(trial)),
        Button("Hand over …", "trial.hand_over", of_owner(trial)),
        *drop,
    )


def _done_buttons(trial: Trial) -> tuple[Button, ...]:
    open_ = trial.open_actions()[:6]
    return tuple(Button(f"Done: {theirs(a.text, 50).text}", "trial.tick", of_action(trial, a.id)) for a in open_)


# --- numbers ------------------------------------------------------------------------------------------------------


TAKEN_DOWN = 3  # weeks that are repeated to whoever gave them


def reading(trial: Trial, judged: Judged, understood: Sequence[Entry]) -> Message:
    """The answer to an entry, in a few lines: the state in one plain sentence, what was taken down, the numbers that
    matter, and the picture; all else behind a button."""
    summary = _state(trial, judged)
    blocks: list[Block] = [paragraph(summary)]
    if understood:
        blocks.append(small(_taken_down(trial, understood)))
    blocks += verdict_words.in_short(trial, judged)
    step = next_words.next_step(trial, judged)
    blocks += [paragraph(step)] if step else verdict_words.how_final(trial, judged)
    more = (_more(trial, judged),) if judged.verdict is not None else ()
    calm = tuple(guard_words.calm_button(trial, e.week) for e in understood[-1:] if guard_words.asks(trial, e))
    blocks.append(offer(*calm, *more, *_reading_buttons(trial, judged)))
    drawing = (Drawing(judged.trend, f"trend-{trial.plan}"),) if judged.trend is not None else ()
    return Message(summary, tuple(blocks), attachments=drawing)


def reading_in_full(trial: Trial, judged: Judged) -> Message:
    """In the place of the few lines."""
    summary = _state(trial, judged)
    blocks = (*verdict_words.blocks(trial, judged), *verdict_words.how_final(trial, judged))
    return Message(summary, (paragraph(summary), *blocks, offer(*_reading_buttons(trial, judged))))


def _state(trial: Trial, judged: Judged) -> Line:
    return line("“{t}”. {s}", t=title(trial), s=theirs(verdict_words.sentence(trial, judged), 600))


def _taken_down(trial: Trial, understood: Sequence[Entry]) -> Line:
    words = line("I noted: ")
    for number, entry in enumerate(understood[:TAKEN_DOWN]):
        words += (line("; ") if number else ()) + entry_line(trial, entry)
    left = len(understood) - TAKEN_DOWN
    return words + (line(" and {n}.", n=count(left, "week more", "weeks more")) if left > 0 else line("."))


def _more(trial: Trial, judged: Judged) -> Button:
    """It says how much there is to watch out for."""
    watch = len(verdict_words.cautions(trial, judged))
    label = f"Show more, with {count(watch, 'caution')}" if watch else "Show more"
    return Button(label, "trial.more", about_trial(trial))


def _reading_buttons(trial: Trial, judged: Judged) -> tuple[Button, ...]:
    buttons = [Button("Correct or add a week …", "trial.log", about_trial(trial))]
    if judged.waits_for_a_check:
        buttons.append(Button("The counting was checked …", "trial.check", about_trial(trial)))
    if trial.step is TrialStep.RUNNING and not trial.stopped:
        buttons.append(Button("Stop early …", "trial.stop", of_running(trial), "danger"))
    return tuple(buttons)


# --- start --------------------------------------------------------------------------------------------------------


def fears(trial: Trial) -> Message | None:
    """The pre-mortem, revealed with the commitment: unsigned and shuffled, when enough people wrote. Of fewer each is
    asked for themselves (`signing_words`)."""
    if not trial.fears:
        return None
    words = line("Imagine that “{t}” has failed. What people fear, unsigned and shuffled:", t=title(trial))
    return told(words, Items(tuple(written(f, 500) for f in trial.fears)))


def started(trial: Trial) -> Message:
    """A plan that had been refused a place starts, now that one is free."""
    assert trial.review is not None
    words = line(
        "A place was free, so “{t}” is being built from today. {o} owns it. It should be live on {l}; its review is "
        "then on {d}.",
        t=title(trial),
        o=who(trial, trial.owner),
        l=short_day(trial.planned_live) if trial.planned_live is not None else "its day",
        d=When(trial.review, "day"),
    )
    return told(words, attachments=(trial_dates.calendar_of_review(trial),))
