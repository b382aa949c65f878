"""What the facilitator can still put right in a round that runs: its question, who takes part, the deadline of the
running step, and how long those ahead are. Votes and weight of an open ballot stay as they are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import RUNNING, MemberId, Role, Step
from coldframe.domain.people.commands import Leave
from coldframe.domain.people.seats import MIN_PEOPLE
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import notes
from coldframe.domain.round.moves import WindowSet
from coldframe.domain.round.rules import RULES
from coldframe.domain.settings import MAX_WINDOW, RANGES, Settings
from coldframe.domain.state import Roles, Round
from coldframe.domain.texts import accepted
from coldframe.domain.who_may import Act

# --- what people ask ---


class Reword(Command):
    """Another guiding question."""

    text: str


class TakeOff(Command):
    """This member takes no part any more; what they gave is treated as when somebody leaves."""

    member: MemberId


class SetUpAnew(Command):
    """Everything that was set before the start, set again. The facilitator stays who they are."""

    name: str
    settings: Settings
    decision_maker: MemberId
    decision_deputy: MemberId
    facilitator_deputy: MemberId


class SetDeadline(Command):
    """The running step closes then, and nobody's own time ends later."""

    due: datetime


class SetLengths(Command):
    """How long the steps ahead are, in the unit of the pace, and the time to read before the ballot."""

    lengths: Mapping[Step, float]
    reading: float | None = None


class GiveDots(Command):
    """So many dots each, as long as nobody puts any."""

    dots: int


# --- what becomes true ---


class Reworded(Fact):
    text: str


class SetAnew(Fact):
    name: str
    settings: Settings
    roles: Roles


class LengthsSet(Fact):
    lengths: Mapping[Step, float]
    reading: float | None


class DotsGiven(Fact):
    dots: int


# --- rulings ---

QUESTION_LENGTH, NAME_LENGTH = 300, 60  # characters
AT_LEAST = {"days": timedelta(hours=1), "live": timedelta(minutes=1)}  # from now on
PRIVATE_AT_LEAST = timedelta(hours=20)  # on the wall clock, so that everybody is awake once meanwhile
AT_MOST = timedelta(days=60)
MANY_FORCES, DOTS_FOR_MANY = 16, 5  # above which three dots each tell too little apart, and how many are proposed


def reword(round_: Round, command: Reword, now: datetime) -> Facts:
    checks.in_step(round_, Step.SETUP, *RUNNING)
    checks.may(round_, command.by, Act.CORRECT)
    text = accepted(command.text, QUESTION_LENGTH)
    return () if text == round_.settings.question else (Reworded(text),)


def set_up_anew(round_: Round, command: SetUpAnew, now: datetime) -> Facts:
    """As the form for a new round takes it; whether it can start so is asked at the start, as ever."""
    checks.in_step(round_, Step.SETUP)
    checks.may(round_, command.by, Act.START)
    for member in (command.decision_maker, command.decision_deputy, command.facilitator_deputy):
        checks.member(round_, member)
    roles = round_.roles.given(Role.FACILITATOR, round_.roles.acting(Role.FACILITATOR), command.facilitator_deputy)
    roles = roles.given(Role.DECISION_MAKER, command.decision_maker, command.decision_deputy)
    fact = SetAnew(accepted(command.name, NAME_LENGTH), command.settings, roles)
    same = (fact.name, fact.settings, fact.roles) == (round_.name, round_.settings, round_.roles)
    return () if same else (fact,)


def take_off(round_: Round, command: TakeOff, now: datetime) -> Facts:
    checks.in_step(round_, Step.SETUP, *RUNNING)
    checks.may(round_, command.by, Act.ADMIT)
    checks.member(round_, command.member)
    people = len(round_.active()) - 1
    if people < MIN_PEOPLE:
        raise Refused(Because.TOO_FEW_PEOPLE, people=people, fewest=MIN_PEOPLE)
    return notes.leave(round_, Leave(command.by, command.member), now)


def earliest(round_: Round, now: datetime) -> datetime:
    """The earliest deadline that the running step may be given: nobody is cut off, nor asked while they sleep."""
    opens, soon = round_.progress.opens or now, now + AT_LEAST[round_.settings.pace]
    private = round_.settings.pace == "days" and RULES[round_.step].private
    return max(soon, opens + PRIVATE_AT_LEAST) if private else soon


def set_deadline(round_: Round, command: SetDeadline, now: datetime) -> Facts:
    checks.in_step(round_, *RUNNING)
    checks.not_paused(round_)
    checks.may(round_, command.by, Act.CORRECT)
    window = round_.progress
    if window.opens is None or window.due is None or command.due == window.due:
        return ()
    first, last = earliest(round_, now), now + AT_MOST
    if not first <= command.due <= last:
        raise Refused(Because.DEADLINE_RANGE, earliest=first, latest=last)
    return (WindowSet(round_.step, window.opens, command.due, _personal(round_, command.due)),)


def _personal(round_: Round, due: datetime) -> Mapping[MemberId, datetime]:
    """Earlier, nobody's own time ends after it; later, everybody has until then."""
    window = round_.progress
    assert window.due is not None
    later = due > window.due
    return {member: due if later else min(at, due) for member, at in window.personal.items()}


def set_lengths(round_: Round, command: SetLengths, now: datetime) -> Facts:
    checks.in_step(round_, Step.SETUP, *RUNNING)
    checks.may(round_, command.by, Act.CORRECT)
    known = round_.settings
    changed = {s for s in RULES if command.lengths.get(s) != known.lengths.get(s)}
    changed |= {Step.BALLOT} if command.reading != known.reading else set()
    for step in changed:
        _still_ahead(round_, step)
    for step, length in command.lengths.items():
        if not 0 < length <= MAX_WINDOW:
            allowed = f"over 0 to {MAX_WINDOW}"
            raise Refused(Because.BAD_SETTING, setting=f"{step} length", value=length, allowed=allowed)
    return (LengthsSet(command.lengths, command.reading),) if changed else ()


def proposed_dots(round_: Round) -> int | None:
    """How many dots each are proposed, where so many forces stand that those set are few."""
    few = round_.settings.dots < DOTS_FOR_MANY and len(round_.forces) > MANY_FORCES
    return DOTS_FOR_MANY if few and round_.step is Step.MERGE else None


def give_dots(round_: Round, command: GiveDots, now: datetime) -> Facts:
    checks.in_step(round_, Step.SETUP, *(s for s in RUNNING if _is_before(s, Step.DOTS)))
    checks.may(round_, command.by, Act.CORRECT)
    least, most = RANGES["dots"]
    if not least <= command.dots <= most:
        raise Refused(Because.BAD_SETTING, setting="dots", value=command.dots, allowed=f"{least} to {most}")
    return () if command.dots == round_.settings.dots else (DotsGiven(command.dots),)


def _is_before(step: Step, other: Step) -> bool:
    order = list(Step)
    return order.index(step) < order.index(other)


def _still_ahead(round_: Round, step: Step) -> None:
    if not _is_before(round_.step, step):
        raise Refused(Because.WINDOW_RUNS, which=step, step=round_.step)


# --- evolve ---


def reworded(round_: Round, fact: Reworded) -> Round:
    return replace(round_, settings=replace(round_.settings, question=fact.text))


def set_anew(round_: Round, fact: SetAnew) -> Round:
    return replace(round_, name=fact.name, settings=fact.settings, roles=fact.roles)


def lengths_set(round_: Round, fact: LengthsSet) -> Round:
    return replace(round_, settings=replace(round_.settings, lengths=fact.lengths, reading=fact.reading))


def dots_given(round_: Round, fact: DotsGiven) -> Round:
    return replace(round_, settings=replace(round_.settings, dots=fact.dots))


DECIDE: Decide = {
    Reword: reword,
    TakeOff: take_off,
    SetUpAnew: set_up_anew,
    SetDeadline: set_deadline,
    SetLengths: set_lengths,
    GiveDots: give_dots,
}
EVOLVE: Evolve = {Reworded: reworded, SetAnew: set_anew, LengthsSet: lengths_set, DotsGiven: dots_given}
