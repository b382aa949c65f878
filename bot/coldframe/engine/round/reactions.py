"""What follows from facts: what the channel is told, which cards change, what becomes due. A table, no I/O of its own.

What single people are told in private stands in `private_reactions`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coldframe.domain.facts import (
    AwaySet,
    BallotCounted,
    Committed,
    DatesTold,
    DotsCounted,
    EverybodyIn,
    Fact,
    FocusPicked,
    ForcesJoined,
    ForceSplit,
    LateNoteSettled,
    MergeAnswered,
    Merged,
    NoteHidden,
    NotEverybodyIn,
    PlansPlaced,
    PlansRevealed,
    PrecedentGiven,
    QuestionsPublished,
    Revealed,
    RoleFilled,
    RoleHandedOver,
    RoundCancelled,
    RoundPaused,
    RoundResumed,
    StepExtended,
    StepOpened,
)
from coldframe.domain.names import RUNNING, Step
from coldframe.domain.round import commitment, rules
from coldframe.domain.round.questions import same_source
from coldframe.domain.state import Round
from coldframe.engine.core import timetable
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.reminding import rounds as reminders
from coldframe.engine.round import closing, opening, private_reactions, retention
from coldframe.speech.names import message_name
from coldframe.speech.people import time_words
from coldframe.speech.round import cards, commitment_words, prompts, results

STEP_KINDS = (*closing.DUE, "open", "remind", "deputy")


async def react(
    follow: Mapping[type[Fact], Sequence[Follow[Round]]], turn: Turn, before: Round, after: Round, facts: Sequence[Fact]
) -> None:
    """Tells what the facts mean, in their order, then brings the step's card up to date."""
    for fact in facts:
        for reaction in follow.get(type(fact), ()):
            await reaction(turn, before, after, fact)
    await _windows(turn, before, after, facts)
    _refresh_card(turn, before, after)


async def _windows(turn: Turn, before: Round, after: Round, facts: Sequence[Fact]) -> None:
    """Due rows of the step, and what its opening brings."""
    if after.step is not before.step:
        await _close_card(turn, after, before.step)
        for kind in STEP_KINDS:
            await turn.drop_due(after.id, kind=kind)
    if after.step not in RUNNING or after.paused is not None:
        return
    window_moved = (after.progress.due, after.progress.personal) != (before.progress.due, before.progress.personal)
    if window_moved or after.step is not before.step:
        await _reschedule(turn, after)
    if after.step is not before.step and any(isinstance(f, StepOpened) for f in facts):
        await opening.enter(turn, after)


async def _reschedule(turn: Turn, round_: Round) -> None:
    due = round_.progress.due
    assert due is not None
    turn.later("close", round_.id, round_.step.value, due)
    opening.open_when_read(turn, round_)
    await turn.drop_due(round_.id, kind="remind")
    await reminders.schedule(turn, round_)


async def _close_card(turn: Turn, round_: Round, step: Step) -> None:
    """The card of a step that is over says so. That of the commitment comes a moment late: perhaps not at all."""
    name = message_name(round_.id, "card", step.value)
    if step in RUNNING and (step is not Step.COMMITMENT or await turn.uow.knows_message(name)):
        turn.revise(name, turn.channel(round_), cards.closed_card(round_, step), round_.id)


def _refresh_card(turn: Turn, before: Round, after: Round) -> None:
    """The card is sent anew only when it reads differently."""
    if after.step not in RUNNING or after.step is not before.step or before.progress.due is None:
        return
    if after.step is Step.COMMITMENT:
        if after != before:
            turn.later("desk", after.id, "card", turn.now)
        return
    card = cards.step_card(after)
    if card != cards.step_card(before):
        turn.revise(message_name(after.id, "card", after.step.value), turn.channel(after), card, after.id)


# --- course ---


async def _extended(turn: Turn, before: Round, round_: Round, fact: StepExtended) -> None:
    again = turn.kit.ids.new("") if fact.why == "downtime" else str(fact.extensions)
    turn.say(round_, "extended", cards.extended(round_, fact.why), rest=(round_.step.value, again))


async def _paused(turn: Turn, before: Round, round_: Round, fact: RoundPaused) -> None:
    for kind in STEP_KINDS:
        await turn.drop_due(round_.id, kind=kind)
    turn.say(round_, "paused", cards.paused(round_, fact.reason), rest=(turn.kit.ids.new(""),))


async def _resumed(turn: Turn, before: Round, round_: Round, fact: RoundResumed) -> None:
    turn.say(round_, "resumed", cards.resumed(round_), rest=(turn.kit.ids.new(""),))
    await opening.ask_who_was_not_asked(turn, round_, rules.expected(round_))


async def _away_set(turn: Turn, before: Round, round_: Round, fact: AwaySet) -> None:
    if not fact.away:
        await opening.ask_who_was_not_asked(turn, round_, (fact.member,))


async def _cancelled(turn: Turn, before: Round, round_: Round, fact: RoundCancelled) -> None:
    await turn.drop_due(round_.id)
    retention.after_end(turn, round_)
    name = turn.say(round_, "cancelled", cards.cancelled(round_, fact.reason))
    if round_.dates_told:
        turn.attach(f"{name}/calendar", turn.channel(round_), commitment_words.deadlines_off(round_), round_.id)


async def _handed_over(turn: Turn, before: Round, round_: Round, fact: RoleHandedOver) -> None:
    words = cards.handed_over(round_, fact.role, fact.to_deputy, fact.why)
    turn.say(round_, "role", words, rest=(turn.kit.ids.new(""),))
    if round_.step in RUNNING:
        opening.ask_the_one(turn, round_)


async def _role_filled(turn: Turn, before: Round, round_: Round, fact: RoleFilled) -> None:
    turn.say(round_, "role", cards.role_filled(round_, fact.role), rest=(turn.kit.ids.new(""),))
    if round_.step in RUNNING:
        opening.ask_the_one(turn, round_)


async def _everybody_in(turn: Turn, before: Round, round_: Round, fact: EverybodyIn) -> None:
    turn.later("settle", round_.id, round_.step.value, fact.settles_at)


async def _not_everybody(turn: Turn, before: Round, round_: Round, fact: NotEverybodyIn) -> None:
    await turn.drop_due(round_.id, kind="settle")


# --- results ---


async def _revealed(turn: Turn, before: Round, round_: Round, fact: Revealed) -> None:
    turn.say(round_, "reveal", results.revealed(round_))
    for lever, _ in round_.settings.levers:
        turn.say(round_, "lever", results.reveal(round_, lever), rest=(lever,))


async def _note_changed(turn: Turn, before: Round, round_: Round, fact: NoteHidden | LateNoteSettled) -> None:
    """The list of the note's lever is brought up to date in place."""
    note = round_.notes.get(fact.note)
    if note is not None and note.id in round_.revealed:
        bare = results.reveal(round_, note.lever)
        turn.revise(message_name(round_.id, "lever", note.lever), turn.channel(round_), bare, round_.id)


async def _note_hidden(turn: Turn, before: Round, round_: Round, fact: NoteHidden) -> None:
    """Its words are taken out wherever a later step repeated them, in private messages too."""
    await _note_changed(turn, before, round_, fact)
    force = next((f for f in round_.forces if fact.note in f.notes), None)
    if force is None:
        return
    await _revise_proposals(turn, round_)
    channel = turn.channel(round_)
    again = [(message_name(round_.id, "merged"), channel, results.merged(round_))]
    for question in (q for q in round_.questions if q.force == force.id):
        card = results.question_card(round_, question.id)
        again.append((message_name(round_.id, "question", question.id), channel, card))
    for member in round_.active():
        again += private_reactions.without_a_note(turn, round_, member, force.id)
    for name, place, words in again:
        if await turn.uow.knows_message(name):
            turn.revise(name, place, words, round_.id)


async def _focus(turn: Turn, before: Round, round_: Round, fact: FocusPicked) -> None:
    turn.say(round_, "focus", results.focus_picked(round_))
    turn.later("propose", round_.id, "merges", turn.now)


async def _merge_changed(
    turn: Turn, before: Round, round_: Round, fact: MergeAnswered | ForcesJoined | ForceSplit
) -> None:
    facilitator = rules.expected(round_)[0]
    turn.revise_own(round_, facilitator, "desk", prompts.merge_desk(round_, facilitator), Step.MERGE.value)
    await _revise_proposals(turn, round_)


async def _revise_proposals(turn: Turn, round_: Round) -> None:
    for proposal in round_.proposals:
        name = message_name(round_.id, "proposal", proposal.first, proposal.second)
        posted = await turn.uow.posted(name)
        if posted is not None:
            turn.revise(name, posted.place, prompts.merge_proposal(round_, proposal), round_.id)


async def _merged(turn: Turn, before: Round, round_: Round, fact: Merged) -> None:
    turn.say(round_, "merged", results.merged(round_))


async def _dots_counted(turn: Turn, before: Round, round_: Round, fact: DotsCounted) -> None:
    retention.after_count(turn, round_, "dots")
    turn.later("explain dots", round_.id, str(fact.unused), turn.now)


async def _ballot_counted(turn: Turn, before: Round, round_: Round, fact: BallotCounted) -> None:
    retention.after_count(turn, round_, "ballot")
    turn.later("explain ballot", round_.id, f"{fact.own_votes}/{fact.unused}", turn.now)


async def _placed(turn: Turn, before: Round, round_: Round, fact: PlansPlaced) -> None:
    turn.later("explain matrix", round_.id, f"{fact.judges}/{fact.comparisons}", turn.now)


async def _questions(turn: Turn, before: Round, round_: Round, fact: QuestionsPublished) -> None:
    for question in round_.questions:
        turn.say(round_, "question", results.question_card(round_, question.id), rest=(question.id,))


async def _precedent(turn: Turn, before: Round, round_: Round, fact: PrecedentGiven) -> None:
    precedent = fact.precedent
    turn.say(
        round_,
        "precedent",
        results.precedent_card(round_, precedent, same_source(round_, precedent)),
        rest=(precedent.id,),
        thread_of=message_name(round_.id, "question", precedent.question),
    )


async def _plans(turn: Turn, before: Round, round_: Round, fact: PlansRevealed) -> None:
    root = turn.say(round_, "plans", results.plans_revealed(round_))
    for plan in fact.order:
        page = results.plan_page(round_, round_.plans[plan])
        turn.say(round_, "plan", page, rest=(plan,), thread_of=root)


async def _committed(turn: Turn, before: Round, round_: Round, fact: Committed) -> None:
    await turn.drop_due(round_.id)
    retention.after_end(turn, round_)
    turn.say(round_, "committed", commitment_words.sealed_card(round_))
    assert round_.next_round is not None and not commitment.missing(round_)
    turn.later("next round", round_.id, "start", round_.next_round)


async def _dates_told(turn: Turn, before: Round, after: Round, fact: DatesTold) -> None:
    """Told anew: the first post is brought up to date, its thread says what moved, with the calendar file again."""
    if fact.times == 1:
        return
    card = message_name(after.id, "opened")
    turn.revise(
        card, turn.channel(after), cards.round_opened(after, await timetable.rows(turn.uow, turn.now, after)), after.id
    )
    coming = {s: at for s, at in fact.dates.items() if list(Step).index(s) >= list(Step).index(after.step)}
    moved = timetable.moved(before.dates_told, coming)
    words = time_words.dates_moved(after, [(Step(c.name), c.was.latest, c.now.latest) for c in moved])
    number = str(fact.times)
    turn.say(after, "moved", words, rest=(number,), thread_of=card)
    name = message_name(after.id, "moved", number, "calendar")
    turn.attach(name, turn.channel(after), commitment_words.calendar_of_round(after), after.id, thread_of=card)


FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    StepExtended: _extended,
    RoundPaused: _paused,
    RoundResumed: _resumed,
    AwaySet: _away_set,
    RoundCancelled: _cancelled,
    RoleHandedOver: _handed_over,
    RoleFilled: _role_filled,
    EverybodyIn: _everybody_in,
    NotEverybodyIn: _not_everybody,
    Revealed: _revealed,
    NoteHidden: _note_hidden,
    LateNoteSettled: _note_changed,
    FocusPicked: _focus,
    MergeAnswered: _merge_changed,
    ForcesJoined: _merge_changed,
    ForceSplit: _merge_changed,
    Merged: _merged,
    DotsCounted: _dots_counted,
    BallotCounted: _ballot_counted,
    PlansPlaced: _placed,
    QuestionsPublished: _questions,
    PrecedentGiven: _precedent,
    PlansRevealed: _plans,
    Committed: _committed,
    DatesTold: _dates_told,
}
