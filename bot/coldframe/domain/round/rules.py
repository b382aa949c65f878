"""The running steps of a round, one record each: who is waited for and how long, who is in, and what ends the step."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import ceil

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, Role, Step
from coldframe.domain.round import ballots, merging, notes, placement, plans, questions
from coldframe.domain.settings import Settings
from coldframe.domain.state import Ledger, Progress, Round

FEWEST_IN = 3  # people, however few a share of those expected would be


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRule:
    """What holds in one step."""

    hours: float
    """Length of its window in the pace `days`: working hours of each member."""
    minutes: float
    """Length of its window in the pace `live`."""
    read_hours: float
    read_minutes: float
    """Time to read before it opens, in either pace."""
    private: bool
    """Everybody answers in private, so that nobody waits for anybody else's working day."""
    expected: Callable[[Round], tuple[MemberId, ...]]
    """Whose answer it waits for."""
    gave: Callable[[Round], frozenset[MemberId]]
    """Who has given something in it, expected or not."""
    quorum: float | None
    """The share of those expected who must be in at its deadline; None closes with whoever is."""
    needs: Role | None
    """The role that must be among those who are in."""
    decides: Role | None
    """The role whose decision it waits for."""
    hands_over: bool
    """A decision that does not come is the deputy's to take."""
    close: Callable[[Round], tuple[Fact, ...]] | None
    """What its close brings; raises Refused while it cannot close. None where the decision itself ends it."""
    enter: Callable[[Round], Round] | None
    """What changes as it begins, beyond a clean progress."""


def _present(round_: Round) -> tuple[MemberId, ...]:
    return round_.present()


def _chief(round_: Round) -> tuple[MemberId, ...]:
    return (round_.roles.acting(Role.DECISION_MAKER),)


def _facilitator(round_: Round) -> tuple[MemberId, ...]:
    return (round_.roles.acting(Role.FACILITATOR),)


def _both_roles(round_: Round) -> tuple[MemberId, ...]:
    return tuple(dict.fromkeys(round_.roles.acting(role) for role in Role))


def _placing(round_: Round) -> tuple[MemberId, ...]:
    return _facilitator(round_) if round_.settings.placed_by == "facilitator" else round_.present()


def _nobody(round_: Round) -> frozenset[MemberId]:
    return frozenset()


def _voters(ledger: Ledger | None) -> frozenset[MemberId]:
    return frozenset(ledger.votes()) if ledger else frozenset()


def _with_dots(round_: Round) -> Round:
    return replace(round_, dots=Ledger(round_.settings.dots))


def _early_judges_done(round_: Round) -> Round:
    return replace(round_, progress=Progress(done=placement.finished(round_)))


RULES: Mapping[Step, StepRule] = {
    Step.NOTES: StepRule(
        hours=8, minutes=20, read_hours=0, read_minutes=0, private=True, expected=_present, gave=notes.writers,
        quorum=0.6, needs=None, decides=None, hands_over=False, close=notes.close, enter=None,
    ),
    Step.FOCUS: StepRule(
        hours=8, minutes=3, read_hours=0, read_minutes=0, private=False, expected=_chief, gave=_nobody,
        quorum=None, needs=None, decides=Role.DECISION_MAKER, hands_over=True, close=None, enter=None,
    ),
    Step.MERGE: StepRule(
        hours=6, minutes=5, read_hours=0, read_minutes=0, private=False, expected=_facilitator, gave=_nobody,
        quorum=None, needs=None, decides=None, hands_over=False, close=merging.close, enter=None,
    ),
    Step.DOTS: StepRule(
        hours=8, minutes=3, read_hours=0, read_minutes=0, private=True, expected=_present,
        gave=lambda r: _voters(r.dots),
        quorum=0.6, needs=None, decides=None, hands_over=False, close=ballots.close_dots, enter=_with_dots,
    ),
    Step.QUESTIONS: StepRule(
        hours=8, minutes=10, read_hours=0, read_minutes=0, private=False, expected=_facilitator, gave=_nobody,
        quorum=None, needs=None, decides=Role.FACILITATOR, hands_over=True, close=questions.publish, enter=None,
    ),
    Step.PRECEDENTS: StepRule(
        hours=16, minutes=40, read_hours=0, read_minutes=0, private=False, expected=_present,
        gave=lambda r: frozenset(p.by for p in r.precedents),
        quorum=0.6, needs=None, decides=None, hands_over=False, close=questions.close_precedents, enter=None,
    ),
    Step.PLANS: StepRule(
        hours=16, minutes=40, read_hours=0, read_minutes=0, private=True, expected=_present,
        gave=lambda r: frozenset(p.author for p in r.plans.values() if p.author),
        quorum=0.6, needs=None, decides=None, hands_over=False, close=plans.close, enter=None,
    ),
    Step.BALLOT: StepRule(
        hours=8, minutes=8, read_hours=2, read_minutes=1, private=True, expected=_present,
        gave=lambda r: _voters(r.ballot),
        quorum=2 / 3, needs=Role.DECISION_MAKER, decides=None, hands_over=False, close=ballots.close_ballot,
        enter=None,
    ),
    Step.PLACEMENT: StepRule(
        hours=8, minutes=10, read_hours=0, read_minutes=0, private=False, expected=_placing,
        gave=lambda r: frozenset(judge for judge, answers in r.comparisons.items() if answers),
        quorum=None, needs=None, decides=None, hands_over=False, close=placement.close, enter=_early_judges_done,
    ),
    Step.COMMITMENT: StepRule(
        hours=8, minutes=15, read_hours=0, read_minutes=0, private=False, expected=_both_roles, gave=_nobody,
        quorum=None, needs=None, decides=Role.FACILITATOR, hands_over=False, close=None, enter=None,
    ),
}  # fmt: skip


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
    return 0 if share is None else min(people, max(FEWEST_IN, ceil(round(share * people, 9))))


def length(settings: Settings, step: Step) -> float:
    """How long the step's window is, in the unit of the pace."""
    rule = RULES[step]
    return settings.lengths.get(step, rule.hours if settings.pace == "days" else rule.minutes)


def reading_length(settings: Settings, step: Step) -> float:
    """Time to read before the step's window opens, in the unit of the pace."""
    rule = RULES[step]
    if settings.reading is not None and rule.read_hours:
        return settings.reading
    return rule.read_hours if settings.pace == "days" else rule.read_minutes
