"""A trial that is being built: when it should be live, what is said when it is, what becomes of one that is late."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from coldframe.domain.names import MemberId
from coldframe.domain.trial.building import Pace
from coldframe.domain.trial.state import Postponed, Trial
from coldframe.message.harmless import signed
from coldframe.message.nodes import Button, Field, Form, Line, Message, Option, When, line
from coldframe.message.plain import figure, sentence
from coldframe.message.saying import offer, said, small, told
from coldframe.speech.names import SUCH_AS, about_trial, capital, count, of_building, of_late_build, of_owner
from coldframe.speech.trial import week_dates
from coldframe.speech.trial.trial_dates import calendar_of_review
from coldframe.speech.trial.trial_words import title, who
from coldframe.timing.dates import short_day

CHOOSE_A_DAY = "Choose a day."
DAYS_BACK = 60


# --- asked on its day -------------------------------------------------------------------------------------------------


def asked(trial: Trial) -> Line:
    """On the planned day, and again while nobody has said."""
    expected = trial.live_expected()
    return line(
        "“{t}” should be live on {d}{n}. Is it? I count whole weeks from then on.",
        t=title(trial),
        d=short_day(expected) if expected else "its day",
        n=" now" if trial.postponed else "",
    )


def buttons(trial: Trial) -> tuple[Button, ...]:
    key = of_building(trial)
    return (
        Button("It's live from today", "trial.live", key, "primary"),
        Button("Live since an earlier day …", "trial.live_since", key),
        Button("Not yet …", "trial.live_move", key),
    )


def since(trial: Trial, today: date) -> Form:
    """Days that have come, the newest first."""
    first = max(trial.sealed or today, today - timedelta(days=DAYS_BACK))
    days = [today - timedelta(days=n) for n in range((today - first).days + 1)]
    options = tuple(Option(day.isoformat(), short_day(day)) for day in days)
    initial = min(max(trial.live or trial.live_expected() or today, first), today)
    field = Field("since", "Since when?", "choice", options=options, initial=initial.isoformat(),
                  hint="The first day on which people could meet the change.")  # fmt: skip
    return Form("Live since", "trial.live_since", about_trial(trial), (field,), intro=title(trial))


def move(trial: Trial) -> Form:
    return Form("Not live yet", "trial.live_move", of_building(trial), _day_and_reason("What holds it up?"),
                intro=title(trial))  # fmt: skip


def agree(trial: Trial) -> Form:
    return Form("Another day", "trial.live_agree", of_late_build(trial), _day_and_reason("Why then?"),
                intro=title(trial))  # fmt: skip


def _day_and_reason(why: str) -> tuple[Field, ...]:
    day = Field("date", "From which day should it be live?", most=60, day=True, hint=SUCH_AS)
    return day, Field("reason", why, most=300, hint="Everybody reads it.")


def smaller(trial: Trial) -> Form:
    fields = (
        Field("left_out", "What is left out?", "long", most=500, hint="What decides about the trial stays as sealed."),
        Field("date", "From which day should the rest be live?", most=60, day=True, hint=SUCH_AS),
    )
    return Form("Build less of it", "trial.smaller", of_late_build(trial), fields, intro=title(trial))


def give_up(trial: Trial) -> Form:
    why = Field("reason", "Why?", "long", most=500, hint="The register keeps it. The trial's place is free then.")
    return Form("Drop the trial", "trial.give_up", of_building(trial), (why,), intro=title(trial), submit="Drop it")


# --- short answers ----------------------------------------------------------------------------------------------------


def live_noted(trial: Trial, by: MemberId, asked: date) -> Message:
    """`asked`: the day on which its owner is asked for the first week."""
    words = "Noted. {w}, is the first to count; {who} asked for its numbers on {d}."
    return said(words, w=capital(week_dates.week(trial, 1)), who=_asked(trial, by), d=short_day(asked))


def day_noted(trial: Trial, by: MemberId) -> Message:
    expected = trial.live_expected()
    assert expected is not None
    words = "Noted. {who} asked on {d}, and the review has moved with it."
    return said(words, who=capital(_asked(trial, by)), d=short_day(expected))


def _asked(trial: Trial, by: MemberId) -> str:
    return "you are" if by == trial.owner else "its owner is"


def drop_noted() -> Message:
    return said("Dropped. Its place is free.")


# --- to the channel ---------------------------------------------------------------------------------------------------


def live(trial: Trial, again: bool) -> Message:
    """It is live, or a day that was said wrong is put right."""
    assert trial.live is not None and trial.review is not None
    words = line(
        "“{t}” went live on {d}{a}. What counts: {w}. Review: {r}.",
        t=title(trial),
        d=short_day(trial.live),
        a=line(", and not on the day said before") if again else "",
        w=week_dates.weeks(trial, tuple(range(1, trial.last_week() + 1))),
        r=When(trial.review),
    )
    early = capital(week_dates.week(trial, 0))
    before = (small("{d}, are shown and not judged.", d=early),) if trial.early_days() is not None else ()
    lag = trial.criterion.lag
    later = (small("A week can be counted {n} after it is over.", n=count(lag, "day")),) if lag else ()
    return told(words, *before, *later, attachments=(calendar_of_review(trial),))


def moved(trial: Trial, fact: Postponed) -> Message:
    """Another day was agreed on, or is what whoever builds it expects now; perhaps with less of it."""
    assert trial.review is not None
    template = "“{t}” should be live on {d} now: {r} Its review moves to {v}."
    if fact.agreed and trial.smaller == fact.reason:
        template = "“{t}” is built smaller, without this: {r} It should be live on {d}; its review moves to {v}."
    words = line(
        template,
        t=title(trial),
        d=short_day(fact.to),
        r=signed(sentence(fact.reason), fact.by, 500),
        v=When(trial.review),
    )
    return told(words, attachments=(calendar_of_review(trial),))


def dropped(trial: Trial, by: MemberId | None) -> Message:
    words = line(
        "“{t}” isn't built: {r} Its place is free.", t=title(trial), r=signed(sentence(trial.stopped), by, 500)
    )
    return told(words, attachments=(calendar_of_review(trial, cancelled=True),))


# --- two weeks late ---------------------------------------------------------------------------------------------------


def late(trial: Trial) -> Message:
    """To owner, facilitator and decision-maker alike."""
    agreed = trial.live_agreed()
    assert agreed is not None
    words = line(
        "“{t}” should have been live on {d} and isn't, more than two weeks later. What becomes of it? It holds one of "
        "the team's places for trials.",
        t=title(trial),
        d=short_day(agreed),
    )
    others = line("{w} hear this; the first answer counts.", w=_names(trial, trial.holders()))
    key = of_late_build(trial)
    ways = (
        Button("It went live on …", "trial.live_since", of_building(trial)),
        Button("Another day …", "trial.live_agree", key),
        Button("Build less of it …", "trial.smaller", key),
        Button("Another owner …", "trial.ask", of_owner(trial)),
        Button("Drop it …", "trial.give_up", of_building(trial), "danger"),
    )
    return told(words, small(others), offer(*ways))


def _names(trial: Trial, members: Sequence[MemberId]) -> Line:
    """`Ines, Dora and Faye`."""
    *others, last = (who(trial, member) for member in members)
    words: Line = ()
    for number, each in enumerate(others):
        words += (line(", ") if number else ()) + each
    return words + line(" and ") + last if others else last


# --- how long building takes ------------------------------------------------------------------------------------------


def pace_line(pace: Pace | None) -> str:
    """To whoever plans the next one; nothing before a build was finished."""
    if pace is None:
        return ""
    builds = "last build" if pace.builds == 1 else f"last {pace.builds} builds"
    times = figure(round(pace.times, 1))
    return f"Your team's {builds} took {times} times as long as planned ({count(pace.took, 'day')} for {pace.planned})."
