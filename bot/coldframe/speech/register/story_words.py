"""The story of a team's last round: what was tried, what came out, what nothing was done about. It begins the next
round for all, and is told to whoever is new."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from coldframe.domain.names import MemberId
from coldframe.domain.trial.state import UNDER_WAY, Trial, TrialStep
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Items, Line, Message, When, line
from coldframe.message.plain import sentence
from coldframe.message.saying import heading, paragraph, small
from coldframe.speech.names import in_words, spelt

MOST = 4  # of a kind
LONG = 100  # characters


@dataclass(frozen=True, slots=True)
class Story:
    """`undone`: forces that no plan was chosen for, those with most dots first; `fates`: of the plans not tried;
    `people`: who took part; `after`: what became of what was decided at each trial's review."""

    round_name: str
    question: str
    trials: Sequence[Trial]
    undone: Sequence[str]
    fates: Sequence[Line] = ()
    people: Collection[MemberId] = ()
    after: Mapping[str, Line] = field(default_factory=dict)


def read_back(story: Story) -> Message:
    """To all, before anybody writes: so that a round begins where the last one ended."""
    summary = line("Before we begin: what became of {r}.", r=theirs(story.round_name, 60))
    return Message(summary, (heading(summary), *last_round(story)))


def to_somebody_new(story: Story) -> Message:
    """In private, to whoever takes part in this round and was not in the one before."""
    words = line(
        "You weren't in the team's last round, *{r}*: here is what became of it.", r=theirs(story.round_name, 60)
    )
    return Message(words, (paragraph(words), *last_round(story)))


def last_round(story: Story) -> list[Block]:
    """Short enough to be read by somebody who knows nothing of it yet."""
    blocks: list[Block] = [paragraph("We asked: {q}", q=theirs(story.question, 2 * LONG))]
    blocks += _listed(
        "What we tried, and what came out", [_tried(trial, story.after.get(trial.id, ())) for trial in story.trials]
    )
    if not story.trials:
        blocks.append(paragraph("Nothing was tried."))
    blocks += _listed("What became of the other plans", story.fates)
    return blocks + _listed("What nothing was done about", [written(force, LONG) for force in story.undone])


def _listed(caption: str, lines: Sequence[Line]) -> list[Block]:
    if not lines:
        return []
    more = [small("and {n} more", n=in_words(len(lines) - MOST))] if len(lines) > MOST else []
    return [paragraph("*{c}*", c=caption), Items(tuple(lines[:MOST])), *more]


def _tried(trial: Trial, after: Line) -> Line:
    words = line("*{t}*: ", t=theirs(trial.title, 80)) + _came_out(trial)
    words += line(" Since then: ") + after + line(".") if after else ()
    learnt = trial.closing.learning if trial.closing is not None else ""
    return words + (line(" We learnt: {l}", l=theirs(learnt, LONG)) if learnt else ())


def _came_out(trial: Trial) -> Line:
    closing = trial.closing
    if closing is not None:
        said = sentence(closing.sentence or closing.outcome)
        return line("{s} Decided: {d}.", s=theirs(said, 3 * LONG), d=closing.decision)
    if trial.step is TrialStep.DROPPED:
        dropped = line("it was not built: {r}", r=theirs(sentence(trial.stopped), 2 * LONG))
        return dropped if trial.stopped else line("it never started.")
    if trial.step is TrialStep.BUILDING:
        return line("it is being built.")
    if trial.step not in UNDER_WAY:
        return line("it waits for an owner.")
    weeks = spelt(sum(entry.state == "whole" for entry in trial.entries()), "week")
    if trial.review is None:
        return line("under way, {w} counted.", w=weeks)
    return line("under way, {w} counted; the review is {d}.", w=weeks, d=When(trial.review, "day"))
