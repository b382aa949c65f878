"""What follows from a trial's facts: who is told, what becomes due, which card changes. A table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coldframe.domain.trial import guarding
from coldframe.domain.trial.facts import (
    ActionMoved,
    BlockSaid,
    CrossingSettled,
    LearningWritten,
    LineCrossed,
    MemberGone,
    OfferDeclined,
    OwnerChanged,
    OwnerLost,
    ReviewClosed,
    ReviewMoved,
    ReviewOpened,
    ShownSigned,
    StoppedEarly,
    TrialFact,
    TrialOffered,
    TrialStarted,
    WeekLogged,
)
from coldframe.domain.trial.state import UNDER_WAY, Trial, TrialStep
from coldframe.engine.core import endings as core_endings
from coldframe.engine.core import homes, lives, trial_turn
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.register import registering
from coldframe.engine.trial import building, endings, ownership, reviews, schedule, signing, starting, weekly
from coldframe.speech.trial import guard_words, owner_words, review_words, trial_words


async def react(
    follow: Mapping[type[TrialFact], Sequence[Follow[Trial]]],
    turn: Turn,
    before: Trial,
    after: Trial,
    facts: Sequence[TrialFact],
) -> None:
    """Tells what the facts mean, in their order, then brings the trial's card up to date."""
    for fact in facts:
        for reaction in follow.get(type(fact), ()):
            await reaction(turn, before, after, fact)
    if after.step in UNDER_WAY or before.step in UNDER_WAY:
        await trial_turn.show_card(turn, after)
    await endings.follow(turn, before, after)
    await homes.follow(turn, after.tenant, after.people)


# --- who owns it ----------------------------------------------------------------------------------------------------


async def _offered(turn: Turn, before: Trial, after: Trial, fact: TrialOffered) -> None:
    await ownership.ask(turn, after, fact.by, fact.reason)


async def _declined(turn: Turn, before: Trial, after: Trial, fact: OfferDeclined) -> None:
    for person in {after.facilitator, after.owner} - {None, fact.member}:
        assert person is not None
        words = owner_words.offer_declined(after, fact.member, fact.reason)
        trial_turn.tell(turn, after, person, "declined", words)


async def _owner_changed(turn: Turn, before: Trial, after: Trial, fact: OwnerChanged) -> None:
    if before.step in UNDER_WAY:
        words = owner_words.owner_changed(after, fact.before, fact.taken)
        trial_turn.say(turn, after, "owner", words, turn.kit.ids.new(""))
        trial_turn.tell(turn, after, fact.member, "yours", owner_words.you_own(after))
        assert after.review is not None
        await turn.uow.move_place(after.id, fact.member, after.review)
        await turn.drop_due(after.id, kind=schedule.WORD)
        await schedule.schedule(turn, after)
        if after.step is not TrialStep.BUILDING:
            await reviews.schedule(turn, after)
        await registering.enter(turn, after)


async def _member_gone(turn: Turn, before: Trial, after: Trial, fact: MemberGone) -> None:
    """Whoever facilitates in their place hears of it; of a deputy who has left the facilitator does."""
    if after.facilitator not in after.people:
        return
    if before.facilitator == fact.member:
        trial_turn.tell(turn, after, after.facilitator, "facilitates", owner_words.you_facilitate(after))
    elif before.deputy == fact.member:
        words = owner_words.deputy_gone(after, before.name_of(fact.member))
        trial_turn.tell(turn, after, after.facilitator, "departed", words)


async def _started(turn: Turn, before: Trial, after: Trial, fact: TrialStarted) -> None:
    await starting.begin(turn, after)
    trial_turn.say(turn, after, "started", trial_words.started(after))
    assert after.owner is not None
    trial_turn.tell(turn, after, after.owner, "yours", owner_words.you_own(after))


# --- actions, obstacles, numbers ------------------------------------------------------------------------------------


async def _action_moved(turn: Turn, before: Trial, after: Trial, fact: ActionMoved) -> None:
    action = next(a for a in after.actions if a.id == fact.action)
    await schedule.schedule_action(turn, after, action)


async def _blocked(turn: Turn, before: Trial, after: Trial, fact: BlockSaid) -> None:
    if fact.text and after.facilitator != after.owner:
        trial_turn.tell(turn, after, after.facilitator, "blocked", owner_words.blocked(after))


async def _crossed(turn: Turn, before: Trial, after: Trial, fact: LineCrossed) -> None:
    """Owner, facilitator and decision-maker are asked, each once, at their next working moment; whoever logged it at
    once."""
    open_ = guarding.undecided(after)
    if (fact.what, fact.week) != (open_[-1].what, open_[-1].week):
        return  # said with the last of what this week crosses
    for person in dict.fromkeys((after.owner, after.facilitator, after.decision_maker)):
        if person is not None and person in after.people:
            await core_endings.end_earlier(turn, after.tenant, person, after.id, lives.CROSSED)
            trial_turn.tell(turn, after, person, lives.CROSSED, guard_words.crossed(after))


async def _settled(turn: Turn, before: Trial, after: Trial, fact: CrossingSettled) -> None:
    """That it goes on is said to the channel; that it stops is said with the review."""
    if not fact.settled.stops and not guarding.undecided(after):
        trial_turn.say(turn, after, "settled", guard_words.settled(after), turn.kit.ids.new(""))


async def _logged(turn: Turn, before: Trial, after: Trial, fact: WeekLogged) -> None:
    await weekly.ask_for_reading(turn, after, fact.entry.by)
    if after.last_week() > before.last_week():
        await schedule.schedule(turn, after)


# --- review ---------------------------------------------------------------------------------------------------------


async def _review_moved(turn: Turn, before: Trial, after: Trial, fact: ReviewMoved) -> None:
    assert after.owner is not None or after.facilitator
    await turn.uow.move_place(after.id, after.owner or "", fact.at)
    await reviews.schedule(turn, after)
    message = review_words.moved(after, fact.missed, fact.longer)
    trial_turn.say(turn, after, "moved", message, turn.kit.ids.new(""))


async def _review_opened(turn: Turn, before: Trial, after: Trial, fact: ReviewOpened) -> None:
    await reviews.open_(turn, after)


async def _stopped(turn: Turn, before: Trial, after: Trial, fact: StoppedEarly) -> None:
    await turn.uow.move_place(after.id, after.owner or "", fact.at)
    trial_turn.say(turn, after, "stopped", review_words.stopped(after))
    await reviews.open_(turn, after)


async def _learnt(turn: Turn, before: Trial, after: Trial, fact: LearningWritten) -> None:
    turn.answer(after.tenant, fact.member, review_words.learning_kept())


async def _closed(turn: Turn, before: Trial, after: Trial, fact: ReviewClosed) -> None:
    await turn.drop_due(after.id)
    await turn.uow.free_place(after.id)
    await reviews.follow_up(turn, after)
    turn.later(reviews.CLOSED, after.id, "closed", turn.now)


FOLLOW: Mapping[type[TrialFact], Follow[Trial]] = {
    TrialOffered: _offered,
    OfferDeclined: _declined,
    OwnerChanged: _owner_changed,
    OwnerLost: ownership.owner_lost,
    MemberGone: _member_gone,
    TrialStarted: _started,
    **building.FOLLOW,
    ActionMoved: _action_moved,
    BlockSaid: _blocked,
    WeekLogged: _logged,
    LineCrossed: _crossed,
    CrossingSettled: _settled,
    ReviewMoved: _review_moved,
    ReviewOpened: _review_opened,
    StoppedEarly: _stopped,
    LearningWritten: _learnt,
    ReviewClosed: _closed,
    ShownSigned: signing.shown,
}
