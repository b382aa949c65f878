"""What single people are told when something became true: their own lists, votes, questions, offers."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.facts import (
    BallotLocked,
    Compared,
    ConsentAsked,
    Fact,
    GotStuck,
    LateNoteKept,
    LedgerReconciled,
    MemberDone,
    MemberJoined,
    MergesProposed,
    NoteEdited,
    NoteWithdrawn,
    NoteWritten,
    OwnerAsked,
    OwnershipAccepted,
    OwnershipDeclined,
    PersonForgotten,
    PlanChosen,
    PlanHandedIn,
    PlanWithdrawn,
    QuestionDropped,
    QuestionSuggested,
    QuestionWritten,
    VoteCast,
    VoteTakenBack,
)
from coldframe.domain.names import MemberId, Role, Side, Step
from coldframe.domain.round import ballots, placement, rules
from coldframe.domain.state import Round
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.reading.note_lines import looks_long
from coldframe.engine.round import opening
from coldframe.message.nodes import Message
from coldframe.ports.chat import Place
from coldframe.speech.names import message_name
from coldframe.speech.round import ballot_prompts, cards, commitment_words, late_words, prompts, work_prompts

# --- notes ---


async def _note_written(turn: Turn, before: Round, after: Round, fact: NoteWritten) -> None:
    assert fact.note.author is not None
    _my_notes(turn, after, fact.note.author)
    mine = [n for n in after.notes.values() if n.author == fact.note.author]
    one_sided = {n.side for n in mine} == {fact.note.side}
    if len(mine) == 3 and one_sided and after.step is Step.NOTES:
        turn.answer(after.tenant, fact.note.author, prompts.only_one_side(Side(fact.note.side)))
    if looks_long(fact.note.text):
        turn.answer(after.tenant, fact.note.author, prompts.two_ideas(after, fact.note))


async def _note_changed(turn: Turn, before: Round, after: Round, fact: NoteEdited | NoteWithdrawn) -> None:
    author = before.notes[fact.note].author
    if author is not None:
        _my_notes(turn, after, author)


def _my_notes(turn: Turn, round_: Round, member: MemberId) -> None:
    if round_.step is Step.NOTES:
        turn.revise_own(round_, member, "mine", prompts.my_notes(round_, member))


async def _consent(turn: Turn, before: Round, after: Round, fact: ConsentAsked) -> None:
    for writer in fact.writers:
        turn.tell(after, writer, "consent", prompts.ask_consent(after, len(fact.writers)), only_in=Step.NOTES)
    facilitator = after.roles.acting(Role.FACILITATOR)
    turn.answer(after.tenant, facilitator, late_words.few_writers(after))


async def _late(turn: Turn, before: Round, after: Round, fact: LateNoteKept) -> None:
    assert fact.note.author is not None
    turn.answer(after.tenant, fact.note.author, late_words.late_note(after, fact.note))


# --- doing ---


async def _forgotten(turn: Turn, before: Round, after: Round, fact: PersonForgotten) -> None:
    """Their own list in the direct messages, too, shows nothing any more."""
    if after.paused is None and after.progress.due is not None:
        refresh_own(turn, after, fact.member)


async def _done(turn: Turn, before: Round, after: Round, fact: MemberDone) -> None:
    refresh_own(turn, after, fact.member)


def refresh_own(turn: Turn, round_: Round, member: MemberId) -> None:
    """The person's own card of the running step."""
    match round_.step:
        case Step.NOTES:
            _my_notes(turn, round_, member)
        case Step.PLANS:
            turn.revise_own(round_, member, "desk", work_prompts.plans_desk(round_, member), Step.PLANS.value)
        case Step.DOTS | Step.BALLOT:
            turn.revise_own(round_, member, "ballot", ballot_prompts.ballot_intro(round_, member), round_.step.value)
        case _:
            pass


async def _stuck(turn: Turn, before: Round, after: Round, fact: GotStuck) -> None:
    if rules.RULES[after.step].decides:
        return
    for member in {after.roles.acting(Role.FACILITATOR), after.roles.deputy(Role.FACILITATOR)} - {None}:
        assert member is not None
        turn.tell(after, member, "stuck", prompts.stuck(after, fact.came_in, fact.quorum), rest=(after.step.value,))


async def _joined(turn: Turn, before: Round, round_: Round, fact: MemberJoined) -> None:
    if round_.step is not Step.SETUP:
        turn.answer(round_.tenant, fact.member, late_words.welcome(round_))


# --- merging, questions ---


async def _proposed(turn: Turn, before: Round, after: Round, fact: MergesProposed) -> None:
    facilitator = after.roles.acting(Role.FACILITATOR)
    turn.revise_own(after, facilitator, "desk", prompts.merge_desk(after, facilitator), Step.MERGE.value)
    for proposal in fact.proposals:
        words = prompts.merge_proposal(after, proposal)
        name = message_name(after.id, "proposal", proposal.first, proposal.second)
        place = turn.channel(after) if proposal.proposed_by else turn.direct(after, facilitator)
        turn.post_as(name, place, words, after.id, only_in=Step.MERGE)


async def _questions_changed(
    turn: Turn, before: Round, after: Round, fact: QuestionWritten | QuestionDropped | QuestionSuggested
) -> None:
    facilitator = after.roles.acting(Role.FACILITATOR)
    if after.step is Step.QUESTIONS:
        turn.revise_own(
            after, facilitator, "desk", work_prompts.questions_desk(after, facilitator), Step.QUESTIONS.value
        )


def without_a_note(turn: Turn, round_: Round, member: MemberId, force: str) -> list[tuple[str, Place, Message]]:
    """A person's own messages that may repeat a note of the force, as they read without it: (name, place, words)."""
    place = turn.direct(round_, member)
    options = ballot_prompts.option(round_, member, force) if round_.step is Step.DOTS else cards.option_over(round_)
    merge = prompts.merge_desk(round_, member) if round_.step is Step.MERGE else cards.closed_card(round_, Step.MERGE)
    asked = (
        work_prompts.questions_desk(round_, member)
        if round_.step is Step.QUESTIONS
        else cards.closed_card(round_, Step.QUESTIONS)
    )
    return [
        (message_name(round_.id, "option", member, Step.DOTS.value, force), place, options),
        (message_name(round_.id, "desk", member, Step.MERGE.value), place, merge),
        (message_name(round_.id, "desk", member, Step.QUESTIONS.value), place, asked),
    ]


# --- votes ---


async def _voted(turn: Turn, before: Round, after: Round, fact: VoteCast | VoteTakenBack) -> None:
    """Every card on which this person's votes read differently, and a word when one does not count."""
    _refresh_ballot(turn, before, after, fact.voter)
    ledger = after.ledger()
    if isinstance(fact, VoteCast) and not fact.counts and ledger is not None:
        text = ballot_prompts.option_text(after, fact.mark.option)
        turn.answer(after.tenant, fact.voter, ballot_prompts.over_quota(after, text, ledger.quota))


def _refresh_ballot(turn: Turn, before: Round, after: Round, voter: MemberId) -> None:
    if after.ledger() is None or after.step is not before.step:
        return
    refresh_own(turn, after, voter)
    for option in ballots.options(after):
        new = ballot_prompts.option(after, voter, option)
        if new != ballot_prompts.option(before, voter, option):
            turn.revise_own(after, voter, "option", new, after.step.value, option)


async def _reconciled(turn: Turn, before: Round, after: Round, fact: LedgerReconciled) -> None:
    for voter in fact.marks:
        _refresh_ballot(turn, before, after, voter)


async def _locked(turn: Turn, before: Round, after: Round, fact: BallotLocked) -> None:
    refresh_own(turn, after, fact.voter)
    if placement.in_one_sitting(after) and after.step is Step.BALLOT:
        opening.ask_to_compare(turn, after, fact.voter)


async def _compared(turn: Turn, before: Round, after: Round, fact: Compared) -> None:
    judge = fact.comparison.judge
    pair = placement.next_pair(after, judge)
    if pair is None:
        turn.revise_own(after, judge, "compare", ballot_prompts.comparisons_done(after))
        return
    left = placement.left_to_compare(after, judge)
    turn.revise_own(after, judge, "compare", ballot_prompts.comparison(after, judge, *pair, left))


# --- plans, commitment ---


async def _plan_in(turn: Turn, before: Round, after: Round, fact: PlanHandedIn) -> None:
    author = fact.plan.author
    assert author is not None
    refresh_own(turn, after, author)
    if fact.plan.caution and not fact.plan.checked_by:
        turn.answer(after.tenant, author, work_prompts.plan_caution(fact.plan))


async def _plan_out(turn: Turn, before: Round, after: Round, fact: PlanWithdrawn) -> None:
    author = before.plans[fact.plan].author
    if author is not None:
        refresh_own(turn, after, author)


async def _chosen(turn: Turn, before: Round, after: Round, fact: PlanChosen) -> None:
    plan = after.plans[fact.plan]
    if plan.author is not None:
        turn.tell(after, plan.author, "author", commitment_words.author_told(after, plan), rest=(plan.id,))


async def _owner_asked(turn: Turn, before: Round, after: Round, fact: OwnerAsked) -> None:
    words = commitment_words.owner_asked(after, after.plans[fact.plan])
    turn.tell(after, fact.member, "own", words, rest=(fact.plan,))


async def _owner_accepted(turn: Turn, before: Round, after: Round, fact: OwnershipAccepted) -> None:
    """Who owned it until now hears who does from now on."""
    earlier = before.choices[fact.plan].owner
    if earlier is not None:
        words = commitment_words.owner_replaced(after, after.plans[fact.plan], fact.member)
        turn.answer(after.tenant, earlier, words)


async def _declined(turn: Turn, before: Round, after: Round, fact: OwnershipDeclined) -> None:
    words = commitment_words.declined(after, after.plans[fact.plan], fact.member, fact.reason)
    turn.answer(after.tenant, after.roles.acting(Role.FACILITATOR), words)


FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    MemberJoined: _joined,
    NoteWritten: _note_written,
    NoteEdited: _note_changed,
    NoteWithdrawn: _note_changed,
    ConsentAsked: _consent,
    LateNoteKept: _late,
    MemberDone: _done,
    PersonForgotten: _forgotten,
    GotStuck: _stuck,
    MergesProposed: _proposed,
    QuestionWritten: _questions_changed,
    QuestionDropped: _questions_changed,
    QuestionSuggested: _questions_changed,
    VoteCast: _voted,
    VoteTakenBack: _voted,
    LedgerReconciled: _reconciled,
    BallotLocked: _locked,
    Compared: _compared,
    PlanHandedIn: _plan_in,
    PlanWithdrawn: _plan_out,
    PlanChosen: _chosen,
    OwnerAsked: _owner_asked,
    OwnershipAccepted: _owner_accepted,
    OwnershipDeclined: _declined,
}
