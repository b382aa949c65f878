"""Steps that are opened again though their end was announced: what was built on them goes, and everybody hears of it.

Which can be follows from what has been read and what people have given since:

- focus, merge and dots, as long as nobody writes plans: what the facilitator and the decision-maker made of them goes,
  questions and precedents too, since other forces would bring other ones;
- questions, while precedents are looked for: questions and precedents stay, but for those of a question that is
  dropped then;
- precedents, while plans are written: the plans stay sealed and come back with their step;
- the ballot, until the seal: all votes go, and what was chosen by them; comparisons stay, if it was not they that the
  ballot picked the plans for.

Not the notes and the plans: what was revealed cannot be private again. Late notes join the others while the duplicates
are joined, so whoever wants more notes opens the merge. Not the placement: where comparisons are missing it is still
open. The commitment is its own master until its seal, and nothing is opened after that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import RUNNING, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.disclosure import told_by_now
from coldframe.domain.settings import MAX_PLACED
from coldframe.domain.state import Ledger, Round
from coldframe.domain.texts import optional
from coldframe.domain.who_may import Act

# --- what people ask ---


class OpenAgain(Command):
    """A step that is over runs again; everybody reads why."""

    step: Step
    reason: str = ""


# --- what becomes true ---


class FocusReopened(Fact):
    reason: str = ""


class MergeReopened(Fact):
    reason: str = ""


class DotsReopened(Fact):
    reason: str = ""


class QuestionsReopened(Fact):
    reason: str = ""


class PrecedentsReopened(Fact):
    reason: str = ""


class BallotReopened(Fact):
    reason: str = ""


# --- rulings ---

REASON_LENGTH = 200  # characters
Reopened = FocusReopened | MergeReopened | DotsReopened | QuestionsReopened | PrecedentsReopened | BallotReopened
REOPENED: Mapping[Step, type[Reopened]] = {
    Step.FOCUS: FocusReopened,
    Step.MERGE: MergeReopened,
    Step.DOTS: DotsReopened,
    Step.QUESTIONS: QuestionsReopened,
    Step.PRECEDENTS: PrecedentsReopened,
    Step.BALLOT: BallotReopened,
}
UNTIL: Mapping[Step, Step] = {
    Step.FOCUS: Step.PRECEDENTS,
    Step.MERGE: Step.PRECEDENTS,
    Step.DOTS: Step.PRECEDENTS,
    Step.QUESTIONS: Step.PRECEDENTS,
    Step.PRECEDENTS: Step.PLANS,
    Step.BALLOT: Step.COMMITMENT,
}
"""The last step from which each can be opened again."""
_ORDER = tuple(Step)


def span(first: Step, last: Step) -> tuple[Step, ...]:
    """These steps and all between."""
    return _ORDER[_ORDER.index(first) : _ORDER.index(last) + 1]


TRANSITIONS: Mapping[tuple[Step, type[Fact]], Step] = {
    (later, fact): step for step, fact in REOPENED.items() for later in span(step, UNTIL[step])[1:]
}


def can_be_opened(round_: Round) -> tuple[Step, ...]:
    """Steps that can be opened again now, the latest first; none that was not played."""
    found = [step for step in REOPENED if (round_.step, REOPENED[step]) in TRANSITIONS and step not in round_.passed]
    return tuple(reversed(found))


def open_again(round_: Round, command: OpenAgain, now: datetime) -> Facts:
    checks.in_step(round_, *RUNNING)
    checks.not_paused(round_)
    checks.may(round_, command.by, Act.CORRECT)
    if command.step not in can_be_opened(round_):
        raise Refused(Because.STAYS_CLOSED, which=command.step, step=round_.step)
    reason = optional(command.reason, REASON_LENGTH, field="reason")
    return (REOPENED[command.step](reason),)


# --- evolve ---


def _passed_before(round_: Round, step: Step) -> Round:
    """Steps from this one on may be played this time; what was told of them is not forgotten by those who read it."""
    kept = {s: why for s, why in round_.passed.items() if _ORDER.index(s) < _ORDER.index(step)}
    return replace(round_, passed=kept, told_before=told_by_now(round_))


def _without_dots(round_: Round) -> Round:
    counted = _not_counted(round_, Step.DOTS)
    plain = replace(round_, dots=None, forces_standing=(), counted=counted)
    return replace(plain, questions=(), suggestions=(), precedents=(), side_by_side=(), kin=())


def _not_counted(round_: Round, step: Step) -> dict[Step, int]:
    return {other: voters for other, voters in round_.counted.items() if other is not step}


def focus_reopened(round_: Round, fact: FocusReopened) -> Round:
    open_ = _without_dots(_passed_before(round_, Step.FOCUS))
    return replace(open_, focus=None, focus_reason="", forces=(), proposals=())


def merge_reopened(round_: Round, fact: MergeReopened) -> Round:
    """What was joined stays joined, and can be taken apart."""
    return _without_dots(_passed_before(round_, Step.MERGE))


def dots_reopened(round_: Round, fact: DotsReopened) -> Round:
    return _without_dots(_passed_before(round_, Step.DOTS))


def questions_reopened(round_: Round, fact: QuestionsReopened) -> Round:
    return _passed_before(round_, Step.QUESTIONS)


def precedents_reopened(round_: Round, fact: PrecedentsReopened) -> Round:
    return _passed_before(round_, Step.PRECEDENTS)


def picks_for_placement(round_: Round) -> bool:
    """Whether it is by the ballot that plans are picked to be compared."""
    return len(round_.plan_order) > MAX_PLACED


def ballot_reopened(round_: Round, fact: BallotReopened) -> Round:
    picked = picks_for_placement(round_)
    return replace(
        _passed_before(round_, Step.BALLOT),
        ballot=Ledger(round_.settings.plan_votes),
        plans_standing=(),
        counted=_not_counted(round_, Step.BALLOT),
        weighted_voter=None,
        to_place=() if picked else round_.plan_order,
        comparisons={} if picked else round_.comparisons,
        corners={},
        choices={},
        fates={},
        next_round=None,
        beside=(),
        alongside=(),
        same_people=(),
        overlap_accepted=False,
    )


DECIDE: Decide = {OpenAgain: open_again}
EVOLVE: Evolve = {
    FocusReopened: focus_reopened,
    MergeReopened: merge_reopened,
    DotsReopened: dots_reopened,
    QuestionsReopened: questions_reopened,
    PrecedentsReopened: precedents_reopened,
    BallotReopened: ballot_reopened,
}
