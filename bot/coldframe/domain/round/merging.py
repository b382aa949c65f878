"""The focus, and joining direct duplicates among its restraining forces. A wrong merge destroys a point for good,
so a person confirms each, every wording is kept, and anybody may take a join apart until the dots open."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from coldframe.domain import checks
from coldframe.domain.commands import BOT, Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import ForceId, LeverId, MemberId, NoteId, PassReason, Role, Side, Step
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.round.rule import Passing, StepRule, chief, facilitator, keeps_nothing, nobody
from coldframe.domain.state import Force, Likeness, MergeProposal, Note, Round
from coldframe.domain.texts import accepted
from coldframe.domain.who_may import Act

# --- what people ask ---


class PickFocus(Command):
    lever: LeverId
    reason: str


class ProposeMerges(Command):
    """The bot's proposals of direct duplicates among the restraining forces in focus."""

    proposals: tuple[MergeProposal, ...]
    by_words: bool = False


class AnswerMerge(Command):
    """Yes, the same point, but for those that are named as `apart`; or no, they differ."""

    first: NoteId
    second: NoteId
    same: bool
    apart: tuple[NoteId, ...] = ()


class JoinForces(Command):
    first: ForceId
    second: ForceId


class SayTheSame(Command):
    """Say in private that two forces are the same point; the facilitator decides, and nobody learns who said it."""

    first: ForceId
    second: ForceId


class SplitForce(Command):
    """Take a joined force apart again; anybody may, unsigned, until the dots open."""

    force: ForceId


# --- what becomes true ---


class FocusPicked(Fact):
    lever: LeverId
    reason: str


class MergesProposed(Fact):
    proposals: tuple[MergeProposal, ...]
    by_words: bool = False


class SameSaid(Fact):
    """Somebody says that two notes are the same point; who is kept nowhere."""

    first: NoteId
    second: NoteId


class MergeAnswered(Fact):
    """One person's answer; who facilitates and decides alike needs a second person's as well."""

    first: NoteId
    second: NoteId
    same: bool
    by: MemberId
    apart: tuple[NoteId, ...] = ()


class ForcesJoined(Fact):
    first: ForceId
    second: ForceId


class ForceSplit(Fact):
    force: ForceId


class Merged(Fact):
    """The list of forces stands."""

    forces: int


# --- rulings ---

MIN_REASON = 15
SAID = Likeness("said by somebody")
"""Why two notes are proposed that a member takes for the same point."""
MOST_SAID = 20
"""Pairs of members' that wait for the facilitator at once."""
PEOPLE_FOR_SECOND_OPINION = 4
LEAST_JOINED = 2  # notes


def pick_focus(round_: Round, command: PickFocus, now: datetime) -> Facts:
    checks.in_step(round_, Step.FOCUS)
    checks.not_paused(round_)
    checks.may(round_, command.by, Act.PICK_FOCUS)
    checks.lever(round_, command.lever)
    reason = accepted(command.reason, 500, field="reason")
    if len(reason) < MIN_REASON:
        raise Refused(Because.REASON_TOO_SHORT, length=len(reason), least=MIN_REASON)
    if not any(n.lever == command.lever and n.side is Side.RESTRAINING and not n.hidden for n in round_.notes.values()):
        raise Refused(Because.NOTHING_TO_WORK_ON, lever=round_.settings.lever_name(command.lever))
    return (FocusPicked(command.lever, reason),)


def propose(round_: Round, command: ProposeMerges, now: datetime) -> Facts:
    checks.bot(command.by)
    checks.in_step(round_, Step.MERGE)
    there = {n.id for n in round_.restraining_in_focus()}
    if any(not there.issuperset(p.notes) or len(set(p.notes)) < len(p.notes) for p in command.proposals):
        raise Refused(Because.MERGE_ACROSS)
    old = {frozenset(p.notes) for p in round_.proposals}
    new = tuple(p for p in command.proposals if frozenset(p.notes) not in old)
    return (MergesProposed(new, command.by_words),) if new or command.by_words != round_.by_words else ()


def answer(round_: Round, command: AnswerMerge, now: datetime) -> Facts:
    """The facilitator answers; a proposal that the facilitator made as decision-maker needs somebody else's yes.

    A no after the yes takes the force apart again.
    """
    checks.in_step(round_, Step.MERGE)
    proposal = _proposal(round_, command.first, command.second)
    second_opinion = proposal.proposed_by is not None and command.by != proposal.proposed_by
    checks.may(round_, command.by, Act.MERGE, given=second_opinion)
    if not second_opinion and proposal.proposed_by == command.by and command.same:
        raise Refused(Because.NEEDS_SECOND_PERSON, writers=1)
    if proposal.answer is command.same:
        return ()
    if proposal.answer:
        return (ForceSplit(_holder(round_, proposal.alike[0])),)
    apart = command.apart if command.same else ()
    if not set(apart) <= set(proposal.notes) or len(proposal.notes) - len(set(apart)) < LEAST_JOINED:
        raise Refused(Because.TOO_FEW_ALIKE)
    return (MergeAnswered(command.first, command.second, command.same, command.by, apart),)


def join(round_: Round, command: JoinForces, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.MERGE)
    checks.in_step(round_, Step.MERGE)
    first, second = known(round_.force(command.first)), known(round_.force(command.second))
    if first == second:
        raise Refused(Because.ALREADY_MERGED)
    if needs_second_person(round_) and command.by != BOT:
        by_hand = MergeProposal(first.notes[0], second.notes[0], 1.0, "", None, command.by)
        return () if by_hand in round_.proposals else (MergesProposed((by_hand,)),)
    return (ForcesJoined(command.first, command.second),)


def say_the_same(round_: Round, command: SayTheSame, now: datetime) -> Facts:
    """Who facilitates joins by hand instead. What was kept apart is not asked again."""
    checks.may(round_, command.by, Act.SAY_SAME)
    checks.in_step(round_, Step.MERGE)
    if round_.is_facilitator(command.by):
        return join(round_, JoinForces(command.by, command.first, command.second), now)
    first, second = known(round_.force(command.first)), known(round_.force(command.second))
    if first == second:
        raise Refused(Because.ALREADY_MERGED)
    known_pair = next((p for p in reversed(round_.proposals) if _joins(p, first, second)), None)
    if known_pair is not None:
        return _said_of(round_, known_pair, command, now)
    if sum(was_said(p) and p.answer is None for p in round_.proposals) >= MOST_SAID:
        raise Refused(Because.TOO_MANY, most=MOST_SAID, lever="")
    return (SameSaid(first.notes[0], second.notes[0]),)


def _said_of(round_: Round, proposal: MergeProposal, command: SayTheSame, now: datetime) -> Facts:
    """Of a pair that was proposed before; where it waits for a second person's yes, this is it."""
    if proposal.answer is False:
        raise Refused(Because.KEPT_APART)
    if proposal.proposed_by is not None:
        return answer(round_, AnswerMerge(command.by, proposal.first, proposal.second, same=True), now)
    return () if was_said(proposal) else (SameSaid(proposal.first, proposal.second),)


def _joins(proposal: MergeProposal, first: Force, second: Force) -> bool:
    """Whether its yes would join these two."""
    return all(any(note in force.notes for note in proposal.alike) for force in (first, second))


def was_said(proposal: MergeProposal) -> bool:
    """Whether a member takes the two for the same point."""
    return not isinstance(proposal.why, str) and SAID in proposal.why


def said_alone(proposal: MergeProposal) -> bool:
    """Whether nothing but a member's word speaks for it: it is put to the facilitator by itself."""
    return proposal.why == (SAID,)


def on_the_desk(round_: Round) -> tuple[MergeProposal, ...]:
    """Pairs that the facilitator has yet to answer on their sheet, one after the other."""
    waiting = (p for p in round_.proposals if p.answer is None and p.proposed_by is None and not said_alone(p))
    return tuple(p for p in waiting if not any(set(p.alike) <= {*force.notes} for force in round_.forces))


def split(round_: Round, command: SplitForce, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.SPLIT)
    checks.in_step(round_, Step.MERGE)
    force = round_.force(command.force)
    if force is None or len(force.notes) < 2:
        raise Refused(Because.UNKNOWN_ITEM)
    return (ForceSplit(command.force),)


def needs_second_person(round_: Round) -> bool:
    """One person who facilitates and decides does not merge alone in a team of four or more."""
    one = round_.roles.acting(Role.FACILITATOR) == round_.roles.acting(Role.DECISION_MAKER)
    return one and len(round_.active()) >= PEOPLE_FOR_SECOND_OPINION


def close(round_: Round) -> Facts:
    """Unanswered proposals stay apart."""
    return (Merged(len(round_.forces)),)


def _proposal(round_: Round, first: NoteId, second: NoteId) -> MergeProposal:
    pair = {first, second}
    return known(next((p for p in reversed(round_.proposals) if {p.first, p.second} == pair), None))


def force_id(note: NoteId) -> ForceId:
    """A force is named after its first note, so that splitting gives back the ids that were there before."""
    return ForceId(f"f-{note}")


# --- evolve ---


def focus_picked(round_: Round, fact: FocusPicked) -> Round:
    chosen = replace(round_, focus=fact.lever, focus_reason=fact.reason)
    forces = tuple(Force(force_id(n.id), (n.id,)) for n in chosen.restraining_in_focus())
    return replace(chosen, forces=forces)


def with_force(round_: Round, note: Note) -> Round:
    """A late note becomes a force of its own when the forces are already listed."""
    if round_.step is not Step.MERGE or note.lever != round_.focus or note.side is not Side.RESTRAINING:
        return round_
    return replace(round_, forces=(*round_.forces, Force(force_id(note.id), (note.id,))))


def merges_proposed(round_: Round, fact: MergesProposed) -> Round:
    return replace(round_, proposals=round_.proposals + fact.proposals, by_words=fact.by_words)


def same_said(round_: Round, fact: SameSaid) -> Round:
    old = next((p for p in reversed(round_.proposals) if {p.first, p.second} == {fact.first, fact.second}), None)
    if old is None:
        return replace(round_, proposals=(*round_.proposals, MergeProposal(fact.first, fact.second, 1.0, (SAID,))))
    why = (Likeness(old.why),) if isinstance(old.why, str) else old.why
    new = replace(old, why=(SAID, *why))
    return replace(round_, proposals=tuple(new if p == old else p for p in round_.proposals))


def merge_answered(round_: Round, fact: MergeAnswered) -> Round:
    old = _proposal(round_, fact.first, fact.second)
    waits = fact.same and needs_second_person(round_) and old.proposed_by is None and not was_said(old)
    asked = replace(old, apart=fact.apart) if fact.apart else old
    new = replace(asked, proposed_by=fact.by) if waits else replace(asked, answer=fact.same)
    changed = replace(round_, proposals=tuple(new if p == old else p for p in round_.proposals))
    if not fact.same or waits:
        return changed
    first, *others = new.alike
    for note in others:
        changed = _joined(changed, _holder(changed, first), _holder(changed, note))
    return changed


def _holder(round_: Round, note: NoteId) -> ForceId:
    return next(f.id for f in round_.forces if note in f.notes)


def _joined(round_: Round, first: ForceId, second: ForceId) -> Round:
    if first == second:
        return round_
    taken = next(f for f in round_.forces if f.id == second)
    forces = tuple(
        replace(f, notes=f.notes + taken.notes) if f.id == first else f for f in round_.forces if f.id != second
    )
    return replace(round_, forces=forces)


def forces_joined(round_: Round, fact: ForcesJoined) -> Round:
    return _joined(round_, fact.first, fact.second)


def force_split(round_: Round, fact: ForceSplit) -> Round:
    """Apart again, and the proposals that had joined them count as refused."""
    taken = next(f for f in round_.forces if f.id == fact.force)
    apart = tuple(Force(force_id(n), (n,)) for n in taken.notes)
    at = round_.forces.index(taken)
    forces = round_.forces[:at] + apart + round_.forces[at + 1 :]
    inside = set(taken.notes)
    proposals = tuple(replace(p, answer=False) if inside.issuperset(p.alike) else p for p in round_.proposals)
    return replace(round_, forces=forces, proposals=proposals)


DECIDE: Decide = {
    PickFocus: pick_focus,
    ProposeMerges: propose,
    AnswerMerge: answer,
    JoinForces: join,
    SayTheSame: say_the_same,
    SplitForce: split,
}
EVOLVE: Evolve = {
    FocusPicked: focus_picked,
    MergesProposed: merges_proposed,
    SameSaid: same_said,
    MergeAnswered: merge_answered,
    ForcesJoined: forces_joined,
    ForceSplit: force_split,
}


def _one_lever(round_: Round) -> PassReason | None:
    """Only one to pick; with nothing that holds it back it has to be seen that there is nothing to work on."""
    if len(round_.settings.levers) > 1:
        return None
    shown = [round_.notes[i] for i in round_.revealed]
    empty = round_.step is Step.FOCUS and not any(n.side is Side.RESTRAINING and not n.hidden for n in shown)
    return None if empty else PassReason.ONE_LEVER


def one_force(round_: Round) -> PassReason | None:
    """Nothing to join, nothing to vote on; known once the focus is picked."""
    return PassReason.ONE_FORCE if len(round_.forces) == 1 else None


FOCUS = StepRule(
    hours=8, minutes=3, read_hours=0, read_minutes=0, private=False, expected=chief, gave=nobody,
    quorum=None, needs=None, decides=Role.DECISION_MAKER, hands_over=True, close=None, enter=None,
    ends=FocusPicked, decide=DECIDE, evolve=EVOLVE, forget=keeps_nothing,
    passing=Passing(
        reasons=(PassReason.ONE_LEVER,), why=_one_lever, fact=lambda r: FocusPicked(r.settings.levers[0][0], "")
    ),
)  # fmt: skip
MERGE = StepRule(
    hours=6, minutes=5, read_hours=0, read_minutes=0, private=False, expected=facilitator, gave=nobody,
    quorum=None, needs=None, decides=None, hands_over=False, close=close, enter=None,
    ends=Merged, decide=DECIDE, evolve=EVOLVE, forget=keeps_nothing,
    passing=Passing(reasons=(PassReason.ONE_FORCE,), why=one_force, fact=lambda r: Merged(len(r.forces))),
)  # fmt: skip
