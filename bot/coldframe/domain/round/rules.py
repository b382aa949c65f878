"""The running steps of a round, in their order, and what follows from their records at any moment."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil

from coldframe.domain.names import MemberId, Step
from coldframe.domain.round import ballots, commitment, merging, notes, placement, plans, questions
from coldframe.domain.round.rule import StepRule
from coldframe.domain.settings import Settings
from coldframe.domain.state import Round

SILENT_READING = 5  # minutes before a ballot, at least, in one sitting: who has not read votes for a title
MIN_IN = 3  # people, however few a share of those expected would be
RULES: Mapping[Step, StepRule] = {
    Step.NOTES: notes.RULE,
    Step.FOCUS: merging.FOCUS,
    Step.MERGE: merging.MERGE,
    Step.DOTS: ballots.DOTS,
    Step.QUESTIONS: questions.QUESTIONS,
    Step.PRECEDENTS: questions.PRECEDENTS,
    Step.PLANS: plans.RULE,
    Step.BALLOT: ballots.BALLOT,
    Step.PLACEMENT: placement.RULE,
    Step.COMMITMENT: commitment.RULE,
}


def expected(round_: Round) -> tuple[MemberId, ...]:
    """Members whose answer the current step waits for; before and after the steps everybody who is there."""
    return RULES[round_.step].expected(round_) if round_.step in RULES else round_.present()


def through(round_: Round) -> frozenset[MemberId]:
    """Everybody who gave something in this step or said that they are done, expected or not."""
    return RULES[round_.step].gave(round_) | round_.progress.done if round_.step in RULES else round_.progress.done


def came_in(round_: Round) -> frozenset[MemberId]:
    """Expected people who gave something or said that they are done; a number in public, names to nobody."""
    return through(round_) & frozenset(expected(round_))


def quorum(round_: Round) -> int:
    """How many must be in for the step to close at its deadline."""
    share, people = RULES[round_.step].quorum, len(expected(round_))
    return 0 if share is None else min(people, max(MIN_IN, ceil(round(share * people, 9))))


def length(settings: Settings, step: Step) -> float:
    """How long the step's window is, in the unit of the pace."""
    rule = RULES[step]
    return settings.lengths.get(step, rule.hours if settings.pace == "days" else rule.minutes)


def lasts(round_: Round, step: Step) -> float:
    """The same in this round: in one sitting the precedents are told before plans are written."""
    told = step is Step.PLANS and round_.settings.pace == "live"
    return length(round_.settings, step) + questions.TELLING * len(round_.precedents) * told


def reading_length(settings: Settings, step: Step) -> float:
    """Time to read before the step's window opens, in the unit of the pace."""
    rule, live = RULES[step], settings.pace == "live"
    if settings.reading is None or not rule.read_hours:
        return rule.read_minutes if live else rule.read_hours
    return max(settings.reading, SILENT_READING) if live else settings.reading


def ahead(round_: Round) -> tuple[Step, ...]:
    """The running step, if any, and those to come, without what is known to be pointless."""
    order = list(Step)
    coming = (s for s in RULES if order.index(s) >= order.index(round_.step))
    return tuple(s for s in coming if s is round_.step or not _is_pointless(round_, s))


def _is_pointless(round_: Round, step: Step) -> bool:
    passing = RULES[step].passing
    return passing is not None and passing.why(round_) is not None
