"""To whoever pressed or sent what was made for something that is over: what it belonged to, what became of it."""

from __future__ import annotations

from coldframe.domain.names import RUNNING, MemberId, PlanId, Step
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Entry, Trial, TrialAction, TrialStep
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Line, When, Who, line
from coldframe.speech.names import title, who
from coldframe.speech.steps import WORDS
from coldframe.speech.trial import trial_words
from coldframe.timing.dates import short_day

_NOTHING = line(" Nothing was changed.")


def of_step(round_: Round, step: Step | None) -> Line:
    """It was made for another step than the one that the round is at; None: nobody can tell for which."""
    name = theirs(round_.name, 60)
    if step is None:
        return line("I can't tell any more which step of *{r}* that was for.", r=name) + _NOTHING
    words = line("That was for the {s} step of *{r}*", s=title(step).lower(), r=name)
    return words + _what_became(round_, step) + _NOTHING


def _what_became(round_: Round, step: Step) -> Line:
    order = list(Step)
    if round_.step is Step.CANCELLED:
        return line(", which was cancelled.")
    if order.index(round_.step) < order.index(step):
        return line(", which isn't open yet.")
    became = WORDS[step].became if step in RUNNING else "the round has started"
    return line(", which is over: {b}.", b=became)


def decided(round_: Round) -> Line:
    """A decision that could be undone for a while."""
    return line("That decision in *{r}* was settled meanwhile.", r=theirs(round_.name, 60)) + _NOTHING


def ownership(round_: Round, plan: PlanId) -> Line:
    """Somebody was asked to own a chosen plan, and is not any more."""
    choice = round_.choices.get(plan)
    if choice is None:
        now = line("It isn't chosen any more.")
    elif choice.asked is not None:
        now = line("{o} is asked now.", o=who(round_, choice.asked))
    elif choice.owner is not None:
        now = line("{o} owns it now.", o=who(round_, choice.owner))
    else:
        now = line("Nobody is asked just now.")
    found = round_.plans.get(plan)
    words = line("That asked you to own “{t}”. ", t=theirs(found.title, 80)) if found is not None else ()
    return words + now + _NOTHING


# --- trials ---


def _trial(trial: Trial, template: str, **parts: Line | str | int) -> Line:
    return line(template, t=trial_words.title(trial), **parts) + _NOTHING


def signing_over(trial: Trial) -> Line:
    return _trial(trial, "That asked whether what you wrote about “{t}” is shown with your name. It was settled.")


def trial_ended(trial: Trial) -> Line:
    if trial.stopped:
        return _trial(trial, "That was for the trial “{t}”, which was dropped while it was being built.")
    if trial.closing is None:
        return _trial(trial, "That was for the trial “{t}”, which was never started.")
    end, verdict = When(trial.closing.at, "day"), theirs(trial.closing.sentence.rstrip("."), 300)
    words = "That was for the trial “{t}”, whose review was closed on {d}: {s}. `/coldframe search` finds it."
    return _trial(trial, words, d=(end,), s=(verdict,))


def crossing_settled(trial: Trial) -> Line:
    """What was decided last about a crossed line, or that a correction took it back."""
    if not trial.settled:
        return line("Nothing is crossed any more: the week was corrected. Nothing was changed.")
    last = trial.settled[-1]
    return line(
        "{o} decided already: {d}. Nothing was changed.",
        o=(Who(last.by, theirs(trial.name_of(last.by), 40).text),),
        d="it stops" if last.stops else "it goes on",
    )


def in_review(trial: Trial) -> Line:
    return _trial(trial, "“{t}” isn't running any more: its review is here.")


def live(trial: Trial) -> Line:
    since = trial.live_since()
    return _trial(trial, "“{t}” went live {d}.", d=f"on {short_day(since)}" if since is not None else "a while ago")


def decided_about_build(trial: Trial) -> Line:
    expected = trial.live_expected()
    assert expected is not None
    return _trial(trial, "That was decided meanwhile: “{t}” should be live on {d}.", d=short_day(expected))


def started(trial: Trial) -> Line:
    return _trial(trial, "“{t}” has started; {o} owns it.", o=trial_words.who(trial, trial.owner))


def week_logged(trial: Trial, entry: Entry) -> Line:
    """A correction is another matter, with a reason of its own."""
    words = "The numbers of “{t}” were logged meanwhile, {e}. If that is wrong, correct it with the reason."
    return _trial(trial, words, e=trial_words.entry_line(trial, entry))


def action_done(trial: Trial, action: TrialAction) -> Line:
    assert action.done is not None
    what, at = (theirs(action.text, 120),), (When(action.done, "day"),)
    return _trial(trial, "“{a}” ({t}) was ticked on {d}.", a=what, d=at)


def review_missed(trial: Trial) -> Line:
    """Nobody closed the review that it was made for, so another was set."""
    if trial.step is TrialStep.IN_REVIEW or trial.review is None:
        return _trial(trial, "That was for an earlier review of “{t}”, which nobody closed; another is here now.")
    moved = "That was for an earlier review of “{t}”, which nobody closed; the next is on {d}."
    return _trial(trial, moved, d=(When(trial.review, "day"),))


def offer_settled(trial: Trial, by: MemberId) -> Line:
    if trial.owner == by and trial.asked is None:
        return _trial(trial, "That asked you to own “{t}”, and you own it already.")
    return _trial(trial, "That asked you to own “{t}”; that was settled meanwhile. {o}", o=_owning(trial))


def owner_changed(trial: Trial, by: MemberId) -> Line:
    return _trial(trial, "That was for “{t}” under another owner. {o}", o=_owning(trial))


def _owning(trial: Trial) -> Line:
    words = line("{o} owns it now.", o=trial_words.who(trial, trial.owner)) if trial.owner else line("Nobody owns it.")
    return words + (line(" {m} is asked.", m=trial_words.who(trial, trial.asked)) if trial.asked else ())
