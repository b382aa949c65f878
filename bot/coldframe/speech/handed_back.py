"""What somebody wrote and the bot did not take, given back whole: a message, or a form field by field."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Line, Quoted, line
from coldframe.message.saying import paragraph, small

QUOTED = 2900  # characters in one block; platforms take 3,000

LABELS = {
    "actions": "First-week actions",
    "baseline": "Baseline",
    "baseline_weeks": "Weeks before",
    "chance": "Chance, in %",
    "checked_by": "Who checked it",
    "control_mean": "Mean, without the change",
    "planned_share": "How many get the change",
    "spread": "Standard deviation",
    "lag": "Days until a week can be counted",
    "population": "Who can that be",
    "harm_usual": "The harm measure in a usual week",
    "harm_limit": "Limit of the harm measure",
    "stop_at": "We stop early at",
    "control_units": "Units, without the change",
    "control_events": "Events, without the change",
    "trial_units": "Units, with the change",
    "trial_events": "Events, with the change",
    "control_people": "People, without the change",
    "control_sd": "Standard deviation, without the change",
    "control_successes": "Of them did it, without the change",
    "counted": "Who is counted",
    "date": "When",
    "decision": "What follows",
    "details": "Details",
    "fear": "What might have failed",
    "harm": "Harm measure",
    "hypothesis": "Hypothesis",
    "idea": "The big idea",
    "kind": "How it is compared",
    "learning": "What we learnt",
    "left_out": "What is left out",
    "levers": "Levers",
    "live": "Live from",
    "meanings": "What the levers mean",
    "measure": "Success measure",
    "might_fail": "Why it might fail",
    "name": "Short name",
    "outside": "From outside our own trade",
    "reason": "Reason",
    "review": "Review",
    "side": "Direction",
    "source": "Source",
    "state": "Counted for the whole week",
    "steps": "Action steps",
    "stop": "The stop line is crossed",
    "stop_line": "We stop early if",
    "target": "Target",
    "text": "Text",
    "title": "Title",
    "trial_count": "How many",
    "trial_mean": "Mean, with the change",
    "trial_people": "People, with the change",
    "trial_sd": "Standard deviation, with the change",
    "trial_successes": "Of them did it, with the change",
    "trial_value": "The week's value",
    "verdict": "How it came out",
    "week": "Week",
    "weekly": "People a week",
    "weeks": "Weeks",
    "what": "What exactly",
    "who": "Who | by when | where",
    "why": "Why",
    "windows": "Windows",
    "written": "Where it is written down",
}
"""By a form's field. Those that are not here hold the key of something that was picked from a list."""


def kind_of(field: str) -> str:
    """What a field holds, where a form has the same of several things: `p0.why`."""
    return field.rpartition(".")[2]


def text(written: str) -> tuple[Block, ...]:
    """A message; nothing for an empty one."""
    return (paragraph("Your text, so that it isn't lost:"), *_quoted(written)) if written else ()


def sheet(fields: Mapping[str, str]) -> tuple[Block, ...]:
    """A form: each field under its name, as it was filled in."""
    back: list[Block] = [paragraph("What you wrote, so that it isn't lost:")]
    for name, written in fields.items():
        if (label := LABELS.get(kind_of(name))) and written.strip():
            back += [small("{l}:", l=label), *_quoted(written.strip())]
    return tuple(back)


def elsewhere() -> Line:
    """Beside the place where a form was sent from."""
    return line(" What you wrote stands in our direct messages.")


def _quoted(written: str) -> tuple[Block, ...]:
    pieces = (written[at : at + QUOTED] for at in range(0, len(written), QUOTED))
    return tuple(Quoted(theirs(piece, QUOTED).text) for piece in pieces)
