"""Numbers that a program sends to a trial's web address: the address, and what is answered there."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

from coldframe.domain.trial.state import Trial
from coldframe.message.nodes import Button, Code, Line, Message, line
from coldframe.message.saying import in_private, offer, said, small, told
from coldframe.speech.names import about_trial, count
from coldframe.speech.trial.trial_words import title

_SAMPLE = 100


def address(trial: Trial, url: str, columns: Sequence[str], *, renewed: bool = False) -> Message:
    """To the one person whose address it is."""
    words = line(
        "A program can send the weeks of “{t}” to your address for it, by POST, as JSON: {a}",
        t=title(trial),
        a=url,
    )
    if renewed:
        words += line(" Your earlier addresses are no longer valid.")
    sample: Mapping[str, int] = {name: 1 if name == "week" else _SAMPLE for name in columns}
    again = Button("New address", "trial.address_new", about_trial(trial),
                   confirm="All addresses for numbers that you have now will stop working.")  # fmt: skip
    more = line("Such as {s}. It may also say {b}.", s=Code(json.dumps(sample)), b=_beside())
    keep = small("Keep it to yourself: what comes there stands under your name. I check it as I check the form.")
    return in_private(told(words, small(more), keep, offer(again)))


def _beside() -> Line:
    return line("harm, stop_line (“yes”), state (“partial”, “broken”), and a reason where a week is corrected")


def nowhere(trial: Trial) -> Message:
    return said(
        "No program can reach me here, since I serve no web address. Whoever runs me can change that "
        "(COLDFRAME_PUBLIC_URL or COLDFRAME_WATCH_PORT). A file dropped here does the same for “{t}”.",
        t=title(trial),
    )


def in_place(number: int) -> str:
    """Of a week that does not say which it is."""
    return f"number {number}"


# --- answered to the program ----------------------------------------------------------------------------------------

NO_SUCH_ADDRESS = (
    "This address is not valid, or not any more. Whoever may log the trial gets a new one: /coldframe trials, then "
    "“Numbers by a program …”."
)
NO_JSON = "The body is no JSON that I can read: one week as an object, or several under “weeks”. Nothing was taken."
NO_WEEKS = "There is no week in it. Nothing was taken."


def not_plain(name: str) -> str:
    return f"“{name}” must be a number or a text. Nothing was taken."


def too_large(most: int) -> str:
    return f"The body is larger than {most // 1000} kB. Nothing was taken."


def too_many(weeks: int, most: int) -> str:
    return f"There are {weeks} weeks in it; at most {most} are taken at once. Nothing was taken."


def came(taken: int, already: int, wrong: int) -> str:
    parts = [
        f"{count(taken, 'week')} taken" if taken else "",
        f"{count(already, 'week')} came already, and nothing was changed by it" if already else "",
        f"{count(wrong, 'week')} not taken" if wrong else "",
    ]
    return "; ".join(part for part in parts if part) + "."
