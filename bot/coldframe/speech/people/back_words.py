"""One message to whoever comes back: what happened, what was decided without them, what is open for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from coldframe.domain.trial.state import WENT_LIVE, Trial
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Items, Line, Message, line
from coldframe.message.saying import heading, paragraph
from coldframe.speech.names import capital, spelt

MOST = 12  # lines of a kind


@dataclass(frozen=True, slots=True)
class Meanwhile:
    """In rounds and trials, each a line that names its round or trial."""

    happened: Sequence[Line] = ()
    decided: Sequence[Line] = ()


def back(meanwhile: Meanwhile | None, owed: int, open_: Sequence[Block]) -> Message:
    """`meanwhile`: None where nobody knows since when they were away. `owed`: how many things wait for this person;
    `open_`: those, and where their rounds stand, with buttons."""
    waits = line("Nothing waits for you.")
    if owed:
        waits = line("{n} open for you.", n=capital(spelt(owed, "thing is", "things are")))
    summary = line("Welcome back. ") + waits
    if meanwhile == Meanwhile([], []):
        summary += line(" Nothing happened while you were away.")
    blocks: list[Block] = [paragraph(summary)]
    if meanwhile is not None:
        blocks += _listed("What happened", meanwhile.happened)
        blocks += _listed("What was decided without you", meanwhile.decided)
    return Message(summary, (heading("While you were away"), *blocks, *open_))


def _listed(caption: str, lines: Sequence[Line]) -> list[Block]:
    return [paragraph("*{c}*", c=caption), Items(tuple(lines[-MOST:]))] if lines else []


def of(name: str, lines: Sequence[Line]) -> list[Line]:
    """Lines about a round, each with its name before it."""
    return [line("{r}: ", r=theirs(name, 60)) + each for each in lines]


def of_trial(trial: Trial, since: datetime, day: date) -> Meanwhile:
    """What became of a trial since then; `day` is that day in the person's own zone."""
    name, closing = line("“{t}”: ", t=theirs(trial.title, 80)), trial.closing
    happened, decided = list[Line](), list[Line]()
    live = trial.live_since()
    if trial.step in WENT_LIVE and live is not None and live >= day:
        happened.append(name + line("it is live."))
    if trial.stopped_at is not None and trial.stopped_at >= since:
        decided.append(name + line("stopped early: {why}", why=theirs(trial.stopped, 150)))
    if closing is not None and closing.at >= since:
        happened.append(name + line("reviewed: {s}", s=theirs(closing.sentence or closing.outcome, 200)))
        decided.append(name + line("{d}: {why}", d=closing.decision, why=theirs(closing.reason, 150)))
    return Meanwhile(happened, decided)
