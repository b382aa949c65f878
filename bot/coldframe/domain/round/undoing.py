"""Second thoughts: what one person decides for all is announced only after a while, and can be undone until then.

So it is with a picked focus, with published questions (their step closes), and with every other step that is closed
early by hand. A close by the deadline was announced long before, and when all are done the step waits a while anyway
(`course.settle`): neither is held. Until it is announced the step goes on, and what comes in counts; nothing that was
revealed or counted is ever undone.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from coldframe.domain import checks
from coldframe.domain.commands import BOT, Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import ClosedBy, Deciding, LeverId, MemberId, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import course, merging
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import Close, Extend, GoOnWithout, Resume, WindowSet
from coldframe.domain.round.rules import RULES
from coldframe.domain.state import Held, Round

# --- what people ask ---


class Hold(Command):
    """Decide this, but so that it can be undone for a while. What would be refused is refused now."""

    what: Deciding
    lever: LeverId | None = None
    reason: str = ""


class Undo(Command):
    """It was a mistake: nothing of it is announced."""


class AnnounceNow(Command):
    """Do not wait any longer; by the bot when its moment has come."""


# --- what becomes true ---


class DecisionHeld(Fact):
    private = True
    step: Step
    held: Held


class DecisionUndone(Fact):
    step: Step
    what: Deciding


class DecisionLapsed(Fact):
    """It could not be carried out any more when its moment came."""

    step: Step
    what: Deciding
    why: Because


# --- rulings ---

UNDO_FOR = {"days": timedelta(minutes=10), "live": timedelta(minutes=1)}


def hold(round_: Round, command: Hold, now: datetime) -> Facts:
    """What announces nothing, such as asking writers for their consent, needs no second thoughts."""
    checks.member(round_, command.by)
    picked = (command.lever, command.reason) if command.what is Deciding.FOCUS else (None, "")
    held = Held(command.what, command.by, _moment(round_, command.what, now), *picked)
    facts = _ruled(round_, held, command.by, now)
    if not _ends(round_, facts):
        return facts
    known = round_.decided()
    if known is not None and replace(held, at=known.at, by=known.by) == known:
        return ()
    return (DecisionHeld(round_.step, held), *_time_for(round_, held))


def _moment(round_: Round, what: Deciding, now: datetime) -> datetime:
    """An early close is never later than the deadline."""
    at, due = now + UNDO_FOR[round_.settings.pace], round_.progress.due
    return at if what is Deciding.FOCUS or due is None or due <= now else min(at, due)


def _time_for(round_: Round, held: Held) -> Facts:
    """The window lasts until then, so that a decision in its last minutes is not late."""
    window = round_.progress
    if window.due is None or window.opens is None or window.due >= held.at:
        return ()
    personal = {member: max(at, held.at) for member, at in window.personal.items()}
    return (WindowSet(round_.step, window.opens, held.at, personal),)


def _ruled(round_: Round, held: Held, by: MemberId, now: datetime) -> Facts:
    match held.what:
        case Deciding.FOCUS:
            return merging.pick_focus(round_, PickFocus(by, held.lever or LeverId(""), held.reason), now)
        case Deciding.CLOSE:
            return course.close(round_, Close(by), now)
        case Deciding.WITHOUT:
            return course.go_on_without(round_, GoOnWithout(by), now)


def _ends(round_: Round, facts: Facts) -> bool:
    return any(isinstance(fact, RULES[round_.step].ends) for fact in facts)


def role_of(what: Deciding) -> Role:
    """Whose decision it is."""
    return Role.DECISION_MAKER if what is Deciding.FOCUS else Role.FACILITATOR


def may_settle(round_: Round, member: MemberId) -> bool:
    """Whether this member can undo what was decided, or have it announced: who decided, or who has the role now."""
    held = round_.decided()
    return held is not None and member in (held.by, round_.roles.acting(role_of(held.what)))


def _waiting(round_: Round, by: MemberId) -> Held:
    checks.member(round_, by)
    held = round_.decided()
    if held is None or not may_settle(round_, by):  # nobody else learns that there is something
        raise Refused(Because.NOTHING_TO_UNDO)
    return held


def undo(round_: Round, command: Undo, now: datetime) -> Facts:
    return (DecisionUndone(round_.step, _waiting(round_, command.by).what),)


def announce(round_: Round, command: AnnounceNow, now: datetime) -> Facts:
    held = round_.decided() if command.by == BOT else _waiting(round_, command.by)
    if held is None or (command.by == BOT and (now < held.at or round_.paused is not None)):
        return ()
    checks.not_paused(round_)
    return _announced(round_, held, now)


def _announced(round_: Round, held: Held, now: datetime) -> Facts:
    """In the name of whoever has the role now. Where it cannot be done any more, the step is as it was before."""
    try:
        facts = _ruled(round_, held, round_.roles.acting(role_of(held.what)), now)
    except Refused as refused:
        return (DecisionLapsed(round_.step, held.what, refused.code),)
    return facts if _ends(round_, facts) else (*facts, DecisionUndone(round_.step, held.what))


def close(round_: Round, command: Close, now: datetime) -> Facts:
    """At the deadline what was decided before it is carried out; if that cannot be, the deadline does what it does."""
    held, due = round_.decided(), round_.progress.due
    is_due = command.how == ClosedBy.DUE and due is not None and now >= due
    if held is None or not is_due or round_.paused is not None:
        return course.close(round_, command, now)
    checks.bot(command.by)
    facts = _announced(round_, held, now)
    if _ends(round_, facts):
        return facts
    lapsed = next((f for f in facts if isinstance(f, DecisionLapsed)), DecisionUndone(round_.step, held.what))
    return (lapsed, *course.close(replace(round_, held={}), command, now))


def extend(round_: Round, command: Extend, now: datetime) -> Facts:
    """More time for all is the opposite of a close."""
    facts, held = course.extend(round_, command, now), round_.decided()
    if held is None or held.what is Deciding.FOCUS:
        return facts
    return (*facts, DecisionUndone(round_.step, held.what))


def resume(round_: Round, command: Resume, now: datetime) -> Facts:
    """While the round rests nothing is announced; afterwards there is the whole time again to undo it."""
    facts, held = course.resume(round_, command, now), round_.decided()
    if held is None or _ends(round_, facts):
        return facts
    return (*facts, DecisionHeld(round_.step, replace(held, at=now + UNDO_FOR[round_.settings.pace])))


# --- evolve ---


def decision_held(round_: Round, fact: DecisionHeld) -> Round:
    return replace(round_, held={fact.step: fact.held})


def decision_over(round_: Round, fact: DecisionUndone | DecisionLapsed) -> Round:
    return replace(round_, held={})


DECIDE: Decide = {
    Hold: hold,
    Undo: undo,
    AnnounceNow: announce,
    Close: close,
    Extend: extend,
    Resume: resume,
}
EVOLVE: Evolve = {
    DecisionHeld: decision_held,
    DecisionUndone: decision_over,
    DecisionLapsed: decision_over,
}
