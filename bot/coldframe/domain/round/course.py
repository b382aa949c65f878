"""The course of a round: starting, windows, being done, closing, extending, pausing, ending."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from coldframe.domain import checks
from coldframe.domain.facts import Decide, Evolve, Facts
from coldframe.domain.names import RUNNING, ClosedBy, HandOverReason, MemberId, MoreTime, PauseReason, Role, Step
from coldframe.domain.people import seats
from coldframe.domain.people.facts import RoleHandedOver
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import ballots, counter, notes, plans, revealed_notes, rules
from coldframe.domain.round.moves import (
    Cancel,
    Close,
    DatesTold,
    Done,
    EverybodyIn,
    Extend,
    GoOnWithout,
    GotStuck,
    MakeUp,
    MemberDone,
    NotEverybodyIn,
    NothingCame,
    PartsSet,
    Pause,
    Resume,
    RoundCancelled,
    RoundPaused,
    RoundResumed,
    SetParts,
    SetWindow,
    Start,
    Started,
    StepExtended,
    StepOpened,
    StepPassed,
    TellDates,
    WindowSet,
)
from coldframe.domain.round.notes import ConsentAsked
from coldframe.domain.round.readiness import can_close, everybody_done, everybody_in, lacking, nothing_in, quorum_met
from coldframe.domain.round.rules import RULES
from coldframe.domain.settings import MAX_WINDOW, RANGES
from coldframe.domain.state import Round
from coldframe.domain.texts import accepted
from coldframe.domain.who_may import Act

MAX_LIVE_EXTENSIONS = 10  # "5 more minutes", ten times at most (WCAG 2.2, 2.2.1)
MAX_DAYS_EXTENSIONS = 3
SETTLING = {"days": timedelta(minutes=10), "live": timedelta(seconds=15)}


def start(round_: Round, command: Start, now: datetime) -> Facts:
    may_start(round_, command.by)
    return (Started(now),)


def may_start(round_: Round, by: MemberId) -> None:
    """Raises Refused for a round that cannot start as it is."""
    checks.in_step(round_, Step.SETUP)
    checks.may(round_, by, Act.START)
    _settings_refusal(round_)
    seats.roster_refusal(round_)


def _settings_refusal(round_: Round) -> None:
    settings = round_.settings
    if not settings.question.strip():
        raise Refused(Because.NO_QUESTION)
    if not 1 <= len(settings.levers) <= 6:
        raise Refused(Because.LEVER_COUNT, levers=len(settings.levers))
    for name, (low, high) in RANGES.items():
        value = getattr(settings, name)
        if not low <= value <= high:
            raise Refused(Because.BAD_SETTING, setting=name, value=value, allowed=f"{low} to {high}")
    for step, length in settings.lengths.items():
        if not 0 < length <= MAX_WINDOW:
            allowed = f"over 0 to {MAX_WINDOW}"
            raise Refused(Because.BAD_SETTING, setting=f"{step} length", value=length, allowed=allowed)


def set_window(round_: Round, command: SetWindow, now: datetime) -> Facts:
    checks.bot(command.by)
    checks.in_step(round_, *RUNNING)
    if command.due <= command.opens:
        raise Refused(Because.BAD_SETTING, setting="window", value=command.due, allowed="later")
    return (WindowSet(round_.step, command.opens, command.due, command.personal),)


def set_parts(round_: Round, command: SetParts, now: datetime) -> Facts:
    checks.bot(command.by)
    checks.in_step(round_, *RUNNING)
    parts = {member: at for member, at in command.parts.items() if member in round_.seats}
    return () if parts == round_.progress.parts else (PartsSet(round_.step, parts),)


def make_up(round_: Round, command: MakeUp, now: datetime) -> Facts:
    """Time lost while the bot was off comes back; nobody's own allowance of extensions is used up by it."""
    checks.bot(command.by)
    checks.in_step(round_, *RUNNING)
    checks.not_paused(round_)
    progress = round_.progress
    if progress.opens is None or progress.due is None or command.due <= progress.due:
        return ()
    window = WindowSet(round_.step, progress.opens, command.due, command.personal)
    return (window, StepExtended(round_.step, MoreTime.DOWNTIME, progress.extensions))


def tell_dates(round_: Round, command: TellDates, now: datetime) -> Facts:
    checks.bot(command.by)
    return (DatesTold(command.dates, round_.dates_told_times + 1),)


def done(round_: Round, command: Done, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.DONE)
    checks.in_step(round_, *RUNNING)
    if (command.by in round_.progress.done) == command.done:
        return ()
    return (MemberDone(command.by, command.done),)


def settle(round_: Round, now: datetime) -> Facts:
    """After every command: is everybody in now, or no longer? A short while is left to change one's mind."""
    if round_.step not in RUNNING or round_.progress.due is None or round_.paused is not None:
        return ()
    if everybody_done(round_) and not round_.progress.nothing and nothing_in(round_):
        return (NothingCame(round_.step, len(rules.expected(round_))),)
    everybody = everybody_in(round_)
    if everybody and round_.progress.settles_at is None:
        return (EverybodyIn(counter.closes_early(round_, now + SETTLING[round_.settings.pace])),)
    if not everybody and round_.progress.settles_at is not None:
        return (NotEverybodyIn(),)
    return ()


# --- closing ---


def close(round_: Round, command: Close, now: datetime) -> Facts:
    checks.in_step(round_, *RUNNING)
    checks.not_paused(round_)
    if command.how == ClosedBy.FACILITATOR:
        checks.may(round_, command.by, Act.CLOSE)
        return _close_now(round_)
    checks.bot(command.by)
    if command.how == ClosedBy.ALL_IN:
        settles = round_.progress.settles_at
        return _close_now(round_) if settles is not None and now >= settles else ()
    due = round_.progress.due
    return _close_due(round_) if due is not None and now >= due else ()


def _close_now(round_: Round) -> Facts:
    rule = RULES[round_.step]
    if rule.close is not None:
        return rule.close(round_)
    if rule.decides and rule.hands_over:
        raise Refused(Because.NOT_DECISION_MAKER, who=round_.name_of(round_.roles.acting(rule.decides)))
    raise Refused(Because.NOT_NOW)


def _close_due(round_: Round) -> Facts:
    """At the deadline: close with quorum; else once more by half; else the facilitator is told that it is stuck and
    has the time until the next deadline to choose; then it closes with what is there, or the round rests."""
    role = RULES[round_.step].decides
    if role and not can_close(round_):
        return _decision_due(round_, role)
    waits = notes.awaits_consent(round_)
    asked = round_.progress.stuck or round_.progress.nothing
    if quorum_met(round_) and (asked or can_close(round_)) and not waits:
        return _with_time_to_answer(round_, _close_or_rest(round_))
    if not round_.progress.extended and not round_.progress.nothing:
        return (StepExtended(round_.step, lacking(round_), round_.progress.extensions + 1),)
    if not asked:
        return (GotStuck(round_.step, len(rules.came_in(round_)), rules.quorum(round_), lacking(round_)),)
    return _with_time_to_answer(round_, _close_or_rest(round_))


def _with_time_to_answer(round_: Round, facts: Facts) -> Facts:
    """Who is asked for consent at the deadline gets time to answer."""
    if not any(isinstance(f, ConsentAsked) for f in facts):
        return facts
    return (*facts, StepExtended(round_.step, MoreTime.CONSENT, round_.progress.extensions + 1))


def _close_or_rest(round_: Round) -> Facts:
    try:
        return _close_now(round_)
    except Refused:
        return (RoundPaused(_rests_for(round_)),)


def _rests_for(round_: Round) -> PauseReason:
    if notes.awaits_consent(round_):
        return PauseReason.NOT_AGREED
    return PauseReason.NOTHING_CAME if rules.came_in(round_) else PauseReason.NOBODY_ANSWERED


def _decision_due(round_: Round, role: Role) -> Facts:
    """A decision that did not come: half as long again, then the deputy, then the round rests.

    What waits for several people is not taken out of anybody's hands but extended a few times.
    """
    longer = StepExtended(round_.step, MoreTime.UNDECIDED, round_.progress.extensions + 1)
    rest = (RoundPaused(PauseReason.NOBODY_DECIDED),)
    if not RULES[round_.step].hands_over:
        return (longer,) if round_.progress.extensions < MAX_DAYS_EXTENSIONS else rest
    if not round_.progress.extended:
        return (longer,)
    if role not in round_.roles.handed_over and seats.deputy_ready(round_, role):
        return (RoleHandedOver(role, True, HandOverReason.DEADLINE), longer)
    return rest


def go_on_without(round_: Round, command: GoOnWithout, now: datetime) -> Facts:
    """With what is there, if anything is; else without."""
    checks.in_step(round_, *RUNNING)
    checks.not_paused(round_)
    checks.may(round_, command.by, Act.CLOSE)
    without = RULES[round_.step].without
    if without is None or not nothing_in(round_):
        return _close_now(round_)
    return without(round_)


def extend(round_: Round, command: Extend, now: datetime) -> Facts:
    """In `live` pace anybody gets five more minutes for all; in `days` the facilitator extends by half."""
    live = round_.settings.pace == "live"
    checks.in_step(round_, *RUNNING)
    checks.not_paused(round_)
    checks.may(round_, command.by, Act.EXTEND, given=live)
    most = MAX_LIVE_EXTENSIONS if live else MAX_DAYS_EXTENSIONS
    if round_.progress.extensions >= most:
        raise Refused(Because.ALREADY_EXTENDED, most=most)
    return (StepExtended(round_.step, MoreTime.FACILITATOR, round_.progress.extensions + 1),)


def pause(round_: Round, command: Pause, now: datetime) -> Facts:
    checks.in_step(round_, *RUNNING)
    checks.may(round_, command.by, Act.REST)
    checks.not_paused(round_)
    return (RoundPaused(command.reason, now),)


def resume(round_: Round, command: Resume, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.REST)
    if round_.paused is None:
        raise Refused(Because.NOT_PAUSED)
    # The last consent may have come during the pause.
    resumed = RoundResumed(round_.rests_since)
    return (resumed, notes.reveal(round_)) if notes.all_agreed(round_) else (resumed,)


def cancel(round_: Round, command: Cancel, now: datetime) -> Facts:
    checks.in_step(round_, Step.SETUP, *RUNNING)
    may_cancel(round_, command.by)
    reason = command.reason.strip() and accepted(command.reason, 300, field="reason")
    if command.next_round is not None and command.next_round <= now:
        raise Refused(Because.IN_THE_PAST, at=command.next_round)
    return (RoundCancelled(reason, command.next_round),)


def may_cancel(round_: Round, by: MemberId) -> None:
    """Raises Refused for others than the facilitator; where nobody who takes part facilitates, as in a setup that an
    outsider began, any member may."""
    nobody = round_.roles.acting(Role.FACILITATOR) not in round_.active()
    checks.may(round_, by, Act.CANCEL, given=nobody)


# --- evolve ---


def step_opened(round_: Round, fact: StepOpened) -> Round:
    return round_


def step_passed(round_: Round, fact: StepPassed) -> Round:
    return replace(round_, passed={**round_.passed, fact.step: fact.why})


def window_set(round_: Round, fact: WindowSet) -> Round:
    window = replace(round_.progress, opens=fact.opens, due=fact.due, personal=fact.personal, parts={})
    return replace(round_, progress=window)


def parts_set(round_: Round, fact: PartsSet) -> Round:
    return replace(round_, progress=replace(round_.progress, parts=fact.parts))


def dates_told(round_: Round, fact: DatesTold) -> Round:
    return replace(round_, dates_told=fact.dates, dates_told_times=fact.times)


def step_extended(round_: Round, fact: StepExtended) -> Round:
    """Where everybody was done with nothing, more time asks everybody anew."""
    by_itself = fact.why not in (MoreTime.FACILITATOR, MoreTime.DOWNTIME)
    extended = round_.progress.extended or by_itself
    done = frozenset[MemberId]() if round_.progress.nothing else round_.progress.done
    round_ = ballots.unlocked(round_) if round_.progress.nothing else round_
    longer = replace(
        round_.progress, extensions=fact.extensions, extended=extended, settles_at=None, nothing=False, done=done
    )
    return replace(round_, progress=longer)


def got_stuck(round_: Round, fact: GotStuck) -> Round:
    return replace(round_, progress=replace(round_.progress, stuck=True))


def nothing_came(round_: Round, fact: NothingCame) -> Round:
    return replace(round_, progress=replace(round_.progress, nothing=True))


def everybody_is_in(round_: Round, fact: EverybodyIn) -> Round:
    return replace(round_, progress=replace(round_.progress, settles_at=fact.settles_at))


def not_everybody_in(round_: Round, fact: NotEverybodyIn) -> Round:
    return replace(round_, progress=replace(round_.progress, settles_at=None))


def member_done(round_: Round, fact: MemberDone) -> Round:
    who = round_.progress.done
    who = who | {fact.member} if fact.done else who - {fact.member}
    nothing = round_.progress.nothing and fact.done
    return replace(round_, progress=replace(round_.progress, done=who, nothing=nothing))


def round_paused(round_: Round, fact: RoundPaused) -> Round:
    return replace(round_, paused=fact.why, rests_since=fact.at, progress=replace(round_.progress, settles_at=None))


def round_resumed(round_: Round, fact: RoundResumed) -> Round:
    progress = replace(round_.progress, nothing=False)
    return replace(round_, paused=None, rests_since=None, open_roles=frozenset(), progress=progress)


def round_cancelled(round_: Round, fact: RoundCancelled) -> Round:
    """What was not revealed is held for a later round like a late note, and who wrote anything is erased."""
    late = {**round_.late_notes, **{i: n for i, n in round_.notes.items() if i not in round_.revealed}}
    return replace(
        round_,
        paused=None,
        ended_because=fact.reason,
        next_round=fact.next_round or round_.next_round,
        notes={i: n for i, n in round_.notes.items() if i in round_.revealed},
        jottings={},
        begun={},
        late_notes=revealed_notes.unsigned_by_name(late, fact.names),
        drafts={},
        plans={i: plans.unsigned(p) for i, p in round_.plans.items()},
    )


DECIDE: Decide = {
    Start: start,
    SetWindow: set_window,
    SetParts: set_parts,
    MakeUp: make_up,
    TellDates: tell_dates,
    Done: done,
    Close: close,
    GoOnWithout: go_on_without,
    Extend: extend,
    Pause: pause,
    Resume: resume,
    Cancel: cancel,
}
EVOLVE: Evolve = {
    StepOpened: step_opened,
    StepPassed: step_passed,
    WindowSet: window_set,
    PartsSet: parts_set,
    DatesTold: dates_told,
    StepExtended: step_extended,
    GotStuck: got_stuck,
    NothingCame: nothing_came,
    EverybodyIn: everybody_is_in,
    NotEverybodyIn: not_everybody_in,
    MemberDone: member_done,
    RoundPaused: round_paused,
    RoundResumed: round_resumed,
    RoundCancelled: round_cancelled,
}
