"""What is said when a week's numbers come in as a typed line or a file: what was taken, what is to be cleared."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.domain.trial.state import Entry, Trial
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Button, Code, Facts, Items, Message, line
from coldframe.message.saying import offer, paragraph, said, small, told
from coldframe.speech.names import about_trial, capital, count, of_week
from coldframe.speech.reading_words import NOTHING_KEPT
from coldframe.speech.trial import week_dates
from coldframe.speech.trial.trial_words import entry_line, title


def which_trial(trials: Sequence[tuple[Trial, int]], typed: str) -> Message:
    """`trials`: each with the week that the line is for."""
    words = line("You own {n}. Which one is this for: {l}?", n=count(len(trials), "trial"), l=theirs(typed, 120))
    buttons = tuple(Button(theirs(t.title, 70).text, "trial.take", _taking(t, week, typed)) for t, week in trials)
    return told(words, offer(*buttons))


def _taking(trial: Trial, week: int, typed: str) -> str:
    return of_week(trial, str(week), typed[:250])


def did_you_mean(trial: Trial, week: int, question: str, instead: str) -> Message:
    """A question back; nothing was kept."""
    words = line("{q} Did you mean {i}? Nothing was kept.", q=theirs(question, 200), i=Code(instead[:250]))
    yes = Button("Yes, take that", "trial.take", _taking(trial, week, instead), "primary")
    return told(words, offer(yes, Button("Open the form …", "trial.log", about_trial(trial))))


def line_changed(trials: Sequence[Trial]) -> Message:
    words = line("You changed a line of numbers. What I logged stays as it was first sent. Correct the week here:")
    name = len(trials) > 1
    buttons = (
        Button(f"Correct {theirs(t.title, 60).text} …" if name else "Correct a week …", "trial.log", about_trial(t))
        for t in trials
    )
    return told(words, offer(*buttons))


def unreadable(trial: Trial, why: str) -> Message:
    words = written(f"{why} {NOTHING_KEPT}", 330)
    return told(words, offer(Button("Open the form …", "trial.log", about_trial(trial))))


def week_taken(trial: Trial, known: Entry, new: Entry) -> Message:
    """The same week twice with other numbers: asked, nothing overwritten."""
    words = line(
        "{w}, of “{t}” is logged already and stays as it is. Is the new one a correction? Both are kept then.",
        w=capital(week_dates.week(trial, known.week)),
        t=title(trial),
    )
    rows = (("Logged", entry_line(trial, known)), ("New", entry_line(trial, new)))
    button = Button("Correct it, with the reason …", "trial.log", about_trial(trial, str(known.week)), "primary")
    return told(words, Facts(rows), offer(button))


def file_report(
    trial: Trial, taken: Sequence[Entry], same: int, problems: Sequence[tuple[int, str]], name: str
) -> Message:
    """What came of a CSV file, row by row."""
    words = line(
        "{f}: {n} taken for “{t}”, {s} the same as before, {p} not taken.",
        f=theirs(name, 60),
        n=count(len(taken), "week"),
        t=title(trial),
        s=same,
        p=len(problems),
    )
    blocks: list[Block] = [paragraph(words)]
    if problems:
        blocks.append(Items(tuple(line("Line {l}: {w}", l=at, w=theirs(why, 200)) for at, why in problems[:20])))
        blocks.append(small("What was there before stays."))
    return Message(words, tuple(blocks))


def wrong_file(why: str) -> Message:
    return told(written(why, 400))


def stands_already() -> Message:
    """The same numbers came once more."""
    return said("That is how the week stands already.")
