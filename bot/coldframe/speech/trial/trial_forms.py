"""The forms of a trial: a week's numbers, dates, obstacles, the review. Names of fields are the ones that come back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from coldframe.domain.names import MemberId, PlanId
from coldframe.domain.state import TWO_GROUPS, Round
from coldframe.domain.trial.state import Entry, Figures, Trial, TrialAction
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Field, Form, Line, Option, line
from coldframe.speech.levels import typed
from coldframe.speech.names import (
    SUCH_AS,
    about,
    about_trial,
    capital,
    count,
    of_action,
    of_offer,
    of_owner,
    of_review,
    of_running,
)
from coldframe.speech.trial import measure_words, week_dates

UNTIL = "in 4 weeks"
"""What was decided at a review is done by then, unless another date is said."""


def people_of(trial: Trial, *, without: str | None = None) -> tuple[Option, ...]:
    return tuple(Option(m, theirs(name).text) for m, name in trial.people.items() if m != without)


def _week_label(trial: Trial, week: int) -> str:
    """The days before the first whole week can be logged as well; they are shown, and not judged."""
    logged = ", logged" if trial.entry(week) is not None else ""
    return capital(week_dates.week(trial, week)) + ("" if week else ", not judged") + logged


def log_week(trial: Trial, today: date, week: int | None = None) -> Form:
    """One week's numbers in the shape of the measure's kind, filled with what is known of that week."""
    early = (0,) if trial.early_days() is not None and trial.starts is not None and trial.starts <= today else ()
    weeks = (*early, *trial.weeks_over(today))
    chosen = week or next(iter(trial.unlogged(today)), weeks[-1] if weeks else 1)
    known = trial.entry(chosen)
    options = tuple(Option(str(w), _week_label(trial, w)) for w in weeks)
    fields = (
        Field("week", "Week", "choice", options=options or (Option("1", _week_label(trial, 1)),), initial=str(chosen)),
        *_figure_fields(trial, known),
        Field("state", "Did the counting run for the whole week?", "choice", options=_STATES,
              initial=known.state if known else "whole"),
        Field("harm", f"Harm measure: {theirs(trial.criterion.harm, 60).text}{_limit(trial)}", required=False,
              most=20, hint="Empty if nothing happened.", initial=typed(known.harm) if known else ""),
        Field("stop", f"The stop line is crossed: {_stop_line(trial)}", "tick", required=False,
              initial="yes" if known and known.stop else ""),
        Field("reason", "If it corrects a logged week: why?", required=False, most=300),
    )  # fmt: skip
    intro = line("{t}. Both decimal marks are read.", t=theirs(trial.title, 80))
    return Form("A week's numbers", "trial.log", about_trial(trial), fields, intro=intro)


def _limit(trial: Trial) -> str:
    limit = trial.criterion.harm_limit
    return "" if limit is None else f" (limit {typed(limit)})"


def _stop_line(trial: Trial) -> str:
    criterion = trial.criterion
    at = f"{measure_words.given(trial, criterion.stop_at)} or worse" if criterion.stop_at is not None else ""
    return "; ".join(each for each in (at, theirs(criterion.stop_line, 60).text) if each)


_STATES = (
    Option("whole", "Yes"),
    Option("partial", "Only a part of it: it will not count"),
    Option("broken", "No, the counting was faulty: it will not count"),
)


def _figure_fields(trial: Trial, known: Entry | None) -> tuple[Field, ...]:
    groups = ("control", "trial") if trial.criterion.kind in TWO_GROUPS else ("trial",)
    names = {"control": "without the change", "trial": "with the change"}
    fields: list[Field] = []
    for group in groups:
        found: Figures | None = getattr(known, group) if known else None
        where = f", {names[group]}" if len(groups) == 2 else ""
        for part, label in _PARTS[trial.criterion.kind]:
            initial = _part(found, part)
            fields.append(Field(f"{group}_{part}", f"{label}{where}", required=False, most=30, initial=initial))
    return tuple(fields)


_PARTS: dict[str, tuple[tuple[str, str], ...]] = {
    "split": (("people", "People"), ("successes", "Of them did it")),
    "before-after": (("value", "People who did it, or the week's value"), ("people", "Of how many people, if any")),
    "count": (("count", "How many"),),
    "rate": (("units", "Units (people, orders, days)"), ("events", "Events")),
    "share": (("people", "People"), ("successes", "Of them did it")),
    "mean": (("mean", "Mean"), ("sd", "Standard deviation"), ("people", "People")),
}


def _part(figures: Figures | None, part: str) -> str:
    if figures is None:
        return ""
    return typed({"people": figures.of, "units": figures.of, "sd": figures.sd}.get(part, figures.value))


def move_action(trial: Trial, action: TrialAction) -> Form:
    when = Field("date", "By when?", most=60, day=True, hint=SUCH_AS)
    key = of_action(trial, action.id)
    return Form("Move the date", "trial.move", key, (when,), intro=_about(action.text))


def move_review(trial: Trial) -> Form:
    when = Field("date", "When?", most=60, day=True, hint="Not before the trial's weeks are over.")
    return Form("Move the review", "trial.review_date", about_trial(trial), (when,), intro=_about(trial.title))


def _about(text: str) -> Line:
    return written(text, 200)


def in_the_way(trial: Trial) -> Form:
    text = Field("text", "What is in the way?", "long", required=False, most=500, initial=trial.in_the_way,
                 hint="The facilitator reads it. Empty takes it back.")  # fmt: skip
    return Form("What is in the way", "trial.block", about_trial(trial), (text,), intro=_about(trial.title))


def hand_over(trial: Trial) -> Form:
    """Not me: somebody else is asked, and only their own yes counts."""
    people = (Option("", "I know nobody"), *people_of(trial, without=trial.owner))
    fields = (
        Field("member", "Who could own it?", "choice", required=False, options=people),
        Field("reason", "Why? (optional)", required=False, most=500),
    )
    return Form(
        "Hand the trial over",
        "trial.hand_over",
        of_owner(trial),
        fields,
        intro=_about(trial.title),
    )


def ask_somebody(trial: Trial) -> Form:
    who = Field("member", "Who?", "choice", options=people_of(trial, without=trial.owner))
    return Form(
        "Ask somebody to own it",
        "trial.ask",
        of_owner(trial),
        (who,),
        intro=_about(trial.title),
    )


def decline(trial: Trial) -> Form:
    fields = (
        Field("reason", "Why?", "long", most=500),
        Field("instead", "Who could do it?", "choice", required=False,
              options=(Option("", "nobody"), *people_of(trial, without=trial.owner))),
    )  # fmt: skip
    return Form("Decline", "trial.decline", of_offer(trial), fields)


def learn(trial: Trial, me: MemberId) -> Form:
    hint = "Your last word counts; empty takes it back."
    known = trial.learnings.get(me, "")
    text = Field("text", "What did you learn?", "long", required=False, most=1000, initial=known, hint=hint)
    intro = line(
        "{t}. Nobody reads it before the review is closed. Then I show what three or more people wrote, without names; "
        "from fewer I show nothing, since colleagues would know who wrote what.",
        t=theirs(trial.title, 80),
    )
    return Form("What I learnt", "trial.learn", about_trial(trial), (text,), intro=intro)


def stop(trial: Trial) -> Form:
    why = Field("reason", "What happened?", "long", most=500)
    intro = line("You promised to stop early if: {s}", s=theirs(_stop_line(trial) or "nothing was set", 300))
    return Form(
        "Stop the trial early",
        "trial.stop",
        of_running(trial),
        (why,),
        intro=intro,
        submit="Stop it",
    )


def check(trial: Trial) -> Form:
    text = Field("text", "Who looked at the counting, and what did they look at?", most=300)
    return Form("The counting was checked", "trial.check", about_trial(trial), (text,), intro=_about(trial.title))


def close_review(trial: Trial, me: MemberId) -> Form:
    """Filled with what whoever closes it learnt, which is not among the others' words."""
    decisions = (
        Option("scale", "Scale: do it for everybody"),
        Option("change", "Change: try it in another way"),
        Option("stop", "Stop: leave it"),
    )
    fields = (
        Field("learning", "What did we learn?", "long", most=1000, initial=trial.learnings.get(me, "")),
        Field("decision", "What follows?", "choice", options=decisions),
        Field("reason", "Why?", "long", most=500),
        Field("what", "What exactly?", "long", required=False, most=500,
              hint="Scale: what, for whom. Change: what stays as it is. Stop: what is switched off, if anything."),
        Field("owner", "Who sees it done?", "choice", required=False, initial=trial.owner or me,
              options=people_of(trial)),
        Field("date", "Until when?", required=False, most=60, day=True, initial=UNTIL, hint=SUCH_AS),
    )  # fmt: skip
    intro = line(
        "The verdict stands as it was shown: {s}", s=theirs(trial.reading.sentence if trial.reading else "", 300)
    )
    return Form("Close the review", "trial.close", of_review(trial), fields, intro=intro)


def begin(round_: Round, plan_id: str, people: Sequence[Option], pace: str, beside: Sequence[str] = ()) -> Form:
    """An unused plan starts after all, now that a place is free; `pace`: how long the team's builds took; `beside`:
    titles of what is under way."""
    plan = round_.plans[PlanId(plan_id)]
    steps = "\n".join(f"{s} | in {count(1 + n, 'working day')}" for n, s in enumerate(plan.steps[:3]))
    fields = (
        Field("owner", "Owner", "choice", options=tuple(people), hint="I ask them. It's theirs only if they accept."),
        Field("actions", "First-week actions, one a line: what | by when", "long", most=2000, initial=steps,
              each="action"),
        Field("live", "From which day should it be live?", most=60, initial="in 1 week",
              hint=f"Its {count(plan.weeks, 'week')} are whole ones after that day. {pace}".strip()),
        *(_overlap(title) for title in beside[:1]),
    )  # fmt: skip
    return Form("Start a trial", "trial.begin", about(round_, plan_id), fields, intro=_about(plan.title))


def _overlap(title: str) -> Field:
    """Ticked only where it is asked for."""
    label = f"It may act on the same people as “{theirs(title, 60).text}” at the same time"
    return Field("overlap", label, "tick", required=False, hint="Nobody can tell two such trials apart.")
