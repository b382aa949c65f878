"""The report: what it can be made of, and the words around its pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Line, Message, Page, When, line
from coldframe.message.packed import ButtonValue
from coldframe.message.saying import offer, paragraph, said, told

LANGUAGE = "en"
CONTENTS = "What stands here"
IN_WORDS = "The picture in words"
MOST = 4  # of a kind, on buttons
ROUND, TRIAL, YEAR = "round", "trial", "year"


@dataclass(frozen=True, slots=True)
class Choices:
    """What a team can have a report of: rounds and trials as (id, name), the newest first; years."""

    team: str
    rounds: Sequence[tuple[str, str]]
    trials: Sequence[tuple[str, str]]
    years: Sequence[int]


def choose(found: Sequence[Choices]) -> Message:
    words = line("One page to print or hand on, with the pictures. It says what the channel has seen. Of what?")
    blocks: list[Block] = [offer(*_buttons(each)) for each in found if each.rounds or each.trials]
    return told(words, *blocks) if blocks else nothing_yet()


def _buttons(found: Choices) -> tuple[Button, ...]:
    named = [(ROUND, each) for each in found.rounds[:MOST]] + [(TRIAL, each) for each in found.trials[:MOST]]
    named += [(YEAR, (str(year), str(year))) for year in found.years]
    return tuple(
        Button(f"{what.capitalize()}: {theirs(name, 60).text}", "report.make",
               ButtonValue(found.team, (what, which)).pack())
        for what, (which, name) in named
    )  # fmt: skip


def nothing_yet() -> Message:
    return said("There is no round of yours yet, so there is nothing to report. `/coldframe new` starts one.")


def coming() -> Message:
    return said("I'm making it; it comes in our direct messages.")


def here(page: Page) -> Message:
    words = line("Here it is, to open in a browser or to print: {t}", t=page.title)
    return Message(words, (paragraph(words),), attachments=(page,))


# --- on the page ----------------------------------------------------------------------------------------------------


def made(at: datetime, zone: str) -> Line:
    return line("As it stood on {d}; times are those of {z}.", d=When(at), z=zone)


def footer() -> Line:
    return line(
        "Made by coldframe from what the team's channel has seen. Notes, plans and votes carry no name, and what is "
        "private is not in it."
    )


def opener(team: str) -> Button:
    """Below the digest."""
    return Button("Report to print …", "report.show", team)
